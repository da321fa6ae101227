"""A trend on the page: each level drawn in the unit people read, its limit, dates and slope where its document says they are."""

import re
from datetime import UTC, datetime

import numpy as np
import pytest

from gearcase.drawings.pages import stage_blocks
from gearcase.drawings.svg import ACCENT
from gearcase.drawings.trend_figures import trend_figures
from gearcase.job.build import Job, load
from gearcase.stages import trend
from gearcase.stages.result import StageResult
from test_stages import EXAMPLES
from test_trend_stage import LIMITS, diagnosed, life, spall


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


@pytest.fixture(scope="module")
def found(demo: Job) -> StageResult:
    return trend.run(demo, life(44, spall), (), baseline=LIMITS, diagnoses=diagnosed((40, "outer_race", 0.1)))


def figures(found: StageResult) -> dict[str, str]:
    """The SVG of each level, by what is said before it."""
    blocks = list(trend_figures(found.document, found.arrays))
    assert [block.kind for block in blocks] == ["text", "figure"] * (len(blocks) // 2)
    return {said.text: drawn.svg for said, drawn in zip(blocks[::2], blocks[1::2], strict=True)}


def levels(svg: str) -> np.ndarray:
    """The level at a height, as a line through the figures of the axis."""
    marks = [(float(y) - 4, float(says)) for y, says in re.findall(r'<text x="62.0" y="([\d.]+)"[^>]*>(-?[\d.]+)</text>', svg)]
    return np.polyfit(*np.array(marks).T, 1)


def test_each_level_is_drawn_in_the_unit_people_read(found: StageResult) -> None:
    drawn = figures(found)
    assert len(drawn) == 3
    for beginning, label in (
        ("High-frequency acceleration at input coupling end: rising", "high-frequency acceleration, m/s²"),
        ("Overall velocity at input coupling end: no trend", "overall velocity, mm/s"),
        ("Temperature at sump: rising", "temperature, °C"),
    ):
        (svg,) = [svg for says, svg in drawn.items() if says.startswith(beginning)]
        assert f">{label}<" in svg
    (warm,) = [svg for says, svg in drawn.items() if says.startswith("Temperature")]
    assert ">danger 92.9<" in warm, "366 K"
    first, last = (np.polyval(levels(warm), float(y)) for y in (re.findall(r"M[\d.]+ ([\d.]+)a1\.8", warm)[n] for n in (0, -1)))
    assert first == pytest.approx(325 - 273.15, abs=0.1) and last == pytest.approx(325 + 4.3 - 273.15, abs=0.1)


def test_limit_and_dates_are_those_of_the_document(found: StageResult) -> None:
    (row,) = [row for row in found.document["series"] if row["quantity"] == "high-frequency acceleration"]
    (svg,) = [svg for says, svg in figures(found).items() if says.startswith("High")]
    for name in ("earliest", "latest"):
        day = datetime.fromisoformat(row["forecast"][name]).astimezone(UTC)
        assert f"{day.day} {day:%b %Y}" in svg
    assert ">danger 20<" in svg and ">yellow 10<" in svg and "inspect by" in svg


def test_what_the_drawing_says_of_its_day_is_what_the_words_say(found: StageResult) -> None:
    (svg,) = [svg for says, svg in figures(found).items() if says.startswith("Overall velocity")]
    assert "look again within" in svg and ">look again by " in svg and "inspect by" not in svg, "nothing to inspect so far"


def test_a_level_of_few_readings_is_a_row_of_the_table_unless_its_limit_is_reached(found: StageResult) -> None:
    few = {name: {key: column[:3] for key, column in columns.items()} for name, columns in found.arrays.items()}
    blocks = list(trend_figures(found.document, few))
    assert [block.kind for block in blocks] == ["text", "figure", "text"], "the one with a date is drawn"
    assert blocks[-1].text.startswith("2 levels are not drawn")


def test_the_line_of_growth_has_the_slope_that_is_told(found: StageResult) -> None:
    """Dots and line are read off the drawing: decibels over days."""
    (row,) = [row for row in found.document["series"] if row["quantity"] == "high-frequency acceleration"]
    (svg,) = [svg for says, svg in figures(found).items() if says.startswith("High")]
    dots = np.array([(float(x), float(y)) for x, y in re.findall(r"M([\d.]+) ([\d.]+)a1\.8", svg)])
    px_per_day = (dots[:, 0].max() - dots[:, 0].min()) / 43
    (line,) = re.findall(rf'd="M([\d. L]+)" fill="none" stroke="{ACCENT}"', svg)
    ends = np.array([[float(n) for n in point.split()] for point in line.split("L")])[[0, -1]]
    decibels = 20 * np.log10(np.polyval(levels(svg), ends[:, 1]))
    assert (decibels[1] - decibels[0]) / np.diff(ends[:, 0])[0] * px_per_day * 30 == pytest.approx(row["trend"]["slope"], rel=0.02)


def test_the_page_shows_the_figures_and_does_without_arrays(found: StageResult) -> None:
    assert sum(block.kind == "figure" for block in stage_blocks("trend", found.document, arrays=found.arrays)) == 3
    assert not any(block.kind == "figure" for block in stage_blocks("trend", found.document))
