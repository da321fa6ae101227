"""Waveform to numbers. Every calculator takes ``(..., samples)`` and refuses non-finite samples."""
