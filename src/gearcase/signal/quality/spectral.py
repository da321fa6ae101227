"""What in a spectrum is not the machine's: ski slope, aliasing, mains, a converter's carrier.

Lines count where noise explains them with at most `facts.CHANCE`. Whether lines stand by chance where a rule expects them is told
by the binomial distribution with the record's own density of lines, times the places tried.
"""

import math
from collections.abc import Sequence

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.findings import Finding, Level
from gearcase.signal.quality.facts import CHANCE, Facts, median
from gearcase.signal.spectrum import TO_VELOCITY, FoundLines

__all__ = ["aliasing", "carrier", "mains", "mains_base", "ski_slope"]

_OVERALL_FROM_HZ = 10.0  # lower edge of the overall velocity, ISO 20816-1
_OVERALL_TO_HZ = 1000.0  # its upper edge
_OCTAVE_BINS = 32  # fewer are filled by the lines of a few slow shafts
_SETTLING_BINS = 4  # about 0 Hz: what a mean or a straight drift leaves under a Hann window
_SKI = 8.0  # growth of acceleration's density over two octaves: 1 of white noise, 4 of 1/f noise, 16 of a drifting sensor (1/f^2)
_END = 0.95  # of half the sample rate: beyond, every anti-alias filter has long fallen
_END_RAISED = 4.0  # over the record's median density; white noise reads 1; common practice, no source
_END_BINS = 64
_BASES = 8  # strongest lines whose harmonics are looked for
_HARMONICS = 12
_MAINS_HZ = (50.0, 60.0)
_MAINS_BAND = 0.004  # +-200 mHz of 50 Hz, the most that an interconnected grid leaves it; from memory
_MAINS_HARMONICS = 8
_MAINS_STRONG = 0.1  # share of the mean square from which a caution is due; common practice, no source
_CARRIER_STEP_HZ = 500.0  # carriers are set in such steps; common practice, no source
_CARRIER_HZ = (2000.0, 16000.0)  # common practice, no source
_CARRIER_EXACT = 1e-4  # of its nominal frequency, and of the recorder's: two quartz clocks
_OUTPUT_HZ = (5.0, 120.0)  # of a converter; common practice, no source
_PLACE_BINS = 1.0  # either side of a place a line is looked for


def ski_slope(facts: Facts) -> Finding | None:
    """Integrated to velocity, the spectrum rises towards 0 like a ski slope, and holds more there than the vibration.

    The noise of a sound accelerometer is white (velocity's power rises 4 times an octave), at worst 1/f; the recovery from an
    overload or a thermal shock, and a bad connection, fall as 1/f^2 or steeper. Told by the lower quartiles of octaves below
    20 Hz, which single lines do not move.
    """
    hz = facts.spectrum.bin_hz
    top = facts.spectrum.values.size * hz
    octaves = [(2 * _OVERALL_FROM_HZ / 2**k, _OVERALL_FROM_HZ / 2**k) for k in range(16)]
    bins = [(max(math.ceil(low / hz), _SETTLING_BINS), math.ceil(high / hz)) for high, low in octaves]
    bins = [(first, last) for first, last in bins if last - first >= _OCTAVE_BINS and last * hz < top]
    end = min(math.ceil(_OVERALL_TO_HZ / hz), facts.power.size)
    omega = 2 * np.pi * hz * np.arange(1, end)
    velocity = facts.power[1:end] * (facts.deviation * omega ** TO_VELOCITY[facts.unit]) ** 2  # begins at bin 1
    slow = velocity[: bins[0][1]] * omega[: bins[0][1]] ** 2 if bins else velocity[:0]
    level = [float(np.quantile(slow[first - 1 : last - 1], 0.25)) for first, last in bins]
    steep = [n for n in range(len(level) - 2) if level[n] < level[n + 1] < level[n + 2] and level[n + 2] > _SKI * level[n]]
    if not steep:
        return None
    edge = math.ceil(_OVERALL_FROM_HZ / hz)
    below, above = (math.sqrt(velocity[first - 1 : last - 1].sum()) for first, last in ((_SETTLING_BINS, edge), (edge, end)))
    if below <= above:
        return None
    growth = 4 * math.sqrt(level[steep[0] + 2] / level[steep[0]])
    says = (
        f"As velocity, what lies below {_OVERALL_FROM_HZ:g} Hz is {1000 * below:.3g} mm/s RMS, "
        f"{below / max(above, 1e-300):.2g} times what lies above, and its power rises {growth:.2g} times an octave towards 0 (a "
        "steady sensor: 4 to 8): a ski slope, of an overload, a thermal shock or a bad connection; do not read velocity below "
        f"{_OVERALL_FROM_HZ:g} Hz, let the sensor settle, look at cable and range."
    )
    return Finding(Level.CAUTION, "quality.ski_slope", f"below {_OVERALL_FROM_HZ:g} Hz", says)


def aliasing(facts: Facts) -> Finding | None:
    """What lay above half the sample rate, folded back into the record.

    Two signs, either of which is enough: the density just below half the rate is raised, where an anti-alias filter leaves
    nothing and white noise no more than elsewhere; or the harmonics of a strong line that lie beyond half the rate stand where they
    fold to, and not on the other side of its harmonics, as sidebands would. Harmonics beyond the sample rate itself fold to
    that other side: where a sensor passes them, this sign is not seen.
    """
    half = facts.rate / 2
    power = facts.power[_SETTLING_BINS:-2]
    end = power[int(_END * power.size) :]
    usual = median(power)
    signs = []
    if end.size >= _END_BINS and (raised := median(end) / max(usual, 1e-300)) >= _END_RAISED:
        signs.append(f"the density at its end is {raised:.3g} times the usual one")
    if (folded := _folded_harmonics(facts.lines, facts)) is not None:
        base, found, tried = folded
        signs.append(f"of the harmonics of {base:.5g} Hz beyond it {found} of {tried} stand where they fold to")
    if not signs:
        return None
    says = (
        f"What lies above half the sample rate, {half:.5g} Hz, has folded back into the record: {'; and '.join(signs)}. Lines and "
        "levels may be none of the machine's: use an anti-alias filter or a higher sample rate, and see which lines move with it."
    )
    return Finding(Level.CAUTION, "quality.aliasing", f"up to {half:.5g} Hz", says)


def mains(facts: Facts) -> Finding | None:
    """Harmonics of the mains. A shaft at nearly that speed makes the same; one at a fraction of it shows lines between as well."""
    for nominal in _MAINS_HZ:
        found = mains_base(facts.lines.hz, bin_hz=facts.spectrum.bin_hz, nominal_hz=nominal)
        if found is None:
            continue
        base, harmonics = found
        share = sum(_line_power(facts, n * base) for n in harmonics)
        level = Level.CAUTION if share > _MAINS_STRONG else Level.NOTE
        says = (
            f"Lines at {', '.join(f'{n}' for n in harmonics)} times {base:.2f} Hz hold {100 * min(share, 1):.2g} % of the power: "
            "mains, by the sensor's cable (screen, earth at both ends) or by the motor itself, unless a shaft turns at that speed; "
            "record with the drive at rest: what stays is no vibration of the drive."
        )
        return Finding(level, "quality.mains", f"{base:.2f} Hz", says)
    return None


def carrier(facts: Facts) -> Finding | None:
    """The switching frequency of a frequency converter: a round frequency with pairs of lines about it at twice and four times the
    output frequency, and at once and five times about its double (D. G. Holmes and T. A. Lipo, Pulse Width Modulation for Power
    Converters, from memory). A mesh harmonic shows its fundamental as well.
    """
    lines, hz = facts.lines.hz, facts.spectrum.bin_hz
    top = facts.spectrum.values.size * hz
    for nominal in np.arange(_CARRIER_HZ[0], min(_CARRIER_HZ[1], top) + 1, _CARRIER_STEP_HZ):
        off = _PLACE_BINS * hz + _CARRIER_EXACT * nominal
        near = lines[np.abs(lines - nominal) < 2 * _OUTPUT_HZ[1]]
        lower, upper = near[near < nominal - 2 * _OUTPUT_HZ[0]], near[near > nominal + 2 * _OUTPUT_HZ[0]]
        if not (lower.size and upper.size) or _near(lines, [nominal / n for n in (2, 3, 4)], off).any():
            continue
        pairs = lower.size * upper.size * min(off / _OUTPUT_HZ[1], 1)  # that chance sets about it
        density = _density(lines, nominal - 600, nominal + 600, hz)
        middle = (lower[:, None] + upper) / 2
        for low, high in zip(*np.nonzero(np.abs(middle - nominal) <= off), strict=True):
            centre, output = middle[low, high], (upper[high] - lower[low]) / 4
            places = [centre - 4 * output, centre + 4 * output]
            places += [2 * centre + n * output for n in (-5, -1, 1, 5) if 2 * centre + 5 * output < top]
            found = int(_near(lines, places, 2 * _PLACE_BINS * hz).sum())
            if found >= 2 and _by_chance(found, len(places), 4 * _PLACE_BINS * density) * pairs < CHANCE:
                says = (
                    f"{found + 2} lines stand about {nominal:g} Hz at twice and four times {output:.4g} Hz, and about its double "
                    "at once and five times that: a frequency converter's carrier with its output frequency, in the sensor's cable "
                    "or as force in the motor. Keep bands for the envelope clear of it; run sensor cables apart from the motor's, "
                    "screened, earthed at one end."
                )
                return Finding(Level.CAUTION, "quality.carrier", f"{nominal:g} Hz", says)
    return None


def mains_base(lines_hz: NDArray[np.float64], *, bin_hz: float, nominal_hz: float) -> tuple[float, list[int]] | None:
    """Frequency of the mains [Hz] and its harmonics found, more than chance gives; None where there are none, or lines between.

    Parameters
    ----------
    lines_hz : ndarray, shape (lines,)
        Rising, none of them noise's. [Hz]
    bin_hz : float
        Of the spectrum. [Hz]
    nominal_hz : float
        Looked for within 0.4 %. [Hz]

    Examples
    --------
    >>> mains_base(np.array([12.3, 50.02, 100.04, 150.06, 300.12]), bin_hz=0.05, nominal_hz=50.0)
    (50.02, [1, 2, 3, 6])
    """
    reach = _PLACE_BINS * bin_hz
    density = _density(lines_hz, 0.0, (_MAINS_HARMONICS + 1) * nominal_hz, bin_hz)
    numbers = np.arange(1, _MAINS_HARMONICS + 1)
    bases = (lines_hz / numbers[:, None]).ravel()
    bases = bases[np.abs(bases - nominal_hz) <= _MAINS_BAND * nominal_hz]
    best = max(bases, key=lambda base: _near(lines_hz, numbers * base, reach).sum(), default=None)
    if best is None:
        return None
    found = _near(lines_hz, numbers * best, reach)
    between = _near(lines_hz, [best * part for n in range(2, 11) for part in (1 / n, 1 - 1 / n, 1 + 1 / n)], reach)
    tried = 1 + 2 * _MAINS_BAND * nominal_hz * _MAINS_HARMONICS / bin_hz  # bases that the finest harmonic tells apart
    chance = _by_chance(int(found.sum()), numbers.size, 2 * _PLACE_BINS * density) * tried
    if found.sum() < 3 or between.any() or chance > CHANCE:
        return None
    return float(best), [int(n) for n in numbers[found]]


def _folded_harmonics(lines: FoundLines, facts: Facts) -> tuple[float, int, int] | None:
    """Base, folded harmonics found and looked for, of the strong line that shows them best; None where none does."""
    half, hz = facts.rate / 2, facts.spectrum.bin_hz
    density = _density(lines.hz, 0.0, half, hz)
    for at in np.argsort(-lines.strength)[:_BASES]:
        base = float(lines.hz[at])
        beyond = [n for n in range(2, _HARMONICS + 1) if half < n * base < 2 * half]
        places = np.array([2 * half - n * base for n in beyond])
        reach = _PLACE_BINS * hz + float(lines.error_hz[at]) * np.array(beyond)
        away = np.abs(places - base * np.rint(places / base)) if beyond else places
        clear = (away > 4 * hz + reach) & (places > 4 * hz)  # else they fall on its own harmonics
        if clear.sum() < 3:
            continue
        places, reach = places[clear], reach[clear]
        found = _near(lines.hz, places, reach)
        mirrored = _near(lines.hz, 2 * base * np.rint(places / base) - places, reach)  # sidebands come in pairs
        count, chance = int(found.sum()), 2 * float(reach.max()) / hz * density
        if count >= 3 and 2 * (found & mirrored).sum() < count and _by_chance(count, places.size, chance) < CHANCE / _BASES:
            return base, count, places.size
    return None


def _line_power(facts: Facts, hz: float) -> float:
    """Share of the mean square that a line holds: the bins of its lobe."""
    at = round(hz / facts.spectrum.bin_hz)
    return float(facts.power[max(at - 2, 0) : at + 3].sum())


def _near(
    lines: NDArray[np.float64], places: Sequence[float] | NDArray[np.float64], reach: float | NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which of these places have a line within reach."""
    at = np.asarray(places, np.float64)
    if not lines.size:
        return np.zeros(at.size, np.bool_)
    right = np.clip(np.searchsorted(lines, at), 0, lines.size - 1)
    away = np.minimum(np.abs(lines[right] - at), np.abs(lines[np.maximum(right - 1, 0)] - at))
    return np.asarray(away <= reach)


def _density(lines: NDArray[np.float64], low: float, high: float, bin_hz: float) -> float:
    """Lines a bin between two frequencies."""
    return float(np.count_nonzero((lines > low) & (lines < high)) * bin_hz / (high - low))


def _by_chance(found: int, tried: int, chance: float) -> float:
    """Of at least so many of the places tried, each with this chance."""
    return float(scipy.special.bdtrc(found - 1, tried, min(chance, 1.0))) if found else 1.0
