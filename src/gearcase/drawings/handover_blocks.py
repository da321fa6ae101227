"""What the owner gets as blocks: the handover, and the sheet of questions for the site."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.block import ON_EACH_PAGE, Block, Report, first_up
from gearcase.drawings.diagnose_blocks import (
    answer_note,
    attribution_words,
    fault_words,
    noise_words,
    plot_blocks,
    recording_blocks,
    verdict_blocks,
)
from gearcase.drawings.picture_blocks import picture_blocks
from gearcase.drawings.plan_blocks import plan_section
from gearcase.drawings.survey_blocks import (
    coverage_blocks,
    line_blocks,
    measurement_blocks,
    most_pressing_first,
    source_blocks,
    unknown_blocks,
)
from gearcase.drawings.train import faulty_parts, train_svg
from gearcase.install.cautions import DEFERS, Condition, Step, cautions
from gearcase.judge.advice import inspect_within_days

__all__ = [
    "ask_for_blocks",
    "handover_blocks",
]

_ADVICE = (
    "This is advice and record, not a protection system: nothing here trips the drive. The standard's TRIP level, where shown, "
    "is not wired."
)
_LOOKING = frozenset({Condition.ROTATING_PARTS, Condition.HOT_SURFACE})  # what a person who only looks meets on any drive
_NOT_PLANNED = _LOOKING | {
    Condition.BACKSTOP,
    Condition.CONVERTER,
    Condition.DRILLING,
    Condition.BONDING,
    Condition.OIL_OPENED,
    Condition.MAINS,
}  # what may be met where no plan says
_LOOKING_STEPS = (Step.ISOLATE, Step.PREPARE, Step.RUN)
_MATURITY = {  # as `judge.advice` counts it
    1: "an early sign, lines that hardly stand out",
    2: "the lines of the fault stand clear",
    3: "with sidebands and many multiples",
    4: "the noise about the lines rises as well",
}
_MARKED = "Questions marked ■ stop ordering until they are answered. "


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
    trend: dict[str, Any] | None,
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
        *_for_the_owner(survey, diagnose, trend, stale, tuple(standing)),
        *coverage_blocks(survey),
        *picture_blocks(survey, after_cover=True),
        *verdict_blocks(diagnose),
        *plot_blocks(survey, diagnose, arrays),
        *plan_section(plan),
        *installed,
        *line_blocks(survey),
        *measurement_blocks(survey),
        *unknown_blocks(survey),
        *recording_blocks(diagnose),
        *_cautions(plan),
        *source_blocks(survey),
        *_signatures(),
        *left_behind,
    ]
    return Report(
        title=title,
        subtitle="Condition of the drive as recorded: handover",
        facts=facts,
        title_block=tuple(fact for fact in facts if fact[0] in ON_EACH_PAGE),
        cover_note=answer_note(diagnose, survey),
        cover_svg=train_svg(survey["drive"], faulty_parts(survey["drive"], diagnose["verdicts"] if diagnose else ())),
        blocks=tuple(blocks),
    )


def ask_for_blocks(*, title: str, site: Mapping[str, Any], survey: dict[str, Any]) -> Report:
    """The sheet of questions for the site, to be printed and filled in by hand."""
    questions = most_pressing_first(survey)
    rows = tuple((("■ " if row["blocks_ordering"] else "") + row["what"], row["why"], "") for row in questions)
    blocks = (
        Block(
            "text",
            f"Please answer before the visit. {_MARKED if any(row['blocks_ordering'] for row in questions) else ''}Write "
            "“not known” rather than a guess; a photo with a rule in view is worth more than a sentence.",
        ),
        Block("table", head=("what", "why it matters", "answer"), rows=rows, wide=(3.2, 2.6, 3.2), tall=True),
        Block("text", "Answered by, date:  ______________________________________"),
        Block("list", "Before you look", items=_before_looking()),
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


def _for_the_owner(
    survey: dict[str, Any],
    diagnose: dict[str, Any] | None,
    trend: dict[str, Any] | None,
    stale: tuple[str, ...],
    standing: tuple[tuple[str, str], ...],
) -> Iterator[Block]:
    yield Block("heading", "For the owner")
    yield answer_note(diagnose, survey)
    if stale:
        yield Block("note", "Older than the job", items=stale, state="action")
    blind = [row["component"] for row in survey["coverage"] if row["grade"] == "blind"]
    weak = [row["component"] for row in survey["coverage"] if row["grade"] == "seen weakly"]
    if diagnose is not None:
        for verdict in diagnose["verdicts"]:
            yield Block(
                "table",
                head=("", first_up(f"{fault_words(verdict)} of {verdict['component']}")),
                rows=tuple(_summary(verdict, trend)),
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


def _summary(verdict: dict[str, Any], trend: dict[str, Any] | None) -> Iterator[tuple[str, str]]:
    yield (
        "What",
        (
            f"{_what(verdict)} stand out of the vibration recorded at "
            f"{verdict['point'] or 'an unnamed point'} ({verdict['recording']})."
        ),
    )
    yield "How sure", f"{noise_words(verdict['noise_false_alarm'])} {attribution_words(verdict['attribution_false_alarm'])}"
    twins = [rival["name"] for rival in verdict["rivals"] if rival["why"].startswith("its rate")]
    if twins:
        yield "Or else", f"Frequency alone cannot tell it from: {'; '.join(twins)}."
    growth = verdict.get("growth_db")
    grown = "" if growth is None else f" It has grown by {growth:.0f} dB since the first recording of this point in this state."
    stage = verdict["maturity"]
    mature = "" if stage is None else f"Maturity {stage} of 4: {_MATURITY[stage]}. "
    yield "How bad", f"{mature}Vibration on the housing never gives the size of a fault.{grown}"
    yield "Act", first_up(f"{verdict['urgency']}.{_sooner(verdict, trend)}")
    yield "Next", first_up("; ".join(verdict["advice"])) + "."


def _sooner(verdict: dict[str, Any], trend: dict[str, Any] | None) -> str:
    """By when to inspect, where the trend of the fault's own lines asks for it sooner than the verdict; empty where it does not."""
    own = (verdict["point"], verdict["component"], f"modulation of {verdict['fault'].replace('_', ' ')} lines")
    for row in trend["series"] if trend else ():
        ahead = row["forecast"]
        if (row["point"], row["component"], row["quantity"]) != own or not ahead or not ahead["inspect_by"]:
            continue
        left = datetime.fromisoformat(ahead["inspect_by"]) - datetime.fromisoformat(row["until"])
        if left.days < inspect_within_days(verdict["urgency"]):
            return f" Sooner by its trend, with records up to {row['until'][:10]}: inspect by {ahead['inspect_by'][:10]}."
    return ""


def _what(verdict: dict[str, Any]) -> str:
    if not verdict.get("signs", ()):
        return f"Lines of the {fault_words(verdict).replace(' fault', '')}"
    needed = [sign["name"] for sign in verdict.get("signs", ()) if sign["role"] == "needed"]
    return f"The signs of {fault_words(verdict)} ({'; '.join(needed)})"


def _before_looking() -> tuple[str, ...]:
    return (*(one.says for one in cautions(_LOOKING) if one.step in _LOOKING_STEPS), DEFERS)


def _cautions(plan: dict[str, Any] | None) -> Iterator[Block]:
    """Those of the plan; without one, those of whatever may be met."""
    said = [row["says"] for row in plan["cautions"]["list"]] if plan else [one.says for one in cautions(_NOT_PLANNED)]
    yield Block("heading", "Cautions")
    yield Block("list", items=(*said, DEFERS, _ADVICE))


def _signatures() -> Iterator[Block]:
    yield Block("heading", "Signed")
    rows = tuple((role, "", "", "") for role in ("technician, proposes", "approver, accepts", "owner, receives"))
    yield Block("table", head=("role", "name", "date", "signature"), rows=rows, wide=(1.6, 2, 1, 2.4), tall=True)
