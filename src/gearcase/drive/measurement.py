"""What a recording must hold for a drive's lines to be seen in it: highest frequency, sample rate, length."""

from dataclasses import dataclass
from itertools import pairwise

from gearcase.drive.lines import Line
from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "CloseLines",
    "close_lines",
    "highest_frequency",
    "record_length_for_separation",
    "record_length_for_turns",
    "sample_rate",
]

TURNS_OF_SLOWEST_SHAFT = 20  # common practice, no source
BINS_BETWEEN_NEIGHBOURS = 3  # a Hann main lobe reaches 2 bins either side (Harris 1978); 3 leaves a dip between two lines
RATE_OVER_HIGHEST = 2.56  # common practice, no source
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class CloseLines:
    """Two lines that need a long record to be told apart. `gap_hz` in Hz, `record_length` in s."""

    first: str
    second: str
    gap_hz: float
    record_length: float


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
    if slowest_hz <= 0:
        raise OutOfRange("slowest_hz", slowest_hz, "above 0")
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
    if gap_hz <= 0:
        raise OutOfRange("gap_hz", gap_hz, "above 0")
    return BINS_BETWEEN_NEIGHBOURS / gap_hz


def close_lines(lines: tuple[Line, ...], *, speed_hz: float, longer_than: float) -> tuple[CloseLines, ...]:
    """Neighbouring lines of different parts that a record of `longer_than` seconds cannot tell apart, closest first.

    Lines that coincide exactly (two bearings of one size on one shaft) are left out: no record separates them.
    """
    told = (line for line in lines if line.kind != "sideband" and (line.kind != "cage" or line.harmonic == 1))
    ranked = sorted(told, key=lambda line: line.order)
    pairs = []
    for first, second in pairwise(ranked):
        gap = second.hz(speed_hz) - first.hz(speed_hz)
        if first.component == second.component or gap < 1e-9 * second.hz(speed_hz):
            continue
        needed = record_length_for_separation(gap_hz=gap)
        if needed > longer_than:
            pairs.append(CloseLines(first.name, second.name, gap, needed))
    return tuple(sorted(pairs, key=lambda pair: pair.gap_hz))
