"""What the job says of the place and of what it must connect to: site conditions, power, the network sheet.

Plain data for the calculators of `cautions`, `power` and `network`. None and empty while nobody has said.
"""

from dataclasses import dataclass

from gearcase.install.network import Network
from gearcase.units import Range

__all__ = ["CONSENT", "Branch", "Conditions", "Entry", "Neighbour", "NetworkSheet", "Power", "Run"]

CONSENT = ("not asked", "asked", "given", "refused")


@dataclass(frozen=True)
class Conditions:
    """The place: area class as stated, air around the drive over the year [K], ingress code that parts must have, what is true of
    it, height of the work above the floor [m].

    `drilling_consent` is the owner's, one of `CONSENT`, `drilling_consent_by` who gave it; `certificate_consent` who says, in a
    classified area, that drilling leaves the drive's own certificate whole.
    """

    area: str = ""
    ambient: Range | None = None
    ingress: str = ""
    wash_down: bool | None = None
    incline: bool | None = None
    backstop: bool | None = None
    counterweight: bool | None = None
    painted: bool | None = None
    working_height: float | None = None
    drilling_consent: str = ""
    drilling_consent_by: str = ""
    certificate_consent: str = ""


@dataclass(frozen=True)
class Run:
    """A run of the supply line from one place to another: length [m], its conductors as named and their form; empty as the rest."""

    start: str
    end: str
    length: float
    wire: str = ""
    form: str = ""


@dataclass(frozen=True)
class Branch:
    """The circuit wanted from a panel: load [A], one-way length [m], volts, share lost before the panel, conductors by ``AWG`` or
    ``mm2`` and their form; the type of conduit (empty where none), wires in it, sum of its bends [rad].
    """

    volts: float
    length: float
    load: float | None
    feeder_drop: float
    system: str
    form: str
    conduit: str
    wires: int
    bends: float


@dataclass(frozen=True)
class Entry:
    """A hole in a box: what enters, its kind (conduit, gland or connector) and size as the table of knockouts names it."""

    name: str
    kind: str
    size: str


@dataclass(frozen=True)
class Neighbour:
    """A power cable that signal cables follow: its kind as the table of separations names it, for how far, at what distance. [m]"""

    name: str
    kind: str
    parallel: float
    distance: float | None


@dataclass(frozen=True)
class Power:
    """The dc supply and its line, the mains circuit, entries of boxes, power cables nearby.

    `volts` of the supply, `rated` current [A], share `derating` left of it at the cabinet's temperature, `peak` for an inrush [A],
    `margin` wanted [-]; `wire`, `form` and `temperature` [K] of the line's conductors; `lead`, from the supply to where the bus
    begins [m]; `runs` where the line does not follow the bus.
    """

    volts: float | None = None
    rated: float | None = None
    derating: float | None = None
    peak: float | None = None
    margin: float | None = None
    wire: str = ""
    form: str = ""
    temperature: float | None = None
    lead: float = 0.0
    runs: tuple[Run, ...] = ()
    branch: Branch | None = None
    entries: tuple[Entry, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()


@dataclass(frozen=True)
class NetworkSheet:
    """The sheet, and how long it is until the fitting. [s]"""

    network: Network
    until_fitting: float | None = None
