"""Proving that what stands there is what was planned: the as-built record of each device, its serial, its photo of the mark."""

from collections.abc import Mapping
from typing import Any

from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["as_built"]

_ENTER = "enter it with gearcase fit"


async def as_built(proving: Proving, one: Device) -> Row:
    """Its serial against the label entered, and of a point what was entered against the plan."""
    document = proving.said.built
    serial = f"{(await proving.values(one, 'serial'))['serial']:.0f}"
    if document is None:
        return left_open(f"serial {serial}: no as-built record; {_ENTER}", f"serial {serial}")
    entered = next((_value(row, "serial") for row in document["devices"] if row["name"] == one.device.name), "")
    if entered and entered != serial:
        return failed(f"serial {serial}", f"as built it is {entered}: exchanged with another, or the label was read wrong")
    if not entered:
        says = f"serial {serial}: no as-built entry says that this is the one fitted here; {_ENTER}"
        return left_open(says, f"serial {serial}")
    point = next((row for row in document["points"] if row["name"] == one.device.point), None)
    if point is None:
        return passed(f"serial {serial}, as labelled")
    against = [row for row in document["findings"] if row["where"] == point["name"]]
    if blockers := [row["says"] for row in against if row["level"] == "blocker"]:
        return failed(f"serial {serial}", "; ".join(blockers))
    if point["not_entered"]:
        return left_open(f"not entered: {', '.join(point['not_entered'])}; {_ENTER}", f"serial {serial}")
    deviations = "; ".join(f"{row['item']} {row['built']} for {row['planned']}" for row in point["deviations"])
    return passed(f"serial {serial}, as labelled; {deviations or 'as planned'}")


def _value(row: Mapping[str, Any], item: str) -> str:
    return next((str(value["shown"]) for value in row["built"] if value["item"] == item), "")
