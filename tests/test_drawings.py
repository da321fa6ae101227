"""Labels have the room they need and nothing runs through them; reports of hand-made documents keep all their words.

What a letter takes is checked against the shipped font itself, measured by an imaging library.
"""

import io
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from gearcase.drawings.block import amount
from gearcase.drawings.flags import Flag
from gearcase.drawings.plots import spectrum_sheet
from gearcase.drawings.report import ask_for_sheet_pdf, handover_html, handover_pdf
from gearcase.drawings.svg import Sheet, text_width, wrap
from gearcase.drawings.text import diagnose_text
from gearcase.drawings.train import faulty_parts, train_sheet, train_svg
from gearcase.job.build import load
from gearcase.stages import survey
from gearcase.stages.handover import Content

ROOT = Path(__file__).parents[1]
FONTS = ROOT / "src" / "gearcase" / "drawings" / "fonts" / "inter-0.4.2"
FACES = {
    400: ImageFont.truetype(FONTS / "Inter_400Regular.ttf", 1000),
    600: ImageFont.truetype(FONTS / "Inter_600SemiBold.ttf", 1000),
}
PRINTABLE = "".join(map(chr, range(32, 127))) + "äéß²°×·–—…→↻↺■µΩ"
SVG_TEXT = "{http://www.w3.org/2000/svg}text"
WORDS = st.text(st.sampled_from(PRINTABLE), max_size=60)


@pytest.mark.parametrize("weight", FACES)
@pytest.mark.parametrize("letter", PRINTABLE)
def test_no_letter_is_wider_in_the_font_than_labels_allow_for(letter: str, weight: int) -> None:
    assert FACES[weight].getlength(letter) <= 1000 * text_width(letter, 1.0, weight)


@given(text=WORDS, width=st.floats(20, 400), weight=st.sampled_from([400, 600]))
def test_wrapped_labels_stay_within_their_room_and_keep_their_beginning(text: str, width: float, weight: int) -> None:
    lines = wrap(text, width, 11, weight=weight)
    assert len(lines) <= 3
    assert all(text_width(line, 11, weight) <= width for line in lines)
    if lines and lines[0] != "…":
        assert text.split()[0].startswith(lines[0].rstrip("…").split(" ")[0].rstrip("…"))


def runs_through_a_label(sheet: Sheet) -> list[tuple[float, float]]:
    """Upright strokes with a label across them."""
    found = []
    for part in sheet.parts:
        ends = re.match(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="\1" y2="([\d.]+)"', part)
        if ends:
            x, *ys = map(float, ends.groups())
            found += [
                (x, box.top) for box in sheet.labels if box.left < x < box.right and min(ys) < box.bottom and box.top < max(ys)
            ]
    return found


def overlapping(sheet: Sheet) -> list[Any]:
    return [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]


@given(places=st.lists(st.tuples(st.floats(1, 500), st.booleans(), st.sampled_from(["1x", "low-speed mesh 2x", "WIDE NAME " * 4]))))
def test_flags_of_any_spacing_neither_lie_on_nor_run_through_each_other(places: list[tuple[float, bool, str]]) -> None:
    flags = [Flag(hz, name, found) for hz, found, name in places]
    sheet = spectrum_sheet(np.linspace(0, 500, 50), np.ones(50), flags, x_label="frequency, Hz", y_label="m/s²", highest=500)
    assert not overlapping(sheet)
    assert not runs_through_a_label(sheet)
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 for box in sheet.labels)


def shaft(name: str, end: str = "none", order: float | None = 1.0) -> dict[str, Any]:
    return {"name": name, "end": end, "order": order, "hz": None if order is None else 24.75 * abs(order)}


def mesh(name: str, pinion: str, wheel: str, teeth: tuple[int | None, int | None]) -> dict[str, Any]:
    return {"name": name, "pinion_shaft": pinion, "wheel_shaft": wheel, "pinion_teeth": teeth[0], "wheel_teeth": teeth[1]}


def bearing(name: str, on: str, known: bool = True) -> dict[str, Any]:
    return {"name": name, "shaft": on, "turning": "inner", "designation": "", "geometry_known": known}


def drive(shafts: list[dict[str, Any]], meshes: list[dict[str, Any]], prefix: str = "bearing") -> dict[str, Any]:
    return {
        "name": "drive",
        "reference_shaft": shafts[0]["name"],
        "rated_speed_hz": 24.75,
        "speed_range_hz": [24.75, 24.75],
        "shafts": shafts,
        "meshes": meshes,
        "bearings": [bearing(f"{prefix} {end}", one["name"], end == "left") for one in shafts for end in ("left", "right")],
        "ratings": {"ratio": 20.1},
    }


DRIVES = {
    "a test rig": drive([shaft("rotor")], []),
    "only a ratio": drive([shaft("in", "input"), shaft("out", "output", None)], []),
    "two wheels on one pinion shaft": drive(
        [shaft("in", "input"), shaft("upper", "output", -0.25), shaft("lower", "output", -0.2)],
        [mesh("first", "in", "upper", (20, 80)), mesh("second", "in", "lower", (20, 100))],
    ),
    "a speed increaser": drive([shaft("in", "input"), shaft("out", "output", -5.0)], [mesh("only", "out", "in", (17, 85))]),
    "three stages, long capital names": drive(
        [
            shaft("MAIN INPUT SHAFT OF THE MILL WITH A LONG NAME", "input"),
            shaft("FIRST INTERMEDIATE SHAFT", order=-0.3),
            shaft("SECOND INTERMEDIATE SHAFT", order=0.1),
            shaft("LOW-SPEED WHEEL SHAFT", "output", None),
        ],
        [
            mesh(
                "HIGH-SPEED HELICAL MESH WWW", "MAIN INPUT SHAFT OF THE MILL WITH A LONG NAME", "FIRST INTERMEDIATE SHAFT", (19, 63)
            ),
            mesh("MIDDLE MESH", "FIRST INTERMEDIATE SHAFT", "SECOND INTERMEDIATE SHAFT", (21, 63)),
            mesh("LAST MESH", "SECOND INTERMEDIATE SHAFT", "LOW-SPEED WHEEL SHAFT", (23, None)),
        ],
        prefix="SPHERICAL ROLLER BEARING WITH ADAPTER SLEEVE, MOUNTED",
    ),
    "hostile names": drive(
        [shaft("<b>&amp;", "input"), shaft("]]> #let \x00\x1b", "output", -0.5)],
        [mesh("\"'", "<b>&amp;", "]]> #let \x00\x1b", (20, 40))],
    ),
}


def test_what_a_verdict_names_is_marked_whatever_kind_of_part_it_is() -> None:
    """Bearings by their fault, teeth by their shaft and mesh, a shaft by its name; a sensor is no part of the drive."""
    two = DRIVES["two wheels on one pinion shaft"]
    shaft, mesh, bearing = (two[kind][0]["name"] for kind in ("shafts", "meshes", "bearings"))
    said = (
        ({"component": bearing, "fault": "outer_race"}, {bearing}),
        ({"component": f"teeth on {shaft}, in {mesh}", "fault": "tooth crack or chip"}, {shaft, mesh}),
        ({"component": shaft, "fault": "unbalance"}, {shaft}),
        ({"component": f"{bearing} axial", "fault": "sensor fault"}, set()),
    )
    for verdict, parts in said:
        assert faulty_parts(two, [verdict]) == parts
    words = ["".join(text.itertext()) for text in ElementTree.fromstring(train_svg(two, {shaft, mesh})).iter(SVG_TEXT)]
    assert sum("fault" in word for word in words) >= 2


@pytest.mark.parametrize("name", DRIVES)
def test_every_drive_is_drawn_with_its_labels_apart_and_on_the_sheet(name: str) -> None:
    sheet = train_sheet(DRIVES[name])
    assert not overlapping(sheet)
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 and box.bottom <= sheet.height for box in sheet.labels)
    for part in sheet.parts:
        if shape := re.match(r'<rect x="([-.\d]+)" y="([-.\d]+)" width="([.\d]+)" height="([.\d]+)"', part):
            x, y, wide, high = map(float, shape.groups())
            assert x >= 0 and y >= 0 and x + wide <= sheet.width and y + high <= sheet.height
    words = ["".join(text.itertext()) for text in ElementTree.fromstring(train_svg(DRIVES[name])).iter(SVG_TEXT)]
    for one in DRIVES[name]["meshes"]:
        assert str(one["pinion_teeth"]) in words and str(one["wheel_teeth"] or "?") in words
    assert train_svg(DRIVES[name]) == train_svg(DRIVES[name])


def test_the_sense_of_turning_is_told_against_the_stated_shaft_only_where_there_is_another() -> None:
    assert "↺ the other way" in train_svg(DRIVES["a speed increaser"])
    assert "the other way" not in train_svg(DRIVES["a test rig"])


def test_a_drive_of_which_only_the_ratio_is_known_says_so() -> None:
    assert "ratio 20.1" in train_svg(DRIVES["only a ratio"]) and "gears unknown" in train_svg(DRIVES["only a ratio"])


EVIDENCE = [{"line": f"{n}x outer race", "expected_hz": 38.67 * n, "found_hz": 38.5 * n, "snr_db": 20.0 - n} for n in (1, 2, 4, 5)]
MASKED = {"line": "3x outer race", "expected_hz": 116.01, "found_hz": None, "snr_db": None, "why": "stands on a line of a shaft"}
VERDICT = {
    "component": "intermediate bearing, left",
    "fault": "outer_race",
    "recording": "a.wav",
    "point": "intermediate left",
    "noise_false_alarm": 0.0002,
    "attribution_false_alarm": 0.03,
    "maturity": 2,
    "urgency": "plan and verify: order parts, act within 1 to 3 months",
    "strength_db": 30.3,
    "growth_db": None,
    "modulation_depth": 0.25,
    "sidebands_found": 0,
    "evidence": EVIDENCE,
    "rivals": [{"name": "a pump nearby", "why": "gives lines of the same shape", "separated_by": "stop the pump"}],
    "advice": ["record again at the same point"],
}
RECORDING = {
    "name": "a.wav",
    "sha256": "0" * 64,
    "point": "intermediate left",
    "unit": "m/s2",
    "sample_rate_hz": 12800.0,
    "duration_s": 20.0,
    "speed_hz": 24.6,
    "speed_from": "stated",
    "quality": [{"level": "warning", "rule": "clipping", "where": "a.wav", "says": "three samples stand at the limit"}],
    "indicators": {"rms": 1.4, "peak": 6.0, "crest_factor": 4.3, "kurtosis": 3.1, "overall_velocity_mm_s": None, "zone": None},
}
DIAGNOSIS = {
    "statement": "a fault is seen",
    "clean": False,
    "cannot_tell": [],
    "unexplained": [],
    "verdicts": [VERDICT],
    "not_testable": [{"component": "output bearing, right", "fault": "any", "why": "its geometry is unknown"}],
    "recordings": [RECORDING],
}


@pytest.fixture(scope="module")
def content() -> Content:
    hz = np.linspace(0, 2000, 4001)
    return Content(
        title="Conveyor CV-204",
        site={"name": "Hollin Ridge quarry (invented)", "drive_tag": "CV-204"},
        date="2026-09-08",
        who="A. Tester",
        run=3,
        checksum="0123456789ab",
        survey=survey.run(load(ROOT / "examples" / "demo")).document,
        plan=None,
        fit=None,
        prove=None,
        baseline=None,
        watch=None,
        trend=None,
        opened=None,
        publish=None,
        diagnose=DIAGNOSIS,
        arrays={"spectrum-0": {"hz": hz, "amplitude": np.ones(4001)}, "envelope-0": {"hz": hz / 4, "snr_db": np.zeros(4001)}},
        stale=(),
    )


def pages(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def below_the_sheet(pdf: bytes) -> list[str]:
    """Pieces of text that stand beyond the lower edge of their page, where nobody sees them."""
    lost: list[str] = []

    def visit(words: str, around: list[float], own: list[float], *_: object) -> None:
        if words.strip() and around[5] + around[3] * own[5] < 0:
            lost.append(words)

    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=visit)
    return lost


def test_evidence_rivals_and_what_is_not_explained_stand_on_one_page(content: Content) -> None:
    (page,) = [page for page in pages(handover_pdf(content)) if "Verdicts and their evidence" in page]
    for words in (
        "5x outer race",
        "a pump nearby",
        "stop the pump",
        "Lines not explained by this drive None.",
        "Could not be tested",
    ):
        assert words in page, words


def test_each_page_names_job_run_date_checksum_and_its_number(content: Content) -> None:
    text = pages(handover_pdf(content))
    for number, page in enumerate(text, start=1):
        for words in ("Conveyor CV-204", "run 0003", "2026-09-08", "0123456789ab"):
            assert words in page, (number, words)
        assert number == 1 or f"{number} of {len(text)}" in page


def test_peaks_of_a_named_fault_that_are_no_evidence_are_named_too(content: Content) -> None:
    html = handover_html(content)
    assert "intermediate bearing, left: 1x outer race" in html
    assert ">3x, not counted<" in html and ">4x, not counted<" not in html


def test_a_line_that_could_not_be_looked_for_is_told_with_its_reason_and_drawn_nowhere(content: Content) -> None:
    shown = {**VERDICT, "evidence": [EVIDENCE[0], EVIDENCE[1], MASKED, EVIDENCE[2]]}
    found = {**DIAGNOSIS, "verdicts": [shown]}
    html = handover_html(replace(content, diagnose=found))
    assert "3x outer race: stands on a line of a shaft." in html and ">3x, not counted<" in html
    assert re.search(r"3x outer race +116\.01 +- +- stands on a line of a shaft", diagnose_text({**found, "recordings": []}))


def test_the_line_table_gives_every_multiple_of_every_line(content: Content) -> None:
    whole = " ".join(pages(handover_pdf(content)))
    for line in content.survey["lines"]:
        assert line["kind"] == "sideband" or f"{line['hz']:.3f}" in whole, line["name"]


def test_quality_findings_are_shown_and_units_are_written_as_engineers_do(content: Content) -> None:
    whole = " ".join(pages(handover_pdf(content)))
    assert "three samples stand at the limit" in whole and "1.4 m/s²" in whole


@pytest.mark.parametrize("words", [40, 2000], ids=["a long cell", "a cell longer than a page"])
def test_no_words_are_cut_however_long_a_cell_is(content: Content, words: int) -> None:
    rows = [{**content.survey["coverage"][0], "why": "words " * words + "thelastword"}]
    pdf = handover_pdf(replace(content, survey={**content.survey, "coverage": rows}))
    whole = " ".join(pages(pdf))
    assert not below_the_sheet(pdf)
    assert "thelastword" in whole and whole.count("words words") >= words // 4


def test_a_survey_without_questions_is_laid_out_too(content: Content) -> None:
    document = {**content.survey, "unknown": [], "coverage": []}
    assert any("Still unknown" in page for page in pages(handover_pdf(replace(content, survey=document))))
    assert pages(ask_for_sheet_pdf("job", {}, document))


def test_questions_that_stop_ordering_come_first_on_the_sheet() -> None:
    demo = load(ROOT / "examples" / "demo")
    document = survey.run(replace(demo, network=None, power=replace(demo.power, branch=None))).document
    (page,) = pages(ask_for_sheet_pdf("job", {}, document))
    stops = [row["what"][:20] for row in document["unknown"] if row["blocks_ordering"]]
    others = [row["what"][:20] for row in document["unknown"] if not row["blocks_ordering"]]
    assert stops and others
    assert max(page.index(one) for one in stops) < min(page.index(one) for one in others)


def test_words_too_long_for_a_line_are_broken_and_names_that_fit_are_not(content: Content) -> None:
    name = "abcdefgh" * 20
    cover = pypdf.PdfReader(io.BytesIO(handover_pdf(replace(content, title=name, who="2026-09-intermediate-l.wav")))).pages[0]
    text = cover.extract_text()
    assert max(len(line) for line in text.splitlines() if "abcdefgh" in line) < 60
    assert len(re.findall("abcdefgh", text)) >= 40 and "2026-09-intermediate-l.wav" in text


def test_the_cover_keeps_its_drawing_large_enough_to_read_however_long_the_words(content: Content) -> None:
    long = replace(content, title="long " * 60, who="name " * 60, site={"name": "site " * 60, "drive_tag": "tag " * 60})
    sizes = []

    def visit(words: str, around: list[float], own: list[float], _: object, size: float) -> None:
        if "↻" in words:  # only the drawing has these
            sizes.append(abs(size * own[3] * around[3]))

    pypdf.PdfReader(io.BytesIO(handover_pdf(long))).pages[0].extract_text(visitor_text=visit)
    assert sizes and min(sizes) >= 4.5  # as printed. [pt]


@pytest.mark.parametrize(
    ("value", "unit", "spread", "read"),
    [
        (10.05762, "Ω", 0.027, "10.058 ± 0.027 Ω"),  # JCGM 100:2008, 7.2.6, its own example
        (9.89313, "m", 0.0, "9.8931 m"),  # read in m from 1 m on; the rest by hand
        (0.0063541, "m", 0.0, "6.3541 mm"),
        (0.0028, "m/s", 0.0, "2.8 mm/s"),
        (5e-7, "s", 0.0, "0.5 µs"),
        (131072.0, "-", 0.0, "131072"),
        (28451.23, "N", 0.0, "28451 N"),
        (0.226893, "rad", 0.0, "13°"),
    ],
)
def test_an_amount_is_read_in_the_unit_and_digits_that_people_use(value: float, unit: str, spread: float, read: str) -> None:
    assert amount({"value": value, "unit": unit, "spread": spread}) == read
