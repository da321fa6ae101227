"""Which adhesive for this metal and its temperatures, and what strength and bandwidth are left hot.

Strength and stiffness fall with heat; both are taken at the running temperature, by one law: the same share is lost for each kelvin
above 23 degC. How large the pad must be stands in `bond_strength`. The figures in the table are generic: the adhesive's data sheet
decides.

`adhesive`, `choose_adhesive`. Calculators: `share_left`, `true_hz_hot`. Rules: `bond_line_ruling`.
"""

import functools
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.bonding import REFERENCE
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = ["Adhesive", "AdhesiveChoice", "adhesive", "bond_line_ruling", "choose_adhesive", "share_left", "true_hz_hot"]

_PAD_HOT = 353.15  # K, 80 degC, at which the hot bonded pad of tables/mounts.csv is taken; common practice, no source
_ZERO_C = 273.15
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Adhesive:
    """A generic adhesive. Temperatures in K, lengths in m, strength in Pa, times at 23 degC in s.

    `coldest` to `hottest` is where it may serve; `least_line` to `most_line` the bond line; at `half_at` half its strength is left.
    """

    name: str
    substrates: tuple[str, ...]
    coldest: float
    hottest: float
    least_line: float
    most_line: float
    shear_strength: float
    half_at: float
    open_time: float
    fixture_time: float
    full_time: float
    says: str
    source: str


@dataclass(frozen=True)
class AdhesiveChoice:
    """An adhesive held against a place: its rulings, all holding or the reason why not; an unfit metal stands in `unfit`."""

    adhesive: Adhesive
    rulings: tuple[Ruling, ...]
    unfit: str

    @property
    def fits(self) -> bool:
        """Whether it may be used here."""
        return not self.unfit and all(ruling.holds for ruling in self.rulings)


def adhesive(name: str) -> Adhesive:
    """A generic adhesive by name.

    Raises
    ------
    OutOfRange
        The table does not hold it.
    """
    for one in _adhesives():
        if one.name == name:
            return one
    raise OutOfRange("adhesive", repr(name), f"one of: {', '.join(one.name for one in _adhesives())}")


def choose_adhesive(*, substrate: str, coldest: float, hottest: float) -> tuple[AdhesiveChoice, ...]:
    """Every adhesive held against a metal and its temperatures; those that fit first, in the table's order.

    Parameters
    ----------
    substrate : str
        What the bond will hold on, e.g. ``bare iron``; ``paint`` fits none: the paint peels.
    coldest, hottest : float
        Of the metal over the year and at full load. [K]

    Raises
    ------
    OutOfRange
        The coldest above the hottest.

    Examples
    --------
    A grey iron housing that runs at 90 degC:

    >>> [choice.adhesive.name for choice in choose_adhesive(substrate="bare iron", coldest=263.15, hottest=363.15) if choice.fits]
    ['two-part methacrylate', 'hot-service epoxy']
    """
    if coldest > hottest:
        raise OutOfRange("coldest", coldest, f"at most the hottest, {hottest} K")
    choices = []
    for one in _adhesives():
        rulings = (
            Ruling(
                what=f"hottest metal under {one.name}",
                value=hottest,
                unit="K",
                cure="an adhesive for hotter metal, a cooler spot, or a stud in a measured wall",
                source=one.source,
                most=one.hottest,
            ),
            Ruling(
                what=f"coldest metal under {one.name}",
                value=coldest,
                unit="K",
                cure="an adhesive for colder metal, or a stud in a measured wall",
                source=one.source,
                least=one.coldest,
            ),
        )
        unfit = ""
        if substrate not in one.substrates:
            unfit = f"not on {substrate}: strip it to bright metal over the pad and 10 mm around ({', '.join(one.substrates)})"
        choices.append(AdhesiveChoice(one, rulings, unfit))
    return tuple(sorted(choices, key=lambda choice: not choice.fits))


@worked_by(formula="share = known share^((T - 23 degC) / (T_known - 23 degC))", unit="-", source=_PRACTICE)
def share_left(*, temperature: float, known_share: float, known_temperature: float) -> float:
    """Share of a property at 23 degC that is left hot; 1 at 23 degC and below. [-]

    Parameters
    ----------
    temperature, known_temperature : float
        [K]
    known_share : float
        Left at the known temperature, 0.5 where it has halved. [-]

    Raises
    ------
    OutOfRange
        Known temperature not above 23 degC, or share not in (0, 1].

    Examples
    --------
    A methacrylate that has lost half at 85 degC, on metal of 100 degC:

    >>> share_left(temperature=373.15, known_share=0.5, known_temperature=358.15)
    0.4228
    """
    if known_temperature <= REFERENCE:
        raise OutOfRange("known_temperature", known_temperature, f"above {REFERENCE} K, 23 degC")
    if not 0 < known_share <= 1:
        raise OutOfRange("known_share", known_share, "above 0, at most 1")
    return float(known_share ** (max(0.0, temperature - REFERENCE) / (known_temperature - REFERENCE)))


@worked_by(
    formula="f_hot = f_cold (f_pad,80 / f_pad,23)^((T - 23 degC) / 57 K)",
    unit="Hz",
    source="trade rule (from memory): a bonded pad is true to 3 to 5 kHz cold, 1 to 2.5 kHz hot; tables/mounts.csv",
)
def true_hz_hot(*, true_hz_cold: float, temperature: float) -> float:
    """Frequency to which a bonded mount still shows true amplitude on hot metal. [Hz]

    Parameters
    ----------
    true_hz_cold : float
        At 23 degC. [Hz]
    temperature : float
        Of the metal, running. [K]

    Raises
    ------
    OutOfRange
        Frequency not above 0.

    Examples
    --------
    A bonded pad on metal of 60 degC loses four tenths of its band:

    >>> true_hz_hot(true_hz_cold=4000.0, temperature=333.15)
    2338.9
    """
    above_zero(true_hz_cold=true_hz_cold)
    rows = {row["mount"]: float(row["true_hz"]) for row in load("mounts")}
    share = rows["hot adhesive pad"] / rows["adhesive pad"]
    return true_hz_cold * share_left(temperature=temperature, known_share=share, known_temperature=_PAD_HOT)


def bond_line_ruling(one: Adhesive, *, thickness: float) -> Ruling:
    """Whether a bond line is as thick as its adhesive wants: thinner starves, thicker softens. [m]"""
    cure = f"{1000 * one.least_line:.2f} to {1000 * one.most_line:.2f} mm: glass beads or a wire of that size, pressed with a twist"
    return Ruling("bond line", thickness, "m", cure, one.source, least=one.least_line, most=one.most_line)


@functools.cache
def _adhesives() -> tuple[Adhesive, ...]:
    return tuple(
        Adhesive(
            name=row["adhesive"],
            substrates=tuple(row["substrates"].split(";")),
            coldest=float(row["coldest_c"]) + _ZERO_C,
            hottest=float(row["hottest_c"]) + _ZERO_C,
            least_line=float(row["least_line_mm"]) / 1000,
            most_line=float(row["most_line_mm"]) / 1000,
            shear_strength=float(row["shear_mpa"]) * 1e6,
            half_at=float(row["half_at_c"]) + _ZERO_C,
            open_time=float(row["open_min"]) * 60,
            fixture_time=float(row["fixture_min"]) * 60,
            full_time=float(row["full_h"]) * 3600,
            says=row["says"],
            source=row["source"],
        )
        for row in load("adhesives")
    )
