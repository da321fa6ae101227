"""Measuring points: which sensor stands where, on what mount."""

from dataclasses import dataclass

from gearcase.install.housing import Hole, Wall

__all__ = ["SUMP", "Point", "Sensor"]

SUMP = "sump"  # where the oil's temperature is read; no measuring point of the job


@dataclass(frozen=True)
class Sensor:
    """A vibration sensor as its data sheet describes it. Frequencies in Hz; None where nobody has said.

    `kind` is ``"waveform"`` (delivers samples) or ``"overall"`` (delivers one figure, and cannot tell bearing from
    gear). `mass` in kg, `range` in m/s2, diameter of the `base` in m, `hottest` surface it stands in K; `resonance_hz`
    mounted ideally, and the torque of its stud from `torque_least` to `torque_most` in N m.
    """

    kind: str = "waveform"
    lowest_hz: float | None = None
    highest_hz: float | None = None
    axes: int = 1
    mass: float | None = None
    range: float | None = None
    base: float | None = None
    hottest: float | None = None
    resonance_hz: float | None = None
    torque_least: float | None = None
    torque_most: float | None = None


@dataclass(frozen=True)
class Point:
    """A measuring point.

    Attributes
    ----------
    name : str
    sensor : Sensor
    mount : str
        A `mount` of ``tables/mounts.csv``; empty when not yet decided.
    bearing : str
        The bearing whose housing it stands on; empty for a spot elsewhere.
    face : str
        Housing face, e.g. ``top``; empty when not stated.
    direction : str
        ``radial`` or ``axial``; empty when not stated.
    at : tuple of float or None
        Place on the face, from its lower left corner. [m]
    wall : Wall or None
        At this spot; None while nobody has said.
    hole : Hole or None
        The tapped hole wanted for a stud; None for a bonded or magnetic mount.
    clock : float or None
        Where the sensor's mark points, seen from outside. [hours]
    dynamic_mass : float or None
        Of the spot, force over acceleration. [kg]
    bond_line : float or None
        Thickness of the bond line. [m]
    """

    name: str
    sensor: Sensor
    mount: str = ""
    bearing: str = ""
    face: str = ""
    direction: str = ""
    at: tuple[float, float] | None = None
    wall: Wall | None = None
    hole: Hole | None = None
    where: str = ""
    clock: float | None = None
    dynamic_mass: float | None = None
    bond_line: float | None = None
