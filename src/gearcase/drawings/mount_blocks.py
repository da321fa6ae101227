"""How the parts of a plan are placed and held, as blocks.

Positions, trials, holes, bonds, lines in three grades, orientation, sump, brackets and plates.
"""

from collections.abc import Iterator
from typing import Any

from gearcase.drawings.block import Block, first_up, workings
from gearcase.drawings.face import clock_words
from gearcase.units import read

__all__ = ["holding_blocks", "place_blocks", "place_words"]

_MOST_COMPARED = 6


def place_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """Where each sensor goes, what was rejected and why, and the sheet to fill in with a magnet before anything is drilled."""
    if not plan["positions"]:
        return
    yield Block("heading", "Where each sensor goes", level=2)
    for row in plan["positions"]:
        title = f"{row['point']}: {row['bearing']} on face {row['face']}"
        ranked = tuple(
            (str(number), one["pad"], place_words(one["at_m"]), first_up("; ".join(one["reasons"])))
            for number, one in enumerate(row["ranked"], start=1)
        )
        assumed = ", assumed" if row["base_assumed"] else ""
        best = f"Best spot: {row['ranked'][0]['pad']}, at {ranked[0][2]}" if ranked else "No spot can be had"
        yield Block(
            "text", f"{title}. {best}. Base {1000 * row['base_m']:.0f} mm{assumed}; places across, up from the lower left corner."
        )
        if ranked:
            named = f"Ranked for {row['point']}: {len(ranked)}"
            spots = ("", "spot", "across, up, mm", "why")
            yield Block("table", named, head=spots, rows=ranked, wide=(0.3, 1.7, 1.1, 5), numbers=(0,), folds=True)
        rejected = tuple(f"{one['pad']}: {'; '.join(one['reasons'])}" for one in row["rejected"])
        if rejected:
            yield Block("list", f"Rejected for {row['point']}: {len(rejected)}", items=rejected, folds=True)
    sheet = tuple(
        (row["point"], one["pad"], place_words(one["at_m"]), one["way"], "", "", "")
        for row in plan["positions"]
        for one in row["try"]
    )
    if sheet:
        yield Block("heading", "Try with a magnet before drilling", level=2)
        says = (
            "On the running drive, outside guards: the same sensor and magnet at each spot. Fill in the level in the bands below "
            "and whether a tap makes the spot ring. The highest level on a spot that does not ring wins."
        )
        yield Block("text", says)
        head = ("for", "spot", "across, up, mm", "then", "bearing", "mesh", "rings at")
        yield Block("table", head=head, rows=sheet, wide=(1.5, 2, 1.1, 0.7, 0.8, 0.8, 0.8), tall=True)
        bands = tuple(
            f"{row['point']}: " + ", ".join(f"{line['name']} {line['hz']:.1f} Hz" for line in row["compare"][:_MOST_COMPARED])
            for row in plan["positions"]
            if row["try"] and row["compare"]
        )
        if bands:
            yield Block("list", "What to compare, at the highest speed", items=bands)


def holding_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """Holes against their walls, bonds, lines, orientation, sump sensor, brackets and plates."""
    yield from _holes(plan)
    yield from _bonds(plan)
    yield from _lines(plan)
    yield from _orientation(plan)
    yield from _sump(plan)
    yield from _brackets(plan)


def _holes(plan: dict[str, Any]) -> Iterator[Block]:
    holes = [(part["name"], part["mount"], part["hole"]) for part in plan["parts"] if part["hole"] and part["hole"].get("wall")]
    if not holes:
        return
    yield Block("heading", "Holes against the wall", level=2)
    rows = []
    for name, mount, hole in holes:
        known, left = hole["wall"]["least"], hole["metal_left"]
        stack = sum(hole[key]["value"] for key in ("depth", "point"))
        rows.append(
            (
                name,
                f"{hole['thread']}, {hole['drill']}, {hole['tap']} tap",
                *(_mm(value) for value in (hole["depth"]["value"], hole["point"]["value"], stack, known["value"])),
                _mm(left["value"]) if left else "-",
                _mm(hole["least_metal"]["value"]) if hole.get("least_metal") else "-",
                "drill" if mount == "stud" else "do not drill",
            )
        )
    head = ("part", "thread, drill", "shoulder", "point", "collar", "wall counts", "metal left", "at least", "")
    yield Block(
        "text", "In mm, from the spot-face; the wall counts as its least reading, corrected for the metal, less the gauge's error."
    )
    yield Block("table", head=head, rows=tuple(rows), wide=(1.6, 2, 0.9, 0.7, 0.8, 1, 0.9, 0.9, 1), numbers=(2, 3, 4, 5, 6, 7))
    drills = tuple(
        f"{name}: "
        + ", ".join(f"{one['drill']} {one['percent']:.0f} %{' (60 to 75)' if one['wanted'] else ''}" for one in hole["drills"])
        for name, _, hole in holes
    )
    yield Block("list", "Thread that each drill leaves", items=drills, folds=True)
    gauged = [hole["wall"]["least"] for _, _, hole in holes if "formula" in hole["wall"]["least"]]
    if gauged:
        yield Block("list", "Working of the walls", items=tuple(workings(gauged)), folds=True)


def _bonds(plan: dict[str, Any]) -> Iterator[Block]:
    bonds = [(part["name"], part["bond"]) for part in plan["parts"] if part["bond"]]
    if not bonds:
        return
    yield Block("heading", "Bonds", level=2)
    rows = []
    for name, bond in bonds:
        times = bond["schedule_s"]
        schedule = (
            (
                f"{times['close_within'] / 60:.0f} min",
                f"{times['fixture'] / 3600:.1f} h",
                f"{times['no_load_until'] / 3600:.1f} h",
                f"{times['full'] / 3600:.0f} h",
                f"{times['baseline_after'] / 3600:.0f} h",
            )
            if times
            else ("not known",) * 5
        )
        rows.append((name, bond["adhesive"], *schedule))
    head = ("part", "adhesive", "close within", "holds after", "load after", "full cure", "baseline after")
    yield Block("table", head=head, rows=tuple(rows), wide=(1.6, 1.8, 1, 1, 1, 0.9, 1.1), numbers=(2, 3, 4, 5, 6))
    items = tuple(f"{name}: {ruling_words(ruling)}" for name, bond in bonds for ruling in bond["rulings"])
    if items:
        yield Block("list", "Held against their limits at running temperature", items=items, folds=True)


def _lines(plan: dict[str, Any]) -> Iterator[Block]:
    parts = [part for part in plan["parts"] if part["lines"]]
    if not parts:
        return
    yield Block("heading", "Wanted lines on each mount", level=2)
    grades = ("true", "detectable", "not seen")
    rows = tuple(
        (
            part["name"],
            *(_of_grade(part["lines"], grade) for grade in grades),
            _cures(part["lines"]),
        )
        for part in parts
    )
    head = ("part", "true amplitude", "detectable only", "not seen", "what would better it")
    yield Block("table", head=head, rows=rows, wide=(1.4, 2.6, 1.8, 1.8, 2.2))
    stacks = [part["stack"] for part in plan["parts"] if part.get("stack")]
    if stacks:
        yield Block("list", "Working of the stacks' resonance", items=tuple(workings(stacks)), folds=True)


def _cures(lines: list[dict[str, Any]]) -> str:
    """What would better the worst lines at both ends: the others are bettered with them."""
    poor = sorted((line for line in lines if line["cure"]), key=lambda line: float(line["hz"]))
    return "; ".join(dict.fromkeys(line["cure"] for line in (*poor[:1], *poor[-1:]) if line["grade"] != "true" and poor))


def _of_grade(lines: list[dict[str, Any]], grade: str) -> str:
    """Lines of one grade: the highest two by name, the rest counted."""
    found = sorted((line for line in lines if line["grade"] == grade), key=lambda line: -line["hz"])
    if not found:
        return "none"
    named = ", ".join(f"{line['name']} {line['hz']:.0f} Hz" for line in found[:2])
    return f"{len(found)}, the highest {named}" if len(found) > 1 else named


def _orientation(plan: dict[str, Any]) -> Iterator[Block]:
    if not plan["orientation"]:
        return
    yield Block("heading", "How each sensor must stand", level=2)
    rows = tuple(
        (
            row["point"],
            f"{row['face']}, looks to: {row['outward']}",
            f"{row['clock']:g} o'clock",
            "; ".join(f"{axis} {where}" for axis, where in row["axes"].items()),
            ", ".join(f"{axis} {value:+.2f}" for axis, value in zip("xyz", row["gravity_m_s2"], strict=True)),
            row["tap_axis"],
        )
        for row in plan["orientation"]
    )
    head = ("part", "face", "mark", "axes point", "at rest, m/s²", "tap shows")
    yield Block("table", head=head, rows=rows, wide=(1.4, 1.2, 0.9, 3, 1.7, 0.9))
    looks = dict.fromkeys((row["face"], row["outward"]) for row in plan["orientation"])
    says = "; ".join(f"on face {face} {clock_words({'outward': outward})}" for face, outward in looks)
    yield Block("text", first_up(f"{says}. All seen from outside."))
    yield Block("list", "Where to tap", items=tuple(f"{row['point']}: {row['tap']}" for row in plan["orientation"]))
    hidden = tuple(f"{row['point']}: {' or '.join(row['gravity_alone_cannot_show'])}" for row in plan["orientation"])
    yield Block("list", "Gravity alone does not tell these from it: photograph the mark, then tap", items=hidden)


def _sump(plan: dict[str, Any]) -> Iterator[Block]:
    sump = plan["sump"]
    if not sump:
        return
    yield Block("heading", "Sump sensor", level=2)
    may_be = ", ".join(one["thread"] for one in sump["candidates"]) or "not known"
    seals = f", seals {sump['candidates'][0]['seals']}" if len(sump["candidates"]) == 1 else ""
    yield Block("text", f"Port: {sump['port'] or 'not said'}. Its thread by what was gauged: {may_be}{seals}.")
    items = (*(f"tell apart by: {one}" for one in sump.get("tell_apart", ())), *(ruling_words(one) for one in sump["rulings"]))
    if items:
        yield Block("list", "Held against their limits", items=items)
    if sump["working"]:
        yield Block("list", "Working of the probe", items=tuple(workings(sump["working"])), folds=True)


def _brackets(plan: dict[str, Any]) -> Iterator[Block]:
    if not plan["brackets"]:
        return
    yield Block("heading", "Brackets and plates", level=2)
    rows = tuple(
        (
            row["name"],
            ", ".join(row["carries"]) or "-",
            ", ".join(row["holes"]) or ", ".join(f"({place_words(place)})" for place in row["at_m"]) or "a stand of its own",
            f"{row['thread']}, {row['grade']}" if row["thread"] and row["grade"] else "-",
            _mm(row["engagement"]["value"]) if row["engagement"] else "-",
            f"{row['torque']['value']:.3g}" if row["torque"] else "-",
            "{:.2g} to {:.2g}".format(*(row["preload_n"][n] / 1000 for n in (0, 2))) if row["preload_n"] else "-",
        )
        for row in plan["brackets"]
    )
    head = ("bracket", "carries", "holes", "screws", "full thread, mm", "torque, N m", "preload, kN")
    yield Block("table", head=head, rows=rows, wide=(1.8, 1.4, 1.6, 1.2, 1, 0.9, 1.1), numbers=(4, 5))
    items = tuple(f"{row['name']}: {ruling_words(ruling)}" for row in plan["brackets"] for ruling in row["rulings"])
    if items:
        yield Block("list", "Held against their limits", items=items, folds=True)
    worked = [row[key] for row in plan["brackets"] for key in ("engagement", "torque") if row[key]]
    if worked:
        yield Block("list", "Working of the screws", items=tuple(workings(worked)), folds=True)
    for plate in plan["plates"]:
        wide, high = (1000 * side for side in plate["size_m"])
        thick = 1000 * plate["thickness_m"]
        says = f"{first_up(plate['name'])}: {wide:.0f} by {high:.0f} by {thick:.3g} mm, {plate['material']}."
        yield Block("text", says)
        holes = [(one["for"], "hole", place_words(one["at_m"]), _mm(one["diameter_m"])) for one in plate["holes"]]
        holes += [
            (one["for"], "slot", place_words(one["at_m"]), f"{_mm(one['length_m'])} by {_mm(one['width_m'])}")
            for one in plate["slots"]
        ]
        yield Block("table", head=("for", "", "across, up, mm", "size, mm"), rows=tuple(holes), wide=(2, 0.7, 1.3, 1.2))


def ruling_words(ruling: dict[str, Any]) -> str:
    """A ruling in one line: number, limits, whether it holds, and the cure where it does not."""
    limits = [f"at {side} {read(ruling[side], ruling['unit'], digits=3)}" for side in ("least", "most") if ruling[side] is not None]
    says = f"{ruling['what']} {read(ruling['value'], ruling['unit'], digits=3)}, {' and '.join(limits)}"
    return f"{says}: holds" if ruling["holds"] else f"{says}: does not hold; {ruling['cure']}"


def place_words(place: list[float]) -> str:
    """``330, 328``: a place on a face. [mm]"""
    return ", ".join(f"{1000 * length:.0f}" for length in place)


def _mm(metres: float) -> str:
    return f"{1000 * metres:.1f}"
