"""What the rig's drive lets be heard at one bearing, with everything that is wrong with it: `heard`.

Waveforms come from `drive.simulate` and `drive.shaft_faults`, which share no code with `signal` or `judge`. What is the drive's own
reaches all three axes of a sensor; what shakes the whole housing has its direction in the machine's axes H, V, A. `places` says
where a kind of fault may stand.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gearcase import units
from gearcase.device.rig.faults import KINDS
from gearcase.drive.bearing_lines import bearing_order, bearing_rings
from gearcase.drive.gear_faults import Eccentricity, GearFault, HuntingTooth, Knock, MeshMisalignment, ToothDamage, Wear
from gearcase.drive.shaft_faults import (
    BentShaft,
    Channel,
    Clicks,
    Fluting,
    Hiss,
    Hum,
    Looseness,
    Misalignment,
    Neighbour,
    ShaftFault,
    Situation,
    Unbalance,
    shaken,
)
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, Mesh
from gearcase.errors import OutOfRange

__all__ = ["DRY_RISE", "STATES", "heard", "places"]

STATES = ("steady", "unloaded", "uncoupled", "run-up", "coast-down", "overrunning")
DRY_RISE = 5.0  # K a dry bearing warms its housing for each m/s2 of its hiss; invented
_STILL = Levels(shaft=0.0, mesh=0.0, noise_rms=0.003)
_RUNNING = Levels(shaft=0.02, mesh=0.8, noise_rms=0.5)
_SHARES = np.array([[0.6], [0.8], [1.0]])  # of the drive's own sound along x, y and z; z stands on the bearing
_ELSEWHERE = 0.1  # of a knock that reaches the sensor on another bearing; invented
_HISSES_ABOVE_HZ = 4500.0
_SUPPLY_HZ = 50.0  # of a motor nobody has described; invented
_SPRAGS = 14.0  # of a backstop nobody has described; invented
_MULTIPLES = 3  # of a neighbour's line; invented
_RACES = ("outer race", "inner race", "rolling element", "cage")
_HUMP_HZ = 2000.0  # where the hump of fluting stands at rated speed; invented
_STEADY = ("steady", "unloaded", "uncoupled", "overrunning")
_BOTH_IN = " in "  # between a shaft and its mesh


def places(drive: Drive, kind: str) -> tuple[str, ...]:
    """Where a kind of fault of the drive may stand; none where it stands at nothing or at a frequency."""
    match KINDS[kind].place:
        case "bearing":
            return tuple(one.name for one in drive.bearings if one.geometry is not None)
        case "shaft":
            return tuple(one.name for one in drive.shafts if not one.held)
        case "mesh":
            return tuple(one.name for one in drive.meshes if one.pinion_teeth and one.wheel_teeth)
        case "gear":
            pairs = [(side, one) for one in drive.meshes for side in (one.pinion_shaft, one.wheel_shaft)]
            named = [side for side, _ in pairs]
            return tuple(side if named.count(side) == 1 else f"{side}{_BOTH_IN}{one.name}" for side, one in pairs)
        case _:
            return ()


def heard(
    drive: Drive,
    wrong: Mapping[tuple[str, str], float],
    *,
    bearing: str,
    speed_hz: float,
    load: float,
    state: str,
    axes: NDArray[np.float64],
    sample_rate_hz: float,
    samples: int,
    seed: int,
) -> NDArray[np.float64]:
    """Housing acceleration at a sensor's three axes, sampled together.

    Parameters
    ----------
    drive : Drive
    wrong : mapping
        (kind, place) -> size in SI, kinds of the drive alone.
    bearing : str
        On whose housing the sensor stands; empty for a spot elsewhere.
    speed_hz, load : float
        Of the reference shaft, 0 at a standstill. [Hz, share of rated]
    state : str
        One of `STATES`.
    axes : ndarray, shape (3, 3)
        The sensor's axes in machine axes, as `install.orientation.rotation` gives them.
    sample_rate_hz : float
    samples, seed : int

    Returns
    -------
    ndarray, shape (3, samples)
        [m/s2]
    """
    running = speed_hz > 0
    sounds = running and state in _STEADY
    own = simulate(
        drive,
        speed_hz=speed_hz if running else drive.rated_speed_hz,
        sample_rate_hz=sample_rate_hz,
        samples=samples,
        seed=seed,
        noise="resonant",
        faults=[_race(*one, impact, bearing) for one, impact in wrong.items() if sounds and one[0] in _RACES],
        gear_faults=[_gear(drive, *one, depth) for one, depth in wrong.items() if sounds and _is_gear(one[0])],
        levels=replace(_RUNNING, mesh=_RUNNING.mesh * (0.5 + load / 2)) if sounds else _STILL,
    )
    situation = Situation(speed_hz or drive.rated_speed_hz, state if running else "standing", load)
    machine = [Channel("sensor", bearing, direction) for direction in ("horizontal", "vertical", "axial")]
    shaking = [_shaking(drive, *one, velocity, speed_hz) for one, velocity in wrong.items() if _shakes(one[0])]
    shaking_hva = shaken(drive, machine, situation, shaking, sample_rate_hz=sample_rate_hz, samples=samples, seed=seed)
    return np.asarray(_SHARES * own + axes @ shaking_hva)


def _is_gear(kind: str) -> bool:
    return KINDS[kind].place in ("gear", "mesh")


def _shakes(kind: str) -> bool:
    return not _is_gear(kind) and kind not in _RACES


def _race(kind: str, place: str, impact: float, bearing: str) -> BearingFault:
    reach = impact * (1.0 if place == bearing else _ELSEWHERE)
    return BearingFault(place, kind.replace(" ", "_"), reach, rate_offset=-0.004, jitter=0.004)


def _gear(drive: Drive, kind: str, place: str, size: float) -> GearFault:
    """A tooth yields as it knocks: by a tenth of its knock over 1 m/s2, at most by 0.8; invented."""
    if kind == "hunting tooth":
        return HuntingTooth(place, Knock(size))
    if kind == "gear wear":
        return Wear(place, 1.0 + size)
    if kind == "mesh misalignment":
        return MeshMisalignment(place, size)
    shaft, mesh = _gear_at(drive, place)
    if kind == "eccentric gear":
        return Eccentricity(mesh.name, shaft, size, lag=0.2)
    if kind == "knock":
        return ToothDamage(mesh.name, shaft, Knock(size))
    yields = min(size / 10, 0.8)
    return ToothDamage(mesh.name, shaft, Knock(size), dip=yields, lag=yields)


def _gear_at(drive: Drive, place: str) -> tuple[str, Mesh]:
    shaft, _, name = place.partition(_BOTH_IN)
    return shaft, next(one for one in drive.meshes if shaft in (one.pinion_shaft, one.wheel_shaft) and name in ("", one.name))


def _shaking(drive: Drive, kind: str, place: str, size: float, speed_hz: float) -> ShaftFault:
    near, far = (*(one.name for one in drive.bearings if place in (one.inner_shaft, one.outer_shaft)), "", "")[:2]
    match kind:
        case "unbalance":
            return Unbalance(place, size)
        case "resonance":
            natural = abs(shaft_orders(drive)[place].order) * drive.rated_speed_hz
            return Unbalance(place, size, natural_hz=natural)
        case "misalignment":
            return _misaligned(drive, place, near, size)
        case "bent shaft":
            return BentShaft(place, (near, far), size)
        case "looseness":
            return Looseness(place, size)
        case "current fluting":
            return _fluted(drive, place, size)
        case "lubrication":
            return Hiss(size, _HISSES_ABOVE_HZ, bearing=place)
        case "backstop":
            part = next((one for one in drive.passing_parts if one.kind == "backstop" and one.shaft == place), None)
            return Clicks(("overrunning",), place, size, part.count if part else _SPRAGS)
        case "electrical":
            return _hum(drive, size, speed_hz)
        case "background":
            return Neighbour(units.parse(place, "frequency"), size, _MULTIPLES)
    raise OutOfRange("fault", repr(kind), "a kind that shakes the drive")


def _fluted(drive: Drive, place: str, size: float) -> Fluting:
    """As many grooves round the outer race as put the hump where it stands: each element passes one after the other."""
    bearing = next(one for one in drive.bearings if one.name == place)
    rings = bearing_rings(drive, bearing, shaft_orders(drive))
    if rings is None or bearing.geometry is None:
        raise OutOfRange("bearing", repr(place), "a bearing whose rings' speeds are known")
    rolled = bearing_order("outer_race", rings.orders, bearing.geometry) / bearing.geometry.elements
    return Fluting(place, "outer_race", size, grooves=_HUMP_HZ / (rolled * drive.rated_speed_hz))


def _misaligned(drive: Drive, place: str, near: str, size: float) -> Misalignment:
    """At a coupling to the shaft that a link joins without changing its speed, or to a machine that is not in the model."""
    links = [one for one in drive.ratio_links if one.ratio == 1.0 and place in (one.fast_shaft, one.slow_shaft)]
    other = next((one.slow_shaft if one.fast_shaft == place else one.fast_shaft for one in links), "")
    across = [one.name for one in drive.bearings if other and other in (one.inner_shaft, one.outer_shaft)]
    return Misalignment((place, other), (near, (across or [""])[-1]), size)


def _hum(drive: Drive, size: float, speed_hz: float) -> Hum:
    """A converter's output follows the speed; mains do not."""
    motor = drive.motor
    supply = motor.supply_hz if motor else _SUPPLY_HZ
    if motor is None or motor.converter:
        supply *= (speed_hz or drive.rated_speed_hz) / drive.rated_speed_hz
    slip = 2 * motor.supply_hz / motor.poles - motor.rated_speed_hz if motor and motor.rated_speed_hz else 0.0
    return Hum(supply, size, pole_pass_hz=motor.poles * slip if motor else 0.0)
