"""What recordings a drive asks for, so that its lines can be seen in them: two records, not one.

*Short and fast* for gears and bearings: a rate for the highest frequency at the highest speed, windows of ten turns of the fastest
shaft at the lowest, several windows averaged. *Long and slow* for what the slow shafts do: twenty turns of the slowest shaft, its
sidebands about a mesh kept apart, three periods of the hunting tooth where a drive can hold its speed so long.

People act on `measurement_plan`; every number in it is `Worked`. The other functions are its sums.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange, above_zero
from gearcase.units import percent
from gearcase.worked import Given, Origin, Worked, work, worked_by

__all__ = [
    "LONGEST_RECORD",
    "TURNS_FOR_TEETH",
    "HuntingTooth",
    "MeasurementPlan",
    "Record",
    "averages_of_record",
    "bin_width",
    "highest_frequency",
    "highest_mesh_possible",
    "highest_slow_line",
    "lines_of_resolution",
    "longest_need",
    "mean_power_error",
    "measurement_plan",
    "record_length_for_hunting_tooth",
    "record_length_for_separation",
    "record_length_for_teeth",
    "record_length_for_turns",
    "record_samples",
    "record_time",
    "sample_rate",
    "speed_steadiness",
    "tooth_record",
    "window_length",
]

TURNS_OF_SLOWEST_SHAFT = 20  # common practice, no source
TURNS_IN_A_WINDOW = 10  # of the fastest shaft: its sidebands stand ten bins apart; common practice, no source
WINDOWS_IN_SHORT_RECORD = 4  # seven averages with half overlap; common practice is four to eight, no source
HUNTING_PERIODS = 3  # common practice, no source
TURNS_FOR_TEETH = 500  # of the fast shaft: 20 s at 25 Hz, as the odds were tried (docs/inference.md)
LONGEST_RECORD = 300.0  # s for which speed and load can be asked to stand still; common practice, no source
BINS_BETWEEN_NEIGHBOURS = 3  # a Hann main lobe reaches 2 bins either side (Harris 1978); 3 leaves a dip between two lines
RATE_OVER_HIGHEST = 2.56  # common practice, no source
_HALF_OVERLAP_CORRELATION = 1 / 6  # of two Hann windows: Harris (1978), Proc. IEEE 66, Table 1, 16.7 %
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Record:
    """How one recording is set up. Each number is what to set or more.

    Attributes
    ----------
    name, purpose : str
    highest, rate : Worked
        Highest frequency wanted and sample rate. [Hz]
    needed : Worked
        The length one window must have. [s]
    samples, length : Worked
        Of the whole record, a power of two. [-], [s]
    resolution, spectral_lines : Worked
        Of one window: width of a bin [Hz], and bins up to the highest frequency [-].
    steadiness : Worked
        How far the speed may move, relative to it, before the highest line smears over more than a bin. [-]
    averages, error : Worked
        Windows averaged with half overlap, and the relative standard error of a noise level read from their mean. [-]
    turns : dict of str to float
        Shaft -> its turns in the record at the lowest speed.
    """

    name: str
    purpose: str
    highest: Worked
    rate: Worked
    needed: Worked
    samples: Worked
    length: Worked
    resolution: Worked
    spectral_lines: Worked
    steadiness: Worked
    averages: Worked
    error: Worked
    turns: dict[str, float]


@dataclass(frozen=True)
class HuntingTooth:
    """The record that three periods of a mesh's hunting tooth ask for, and whether the long record is made for it."""

    mesh: str
    needed: Worked
    held: bool


@dataclass(frozen=True)
class MeasurementPlan:
    """The two records of a drive, and what becomes of each hunting tooth."""

    short: Record
    long: Record
    hunting: tuple[HuntingTooth, ...]


def measurement_plan(drive: Drive, lines: Iterable[Line]) -> MeasurementPlan:
    """The two records that show a drive's lines over its whole range of speeds: rates at the highest, lengths at the lowest.

    Parameters
    ----------
    drive : Drive
    lines : iterable of Line
        As `drive.lines.expected_lines` gives them; of one shaft at least.

    Raises
    ------
    OutOfRange
        A shaft stands still at the lowest speed.
    """
    known = tuple(lines)
    low, high = drive.speed_hz
    shafts = {line.component: line for line in known if line.kind == "shaft" and line.harmonic == 1}
    fastest = max(shafts, key=lambda name: shafts[name].hz(low))
    slowest = min(shafts, key=lambda name: shafts[name].hz(low))
    meshing = {shaft for mesh in drive.meshes for shaft in (mesh.pinion_shaft, mesh.wheel_shaft) if shaft in shafts}
    slow = min(meshing, key=lambda name: shafts[name].hz(low)) if meshing else slowest
    turns = {name: line.hz(low) for name, line in shafts.items()}

    short = _record(
        "short and fast",
        "gear meshes and bearings",
        highest=work(
            "highest frequency",
            highest_frequency,
            mesh_hz=_highest(known, "mesh", "highest mesh", high),
            inner_race_hz=_highest(known, "inner_race", "highest inner race line", high),
            shaft_hz=_highest(known, "shaft", "fastest shaft", high),
        ),
        needed=work("window", window_length, fastest_hz=_at(shafts[fastest], low, "lowest")),
        windows=WINDOWS_IN_SHORT_RECORD,
        turns_hz=turns,
    )
    hunting = tuple(_hunting(line, low) for line in known if line.kind == "hunting_tooth")
    held = max((tooth for tooth in hunting if tooth.held), key=lambda tooth: tooth.needed.value, default=None)
    needed = work(
        "record length",
        longest_need,
        turns=work("twenty turns", record_length_for_turns, slowest_hz=_at(shafts[slowest], low, "lowest")),
        sidebands=work(f"sidebands of {slow}", record_length_for_separation, gap_hz=_at(shafts[slow], low, "lowest")),
        hunting=held.needed if held else Given("hunting tooth: none that fits", 0.0, "s", Origin.CALCULATED),
    )
    top = max(_lines_of_shaft(drive, known, slow), key=lambda line: line.hz(high))
    long = _record(
        "long and slow",
        f"slow shafts, sidebands of {slow}",
        highest=work("highest frequency", highest_slow_line, line_hz=_at(top, high, "highest")),
        needed=needed,
        windows=1,
        turns_hz=turns,
    )
    return MeasurementPlan(short, long, hunting)


def tooth_record(lines: Iterable[Line], *, speed_hz: tuple[float, float], most_teeth: float) -> Record:
    """The record from which unknown tooth counts can be inferred: long, and up to the highest mesh that can be.

    Parameters
    ----------
    lines : iterable of Line
        Of one shaft at least.
    speed_hz : (float, float)
        Lowest and highest speed of the reference shaft. [Hz]
    most_teeth : float
        Of a pinion on the fastest shaft. [-]
    """
    low, high = speed_hz
    shafts = {line.component: line for line in lines if line.kind == "shaft" and line.harmonic == 1}
    fastest = max(shafts.values(), key=lambda line: line.hz(low))
    return _record(
        "for tooth counts",
        "counts that nobody knows, once, at one steady speed and load",
        highest=work(
            "highest frequency",
            highest_mesh_possible,
            teeth=Given("most teeth of a pinion", most_teeth, "-", Origin.ASSUMED),
            fastest_hz=_at(fastest, high, "highest"),
        ),
        needed=work("record length", record_length_for_teeth, fastest_hz=_at(fastest, low, "lowest")),
        windows=1,
        turns_hz={name: line.hz(low) for name, line in shafts.items()},
    )


@worked_by(formula="f = 2 harmonics x teeth x f_fastest", unit="Hz", source=_PRACTICE)
def highest_mesh_possible(*, teeth: float, fastest_hz: float) -> float:
    """Second harmonic of the highest mesh that can be: sidebands about the first two tell most. [Hz]

    Examples
    --------
    >>> highest_mesh_possible(teeth=60, fastest_hz=25.0)
    3000.0
    """
    return 2 * teeth * fastest_hz


@worked_by(
    formula="T = 500 turns / f_fastest, 300 s at most",
    unit="s",
    source="length of the records on which the odds were tried (docs/inference.md); the longest is common practice, no source",
)
def record_length_for_teeth(*, fastest_hz: float) -> float:
    """Length from which tooth counts are mostly decided. [s]

    Raises
    ------
    OutOfRange
        The speed is not above 0.

    Examples
    --------
    >>> record_length_for_teeth(fastest_hz=25.0)
    20.0
    """
    above_zero(fastest_hz=fastest_hz)
    return min(TURNS_FOR_TEETH / fastest_hz, LONGEST_RECORD)


@worked_by(
    formula="max(3.25 x highest mesh, 10 x highest inner race line, 50 x fastest shaft, 5000 Hz for the envelope band)",
    unit="Hz",
    source=_PRACTICE,
)
def highest_frequency(*, mesh_hz: float, inner_race_hz: float, shaft_hz: float) -> float:
    """Highest frequency to record; 0 for a part the drive does not have. [Hz]

    Examples
    --------
    >>> highest_frequency(mesh_hz=420.75, inner_race_hz=134.0, shaft_hz=24.75)
    5000.0
    """
    return max(3.25 * mesh_hz, 10 * inner_race_hz, 50 * shaft_hz, 5000.0)


@worked_by(formula="f_s = 2.56 x f_max", unit="Hz", source=_PRACTICE)
def sample_rate(*, highest_hz: float) -> float:
    """Sample rate that leaves room for the anti-alias filter. [Hz]

    Examples
    --------
    Row SF1sample_rate_hz of ``signal_checks.csv``:

    >>> sample_rate(highest_hz=1000.0)
    2560.0
    """
    return RATE_OVER_HIGHEST * highest_hz


@worked_by(formula="T = 20 turns / f_slowest", unit="s", source=_PRACTICE)
def record_length_for_turns(*, slowest_hz: float) -> float:
    """Length that holds twenty turns of the slowest shaft. [s]

    Raises
    ------
    OutOfRange
        The speed is not above 0.

    Examples
    --------
    >>> record_length_for_turns(slowest_hz=1.25)
    16.0
    """
    above_zero(slowest_hz=slowest_hz)
    return TURNS_OF_SLOWEST_SHAFT / slowest_hz


@worked_by(
    formula="T = 3 / gap",
    unit="s",
    source="Hann main lobe of 4 bins: Harris (1978), Proc. IEEE 66; one bin of margin is common practice, no source",
)
def record_length_for_separation(*, gap_hz: float) -> float:
    """Length at which two lines stand three Hann bins apart. [s]

    Raises
    ------
    OutOfRange
        The gap is not above 0.

    Examples
    --------
    >>> record_length_for_separation(gap_hz=0.5)
    6.0
    """
    above_zero(gap_hz=gap_hz)
    return BINS_BETWEEN_NEIGHBOURS / gap_hz


@worked_by(formula="T = 10 turns / f_fastest", unit="s", source=_PRACTICE)
def window_length(*, fastest_hz: float) -> float:
    """Length of one window of the short record. [s]

    Raises
    ------
    OutOfRange
        The speed is not above 0.

    Examples
    --------
    >>> window_length(fastest_hz=25.0)
    0.4
    """
    above_zero(fastest_hz=fastest_hz)
    return TURNS_IN_A_WINDOW / fastest_hz


@worked_by(formula="T = 3 / f_hunting", unit="s", source=_PRACTICE)
def record_length_for_hunting_tooth(*, hunting_hz: float) -> float:
    """Length in which the same two teeth meet three times. [s]

    Raises
    ------
    OutOfRange
        The frequency is not above 0.

    Examples
    --------
    >>> record_length_for_hunting_tooth(hunting_hz=0.25)
    12.0
    """
    above_zero(hunting_hz=hunting_hz)
    return HUNTING_PERIODS / hunting_hz


@worked_by(formula="the longest of 20 turns, sidebands three bins apart, and the hunting tooth", unit="s", source=_PRACTICE)
def longest_need(*, turns: float, sidebands: float, hunting: float) -> float:
    """Length that meets every need of the long record; 0 for a need it does not have. [s]

    Examples
    --------
    >>> longest_need(turns=16.0, sidebands=2.4, hunting=0.0)
    16.0
    """
    return max(turns, sidebands, hunting)


@worked_by(
    formula="highest mesh harmonic with its sidebands, or bearing line, of the slowest shaft that has a mesh",
    unit="Hz",
    source=_PRACTICE,
)
def highest_slow_line(*, line_hz: float) -> float:
    """Highest frequency of the long record: the highest line of the parts it is made for. [Hz]

    Examples
    --------
    >>> highest_slow_line(line_hz=355.5)
    355.5
    """
    return line_hz


@worked_by(formula="N = windows x the power of two that holds f_s x T", unit="-", source="radix-2 transform; common practice")
def record_samples(*, rate_hz: float, window_s: float, windows: float) -> float:
    """Samples of a record of so many windows, each a power of two. [-]

    Raises
    ------
    OutOfRange
        Rate, length or windows not above 0.

    Examples
    --------
    Row SF6samples of ``signal_checks.csv``, 12,800 Hz for 2.56 s:

    >>> record_samples(rate_hz=12800.0, window_s=2.56, windows=1)
    32768.0
    """
    if min(rate_hz, window_s, windows) <= 0:
        raise OutOfRange("record", f"{rate_hz:g} Hz, {window_s:g} s, {windows:g} windows", "each above 0")
    wanted = rate_hz * window_s * (1 - 1e-12)  # a product a rounding error over a power of two is that power
    return float(windows * 2 ** math.ceil(math.log2(wanted)))


@worked_by(formula="T = N / f_s", unit="s", source="definition of a sample rate")
def record_time(*, samples: float, rate_hz: float) -> float:
    """Length of so many samples. [s]

    Examples
    --------
    >>> record_time(samples=65536, rate_hz=12800.0)
    5.12
    """
    return samples / rate_hz


@worked_by(formula="df = windows / T", unit="Hz", source="discrete Fourier transform of one window")
def bin_width(*, length_s: float, windows: float) -> float:
    """Resolution of a record cut into so many windows. [Hz]

    Examples
    --------
    Row SF6resolution_hz of ``signal_checks.csv``:

    >>> bin_width(length_s=2.56, windows=1)
    0.390625
    """
    return windows / length_s


@worked_by(formula="lines = f_max / df", unit="-", source="definition of lines of resolution")
def lines_of_resolution(*, highest_hz: float, resolution_hz: float) -> float:
    """Whole bins up to the highest frequency: the figure a data collector asks for. [-]

    Examples
    --------
    Row SF6 of ``signal_checks.csv``: 12,800 lines to 5000 Hz in 2.56 s:

    >>> lines_of_resolution(highest_hz=5000.0, resolution_hz=0.390625)
    12800.0
    """
    return float(math.floor(highest_hz / resolution_hz * (1 + 1e-12)))


@worked_by(formula="d = df / (2 f_max), either way", unit="-", source="a line's frequency moves as the speed does")
def speed_steadiness(*, resolution_hz: float, highest_hz: float) -> float:
    """Half-width in which the speed must stay for the highest line to stay in one bin, relative to the speed. [-]

    Examples
    --------
    >>> speed_steadiness(resolution_hz=0.8, highest_hz=1000.0)
    0.0004
    """
    return resolution_hz / (2 * highest_hz)


@worked_by(formula="n = 2 x windows - 1, each half over the last", unit="-", source="P. D. Welch (1967), IEEE Trans. AU-15")
def averages_of_record(*, windows: float) -> float:
    """Averages that a record gives when its windows overlap by half. [-]

    Examples
    --------
    >>> averages_of_record(windows=4)
    7
    """
    return 2 * windows - 1


@worked_by(
    formula="e = sqrt((1 + 2 c^2) / n - 2 c^2 / n^2), c = 1/6 for Hann windows half over each other",
    unit="-",
    source="P. D. Welch (1967), IEEE Trans. AU-15; F. J. Harris (1978), Proc. IEEE 66, Table 1 (from memory)",
)
def mean_power_error(*, averages: float) -> float:
    """Standard error of the mean power of noise in a bin, relative to it; 1 / sqrt(n) without overlap. [-]

    Raises
    ------
    OutOfRange
        Fewer than one average.

    Examples
    --------
    A noise level read from one window is off by its own size:

    >>> mean_power_error(averages=1)
    1.0
    """
    if averages < 1:
        raise OutOfRange("averages", averages, "1 or more")
    shared = 2 * _HALF_OVERLAP_CORRELATION**2
    return math.sqrt((1 + shared) / averages - shared / averages**2)


def _record(name: str, purpose: str, *, highest: Worked, needed: Worked, windows: int, turns_hz: dict[str, float]) -> Record:
    rate = work("sample rate", sample_rate, highest_hz=highest)
    cut = Given("windows in the record", float(windows), "-", Origin.ASSUMED)
    samples = work("samples", record_samples, rate_hz=rate, window_s=needed, windows=cut)
    length = work("record length", record_time, samples=samples, rate_hz=rate)
    resolution = work("resolution", bin_width, length_s=length, windows=cut)
    averages = work("averages", averages_of_record, windows=cut)
    return Record(
        name=name,
        purpose=purpose,
        highest=highest,
        rate=rate,
        needed=needed,
        samples=samples,
        length=length,
        resolution=resolution,
        spectral_lines=work("lines of resolution", lines_of_resolution, highest_hz=highest, resolution_hz=resolution),
        steadiness=work("speed to hold within", speed_steadiness, resolution_hz=resolution, highest_hz=highest),
        averages=averages,
        error=work("standard error of a noise level", mean_power_error, averages=averages),
        turns={shaft: hz * length.value for shaft, hz in turns_hz.items()},
    )


def _hunting(line: Line, low: float) -> HuntingTooth:
    needed = work(f"three periods of the {line.name}", record_length_for_hunting_tooth, hunting_hz=_at(line, low, "lowest"))
    return HuntingTooth(line.component, needed, held=needed.value <= LONGEST_RECORD)


def _at(line: Line, speed_hz: float, which: str) -> Given:
    return Given(f"{line.name} at the {which} speed", line.hz(speed_hz), "Hz", Origin.CALCULATED)


def _highest(lines: tuple[Line, ...], kind: str, name: str, high: float) -> Given:
    fundamentals = [line for line in lines if line.kind == kind and line.harmonic == 1]
    if not fundamentals:
        return Given(f"{name}: none known", 0.0, "Hz", Origin.ASSUMED)
    top = max(fundamentals, key=lambda line: line.hz(high) * (1 + line.spread))
    given = _at(top, high, "highest")
    if not top.spread:
        return given
    return replace(given, name=f"{given.name}, the top of its {percent(top.spread)} spread", value=given.value * (1 + top.spread))


def _lines_of_shaft(drive: Drive, lines: tuple[Line, ...], shaft: str) -> list[Line]:
    """Lines of a shaft, of its meshes with their sidebands, and of its bearings."""
    parts = {shaft}
    parts |= {mesh.name for mesh in drive.meshes if shaft in (mesh.pinion_shaft, mesh.wheel_shaft)}
    parts |= {bearing.name for bearing in drive.bearings if shaft in (bearing.inner_shaft, bearing.outer_shaft)}
    return [line for line in lines if line.component in parts]
