"""Brackets, the edge enclosure and the stack light: which holes hold them, how tight, on which plate, and who sees the light.

A structure's screw must break before its thread strips, and is tightened by its preload; a hole whose function nobody knows, or one
that holds the drive together, is left alone.
"""

import math
from dataclasses import dataclass
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.bond_strength import shock_force
from gearcase.install.cautions import Step
from gearcase.install.engagement import engagement_needed, engagement_ruling, stripping_force, stripping_ruling, tapped_strength
from gearcase.install.fasteners import PROOF_SHARE, nut_factor, preload, screw_strength, tightening, tightening_torque
from gearcase.install.fittings import Bracket
from gearcase.install.holes import (
    LEAD_THREADS,
    TapDrill,
    clearance_hole,
    depth_to_shoulder,
    drill_point_length,
    metal_ruling,
    spacing_ruling,
    tap_drill,
)
from gearcase.install.housing import Face, Place, ThreadedHole, gap
from gearcase.install.positions import CLEAR_OF_OTHERS, Footprint, Pad, clear_of, region_at, regions_at, violations
from gearcase.install.rulings import Ruling
from gearcase.install.threads import limits_metric, limits_unified
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm, ruling_document, stated, tabled
from gearcase.stages.planning.holes import place_rulings
from gearcase.stages.planning.places import ASSUMED_BASE
from gearcase.stages.planning.walls import known_wall, table_material
from gearcase.tables import load
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, work

__all__ = ["brackets", "plates"]

LIGHT_HEIGHT = (1.8, 2.5)  # m over the floor; common practice, no source
LIGHT_SEEN_FROM = 20.0  # m; common practice, no source
WASHER = 2.2  # diameters of the screw across its washer; common practice, no source
LIFTED = 10 * 9.80665  # m/s2, what a bracket beside a drive may see in a knock; common practice, no source
PLATE_BEYOND = 0.020  # m of plate beyond the outermost hole; common practice, no source
SLOT_PLAY = 0.010  # m by which a slot is longer than wide, for holes that a tape measured; common practice, no source
_GRADES = {"metric": "8.8", "unified": "SAE 5"}
_PLATE_THICK, _CORNER = 0.004, 0.005  # m; common practice, no source
_LEFT_ALONE = ("bearing cap", "cap bolt", "split", "dowel", "seal", "shroud", "shim", "lifting")
_FREE = ("free", "jig", "spare", "unused")
_SURFACE = "oiled"


@dataclass(frozen=True)
class _Screw:
    """The screw of a bracket: drill and thread from the tables, and its grade."""

    thread: str
    system: str
    drill: TapDrill
    grade: str
    assumed: bool


def brackets(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """Each bracket with its holes, screws, engagement and torque; then the enclosure's and the light's own rules."""
    rows = [_bracket(job, bracket, draft) for bracket in job.kit.brackets]
    _enclosure(job, draft)
    _light(job, draft)
    return rows


def _bracket(job: Job, bracket: Bracket, draft: Draft) -> dict[str, Any]:
    row: dict[str, Any] = {
        "name": bracket.name,
        "face": bracket.face,
        "holes": list(bracket.holes),
        "at_m": [list(place) for place in bracket.at],
        "carries": _carries(job, bracket),
        "thread": bracket.thread,
        "drill": "",
        "drill_mm": None,
        "grade": "",
        "engagement": None,
        "torque": None,
        "preload_n": None,
        "rulings": [],
    }
    face = job.housing.face(bracket.face)
    if face is None:
        draft.step(
            bracket.name,
            "Set up the stand of strut channel, spring nuts and square washers; anchor it as the site allows.",
            "fit bracket",
            tool="strut, spring nuts, spirit level",
        )
        draft.take("strut channel, spring nuts, square washers, floor anchors", bracket.name)
        return row
    before = len(draft.findings)
    existing = _existing(bracket, face, draft)
    if not bracket.holes and not bracket.at:
        known = ", ".join(hole.name for hole in face.threaded_holes if hole.function) or "none whose function is known"
        says = f"nobody has said which holes of face {face.name} hold it: {known}; or give places of new ones, or a stand"
        draft.find(Level.CAUTION, "bracket_holes", bracket.name, says)
    screw = _screw(bracket, existing, draft)
    if screw is None:
        return row
    row |= {"thread": screw.thread, "drill": screw.drill.drill, "drill_mm": 1000 * screw.drill.diameter, "grade": screw.grade}
    _engage(job, bracket, screw, row, draft)
    _tighten(bracket, screw, row, draft)
    for number in range(len(bracket.at)):
        row["rulings"] += [ruling_document(one) for one in _new_hole(job, bracket, face, number, screw, row, draft)]
    if not any(one.level is Level.BLOCKER for one in draft.findings[before:]):
        _steps(bracket, screw, row, draft)
    return row


def _carries(job: Job, bracket: Bracket) -> list[str]:
    kit = job.kit
    carried = {
        "edge enclosure": kit.enclosure.bracket if kit.enclosure else "",
        "stack light": kit.light.bracket if kit.light else "",
    }
    return [what for what, name in carried.items() if name == bracket.name]


def _existing(bracket: Bracket, face: Face, draft: Draft) -> list[ThreadedHole]:
    """The holes it is to use, those that may not be used named."""
    found = []
    for name in bracket.holes:
        hole = next((hole for hole in face.threaded_holes if hole.name == name), None)
        if hole is None:
            there = ", ".join(one.name for one in face.threaded_holes) or "none is listed"
            draft.find(Level.BLOCKER, "bracket_hole", bracket.name, f"no hole {name} on face {face.name}; its holes: {there}")
            continue
        found.append(hole)
        if not hole.function:
            says = f"nobody knows what the hole {name} is for: leave it alone, ask the drive's maker, or set the bracket on a stand"
            draft.find(Level.BLOCKER, "bracket_hole", bracket.name, says)
        elif not _is_free(hole):
            says = (
                f"the hole {name} is for {hole.function}: never disturb it; take one whose function is given as "
                "free, jig or spare, or a stand"
            )
            draft.find(Level.BLOCKER, "bracket_hole", bracket.name, says)
    return found


def _is_free(hole: ThreadedHole) -> bool:
    """Whether a hole's function says that nothing else wants it."""
    words = hole.function.lower().replace("-", " ")
    return any(word in words.split() for word in _FREE) and not any(word in words for word in _LEFT_ALONE)


def _screw(bracket: Bracket, existing: list[ThreadedHole], draft: Draft) -> _Screw | None:
    threads = {hole.thread for hole in existing} | ({bracket.thread} if bracket.thread else set())
    if len(threads) > 1:
        draft.find(
            Level.BLOCKER, "bracket_thread", bracket.name, f"one screw does not fit {' and '.join(sorted(threads))}: name one"
        )
        return None
    if not threads:
        if bracket.at:
            draft.find(Level.CAUTION, "bracket_thread", bracket.name, "the thread of its screws is not given, e.g. M8")
        return None
    thread = parse_thread(threads.pop())
    grade = bracket.grade or _GRADES[thread.system]
    try:
        drill = tap_drill(thread)
        strength = screw_strength(grade, diameter=drill.major_diameter)
    except OutOfRange as error:
        draft.find(Level.BLOCKER, "bracket_thread", bracket.name, f"{thread.designation}, grade {grade}: {error.rule}")
        return None
    if strength.system != thread.system:
        fits = ", ".join(dict.fromkeys(row["grade"] for row in load("screw_strengths") if row["system"] == thread.system))
        says = f"grade {grade} is one of {strength.system} screws, {thread.designation} is {thread.system}: one of {fits}"
        draft.find(Level.BLOCKER, "bracket_grade", bracket.name, says)
        return None
    return _Screw(thread.designation, thread.system, drill, grade, not bracket.grade)


def _engage(job: Job, bracket: Bracket, screw: _Screw, row: dict[str, Any], draft: Draft) -> None:
    drill, material = screw.drill, table_material(job.housing.material)
    limits = (limits_metric if screw.system == "metric" else limits_unified)(major_diameter=drill.major_diameter, pitch=drill.pitch)
    strength = screw_strength(screw.grade, diameter=drill.major_diameter)
    known = Origin.ASSUMED if screw.assumed else Origin.TABLE
    needed = work(
        f"full thread that {bracket.name} needs",
        engagement_needed,
        stress_area=tabled(f"stress area of {screw.thread}", drill.stress_area, "m2"),
        pitch=tabled("pitch", drill.pitch),
        screw_strength=Given(f"tensile strength of grade {screw.grade}", strength.tensile, "Pa", known),
        hole_strength=Given(f"tensile strength of {material}", tapped_strength(material), "Pa", Origin.ASSUMED),
        **{name: tabled(name.replace("_", " "), value) for name, value in vars(limits).items()},
    )
    row["engagement"] = needed.as_dict()
    if bracket.full_thread is None:
        says = f"the full thread in its holes is not gauged: {mm(needed.value)} of {screw.thread} are needed; use a gauge pin"
        draft.find(Level.CAUTION, "bracket_engagement", bracket.name, says, needed)
        return
    ruling = engagement_ruling(full_thread=bracket.full_thread, needed=needed.value)
    row["rulings"].append(ruling_document(ruling))
    draft.rule(Level.CAUTION, "bracket_engagement", bracket.name, ruling, needed)


def _tighten(bracket: Bracket, screw: _Screw, row: dict[str, Any], draft: Draft) -> None:
    drill = screw.drill
    strength, friction = screw_strength(screw.grade, diameter=drill.major_diameter), nut_factor(_SURFACE)
    made = tightening(strength=strength, friction=friction, diameter=drill.major_diameter, stress_area=drill.stress_area)
    known = Origin.ASSUMED if screw.assumed else Origin.TABLE
    meant = work(
        f"preload of {bracket.name}",
        preload,
        proof_strength=Given(f"proof strength of grade {screw.grade}", strength.proof, "Pa", known),
        stress_area=tabled(f"stress area of {screw.thread}", drill.stress_area, "m2"),
        share=Given("share of proof load", PROOF_SHARE, "-", Origin.ASSUMED),
    )
    torque = work(
        f"torque of {bracket.name}",
        tightening_torque,
        nut_factor=Given(f"nut factor, {_SURFACE}", friction.usual, "-", Origin.ASSUMED),
        preload=meant,
        diameter=tabled("major diameter", drill.major_diameter),
    )
    row |= {"torque": torque.as_dict(), "preload_n": [made.least_preload, made.preload, made.most_preload]}
    row["rulings"] += [ruling_document(one) for one in made.rulings]
    for one in made.rulings:
        draft.rule(Level.CAUTION, "bracket_torque", bracket.name, one, torque)
    if bracket.full_thread is not None:
        bears = work(
            f"what the thread of {bracket.name} bears",
            stripping_force,
            full_thread=stated("full thread engaged", bracket.full_thread),
            needed=Given("full thread needed", row["engagement"]["value"], "m", Origin.CALCULATED),
            screw_strength=Given(f"tensile strength of grade {screw.grade}", strength.tensile, "Pa", known),
            stress_area=tabled(f"stress area of {screw.thread}", drill.stress_area, "m2"),
        )
        strips = stripping_ruling(most_preload=made.most_preload, bears=bears.value, full_thread=bracket.full_thread)
        row["rulings"].append(ruling_document(strips))
        surely = made.preload > bears.value  # at the preload that is meant, not only at the most that friction may make of it
        draft.rule(Level.BLOCKER if surely else Level.CAUTION, "bracket_strips", bracket.name, strips, bears)
    count = len(bracket.holes) + len(bracket.at)
    if bracket.mass is not None and count:
        pull = work(
            f"pull on {bracket.name}",
            shock_force,
            mass=stated("mass carried", bracket.mass, "kg"),
            acceleration=Given("a knock of 10 g, common practice", LIFTED, "m/s2", Origin.ASSUMED),
        )
        ruling = Ruling(
            what="pull of a knock over the least preload of its screws",
            value=pull.value / (count * made.least_preload),
            unit="-",
            most=1.0,
            cure="more or larger screws, or a stand of its own",
            source="a joint opens when the pull exceeds its preload; Shigley",
        )
        row["rulings"].append(ruling_document(ruling))
        row["pull"] = pull.as_dict()
        draft.rule(Level.CAUTION, "bracket_load", bracket.name, ruling, pull)


def _new_hole(
    job: Job, bracket: Bracket, face: Face, number: int, screw: _Screw, row: dict[str, Any], draft: Draft
) -> list[Ruling]:
    """A hole drilled for a bracket, held against edge, neighbours, what must stay clear, sensors and the wall."""
    place = bracket.at[number]
    diameter = screw.drill.major_diameter
    _fouls(job, bracket, face, place, diameter, draft)
    placed = place_rulings(job, face, place, diameter=diameter, own=(bracket.name, number))
    for ruling, cut in placed:
        draft.rule(Level.BLOCKER if cut else Level.CAUTION, "bracket_place", bracket.name, ruling)
    rulings = [ruling for ruling, _ in placed]
    walls = [known_wall(one.wall, job.housing.material, bracket.where) for one in regions_at(face, place) if one.wall]
    known = min(walls, key=lambda one: one.least.value, default=None)
    if known is None or not known.drillable:
        says = f"no wall is gauged at {mm(place[0])}, {mm(place[1])}: no reading, no hole; use holes that are there, or a stand"
        draft.find(Level.BLOCKER, "bracket_wall", bracket.name, says)
        return rulings
    full = bracket.full_thread if bracket.full_thread is not None else float(row["engagement"]["value"])
    depth = depth_to_shoulder(full_thread=full, lead_threads=LEAD_THREADS["plug"], pitch=screw.drill.pitch)
    point = drill_point_length(drill_diameter=screw.drill.diameter)
    metal = metal_ruling(wall=known.least.value, spot_face=0.0, depth=depth, point=point)
    if not metal.holds:
        says = f"a way to the oil: {metal.what} is {mm(metal.value)}, at least {mm(metal.least or 0.0)} must stay"
        draft.find(Level.BLOCKER, "metal_left", bracket.name, f"{says}: use holes that are there, a boss, or a stand")
    else:
        draft.step(
            bracket.name,
            f"Drill {screw.drill.drill} at {mm(place[0])} from the left, {mm(place[1])} up; gauge pin after each peck; "
            f"tap {screw.thread}.",
            "fit bracket",
            at=Step.DRILL,
            tool=f"drill {screw.drill.drill}, stop collar, plug tap {screw.thread}",
            value=f"collar at {mm(depth + point)}",
            tolerance="0.5 mm",
        )
    return [*rulings, metal]


def _fouls(job: Job, bracket: Bracket, face: Face, place: Place, diameter: float, draft: Draft) -> None:
    """A new hole and its washer held against all that a stud's hole is held against, and against the sensors of its face."""
    pad = Pad(bracket.name, face.name, place, region_at(face, place), None)
    for violation in violations(face, pad, Footprint(WASHER * diameter, hole_diameter=diameter)):
        if violation.severe or violation.rule in ("clearance", "region_edge"):
            draft.find(Level.BLOCKER if violation.severe else Level.CAUTION, "bracket_place", bracket.name, violation.says)
    for point in job.points:
        if point.face != face.name or point.at is None:
            continue
        apart, needed = math.dist(place, point.at), (WASHER * diameter + (point.sensor.base or ASSUMED_BASE)) / 2
        if apart < needed:
            says = f"its hole stands {mm(apart)} from {point.name}; its washer and the sensor's base want {mm(needed)}: move it"
            draft.find(Level.BLOCKER, "bracket_place", bracket.name, says)


def _steps(bracket: Bracket, screw: _Screw, row: dict[str, Any], draft: Draft) -> None:
    holes = ", ".join(bracket.holes) or "its new holes"
    least, _, most = row["preload_n"]
    draft.take(f"screws {screw.thread}, grade {screw.grade}, washers", bracket.name, len(bracket.holes) + len(bracket.at))
    draft.take("strut channel, spring nuts, square washers", bracket.name)
    draft.step(
        bracket.name,
        f"Gauge the full thread of {holes}; clean, oil thread and seat; fit the bracket and tighten in two rounds.",
        "fit bracket",
        tool="gauge pin, torque wrench",
        value=f"{row['torque']['value']:.3g} N m",
        tolerance=f"preload {least / 1000:.2g} to {most / 1000:.2g} kN",
    )


def _enclosure(job: Job, draft: Draft) -> None:
    box = job.kit.enclosure
    if box is None:
        return
    where = "edge enclosure"
    if box.size is None or (box.face and box.at is None):
        draft.find(Level.CAUTION, "enclosure", where, "its size, and its place on its face, are not given: nothing checks its room")
    if not box.bracket:
        draft.find(Level.CAUTION, "enclosure", where, "nobody has said which bracket carries it: name one of kit.brackets")
    face = job.housing.face(box.face)
    if face is not None and box.size is not None and box.at is not None:
        _room(job, face, "edge enclosure", box.size, box.at, draft)
    draft.take("edge enclosure with earth strap", where)
    draft.step(
        where,
        f"Hang it on {box.bracket or 'its bracket'}, glands downwards; earth strap to its stud.",
        "hang enclosure",
        tool="spanner, spirit level",
        value=f"screws {box.screw}" if box.screw else "",
    )


def _room(job: Job, face: Face, what: str, size: Place, at: Place, draft: Draft) -> None:
    """Whether enclosure or plate stands on its face, and over or beside nothing that must stay clear or in reach."""
    for place, side, whole, way in zip(at, size, face.size, ("across", "up"), strict=True):
        beyond = max(side / 2 - place, place + side / 2 - whole)
        if beyond > 0:
            says = f"it reaches {mm(beyond)} beyond face {face.name} ({way}): move it, or set it on a stand"
            draft.find(Level.BLOCKER if beyond > side / 2 else Level.CAUTION, "enclosure_place", what, says)
    for part in face.keep_outs:
        apart = gap(at, size, part.at, part.size)
        _apart(f"{part.name} ({part.kind})", apart, clear_of(part), what, draft, severe=part.kind == "rotating part")
    for point in job.points:
        if point.face == face.name and point.at is not None:
            apart = _to_circle(at, size, point.at, point.sensor.base or ASSUMED_BASE)
            _apart(point.name, apart, CLEAR_OF_OTHERS, what, draft)
    for seat in face.seats:
        _reach(f"the seat of {seat.bearing}", _to_circle(at, size, seat.at, seat.diameter), "its cap and bolts", what, draft)
    for hole in face.threaded_holes:
        if not _is_free(hole):
            used = f"it is for {hole.function}" if hole.function else "nobody knows what it is for"
            _reach(f"the hole {hole.name}", _to_circle(at, size, hole.at, WASHER * hole.diameter), used, what, draft)


def _to_circle(at: Place, size: Place, middle: Place, diameter: float) -> float:
    """From a rectangle to the edge of a circle; below 0 where they meet. [m]"""
    return max(gap(at, size, middle, (0.0, 0.0)), 0.0) - diameter / 2


def _apart(name: str, apart: float, wanted: float, what: str, draft: Draft, *, severe: bool = False) -> None:
    """What it must keep clear of: over it is a blocker, too near a caution, or a blocker where a hand would be lost."""
    if apart < 0:
        says = f"it covers the {name} by {mm(-apart)}: move it so far or more, or set it on a stand"
        draft.find(Level.BLOCKER, "overlap", what, says)
    elif apart < wanted:
        says = f"it stands {mm(apart)} from the {name}; {mm(wanted)} is wanted: move it, or set it on a stand"
        draft.find(Level.BLOCKER if severe else Level.CAUTION, "enclosure_place", what, says)


def _reach(name: str, apart: float, why: str, what: str, draft: Draft) -> None:
    if apart < 0:
        says = f"it covers {name} by {mm(-apart)}, which must stay in reach ({why}): move it, or set it on a stand"
        draft.find(Level.BLOCKER, "overlap", what, says)


def _light(job: Job, draft: Draft) -> None:
    light = job.kit.light
    if light is None:
        return
    where = "stack light"
    if not light.bracket:
        draft.find(Level.CAUTION, "light", where, "nobody has said which bracket carries it: name one of kit.brackets")
    practice = "common practice, no source"
    if light.height is None or light.seen_from is None:
        draft.find(Level.CAUTION, "light", where, "its height, and from how far it is seen, are not given: 1.8 to 2.5 m high, 20 m")
    if light.height is not None:
        cure = "between 1.8 and 2.5 m: over heads and hoods, below the glare of lamps"
        high = Ruling("height of the light", light.height, "m", cure, practice, least=LIGHT_HEIGHT[0], most=LIGHT_HEIGHT[1])
        draft.rule(Level.CAUTION, "light_height", where, high)
    if light.seen_from is not None:
        cure = "move it to where nothing stands before it, or repeat it at the walkway"
        seen = Ruling("distance from which the light is seen", light.seen_from, "m", cure, practice, least=LIGHT_SEEN_FROM)
        draft.rule(Level.CAUTION, "light_seen", where, seen)
    draft.step(
        where,
        f"Fix it on {light.bracket or 'its bracket'}; walk to where people work and look: nothing may stand before it.",
        "fix light",
        tool="tape measure",
        value=f"{light.height:.2f} m high" if light.height is not None else "1.8 to 2.5 m high",
        tolerance=f"seen from {light.seen_from or LIGHT_SEEN_FROM:.0f} m",
    )


def plates(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The plate between bracket holes and enclosure: outline, round holes for the enclosure, slots for the holes of the face."""
    box = job.kit.enclosure
    bracket = next((one for one in job.kit.brackets if box and one.name == box.bracket), None)
    face = job.housing.face(bracket.face) if bracket else None
    if box is None or bracket is None or face is None or box.pattern is None or not box.screw:
        return []
    held = [(hole.at, hole.thread) for hole in face.threaded_holes if hole.name in bracket.holes]
    held += [(place, bracket.thread) for place in bracket.at if bracket.thread]
    if not held:
        return []
    name = bracket.name if "plate" in bracket.name.split() else f"plate of {bracket.name}"
    across, up = ([place[axis] for place, _ in held] for axis in (0, 1))
    middle = box.at or (sum(across) / len(held), sum(up) / len(held))
    hole = clearance_hole(box.screw, "normal")
    corners = [(x * box.pattern[0] / 2, y * box.pattern[1] / 2) for x in (-1, 1) for y in (-1, 1)]
    slots = [((place[0] - middle[0], place[1] - middle[1]), _slot_width(thread)) for place, thread in held]
    reach = [
        max(abs(place[axis]) + width / 2 for place, width in [*((c, hole.diameter) for c in corners), *_ends(slots)]) + PLATE_BEYOND
        for axis in (0, 1)
    ]
    for corner in corners:
        for place, width in slots:
            ruling = spacing_ruling(
                apart=math.dist(corner, place) - SLOT_PLAY / 2, hole_diameter=hole.diameter, other_diameter=width
            )
            draft.rule(Level.CAUTION, "plate", name, ruling)

    under = [
        thread
        for (place, width), (_, thread) in zip(slots, held, strict=True)
        if box.size and all(abs(place[axis]) < (box.size[axis] + width) / 2 for axis in (0, 1))
    ]
    if under:
        says = f"{len(under)} of its {under[0]} screws lie under the enclosure: stand it off on spacers higher than their heads"
        draft.find(Level.CAUTION, "plate", name, says)
    _room(job, face, name, (2 * reach[0], 2 * reach[1]), middle, draft)

    thick = bracket.thickness or _PLATE_THICK
    draft.take(f"screws {box.screw} with nuts and washers", "edge enclosure", len(corners))
    if not any(one.level is Level.BLOCKER and one.where in (bracket.name, name) for one in draft.findings):
        draft.step(
            name,
            f"Cut and drill it by its drawing or DXF: {len(corners)} holes for the enclosure, {len(slots)} slots for the housing; "
            "deburr, round the corners, paint the edges with zinc.",
            "prepare",
            tool="saw, drills, file",
            value=f"{mm(2 * reach[0])} x {mm(2 * reach[1])} x {mm(thick)}",
            tolerance="holes within 0.5 mm",
        )

    def on_plate(place: Place) -> list[float]:
        return [place[0] + reach[0], place[1] + reach[1]]

    return [
        {
            "name": name,
            "size_m": [2 * side for side in reach],
            "thickness_m": thick,
            "material": "steel, galvanised",
            "corner_radius_m": _CORNER,
            "holes": [
                {"at_m": on_plate(corner), "diameter_m": hole.diameter, "for": f"enclosure, {box.screw}"} for corner in corners
            ],
            "slots": [
                {
                    "at_m": on_plate(place),
                    "length_m": width + SLOT_PLAY,
                    "width_m": width,
                    "turned_deg": 0.0,
                    "for": f"{thread} into the housing",
                }
                for (place, width), (_, thread) in zip(slots, held, strict=True)
            ],
        }
    ]


def _ends(slots: list[tuple[Place, float]]) -> list[tuple[Place, float]]:
    return [(place, width + SLOT_PLAY) for place, width in slots]


def _slot_width(thread: str) -> float:
    """Normal clearance of a thread's screw; a tenth over its diameter where the table does not hold it."""
    named = parse_thread(thread)
    size = named.designation.split("x")[0] if named.system == "metric" else named.designation.rpartition("-")[0]
    try:
        return clearance_hole(size, "normal").diameter
    except OutOfRange:
        return 1.1 * named.major_diameter
