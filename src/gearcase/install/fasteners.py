"""How tight: preload and torque of a structure's screw, with the scatter a torque wrench leaves.

A torque wrench sets a torque; the preload that comes of it depends on friction and scatters by a quarter to a third. So the
torque is given with the range of preloads it may make, and the highest is held against the proof load. This is for brackets and
plates. A sensor's stud is tightened by its data sheet, to a fraction of what the same screw would bear.

Calculators: `preload`, `tightening_torque`, `preload_from_torque`, `share_of_proof`. Tables: `screw_strength`, `nut_factor`.
Together: `tightening`, `stud_torque_ruling`.
"""

from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "PROOF_SHARE",
    "NutFactor",
    "ScrewStrength",
    "Tightening",
    "nut_factor",
    "preload",
    "preload_from_torque",
    "screw_strength",
    "share_of_proof",
    "stud_torque_ruling",
    "tightening",
    "tightening_torque",
]

PROOF_SHARE = 0.75  # of proof load, for a joint that is taken apart again; Shigley, Machinery's Handbook
_SOURCE = "T = K F d, Shigley and Machinery's Handbook"


@dataclass(frozen=True)
class ScrewStrength:
    """Proof and tensile strength of a grade at a size [Pa]; `system` of its threads, metric or unified."""

    grade: str
    system: str
    proof: float
    tensile: float
    source: str


@dataclass(frozen=True)
class NutFactor:
    """Friction of thread and seat in one number: the usual one and its scatter from screw to screw. [-]"""

    surface: str
    usual: float
    least: float
    most: float


@dataclass(frozen=True)
class Tightening:
    """A torque [N m], the preload it is meant to make and the range it may make [N], and what the rules say."""

    torque: float
    preload: float
    least_preload: float
    most_preload: float
    rulings: tuple[Ruling, ...]


@worked_by(formula="F = share x proof strength x As", unit="N", source="Shigley; Machinery's Handbook")
def preload(*, proof_strength: float, stress_area: float, share: float) -> float:
    """Preload of a screw at a share of its proof load. [N]

    Parameters
    ----------
    proof_strength : float
        [Pa]
    stress_area : float
        [m2]
    share : float
        [-]

    Raises
    ------
    OutOfRange
        Strength or area not above 0, or share not in (0, 1].

    Examples
    --------
    Row TM1F of ``fastener_checks.csv``, M6 of class 8.8:

    >>> preload(proof_strength=580e6, stress_area=20.1e-6, share=0.75)
    8743.5
    """
    above_zero(proof_strength=proof_strength, stress_area=stress_area)
    if not 0 < share <= 1:
        raise OutOfRange("share", share, "above 0, at most 1")
    return share * proof_strength * stress_area


@worked_by(formula="T = K F d", unit="N m", source=_SOURCE)
def tightening_torque(*, nut_factor: float, preload: float, diameter: float) -> float:
    """Torque that makes a preload. [N m]

    Parameters
    ----------
    nut_factor : float
        [-]
    preload : float
        [N]
    diameter : float
        Major diameter. [m]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Row TM1T of ``fastener_checks.csv``:

    >>> tightening_torque(nut_factor=0.2, preload=8743.5, diameter=6e-3)
    10.4922
    """
    above_zero(nut_factor=nut_factor, preload=preload, diameter=diameter)
    return nut_factor * preload * diameter


@worked_by(formula="F = T / (K d)", unit="N", source=_SOURCE)
def preload_from_torque(*, torque: float, nut_factor: float, diameter: float) -> float:
    """Preload that a torque makes; with the least and the most nut factor it gives the scatter. [N]

    Raises
    ------
    OutOfRange
        Anything not above 0.
    """
    above_zero(torque=torque, nut_factor=nut_factor, diameter=diameter)
    return torque / (nut_factor * diameter)


@worked_by(formula="share = F / (proof strength x As)", unit="-", source="definition")
def share_of_proof(*, preload: float, proof_strength: float, stress_area: float) -> float:
    """How much of its proof load a preload is. [-]

    Raises
    ------
    OutOfRange
        Anything not above 0.
    """
    above_zero(preload=preload, proof_strength=proof_strength, stress_area=stress_area)
    return preload / (proof_strength * stress_area)


def screw_strength(grade: str, *, diameter: float) -> ScrewStrength:
    """Strength of a grade at a size.

    Parameters
    ----------
    grade : str
        Of ``tables/screw_strengths.csv``, e.g. ``8.8`` or ``SAE 5``.
    diameter : float
        Major diameter. [m]

    Raises
    ------
    OutOfRange
        The table does not hold the grade, or not at this size.

    Examples
    --------
    >>> screw_strength("8.8", diameter=20e-3).proof
    600000000.0
    """
    rows = [row for row in load("screw_strengths") if row["grade"] == grade]
    if not rows:
        held = ", ".join(dict.fromkeys(row["grade"] for row in load("screw_strengths")))
        raise OutOfRange("grade", repr(grade), f"one of the table's: {held}")
    for row in rows:
        if float(row["above_mm"]) < 1000 * diameter <= float(row["to_mm"]) + 1e-9:
            return ScrewStrength(
                grade, row["system"], float(row["proof_mpa"]) * 1e6, float(row["tensile_mpa"]) * 1e6, row["source"]
            )
    raise OutOfRange("diameter", diameter, f"above 0, at most {float(rows[-1]['to_mm']) / 1000} m for grade {grade}")


def nut_factor(surface: str) -> NutFactor:
    """Nut factor of a surface, ``dry`` or ``oiled``, with its scatter.

    Raises
    ------
    OutOfRange
        The table does not hold this surface.
    """
    for row in load("nut_factors"):
        if row["surface"] == surface:
            return NutFactor(surface, float(row["nut_factor"]), float(row["least"]), float(row["most"]))
    raise OutOfRange("surface", repr(surface), f"one of: {', '.join(row['surface'] for row in load('nut_factors'))}")


def tightening(*, strength: ScrewStrength, friction: NutFactor, diameter: float, stress_area: float) -> Tightening:
    """Torque of a structure's screw at `PROOF_SHARE` of its proof load, and what the scatter of friction makes of it.

    Parameters
    ----------
    strength : ScrewStrength
    friction : NutFactor
    diameter : float
        Major diameter. [m]
    stress_area : float
        [m2]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    M6 of class 8.8 dry: 10.5 N m, preload 8.7 kN meant, 6.7 to 12.5 kN possible: more than its proof load, so oil it.

    >>> strength = screw_strength("8.8", diameter=6e-3)
    >>> made = tightening(strength=strength, friction=nut_factor("dry"), diameter=6e-3, stress_area=20.1e-6)
    >>> made.torque, made.least_preload, made.most_preload, made.rulings[0].holds
    (10.49, 6726., 12491., False)
    """
    meant = preload(proof_strength=strength.proof, stress_area=stress_area, share=PROOF_SHARE)
    torque = tightening_torque(nut_factor=friction.usual, preload=meant, diameter=diameter)
    most = preload_from_torque(torque=torque, nut_factor=friction.least, diameter=diameter)
    safe = friction.least * strength.proof * stress_area * diameter
    return Tightening(
        torque=torque,
        preload=meant,
        least_preload=preload_from_torque(torque=torque, nut_factor=friction.most, diameter=diameter),
        most_preload=most,
        rulings=(
            Ruling(
                what=f"highest preload over proof load, {friction.surface}",
                value=share_of_proof(preload=most, proof_strength=strength.proof, stress_area=stress_area),
                unit="-",
                most=1.0,
                cure=f"oil threads and seat, or tighten to {safe:.3g} N m at most",
                source=_SOURCE,
            ),
        ),
    )


def stud_torque_ruling(*, torque: float, sheet_least: float, sheet_most: float) -> Ruling:
    """Whether a sensor's stud is tightened as its data sheet says. [N m]

    Raises
    ------
    OutOfRange
        The sheet's range does not run upwards from above 0.

    Examples
    --------
    A 1/4-28 stud at a bracket bolt's torque, with the usual 2.7 to 6.8 N m of data sheets (from memory):

    >>> stud_torque_ruling(torque=13.0, sheet_least=2.7, sheet_most=6.8).shortfall
    6.2
    """
    if not 0 < sheet_least <= sheet_most:
        raise OutOfRange("sheet_least", sheet_least, f"above 0, at most {sheet_most} N m")
    return Ruling(
        what="torque of a sensor's stud",
        value=torque,
        unit="N m",
        cure=f"{sheet_least:.3g} to {sheet_most:.3g} N m, by its data sheet: more distorts the base, less lowers the resonance",
        source="the sensor's data sheet; ISO 5348 general advice (from memory)",
        least=sheet_least,
        most=sheet_most,
    )
