"""Which lines stand where at the rated speed: a row for each part on one logarithmic axis, with the bands the points can see.

A long stick is a fundamental, with its frequency; shorter ones are its harmonics; ticks under the base line are sidebands.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, Sheet, text_width, wrap

__all__ = ["stick_chart_sheet"]

_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 760.0, 176.0, 24.0, 26.0, 44.0
_STICK, _TIER, _SIZE, _AIR = 16.0, 12.0, 9.5, 4.0
_MOST_TIERS, _MOST_WIDE = 4, 130.0
_GROUPS = (
    ("shafts", ("shaft", "planet", "planet_pass")),
    ("meshes", ("mesh", "hunting_tooth", "assembly_phase", "member_tooth")),
    ("bearings", ("outer_race", "inner_race", "rolling_element", "cage")),
    ("belts and what passes", ("belt", "passing")),
    ("motor", ("supply", "pole_pass", "converter")),
)
_SHORT = {
    "planet_pass": "planets passing",
    "hunting_tooth": "hunting tooth",
    "assembly_phase": "assembly phase",
    "outer_race": "outer race",
    "inner_race": "inner race",
    "rolling_element": "element",
    "cage": "cage",
    "supply": "2 × supply",
    "pole_pass": "pole pass",
    "converter": "carrier",
}


@dataclass(frozen=True)
class _Label:
    """Words above a stick at `x`, in a tier counted from the stick up."""

    words: str
    x: float
    left: float
    right: float
    tier: int


def stick_chart_sheet(survey: dict[str, Any]) -> Sheet:
    """The chart of a ``survey/1`` document; its label boxes can be checked."""
    lines = [line for line in survey["lines"] if line["hz"] > 0]
    points = survey.get("points", [])
    low, high = _decades([line["hz"] for line in lines])

    def x_of(hz: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * math.log10(max(hz, low) / low) / math.log10(high / low)

    sets = {mesh["name"]: mesh.get("group") or mesh["name"] for mesh in survey["drive"]["meshes"]}
    rows = [(group, list(_rows(lines, kinds, sets, x_of))) for group, kinds in _GROUPS]
    rows = [(group, parts) for group, parts in rows if parts]
    heights = [(_height(labels, name), name, own, labels) for _, parts in rows for name, own, labels in parts]
    tall = sum(each[0] for each in heights) + 20 * len(rows) + 17 * len(points)
    sheet = Sheet(_WIDTH, _TOP + tall + _BOTTOM)
    bottom = sheet.height - _BOTTOM
    _grades(sheet, points, x_of, low, high, bottom)
    for hz in _marks(low, high):
        sheet.line(x_of(hz), _TOP, x_of(hz), bottom, colour=HAIRLINE, width=0.5)
        if math.isclose(math.log10(hz), round(math.log10(hz)), abs_tol=1e-9):
            sheet.line(x_of(hz), _TOP, x_of(hz), bottom, colour=HAIRLINE, width=1.0)
            sheet.text(x_of(hz), bottom + 15, f"{hz:g}", size=10.5, anchor="middle", colour=MUTED)
    y = _TOP + 17 * len(points)
    for group, parts in rows:
        sheet.text(12, y + 15, group, size=10.5, colour=ACCENT, weight=600)
        sheet.line(12, y + 2, _WIDTH - _RIGHT, y + 2, colour=HAIRLINE)
        y += 20
        for name, own, labels in parts:
            y += _height(labels, name)
            _row(sheet, name, own, labels, x_of, y - 8)
    sheet.line(_LEFT, bottom, _WIDTH - _RIGHT, bottom, width=1.4)
    speed = 60 * survey["drive"]["rated_speed_hz"]
    (shaft,) = wrap(str(survey["drive"]["reference_shaft"]), 200, 11, most=1) or [""]
    sheet.text(
        _LEFT + (_WIDTH - _LEFT - _RIGHT) / 2,
        sheet.height - 8,
        f"frequency, Hz, at {speed:.5g} rpm of {shaft}",
        size=11,
        anchor="middle",
    )
    return sheet


def _decades(hz: list[float]) -> tuple[float, float]:
    """Ends of the axis, half a decade's round step beyond the lines."""
    low, high = min(hz, default=1.0) / 1.3, max(hz, default=100.0) * 1.3
    return low, max(high, 10 * low)


def _marks(low: float, high: float) -> Iterator[float]:
    for decade in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1):
        for step in (1, 2, 5):
            if low <= step * 10.0**decade <= high:
                yield step * 10.0**decade


def _rows(
    lines: list[dict[str, Any]], kinds: tuple[str, ...], sets: dict[str, str], x_of: Callable[[float], float]
) -> Iterator[tuple[str, list[dict[str, Any]], list[_Label]]]:
    """Each part of a group with its lines, their sidebands, and the words over its fundamentals."""
    parts: dict[str, list[dict[str, Any]]] = {line["component"]: [] for line in lines if line["kind"] in kinds}
    for line in lines:
        if line["kind"] in kinds or (line["kind"] == "sideband" and line["component"] in parts):
            parts[line["component"]].append(line)
    for name, own in parts.items():
        first = [line for line in own if line["harmonic"] == 1 and line["kind"] != "sideband" and not _beside_carrier(line)]
        meshing = [line["hz"] for line in first if line["kind"] == "mesh"]
        told = [line for line in first if line["kind"] != "assembly_phase" or not _among(line["hz"], meshing)]
        words = [
            (line["hz"], " ".join([*wrap(_kind(line, sets), _MOST_WIDE, _SIZE, most=1), f"{line['hz']:.4g}"])) for line in told
        ]
        yield name, own, _labels(words, x_of)


def _among(hz: float, others: list[float]) -> bool:
    """Whether the mesh itself says it: the assembly phase of tooth counts without a common factor is the mesh line."""
    return any(math.isclose(hz, other, rel_tol=1e-9) for other in others)


def _beside_carrier(line: dict[str, Any]) -> bool:
    return bool(line["kind"] == "converter" and line["order"])


def _labels(words: list[tuple[float, str]], x_of: Callable[[float], float]) -> list[_Label]:
    """Words in the lowest tier where they have room, from the right, so that they step up to the left."""
    done: list[_Label] = []
    for hz, said in sorted(words, key=lambda each: -each[0]):
        x, wide = x_of(hz), text_width(said, _SIZE)
        left = x + 3 if x + 3 + wide <= _WIDTH - 2 else x - 3 - wide
        for tier in range(_MOST_TIERS):
            one = _Label(said, x, left, left + wide, tier)
            if not any(_clash(one, other) for other in done):
                done.append(one)
                break
    return done


def _kind(line: dict[str, Any], sets: dict[str, str]) -> str:
    """What a fundamental is, where its part has more than one; of a damaged tooth whose."""
    if line["kind"] == "member_tooth":
        return str(line["name"].removesuffix(" 1x").removeprefix(sets.get(line["component"], ""))).strip()
    return _SHORT.get(line["kind"], "")


def _clash(one: _Label, other: _Label) -> bool:
    apart = one.right + _AIR < other.left or other.right + _AIR < one.left
    lower, upper = sorted((one, other), key=lambda label: label.tier)
    return (one.tier == other.tier and not apart) or (lower.tier != upper.tier and lower.left - 2 < upper.x < lower.right + 2)


def _height(labels: list[_Label], name: str) -> float:
    words = len(wrap(name, _LEFT - 22, 10.5, most=2)) * 12
    return max(_STICK + _TIER * (1 + max((label.tier for label in labels), default=0)) + 8, words + 14)


def _row(
    sheet: Sheet, name: str, own: list[dict[str, Any]], labels: list[_Label], x_of: Callable[[float], float], base: float
) -> None:
    words = wrap(name, _LEFT - 22, 10.5, most=2)
    for number, part in enumerate(words):
        sheet.text(_LEFT - 10, base - 12 * (len(words) - 1 - number) - 1, part, size=10.5, anchor="end")
    sheet.line(_LEFT, base, _WIDTH - _RIGHT, base, colour=HAIRLINE, width=0.7)
    for line in own:
        x = x_of(line["hz"])
        if line["kind"] == "sideband" or _beside_carrier(line):
            sheet.line(x, base, x, base + 4, colour=MUTED, width=0.5)
        else:
            sheet.line(x, base, x, base - _STICK / line["harmonic"], width=1.6 if line["harmonic"] == 1 else 0.9, colour=INK)
    for label in labels:
        y = base - _STICK - 2 - _TIER * label.tier
        if label.tier:
            sheet.line(label.x, base - _STICK, label.x, y - 2, colour=MUTED, width=0.5)
        anchor, x = ("start", label.left) if label.left > label.x else ("end", label.right)
        sheet.text(x, y, label.words, size=_SIZE, anchor=anchor)


def _grades(
    sheet: Sheet, points: list[dict[str, Any]], x_of: Callable[[float], float], low: float, high: float, bottom: float
) -> None:
    """What each point sees as a bar; behind the rows, shaded, what even the point that sees furthest shows untrue or not at all."""
    for number, point in enumerate(points):
        y = _TOP + 17 * number + 2
        (name,) = wrap(point["name"], _LEFT - 22, 10.5, most=1) or [""]
        sheet.text(_LEFT - 10, y + 9, name, size=10.5, anchor="end", colour=ACCENT)
        begin, true, end = (min(max(point[key], low), high) for key in ("lowest_hz", "true_hz", "detectable_hz"))
        sheet.rectangle(x_of(begin), y, max(x_of(true) - x_of(begin), 0.1), 10, line=0.7, fill="none")
        sheet.rectangle(x_of(true), y, max(x_of(end) - x_of(true), 0.1), 10, line=0.7, fill="none", dash="3 2")
        for x, room, said in ((x_of(begin), x_of(true) - x_of(begin), "true"), (x_of(true), x_of(end) - x_of(true), "detectable")):
            if text_width(said, 8.5) + 6 < room:
                sheet.text(x + 3, y + 8, said, size=8.5, colour=MUTED)
    if points:
        best = max(points, key=lambda point: (point["true_hz"], point["detectable_hz"]))
        edges = (low, best["lowest_hz"], best["true_hz"], best["detectable_hz"], high)
        for one, two, shade in ((edges[0], edges[1], 0.28), (edges[2], edges[3], 0.12), (edges[3], edges[4], 0.28)):
            one, two = max(one, low), min(two, high)
            if two > one:
                top = _TOP + 17 * len(points)
                sheet.shade(x_of(one), top, x_of(two) - x_of(one), bottom - top, colour=HAIRLINE, opacity=shade)
