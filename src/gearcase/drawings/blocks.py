"""A report as a list of blocks, which PDF and web page both lay out: the same content, written once.

`handover_blocks` and `ask_for_blocks` turn the stages' documents into headings, text, tables, figures and notes in plain words.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.face import face_svg
from gearcase.drawings.pictures import survey_pictures
from gearcase.drawings.plots import Flag, spectrum_svg
from gearcase.drawings.train import train_svg
from gearcase.judge.zones import STAND_IN

__all__ = [
    "Block",
    "Report",
    "amount",
    "ask_for_blocks",
    "diagnose_blocks",
    "finding_blocks",
    "first_up",
    "handover_blocks",
    "plan_blocks",
    "survey_blocks",
    "workings",
]

CAUTIONS = (
    "Isolate and lock out before hands or tools go near anything that turns; prove that it stays still. Local codes and site "
    "rules come first.",
    "Stored energy: a backstop or counterweight can hold load torque on an incline; converter capacitors stay charged; a fan "
    "may windmill.",
    "Never drill into the oil space: measure the wall at the spot first, use a stop collar, stop at the first smell of oil.",
    "Never disturb bearing-cap bolts and shims, split-line bolts, dowels, seals, lifting eyes in use or the fan shroud.",
    "Housings and oil burn: check the surface temperature before touching; opening the drain is an oil change.",
    "Adhesives and cleaners are flammable and harmful: read the data sheet, ventilate, no naked flame. Grinding paint is hot "
    "work; test for lead and chromate first.",
    "Mains work is for a licensed electrician. In classified areas tools, tablet and camera count too, and drilling may void "
    "the drive's certificate.",
    "This is advice and record, not a protection system: nothing here trips the drive. The standard's TRIP level, where shown, "
    "is not wired.",
)
FAULT_NAMES = {
    "outer_race": "outer race fault",
    "inner_race": "inner race fault",
    "rolling_element": "rolling element fault",
    "cage": "cage fault",
}
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
_STATE_OF_LEVEL = {"blocker": "danger", "caution": "abnormal"}
_ENVELOPE_END_HZ = 400.0
_MOST_UNEXPLAINED = 15
_READABLE_ON_COVER = 1100.0  # px: across a page its letters are then printed at 5 pt or more
_ON_EACH_PAGE = ("job", "stage", "run", "date", "checksum")


@dataclass(frozen=True)
class Block:
    """One piece of a report.

    Attributes
    ----------
    kind : str
        heading, text, list, table, figure, note or break.
    text : str
        Heading or paragraph; caption of a figure; title of a note.
    level : int
        Of a heading, 1 or 2.
    items : tuple of str
        Of a list; paragraphs of a note.
    head, rows : tuples
        Of a table; `wide` gives the columns' relative widths, `numbers` the columns set to the right;
        `tall` leaves room to write by hand.
    folds : bool
        Of a list that a page on a screen shows folded up; on paper all is open.
    svg, to_scale : str, bool
        Of a figure; one drawn to scale keeps its size.
    state : str
        Of a note: none, abnormal, danger or action, which also decides its rule.
    """

    kind: str
    text: str = ""
    level: int = 1
    items: tuple[str, ...] = ()
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    wide: tuple[float, ...] = ()
    numbers: tuple[int, ...] = ()
    tall: bool = False
    folds: bool = False
    to_scale: bool = False
    svg: str = ""
    state: str = "none"


@dataclass(frozen=True)
class Report:
    """A report: what its cover and the title block of each page say, and its blocks."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    title_block: tuple[tuple[str, str], ...]
    cover_note: Block
    cover_svg: str
    blocks: tuple[Block, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a template."""
        return asdict(self)


def handover_blocks(
    *,
    title: str,
    site: Mapping[str, Any],
    date: str,
    who: str,
    run: int,
    checksum: str,
    survey: dict[str, Any],
    plan: dict[str, Any] | None,
    diagnose: dict[str, Any] | None,
    arrays: Mapping[str, Mapping[str, NDArray[np.floating]]],
    stale: tuple[str, ...],
    standing: Iterable[tuple[str, str]],
    installed: Iterable[Block],
    left_behind: Iterable[Block],
) -> Report:
    """The handover of a job, from its results.

    `standing` is one sentence for each stage that was carried out, for the owner; `installed` follows the plan: as built, proved,
    limits, watched; `left_behind` are the sheets at the end.
    """
    facts = (
        ("job", title),
        ("site", str(site.get("name") or "not stated")),
        ("drive", str(survey["drive"]["name"])),
        ("tag", str(site.get("drive_tag") or "not stated")),
        ("stage", "handover"),
        ("run", f"{run:04d}"),
        ("date", date),
        ("handed over by", who or "not stated"),
        ("checksum", checksum),
    )
    blocks = [
        *_for_the_owner(survey, diagnose, stale, tuple(standing)),
        *_coverage(survey),
        *_pictures(survey, after_cover=True),
        *_verdicts(diagnose),
        *_plots(survey, diagnose, arrays),
        *_plan(plan),
        *installed,
        *_lines(survey),
        *_measurement(survey),
        *_unknown(survey),
        *_recordings(diagnose),
        *_cautions(),
        *_sources(survey),
        *_signatures(),
        *left_behind,
    ]
    return Report(
        title=title,
        subtitle="Condition of the drive as recorded: handover",
        facts=facts,
        title_block=tuple(fact for fact in facts if fact[0] in _ON_EACH_PAGE),
        cover_note=_note_of(diagnose, survey),
        cover_svg=train_svg(survey["drive"], [v["component"] for v in diagnose["verdicts"]] if diagnose else ()),
        blocks=tuple(blocks),
    )


def ask_for_blocks(*, title: str, site: Mapping[str, Any], survey: dict[str, Any]) -> Report:
    """The sheet of questions for the site, to be printed and filled in by hand."""
    questions = _most_pressing_first(survey)
    rows = tuple((("■ " if row["blocks_ordering"] else "") + row["what"], row["why"], "") for row in questions)
    blocks = (
        Block(
            "text",
            "Please answer before the visit. Questions marked ■ stop ordering until they are answered. Write “not known” rather "
            "than a guess; a photo with a rule in view is worth more than a sentence.",
        ),
        Block("table", head=("what", "why it matters", "answer"), rows=rows, wide=(3.2, 2.6, 3.2), tall=True),
        Block("text", "Answered by, date:  ______________________________________"),
        Block("list", "Before you look", items=(CAUTIONS[0], CAUTIONS[1], CAUTIONS[4])),
    )
    return Report(
        title=title,
        subtitle="What we need to know before the visit",
        facts=(("site", str(site.get("name") or "not stated")), ("tag", str(site.get("drive_tag") or "not stated"))),
        title_block=(("job", title), ("sheet", "questions for the site")),
        cover_note=Block("note"),
        cover_svg="",
        blocks=blocks,
    )


def survey_blocks(survey: dict[str, Any]) -> Iterator[Block]:
    """A survey alone: the drive drawn, what it leaves open, what can be seen, its lines, what to record."""
    yield from _pictures(survey, after_cover=False)
    yield from finding_blocks(survey["findings"])
    yield from _coverage(survey)
    yield from _unknown(survey)
    yield from _measurement(survey)
    yield from _lines(survey)
    yield from _sources(survey)


def _pictures(survey: dict[str, Any], *, after_cover: bool) -> Iterator[Block]:
    """The survey's pictures, each with one sentence on what to read from it, and the crossings as a table.

    A train too wide to be read on the cover is shown again after it.
    """
    if after_cover:
        yield Block("break")
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


def plan_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """A plan alone: blockers first, then the parts, the faces, the work card."""
    yield from finding_blocks(plan["findings"])
    yield Block("heading", "How the kit goes on")
    yield from _parts(plan)


def diagnose_blocks(
    diagnose: dict[str, Any], *, survey: dict[str, Any] | None, arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]
) -> Iterator[Block]:
    """A diagnosis alone: the answer, its spectra where a survey names the lines, then verdicts and recordings."""
    yield _note_of(diagnose, survey or {})
    if survey is not None:
        yield from _plots(survey, diagnose, arrays)
    yield from _verdicts(diagnose)
    yield from _recordings(diagnose)


def finding_blocks(findings: Iterable[dict[str, Any]]) -> Iterator[Block]:
    """Findings as notes, each with its working folded up below."""
    for row in findings:
        says = first_up(f"{row['says']}.") if not row["says"].endswith((".", "!", "?")) else first_up(row["says"])
        title = f"{first_up(row['level'])}: {row['where']}" if row.get("where") else first_up(row["level"])
        yield Block("note", title, items=(says,), state=_STATE_OF_LEVEL.get(row["level"], "none"))
        if row.get("worked"):
            yield Block("list", "Working", items=tuple(workings([row["worked"]])), folds=True)


def _note_of(diagnose: dict[str, Any] | None, survey: dict[str, Any]) -> Block:
    """The answer in one note, and what of the job contradicts itself, since the answer rests on it."""
    note = _answer(diagnose)
    if not survey.get("contradictions"):
        return note
    open_ = tuple(f"Open contradiction: {row['says']} ({row['where']})." for row in survey["contradictions"])
    return replace(note, items=(*note.items, *open_), state="action" if note.state == "none" else note.state)


def _answer(diagnose: dict[str, Any] | None) -> Block:
    """The answer in one note, with its state as a word."""
    if diagnose is None:
        return Block("note", "No recording has been judged", items=("The drive is described; nothing is said of its condition.",))
    if diagnose["verdicts"]:
        lines = tuple(f"{first_up(_fault(v))}: {v['component']}. {first_up(v['urgency'])}." for v in diagnose["verdicts"])
        worst = max(v["maturity"] for v in diagnose["verdicts"])
        return Block("note", "Abnormal: a fault is seen", items=lines, state="danger" if worst == 4 else "abnormal")
    if diagnose["cannot_tell"]:
        return Block("note", "Action required: cannot tell", items=tuple(diagnose["cannot_tell"][:3]), state="action")
    return Block("note", first_up(diagnose["statement"]), items=("What cannot be seen is listed on the next page.",))


def _for_the_owner(
    survey: dict[str, Any], diagnose: dict[str, Any] | None, stale: tuple[str, ...], standing: tuple[tuple[str, str], ...]
) -> Iterator[Block]:
    yield Block("heading", "For the owner")
    yield _note_of(diagnose, survey)
    if stale:
        yield Block("note", "Older than the job", items=stale, state="action")
    blind = [row["component"] for row in survey["coverage"] if row["grade"] == "blind"]
    weak = [row["component"] for row in survey["coverage"] if row["grade"] == "seen weakly"]
    if diagnose is not None:
        for verdict in diagnose["verdicts"]:
            yield Block(
                "table",
                head=("", first_up(f"{_fault(verdict)} of {verdict['component']}")),
                rows=tuple(_summary(verdict)),
                wide=(1.2, 4),
            )
    if standing:
        yield Block("table", head=("", "How the job stands"), rows=standing, wide=(1.2, 4))
    open_questions = sum(row["blocks_ordering"] for row in survey["unknown"])
    cannot = [
        f"Not seen at all: {'; '.join(blind) or 'none'}.",
        f"Seen weakly: {'; '.join(weak) or 'none'}.",
        f"Still to be answered: {len(survey['unknown'])} questions, {open_questions} of which stop ordering.",
        "Overall vibration judges running condition, not gear health; one recording says nothing of slow wear.",
    ]
    yield Block("list", "What cannot be seen", items=tuple(cannot))


def _summary(verdict: dict[str, Any]) -> Iterator[tuple[str, str]]:
    yield (
        "What",
        (
            f"Lines of the {_fault(verdict).replace(' fault', '')} stand out of the vibration recorded at "
            f"{verdict['point'] or 'an unnamed point'} ({verdict['recording']})."
        ),
    )
    yield "How sure", f"{_noise_words(verdict['noise_false_alarm'])} {_attribution_words(verdict['attribution_false_alarm'])}"
    twins = [rival["name"] for rival in verdict["rivals"] if rival["why"].startswith("its rate")]
    if twins:
        yield "Or else", f"Frequency alone cannot tell it from: {'; '.join(twins)}."
    growth = verdict.get("growth_db")
    grown = "" if growth is None else f" It has grown by {growth:.0f} dB since the first recording of this point."
    yield "How bad", f"Maturity {verdict['maturity']} of 4. Vibration on the housing never gives the size of a fault.{grown}"
    yield "Act", first_up(f"{verdict['urgency']}.")
    yield "Next", first_up("; ".join(verdict["advice"])) + "."


def _coverage(survey: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "What can be seen")
    yield Block(
        "text",
        "Each part by its best measuring point. “No fault seen” means no more than this table: a blind part may be faulty and "
        "nothing here would tell.",
    )
    rows = tuple((row["component"], row["kind"], row["grade"], row["why"]) for row in survey["coverage"])
    yield Block("table", head=("part", "kind", "coverage", "why"), rows=rows, wide=(1.9, 0.8, 1, 4.4))


def _verdicts(diagnose: dict[str, Any] | None) -> Iterator[Block]:
    yield Block("break")
    yield Block("heading", "Verdicts and their evidence")
    if diagnose is None:
        yield Block("text", "No recording has been judged.")
        return
    if not diagnose["verdicts"]:
        yield Block("text", first_up(diagnose["statement"]) + ".")
    for verdict in diagnose["verdicts"]:
        yield Block("heading", first_up(f"{_fault(verdict)}, {verdict['component']}"), level=2)
        yield Block(
            "text",
            f"Recording {verdict['recording']}, point {verdict['point'] or 'not stated'}. Noise false alarm "
            f"{_chance(verdict['noise_false_alarm'])}; attribution false alarm {_chance(verdict['attribution_false_alarm'])}. "
            f"Strength {verdict['strength_db']:.1f} dB over the local noise, modulation depth {verdict['modulation_depth']:.0%}, "
            f"{verdict['sidebands_found']} sidebands found.",
        )
        rows = tuple(
            (line["line"], f"{line['expected_hz']:.2f}", f"{line['found_hz']:.2f}", f"{line['snr_db']:.1f}")
            for line in _found(verdict)
        )
        yield Block(
            "table",
            head=("line", "expected, Hz", "found, Hz", "over noise, dB"),
            rows=rows,
            wide=(2.4, 1, 1, 1),
            numbers=(1, 2, 3),
        )
        if masked := tuple(f"{line['line']}: {line['why']}." for line in verdict["evidence"] if line["found_hz"] is None):
            yield Block("list", "Not to be looked for in this recording", items=masked)
        others = tuple((rival["name"], rival["why"], rival["separated_by"]) for rival in verdict["rivals"])
        if not others:
            yield Block("text", "Rivals: none known.")
            continue
        yield Block("table", head=("rival", "why it could be", "what would tell"), rows=others, wide=(1.6, 2, 2.6))
    if diagnose["cannot_tell"]:
        yield Block("list", "Cannot tell", items=tuple(diagnose["cannot_tell"]))
    yield from _unexplained(diagnose)
    untested = tuple((row["component"], row["fault"].replace("_", " "), row["why"]) for row in diagnose["not_testable"])
    if untested:
        yield Block("heading", "Could not be tested", level=2)
        yield Block("table", head=("part", "fault", "why"), rows=untested, wide=(2, 2, 3))


def _found(verdict: dict[str, Any]) -> list[dict[str, Any]]:
    """The evidence that was found; a line that could not be looked for has no frequency."""
    return [line for line in verdict["evidence"] if line["found_hz"] is not None]


def _unexplained(diagnose: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "Lines not explained by this drive", level=2)
    rows = tuple(
        (f"{row['found_hz']:.2f}", f"{row['order']:.3f}", f"{row['snr_db']:.1f}", row["recording"], row["says"])
        for row in diagnose["unexplained"][:_MOST_UNEXPLAINED]
    )
    if not rows:
        yield Block("text", "None.")
        return
    yield Block(
        "table",
        head=("Hz", "order", "dB", "recording", "what it may be"),
        rows=rows,
        wide=(0.8, 0.7, 0.6, 2.4, 3),
        numbers=(0, 1, 2),
    )
    if len(diagnose["unexplained"]) > len(rows):
        yield Block("text", f"And {len(diagnose['unexplained']) - len(rows)} more in the result file.")


def _plots(
    survey: dict[str, Any], diagnose: dict[str, Any] | None, arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]
) -> Iterator[Block]:
    if diagnose is None or not arrays:
        return
    yield Block("break")
    yield Block("heading", "Spectra")
    yield Block(
        "text",
        "The thin full line is what was recorded. Dotted flags stand where this drive is expected to show lines; flags with a "
        "solid stroke and a mark are the evidence of a verdict.",
    )
    for number, recording in enumerate(diagnose["recordings"]):
        if f"spectrum-{number}" not in arrays:
            continue
        speed = recording["speed_hz"] or survey["drive"]["rated_speed_hz"]
        yield Block("heading", f"{recording['point'] or 'Point not stated'}, {recording['name']}", level=2)
        caption = f"at {60 * speed:.1f} rpm ({recording['speed_from']})"
        spectrum, envelope = arrays[f"spectrum-{number}"], arrays[f"envelope-{number}"]
        highest = _end(survey, speed, spectrum["hz"])
        yield Block(
            "figure",
            f"Amplitude spectrum {caption}.",
            svg=spectrum_svg(
                spectrum["hz"],
                spectrum["amplitude"],
                _main_flags(survey, speed),
                title=f"Amplitude spectrum of {recording['name']}",
                y_label=f"amplitude, {_unit(recording['unit'])}",
                highest_hz=highest,
            ),
        )
        verdicts = [v for v in diagnose["verdicts"] if v["recording"] == recording["name"]]
        yield Block(
            "figure",
            f"Spectrum of the whitened squared envelope {caption}. What does not rise above the local noise is not drawn.",
            svg=spectrum_svg(
                envelope["hz"],
                np.maximum(envelope["snr_db"], 0.0),
                _envelope_flags(survey, speed, verdicts),
                title=f"Envelope spectrum of {recording['name']}",
                y_label="over local noise, dB",
                highest_hz=min(float(envelope["hz"][-1]), _envelope_end(verdicts)),
            ),
        )


def line_hz(line: dict[str, Any], speed: float) -> float:
    """Where a line of a survey stands at one speed of the reference shaft. [Hz]"""
    return float(abs(line.get("fixed_hz", 0.0) + line["order"] * speed))


def _end(survey: dict[str, Any], speed: float, hz: NDArray[np.floating]) -> float:
    meshes = [line_hz(line, speed) for line in survey["lines"] if line["kind"] == "mesh"]
    return min(float(hz[-1]), max(1.15 * max(meshes, default=0.0), 20 * speed))


def _envelope_end(verdicts: list[dict[str, Any]]) -> float:
    last = [line["found_hz"] for verdict in verdicts for line in _found(verdict)]
    return float(max([_ENVELOPE_END_HZ / 2, *(1.3 * hz for hz in last)]))


def _main_flags(survey: dict[str, Any], speed: float) -> list[Flag]:
    return [
        Flag(line_hz(line, speed), line["name"])
        for line in survey["lines"]
        if line["kind"] == "mesh" or (line["kind"] == "shaft" and line["harmonic"] == 1)
    ]


def _envelope_flags(survey: dict[str, Any], speed: float, verdicts: list[dict[str, Any]]) -> list[Flag]:
    named = [
        Flag(line["found_hz"], line["line"] if number else f"{v['component']}: {line['line']}", found=True)
        for v in verdicts
        for number, line in enumerate(_found(v))
    ]
    shafts = [
        Flag(line_hz(line, speed), line["name"]) for line in survey["lines"] if line["kind"] == "shaft" and line["harmonic"] == 1
    ]
    return [*named, *_not_counted(verdicts), *shafts]


def _not_counted(verdicts: list[dict[str, Any]]) -> Iterator[Flag]:
    """Multiples a named fault would also show but that are no evidence, so that their peaks do not stand there unnamed."""
    for verdict in verdicts:
        spacing = min((line["found_hz"] for line in _found(verdict)), default=0.0)
        if not spacing:
            continue
        counted = {round(line["found_hz"] / spacing) for line in _found(verdict)}
        last = int(_envelope_end([verdict]) / spacing)
        for number in sorted(set(range(1, last + 1)) - counted):
            yield Flag(number * spacing, f"{number}x, not counted")


def _plan(plan: dict[str, Any] | None) -> Iterator[Block]:
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
    yield from _parts(plan)


def _parts(plan: dict[str, Any]) -> Iterator[Block]:
    """Each part as planned, the holes' working, the faces at scale, the work card, what to bring."""
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
    for face in plan["faces"]:
        title = f"face {face['name']}"
        yield Block(
            "figure", f"The {title} at scale, seen from outside.", svg=face_svg(face, plan["parts"], title=title), to_scale=True
        )
    passing = tuple(
        (hole["for"], hole["size"], hole["fit"], hole["drill"], f"{hole['diameter_mm']:.2f}", hole["source"])
        for hole in plan["clearance_holes"]
    )
    if passing:
        yield Block("heading", "Clearance holes", level=2)
        columns = ("for", "screw", "fit", "drill", "mm", "source")
        yield Block("table", head=columns, rows=passing, wide=(3, 0.8, 0.9, 1, 0.8, 3.4), numbers=(4,))
    steps = tuple((str(step["number"]), step["where"], step["do"], step["caution"]) for step in plan["work_card"])
    yield Block("heading", "Work card", level=2)
    yield Block("table", head=("", "where", "do", "caution"), rows=steps, wide=(0.4, 1.4, 4, 2.6), numbers=(0,))
    bring = tuple((row["what"], row["for"]) for row in plan["pick"])
    yield Block("heading", "Bring", level=2)
    yield Block("table", head=("what", "for"), rows=bring, wide=(4, 2))


def _lines(survey: dict[str, Any]) -> Iterator[Block]:
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
        yield Block("heading", part, level=2)
        shown = [line for line in lines if line["kind"] != "sideband"]
        head = ("line", "order", "1×, Hz", "range, Hz", "2×, Hz", "3×, Hz", "known from")
        yield Block("table", head=head, rows=tuple(_line_rows(shown)), wide=(2.7, 0.9, 1, 1.6, 1, 1, 1.1), numbers=(1, 2, 3, 4, 5))
        sides = [line for line in lines if line["kind"] == "sideband"]
        if sides:
            yield Block("text", f"Sidebands about each mesh line: {_sidebands(sides)}.")
        worked = [line["working"] for line in shown if line["harmonic"] == 1]
        yield Block("list", "Working", items=tuple(workings(worked)), folds=True)


def _sidebands(lines: list[dict[str, Any]]) -> str:
    """``1 to 3 turns of input``, ``1, 2, 3, 6 turns of carrier``."""
    pairs: dict[str, set[int]] = {}
    for line in lines:
        pairs.setdefault(line["sideband_shaft"], set()).add(abs(line["sideband_pair"]))
    return "; ".join(f"{', '.join(map(str, sorted(found)))} turns of {shaft} either side" for shaft, found in pairs.items())


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


def workings(worked: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Sums in sentences; those done with the same inputs and source share one."""
    alike: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for one in worked:
        alike.setdefault((_given(one), one["source"]), []).append(one)
    for (given, source), sums in alike.items():
        results = "; ".join(dict.fromkeys(f"{one['formula']} → {amount(one)}" for one in sums))
        yield f"{results}. With {given}. Source: {source}."


def _working(worked: dict[str, Any]) -> str:
    """One sum in a sentence: formula, what was put in and how it is known, what came out, the source."""
    return next(workings([worked]))


def _given(worked: dict[str, Any]) -> str:
    return "; ".join(_input(part) for part in worked["inputs"].values())


def _input(part: dict[str, Any]) -> str:
    where = f", {part['where']}" if part.get("where") else ""
    return f"{part['name']} {amount(part)} ({part['origin']}{where})"


def amount(part: dict[str, Any]) -> str:
    """A number with its spread and unit, lengths in mm."""
    value, unit = part["value"], part["unit"]
    if unit == "m":
        value, unit = 1000 * value, "mm"
    spread = f" ± {part['spread']:.2g}" if part.get("spread") else ""
    return f"{value:.6g}{spread}{'' if unit == '-' else ' ' + unit}"


def _measurement(survey: dict[str, Any]) -> Iterator[Block]:
    setting = survey["measurement"]
    yield Block("heading", "What to record")
    rows = tuple(
        (name, f"{part['value']:.5g} {part['unit']}", _working(part))
        for name, part in (
            ("highest frequency", setting["highest_frequency_hz"]),
            ("sample rate, at least", setting["sample_rate_hz"]),
            ("record length, at least", setting["record_length_s"]),
        )
    )
    yield Block("table", head=("setting", "value", "working"), rows=rows, wide=(1.6, 1, 5))
    if setting["separations"]:
        rows = tuple(
            (" and ".join(pair["lines"]), f"{pair['hz']:.3g}", f"{pair['record_length_s']:.0f}")
            for pair in setting["separations"][:10]
        )
        yield Block("text", "Neighbouring lines that need a longer record at the lowest speed to be told apart:")
        yield Block("table", head=("lines", "apart, Hz", "record, s"), rows=rows, wide=(5, 1, 1), numbers=(1, 2))


def _unknown(survey: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "Still unknown")
    rows = tuple(
        (row["what"], row["why"], "stops ordering" if row["blocks_ordering"] else "") for row in _most_pressing_first(survey)
    )
    yield Block("table", head=("question", "why it matters", ""), rows=rows, wide=(4, 3.4, 1.2))


def _most_pressing_first(survey: dict[str, Any]) -> list[dict[str, Any]]:
    return sorted(survey["unknown"], key=lambda row: not row["blocks_ordering"])


def _recordings(diagnose: dict[str, Any] | None) -> Iterator[Block]:
    if diagnose is None:
        return
    yield Block("heading", "Recordings judged")
    rows = tuple(
        (
            row["name"],
            row["point"] or "not stated",
            f"{row['sample_rate_hz']:.6g}",
            f"{row['duration_s']:.3g}",
            f"{row['indicators']['rms']:.4g} {_unit(row['unit'])}",
            f"{row['indicators']['kurtosis']:.2f}",
            _overall(row["indicators"]),
            row["sha256"][:12],
        )
        for row in diagnose["recordings"]
    )
    head = ("file", "point", "rate, Hz", "length, s", "RMS", "kurtosis", "10–1000 Hz, mm/s", "SHA-256")
    yield Block("table", head=head, rows=rows, wide=(3.1, 1.6, 0.9, 0.95, 1.2, 0.9, 1.45, 1.4), numbers=(2, 3, 4, 5, 6))
    yield Block("text", f"Zones, where shown: {STAND_IN}.")
    warned = tuple(
        f"{recording['name']}: {row['level']}: {row['says']}"
        for recording in diagnose["recordings"]
        for row in recording["quality"]
    )
    if warned:
        yield Block("list", "Quality of the recordings", items=warned)


def _cautions() -> Iterator[Block]:
    yield Block("heading", "Cautions")
    yield Block("list", items=CAUTIONS)


def _sources(survey: dict[str, Any]) -> Iterator[Block]:
    found = dict.fromkeys(line["working"]["source"] for line in survey["lines"] if line["working"])
    yield Block("heading", "Sources")
    yield Block("list", items=tuple(first_up(source) for source in found))


def _signatures() -> Iterator[Block]:
    yield Block("heading", "Signed")
    rows = tuple((role, "", "", "") for role in ("technician, proposes", "approver, accepts", "owner, receives"))
    yield Block("table", head=("role", "name", "date", "signature"), rows=rows, wide=(1.6, 2, 1, 2.4), tall=True)


def _overall(figures: dict[str, Any]) -> str:
    if figures["overall_velocity_mm_s"] is None:
        return ""
    zone = f" (zone {figures['zone']})" if figures["zone"] else ""
    return f"{figures['overall_velocity_mm_s']:.2f}{zone}"


def _fault(verdict: dict[str, Any]) -> str:
    return FAULT_NAMES[verdict["fault"]]


def _chance(value: float) -> str:
    return "0.0003 or less" if value <= 3e-4 else f"{value:.2g}"


def _noise_words(chance: float) -> str:
    if chance <= 3e-4:
        return "Noise alone does this in fewer than 3 of 10,000 recordings."
    return f"Noise alone does this in about {chance:.2g} of recordings."


def _attribution_words(chance: float) -> str:
    return f"That the lines are real but come from elsewhere has a chance of about 1 in {max(round(1 / chance), 1)}."


def _unit(unit: str) -> str:
    """As engineers write it."""
    return re.sub(r"(?<=s)2\b", "²", unit)


def first_up(text: str) -> str:
    return text[:1].upper() + text[1:]
