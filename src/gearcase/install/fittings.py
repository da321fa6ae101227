"""What goes on beside the sensors: brackets, light, enclosure, sump probe.

Model: `Bracket`, `Light`, `Enclosure`, `Probe`. Lengths in m, masses in kg; None and empty where nobody has said.
"""

from dataclasses import dataclass

__all__ = ["Bracket", "Enclosure", "Light", "Probe"]


@dataclass(frozen=True)
class Bracket:
    """A plate or strut that carries something: on holes that are there, by name, or on new ones at places of its face; on a stand
    of its own where the face is empty.

    `thread` and `grade` of its screws, `full_thread` they engage, `mass` of all it carries, `thickness` of its plate.
    """

    name: str
    face: str = ""
    holes: tuple[str, ...] = ()
    at: tuple[tuple[float, float], ...] = ()
    thread: str = ""
    grade: str = ""
    full_thread: float | None = None
    mass: float | None = None
    thickness: float | None = None
    where: str = ""


@dataclass(frozen=True)
class Light:
    """The stack light: height over the floor, from how far it is to be seen, its bracket's name."""

    height: float | None = None
    seen_from: float | None = None
    bracket: str = ""


@dataclass(frozen=True)
class Enclosure:
    """The edge enclosure: width and height, pattern of its mounting holes, their screws' size, its bracket, and where its middle
    stands on a face; on a stand where the face is empty.
    """

    size: tuple[float, float] | None = None
    pattern: tuple[float, float] | None = None
    screw: str = ""
    mass: float | None = None
    face: str = ""
    at: tuple[float, float] | None = None
    bracket: str = ""


@dataclass(frozen=True)
class Probe:
    """The sump's temperature probe: the port it goes into, its thread as ordered, length beyond the port's mouth, tip diameter."""

    port: str = ""
    thread: str = ""
    length: float | None = None
    tip_diameter: float | None = None
