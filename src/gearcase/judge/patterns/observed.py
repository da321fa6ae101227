"""A record as the patterns look at it: what it holds, where and in what state of the drive it was taken."""

from collections.abc import Iterable
from dataclasses import dataclass

from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import Transform

__all__ = ["Observed", "at_one_time"]


@dataclass(frozen=True)
class Observed:
    """One record of one channel.

    Where and in what state it was taken stands in `recording`: point, direction, state, load and oil temperature.

    Attributes
    ----------
    recording : Recording
    spectrum : Transform
    envelope : EnvelopeSpectrum
    speed_hz, speed_spread : float
        Of the reference shaft [Hz], and the relative half-width of what is not known of it [-].
    component : str
        Bearing under the measuring point; empty where there is none.
    """

    recording: Recording
    spectrum: Transform
    envelope: EnvelopeSpectrum
    speed_hz: float
    speed_spread: float
    component: str = ""


def at_one_time(observed: Iterable[Observed]) -> tuple[tuple[Observed, ...], ...]:
    """Records that were sampled together, channels of one file, so that their phases may be compared; each group in its order."""
    groups: dict[tuple[str, str, float], list[Observed]] = {}
    for one in observed:
        recording = one.recording
        key = (recording.sha256 or recording.name, recording.start, recording.sample_rate_hz)
        groups.setdefault(key, []).append(one)
    return tuple(tuple(group) for group in groups.values())
