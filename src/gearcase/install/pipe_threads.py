"""Which thread a port has, and which wrong plug would start in it and then leak.

Drain, filler and level ports come in families that differ in angle, pitch and taper. A plug of one often starts in another's port:
1/2 and 3/4 of the 60-degree taper and of the 55-degree taper share 14 threads per inch, start alike and leak. So a port is gauged,
on the plug that came out of it: pitch with a leaf gauge, angle with a form gauge, major diameter at the largest full turn with a
caliper, and whether the diameter grows along the thread. What was not gauged leaves more than one candidate, and none is ordered.

`pipe_thread`, `identify`, `tell_apart`, `port_ruling`, `mating`. Calculators: `effective_length`, `small_end_pitch_diameter`,
`hand_tight_turns`.
"""

import functools
import itertools
import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "FAMILIES",
    "PipeThread",
    "effective_length",
    "hand_tight_turns",
    "identify",
    "mating",
    "pipe_thread",
    "port_ruling",
    "small_end_pitch_diameter",
    "tell_apart",
]

FAMILIES = {
    "NPT": "60-degree taper, ASME B1.20.1",
    "R": "55-degree taper, ISO 7-1",
    "G": "55-degree parallel, ISO 228-1",
    "M": "metric parallel, ISO 261",
    "UNF": "unified parallel, ASME B1.1",
}
_INCH = 0.0254
_SAME_PITCH = 0.015  # of the pitch, what a leaf gauge tells over ten threads; common practice, no source
_NEAR_PITCH = 0.06  # of the pitch; starts, then binds, as 18 in 19 threads an inch do; common practice, no source
_SAME_ANGLE = math.radians(2.0)  # a form gauge tells 55 from 60 degrees; common practice, no source
_PLAY = 0.25  # of the pitch, by which diameters may miss and still start; common practice, no source


@dataclass(frozen=True)
class PipeThread:
    """One size of one family. [rad, m]

    `taper` is growth of diameter over length, 0 for a parallel thread; `least_major` to `most_major` is what a caliper may find on
    a plug; `hand_tight` the length engaged by hand, None for a parallel thread; `tap_drill` empty where none is tabled.
    """

    family: str
    size: str
    angle: float
    taper: float
    pitch: float
    nominal: float
    least_major: float
    most_major: float
    hand_tight: float | None
    tap_drill: str
    seals: str
    source: str

    @property
    def name(self) -> str:
        """As it is ordered, e.g. ``NPT 1/2`` or ``M22x1.5``."""
        return self.size if self.family in ("M", "UNF") else f"{self.family} {self.size}"


def pipe_thread(name: str) -> PipeThread:
    """A port's thread by name.

    Raises
    ------
    OutOfRange
        No such thread; the rule names those there are.

    Examples
    --------
    >>> pipe_thread("NPT 1/2").tap_drill
    '23/32 in'
    """
    for thread in _threads():
        if thread.name == name:
            return thread
    raise OutOfRange("pipe thread", repr(name), f"one of: {', '.join(thread.name for thread in _threads())}")


def identify(
    *,
    pitch: float | None,
    angle: float | None,
    major_diameter: float | None,
    tapered: bool | None,
    caliper_error: float,
) -> tuple[PipeThread, ...]:
    """Threads that agree with what was gauged on the plug; None for what was not.

    Parameters
    ----------
    pitch, major_diameter : float or None
        [m]
    angle : float or None
        Between the flanks. [rad]
    tapered : bool or None
        Whether the diameter grows along the thread.
    caliper_error : float
        [m]

    Raises
    ------
    OutOfRange
        Nothing was gauged, or a length not above 0.

    Examples
    --------
    14 threads per inch and 21 mm, angle not gauged: the wrong one of these starts and leaks.

    >>> found = identify(pitch=25.4e-3 / 14, angle=None, major_diameter=21.0e-3, tapered=None, caliper_error=0.05e-3)
    >>> [thread.name for thread in found]
    ['NPT 1/2', 'R 1/2', 'G 1/2']
    """
    if pitch is None and angle is None and major_diameter is None:
        raise OutOfRange("gauged", "nothing", "pitch, angle or major diameter of the plug")
    for name, value in (("pitch", pitch), ("angle", angle), ("major_diameter", major_diameter)):
        if value is not None and not value > 0:
            raise OutOfRange(name, value, "above 0")
    return tuple(
        thread
        for thread in _threads()
        if (pitch is None or abs(pitch / thread.pitch - 1) <= _SAME_PITCH)
        and (angle is None or abs(angle - thread.angle) <= _SAME_ANGLE)
        and (tapered is None or tapered == (thread.taper > 0))
        and (major_diameter is None or thread.least_major - caliper_error <= major_diameter <= thread.most_major + caliper_error)
    )


def tell_apart(candidates: tuple[PipeThread, ...]) -> tuple[str, ...]:
    """What to gauge so that one candidate is left; empty when there is nothing to tell apart.

    Examples
    --------
    >>> tell_apart((pipe_thread("NPT 1/2"), pipe_thread("R 1/2")))
    ('form gauge: 55 degrees (round crests) or 60 degrees (flat crests)',)
    """
    asks = []
    if len({thread.angle for thread in candidates}) > 1:
        asks.append("form gauge: 55 degrees (round crests) or 60 degrees (flat crests)")
    if len({thread.taper for thread in candidates}) > 1:
        asks.append("caliper at both ends of the thread: a taper grows 1 mm in 16 mm, a parallel thread does not")
    if _differ({thread.pitch for thread in candidates}):
        pitches = ", ".join(f"{1000 * pitch:.3f}" for pitch in sorted({thread.pitch for thread in candidates}))
        asks.append(f"leaf gauge over ten threads: pitch {pitches} mm")
    if any(_apart(one, other) for one, other in itertools.combinations(candidates, 2)):
        ranges = ", ".join(
            f"{thread.name} {1000 * thread.least_major:.1f} to {1000 * thread.most_major:.1f}" for thread in candidates
        )
        asks.append(f"caliper on the largest full turn: {ranges} mm")
    return tuple(asks)


def port_ruling(candidates: tuple[PipeThread, ...]) -> Ruling:
    """Whether a port is known well enough to order for: exactly one candidate from `identify`."""
    if not candidates:
        cure = "gauge the plug again, then ask the drive's maker: no thread of the tables agrees"
    else:
        cure = "; ".join(tell_apart(candidates)) or f"order {candidates[0].name}, which seals {candidates[0].seals}"
    source = "; ".join(dict.fromkeys(thread.source for thread in candidates)) or "tables of pipe threads"
    return Ruling("threads the port may have", float(len(candidates)), "-", cure, source, least=1.0, most=1.0)


def mating(plug: PipeThread, port: PipeThread) -> str:
    """What happens when a plug is turned into a port: ``fits``, ``fits, seals only on a face``, ``starts, then leaks``,
    ``starts, then binds`` or ``does not start``.

    Examples
    --------
    >>> mating(pipe_thread("R 3/4"), pipe_thread("NPT 3/4")), mating(pipe_thread("NPT 1/4"), pipe_thread("R 1/4"))
    ('starts, then leaks', 'starts, then binds')
    """
    gap = max(plug.least_major - port.most_major, port.least_major - plug.most_major)
    off = abs(plug.pitch / port.pitch - 1)
    if gap > _PLAY * min(plug.pitch, port.pitch) or off > _NEAR_PITCH:
        return "does not start"
    if off > _SAME_PITCH:
        return "starts, then binds"
    if plug.angle != port.angle:
        return "starts, then leaks"
    return "fits" if plug.taper == port.taper else "fits, seals only on a face"


@worked_by(formula="L2 = (0.8 D / 1 in + 6.8) P", unit="m", source="ASME B1.20.1")
def effective_length(*, pipe_diameter: float, pitch: float) -> float:
    """Effective thread of the 60-degree taper. [m]

    Parameters
    ----------
    pipe_diameter, pitch : float
        Outside diameter of the pipe, and pitch. [m]

    Raises
    ------
    OutOfRange
        A length not above 0.
    """
    above_zero(pipe_diameter=pipe_diameter, pitch=pitch)
    return (0.8 * pipe_diameter / _INCH + 6.8) * pitch


@worked_by(formula="E0 = D - (0.05 D / 1 in + 1.1) P", unit="m", source="ASME B1.20.1")
def small_end_pitch_diameter(*, pipe_diameter: float, pitch: float) -> float:
    """Pitch diameter at the small end of a 60-degree taper plug. [m]

    Parameters
    ----------
    pipe_diameter, pitch : float
        Outside diameter of the pipe, and pitch. [m]

    Raises
    ------
    OutOfRange
        A length not above 0.
    """
    above_zero(pipe_diameter=pipe_diameter, pitch=pitch)
    return pipe_diameter - (0.05 * pipe_diameter / _INCH + 1.1) * pitch


@worked_by(formula="turns = hand-tight length / P", unit="-", source="ASME B1.20.1, ISO 7-1: hand-tight engagement")
def hand_tight_turns(*, hand_tight: float, pitch: float) -> float:
    """Turns a good taper plug goes in by hand; far fewer or far more, and it is the wrong thread or a worn port. [-]

    Parameters
    ----------
    hand_tight, pitch : float
        [m]

    Raises
    ------
    OutOfRange
        A length not above 0.

    Examples
    --------
    >>> hand_tight_turns(hand_tight=0.32 * 0.0254, pitch=0.0254 / 14)
    4.48
    """
    above_zero(hand_tight=hand_tight, pitch=pitch)
    return hand_tight / pitch


@functools.cache
def _threads() -> tuple[PipeThread, ...]:
    return tuple(
        PipeThread(
            family=row["family"],
            size=row["size"],
            angle=math.radians(float(row["angle_deg"])),
            taper=1 / float(row["taper_per"]) if row["taper_per"] else 0.0,
            pitch=float(row["pitch_mm"]) / 1000 if not row["threads_per_inch"] else _INCH / float(row["threads_per_inch"]),
            nominal=float(row["nominal_mm"]) / 1000,
            least_major=float(row["least_major_mm"]) / 1000,
            most_major=float(row["most_major_mm"]) / 1000,
            hand_tight=float(row["hand_tight_mm"]) / 1000 if row["hand_tight_mm"] else None,
            tap_drill=row["tap_drill"],
            seals=row["seals"],
            source=row["source"],
        )
        for row in load("pipe_threads")
    )


def _differ(pitches: set[float]) -> bool:
    return bool(pitches) and max(pitches) / min(pitches) - 1 > _SAME_PITCH


def _apart(one: PipeThread, other: PipeThread) -> bool:
    return max(one.least_major - other.most_major, other.least_major - one.most_major) > 0
