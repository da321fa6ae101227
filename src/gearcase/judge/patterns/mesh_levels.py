"""What the heights of a mesh's harmonics say: wear, over time at one load, and a tilted mesh, over directions and speeds.

Wear: the latest records against the earliest of the same place, state, speed and stated load. The growth of the mesh (its three
harmonics over the noise about them, in dB) is held against the scatter within both groups (Student's t of two groups of like
scatter), less what the stated loads would explain, a mesh in proportion to its load, and less what all else in the record has grown
by: that is the sensor, its bond or the machine. All else are bands among the harmonics with no line of this mesh and its nearest
sidebands, and bands above them all: teeth that differ fill the bands among the harmonics with lines that grow as the mesh does, so
that the group that grew least counts. Its bands are the decoys as well.

A tilted mesh: its second harmonic is the higher one, radially and axially at one point and at more than one speed, since
a resonance lifts it at one. Decoys are frequencies at which the noise, which takes the same way through the housing, is as much
higher at their double.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.odds import reported
from gearcase.judge.patterns.angular import TOP_OF_RATE
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.gear_parts import Gear
from gearcase.judge.patterns.observed import SAME_SPEED, Observed, matched
from gearcase.judge.patterns.runout import LARGE_AXIAL
from gearcase.judge.patterns.signs import Role, Sign, Weighed, surest, weigh
from gearcase.signal.spectrum import PRESENT, band_rms, block_floor, floor_bins

__all__ = ["tilted_mesh", "wear"]

WEAR, TILTED = "gear wear", "mesh misalignment"
_HARMONICS = (1, 2, 3)
_SMALLEST_GROWTH_DB = 6.0  # worth a look; handbooks of vibration diagnosis, from memory
_EARLIEST, _LATEST = 3, 3  # records of each group, two at least
_MESH_REACH_BINS = 4  # about a line, beside what is not known of the speed
_BANDS = 48  # decoys


def wear(gears: Sequence[Gear], observed: Sequence[Observed]) -> Iterator[Weighed]:
    """Of every mesh of `gears`, two a mesh."""
    (need,) = pattern(WEAR).needs
    meshes = gears[::2]
    latest = {(one.recording.point, one.recording.channel): one for one in observed if _steady(one)}
    tried = len(meshes) * len(latest)
    for gear in meshes:
        said = [_worn(gear, last, observed, tried) for last in latest.values()]
        told = [one for one in said if isinstance(one, Weighed)]
        if told:
            yield surest(told)
        elif said:
            yield weigh(WEAR, gear.mesh, [Sign(Role.NEEDED, need, None, str(said[0]))], attribution=1.0)


def tilted_mesh(gears: Sequence[Gear], observed: Sequence[Observed]) -> Iterator[Weighed]:
    """Of every mesh of `gears`, two a mesh."""
    second, axial, speeds = pattern(TILTED).needs
    for gear in gears[::2]:
        usable = [one for one in observed if _steady(one) and _reaches(one, 2 * gear.mesh_order)]
        if not usable:
            says = "no record reaches twice the mesh"
            yield weigh(TILTED, gear.mesh, [Sign(Role.NEEDED, second, None, says)], attribution=1.0)
            continue
        ratios = [(one, _ratio(one, gear)) for one in usable]
        lowest = min(ratio for _, ratio in ratios)
        weakest = min(_strength(one, 2 * gear.mesh_order) for one in usable)
        seen = lowest > 1 and weakest >= PRESENT
        says = f"{lowest:.2f} of the first, in the record of {len(usable)} that shows it least"
        signs = [Sign(Role.NEEDED, second, seen, says, reported(-weakest))]
        signs.append(_axial(axial, usable, gear))
        hz = [one.speed_hz for one in usable]
        several = max(hz) / min(hz) - 1 >= SAME_SPEED
        says = f"at {60 * min(hz):.4g} to {60 * max(hz):.4g} rpm"
        signs.append(Sign(Role.NEEDED, speeds, True if several else None, says, reported(-weakest)))
        attribution = max(_path_share(one, gear, ratio) for one, ratio in ratios) if seen else 1.0
        yield weigh(TILTED, gear.mesh, signs, attribution=attribution, seen_in=usable)


def _steady(one: Observed) -> bool:
    return bool(one.speed_hz) and one.speed_spread < 1


def _reaches(one: Observed, order: float) -> bool:
    """Whether a record's sample rate shows this order."""
    return order * one.speed_hz < TOP_OF_RATE * one.recording.sample_rate_hz


def _worn(gear: Gear, last: Observed, observed: Sequence[Observed], tried: int) -> Weighed | str:
    """The mesh of the last record of a place against its earliest alike; or in words why they cannot be compared."""
    (need,), (energy, higher), (load,) = (getattr(pattern(WEAR), name) for name in ("needs", "supports", "against"))
    alike = [one for one in observed if matched(one, last)]
    if last.recording.taken.load is None:
        return f"nobody has said the load of {last.recording.name} (job.yaml: recordings, load)"
    if len(alike) < 4:
        return f"{len(alike)} records at the load and speed of {last.recording.name}, 4 are needed"
    if not _reaches(last, max(_HARMONICS) * gear.mesh_order):
        return "the third mesh harmonic lies beyond what the sample rate shows"
    half = len(alike) // 2
    early, late = alike[: min(_EARLIEST, half)], alike[-min(_LATEST, half) :]
    orders = [n * gear.mesh_order for n in _HARMONICS]
    levels = [np.array([_line_db(one, orders) for one in group]) for group in (early, late)]
    loads = [float(np.mean([one.recording.taken.load or 0.0 for one in group])) for group in (early, late)]
    by_load = 20 * np.log10(loads[1] / loads[0]) if min(loads) > 0 else 0.0
    groups = [
        found for places in (_beside_the_mesh(gear), _above_the_mesh(gear, last)) if (found := _grown(places, early, late)).size
    ]
    elsewhere = min(groups, key=np.median)
    by_all = max(float(np.median(elsewhere)), 0.0)
    growth = float(levels[1].mean() - levels[0].mean() - max(by_load, 0.0) - by_all)
    log_chance = min(_growth_log_chance(levels, growth) + float(np.log(tried)), 0.0)
    seen = bool(growth >= _SMALLEST_GROWTH_DB and log_chance <= np.log(NOISE_LIMIT))
    says = (
        f"{growth:+.1f} dB from {early[0].recording.name} to {late[-1].recording.name}, {len(early)} records against {len(late)}; "
        f"all else rose by {by_all:.1f} dB"
    )
    signs = [Sign(Role.NEEDED, need, seen, says, reported(log_chance))]
    attribution = 1.0
    if seen:
        each = [_level_db(late[-1], [order]) - _level_db(early[0], [order]) for order in orders]
        signs.append(Sign(Role.SUPPORTING, higher, min(each[1:]) >= _SMALLEST_GROWTH_DB, f"{each[1]:+.1f} and {each[2]:+.1f} dB"))
        beside = [_beside_db(one, gear) - _level_db(one, orders) for one in (early[0], late[-1])]
        signs.append(
            Sign(Role.SUPPORTING, energy, beside[1] > beside[0], f"{beside[1] - beside[0]:+.1f} dB beside the mesh over it")
        )
        signs.append(Sign(Role.AGAINST, load, False, f"{100 * loads[0]:.0f} and {100 * loads[1]:.0f} % of the rated load"))
        attribution = float((1 + np.sum(elsewhere - by_all >= growth)) / (1 + elsewhere.size))
    return weigh(WEAR, gear.mesh, signs, attribution=attribution, seen_in=late, growth_db=growth)


def _growth_log_chance(levels: Sequence[NDArray[np.float64]], growth: float) -> float:
    """That two groups of one mean and like scatter differ as much by chance, upwards (Student). [-]"""
    free = sum(group.size - 1 for group in levels)
    scatter = np.sqrt(sum(np.sum((group - group.mean()) ** 2) for group in levels) / free * sum(1 / group.size for group in levels))
    chance = float(scipy.special.stdtr(free, -growth / max(scatter, 1e-9)))
    return math.log(chance) if chance > 0 else -math.inf


def _reach_hz(one: Observed, hz: float) -> float:
    return _MESH_REACH_BINS * one.spectrum.bin_hz + hz * one.speed_spread


def _level_db(one: Observed, orders: Sequence[float]) -> float:
    """RMS of lines together, in dB of no reference: differences only. [dB]"""
    powers = []
    for order in orders:
        hz = order * one.speed_hz
        powers.append(float(band_rms(one.spectrum, lowest_hz=hz - _reach_hz(one, hz), highest_hz=hz + _reach_hz(one, hz))) ** 2)
    return float(10 * np.log10(max(sum(powers), 1e-30)))


def _line_db(one: Observed, orders: Sequence[float]) -> float:
    """Lines together over the noise about them, in dB of no reference; no less than a bin of that noise. [dB]"""
    floor, bin_hz, total = block_floor(one.power, width=floor_bins(one.spectrum.bin_hz)), one.spectrum.bin_hz, 0.0
    for order in orders:
        hz = order * one.speed_hz
        low, high = (round((hz + side * _reach_hz(one, hz)) / bin_hz) for side in (-1, 1))
        noise = floor[low : high + 1]
        total += max(float(one.power[low : high + 1].sum() - noise.sum()), float(noise.max()))
    return float(10 * np.log10(max(total, 1e-300)))


def _beside_db(one: Observed, gear: Gear) -> float:
    """RMS between the first two harmonics, clear of both. [dB]"""
    low, high = (order * gear.mesh_order * one.speed_hz for order in (1.2, 1.8))
    return float(20 * np.log10(max(float(band_rms(one.spectrum, lowest_hz=low, highest_hz=high)), 1e-30)))


def _grown(orders: Sequence[float], early: Sequence[Observed], late: Sequence[Observed]) -> NDArray[np.float64]:
    """By how much bands at these orders have grown, those that every record reaches, shape (bands,). [dB]"""
    kept = [at for at in orders if all(_reaches(one, at) for one in (*early, *late))]
    return np.array(
        [np.mean([_level_db(one, [at]) for one in late]) - np.mean([_level_db(one, [at]) for one in early]) for at in kept]
    )


def _beside_the_mesh(gear: Gear) -> list[float]:
    """Orders among its harmonics with no line of this mesh and its nearest sidebands. [-]"""
    clear = min(3.5 * max(gear.turns, gear.mesh_order / gear.other_teeth), 0.2 * gear.mesh_order)
    places = gear.mesh_order * np.geomspace(0.3, 3.5, _BANDS)
    return [float(at) for at in places if all(abs(at - n * gear.mesh_order) > clear for n in _HARMONICS)]


def _above_the_mesh(gear: Gear, one: Observed) -> list[float]:
    """Orders from half-way past its harmonics up to what a record shows. [-]"""
    lowest, highest = (max(_HARMONICS) + 1.5) * gear.mesh_order, TOP_OF_RATE * one.recording.sample_rate_hz / one.speed_hz
    return [float(at) for at in np.geomspace(lowest, highest, _BANDS)] if highest > lowest else []


def _ratio(one: Observed, gear: Gear) -> float:
    """Second mesh harmonic over the first."""
    return float(10 ** ((_level_db(one, [2 * gear.mesh_order]) - _level_db(one, [gear.mesh_order])) / 20))


def _strength(one: Observed, order: float) -> float:
    """Of a line over the local noise. [-]"""
    hz, bin_hz = order * one.speed_hz, one.spectrum.bin_hz
    middle, reach, around = round(hz / bin_hz), int(_reach_hz(one, hz) / bin_hz), 2 * floor_bins(bin_hz)
    low = max(middle - around, 0)
    power = one.power[low : middle + around + 1]
    mean = float(np.median(power)) / np.log(2)
    return float(power[middle - low - reach : middle - low + reach + 1].max() / max(mean, 1e-30))


def _axial(name: str, usable: Sequence[Observed], gear: Gear) -> Sign:
    heights: dict[str, dict[bool, list[float]]] = {}
    for one in usable:
        if one.recording.taken.direction:
            axial = one.recording.taken.direction == "axial"
            heights.setdefault(one.recording.point, {}).setdefault(axial, []).append(_level_db(one, [2 * gear.mesh_order]))
    pairs = [found for found in heights.values() if len(found) == 2]
    if not pairs:
        return Sign(Role.NEEDED, name, None, "no axial and radial direction of one point")
    most = max(float(np.mean(found[True]) - np.mean(found[False])) for found in pairs)
    chance = reported(-min(_strength(one, 2 * gear.mesh_order) for one in usable if one.recording.taken.direction == "axial"))
    large = bool(most >= 20 * np.log10(LARGE_AXIAL))
    return Sign(Role.NEEDED, name, large, f"second harmonic {most:+.1f} dB over the radial", chance)


def _path_share(one: Observed, gear: Gear, ratio: float) -> float:
    """Share of frequencies about the mesh at whose double the noise is as much higher: what the housing's way alone does."""
    floor = np.sqrt(block_floor(one.power, width=floor_bins(one.spectrum.bin_hz)))
    hz = gear.mesh_order * one.speed_hz * np.geomspace(0.5, 1.5, _BANDS)
    hz = hz[2 * hz < TOP_OF_RATE * one.recording.sample_rate_hz]
    single, double = (floor[np.rint(n * hz / one.spectrum.bin_hz).astype(np.intp)] for n in (1, 2))
    return float((1 + np.sum(double >= ratio * single)) / (1 + hz.size))
