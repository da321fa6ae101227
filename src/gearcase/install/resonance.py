"""At what frequency a sensor on its mount rings, from the parts between it and the housing.

Every part (stud, pad, bond line, magnet) is a spring under the mass above it, and the sensor has a resonance of its own. The whole
stack rings lower than any of its parts: 1/f^2 = sum of 1/f_i^2 (Dunkerley: never above the true lowest). Below a fraction of that
resonance amplitudes are true; `mounting` grades lines by it. A base on a panel too light for it changes what it measures.

Stiffness from area, thickness and modulus leaves out the contact of the faces, which in practice decides: a bound from above. A tap
test on the finished mount is the only proof.

Calculators: `layer_stiffness`, `contact_stiffness`, `disc_area`, `disc_mass`, `mass_above`, `mounted_resonance`,
`combined_resonance`, `usable_fraction`, `usable_hz`, `response_factor`, `loaded_share`. Rules: `mass_ruling`.
"""

import math

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.worked import worked_by

__all__ = [
    "TRUE_WITHIN",
    "combined_resonance",
    "contact_stiffness",
    "disc_area",
    "disc_mass",
    "layer_stiffness",
    "loaded_share",
    "mass_above",
    "mass_ruling",
    "mounted_resonance",
    "response_factor",
    "usable_fraction",
    "usable_hz",
]

TRUE_WITHIN = 0.10  # error up to which an amplitude counts as true, as in tables/mounts.csv
_LIGHT = 0.1  # sensor and pad over local dynamic mass; ISO 5348 general advice (from memory)
_MODEL = "single degree of freedom on a rigid base"


@worked_by(formula="k = E A / t", unit="N/m", source="textbook: a layer or rod in tension")
def layer_stiffness(*, modulus: float, area: float, thickness: float) -> float:
    """Stiffness of a pad, a bond line, or of a stud over its free length. [N/m]

    Parameters
    ----------
    modulus : float
        At running temperature. [Pa]
    area : float
        Of the layer, or the stress area of the stud. [m2]
    thickness : float
        Of the layer, or free length of the stud. [m]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    A bond line of 0.2 mm under a pad of 25 mm, adhesive of 1 GPa:

    >>> layer_stiffness(modulus=1e9, area=490.87e-6, thickness=0.2e-3)
    2454350000.0
    """
    above_zero(modulus=modulus, area=area, thickness=thickness)
    return modulus * area / thickness


@worked_by(formula="A = pi d^2 / 4", unit="m2", source="geometry")
def disc_area(*, diameter: float) -> float:
    """Area of a round pad. [m2]

    Raises
    ------
    OutOfRange
        Diameter not above 0.

    Examples
    --------
    >>> 1e6 * disc_area(diameter=0.025)
    490.87
    """
    above_zero(diameter=diameter)
    return math.pi / 4 * diameter**2


@worked_by(formula="m = rho pi d^2 / 4 t", unit="kg", source="geometry")
def disc_mass(*, diameter: float, thickness: float, density: float) -> float:
    """Mass of a round pad. [kg]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    A steel pad of 30 mm, 8 mm thick:

    >>> disc_mass(diameter=0.030, thickness=0.008, density=7850.0)
    0.04439
    """
    above_zero(thickness=thickness, density=density)
    return density * disc_area(diameter=diameter) * thickness


@worked_by(formula="m = sensor + pad or magnet", unit="kg", source="definition")
def mass_above(*, sensor: float, carrier: float) -> float:
    """What a mount's spring carries: the sensor, and the pad or magnet it sits on. [kg]

    Examples
    --------
    >>> mass_above(sensor=0.08, carrier=0.05)
    0.13
    """
    return sensor + carrier


@worked_by(formula="k = m (2 pi f_true / 0.3015)^2", unit="N/m", source=f"{_MODEL}, undamped; true to 10 %")
def contact_stiffness(*, true_hz: float, mass: float) -> float:
    """Stiffness of a mount's contact from how high it is true, 10 %, for a mass. [N/m]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Back by row MR12 of ``mounting_checks.csv``, usable to 10 % up to 0.3015 of the resonance:

    >>> 0.3015113446 * mounted_resonance(stiffness=contact_stiffness(true_hz=2000.0, mass=0.115), mass=0.115)
    2000.0
    """
    above_zero(true_hz=true_hz, mass=mass)
    return mass * (2 * math.pi * true_hz / usable_fraction(error=TRUE_WITHIN)) ** 2


@worked_by(formula="f = sqrt(k / m) / (2 pi)", unit="Hz", source=_MODEL)
def mounted_resonance(*, stiffness: float, mass: float) -> float:
    """Resonance of a mass on a spring. [Hz]

    Parameters
    ----------
    stiffness : float
        [N/m]
    mass : float
        [kg]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Row MR41 of ``mounting_checks.csv``:

    >>> mounted_resonance(stiffness=1e8, mass=0.05)
    7117.625434
    """
    above_zero(stiffness=stiffness, mass=mass)
    return math.sqrt(stiffness / mass) / (2 * math.pi)


@worked_by(formula="1/f^2 = sum of 1/f_i^2", unit="Hz", source="Dunkerley's formula, a lower bound of the lowest resonance")
def combined_resonance(**resonances_hz: float) -> float:
    """Resonance of a stack from those of its parts alone, each by its name. [Hz]

    Raises
    ------
    OutOfRange
        No part, or a resonance not above 0.

    Examples
    --------
    A sensor of 100 g on a stud in a pad of 60 g, on a warm soft bond line of 0.2 mm (20 MPa) over 25 mm:

    >>> stud = layer_stiffness(modulus=200e9, area=23.5e-6, thickness=3e-3)
    >>> bond = layer_stiffness(modulus=20e6, area=490.87e-6, thickness=0.2e-3)
    >>> alone = dict(stud=mounted_resonance(stiffness=stud, mass=0.10), bond=mounted_resonance(stiffness=bond, mass=0.16))
    >>> combined_resonance(sensor=25e3, **alone)
    2744.1
    """
    if not resonances_hz:
        raise OutOfRange("resonances_hz", "none", "the resonance of one part at least")
    above_zero(**resonances_hz)
    return 1 / math.sqrt(math.fsum(1 / hz**2 for hz in resonances_hz.values()))


@worked_by(formula="f / f_n = sqrt(1 - 1 / (1 + error))", unit="-", source=f"{_MODEL}, undamped")
def usable_fraction(*, error: float) -> float:
    """Share of the mounted resonance up to which a reading is high by no more than an error. [-]

    0.22, 0.30 and 0.54 for 5 %, 10 % and 3 dB.

    Parameters
    ----------
    error : float
        0.1 for 10 %. [-]

    Raises
    ------
    OutOfRange
        Error not above 0.

    Examples
    --------
    Row MR12 of ``mounting_checks.csv``:

    >>> usable_fraction(error=0.1)
    0.3015113446
    """
    above_zero(error=error)
    return math.sqrt(1 - 1 / (1 + error))


@worked_by(formula="f_max = f_n sqrt(1 - 1 / (1 + error))", unit="Hz", source=f"{_MODEL}, undamped")
def usable_hz(*, resonance_hz: float, error: float) -> float:
    """Frequency up to which a mount's reading is high by no more than an error. [Hz]

    Parameters
    ----------
    resonance_hz : float
        [Hz]
    error : float
        [-]

    Raises
    ------
    OutOfRange
        Anything not above 0.
    """
    above_zero(resonance_hz=resonance_hz)
    return resonance_hz * usable_fraction(error=error)


@worked_by(formula="factor = 1 / sqrt((1 - r^2)^2 + (2 zeta r)^2), r = f / f_n", unit="-", source=_MODEL)
def response_factor(*, frequency_ratio: float, damping: float) -> float:
    """How much a mount's resonance lifts (above 1) or drops a reading. [-]

    Parameters
    ----------
    frequency_ratio : float
        Frequency over mounted resonance. [-]
    damping : float
        Share of critical; 0 for undamped. [-]

    Raises
    ------
    OutOfRange
        Ratio or damping below 0, or an undamped mount at its resonance.

    Examples
    --------
    Row MR204 of ``mounting_checks.csv``:

    >>> response_factor(frequency_ratio=0.5, damping=0.0)
    1.333333333
    """
    if frequency_ratio < 0 or damping < 0:
        raise OutOfRange("frequency_ratio and damping", (frequency_ratio, damping), "0 or more")
    below = math.hypot(1 - frequency_ratio**2, 2 * damping * frequency_ratio)
    if below == 0:
        raise OutOfRange("damping", damping, "above 0 at the resonance itself")
    return 1 / below


@worked_by(formula="share = sqrt(m / (m + added))", unit="-", source=_MODEL)
def loaded_share(*, dynamic_mass: float, added_mass: float) -> float:
    """What an added mass leaves of the frequency of a local resonance: 0.953 for a tenth. [-]

    Parameters
    ----------
    dynamic_mass, added_mass : float
        Of the spot (force over acceleration, ISO 7626-1), and of sensor and pad. [kg]

    Raises
    ------
    OutOfRange
        Anything not above 0.
    """
    above_zero(dynamic_mass=dynamic_mass, added_mass=added_mass)
    return math.sqrt(dynamic_mass / (dynamic_mass + added_mass))


def mass_ruling(*, sensor_mass: float, pad_mass: float, dynamic_mass: float) -> Ruling:
    """Whether sensor and pad are light enough for the spot: at most a tenth of its dynamic mass.

    Parameters
    ----------
    sensor_mass, pad_mass, dynamic_mass : float
        Pad 0 where there is none. [kg]

    Raises
    ------
    OutOfRange
        Sensor or dynamic mass not above 0, or pad below 0.

    Examples
    --------
    A sensor of 150 g with a pad of 60 g on a cover of 1 kg:

    >>> mass_ruling(sensor_mass=0.15, pad_mass=0.06, dynamic_mass=1.0).cure
    'a spot of 2.1 kg dynamic mass or more (a bearing boss), or a sensor and pad of 100 g together'
    """
    above_zero(sensor_mass=sensor_mass, dynamic_mass=dynamic_mass)
    if pad_mass < 0:
        raise OutOfRange("pad_mass", pad_mass, "0 kg or more")
    added = sensor_mass + pad_mass
    return Ruling(
        what="sensor and pad over local dynamic mass",
        value=added / dynamic_mass,
        unit="-",
        most=_LIGHT,
        cure=(
            f"a spot of {added / _LIGHT:.2g} kg dynamic mass or more (a bearing boss), or a sensor and pad of "
            f"{1000 * _LIGHT * dynamic_mass:.0f} g together"
        ),
        source="ISO 5348 general advice (from memory): one tenth",
    )
