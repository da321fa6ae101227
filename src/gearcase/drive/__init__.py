"""What turns: the drive model, the rates of its parts and the waveforms it would make."""
