"""A plan as blocks: whole, for those who carry it out; and what of it stays on the drive, for the handover."""

from collections.abc import Iterator
from typing import Any

from gearcase.drawings.block import Block, finding_blocks, workings
from gearcase.drawings.face import face_svg
from gearcase.drawings.list_blocks import card_blocks, cut_blocks, drawing_blocks, leaving_blocks, pick_blocks
from gearcase.drawings.mount_blocks import holding_blocks, place_blocks
from gearcase.drawings.outage_blocks import cable_blocks, outage_blocks
from gearcase.drawings.site_blocks import caution_blocks, site_blocks

__all__ = [
    "plan_blocks",
    "plan_section",
]


def plan_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """A plan alone: blockers first, then the parts, the faces, the outage, the work card and what to bring."""
    yield from finding_blocks(plan["findings"])
    yield Block("heading", "How the kit goes on")
    yield from _mounts(plan)
    yield from place_blocks(plan)
    yield from _on_the_drive(plan)
    yield from caution_blocks(plan)
    yield from outage_blocks(plan)
    yield from card_blocks(plan, folds=True)
    yield from cut_blocks(plan.get("cut_lists", ()))
    yield Block("heading", "Bring", level=2)
    yield from pick_blocks(plan["pick"])
    if plan.get("before_leaving"):
        yield Block("heading", "Before you leave home")
        yield from leaving_blocks(plan["before_leaving"])


def plan_section(plan: dict[str, Any] | None) -> Iterator[Block]:
    """What a plan puts on the drive, for its owner; work card, lists and schedule of the visit stay with the plan."""
    if plan is None:
        return
    yield Block("break")
    yield Block("heading", "How the kit goes on")
    blockers = tuple(f"{row['where']}: {row['says']}" for row in plan["findings"] if row["level"] == "blocker")
    if blockers:
        yield Block("note", "Do not proceed", items=blockers, state="action")
    others = tuple(f"{row['level']}: {row['where']}: {row['says']}" for row in plan["findings"] if row["level"] != "blocker")
    if others:
        yield Block("list", "To look at", items=others)
    yield from _mounts(plan)
    yield from _on_the_drive(plan)


def _mounts(plan: dict[str, Any]) -> Iterator[Block]:
    """Each part as planned with what it sees, and the holes' working."""
    rows = tuple(
        (
            part["name"],
            part["mount"] or "not said",
            f"{part['band']['true_hz']:.0f}" if part["band"] else "",
            f"{part['band']['detectable_hz']:.0f}" if part["band"] else "",
            "; ".join(f"{line['name']} {line['grade']}" for line in part["lines"] if line["grade"] != "true") or "all true",
        )
        for part in plan["parts"]
    )
    head = ("part", "mount", "true to, Hz", "detectable to, Hz", "lines at the highest speed")
    yield Block("table", head=head, rows=rows, wide=(1.8, 1.4, 1, 1.2, 3), numbers=(2, 3))
    holes = [part["hole"] for part in plan["parts"] if part["hole"]]
    worked = [hole[key] for hole in holes for key in ("depth", "metal_left", "least_metal") if hole.get(key)]
    if worked:
        yield Block("list", "Working of the holes", items=tuple(workings(worked)), folds=True)


def _on_the_drive(plan: dict[str, Any]) -> Iterator[Block]:
    """The faces at scale, what holds each part, wiring, network, cables, and how its template is used."""
    for face in plan["faces"]:
        title = f"face {face['name']}"
        yield Block(
            "figure",
            f"The {title} at scale, seen from outside.",
            svg=face_svg(face, plan["parts"], title=title, routes=plan.get("routes", ()), fittings=plan.get("fittings", ())),
            to_scale=True,
        )
    yield from holding_blocks(plan)
    passing = tuple(
        (hole["for"], hole["size"], hole["fit"], hole["drill"], f"{hole['diameter_mm']:.2f}", hole["source"])
        for hole in plan["clearance_holes"]
    )
    if passing:
        yield Block("heading", "Clearance holes", level=2)
        columns = ("for", "screw", "fit", "drill", "mm", "source")
        yield Block("table", head=columns, rows=passing, wide=(3, 0.8, 0.9, 1, 0.8, 3.4), numbers=(4,))
    yield from site_blocks(plan)
    yield from cable_blocks(plan)
    yield from drawing_blocks(plan)
