"""The sheet of questions: what the job does not say and somebody on site can, in the order in which one walks round a drive.

A question is asked as long as the job leaves it open, and no longer. Those marked stop ordering: without their answer the wrong
parts would be bought, or a visit be made in vain. What to ask is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from gearcase.drive.bearings import Bearing, CountRule, Geometry
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.install.housing import PROBED
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.worked import Origin

__all__ = ["contradictions", "counts_words", "open_questions"]

_CONTRADICTIONS = ("job.ratio", "job.speeds")  # findings that two statements of the job exclude each other
_AROUND = ("rotating part", "guard", "fan shroud")  # keep-outs that answer what turns near the housing
_CONSENT_SETTLED = ("given", "refused")


@dataclass(frozen=True)
class _Question:
    what: str
    where: str
    why: str
    blocks_ordering: bool = False


def open_questions(job: Job) -> list[dict[str, Any]]:
    """Questions for the site, in the order of the ask-for sheet; those that stop ordering are marked."""
    return [
        vars(question) for part in (_drive, _bearings, _plate, _points, _site, _housing, _supply, _visit) for question in part(job)
    ]


def contradictions(job: Job) -> list[dict[str, str]]:
    """Statements of the job that exclude each other: open until somebody looks, and said first on every page that rests on them."""
    return [{"where": found.where, "says": found.says} for found in job.findings if found.rule in _CONTRADICTIONS]


def _drive(job: Job) -> Iterator[_Question]:
    drive = job.drive
    for row in contradictions(job):
        says = f"{_how_to_settle(row['says'], drive)}: {row['says']}"
        yield _Question(says, row["where"], "with it every line behind it is wrong")
    for mesh in drive.meshes:
        for teeth, side in ((mesh.pinion_teeth, "pinion"), (mesh.wheel_teeth, "wheel")):
            if teeth is None:
                why = "places the mesh, its sidebands and the speeds behind it"
                yield _Question(f"number of teeth of the {mesh.name} {side}", mesh.name, why)
    reached = shaft_orders(drive)
    for shaft in drive.shafts:
        if shaft.name not in reached:
            why = "no line of this shaft or its bearings can be placed without its speed"
            yield _Question(f"speed or ratio of shaft {shaft.name}", shaft.name, why)
    if not drive.meshes and drive.ratio_links:
        why = "without the teeth no mesh line can be placed, and gear faults stay unseen"
        yield _Question("number of stages and tooth counts of every gear", drive.name, why)


def _bearings(job: Job) -> Iterator[_Question]:
    for bearing in job.drive.bearings:
        for what, why in _about_bearing(bearing):
            yield _Question(what, bearing.name, why)


def _plate(job: Job) -> Iterator[_Question]:
    drive = job.drive
    ratings = drive.ratings
    if ratings.power is None:
        yield _Question("rated power", "nameplate", "decides which vibration zones apply")
    if ratings.ratio is None and len(drive.shafts) > 1:
        yield _Question("nameplate ratio", "nameplate", "checks the tooth counts")
    if ratings.support is None:
        yield _Question("support: rigid or flexible", "nameplate", "decides which vibration zones apply")
    if drive.motor is None:
        yield _Question("motor plate and frequency converter plate", "nameplate", "electrical lines and bearing currents")
    elif drive.motor.converter:
        if drive.motor.carrier_hz is None:
            yield _Question("switching frequency of the converter", "nameplate", "its lines may fold into the envelope's band")
        if not drive.motor.current_protection:
            what = "shaft brush or insulated bearing of the motor, or neither"
            yield _Question(what, "motor", "without one a converter's shaft current burns grooves into the races")


def _points(job: Job) -> Iterator[_Question]:
    for point in job.points:
        for what, why in _about_point(point):
            yield _Question(what, point.name, why, blocks_ordering=True)
    if not job.points:
        yield _Question("where sensors can stand", "points", "no point, no coverage", blocks_ordering=True)


def _site(job: Job) -> Iterator[_Question]:
    said = job.conditions
    if not job.site.get("owner"):
        yield _Question("who owns the drive", "site", "who may allow work on it", blocks_ordering=True)
    may_be_drilled = not job.points or any(point.mount in ("", "stud") for point in job.points)
    if may_be_drilled and said.drilling_consent not in _CONSENT_SETTLED:
        asked = "what the owner answers: " if said.drilling_consent == "asked" else ""
        what = f"{asked}may the drive be drilled (warranty, certificate)?"
        yield _Question(what, "site", "decides the kind of mount", blocks_ordering=True)
    if not said.area:
        yield _Question(
            "area class, or that there is none", "site", "decides which parts and tools may go there", blocks_ordering=True
        )
    held = {"backstop": said.backstop, "counterweight": said.counterweight, "incline": said.incline}
    if unsaid := [name for name, value in held.items() if value is None]:
        yield _Question(f"{' or '.join(unsaid)} that holds load torque", "site", "stored energy")


def _housing(job: Job) -> Iterator[_Question]:
    housing, faces = job.housing, job.housing.faces
    unplaced = [point.name for point in job.points if point.at is None or housing.face(point.face) is None]
    if unplaced or not faces:
        yield _Question("photos of four sides and the top, with a rule in view", "site", "places every part", blocks_ordering=True)
    shown = {seat.bearing for face in faces for seat in face.seats}
    hidden = dict.fromkeys(point.bearing for point in job.points if point.bearing and point.bearing not in shown)
    if hidden:
        what = f"bearing caps, where they show on the housing: {', '.join(hidden)}"
        yield _Question(what, "site", "the sensor goes beside its bearing's seat", blocks_ordering=bool(unplaced))
    if not housing.ports:
        why = "taper threads of two systems start and then leak"
        yield _Question(
            "each plug with its thread gauged (pitch and angle)", "site", why, blocks_ordering=job.kit.probe is not None
        )
    for port in housing.ports:
        missing = [name for name, value in (("pitch", port.pitch), ("angle", port.angle)) if value is None]
        if missing and port.kind in PROBED:
            used = job.kit.probe is not None and job.kit.probe.port in ("", port.name)
            what = f"{' and '.join(missing)} of the thread of {port.name}, by its gauge"
            yield _Question(what, port.name, "taper threads of two systems start and then leak", blocks_ordering=used)
    if housing.surface_temperature is None:
        why = "decides adhesive, cable clips and mount bandwidth"
        yield _Question("surface temperature while running", "site", why, blocks_ordering=True)
    if not any(part.kind in _AROUND for face in faces for part in face.keep_outs):
        what = "guards, fan shroud, coupling and rotating parts near the housing"
        yield _Question(what, "site", "clearance of 50 mm and access", blocks_ordering=True)


def _supply(job: Job) -> Iterator[_Question]:
    if job.power.branch is None:
        yield _Question(
            "nearest panel and socket: volts, length of the way", "site", "supply of the enclosure", blocks_ordering=True
        )
    if job.network is None:
        what = "nearest network point; who approves network access"
        yield _Question(what, "site", "usually the longest wait", blocks_ordering=True)
    else:
        for one in job.network.network.connections:
            if not one.owner:
                what = f"who approves {one.service} from {one.opened_by} to {one.towards}"
                yield _Question(what, "network", "usually the longest wait", blocks_ordering=True)


def _visit(job: Job) -> Iterator[_Question]:
    outage = job.outage
    if not outage.windows:
        yield _Question(
            "outage window: when it opens and how long it is", "site", "decides what fits the visit", blocks_ordering=True
        )
    if outage.isolation is None or not outage.isolation.points:
        yield _Question("lock-out points, and who holds the lock", "site", "nothing is touched before", blocks_ordering=True)
    if not outage.asks:
        yield _Question("permits, and who grants them", "site", "decides what fits the visit", blocks_ordering=True)
    # no key of the job holds the last two: whoever comes first looks
    yield _Question("oil grade and level glass", "site", "what to top up with, and to look at after an open port")
    yield _Question("a video of the drive running", "site", "noise, leaks and what shakes")


def _how_to_settle(says: str, drive: Drive) -> str:
    """What to do about a contradiction: whatever its two sides rest on."""
    if "tooth" not in says and "teeth" not in says:
        return "settle which of the two holds"
    pulleys = ", measure the pulleys" if drive.belts else ""
    return f"count the teeth{pulleys} and read the plate again"


def _about_bearing(bearing: Bearing) -> list[tuple[str, str]]:
    named = f"maker's geometry of {bearing.designation}" if bearing.designation else "designation on its ring or cap"
    if not bearing.candidates:
        return [(f"{named}: {bearing.name}", "places its fault lines; without it this bearing stays blind")]
    if len(bearing.candidates) > 1:
        makes = " or ".join(candidate.name for candidate in bearing.candidates)
        why = "settles which of their lines are its own; until then all are searched, and every claim is weaker for it"
        return [(f"which make is fitted: {makes}: {bearing.name}", why)]
    shape = bearing.candidates[0].shape
    if isinstance(shape, CountRule):
        why = "its rates are a rule of thumb by the number of elements, a tenth off: too wide to name a part by most times"
        return [(f"{named}: {bearing.name}", why)]
    if shape.origin in (Origin.ESTIMATED, Origin.ASSUMED):
        why = f"its geometry is {shape.origin}: a wrong one names the wrong part"
        if shape.between:
            count = "a count narrows it most, " if len(_counts(shape)) > 1 else ""
            why = f"its geometry is {counts_words(shape)}: {count}the maker's figures settle it"
        return [(f"confirm the geometry of {bearing.name}", why)]
    return []


def counts_words(estimate: Geometry) -> str:
    counts = _counts(estimate)
    return f"estimated, {counts[0]} to {counts[-1]} elements" if len(counts) > 1 else f"estimated, {counts[0]} elements counted"


def _counts(estimate: Geometry) -> list[int]:
    """Numbers of elements that an estimate leaves possible."""
    return sorted({end.elements for end in estimate.between})


def _about_point(point: Point) -> list[tuple[str, str]]:
    wanted = []
    if not point.mount:
        wanted.append((f"mount possible at {point.name}", "decides how high the sensor sees"))
    if point.sensor.highest_hz is None:
        wanted.append((f"highest frequency of the sensor at {point.name}", "decides which lines it sees"))
    if not point.bearing:
        wanted.append((f"which bearing housing {point.name} stands on", "decides what it sees directly"))
    return wanted
