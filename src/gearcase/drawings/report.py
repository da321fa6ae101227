"""Reports as PDF (typst) and as one self-contained web page (jinja), both laid out from the same blocks."""

import base64
import json
import re
from collections.abc import Iterator
from typing import Any, Literal

import jinja2

from gearcase.drawings.asbuilt import fit_blocks
from gearcase.drawings.block import Block, Report, first_up
from gearcase.drawings.handover_blocks import ask_for_blocks, handover_blocks
from gearcase.drawings.installed import baseline_blocks, controls_blocks, prove_blocks, watch_blocks
from gearcase.drawings.labels import label_blocks, labels_of
from gearcase.drawings.opened_blocks import opened_blocks
from gearcase.drawings.plant_sheet import plant_blocks
from gearcase.drawings.trend_blocks import trend_blocks
from gearcase.drawings.typeset import HOME, typeset
from gearcase.stages.fit import built_serials
from gearcase.stages.handover import Content

__all__ = [
    "ask_for_sheet_html",
    "ask_for_sheet_pdf",
    "handover_html",
    "handover_pages",
    "handover_pdf",
    "report_html",
    "report_pdf",
]

_LONG_WORD, _BREAK = re.compile(r"[^\s-]{29,}"), "\u200b"  # zero-width space: a line may end here; at hyphens it may anyway
_FACES = (
    ("Inter", 400, "inter-0.4.2/Inter_400Regular.ttf"),
    ("Inter", 600, "inter-0.4.2/Inter_600SemiBold.ttf"),
)


def handover_pdf(content: Content) -> bytes:
    """The handover as PDF."""
    return report_pdf(_handover(content))


def handover_pages(content: Content, *, dots_per_inch: float) -> list[bytes]:
    """The pages of the handover as PNG pictures."""
    made = _typeset(_handover(content), "png", dots_per_inch)
    return made if isinstance(made, list) else [made]


def handover_html(content: Content) -> str:
    """The same as one HTML file that needs nothing else."""
    return report_html(_handover(content))


def ask_for_sheet_pdf(title: str, site: dict[str, Any], survey: dict[str, Any]) -> bytes:
    """The questions for the site, to be printed.

    Parameters
    ----------
    title : str
        Of the job.
    site : dict
        The job's site.
    survey : dict
        A ``survey/1`` document.
    """
    return report_pdf(ask_for_blocks(title=title, site=site, survey=survey))


def ask_for_sheet_html(title: str, site: dict[str, Any], survey: dict[str, Any]) -> str:
    """The same as one HTML file."""
    return report_html(ask_for_blocks(title=title, site=site, survey=survey))


def _handover(content: Content) -> Report:
    """The report with what other rooms lay out: as built, proved, limits, watched, and the sheets left behind."""
    parts = dict(vars(content))
    names = ("fit", "prove", "baseline", "watch", "trend", "opened", "publish")
    fit, prove, baseline, watch, trend, opened, publish = (parts.pop(name) for name in names)
    installed = [
        *(fit_blocks(fit) if fit else ()),
        *(prove_blocks(prove) if prove else ()),
        *(baseline_blocks(baseline) if baseline else ()),
        *(watch_blocks(watch) if watch else ()),
        *(trend_blocks(trend, content.arrays) if trend else ()),
        *(opened_blocks(opened) if opened else ()),
    ]
    carried_out = {"as built": fit, "proved": prove, "limits": baseline, "watched": watch, "trend": trend, "opened": opened}
    standing = [(name, first_up(document["statement"])) for name, document in carried_out.items() if document]
    tag = str(content.site.get("drive_tag") or content.title)
    left_behind = [*(plant_blocks(publish) if publish else ())]
    left_behind += [*_left_behind(tag, content.plan, fit)] if content.plan and fit else []
    return handover_blocks(**parts, trend=trend, standing=standing, installed=installed, left_behind=left_behind)


def _left_behind(job: str, plan: dict[str, Any], fit: dict[str, Any]) -> Iterator[Block]:
    """Register map and labels of the devices that were fitted."""
    yield from controls_blocks(plan["bus"]["devices"], baud=plan["bus"]["baud"], own=plan["bus"].get("profiles", {}))
    cables = {row["device"]: row["cable"] for row in plan["cables"] if row["cable"]}
    serials = built_serials(fit)
    devices = [
        {**row, "serial": serials.get(row["name"], ""), "cable": cables.get(row["name"], "")} for row in plan["bus"]["devices"]
    ]
    if len({row["address"] for row in devices}) == len(devices):  # else two labels could not be told apart, and the plan is blocked
        yield from label_blocks(labels_of(job, devices))


def report_pdf(report: Report) -> bytes:
    """Any report as PDF."""
    made = _typeset(report, "pdf", None)
    assert isinstance(made, bytes)
    return made


def _typeset(report: Report, form: Literal["pdf", "png"], dots_per_inch: float | None) -> bytes | list[bytes]:
    source = (HOME / "templates" / "report.typ").read_text(encoding="utf-8")
    return typeset(source, {"report.json": json.dumps(_breakable(report.as_dict()))}, form, dots_per_inch)


def _breakable(part: Any) -> Any:
    """The same data, with places to break in words too long for a line; drawings, being markup, stay as they are."""
    if isinstance(part, str):
        return _LONG_WORD.sub(lambda word: _BREAK.join(word[0][n : n + 8] for n in range(0, len(word[0]), 8)), part)
    if isinstance(part, dict):
        return {key: value if key.endswith("svg") else _breakable(value) for key, value in part.items()}
    return [_breakable(one) for one in part] if isinstance(part, list | tuple) else part


def report_html(report: Report) -> str:
    """Any report as one HTML file that needs nothing else."""
    loader = jinja2.FunctionLoader(lambda name: (HOME / "templates" / name).read_text(encoding="utf-8"))
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    faces = [
        {"family": family, "weight": weight, "data": base64.b64encode((HOME / "fonts" / name).read_bytes()).decode()}
        for family, weight, name in _FACES
    ]
    return environment.get_template("report.html").render(report=report.as_dict(), faces=faces)
