"""What can be put into the rig, in what size and where, and how it grows: `KINDS` and `Severity`.

A kind of a drive stands at one of its parts and shakes it; a kind of a device or of its link stands at a unit's address, or at
`BUS` for all of them. What has no size is there or not.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from gearcase.errors import OutOfRange

__all__ = ["BEFALLS_SHARE", "BUS", "KINDS", "Kind", "Severity", "kind_named"]

BUS = "bus"
BEFALLS_SHARE = ("late", "brown-out")  # kinds whose size is a time, and which may befall a share of the frames only


@dataclass(frozen=True)
class Kind:
    """A kind of fault.

    Attributes
    ----------
    place : str
        What it stands at: bearing, shaft, gear (a shaft, or ``SHAFT in MESH``), mesh, axis (a point, or ``POINT x``), frequency,
        unit, or empty for a drive's own.
    size : str
        Kind of quantity it is said in, as `units.ACCEPTED` has it; empty where it has no size.
    unit : str
        In which its size is said to a person.
    says : str
        What its size is.
    pattern : str
        The pattern of ``tables/fault_patterns.csv`` it is a case of; empty for a fault of device or link.
    sound : float
        Its size where nothing is wrong, from which it grows.
    """

    place: str
    size: str
    unit: str
    says: str
    pattern: str = ""
    sound: float = 0.0


_KNOCK = "peak of one knock's ring"
_SHAKE = "velocity it adds at rated speed, RMS"
_SHARE = "share of frames"
KINDS: Mapping[str, Kind] = {
    "outer race": Kind("bearing", "acceleration", "m/s2", _KNOCK, "outer_race"),
    "inner race": Kind("bearing", "acceleration", "m/s2", _KNOCK, "inner_race"),
    "rolling element": Kind("bearing", "acceleration", "m/s2", _KNOCK, "rolling_element"),
    "cage": Kind("bearing", "acceleration", "m/s2", _KNOCK, "cage"),
    "current fluting": Kind("bearing", "acceleration", "m/s2", "of its hump, RMS at rated speed", "current fluting"),
    "lubrication": Kind("bearing", "acceleration", "m/s2", "noise above 4.5 kHz, RMS; it warms as well", "lubrication"),
    "tooth": Kind("gear", "acceleration", "m/s2", _KNOCK, "tooth crack or chip"),
    "knock": Kind(
        "gear", "acceleration", "m/s2", f"{_KNOCK}, of a key or loose part; the mesh does not yield", "knock once a turn"
    ),
    "hunting tooth": Kind("mesh", "acceleration", "m/s2", _KNOCK, "hunting tooth"),
    "gear wear": Kind("mesh", "ratio", "%", "how much higher its harmonics stand", "gear wear"),
    "mesh misalignment": Kind("mesh", "ratio", "%", "second harmonic over the first", "mesh misalignment", sound=0.5),
    "eccentric gear": Kind("gear", "ratio", "%", "how far the mesh swells once a turn", "eccentric gear or bent shaft"),
    "unbalance": Kind("shaft", "velocity", "mm/s", _SHAKE, "unbalance"),
    "misalignment": Kind("shaft", "velocity", "mm/s", _SHAKE, "misalignment"),
    "bent shaft": Kind("shaft", "velocity", "mm/s", _SHAKE, "bent shaft"),
    "looseness": Kind("shaft", "velocity", "mm/s", _SHAKE, "looseness or soft foot"),
    "resonance": Kind("shaft", "velocity", "mm/s", "unbalance it amplifies, RMS; its frequency is the rated 1x", "resonance"),
    "backstop": Kind("shaft", "acceleration", "m/s2", "peak of one click's ring, while it overruns", "backstop"),
    "electrical": Kind("", "velocity", "mm/s", "at twice the supply, RMS", "electrical"),
    "background": Kind(
        "frequency", "velocity", "mm/s", "of its first line, RMS, whatever this drive does", "background from elsewhere"
    ),
    "ski slope": Kind("axis", "acceleration", "m/s2", "of the drift, RMS", "sensor fault"),
    "offset": Kind("axis", "acceleration", "m/s2", "of the whole record", "sensor fault"),
    "clip": Kind("axis", "acceleration", "m/s2", "the rail it clips on", "sensor fault", sound=500.0),
    "stuck": Kind("unit", "", "", "its values stay as they are, its heartbeat goes on"),
    "clock drift": Kind("unit", "ratio", "ppm", "how much faster it samples than it says"),
    "brown-out": Kind("unit", "time", "s", "how long it is silent; it comes back with defaults and counts records from 1"),
    "unplugged": Kind("unit", "", "", "nothing of it is heard"),
    "lost": Kind("unit", "ratio", "%", f"{_SHARE} that vanish, on their way out or back"),
    "late": Kind("unit", "time", "ms", "how much later its answer begins"),
    "corrupted": Kind("unit", "ratio", "%", f"{_SHARE} with a bit turned"),
    "wrong crc": Kind("unit", "ratio", "%", f"{_SHARE} with a wrong checksum"),
    "duplicated": Kind("unit", "ratio", "%", f"{_SHARE} sent twice"),
    "refused": Kind("unit", "ratio", "%", f"{_SHARE} answered by an exception (4, device failure)"),
}


@dataclass(frozen=True)
class Severity:
    """How strong a fault is: `first` at `since`, growing evenly to `last` in `over`, gone from `until` on.

    `share` is the share of frames it befalls where it befalls some, 1 where it is always there. Times in s of the rig's clock.
    """

    last: float
    first: float = 0.0
    since: float = 0.0
    over: float = 0.0
    until: float = math.inf
    share: float = 1.0

    def at(self, now: float) -> float | None:
        """Its size now; None once it is over.

        Examples
        --------
        >>> half = Severity(8.0, first=4.0, since=100.0, over=60.0)
        >>> half.at(130.0), half.at(1000.0), Severity(1.0, until=50.0).at(50.0)
        (6.0, 8.0, None)
        """
        if now >= self.until:
            return None
        done = min(max((now - self.since) / self.over, 0.0), 1.0) if self.over else 1.0
        return self.first + (self.last - self.first) * done


def kind_named(name: str) -> str:
    """A kind as `KINDS` has it; ``outer_race`` is ``outer race``.

    Raises
    ------
    OutOfRange
        No such kind.
    """
    plain = name.strip().lower().replace("_", " ")
    if plain not in KINDS:
        raise OutOfRange("fault", repr(name), f"one of: {', '.join(KINDS)}")
    return plain
