"""A survey as blocks: the drive drawn, what it leaves open, what can be seen, its lines, what to record, which zones apply."""

import math
from collections.abc import Iterator
from typing import Any

from gearcase.drawings.block import Block, finding_blocks, first_up, workings
from gearcase.drawings.picture_blocks import picture_blocks
from gearcase.drawings.text import collision_words, odds_words, zone_table_name

__all__ = [
    "KIND_NAMES",
    "coverage_blocks",
    "inferred_blocks",
    "line_blocks",
    "line_hz",
    "measurement_blocks",
    "most_pressing_first",
    "source_blocks",
    "survey_blocks",
    "unknown_blocks",
]

KIND_NAMES = {
    "shaft": "shaft",
    "planet": "planet, seen from its carrier",
    "mesh": "gear mesh",
    "planet_pass": "planets passing",
    "member_tooth": "one damaged tooth",
    "belt": "turn of the belt",
    "passing": "passing",
    "supply": "twice the supply",
    "pole_pass": "pole pass",
    "converter": "converter carrier",
    "hunting_tooth": "hunting tooth",
    "assembly_phase": "assembly phase",
    "outer_race": "outer race",
    "inner_race": "inner race",
    "rolling_element": "rolling element (twice its spin)",
    "cage": "cage",
}


_RATE_WORDS = {"cage": "turns of the cage", "pole_pass": "pole passes"}


_MOST_COLLISIONS = 12


_WORKED_OF_RECORD = ("highest_hz", "rate_hz", "needed_s", "samples", "error")  # the others stand as formulas in their rows


_COLLISION_NAMES = {"coincide": "One frequency", "overlap": "Closer than known", "cross": "Meeting", "close": "Close"}


def survey_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    """A survey alone: the drive drawn, what it leaves open, what can be seen, its lines, what to record."""
    yield from picture_blocks(survey, after_cover=False)
    yield from finding_blocks(survey["findings"])
    yield from inferred_blocks(survey)
    yield from coverage_blocks(survey)
    yield from unknown_blocks(survey)
    yield from measurement_blocks(survey)
    yield from line_blocks(survey)
    yield from source_blocks(survey)


def coverage_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "What can be seen")
    yield Block(
        "text",
        "Each part by its best measuring point. “No fault seen” means no more than this table: a blind part may be faulty and "
        "nothing here would tell.",
    )
    rows = tuple((row["component"], row["kind"], row["grade"], row["why"]) for row in survey["coverage"])
    yield Block("table", head=("part", "kind", "coverage", "why"), rows=rows, wide=(1.9, 0.8, 1, 4.4))


def line_hz(line: dict[str, Any], speed: float) -> float:
    """Where a line of a survey stands at one speed of the reference shaft. [Hz]"""
    return float(abs(line.get("fixed_hz", 0.0) + line["order"] * speed))


def line_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    drive = survey["drive"]
    yield Block("heading", "Lines this drive can show")
    yield Block(
        "text",
        f"At {60 * drive['rated_speed_hz']:.5g} rpm of {drive['reference_shaft']}. Orders count cycles per turn of that shaft. "
        "The range covers the speeds in service and what is not known. Bearing lines stand a per cent or two off (slip).",
    )
    parts: dict[str, list[dict[str, Any]]] = {}
    for line in survey["lines"]:
        parts.setdefault(line["component"], []).append(line)
    for part, lines in parts.items():
        yield Block("heading", part, level=2, folds=True)
        shown = [line for line in lines if line["kind"] != "sideband"]
        head = ("line", "order", "1×, Hz", "range, Hz", "2×, Hz", "3×, Hz", "known from")
        yield Block("table", head=head, rows=tuple(_line_rows(shown)), wide=(2.7, 0.9, 1, 1.6, 1, 1, 1.1), numbers=(1, 2, 3, 4, 5))
        sides = [line for line in lines if line["kind"] == "sideband"]
        for kind in dict.fromkeys(line.get("sideband_of", "") for line in sides):
            beside = [line for line in sides if line.get("sideband_of", "") == kind]
            about = f"each {(kind or 'mesh').replace('_', ' ')} line" if kind != "shaft" else "the motor shaft's line"
            yield Block("text", f"Sidebands about {about}: {_sidebands(beside)}.")
        worked = [line["working"] for line in shown if line["harmonic"] == 1]
        yield Block("list", "Working", items=tuple(workings(worked)), folds=True)


def _sidebands(lines: list[dict[str, Any]]) -> str:
    """``1, 2, 3 turns of input either side``, ``1, 2 turns of the cage either side``."""
    pairs: dict[str, set[int]] = {}
    for line in lines:
        by = _RATE_WORDS.get(line.get("sideband_rate", "")) or f"turns of {line['sideband_shaft']}"
        pairs.setdefault(by, set()).add(abs(line["sideband_pair"]))
    return "; ".join(f"{', '.join(map(str, sorted(found)))} {by} either side" for by, found in pairs.items())


def _line_rows(lines: list[dict[str, Any]]) -> Iterator[tuple[str, ...]]:
    """A row for each first harmonic, with its multiples beside it."""
    by_kind: dict[tuple[str, str], dict[int, dict[str, Any]]] = {}
    for line in lines:
        row = (line["kind"], line["name"].removesuffix(f" {line['harmonic']}x"))
        by_kind.setdefault(row, {})[line["harmonic"]] = line
    for (kind, name), harmonics in by_kind.items():
        first = harmonics[min(harmonics)]
        low, high = first["hz_range"]
        multiples = (f"{harmonics[n]['hz']:.3f}" if n in harmonics else "" for n in (2, 3))
        yield (
            KIND_NAMES[kind] + name.partition("carrier 1x")[2],
            f"{first['order']:.4f}" if first["order"] > 0 else "-",
            f"{first['hz']:.3f}",
            f"{low:.2f} to {high:.2f}",
            *multiples,
            first["origin"],
        )


def measurement_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    setting = survey["measurement"]
    yield Block("heading", "What to record")
    if setting.get("records"):
        yield from _records(setting["records"])
        yield from _reach(setting)
        yield from _fetching(setting["bus"])
        yield from _collisions(setting["collisions"])
    else:
        yield Block("text", "This survey was kept before records were planned in two: survey the drive again.")
    yield from _acceptance(survey)


def _records(records: list[dict[str, Any]]) -> Iterator[Block]:
    once = "".join(f"; once, on the input's bearing housing, a third {record['name']}" for record in records[2:])
    yield Block(
        "text",
        f"Two records at each point, one after the other, at a steady speed and load{once}. These are the least; lengths are for "
        "the lowest speed, rates for the highest. Where the speed moves more than the table allows, resample by turns (a pulse a "
        "turn, or a comb of lines that tells the speed), or the highest lines smear.",
    )

    def row(name: str, key: str, form: str, unit: str = "") -> tuple[str, ...]:
        return (name, *(f"{record[key]['value']:{form}}{unit}" for record in records))

    rows = (
        ("for", *(record["purpose"] for record in records)),
        row("highest frequency f_max", "highest_hz", ".5g", " Hz"),
        ("sample rate f_s, at least", *(_rate(record["rate_hz"]["value"]) for record in records)),
        row("samples N", "samples", ".0f"),
        row("length T = N / f_s", "length_s", ".3g", " s"),
        row("resolution df = windows / T", "resolution_hz", ".3g", " Hz"),
        row("lines of resolution, f_max / df", "spectral_lines", ".0f"),
        ("speed to hold within df / 2 f_max", *(f"± {100 * record['steadiness']['value']:.2g} %" for record in records)),
        row("averages n, windows half overlapped", "averages", ".0f"),
        ("noise power is read to", *(f"± {100 * record['error']['value']:.0f} %" for record in records)),
        *((f"turns of {shaft}", *(_turns(record["turns"][shaft]) for record in records)) for shaft in records[0]["turns"]),
    )
    yield Block("table", head=("setting", *(record["name"] for record in records)), rows=rows, wide=(2.4, *(2 for _ in records)))
    for record in records:
        worked = [record[key] for key in _WORKED_OF_RECORD]
        yield Block("list", f"Working, {record['name']}", items=tuple(workings(worked)), folds=True)


def _rate(hz: float) -> str:
    """Rounded up, of slow drives to a hundredth."""
    return f"{math.ceil(hz - 1e-6)} Hz" if hz >= 100 else f"{math.ceil(100 * hz - 1e-6) / 100:g} Hz"


def _turns(turns: float) -> str:
    return f"{turns:.0f}" if turns >= 10 else f"{turns:.2g}"


def _reach(setting: dict[str, Any]) -> Iterator[Block]:
    reach, expected = setting["reach"], setting["expected_peak"]
    yield Block("heading", "Sensors and mounts", level=2)
    if expected is not None:
        yield Block(
            "text",
            f"Range: {expected['value']:.0f} m/s² or more, if all the velocity of the C/D boundary were in the highest mesh line "
            "and peaks stood five times over the RMS. It chooses a range and judges nothing.",
        )
        yield Block("list", "Working", items=tuple(workings([expected["inputs"]["rms"], expected])), folds=True)
    head = ("point or mount", *(f"{wanted['what']}, {wanted['hz']:.4g} Hz" for wanted in reach["wanted"]))
    rows = (
        *((f"{row['point']}: {row['mount'] or 'mount not stated'}", *row["grades"]) for row in reach["points"]),
        *((f"{row['mount']}, any sensor", *row["grades"]) for row in reach["mounts"]),
    )
    yield Block("table", head=head, rows=rows, wide=(2.4, *(1.5 for _ in reach["wanted"])))


def _fetching(bus: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "What the records cost on the bus", level=2)
    bauds = sorted({row["baud"] for row in bus["axis"]})
    names = dict.fromkeys(row["record"] for row in bus["axis"])
    time = {(row["record"], row["baud"]): row["axis_s"] for row in bus["axis"]}
    rows = tuple((name, *(f"{time[name, baud]['value']:.0f}" for baud in bauds)) for name in names)
    head = ("one axis, a register a sample", *(f"at {baud} baud, s" for baud in bauds))
    yield Block("table", head=head, rows=rows, wide=(3, *(1.5 for _ in bauds)), numbers=tuple(range(1, 1 + len(bauds))))
    if bus["interval_s"] is not None:
        rows = tuple((row["device"], row["point"], f"{row['axes']}", f"{row['records_s'] / 60:.1f}") for row in bus["devices"])
        head = ("device", "point", "axes", "both records, min")
        yield Block("table", head=head, rows=rows, wide=(2, 2, 0.8, 1.5), numbers=(2, 3))
        yield Block(
            "text",
            f"Together {bus['total_s'] / 60:.0f} min: one set of records every {bus['interval_s']['value'] / 60:.0f} min at best, "
            "with half of the bus left to readings, light and controller.",
        )
    worked = [row["axis_s"] for row in bus["axis"]]
    if bus["interval_s"] is not None:
        worked.append(bus["interval_s"])
    yield Block("list", "Working", items=tuple(workings(worked)), folds=True)


def _collisions(met: list[dict[str, Any]]) -> Iterator[Block]:
    if not met:
        return
    yield Block("heading", "Parts that these records cannot tell apart", level=2)
    shown = met[:_MOST_COLLISIONS]
    rows = tuple((" and ".join(pair["lines"]), f"{pair['alike']}", first_up(collision_words(pair))) for pair in shown)
    more = f" The {len(shown)} that matter most of {len(met)} pairs of parts." if len(met) > len(shown) else ""
    yield Block(
        "text",
        "Fundamentals first; one row for each pair of parts, with the number of its lines that meet. All others are told apart as "
        f"long as the speed holds as above, or the record is resampled by turns.{more}",
    )
    yield Block("table", head=("lines", "pairs", "why"), rows=rows, wide=(4, 0.7, 3.6), numbers=(1,))
    cures = {pair["kind"]: pair["cure"] for pair in shown}
    yield Block("list", items=tuple(f"{_COLLISION_NAMES[kind]}: {cure}." for kind, cure in cures.items()))


def _acceptance(survey: dict[str, Any]) -> Iterator[Block]:
    accepted = survey.get("acceptance")
    if accepted is None:
        return
    yield Block("heading", "Which vibration zones apply")
    low, high = accepted["band_hz"]
    judged = f"Overall velocity, RMS from {low:.0f} to {high:.0f} Hz, is held against this table."
    reading = "Overall velocity is held against no zone" + ("; what stands here is for reading." if accepted["tables"] else ".")
    yield Block("text", judged if accepted["judged"] else reading)
    yield Block("list", items=tuple(first_up(f"{why}.") for why in accepted["why"]))
    if accepted["tables"]:
        rows = tuple(
            (
                zone_table_name(table),
                *(f"{1000 * limit:.3g}" for limit in table["boundaries_m_s"]),
                f"{table['source']} ({table['basis']})",
            )
            for table in accepted["tables"]
        )
        head = ("table", "A/B, mm/s", "B/C, mm/s", "C/D, mm/s", "source")
        yield Block("table", head=head, rows=rows, wide=(2.6, 0.9, 0.9, 0.9, 3.2), numbers=(1, 2, 3))
    yield Block("note", "A stand-in", items=(first_up(f"{accepted['stand_in']}."), first_up(f"{accepted['gear_units']}.")))


def unknown_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "Still unknown")
    rows = tuple(
        (row["what"], row["why"], "stops ordering" if row["blocks_ordering"] else "") for row in most_pressing_first(survey)
    )
    yield Block("table", head=("question", "why it matters", ""), rows=rows, wide=(4, 3.4, 1.2))


def most_pressing_first(survey: dict[str, Any]) -> list[dict[str, Any]]:
    return sorted(survey["unknown"], key=lambda row: not row["blocks_ordering"])


def source_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    found = dict.fromkeys(line["working"]["source"] for line in survey["lines"] if line["working"])
    yield Block("heading", "Sources")
    yield Block("list", items=tuple(first_up(source) for source in found))


def _stated(row: dict[str, Any]) -> str:
    """Speed that came with a recording, with the pulses a turn where a tachometer gave it."""
    if not row["stated_hz"]:
        return ""
    pulses = row.get("pulses_per_turn")
    return f"{60 * row['stated_hz']:.5g}" + (f" ({pulses} a turn)" if pulses else "")


def inferred_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    """What recordings tell of an unknown drive: speeds, tooth counts with odds, makes of bearings."""
    told = survey.get("inferred")
    if not told or not (told["speeds"] or told["teeth"] or told["bearings"]):
        return
    yield Block("heading", "What recordings tell")
    speeds = tuple(
        (
            row["recording"],
            _stated(row),
            f"{60 * row['hz']:.6g}" if row["standard_error_hz"] is not None else "",
            f"{60 * row['standard_error_hz']:.2g}" if row["standard_error_hz"] is not None else "",
            row["says"],
        )
        for row in told["speeds"]
    )
    if speeds:
        head = ("recording", "stated or by pulses, rpm", "by its lines, rpm", "standard error", "how")
        yield Block("table", head=head, rows=speeds, wide=(1.6, 0.9, 1.2, 0.9, 3.4), numbers=(1, 2, 3))
    teeth = told["teeth"]
    if teeth and "combinations" in teeth:
        yield Block("heading", "Tooth counts", level=2)
        says = (
            "decided by its odds; confirm one count when the drive is open" if teeth["decided"] else "the recording cannot decide"
        )
        yield Block(
            "text",
            f"From {teeth['recording']}: {says}. Of its {teeth['sure_lines']} lines that no noise makes the first combination "
            f"explains {teeth['explained_lines']}. Odds of none of these: {odds_words(teeth['none'])}.",
        )
        combinations = tuple(
            (
                ", ".join(f"{a}/{b}" for a, b in one["teeth"]),
                odds_words(one["odds"]),
                f"{one['found']} of {one['expected']}",
                ", ".join(f"{60 * hz:.5g}" for hz in one["shafts_hz"]),
            )
            for one in teeth["combinations"]
        )
        columns = ("teeth, stage by stage from the input", "odds", "lines found", "shafts, rpm")
        yield Block("table", head=columns, rows=combinations, wide=(3, 0.8, 1, 2.4), numbers=(1,))
        if teeth["measurement"]:
            yield Block("note", "What would decide", items=(first_up(f"{teeth['measurement']['says']}."),), state="action")
    elif teeth:
        yield Block("text", first_up(f"{teeth['says']}."))
    makes = tuple(f"{row['bearing']}, {row['recording']}: {row['says']}" for row in told["bearings"])
    if makes:
        yield Block("list", "Which make of bearing", items=makes)
