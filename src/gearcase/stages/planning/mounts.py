"""Bonded joints, and how high each mount sees."""

from dataclasses import replace
from typing import Any

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.adhesives import Adhesive, adhesive, bond_line_ruling, choose_adhesive
from gearcase.install.bond_strength import WORKING, peel_ruling, shock_ruling
from gearcase.install.bonding import (
    COLDEST,
    OVER_DEW_POINT,
    TAKEN,
    WARMEST_TO_APPLY,
    adhesive_volume,
    bond_conditions,
    cure_schedule,
    cure_time,
    preparation,
)
from gearcase.install.cautions import Step
from gearcase.install.mounting import Sight, line_sights, mount_sight, sight
from gearcase.install.points import Point
from gearcase.install.resonance import mass_ruling
from gearcase.install.rulings import Ruling
from gearcase.job.build import Job
from gearcase.stages.bands import ASSUMED_PAD, USUAL, carrier_mass, running_band, running_temperature, sensor_base
from gearcase.stages.planning.draft import Draft, ruling_document
from gearcase.worked import Given, Origin, work

__all__ = ["BARE_MAGNET", "BONDED", "band_document", "band_of", "bond", "cost_of_bonding", "graded_lines", "mass_on", "suits"]

BONDED = "rigid adhesive"
BARE_MAGNET, PAINT_MAGNET = "flat magnet", "magnet on paint"
COLDEST_YEAR = 253.15  # K, -20 degC, the coldest metal where nobody has said; common practice, no source
SHOCK = 50 * 9.80665  # m/s2, a kick or a dropped tool; common practice, no source
PULL, LEVER = 50.0, 0.04  # N on the cable, m above the bond: a common sensor; common practice, no source
ASSUMED_MASS = 0.1  # kg of a common sensor with its pad; common practice, no source
_FOR_A_TRIAL = {"tape": "tape creeps and lets go in heat and oil", "hand probe": "nobody holds it for good"}
_ON_SHAFT = ("shaft", "mesh")
_SUBSTRATES = {"steel": "bare steel", "aluminium": "aluminium"}  # else iron
_NOT_MAGNETIC = ("aluminium",)
_ENDS = ("input end", "output end")
_SHEET = "data sheet of the sensor"
_ZERO_C = 273.15


def bond(job: Job, point: Point, mount: str, draft: Draft) -> dict[str, Any]:
    """The bonded joint: which adhesive, its strength hot, its steps, and its cure at the metal's temperature."""
    kit, hot = job.kit, running_temperature(job, point)
    one = kit.adhesive or adhesive(USUAL)
    if kit.adhesive_cure is not None and kit.adhesive is None:
        one = replace(one, full_time=kit.adhesive_cure)
    rulings = _adhesive(job, point, one, draft)
    rulings += _strength(job, point, one, draft)
    cure, schedule = _cure(job, point, one, draft)
    line = point.bond_line or one.most_line
    volume = work(
        f"adhesive for {point.name}",
        adhesive_volume,
        diameter=sensor_base(point),
        bond_line=Given("bond line", line, "m", Origin.STATED if point.bond_line else Origin.ASSUMED),
        taken=Given("taken for each part that stays", TAKEN, "-", Origin.ASSUMED),
    )
    draft.take(f"{one.name} adhesive", point.name, millilitres=1e6 * volume.value)
    draft.take("abrasive, solvent, lint-free wipes, surface thermometer", point.name)
    _steps(point, mount, one, schedule, draft)
    return {
        "adhesive": one.name,
        "stated": kit.adhesive is not None,
        "says": one.says,
        "source": one.source,
        "cure": cure,
        "schedule_s": schedule,
        "volume": volume.as_dict(),
        "rulings": [ruling_document(ruling) for ruling in rulings],
        "surface_temperature_k": hot,
    }


def _adhesive(job: Job, point: Point, one: Adhesive, draft: Draft) -> list[Ruling]:
    """The adhesive against the metal and its temperatures."""
    hot, place = running_temperature(job, point), job.conditions.ambient
    if hot is not None and place is not None:
        hot = max(hot, place.high)  # metal in air of that heat is no cooler
    substrate = _SUBSTRATES.get(job.housing.material, "bare iron")
    if job.kit.adhesive is None:
        draft.find(Level.NOTE, "adhesive", point.name, f"the kit names no adhesive: taken as {one.name}, by its generic figures")
    cold = place.low if place is not None else COLDEST_YEAR
    cure = "another adhesive, or a stud in a measured wall"
    rulings = [Ruling(f"coldest metal under {one.name}", cold, "K", cure, one.source, least=one.coldest)]
    draft.rule(Level.CAUTION if place is None else Level.BLOCKER, "cold_bond", point.name, rulings[0])
    if hot is None:
        says = "the surface's running temperature is not given: nothing says that the adhesive stands it, nor what it loses hot"
        draft.find(Level.CAUTION, "hot_bond", point.name, says)
    else:
        most = f"its sheet or kind allows {one.hottest - _ZERO_C:.0f} °C"
        others = [
            choice.adhesive.name
            for choice in choose_adhesive(substrate=substrate, coldest=cold, hottest=hot)
            if choice.fits and choice.adhesive.name != one.name
        ]
        cure = f"take {' or '.join(others)}" if others else "a stud in a measured wall, or a cooler spot"
        ruling = Ruling(f"hottest metal under {one.name} ({most})", hot, "K", cure, one.source, most=one.hottest)
        rulings.append(ruling)
        draft.rule(Level.BLOCKER, "hot_bond", point.name, ruling)
    if substrate not in one.substrates:
        draft.find(Level.BLOCKER, "substrate", point.name, f"{one.name} is not for {substrate}: {', '.join(one.substrates)}")
    if point.bond_line is not None:
        rulings.append(bond_line_ruling(one, thickness=point.bond_line))
        draft.rule(Level.CAUTION, "bond_line", point.name, rulings[-1])
    return rulings


def _strength(job: Job, point: Point, one: Adhesive, draft: Draft) -> list[Ruling]:
    """Whether the pad holds a shock and a pull on the cable at the running temperature; one that breaks outright is no mount."""
    hot = running_temperature(job, point)
    if hot is None:
        return []
    pad, mass = point.sensor.base or ASSUMED_PAD, point.sensor.mass or ASSUMED_MASS
    rulings = [
        shock_ruling(one, diameter=pad, mass=mass, acceleration=SHOCK, temperature=hot),
        peel_ruling(one, diameter=pad, force=PULL, lever=LEVER, temperature=hot),
    ]
    shock, peel = rulings
    breaks = (pad**2 * WORKING < (shock.least or 0.0) ** 2, peel.value > WORKING * (peel.most or 0.0))  # area goes as d squared
    for rule, ruling, broken in zip(("shock", "peel"), rulings, breaks, strict=True):
        draft.rule(Level.BLOCKER if broken else Level.CAUTION, rule, point.name, ruling)
    return rulings


def _cure(job: Job, point: Point, one: Adhesive, draft: Draft) -> tuple[dict[str, Any] | None, dict[str, float] | None]:
    """Full cure with its working, and every time of the schedule [s]; None where the metal's temperature is unknown or wrong."""
    kit = job.kit
    if kit.metal_temperature is None or (kit.adhesive is None and kit.adhesive_cure is None):
        says = "cure time unknown: give kit.adhesive or kit.adhesive_cure, and kit.metal_temperature"
        draft.find(Level.CAUTION, "cure", point.name, says)
        return None, None
    if not COLDEST <= kit.metal_temperature <= WARMEST_TO_APPLY:
        metal = kit.metal_temperature - _ZERO_C
        says = f"metal at {metal:.0f} °C; bond between 10 and 40 °C: warm it and hold it warm"
        draft.find(Level.BLOCKER, "cure", point.name, says)
        return None, None
    if kit.air_temperature is not None and kit.humidity is not None:
        try:
            now = bond_conditions(
                metal_temperature=kit.metal_temperature, air_temperature=kit.air_temperature, relative_humidity=kit.humidity
            )
        except OutOfRange as error:
            draft.find(Level.CAUTION, "dew_point", point.name, f"the air while bonding: {error.name} {error.value}, {error.rule}")
        else:
            wet = now[1].shortfall >= OVER_DEW_POINT  # at or below the dew point itself
            draft.rule(Level.BLOCKER if wet else Level.CAUTION, "dew_point", point.name, now[1])
    cure = work(
        f"full cure at {point.name}",
        cure_time,
        time_at_reference=Given("full cure at 23 °C, data sheet", one.full_time, "s", Origin.STATED),
        metal_temperature=Given("metal while bonding", kit.metal_temperature, "K", Origin.MEASURED),
    )
    schedule = cure_schedule(
        open_time=one.open_time,
        fixture_time=one.fixture_time,
        full_time=one.full_time,
        metal_temperature=kit.metal_temperature,
        air_temperature=kit.air_temperature,
    )
    return cure.as_dict(), dict(vars(schedule))


def _steps(point: Point, mount: str, one: Adhesive, schedule: dict[str, float] | None, draft: Draft) -> None:
    line = f"{1000 * one.least_line:.2g} to {1000 * one.most_line:.2g} mm"
    prepare = {step.number: step for step in preparation()}
    draft.step(
        point.name,
        f"Grind to bare metal. {prepare[3].do} {prepare[4].do} {prepare[5].do}",
        "bond",
        at=Step.PREPARE,
        tool="abrasive, solvent, clean cloths",
        value="Ra 3 to 6 µm",
        tolerance="10 mm beyond the pad",
    )
    draft.step(
        point.name,
        f"{prepare[6].do} Touch the metal no more. Measure metal, air and humidity.",
        "bond",
        tool="surface thermometer, hygrometer",
        value="metal 15 to 40 °C",
        tolerance=f"{OVER_DEW_POINT:.0f} K over the dew point",
    )
    what = "pad" if "pad" in mount else "sensor"
    if schedule:
        close, load = f"{schedule['close_within'] / 60:.0f} min", f"{schedule['no_load_until'] / 3600:.1f} h"
        wait = f"close within {close}, no load for {load}, full cure {schedule['full'] / 3600:.0f} h before the baseline"
    else:
        wait = "no load until four fixture times, full cure by the data sheet before the baseline"
    draft.step(
        point.name,
        f"Bond the {what} with {one.name}: press with a slight twist, square to the face; {wait}.",
        "bond",
        tool=f"{one.name}, mixing nozzle, glass beads or wire for the line",
        value=f"line {line}",
        tolerance=f"full cure {schedule['full'] / 3600:.0f} h" if schedule else "full cure by the sheet",
    )


def suits(job: Job, point: Point, mount: str, draft: Draft) -> None:
    """Whether the sensor bears the running surface, whether a magnet holds on this metal, and one axis shows what it is to."""
    hot, most = running_temperature(job, point), point.sensor.hottest
    if hot is not None and most is not None:
        cure = "a sensor for more heat, a cooler spot, or a stand-off"
        draft.rule(Level.BLOCKER, "sensor_heat", point.name, Ruling("surface under the sensor", hot, "K", cure, _SHEET, most=most))
    if mount in _FOR_A_TRIAL:
        says = f"{_FOR_A_TRIAL[mount]}: for a trial record only; what stays is bonded, on a stud or on a magnet"
        draft.find(Level.CAUTION, "trial_mount", point.name, says)
    if mount == BARE_MAGNET and job.conditions.painted:
        paint = mount_sight(PAINT_MAGNET)
        says = (
            f"housing painted: on paint a magnet is true to {paint.true_hz:.0f} Hz, not to {mount_sight(mount).true_hz:.0f}; "
            f"the spot is scraped bare first, or plan it as {PAINT_MAGNET}"
        )
        draft.find(Level.NOTE, "painted", point.name, says)
    if "magnet" in mount and job.housing.material in _NOT_MAGNETIC:
        says = f"no magnet holds on {job.housing.material}: bond it, or a stud in a measured wall"
        draft.find(Level.BLOCKER, "magnet", point.name, says)
    face = job.housing.face(point.face)
    if face is not None and point.sensor.axes == 1 and point.direction == "radial":
        ends = job.housing.kind == "parallel-shaft" and face.outward in _ENDS
        if ends or any(seat.bearing == point.bearing for seat in face.seats):
            says = (
                f"the shaft stands out of face {face.name}, and so does the sensor's one axis: it shows axial vibration, not "
                "radial; another face, a block that turns it by 90 degrees, or a sensor of three axes"
            )
            draft.find(Level.CAUTION, "axis", point.name, says)


def mass_on(job: Job, point: Point, mount: str, draft: Draft) -> None:
    """Whether the spot is heavy enough for the sensor and what carries it, where its dynamic mass is known."""
    if point.dynamic_mass is not None and point.sensor.mass is not None:
        carrier = carrier_mass(point, mount)
        ruling = mass_ruling(sensor_mass=point.sensor.mass, pad_mass=carrier.value, dynamic_mass=point.dynamic_mass)
        draft.rule(Level.CAUTION, "mass", point.name, ruling)


def band_of(job: Job, point: Point, mount: str, draft: Draft) -> Sight | None:
    """Band of the mount as planned, at running temperature: by its kind, and by the stack where its parts are known."""
    running = running_band(job, point, mount)
    hot = running_temperature(job, point)
    if running.warm is not None and hot is not None:
        cold = mount_sight(mount).true_hz
        says = f"at {hot - _ZERO_C:.0f} °C the {mount} is true to {running.warm.value:.0f} Hz, cold to {cold:.0f} Hz"
        draft.find(Level.NOTE, "hot_pad", point.name, says, running.warm)
    return running.band


def band_document(band: Sight) -> dict[str, Any]:
    """A band as plain data."""
    return {"true_hz": band.true_hz, "detectable_hz": band.detectable_hz, "by": band.limited_by}


def cost_of_bonding(job: Job, point: Point, band: Sight, bonded: dict[str, Any] | None, draft: Draft) -> None:
    """What bonding instead of drilling costs: bandwidth at running temperature, time to cure, the mass that may stand there."""
    before = sight(point)
    if before is None or bonded is None:
        return
    says = f"bonded instead of drilled: true amplitude to {band.true_hz:.0f} Hz instead of {before.true_hz:.0f} Hz"
    hot = running_temperature(job, point)
    if hot is not None:
        says += f" at {hot - _ZERO_C:.0f} °C"
    if bonded["schedule_s"]:
        says += f"; no baseline for {bonded['schedule_s']['baseline_after'] / 3600:.0f} h, a stud needs none of it"
    pad = next((row for row in bonded["rulings"] if row["what"].startswith("diameter of the bonded pad")), None)
    if pad is not None:
        says += f"; its {1000 * (point.sensor.mass or ASSUMED_MASS):.0f} g want a pad of {1000 * pad['least']:.0f} mm or more"
    draft.find(Level.NOTE, "bonded", point.name, says)


def graded_lines(drive: Drive, point: Point, lines: tuple[Line, ...], band: Sight) -> list[dict[str, Any]]:
    """Every line of the bearing under the point and of its shaft's parts, at the highest speed, in the mount's three grades."""
    under = next((bearing for bearing in drive.bearings if bearing.name == point.bearing), None)
    if under is None:
        return []
    shafts = {shaft for shaft in (under.inner_shaft, under.outer_shaft) if shaft}
    meshes = {mesh.name for mesh in drive.meshes if {mesh.pinion_shaft, mesh.wheel_shaft} & shafts}
    near = {under.name} | shafts | meshes
    wanted = {
        line.name: line.hz(drive.speed_hz[1])
        for line in lines
        if line.component in near and (line.kind in _ON_SHAFT or (line.component == under.name and line.kind != "sideband"))
    }
    graded = {seen.name: seen for seen in line_sights(band, wanted)}
    return [{"name": name, "hz": hz, "grade": graded[name].grade, "cure": graded[name].cure} for name, hz in wanted.items()]
