"""A line of a spectrum: an order, turns of the reference shaft, and a fixed frequency where it hangs on the mains or a clock."""

from dataclasses import dataclass

from gearcase.worked import Origin, worked_by

__all__ = [
    "TURNING_KINDS",
    "Line",
    "harmonic_frequency",
    "sideband_frequency",
]

TURNING_KINDS = ("shaft", "planet")  # lines of something that turns: about its own axis, or as its carrier sees it


@dataclass(frozen=True)
class Line:
    """A line of the vibration or envelope spectrum, tied to the part that makes it.

    Attributes
    ----------
    name : str
        For people, e.g. ``"high-speed mesh 2x"``.
    component : str
        The part, as the job names it.
    kind : str
        shaft, planet, mesh, sideband, hunting_tooth, assembly_phase, planet_pass, member_tooth, outer_race, inner_race,
        rolling_element, cage, belt, passing, supply, pole_pass or converter.
    harmonic : int
        1 for the fundamental.
    order : float
        Cycles per turn of `reference_shaft`; negative only where `fixed_hz` is more.
    reference_shaft : str
    spread : float
        Half-width of what is not known about the line, relative to it. Slip of a bearing is not in it.
    origin : Origin
        The weakest knowledge the line rests on.
    sideband_shaft, sideband_pair : str, int
        For a sideband: the shaft that modulates, and how many of its turns away, negative below the line it stands beside.
    sideband_of, sideband_rate : str
        For a sideband that is not about a mesh: the kind of line it stands beside; and where no shaft modulates, the kind of
        the line whose rate does, cage or pole_pass.
    fixed_hz : float
        What does not follow the speed: supply and converter. [Hz]
    candidate : str
        For a bearing that may be one of several: which of them; empty where there is no other.
    """

    name: str
    component: str
    kind: str
    harmonic: int
    order: float
    reference_shaft: str
    spread: float
    origin: Origin
    sideband_shaft: str = ""
    sideband_pair: int = 0
    fixed_hz: float = 0.0
    candidate: str = ""
    sideband_of: str = ""
    sideband_rate: str = ""

    def hz(self, speed_hz: float) -> float:
        """Where the line stands at one speed of the reference shaft. [Hz]"""
        return abs(self.fixed_hz + self.order * speed_hz)


@worked_by(formula="f = n x f_1", unit="Hz", source="definition of a harmonic")
def harmonic_frequency(*, fundamental_hz: float, harmonic: float) -> float:
    """A harmonic of a line. [Hz]

    Examples
    --------
    >>> harmonic_frequency(fundamental_hz=24.75, harmonic=2)
    49.5
    """
    return harmonic * fundamental_hz


@worked_by(formula="f = n x f_1 + k x f_modulation", unit="Hz", source="definition of a sideband")
def sideband_frequency(*, fundamental_hz: float, harmonic: float, modulation_hz: float, pair: float) -> float:
    """A sideband of a harmonic, of a mesh or whatever is modulated; `pair` is negative below it. [Hz]

    Examples
    --------
    Row G51sb-2 of ``gear_trains.csv``:

    >>> sideband_frequency(fundamental_hz=660.0, harmonic=1, modulation_hz=7.5, pair=-2)
    645.0
    """
    return harmonic * fundamental_hz + pair * modulation_hz
