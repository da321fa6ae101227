"""The survey's pictures as blocks: each with one sentence on what to read from it, the crossings of lines as a table too."""

from collections.abc import Iterator
from typing import Any

from gearcase.drawings.block import Block
from gearcase.drawings.pictures import survey_pictures

__all__ = ["picture_blocks"]

_READABLE_ON_COVER = 1100.0  # px: across a page its letters are then printed at 5 pt or more


def picture_blocks(survey: dict[str, Any], *, after_cover: bool) -> Iterator[Block]:
    """The survey's pictures, each with one sentence on what to read from it, and the crossings as a table.

    A train too wide to be read on the cover is shown again after it.
    """
    if after_cover:
        yield Block("heading", "The drive and its lines in pictures")
    for picture in survey_pictures(survey):
        if after_cover and picture.name == "train.svg" and picture.width <= _READABLE_ON_COVER:
            continue
        yield Block("text", picture.says)
        yield Block("figure", picture.caption, svg=picture.svg)
        if picture.name == "speed-map.svg":
            yield from _crossings(survey.get("crossings", []))


def _crossings(found: list[dict[str, Any]]) -> Iterator[Block]:
    if not found:
        yield Block("text", "No main lines cross within the service range or a tenth beyond it.")
        return
    rows = tuple(
        (
            f"{60 * each['speed_hz']:.1f}",
            f"{each['hz']:.2f}",
            each["first"].removesuffix(" 1x"),
            each["second"].removesuffix(" 1x"),
            "yes" if each["in_service"] else "just outside",
        )
        for each in found
    )
    head = ("speed, rpm", "at, Hz", "line", "crosses", "in service")
    yield Block("table", head=head, rows=rows, wide=(0.9, 0.9, 2.4, 2.4, 1), numbers=(0, 1))
