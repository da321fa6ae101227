"""One point as built: the plan's own checks on it again, and what only a built thing can show.

What was built goes back into the job - wall, mount, place, metal temperature - and `plan.judge` judges it as it judged the plan.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from gearcase.findings import Finding, Level
from gearcase.install.asbuilt import DEPTH_TOLERANCE, PLACE_TOLERANCE, excess_depth, metal_left_as_drilled, offset_of_place
from gearcase.install.fasteners import stud_torque_ruling
from gearcase.install.holes import least_metal
from gearcase.install.housing import Wall
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages import plan
from gearcase.stages.built import Built, shown
from gearcase.stages.planning.orientation import TILT
from gearcase.stages.planning.walls import known_wall, read_too_thick
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["Check", "check_point"]

_COLDER = 1.0  # K, below which a surface thermometer tells nothing; common practice, no source
_STUD = "stud"
_HOUR = math.pi / 6  # rad


@dataclass
class Check:
    """One point being checked: what was planned, what was built, and what comes of it."""

    job: Job
    point: Point
    part: Mapping[str, Any]
    built: Built
    findings: list[Finding] = field(default_factory=list)
    deviations: list[dict[str, str]] = field(default_factory=list)
    worked: dict[str, Worked] = field(default_factory=dict)
    cure: dict[str, Any] | None = None

    def find(self, level: Level, rule: str, says: str, worked: Worked | None = None) -> None:
        self.findings.append(Finding(level, f"fit.{rule}", self.point.name, says, worked))

    def deviates(self, item: str, planned: str, built: str) -> None:
        self.deviations.append({"item": item, "planned": planned, "built": built})

    def given(self, item: str, name: str, value: float, unit: str, spread: float = 0.0) -> Given:
        return Given(name, value, unit, Origin.MEASURED, spread, f"entry {self.built.values[item].entry}")


def check_point(check: Check, document: Mapping[str, Any]) -> None:
    """Run the checks that what was built affects."""
    if not check.built.entries:
        return
    part, findings = _plan_again(check)
    drilled = check.built.get("depth") is not None
    before = {(row["rule"], row["where"], row["says"]) for row in document["findings"]}
    for finding in findings:
        if drilled and finding.rule == "plan.metal_left":
            continue  # the hole as it was drilled counts, not as it was meant
        if finding.level is Level.BLOCKER or (finding.rule, finding.where, finding.says) not in before:
            check.findings.append(finding)
    _mount(check, part)
    _place(check)
    _mark(check)
    _wall(check)
    if drilled:
        _depth(check)
    _misfits(check)
    _cure(check, part)


def _plan_again(check: Check) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """The plan's own part and findings of the point as it was built; the bus is judged on its own."""
    job, built = check.job, check.built
    point = replace(
        check.point,
        mount=built.get("mount") or check.part["mount"],
        face=built.get("face") or check.point.face,
        clock=check.point.clock if built.get("clock") is None else built.get("clock"),
        at=tuple(built.get("at")) if built.get("at") else check.point.at,
        wall=_wall_of(check),
    )
    warm = built.get("bond.metal_temperature")
    kit = replace(job.kit, metal_temperature=warm) if warm is not None else job.kit
    findings, document = plan.judge(replace(job, points=(point,), kit=kit, bus=replace(job.bus, devices=())))
    return document["parts"][0], tuple(finding for finding in findings if finding.where == point.name)


def _wall_of(check: Check) -> Wall | None:
    """The wall as gauged while fitting, with the velocity and the sample that the job names for it; else as the job has it."""
    wall, planned = check.built.get("wall"), check.point.wall
    if not wall:
        return planned
    least, error = min(wall["readings"]), wall.get("gauge_error") or 0.0
    said = (planned.velocity_set, planned.sample) if planned else (None, None)
    return Wall(least, error, Origin.MEASURED, tuple(wall["readings"]), *said)


def _mount(check: Check, part: Mapping[str, Any]) -> None:
    built, planned = check.built.get("mount"), check.part["mount"]
    if built is None or built == planned:
        return
    check.deviates("mount", planned or "not said", built)
    says = f"built {built}, planned {planned or 'nothing'}"
    old, new = check.part["band"], part["band"]
    if old and new:
        grades = {line["name"]: line["grade"] for line in part["lines"]}
        lost = [line["name"] for line in check.part["lines"] if line["grade"] == "true" and grades.get(line["name"]) != "true"]
        says += f": true amplitude to {new['true_hz']:.0f} Hz instead of {old['true_hz']:.0f} Hz"
        says += f"; no longer true: {', '.join(lost)}" if lost else "; every line that was to be true still is"
    check.find(Level.CAUTION, "mount", f"{says}. Change the mount in job.yaml and plan again, or rebuild it as planned")


def _place(check: Check) -> None:
    built, planned = check.built.get("at"), check.part["at_m"]
    face = check.built.get("face")
    if face and face != check.part["face"]:
        check.deviates("face", check.part["face"] or "not said", face)
        check.find(Level.CAUTION, "face", f"built on face {face}, planned on {check.part['face'] or 'none'}: put it into job.yaml")
    elif built and planned:
        off = work(
            f"off its place at {check.point.name}",
            offset_of_place,
            across=check.given("at", "across, as built", built[0], "m"),
            up=check.given("at", "up, as built", built[1], "m"),
            planned_across=Given("across, planned", planned[0], "m", Origin.STATED),
            planned_up=Given("up, planned", planned[1], "m", Origin.STATED),
        )
        check.worked["off_place"] = off
        if off.value > PLACE_TOLERANCE:
            check.deviates("place", _place_words(planned), _place_words(built))
            says = (
                f"stands {_mm(off.value)} from its planned place, at most {_mm(PLACE_TOLERANCE)} is let pass: put it into job.yaml"
            )
            check.find(Level.CAUTION, "place", f"{says} and plan again", off)


def _mark(check: Check) -> None:
    """The hour of the sensor's mark against the plan's, on whatever face."""
    built, planned = check.built.get("clock"), check.part["clock"]
    if built is None or planned is None:
        return
    off = abs((built - planned + 6) % 12 - 6) * _HOUR
    if off > TILT:
        check.deviates("mark", shown("clock", planned), shown("clock", built))
        says = f"its mark points to {shown('clock', built)}, planned {shown('clock', planned)}: put it into job.yaml, or turn it"
        check.find(Level.CAUTION, "mark", says)


def _wall(check: Check) -> None:
    """The wall as gauged against the one planned on."""
    built, planned = check.built.get("wall"), check.point.wall
    if built is None:
        return
    least, error = min(built["readings"]), built.get("gauge_error")
    if error is None:
        says = "the gauge's error is not entered and was taken as 0: enter wall.gauge_error, metal left counts on it"
        check.find(Level.CAUTION, "gauge_error", says)
    if planned is None or planned.origin is not Origin.MEASURED:
        return
    if abs(least - planned.thickness) > (error or 0.0) + planned.gauge_error:
        check.deviates("wall", _mm(planned.thickness), _mm(least))
        thinner = least < planned.thickness
        says = f"the wall is {_mm(least)}, planned on {_mm(planned.thickness)}: {'less' if thinner else 'more'} metal is left"
        check.find(Level.CAUTION if thinner else Level.NOTE, "wall", f"{says} than planned; put it into job.yaml")


def _depth(check: Check) -> None:
    """The hole as drilled: against its stop collar, and the metal left before the oil."""
    name, depth = check.point.name, float(check.built.get("depth"))
    drilled = check.given("depth", "drilled depth, spot-face to tip", depth, "m")
    hole = check.part["hole"]
    if hole and check.part["mount"] == _STUD:
        collar = hole["depth"]["value"] + hole["point"]["value"]
        over = work(
            f"deeper than the stop collar at {name}",
            excess_depth,
            drilled=drilled,
            collar=Given("stop collar, planned", collar, "m", Origin.CALCULATED),
        )
        check.worked["excess_depth"] = over
        if abs(over.value) > DEPTH_TOLERANCE:
            check.deviates("depth", _mm(collar), _mm(depth))
            deeper = over.value > 0
            cure = "metal left is judged again" if deeper else "the tap may bottom before its full thread: gauge the thread"
            says = (
                f"drilled {_mm(depth)}, {_mm(abs(over.value))} {'deeper' if deeper else 'less deep'} than its stop collar: {cure}"
            )
            check.find(Level.CAUTION, "depth", says, over)
    wall = _wall_of(check)
    if wall is None or wall.origin is not Origin.MEASURED:
        says = f"drilled {_mm(depth)} into a wall nobody has measured: gauge it beside the hole and enter wall.readings"
        check.find(Level.BLOCKER, "no_wall", says)
        return
    where = f"entry {check.built.values['wall'].entry}" if "wall" in check.built.values else check.point.where
    thinnest = known_wall(wall, check.job.housing.material, where).least
    if depth > min(wall.thickness, thinnest.value + wall.gauge_error):
        thick = _mm(thinnest.value + wall.gauge_error)
        says = (
            f"drilled {_mm(depth)} into a wall of {thick}: the hole is through, or one was misread. Through: stop, plug it, "
            "tell the owner, check for chips in the oil. Misread: gauge it again and enter it with because"
        )
        check.find(Level.BLOCKER, "depth_over_wall", says)
        return
    spot_face = Given("spot-face", check.point.hole.spot_face if check.point.hole else 0.0, "m", Origin.STATED)
    left = work(f"metal left at {name}", metal_left_as_drilled, wall=thinnest, spot_face=spot_face, drilled=drilled)
    least = work(f"least metal at {name}", least_metal, wall=thinnest)
    check.worked["metal_left"], check.worked["least_metal"] = left, least
    if left.value < least.value:
        says = (
            f"a way to the oil: {_mm(left.value)} of metal is left of a wall of {_mm(thinnest.value)}, at least {_mm(least.value)} "
            "must stay: do not tap it deeper or use it; have it judged, plug it, and bond the sensor"
        )
        if wall.sample is None and read_too_thick(check.job.housing.material) > 1:
            says += (
                ". The wall counts as read with a gauge set for steel on the slowest iron: if it was set for this one, say so in "
                "job.yaml with velocity_set and sample"
            )
        check.find(Level.BLOCKER, "metal_left", says, left)


def _misfits(check: Check) -> None:
    """Values that do not go with the mount."""
    built = check.built
    mount = built.get("mount") or check.part["mount"]
    torque, sheet = built.get("torque"), check.point.sensor
    if (
        mount == _STUD
        and torque is not None
        and sheet.torque_least
        and sheet.torque_most
        and sheet.torque_least <= sheet.torque_most
    ):
        ruling = stud_torque_ruling(torque=torque, sheet_least=sheet.torque_least, sheet_most=sheet.torque_most)
        if not ruling.holds:
            says = (
                f"its stud was tightened to {torque:.3g} N m: {ruling.cure}; loosen it, look at the base, tighten it by the sheet"
            )
            check.find(Level.CAUTION, "stud_torque", says)
    if mount != _STUD and built.get("torque") is not None:
        says = f"a torque is entered, but its mount is {mount or 'not said'}, without a stud: enter mount: stud, or correct it"
        check.find(Level.CAUTION, "torque_without_stud", says)
    if mount != _STUD and built.get("depth") is not None:
        says = f"a hole is drilled, but its mount is {mount or 'not said'}: enter mount: stud, or plug the hole and photograph it"
        check.find(Level.CAUTION, "hole_without_stud", says)
    if mount == _STUD and any(item.startswith("bond.") for item in built.values):
        check.find(Level.CAUTION, "bond_on_stud", "a bond is entered, but its mount is stud: enter the mount as built")


def _cure(check: Check, part: Mapping[str, Any]) -> None:
    """The cure at the metal's temperature as it was, against the one planned and the time it was given."""
    built, bond = check.built, part["bond"]
    check.cure = bond["cure"] if bond else None
    warm, planned_warm = built.get("bond.metal_temperature"), check.job.kit.metal_temperature
    if check.cure is None:
        return
    seconds, left = float(check.cure["value"]), built.get("bond.left")
    planned = check.part["bond"]["cure"]["value"] if check.part["bond"] and check.part["bond"]["cure"] else None
    if warm is not None and planned_warm is not None and abs(warm - planned_warm) > _COLDER:
        check.deviates("metal temperature", _celsius(planned_warm), _celsius(warm))
        says = f"metal at {_celsius(warm)}, planned at {_celsius(planned_warm)}: full cure {_hours(seconds)}"
        says += f" instead of {_hours(planned)}" if planned else ""
        check.find(Level.CAUTION if warm < planned_warm else Level.NOTE, "cure", f"{says}; no baseline before that")
    if left is not None and left < seconds:
        says = f"loaded {_hours(left)} after bonding; full cure takes {_hours(seconds)}: leave it, then tug and tap it"
        check.find(Level.CAUTION, "cure_short", says)


def _place_words(place: Sequence[float]) -> str:
    return f"{1000 * place[0]:.4g}, {1000 * place[1]:.4g} mm"


def _mm(metres: float) -> str:
    return f"{1000 * metres:.4g} mm"


def _celsius(kelvin: float) -> str:
    return f"{kelvin - 273.15:.3g} °C"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.0f} h"
