"""Whether a device sends what its register map says, told from what is known: constants, gravity at rest, a reference reading.

A map goes wrong in few ways: the other word first, bytes swapped, everything a register later or earlier, a scale wrong by a power
of ten, another unit. Each is tried on the words that came; those that give the known values fit. Where one fits it is told; where
several do, they are named with their odds by how common each slip is (``map_slips.csv``, assumed), and it cannot be told.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.install.profile import Profile
from gearcase.install.register import ORDERS, Register, WordOrder, decode
from gearcase.tables import load

__all__ = ["Fit", "Known", "Reading", "check_map", "find_word_order", "reading_of"]

_FAR = 3.0  # deviations beyond which a reading does not fit
_SHIFTS = (0, 1, -1)


@dataclass(frozen=True)
class Known:
    """What registers must read: one value, or the length of a vector of three.

    `value` and `within`, one standard deviation of what it may be off, in SI.
    """

    registers: tuple[str, ...]
    value: float
    within: float


@dataclass(frozen=True)
class Fit:
    """One way to read a device that gives what is known: in words, and its share of all ways that do. [-]"""

    says: str
    share: float


@dataclass(frozen=True)
class Reading:
    """Every way that fits, likeliest first; none where nothing does."""

    fits: tuple[Fit, ...]

    @property
    def told(self) -> str:
        """The only way that fits; empty where there is none, or more than one."""
        return self.fits[0].says if len(self.fits) == 1 else ""

    @property
    def says(self) -> str:
        """In words.

        >>> Reading((Fit("sent in g, not m/s2", 0.625), Fit("scale 10 where the profile says 1", 0.375))).says
        'cannot tell: 2 readings fit: sent in g, not m/s2 (odds 1.7 to 1); scale 10 where the profile says 1 (odds 1 to 1.7)'
        """
        if not self.fits:
            return "no reading of it fits: another device, another register, or a fault"
        if len(self.fits) == 1:
            return self.fits[0].says
        return f"cannot tell: {len(self.fits)} readings fit: {'; '.join(f'{one.says} ({_odds(one.share)})' for one in self.fits)}"


def check_map(
    form: Profile, words: Mapping[tuple[int, int], int], known: Sequence[Known]
) -> tuple[Reading, dict[tuple[str, ...], Reading]]:
    """How a device's words must be read.

    Parameters
    ----------
    form : Profile
        What it is said to be; constants in it are known exactly.
    words : mapping
        (function, address) -> word: around every register concerned one more before and behind, where the device gives them.
    known : sequence of Known

    Returns
    -------
    layout, scales
        Order and shift of the whole map; scale and unit of each known value, by its registers.
    """
    odds = {row["slip"]: float(row["odds"]) for row in load("map_slips")}
    several = any(one.words > 1 for one in form.rows)
    weights: dict[str, float] = {}
    slips: dict[tuple[str, ...], dict[str, float]] = {one.registers: {} for one in known}
    for swapped, flipped, shift in itertools.product((False, True), (False, True) if several else (False,), _SHIFTS):
        says = [*(["low word first"] if flipped else []), *(["bytes swapped"] if swapped else [])]
        says += [f"shifted by {shift}"] if shift else []
        weight = math.prod(odds[one] for one in says) * _constants_hold(form, words, swapped, flipped, shift)
        found = [_slips(form, words, one, swapped, flipped, shift) if weight else {} for one in known]
        total = weight * math.prod(sum(ways.values()) for ways in found)
        if not total:
            continue
        weights[_layout(form, flipped, says)] = total
        for one, ways in zip(known, found, strict=True):
            for way, share in ways.items():
                held = slips[one.registers]
                held[way] = held.get(way, 0.0) + total * share / sum(ways.values())
    return _reading(weights), {registers: _reading(ways) for registers, ways in slips.items()}


def reading_of(registers: Sequence[Register], values: Sequence[float], *, known: float, within: float) -> Reading:
    """How values read by the profile's scale and unit must be read, where what they must be is known.

    Parameters
    ----------
    registers : sequence of Register
        One, or three of a vector.
    values : sequence of float
        In SI, as the profile reads them.
    known, within : float
        What it is, or the vector's length, and one standard deviation of what it may be off. [SI]

    Examples
    --------
    A sensor at rest that sends g where its profile says m/s2; sent tenfold would be nearly the same:

    >>> from gearcase.install.profile import profile
    >>> axes = [profile("three-axis vibration").registers[f"gravity {axis}"] for axis in "xyz"]
    >>> reading_of(axes, [0.0, 1.0, 0.0], known=9.80665, within=0.01).says
    'sent in g, not m/s2'
    """
    shown = [units.shown(value, one.kind, one.unit) if one.kind else value for one, value in zip(registers, values, strict=True)]
    return _reading(_ways(registers, shown, Known((), known, within)))


def _ways(registers: Sequence[Register], shown: Sequence[float], known: Known) -> dict[str, float]:
    """Slip -> its odds times how well it fits, of values as they are shown in the profile's unit."""
    first = registers[0]
    found = {}
    for row in load("map_slips"):
        factor, unit = float(row["factor"]), row["unit"] or first.unit
        if row["slip"] not in ("as the profile says", "scale", "unit") or (row["kind"] or first.kind) != first.kind:
            continue
        if row["slip"] == "unit" and unit == first.unit:
            continue
        try:
            values = [
                units.convert(factor * (value - one.offset) + one.offset, unit, first.kind) if first.kind else factor * value
                for one, value in zip(registers, shown, strict=True)
            ]
        except OutOfRange:  # colder than anything
            continue
        value = values[0] if len(values) == 1 else math.hypot(*values)
        off = abs(value - known.value) / known.within
        if off <= _FAR:
            says = row["slip"]
            if says == "scale":
                says = f"scale {factor * first.scale:g} where the profile says {first.scale:g}"
            elif says == "unit":
                says = f"sent in {unit}, not {first.unit}"
            found[says] = float(row["odds"]) * math.exp(-(off**2) / 2)
    return found


def _slips(
    form: Profile, words: Mapping[tuple[int, int], int], known: Known, swapped: bool, flipped: bool, shift: int
) -> dict[str, float]:
    registers = [form.registers[name] for name in known.registers]
    shown = [_shown(one, words, swapped, flipped, shift) for one in registers]
    values = [value for value in shown if value is not None]
    return _ways(registers, values, known) if len(values) == len(registers) else {}


def _constants_hold(form: Profile, words: Mapping[tuple[int, int], int], swapped: bool, flipped: bool, shift: int) -> bool:
    for one in (*form.with_role("constant"), *form.with_role("model")):
        if one.address + shift < 0 or one.constant is None:  # shifted forward, it fell off the front
            continue
        shown = _shown(one, words, swapped, flipped, shift)
        if shown is None or not math.isclose(shown, one.constant, rel_tol=1e-6):
            return False
    return True


def _shown(register: Register, words: Mapping[tuple[int, int], int], swapped: bool, flipped: bool, shift: int) -> float | None:
    """Value in the profile's unit by another order and place; None where words are missing or it is no number."""
    places = [(register.function, register.address + shift + n) for n in range(register.words)]
    if any(place not in words for place in places):
        return None
    order = ORDERS[ORDERS.index(register.order) ^ (2 * swapped + flipped)]
    plain = replace(register, kind="", unit="", low=None, high=None)
    try:
        return decode(plain, [words[place] for place in places], order)
    except OutOfRange:
        return None


def _layout(form: Profile, flipped: bool, says: Sequence[str]) -> str:
    if flipped and all(one.order.startswith("low") for one in form.rows if one.words > 1):
        says = ["high word first" if one == "low word first" else one for one in says]
    return ", ".join(says) or "as the profile says"


def _reading(weights: Mapping[str, float]) -> Reading:
    total = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda one: -one[1])
    return Reading(tuple(Fit(says, weight / total) for says, weight in ranked))


def _odds(share: float) -> str:
    """
    >>> _odds(0.75), _odds(0.2)
    ('odds 3 to 1', 'odds 1 to 4')
    """
    against = max(1 - share, 1e-9)
    return f"odds {share / against:.2g} to 1" if share >= against else f"odds 1 to {against / max(share, 1e-9):.2g}"


def find_word_order(profile: Profile, words: Sequence[int]) -> tuple[WordOrder | None, int]:
    """Which word comes first, and by how many registers the map is shifted, told from the profile's constants.

    Parameters
    ----------
    profile : Profile
    words : sequence of int
        The device's registers from 0 on, two more than the constants take.

    Returns
    -------
    order, shift
        Order None where no order and no shift of one makes all constants right. A shift of 1 means that every value stands
        one register later than the profile says: the device's sheet counts registers from 1.
    """
    constants = profile.with_role("constant")
    for shift in (0, 1, -1):
        for order in ORDERS:
            if constants and all(_constant_holds(one, words, shift, order) for one in constants):
                return order, shift
    return None, 0


def _constant_holds(register: Register, words: Sequence[int], shift: int, order: WordOrder) -> bool:
    start = register.address + shift
    if start < 0:  # shifted forward, the first constant fell off the front
        return True
    given = words[start : start + register.words]
    if len(given) != register.words or register.constant is None:
        return False
    try:
        return math.isclose(decode(register, given, order), register.constant, rel_tol=1e-6)
    except OutOfRange:
        return False
