"""Cables and outage of a plan as blocks: how each cable lies, the chart with its critical chain, the go/no-go list."""

from collections.abc import Iterator, Mapping
from typing import Any

from gearcase.drawings.block import Block, workings
from gearcase.drawings.chart import schedule_svg
from gearcase.drawings.outage_words import answer, chain, clock, hours, states_of_lead

__all__ = ["cable_blocks", "outage_blocks"]


def outage_blocks(plan: Mapping[str, Any]) -> Iterator[Block]:
    """Outage and go/no-go list of a ``plan/1`` document; nothing of what it does not hold."""
    outage = plan.get("outage")
    if not outage:
        return
    yield from _schedule(outage, plan.get("schedule"))
    yield from _bench(outage)
    yield from _lead(outage)


def cable_blocks(plan: Mapping[str, Any]) -> Iterator[Block]:
    """Each device's cable, how much of it is left over and how it lies."""
    rows, routes = plan.get("cables") or (), {route["device"]: route for route in plan.get("routes") or ()}
    if not rows:
        return
    yield Block("heading", "Cables", level=2)
    head = ("cable", "device", "run, m", "left over, m", "how it lies")
    table = tuple(
        (
            row["cable"] or "none",
            row["device"],
            f"{row['run_m']:.2f}",
            "" if row.get("left_over_m") is None else f"{row['left_over_m']:.2f}",
            _lies(routes.get(row["device"])),
        )
        for row in rows
    )
    yield Block("table", head=head, rows=table, wide=(0.7, 1.6, 0.8, 0.9, 4.6), numbers=(2, 3))
    worked = [row["run"] for row in rows if row.get("run")] + [row["needed"] for row in rows if row.get("needed")]
    worked += [route[key] for route in routes.values() for key in ("radius", "clips_needed") if route.get(key)]
    if worked:
        yield Block("list", "Working of the cables", items=tuple(workings(worked)), folds=True)


def _lies(route: Mapping[str, Any] | None) -> str:
    if route is None:
        return "its run is as stated, nothing is routed"
    faces = " to ".join(dict.fromkeys(leg["face"] for leg in route["legs"]))
    where = f"{faces}, {route['length_m']:.2f} m" if faces else f"about {route['length_m']:.2f} m"
    clips = ", ".join(f"{1000 * clip['along_m']:.0f}" for clip in route["clips"])
    kind = "metal clips" if route["metal_clips"] else "clips"
    held = f"{kind} at {clips} mm from the sensor" if clips else f"{kind}: {route['clips_needed']['value']:.0f}"
    beyond = f"{route['beyond_m']:.2f} m beyond the housing"
    bend = f"bends of {1000 * route['radius']['value']:.0f} mm or more, drip loops of {1000 * route['drip_loop_m']:.0f} mm"
    return ". ".join((f"{where}, then {beyond}; {held}; {bend}", *(note.rstrip(".") for note in route["notes"]))) + "."


def _schedule(outage: Mapping[str, Any], schedule: dict[str, Any] | None) -> Iterator[Block]:
    if not outage.get("tasks"):
        return
    yield Block("heading", "The outage", level=2)
    said = answer(outage)
    if said:
        yield Block("text", said)
    facts = tuple(_facts(outage))
    if facts:
        yield Block("list", "", items=facts)
    if not schedule:
        return
    caption = (
        "The outage by its longest durations; the critical chain is drawn wide. What comes weeks before stands in the list below."
    )
    during = {**schedule, "before": []}
    yield Block("figure", caption, svg=schedule_svg(during, title="Outage", block=None))
    ranges = {task["name"]: task for task in outage["tasks"]}
    rows = tuple(
        (
            clock(outage["start"], task["start_s"]),
            f"{task['name']}{' (critical)' if task['critical'] else ''}",
            ", ".join(task["crew"]),
            _range(ranges.get(task["name"])),
            "" if task["critical"] else hours(task["slack_s"]),
            task["waits_for"] or "the opening of the window",
        )
        for task in schedule["tasks"]
    )
    head = ("from", "task", "who", "takes, min", "slack", "starts after")
    yield Block("table", f"Hour by hour: {len(rows)} tasks", head=head, rows=rows, wide=(0.8, 2.6, 1.4, 0.9, 1.2, 2.6), folds=True)
    yield Block("text", _origins(outage["tasks"]))


def _range(task: Mapping[str, Any] | None) -> str:
    if task is None:
        return ""
    ends = dict.fromkeys(f"{task[end] / 60:.0f}" for end in ("shortest_s", "longest_s"))
    return " to ".join(ends)


def _origins(tasks: list[dict[str, Any]]) -> str:
    assumed = sum(task["origin"] == "assumed" for task in tasks)
    if not assumed:
        return "All durations are the job's own."
    others = "; the others are the job's own" if assumed < len(tasks) else ""
    return f"Durations assumed: {assumed} of {len(tasks)}, as ranges of common practice, no source{others}."


def _facts(outage: Mapping[str, Any]) -> Iterator[str]:
    if outage["critical"]:
        yield f"Critical chain: {chain(outage)}."
        yield f"Begin with: {', '.join(outage['first'])}."
    for cure in outage["cures"]:
        yield f"To end sooner: {cure['says']}; then it ends at {hours(cure['end_s'])}{', which fits' if cure['fits'] else ''}."
    together = outage.get("cures_together")
    if together:
        steps, fits = (
            " and ".join(cure["says"] for cure in together),
            "which fits" if together[-1]["fits"] else "which is too long still",
        )
        yield f"Together: {steps}; then it ends at {hours(together[-1]['end_s'])}, {fits}."
    held = outage.get("isolation")
    if held:
        agreed = "agreed with the owner" if held["agreed"] else "not yet agreed with the owner"
        points = "; ".join(held["points"]) or "not said"
        yield f"Isolated or blocked: {points}. {agreed.capitalize()}; the lock is held by {held['by'] or 'nobody named'}."
    cured = outage.get("baseline_not_before")
    if cured:
        when = cured["time"].replace("T", " ") if cured["time"] else f"{hours(cured['after_s'])} after the window opens"
        yield f"No baseline before {when}: until then the bond at {cured['point']} is not fully cured."


def _bench(outage: Mapping[str, Any]) -> Iterator[Block]:
    if outage.get("bench"):
        took = sum(task["longest_s"] for task in outage["bench"])
        items = tuple(f"{task['name'].removeprefix('bench: ')}: {_range(task)} min" for task in outage["bench"])
        yield Block("list", f"On the bench, before anybody travels: {hours(took)} at the longest", items=items)


def _lead(outage: Mapping[str, Any]) -> Iterator[Block]:
    rows = tuple(
        (
            states_of_lead(row),
            row["what"],
            row["owner"] or "no owner named",
            f"{row['days']:g}{', assumed' if row['days_assumed'] else ''}",
            row["start_by"] or f"{row['days_before'] + row['days']:g} d before",
            row["needed_by"] or f"{row['days_before']:g} d before",
        )
        for row in outage["lead"]
    )
    if rows:
        yield Block("heading", "Go or no go, five working days before", level=2)
        head = ("stands", "what", "who grants it", "takes, d", "ask by", "there by")
        yield Block("table", head=head, rows=rows, wide=(0.9, 2.6, 2.4, 0.9, 1.2, 1.2), numbers=(3,))
