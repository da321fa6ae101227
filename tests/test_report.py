"""What a reader gets: the PDF's words on their pages, drawings whose labels do not lie on each other, a page that needs nothing
else.
"""

import io
import re
import xml.etree.ElementTree as ElementTree
from itertools import combinations
from pathlib import Path
from typing import Any

import pypdf
import pytest

from gearcase.checksums import sha256_of_data
from gearcase.drawings.report import ask_for_sheet_html, ask_for_sheet_pdf, handover_html, handover_pdf
from gearcase.drawings.svg import Sheet
from gearcase.drawings.text import diagnose_text, survey_text
from gearcase.drawings.train import train_sheet, train_svg
from gearcase.job.build import build, load
from gearcase.job.read import parse_text
from gearcase.stages import diagnose, handover, survey
from test_stages import EXAMPLES, recorded

HOSTILE = '<script>alert("x")</script> & #let x = 1 $y$ @z \\ " \' ‮ very ' + "long " * 20


@pytest.fixture(scope="module")
def content() -> handover.Content:
    job = load(EXAMPLES / "demo")
    found = diagnose.run(job, [recorded(job, impact=5.0)])
    results = {
        "survey": handover.Earlier(1, survey.run(job).document, {}, ()),
        "diagnose": handover.Earlier(1, found.document, found.arrays, ()),
    }
    return handover.run(job, results, who="A. Tester", date="2026-11-25", number=3, checksum=sha256_of_data)[1]


def pages(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def test_the_handover_says_the_answer_on_its_cover_and_what_it_rests_on_behind(content: handover.Content) -> None:
    text = pages(handover_pdf(content))
    assert "Conveyor CV-204" in text[0] and "Abnormal: a fault is seen" in text[0]
    assert (
        "For the owner" in text[1] and "fewer than 3 of 10,000" in text[1] and "Not seen at all: output bearing, right" in text[1]
    )
    whole = " ".join(text)
    for words in (
        "1x outer race",
        "Lines not explained by this drive",
        "Could not be tested",
        "f_m = z x f_shaft",
        "nameplate, job.yaml:",
        "a source not on this drive",
        "Advice and record, not a protection system",
        "lock out",
        "licensed electrician",
        "approver, accepts",
    ):
        assert words in whole, words
    assert all("run 0003" in page for page in text)


def test_a_nameplate_that_the_tooth_counts_exclude_is_said_on_the_cover_and_first_in_the_survey() -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    assert "ratio: 20.0" in text and survey.run(build(parse_text(text), folder="job")).document["contradictions"] == []
    job = build(parse_text(text.replace("ratio: 20.0", "ratio: 22.4")), folder="job")
    surveyed = survey.run(job)
    (row,) = surveyed.document["contradictions"]
    assert "the nameplate 22.4: one of them is wrong" in row["says"] and row["where"].startswith("job.yaml:")
    assert row["says"] in survey_text(surveyed.document).splitlines()[1]
    assert any(row["says"] in question["what"] for question in surveyed.document["unknown"])
    for diagnosed in ({}, {"diagnose": diagnose.run(job, [recorded(job)])}):
        results = {"survey": surveyed, **diagnosed}
        earlier = {stage: handover.Earlier(1, result.document, result.arrays, ()) for stage, result in results.items()}
        result, content = handover.run(job, earlier, who="", date="2026-11-25", number=1, checksum=sha256_of_data)
        assert result.document["contradictions"] == [row["says"]]
        cover, owner, *_ = pages(handover_pdf(content))
        assert "Open contradiction" in cover and "the nameplate 22.4" in cover and "Open contradiction" in owner


def test_the_web_page_says_the_same_and_needs_nothing_else(content: handover.Content) -> None:
    html = handover_html(content)
    assert "Abnormal: a fault is seen" in html and "Lines not explained by this drive" in html
    assert not re.search(r'(?:src|href)\s*=\s*["\']?\s*(?:https?:)?//', html)
    assert "<script" not in html


def test_no_words_of_a_job_become_markup(content: handover.Content) -> None:
    from dataclasses import replace

    hidden = [{"component": HOSTILE, "kind": "bearing", "grade": "blind", "why": HOSTILE, "point": ""}]
    survey_document = {**content.survey, "drive": {**content.survey["drive"], "name": HOSTILE}, "coverage": hidden}
    changed = replace(content, title=HOSTILE, site={"name": HOSTILE, "drive_tag": HOSTILE}, survey=survey_document, who=HOSTILE)
    html = handover_html(changed)
    assert "<script" not in html and "&lt;script&gt;" in html
    assert any('<script>alert("x")</script>' in page for page in pages(handover_pdf(changed)))


def test_a_clean_drive_is_never_called_healthy() -> None:
    job = load(EXAMPLES / "demo")
    found = diagnose.run(job, [recorded(job)])
    results = {
        "survey": handover.Earlier(1, survey.run(job).document, {}, ()),
        "diagnose": handover.Earlier(1, found.document, found.arrays, ()),
    }
    clean = handover.run(job, results, who="", date="2026-11-25", number=1, checksum=sha256_of_data)[1]
    text = " ".join(pages(handover_pdf(clean)))
    assert "No fault seen in what can be seen" in text
    assert "healthy" not in text.lower()


@pytest.mark.parametrize(("by", "said"), [("2026-12-24", True), ("2027-02-24", False)])
def test_the_owner_is_told_where_the_trend_asks_for_more_haste_than_the_verdict(
    content: handover.Content, by: str, said: bool
) -> None:
    """The verdict says 1 to 3 months: 28 days from the last record are sooner, 90 are not."""
    from gearcase.drawings.handover_blocks import _summary

    assert content.diagnose is not None
    (verdict,) = content.diagnose["verdicts"]
    row = {
        "point": verdict["point"],
        "component": verdict["component"],
        "quantity": "modulation of outer race lines",
        "until": "2026-11-26T09:00:00+00:00",
        "forecast": {"inspect_by": f"{by}T09:00:00+00:00"},
    }
    act = dict(_summary(verdict, {"series": [{**row, "component": "another", "forecast": None}, row]}))["Act"]
    sooner = "Sooner by its trend, with records up to 2026-11-26: inspect by 2026-12-24."
    assert act == "Plan and verify: order parts, act within 1 to 3 months." + (f" {sooner}" if said else "")


def test_a_handover_without_recordings_says_so(content: handover.Content) -> None:
    from dataclasses import replace

    text = pages(handover_pdf(replace(content, diagnose=None, arrays={})))
    assert "No recording has been judged" in text[0]


def test_the_sheet_of_questions_is_one_page_with_every_question(content: handover.Content) -> None:
    (page,) = pages(ask_for_sheet_pdf("job", {"name": "site"}, content.survey))
    for row in content.survey["unknown"]:
        assert row["what"].split(":")[0][:25] in page
    assert "answer" in ask_for_sheet_html("job", {}, content.survey)


TRAINS = {
    "one shaft": "  shafts: [{name: shaft}]\n",
    "one stage": "  shafts: [{name: shaft, end: input}, {name: slow, end: output}]\n"
    "  meshes: [{name: the only mesh there is, pinion: {shaft: shaft, teeth: 20}, wheel: {shaft: slow, teeth: 83}}]\n",
    "three stages, one unknown": "  shafts: [{name: shaft, end: input}, {name: b}, {name: c}, {name: d, end: output}]\n"
    "  meshes:\n"
    "    - {name: first mesh, pinion: {shaft: shaft, teeth: 19}, wheel: {shaft: b, teeth: 73}}\n"
    "    - {name: second mesh, pinion: {shaft: b, teeth: 21}, wheel: {shaft: c, teeth: 83}}\n"
    "    - {name: third mesh, pinion: {shaft: c, teeth: 23}, wheel: {shaft: d, teeth: unknown}}\n",
    "only a ratio": "  nameplate: {ratio: 20.1}\n",
}
BEARINGS = "  bearings:\n" + "".join(f"    - {{name: a bearing with a long name {n}, shaft: shaft}}\n" for n in range(3))


def drawn(text: str) -> tuple[dict[str, Any], Sheet]:
    job = build(parse_text(f"job: 1\ndrive:\n  input: {{shaft: shaft, speed: 1500 rpm}}\n{text}{BEARINGS}"), folder="")
    document = survey.run(job).document["drive"]
    return document, train_sheet(document)


@pytest.mark.parametrize("name", TRAINS)
def test_every_part_of_every_train_is_drawn_and_no_label_lies_on_another(name: str) -> None:
    document, sheet = drawn(TRAINS[name])
    assert not [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]
    assert all(box.left >= 0 and box.right <= sheet.width and box.bottom <= sheet.height for box in sheet.labels)
    words = " ".join(ElementTree.fromstring(train_svg(document)).itertext())
    for mesh in document["meshes"]:
        assert mesh["name"].split()[0] in words and str(mesh["wheel_teeth"] or "?") in words
    assert all(shaft["name"] in words for shaft in document["shafts"])


def test_the_demo_and_its_fault_are_drawn(content: handover.Content) -> None:
    svg = train_svg(content.survey["drive"], ["intermediate bearing, left"])
    assert "intermediate bearing, left: fault" in " ".join("".join(ElementTree.fromstring(svg).itertext()).split())
    assert "fault" not in train_svg(content.survey["drive"])


def test_words_for_a_terminal_begin_with_the_answer(content: handover.Content) -> None:
    assert content.diagnose is not None
    assert diagnose_text(content.diagnose).startswith("intermediate bearing, left: outer race fault")
    assert "lines not explained by this drive" in diagnose_text(content.diagnose)
    assert "still unknown" in survey_text(content.survey)


def test_the_fonts_shipped_are_those_listed() -> None:
    import subprocess
    import sys

    script = Path(__file__).parents[1] / "tools" / "vendor_fonts.py"
    done = subprocess.run([sys.executable, str(script), "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
