"""The working of every line of a drive: from the stated speed through teeth and geometry to the frequency."""

import math
from dataclasses import replace

from gearcase.drive.bearings import Bearing, Candidate, CountRule
from gearcase.drive.lines import (
    BEARING_RATES,
    COUNT_RATES,
    Line,
    bearing_order_spread,
    bearing_ring_orders,
    harmonic_frequency,
    sideband_frequency,
)
from gearcase.drive.train import (
    Drive,
    Mesh,
    assembly_phase_frequency,
    driven_speed,
    gear_mesh_frequency,
    hunting_tooth_frequency,
    shaft_orders,
    speed_over_ratio,
)
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["line_workings"]


def line_workings(drive: Drive, lines: tuple[Line, ...]) -> dict[str, Worked]:
    """Line name -> its working at rated speed."""
    shafts = _shaft_speeds(drive)
    meshes = {mesh.name: mesh for mesh in drive.meshes}
    bearings = {bearing.name: bearing for bearing in drive.bearings}
    workings: dict[str, Worked] = {}
    for line in lines:
        if line.kind == "shaft":
            workings[line.name] = _harmonic(line, shafts[line.component])
        elif line.component in meshes:
            workings[line.name] = _mesh_line(line, meshes[line.component], shafts)
        else:
            bearing = bearings[line.component]
            candidate = next(one for one in bearing.candidates if one.name == line.candidate)
            workings[line.name] = _bearing_line(line, bearing, candidate, drive, shafts)
    return workings


def _shaft_speeds(drive: Drive) -> dict[str, Given | Worked]:
    """Speed of every shaft reached, each from its neighbour nearer the stated one, as `shaft_orders` walked."""
    speeds: dict[str, Given | Worked] = {drive.reference_shaft: drive.speed_given}
    meshes = {mesh.name: mesh for mesh in drive.meshes}
    links = {link.name: link for link in drive.ratio_links}
    for name, order in sorted(shaft_orders(drive).items(), key=lambda item: len(item[1].path)):
        if not order.path:
            continue
        crossed = order.path[-1]
        if crossed in meshes:
            mesh = meshes[crossed]
            from_pinion = mesh.wheel_shaft == name
            driver, driven = _teeth(mesh, pinion=from_pinion), _teeth(mesh, pinion=not from_pinion)
            before = speeds[mesh.pinion_shaft if from_pinion else mesh.wheel_shaft]
            speeds[name] = work(f"{name} speed", driven_speed, speed_hz=before, driver_teeth=driver, driven_teeth=driven)
        else:
            link = links[crossed]
            downwards = link.slow_shaft == name
            ratio = Given(link.name, link.ratio, "-", link.origin, link.spread, link.where)
            if not downwards:
                ratio = Given(f"1 / {link.name}", 1 / link.ratio, "-", link.origin, link.spread / link.ratio**2, link.where)
            before = speeds[link.fast_shaft if downwards else link.slow_shaft]
            speeds[name] = work(f"{name} speed", speed_over_ratio, speed_hz=before, ratio=ratio)
    return speeds


def _teeth(mesh: Mesh, *, pinion: bool) -> Given:
    count = mesh.pinion_teeth if pinion else mesh.wheel_teeth
    side = "pinion" if pinion else "wheel"
    return Given(f"teeth of the {mesh.name} {side}", float(count or 0), "-", mesh.origin, 0.0, mesh.where)


def _count(name: str, value: int) -> Given:
    return Given(name, float(value), "-", Origin.CALCULATED)


def _harmonic(line: Line, fundamental: Given | Worked) -> Worked:
    number = _count("harmonic", line.harmonic)
    return work(line.name, harmonic_frequency, fundamental_hz=fundamental, harmonic=number)


def _mesh_line(line: Line, mesh: Mesh, shafts: dict[str, Given | Worked]) -> Worked:
    by_pinion = mesh.pinion_teeth is not None and mesh.pinion_shaft in shafts
    speed = shafts[mesh.pinion_shaft if by_pinion else mesh.wheel_shaft]
    fundamental = work(f"{mesh.name} 1x", gear_mesh_frequency, speed_hz=speed, teeth=_teeth(mesh, pinion=by_pinion))
    if line.kind == "mesh":
        return fundamental if line.harmonic == 1 else _harmonic(line, fundamental)
    if line.kind == "sideband":
        return work(
            line.name,
            sideband_frequency,
            mesh_hz=fundamental,
            harmonic=_count("harmonic", line.harmonic),
            shaft_hz=shafts[line.sideband_shaft],
            pair=_count("pair", line.sideband_pair),
        )
    calculator = hunting_tooth_frequency if line.kind == "hunting_tooth" else assembly_phase_frequency
    return work(
        line.name,
        calculator,
        mesh_hz=fundamental,
        pinion_teeth=_teeth(mesh, pinion=True),
        wheel_teeth=_teeth(mesh, pinion=False),
    )


def _bearing_line(line: Line, bearing: Bearing, candidate: Candidate, drive: Drive, shafts: dict[str, Given | Worked]) -> Worked:
    shape, part = candidate.shape, f"{bearing.name} ({candidate.name})" if candidate.name else bearing.name
    orders = shaft_orders(drive)

    def ring(shaft: str | None, name: str) -> Given | Worked:
        if shaft is None:
            return Given(f"{name}, held", 0.0, "Hz", Origin.CALCULATED)
        if orders[shaft].order >= 0 or None in (bearing.inner_shaft, bearing.outer_shaft):
            return shafts[shaft]  # one ring held: which way the other turns does not matter
        speed = shafts[shaft]
        return Given(f"{shaft} speed, turning back", -speed.value, "Hz", speed.origin, speed.spread)

    rings = {"inner_hz": ring(bearing.inner_shaft, "inner ring"), "outer_hz": ring(bearing.outer_shaft, "outer ring")}
    sizes = _sizes(part, candidate, bearing.where)
    rates = COUNT_RATES if isinstance(shape, CountRule) else BEARING_RATES
    exact = {key: replace(size, spread=0.0) for key, size in sizes.items()}
    by_speed = work(f"{part} {line.kind.replace('_', ' ')} 1x", rates[line.kind], **rings, **exact)
    ring_orders = bearing_ring_orders(bearing, orders) or (0.0, 0.0)
    by_shape = bearing_order_spread(line.kind, ring_orders, shape) * by_speed.value
    # count and sizes are not independent, more elements are smaller ones: their spread comes from the line, not from moving each
    fundamental = replace(by_speed, spread=math.hypot(by_speed.spread, by_shape), inputs={**rings, **sizes})
    return fundamental if line.harmonic == 1 else _harmonic(line, fundamental)


def _sizes(part: str, candidate: Candidate, where: str) -> dict[str, Given]:
    """What the bearing rates need; of an estimate each with the half-width in which it lies."""
    shape = candidate.shape
    if isinstance(shape, CountRule):
        return {"elements": Given(f"elements of {part}", float(shape.elements), "-", shape.origin, 0.0, where)}
    known = f", estimated from {candidate.designation}" if shape.between else ""

    def size(name: str, key: str, unit: str) -> Given:
        value = float(getattr(shape, key))
        spread = max((abs(getattr(end, key) - value) for end in shape.between), default=0.0)
        return Given(f"{name} of {part}{known}", value, unit, shape.origin, spread, where)

    return {
        "elements": size("elements", "elements", "-"),
        "element_diameter": size("element diameter", "element_diameter", "m"),
        "pitch_diameter": size("pitch diameter", "pitch_diameter", "m"),
        "contact_angle": size("contact angle", "contact_angle", "rad"),
    }
