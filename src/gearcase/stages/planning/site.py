"""The place of a plan: what is not known of it, parts that do not suit it, and each caution once at the step where it belongs."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from gearcase.findings import Finding, Level
from gearcase.install.adhesives import adhesive
from gearcase.install.bonding import COLDEST
from gearcase.install.cautions import (
    DEFERS,
    UNCLASSIFIED,
    Caution,
    Condition,
    Part,
    Site,
    Step,
    burn_threshold,
    cautions,
    unsuitable,
)
from gearcase.job.build import Job
from gearcase.stages.bands import USUAL
from gearcase.stages.planning.draft import CardStep, Draft

__all__ = ["burns", "conditions", "on_converter", "place_cautions", "site"]

HOT_AIR = 308.15  # K, from which work in it wants breaks and shade; common practice, no source
AT_HEIGHT = 1.2  # m, from which a fall must be guarded against: OSHA 29 CFR 1910.28, 4 ft (from memory)
BY_HAND = 600.0  # s at one spot, as a bond or a cable takes; a touch by chance burns only hotter metal
_ORDER = list(Step)


def on_converter(job: Job) -> bool:
    """Whether a frequency converter feeds the drive: its motor says so, or it runs over a range of speeds."""
    motor, (slowest, fastest) = job.drive.motor, job.drive.speed_hz
    return bool(motor and motor.converter) or slowest < fastest


def site(job: Job, draft: Draft) -> None:
    """What the owner must still say of the place, and which parts may not go there."""
    place = job.conditions
    if not place.area:
        says = f'area class unknown: ask the owner, write it as stated, or "{UNCLASSIFIED}", into site.conditions.area'
        draft.find(Level.BLOCKER, "area", "site", says)
    if not place.ingress:
        hosed = "it is hosed down" if place.wash_down else "nobody has said how it is cleaned"
        draft.find(Level.CAUTION, "ingress", "site", f"{hosed}: ask which ingress code parts must have, site.conditions.ingress")
    if place.ambient is None:
        says = "nobody has said how cold and hot the place gets: the coldest and hottest air of the year, site.conditions.ambient"
        draft.find(Level.CAUTION, "ambient", "site", says)
    if place.area not in ("", UNCLASSIFIED) and not job.kit.parts:
        says = (
            f"area {place.area}, and no part of the kit is listed with its certificate: nothing says that any of it may go there; "
            "list each in kit.parts"
        )
        draft.find(Level.BLOCKER, "parts", "site", says)
    if _drills(draft):
        _consent(job, draft)
    coldest, hottest = (None, None) if place.ambient is None else (place.ambient.low, place.ambient.high)
    wanted = Site(coldest, hottest, job.housing.surface_temperature, place.ingress, place.area or UNCLASSIFIED)
    found = [finding for part in job.kit.parts for finding in _unsuitable(part, wanted)]
    draft.found(_together(found))


def _drills(draft: Draft) -> bool:
    return any(step.at is Step.DRILL for step in draft.steps)


def _consent(job: Job, draft: Draft) -> None:
    """Whether the owner lets the drive be drilled, and in a classified area who answers for its certificate."""
    place = job.conditions
    classified = place.area not in ("", UNCLASSIFIED)
    if place.drilling_consent == "refused":
        draft.find(Level.BLOCKER, "consent", "site", "the owner refuses drilling: bond every sensor instead")
    elif place.drilling_consent != "given":
        says = f"the owner's consent to drill is {place.drilling_consent or 'not known'}: in writing before the first hole, or bond"
        draft.find(Level.BLOCKER if classified else Level.CAUTION, "consent", "site", says)
    elif not place.drilling_consent_by:
        draft.find(Level.NOTE, "consent", "site", "consent to drill is given, but not by whom: site.conditions.drilling_consent_by")
    if classified and not place.certificate_consent:
        says = (
            f"area {place.area}: drilling may void the drive's own certificate, and nobody is named who says it does not: its "
            "maker or certifier in writing, or bond every sensor instead"
        )
        draft.find(Level.BLOCKER, "certificate", "site", says)


def _unsuitable(part: Part, wanted: Site) -> Iterable[Finding]:
    """Of one part, without what is asked once for the whole place."""
    for finding in unsuitable(part, wanted):
        if not (finding.rule == "part.ingress" and not wanted.ingress) and not finding.says.startswith("nobody has said"):
            yield finding


def _together(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings that say the same of several parts, said once."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault((finding.level, finding.rule, finding.says), []).append(finding)
    return tuple(replace(same[0], where=", ".join(one.where for one in same)) for same in alike.values())


def burns(job: Job) -> bool:
    """Whether the running housing, or a part of it, burns who works on it by hand; also where nobody has measured it."""
    regions = [region.temperature for face in job.housing.faces for region in face.regions]
    known = [one for one in (job.housing.surface_temperature, *regions) if one is not None]
    zones = any(part.kind == "hot zone" for face in job.housing.faces for part in face.keep_outs)
    return job.housing.surface_temperature is None or zones or max(known) >= burn_threshold(contact=BY_HAND)


def conditions(job: Job, draft: Draft) -> frozenset[Condition]:
    """What is true of the plan and its place. What nobody knows counts where leaving the caution out could hurt: paint, heat,
    energy that is stored, height."""
    place, steps = job.conditions, {step.at for step in draft.steps}
    bonds, fans = Step.BOND in steps, [part for part in job.drive.passing_parts if part.kind == "fan blades"]
    backstops = [part for part in job.drive.passing_parts if part.kind == "backstop"]
    keep_outs = {part.kind for face in job.housing.faces for part in face.keep_outs}
    metal, glue = job.kit.metal_temperature, (job.kit.adhesive or adhesive(USUAL)).name
    coldest = metal if metal is not None else place.ambient.low if place.ambient else None
    holds = {
        Condition.DRILLING: _drills(draft),
        Condition.BONDING: bonds,
        Condition.BRACKET: any(bracket.face for bracket in job.kit.brackets),
        Condition.STAND: any(not bracket.face for bracket in job.kit.brackets),
        **{one: bonds and one in glue for one in (Condition.METHACRYLATE, Condition.EPOXY, Condition.CYANOACRYLATE)},
        Condition.HOT_WORK: bonds,  # the pad is ground to bare metal
        Condition.PAINT_CUT: bonds or _drills(draft) or any("bare metal" in step.does for step in draft.steps),
        Condition.PAINTED: place.painted is not False,
        Condition.OIL_OPENED: job.kit.probe is not None
        or any(device.profile == "temperature converter" for device in job.bus.devices),
        Condition.MAINS: job.power.branch is not None or job.power.volts is not None,
        Condition.BACKSTOP: place.backstop is not False or bool(backstops),
        Condition.INCLINE: place.incline is not False,
        Condition.COUNTERWEIGHT: place.counterweight is not False,
        Condition.CONVERTER: on_converter(job),
        Condition.FAN: bool(fans) or "fan shroud" in keep_outs,
        Condition.ROTATING_PARTS: True,  # a drive has them
        Condition.HEIGHT: place.working_height is None or place.working_height >= AT_HEIGHT,
        Condition.CLASSIFIED_AREA: place.area not in ("", UNCLASSIFIED),
        Condition.WASH_DOWN: bool(place.wash_down),
        Condition.HOT_SURFACE: burns(job),
        Condition.HOT_AMBIENT: place.ambient is not None and place.ambient.high >= HOT_AIR,
        Condition.COLD: coldest is not None and coldest < COLDEST,
        Condition.MAGNET: any("magnet" in step.does for step in draft.steps),
    }
    return frozenset(condition for condition, holds_here in holds.items() if holds_here)


def place_cautions(job: Job, draft: Draft) -> dict[str, Any]:
    """Write each caution of the plan on the card, once, at the first step of its part of the work, and list where each stands.

    A part of the work that the card lacks leaves its cautions to the next part that it has.
    """
    holds = conditions(job, draft)
    placed = [(caution, _stands_at(caution, draft.steps)) for caution in cautions(holds)]
    for caution, number in placed:
        draft.steps[number].cautions.append(caution.says)
    return {
        "defers": DEFERS,
        "list": [
            {
                "id": caution.id,
                "step": number + 1,
                "part": str(caution.step),
                "because": sorted(caution.when),
                "says": caution.says,
                "source": caution.source,
            }
            for caution, number in placed
        ],
    }


def _stands_at(caution: Caution, steps: list[CardStep]) -> int:
    """Index of the first card step of the caution's part of the work, else of the nearest later part; a magnet's at the magnet."""
    if Condition.MAGNET in caution.when:
        return next(n for n, step in enumerate(steps) if "magnet" in step.does)
    later = {n: _ORDER.index(step.at) for n, step in enumerate(steps) if step.at is not None}
    wanted = _ORDER.index(caution.step)
    reached = [(part, n) for n, part in later.items() if part >= wanted]
    return min(reached)[1] if reached else len(steps) - 1
