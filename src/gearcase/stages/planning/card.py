"""The work card: its steps in the order of the schedule, so that card and schedule are one plan of the same work.

A section of the plan writes the steps of its own work; those of the outage itself, its isolation, tests and release, are written
here; a task that has no step yet gets the one of its kind from `outage_tasks.csv`. Nothing is done that is not a task, and no task
is without a step.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from gearcase.findings import Level
from gearcase.install.outage import kinds_of_work
from gearcase.install.power import LICENSED
from gearcase.job.build import Job
from gearcase.stages.planning.draft import CardStep, Draft
from gearcase.stages.planning.tasks import Planned

__all__ = ["NOT_YET", "in_order", "outage_steps"]

NOT_YET = "Nothing here yet: what blocks this plan comes first, see its findings."
_ISOLATION = "isolation"
_CONTROLLER = "controller"


def outage_steps(job: Job, planned: Sequence[Planned], orientation: Sequence[Mapping[str, Any]], draft: Draft) -> None:
    """The steps of the outage's own tasks: isolation, wiring of each device, tests, first look, release.

    Parameters
    ----------
    job : Job
    planned : sequence of Planned
        The tasks of the outage.
    orientation : sequence of mapping
        How the sensors stand, as the plan has it.
    draft : Draft
    """
    kinds = {one.kind for one in planned}
    if "lock-out" in kinds:
        _isolate(job, draft)
    if "wire" in kinds:
        _wire(job, draft)
    if "tap test" in kinds:
        _tap(job, orientation, draft)
    for one in planned:
        if one.kind == "light test":
            draft.step(
                one.where,
                "Show every colour, as gearcase prove does, and let the named person see each; then pull its bus cable "
                "at the enclosure.",
                one.kind,
                value="each colour as named",
                tolerance="blue or off within 10 s of a lost link, back by itself",
            )
    if "controller test" in kinds:
        _read_back(job, draft)
    if "first look" in kinds:
        _look(draft)
        _release(job, draft)


def _isolate(job: Job, draft: Draft) -> None:
    held = job.outage.isolation
    holder = f"lock held by {held.by}" if held and held.by else "who holds the lock: agree it first"
    for point in held.points if held else ():
        draft.step(_ISOLATION, f"Isolate or block: {point}; each hangs their own lock and tag.", "lock-out", value=holder)
    if held is None or not held.points:
        says = (
            "Isolate every source of energy by the site's own procedure: nobody has listed them, so list them with the owner first."
        )
        draft.step(_ISOLATION, says, "lock-out", value=holder)
    draft.step(
        _ISOLATION,
        "Try to start it, then prove it dead and still; let it cool; bag open ports.",
        "lock-out",
        tool="voltage tester proved before and after, surface thermometer",
        value="no start, no volts, nothing turns",
    )


def _wire(job: Job, draft: Draft) -> None:
    for device in job.bus.devices:
        draft.step(
            device.name,
            "Wire it as its terminals are drawn: D1, D0, common, screen, supply; ferrules; tug each conductor; label both ends.",
            "wire",
            tool="stripper, ferrules, screwdriver",
            value=f"unit {device.address}",
            tolerance="" if device.stub is None else f"branch off the trunk {device.stub:.2g} m at the most",
        )


def _tap(job: Job, orientation: Sequence[Mapping[str, Any]], draft: Draft) -> None:
    addresses = ", ".join(str(device.address) for device in job.bus.devices)
    draft.step("bus", "Poll every device: those found are those planned, and no other.", "tap test", value=f"units {addresses}")
    stands = {row["point"]: row for row in orientation}
    for name in dict.fromkeys(device.point for device in job.bus.devices if device.point):
        if name in stands:
            row = stands[name]
            draft.step(
                name,
                f"Read gravity at rest, then tap {row['tap']}: the axis that jumps first, and its sign.",
                "tap test",
                tool="small plastic hammer",
                value=f"{row['tap_axis']}, three times the others",
                tolerance="gravity 0.95 to 1.05 g, within 5 degrees",
            )
        else:
            draft.step(
                name, "Tap the housing beside it: its level must jump, no other's as far.", "tap test", tool="small plastic hammer"
            )


def _read_back(job: Job, draft: Draft) -> None:
    sheet = job.network.network if job.network else None
    edge = job.bus.controller.name
    asked = [f"{one.opened_by}, {one.service}" for one in (sheet.connections if sheet else ()) if one.towards == edge]
    over = f" ({'; '.join(dict.fromkeys(asked))})" if asked else ""
    draft.step(
        _CONTROLLER,
        f"Read the constant test registers of every device back at the controller{over}, then one live value of each.",
        "controller test",
        value="each as the register map has it",
        tolerance="equal to the last digit",
    )
    draft.step(
        _CONTROLLER,
        "Pull each device's cable in turn, at the enclosure and never beside what turns: exactly that device goes bad at the "
        "controller, and comes back.",
        "controller test",
        tolerance="within 3 polls",
    )


def _look(draft: Draft) -> None:
    says = "Once it runs: look for leaks, for cables that touch anything, for what shakes or rings; then prove every device."
    draft.step("running", says, "first look")
    if any(step.kind == "fit probe" for step in draft.steps):
        draft.step(
            "sump sensor",
            "After 15 min of running check the level again; look for leaks hot.",
            "first look",
            tool="torch",
            value="level at its mark, no drop",
        )


def _release(job: Job, draft: Draft) -> None:
    says = "Account for every chip and tool; close ports; check oil level; tighten, label and photograph every part."
    draft.step("after", says, "release", value="tools and chips as counted out")
    draft.step("after", "Guards back, everybody clear and told.", "release")
    held = job.outage.isolation
    points = f": {', '.join(reversed(held.points))}" if held and held.points else ""
    draft.step(
        _ISOLATION,
        f"Take the locks off, each by the one who hung it, in reverse{points}; hand the drive back to its owner.",
        "release",
        value=f"lock of {held.by}" if held and held.by else "",
    )


def in_order(draft: Draft, bench: Sequence[Planned], planned: Sequence[Planned], scheduled: Sequence[str]) -> list[CardStep]:
    """The card: what comes before any task, the bench, then the tasks as they are scheduled, each with its steps.

    Parameters
    ----------
    draft : Draft
        Its steps keep the order in which they came up inside a task; its blockers hold the usual step of a task back.
    bench, planned : sequence of Planned
    scheduled : sequence of str
        Tasks in their order; where nothing is scheduled, they stand in the order in which they wait for each other.
    """
    order = {name: number for number, name in enumerate(scheduled)}
    tasks = [*bench, *sorted(planned, key=lambda one: order.get(one.task.name, 0))]  # stable
    of = {(one.kind, one.where): one.task.name for one in tasks}
    steps = draft.steps
    blocked = {where for found in draft.findings if found.level is Level.BLOCKER for where in found.where.split(", ")}
    for step in steps:
        step.task = of.get((step.kind, step.where)) or of.get((step.kind, ""), "")
    card = [step for step in steps if not step.task]
    for one in tasks:
        card += [step for step in steps if step.task == one.task.name] or [_usual(one, held=one.where in blocked)]
    return card


def _usual(one: Planned, *, held: bool) -> CardStep:
    """The step of a task that no section wrote one for."""
    work = kinds_of_work()[one.kind]
    only_by = LICENSED if "licensed electrician" in work.crew and len(work.crew) == 1 else ""
    does = NOT_YET if held else work.does.format(where=one.where)
    return CardStep(one.where or one.task.name, does, one.kind, work.part, only_by, task=one.task.name)
