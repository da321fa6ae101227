"""From the drive as the document has it to the drive model, and everything that contradicts itself in it."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal

from gearcase.drive.assembly import assembly_flaws
from gearcase.drive.bearing_estimate import estimate_geometry
from gearcase.drive.bearings import Bearing, Candidate, CountRule, Geometry
from gearcase.drive.designations import read_designation
from gearcase.drive.outside_lines import rated_slip
from gearcase.drive.speeds import joint_shafts, shaft_orders
from gearcase.drive.train import Belt, Drive, Mesh, Motor, PassingPart, Ratings, RatioLink, Shaft, weaker
from gearcase.errors import OutOfRange, Problem
from gearcase.findings import Finding, Level
from gearcase.job.checks import planet_names
from gearcase.job.drive_schema import (
    BearingModel,
    BearingShape,
    BeltModel,
    DriveModel,
    MotorModel,
    NameplateModel,
    PlanetarySetModel,
    PlanetModel,
)
from gearcase.job.read import Path_, Source
from gearcase.worked import Given, Origin

__all__ = ["build_drive", "drive_findings", "train_problems"]

PLATE_RATIO = "nameplate ratio"
BELT_SLIP = 0.02  # V-belts and flat belts run 1 to 2 % slow, and their pitch diameters wear; common practice, no source
_SLIP_ON_PLATE = 0.025  # a stated speed may be this far off the plate's: slip, rounding; common practice, no source
_OVERSPEED = (
    1.05  # of the plate's speed; beyond it the plate is another drive's, or the drive is run too fast; common practice, no source
)
_SLOWER_THAN_PLATE = 0.1  # below the plate without a converter no motor runs; common practice, no source
_SAME_SPEED = 0.005  # supplies keep their frequency this well; common practice, no source
_RATIO_TOLERANCE = 0.02  # nameplates give the nominal ratio; real tooth counts land this close; common practice, no source


def build_drive(source: Source, model: DriveModel) -> Drive:
    """The drive model, with every value's file and line."""
    plate = model.nameplate
    ratio, spread = _ratio_on_plate(source, plate)
    shafts = tuple(
        Shaft(shaft.name, shaft.end or "", shaft.carrier or "", shaft.count, shaft.held, shaft.spacing == "equal")
        for shaft in model.shafts
    )
    shafts = (shafts or _shafts_of_a_ratio(model)) + tuple(
        planet for planetary in model.planetary_sets for planet in _planets(planetary)
    )
    meshes = tuple(
        Mesh(
            mesh.name,
            mesh.pinion.shaft,
            mesh.wheel.shaft,
            mesh.pinion.teeth,
            mesh.wheel.teeth,
            mesh.origin,
            source.where(("drive", "meshes", n)),
            mesh.kind,
            sense=mesh.sense or "" if mesh.kind in ("bevel", "worm") else "",
        )
        for n, mesh in enumerate(model.meshes)
    )
    meshes += tuple(mesh for n, planetary in enumerate(model.planetary_sets) for mesh in _set_meshes(source, n, planetary))
    belts = tuple(_belt(source, n, belt) for n, belt in enumerate(model.belts))
    known = tuple(
        RatioLink(
            f"ratio of {link.fast} to {link.slow}",
            link.fast,
            link.slow,
            link.ratio,
            link.spread * link.ratio,
            link.origin,
            source.where(("drive", "ratios", n)),
            link.sense or "",
        )
        for n, link in enumerate(model.ratios)
    )
    is_plate_speed = plate.input_speed is not None and _is_input(shafts, model.input.shaft)
    stated = model.input.speed
    if is_plate_speed and not stated.low * (1 - _SLIP_ON_PLATE) <= (plate.input_speed or 0.0) <= stated.high * (1 + _SLIP_ON_PLATE):
        is_plate_speed = False  # the plate is contradicted, or the drive never runs at it
    rated = plate.input_speed if is_plate_speed and plate.input_speed else stated.high
    where = ("drive", "nameplate", "input_speed") if is_plate_speed else ("drive", "input", "speed")
    return Drive(
        name=model.name,
        shafts=shafts,
        meshes=meshes,
        bearings=tuple(_bearing(source, n, bearing) for n, bearing in enumerate(model.bearings)),
        reference_shaft=model.input.shaft,
        speed_hz=(model.input.speed.low, model.input.speed.high),
        rated_speed_hz=rated,
        speed_given=Given(
            f"rated speed of {model.input.shaft}",
            rated,
            "Hz",
            Origin.NAMEPLATE if is_plate_speed else model.input.origin,
            0.0,
            source.where(where),
        ),
        ratio_links=(*known, *_plate_ratio(source, ratio, spread, shafts, (*meshes, *belts, *known))),
        ratings=Ratings(plate.power, ratio, spread, plate.input_speed, plate.output_speed, plate.support, plate.stages),
        belts=belts,
        motor=_motor(source, model.motor),
        passing_parts=tuple(
            PassingPart(**part.model_dump(), where=source.where(("drive", "passing_parts", n)))
            for n, part in enumerate(model.passing_parts)
        ),
    )


def _motor(source: Source, model: MotorModel | None) -> Motor | None:
    if model is None:
        return None
    where = source.where(("drive", "motor"))
    plate = (model.poles, model.supply, model.rated_speed, model.converter, model.carrier, model.current_protection)
    return Motor(model.shaft, *plate, origin=model.origin, where=where)


def _planets(model: PlanetarySetModel) -> tuple[Shaft, ...]:
    names = planet_names(model.name, paired=model.planet.outer_teeth is not None)
    return tuple(Shaft(name, "", model.carrier.shaft, model.planets, False, model.spacing == "equal") for name in names)


def _set_meshes(source: Source, index: int, model: PlanetarySetModel) -> tuple[Mesh, ...]:
    """Sun with planet, planet with ring, and between planets that go in pairs."""
    inner, *outer = planet_names(model.name, paired=model.planet.outer_teeth is not None)
    at_ring = outer[0] if outer else inner
    planet, origin = _planet(model)
    ring_side = planet.outer_teeth if outer else planet.ring_side_teeth or planet.teeth
    where = source.where(("drive", "planetary_sets", index))

    def mesh(name: str, gears: tuple[str, str], teeth: tuple[int | None, int | None], kind: str) -> Mesh:
        return Mesh(f"{model.name} {name}", *gears, *teeth, origin, where, kind, model.name)

    between = (mesh("planet mesh", (inner, at_ring), (planet.teeth, ring_side), "external"),) if outer else ()
    return (
        mesh("sun mesh", (model.sun.shaft, inner), (model.sun.teeth, planet.teeth), "external"),
        *between,
        mesh("ring mesh", (at_ring, model.ring.shaft), (ring_side, model.ring.teeth), "internal"),
    )


def _planet(model: PlanetarySetModel) -> tuple[PlanetModel, Origin]:
    """The planet, its teeth where nobody has counted them those that fit between sun and ring: (z_r - z_s) / 2."""
    planet, sun, ring = model.planet, model.sun.teeth, model.ring.teeth
    plain = planet.ring_side_teeth is None and planet.outer_teeth is None
    if planet.teeth is None and plain and sun and ring and ring - sun >= 2:
        return planet.model_copy(update={"teeth": (ring - sun) // 2}), weaker(model.origin, Origin.ESTIMATED)
    return planet, model.origin


def _belt(source: Source, index: int, model: BeltModel) -> Belt:
    toothed = model.kind in ("toothed belt", "chain")
    driver, driven = ((p.teeth if toothed else p.diameter) or 0.0 for p in (model.driver, model.driven))  # `checks` wants them
    length = model.links if toothed else model.length
    slip = 0.0 if toothed else BELT_SLIP
    where = source.where(("drive", "belts", index))
    return Belt(model.name, model.kind, model.driver.shaft, model.driven.shaft, driver, driven, length, slip, model.origin, where)


def _shafts_of_a_ratio(model: DriveModel) -> tuple[Shaft, ...]:
    """A job that knows only a ratio has two shafts; one that knows not even that has the stated one."""
    plate = model.nameplate
    if plate.ratio is None and (plate.input_speed is None or plate.output_speed is None):
        return (Shaft(model.input.shaft, "input"),)
    return (
        Shaft(model.input.shaft, "input"),
        Shaft("output" if model.input.shaft != "output" else "far end", "output"),
    )


def _is_input(shafts: Sequence[Shaft], name: str) -> bool:
    """Whether the nameplate's input speed is that of the named shaft."""
    marked = any(shaft.end == "input" for shaft in shafts)
    return any(shaft.name == name and (shaft.end == "input" or not (marked or shaft.end)) for shaft in shafts)


def _plate_ratio(
    source: Source, ratio: float | None, spread: float, shafts: Sequence[Shaft], joints: Sequence[Mesh | Belt | RatioLink]
) -> tuple[RatioLink, ...]:
    """The nameplate's ratio joins the ends where tooth counts do not."""
    ends = {shaft.end: shaft.name for shaft in shafts if shaft.end}
    if ratio is None or not {"input", "output"} <= ends.keys() or _joined(ends["input"], ends["output"], shafts, joints):
        return ()
    fast, slow = (ends["input"], ends["output"]) if ratio >= 1 else (ends["output"], ends["input"])
    value, off = (ratio, spread) if ratio >= 1 else (1 / ratio, spread / ratio**2)
    given = ("drive", "nameplate", "ratio")
    where = source.where(given if source.value(given) is not None else ("drive", "nameplate", "output_speed"))
    return (RatioLink(PLATE_RATIO, fast, slow, value, off, Origin.NAMEPLATE, where),)


def _joined(one: str, other: str, shafts: Sequence[Shaft], joints: Sequence[Mesh | Belt | RatioLink]) -> bool:
    """Whether known joints lead from one shaft to the other, a planet's carrier among what its meshes join."""
    carriers = {shaft.name: shaft.carrier for shaft in shafts if shaft.carrier}
    reached = {one}
    for _ in joints:
        for joint in joints:
            if isinstance(joint, Mesh) and not (joint.pinion_teeth and joint.wheel_teeth):
                continue
            together = {*joint_shafts(joint)}
            together |= {carriers[name] for name in together if name in carriers}
            if together & reached:
                reached |= together
    return other in reached


def _ratio_on_plate(source: Source, plate: NameplateModel) -> tuple[float | None, float]:
    """The ratio the plate gives, or its speeds make, and half of the last digits it prints: 20.1 is known to 0.05."""
    if plate.ratio is not None:
        return plate.ratio, _half_digit(source, "ratio") * plate.ratio
    if plate.input_speed is None or plate.output_speed is None:
        return None, 0.0
    ratio = plate.input_speed / plate.output_speed
    return ratio, ratio * (_half_digit(source, "input_speed") + _half_digit(source, "output_speed"))


def _half_digit(source: Source, key: str) -> float:
    """Half of one unit of the last digit printed, relative to the number: 20.1 -> 0.05 / 20.1, 74 rpm -> 0.5 / 74."""
    printed = re.search(r"[\d.]+(?:[eE][+-]?\d+)?", str(source.value(("drive", "nameplate", key))))
    number = Decimal(printed.group(0)) if printed else Decimal(1)
    return float(Decimal(1).scaleb(int(number.as_tuple().exponent)) / 2 / number)


def _bearing(source: Source, index: int, model: BearingModel) -> Bearing:
    shape, _ = _shape(model)
    geometry, makes = (shape, ()) if isinstance(shape, Geometry) else (None, _makes(model, shape))
    inner, outer = model.shaft, model.other_ring_shaft
    if model.turning == "outer":
        inner, outer = outer, inner  # type: ignore[assignment]
    return Bearing(model.name, inner, outer, geometry, model.designation, source.where(("drive", "bearings", index)), makes)


def _makes(model: BearingModel, by_count: CountRule | None) -> tuple[Candidate, ...]:
    if by_count is not None:
        return (Candidate("", by_count, model.designation),)
    shapes = ((make, _shape(make)[0]) for make in model.candidates)
    return tuple(Candidate(make.name, shape, make.designation) for make, shape in shapes if shape is not None)


def _shape(model: BearingShape) -> tuple[Geometry | CountRule | None, str]:
    """What is known of the inside: as given, else estimated from the designation, else by the count of elements; and why a
    designation could not be used.
    """
    elements, contact_angle = model.elements, model.contact_angle
    element_diameter, pitch_diameter = model.element_diameter, model.pitch_diameter
    if elements is not None and element_diameter is not None and pitch_diameter is not None and contact_angle is not None:
        return Geometry(elements, element_diameter, pitch_diameter, contact_angle, model.origin, model.spread), ""
    why_not = ""
    if model.designation and not (isinstance(model, BearingModel) and model.candidates):
        try:
            return replace(estimate_geometry(read_designation(model.designation), elements=elements), spread=model.spread), ""
        except OutOfRange as error:
            why_not = f"nothing can be estimated from {error.name} {error.value}; right would be: {error.rule}"
    return CountRule(elements, model.origin) if elements is not None else None, why_not


def _designation_findings(source: Source, model: DriveModel) -> Iterable[Finding]:
    """Designations that say nothing: their bearings have no lines, or those of a rule of thumb."""
    for n, bearing in enumerate(model.bearings):
        path: Path_ = ("drive", "bearings", n)
        parts = [(path, bearing), *(((*path, "candidates", c), make) for c, make in enumerate(bearing.candidates))]
        for here, part in parts:
            if says := _shape(part)[1]:
                where = source.where((*here, "designation"))
                yield Finding(Level.CAUTION, "job.designation", where, f"{bearing.name}: {says}")


def drive_findings(source: Source, model: DriveModel, drive: Drive) -> Iterable[Finding]:
    """What is allowed but should be looked at: ratios and speeds that exclude each other, sets that are hard to build, designations
    that cannot be read.
    """
    yield from _ratio_findings(source, drive)
    yield from _speed_findings(source, drive)
    yield from _assembly_findings(source, drive)
    yield from _designation_findings(source, model)


def train_problems(source: Source, drive: Drive) -> Iterable[Problem]:
    """A train that contradicts itself, planets that cannot be put in, a motor whose plate cannot be."""
    for flaw in assembly_flaws(drive):
        if flaw.impossible:
            yield source.problem(_set_path(source, flaw.set_name), flaw.says, given=f'"{flaw.set_name}"')
    try:
        shaft_orders(drive)
    except OutOfRange as error:
        yield _train_problem(source, drive, error)
    if drive.motor is not None:
        try:
            rated_slip(drive.motor)
        except OutOfRange as error:
            yield source.problem(("drive", "motor"), error.rule, given="its plate")


def _train_problem(source: Source, drive: Drive, error: OutOfRange) -> Problem:
    """Two paths that disagree, shown at the last mesh of the shaft where they meet."""
    shaft = str(error.value).strip("'\"")
    listed = len(source.data.get("drive", {}).get("meshes") or ())
    meshes = [n for n, mesh in enumerate(drive.meshes[:listed]) if shaft in (mesh.pinion_shaft, mesh.wheel_shaft, mesh.name)]
    sets = [mesh.group for mesh in drive.meshes[listed:] if shaft in (mesh.pinion_shaft, mesh.wheel_shaft)]
    path: Path_ = ("drive", "meshes", meshes[-1]) if meshes else _set_path(source, sets[-1]) if sets else ("drive",)
    return source.problem(path, error.rule, given=f'shaft "{shaft}"')


def _set_path(source: Source, name: str) -> Path_:
    """Where a planetary set, or a planet of its own, is written."""
    for kind in ("planetary_sets", "shafts"):
        for n, item in enumerate(source.data.get("drive", {}).get(kind) or ()):
            if str(item.get("name")).strip() == name:
                return ("drive", kind, n)
    return ("drive",)


def _assembly_findings(source: Source, drive: Drive) -> Iterable[Finding]:
    for flaw in assembly_flaws(drive):
        yield Finding(
            Level.CAUTION, "job.assembly", source.where(_set_path(source, flaw.set_name)), f"{flaw.set_name}: {flaw.says}"
        )


def _rests_on_plate(drive: Drive) -> bool:
    """Whether the ratio between the ends is the nameplate's own, so that there is nothing to hold it against."""
    return any(link.name == PLATE_RATIO for link in drive.ratio_links)


def _ratio_findings(source: Source, drive: Drive) -> Iterable[Finding]:
    ratings = drive.ratings
    ends = {shaft.end: shaft.name for shaft in drive.shafts if shaft.end}
    orders = shaft_orders(drive)
    if _rests_on_plate(drive) or not {"input", "output"} <= ends.keys() or not {*ends.values()} <= orders.keys():
        return
    ratio = abs(orders[ends["input"]].order / orders[ends["output"]].order)
    printed = source.value(("drive", "nameplate", "ratio")) is not None
    if (
        printed
        and ratings.ratio is not None
        and abs(ratio - ratings.ratio) > max(ratings.ratio_spread, _RATIO_TOLERANCE * ratings.ratio)
    ):
        says = f"the job's teeth and pulleys give a ratio of {ratio:.4g}, the nameplate {ratings.ratio:.4g}: one of them is wrong"
        yield Finding(Level.CAUTION, "job.ratio", source.where(("drive", "nameplate", "ratio")), says)
    if ratings.input_speed_hz and ratings.output_speed_hz:
        plate = ratings.input_speed_hz / ratings.output_speed_hz
        if abs(ratio / plate - 1) > _RATIO_TOLERANCE:
            says = (
                f"the job's teeth and pulleys give a ratio of {ratio:.4g}, the nameplate's speeds {plate:.4g}: one of them is wrong"
            )
            yield Finding(Level.CAUTION, "job.speeds", source.where(("drive", "nameplate", "output_speed")), says)


def _speed_findings(source: Source, drive: Drive) -> Iterable[Finding]:
    """Speeds that exclude each other: the plate's own, and the stated one against what the motor's plate allows on the mains."""
    ratings, motor = drive.ratings, drive.motor
    if ratings.ratio and ratings.input_speed_hz and ratings.output_speed_hz:
        plate = ratings.input_speed_hz / ratings.output_speed_hz
        if abs(plate / ratings.ratio - 1) > _RATIO_TOLERANCE:
            says = (
                f"the plate contradicts itself: its speeds are in a ratio of {plate:.4g}, and it says {ratings.ratio:.4g}; "
                "read it again, or measure the output's speed"
            )
            yield Finding(Level.CAUTION, "job.speeds", source.where(("drive", "nameplate", "output_speed")), says)
    yield from _against_plate(source, drive)
    orders = shaft_orders(drive)
    if motor is None or motor.converter or motor.shaft not in orders:
        return
    field_hz = 2 * motor.supply_hz / motor.poles
    slowest = (motor.rated_speed_hz or field_hz) * (1 - _RATIO_TOLERANCE)
    for speed in drive.speed_hz:
        turning = abs(orders[motor.shaft].order) * speed
        if not slowest <= turning <= field_hz * (1 + _SAME_SPEED):
            says = (
                f"the stated speed turns the motor at {60 * turning:.4g} rpm, but {motor.poles} poles on {motor.supply_hz:g} Hz "
                f"turn it at {60 * (motor.rated_speed_hz or field_hz):.4g} to {60 * field_hz:.4g} rpm: measure the speed, read "
                "its plate again, or say converter: true"
            )
            yield Finding(Level.CAUTION, "job.speeds", source.where(("drive", "motor")), says)
            return


def _against_plate(source: Source, drive: Drive) -> Iterable[Finding]:
    """The stated speed of an end against the plate's for it: above it, or below it without a converter."""
    ends = {shaft.name: shaft.end for shaft in drive.shafts if shaft.end}
    key = {"input": "input_speed", "output": "output_speed"}.get(ends.get(drive.reference_shaft, ""), "")
    plate = {"input_speed": drive.ratings.input_speed_hz, "output_speed": drive.ratings.output_speed_hz}.get(key)
    if plate is None:
        return
    converted = drive.motor is not None and drive.motor.converter
    low, high = drive.speed_hz
    runs = f"{60 * high:.4g} rpm" if low == high else f"{60 * low:.4g} to {60 * high:.4g} rpm"
    if high > plate * _OVERSPEED or (high < plate * (1 - _SLOWER_THAN_PLATE) and not converted):
        cure = "read both again" + ("" if converted or high > plate else ", or say motor.converter: true where one slows it")
        says = f"{drive.reference_shaft} is stated to run at {runs}, and the plate says {60 * plate:.4g} rpm: one is wrong; {cure}"
        yield Finding(Level.CAUTION, "job.speeds", source.where(("drive", "nameplate", key)), says)
