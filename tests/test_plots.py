"""Plots tell the truth: what stands where is measured from the drawing itself, by the figures on its axes, as a reader would.

Times are said as Python's own calendar says them; letters are held to ISO 3098; PNG is read by an imaging library.
"""

import io
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image

from gearcase.drawings.axes import LEFT, PRINTED_MM, SIZE, WIDTH, ticks, time_ticks
from gearcase.drawings.flags import Flag
from gearcase.drawings.plots import spectrum_sheet, waveform_sheet
from gearcase.drawings.svg import ABNORMAL, ACCENT, DANGER, Sheet
from gearcase.drawings.trend_plot import Ahead, Growth, trend_sheet
from gearcase.drawings.typeset import sheet_png
from gearcase.errors import OutOfRange

SVG = "{http://www.w3.org/2000/svg}"
DAY = 86400.0
CAPITAL = 0.727  # of the size, height of a capital of the shipped sans (`unitsPerEm` 2816, `sCapHeight` 2048 in its own OS/2 table)
ACTION = "#1F5FA8"


def read(sheet: Sheet) -> ElementTree.Element:
    """The drawing as a reader gets it: XML."""
    return ElementTree.fromstring(sheet.svg("a plot"))


def words(sheet: Sheet) -> list[str]:
    return ["".join(text.itertext()) for text in read(sheet).iter(f"{SVG}text")]


def assert_clear(sheet: Sheet) -> None:
    """No label on another, and all on the sheet."""
    assert sheet.labels
    assert not [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 and box.bottom <= sheet.height for box in sheet.labels)


def scales(sheet: Sheet, of: Callable[[str], float] = float) -> tuple[np.ndarray, np.ndarray]:
    """Line through the figures of either axis: the value at a place of the drawing, as (slope, offset)."""
    texts = [
        ("".join(text.itertext()), float(text.get("x", "0")), float(text.get("y", "0"))) for text in read(sheet).iter(f"{SVG}text")
    ]
    left = [(y - SIZE / 3, float(says)) for says, x, y in texts if x < LEFT and re.fullmatch(r"-?[\d.]+", says)]
    lowest = max(float(line.get("y2", "0")) for line in read(sheet).iter(f"{SVG}line"))
    foot = []
    for says, x, y in texts:
        if abs(y - lowest - SIZE - 2) < 1:  # under the ticks, which are 4 px long
            foot.append((x, of(says)))
    assert len(left) >= 2 and len(foot) >= 2
    found = []
    for pairs in (foot, left):
        place, value = np.array(pairs).T
        line = np.polyfit(place, value, 1)
        assert np.abs(np.polyval(line, place) - value).max() <= 0.11 * abs(line[0])  # evenly spaced, to the tenth of a px
        found.append(line)
    return found[0], found[1]


def dots(sheet: Sheet) -> np.ndarray:
    """Middles of the small circles, shape (n, 2)."""
    rings = re.findall(r"M([\d.]+) ([\d.]+)a1\.8 1\.8 0 1 0 3\.6 0", sheet.svg(""))
    return np.array([(float(x) + 1.8, float(y)) for x, y in rings])


def test_letters_are_as_high_in_print_as_the_least_of_iso_3098() -> None:
    """1.8 mm (ISO 3098-1, from memory), where a plot fills the text width of an A4 page."""
    assert PRINTED_MM == 210 - 20 - 16  # margins of the report's template
    assert CAPITAL * SIZE * PRINTED_MM / WIDTH >= 1.8


@given(low=st.floats(-1e6, 1e6), share=st.floats(1e-6, 1e6))
def test_ticks_are_round_even_and_cover_what_is_shown(low: float, share: float) -> None:
    span = share * max(abs(low), 1e-6)
    found = ticks(low, low + span)
    if len(found) > 2:
        steps = np.diff(found)
        assert np.allclose(steps, steps[0], rtol=1e-3)
        assert f"{np.median(steps):.1e}"[:3] in ("1.0", "2.0", "2.5", "5.0")
    assert found[-1] >= low + span - 1e-6 * max(abs(low), span) and len(found) <= 10


@given(start=st.floats(1, 4e9), span=st.floats(10, 3e9))
def test_times_on_an_axis_are_those_of_the_calendar_and_few_enough_to_be_read(start: float, span: float) -> None:
    found = time_ticks(start, start + span)
    assert len(found) <= 9
    for at, says in found:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=at)
        assert start <= at <= start + span
        shown = [f"{moment:%H:%M}", f"{moment:%H:%M:%S}", f"{moment.day} {moment:%b}", f"{moment:%b %Y}", f"{moment:%Y}"]
        assert says in shown and (says not in shown[2:] or (moment.hour, moment.minute) == (0, 0))
    assert all(a[0] < b[0] for a, b in pairwise(found))


def test_flags_do_not_lie_on_each_other_and_evidence_comes_first() -> None:
    hz = np.linspace(0, 500, 5000)
    flags = [Flag(100 + n * 0.5, f"line {n}") for n in range(12)] + [Flag(103.0, "the evidence", found=True)]
    sheet = spectrum_sheet(hz, np.ones(5000), flags, x_label="frequency, Hz", y_label="m/s2", highest=500)
    assert_clear(sheet)
    assert "the evidence" in words(sheet)


@given(places=st.lists(st.floats(1, 500), max_size=8), found=st.booleans())
def test_a_flag_stands_at_its_frequency(places: list[float], found: bool) -> None:
    flags = [Flag(place, f"line {n}", found) for n, place in enumerate(places)]
    sheet = spectrum_sheet(np.linspace(0, 500, 200), np.ones(200), flags, x_label="frequency, Hz", y_label="m/s2", highest=500)
    across, _ = scales(sheet)
    colour, dash = (ACCENT, None) if found else ("#6B6A63", "2 3")
    strokes = [
        line for line in read(sheet).iter(f"{SVG}line") if line.get("stroke") == colour and line.get("stroke-dasharray") == dash
    ]
    measured = sorted(float(np.polyval(across, float(stroke.get("x1", "nan")))) for stroke in strokes)
    assert measured == pytest.approx(sorted(places), abs=0.06 * across[0])


def test_a_peak_of_one_bin_is_not_lost_in_drawing_and_stands_where_and_as_high_as_it_is() -> None:
    level = np.zeros(100_000)
    level[54_321] = 7.0
    sheet = spectrum_sheet(np.linspace(0, 1000, 100_000), level, [], x_label="frequency, Hz", y_label="m/s2", highest=1000)
    (path,) = [path.get("d", "") for path in read(sheet).iter(f"{SVG}path")]
    points = np.array([[float(n) for n in point.split()] for point in path.removeprefix("M").split("L")])
    across, up = scales(sheet)
    peak = points[np.argmin(points[:, 1])]
    assert np.polyval(up, peak[1]) == pytest.approx(7.0, abs=0.1 * abs(up[0]))
    assert np.polyval(across, peak[0]) == pytest.approx(543.21, abs=across[0])
    assert sum(points[:, 1] < peak[1] + 50) == 1


@pytest.mark.parametrize("level", [np.zeros(100), np.full(100, 3.0), np.array([])])
def test_flat_and_empty_spectra_are_drawn(level: np.ndarray) -> None:
    read(spectrum_sheet(np.arange(level.size, dtype=float), level, [], x_label="frequency, Hz", y_label="m", highest=100))


@pytest.mark.parametrize(("size", "unit"), [(3.2e-6, "10⁻⁶ m/s"), (4.0e-4, "10⁻⁶ m/s"), (7.0e7, "10⁶ m/s"), (2.0, "m/s")])
def test_figures_too_small_or_large_to_be_read_give_their_power_to_the_unit(size: float, unit: str) -> None:
    sheet = spectrum_sheet(
        np.arange(100.0), np.linspace(0, size, 100), [], x_label="frequency, Hz", y_label="amplitude, m/s", highest=99
    )
    assert f"amplitude, {unit}" in words(sheet)
    assert all(len(says) <= 6 for says in words(sheet) if re.fullmatch(r"[-\d.e]+", says))
    assert_clear(sheet)


def test_a_waveform_marks_each_clipped_column_on_its_own_side_and_counts_the_samples() -> None:
    time = np.arange(2000) / 2000 + 3.0
    free = 1.3 * np.sin(2 * np.pi * 4 * time)
    wave = np.clip(free, -1.0, 1.2)
    clipped = ((free <= -1.0) | (free >= 1.2)).astype(float)
    sheet = waveform_sheet(time, wave, clipped=clipped, turn_s=0.25, turn_of="input shaft", y_label="acceleration, m/s²")
    assert_clear(sheet)
    assert f"{int(clipped.sum())} samples clipped" in words(sheet) and "one turn of input shaft" in words(sheet)
    across, up = scales(sheet)
    marks = np.array([(float(x), float(y)) for x, y in re.findall(r'd="M(\d+) ([\d.]+)l-3 -?6\.0h6z"', sheet.svg(""))])
    assert set(np.round(np.polyval(up, marks[:, 1]), 2)) == {-1.0, 1.2}
    at = np.polyval(across, marks[:, 0])
    assert all(np.abs(time[clipped > 0] - one).min() < across[0] for one in at)
    measure = next(line for line in read(sheet).iter(f"{SVG}line") if line.get("y1") == "28.0" and line.get("y2") == "28.0")
    assert (float(measure.get("x2", "0")) - float(measure.get("x1", "0"))) * across[0] == pytest.approx(0.25, abs=0.2 * across[0])


def test_a_sound_waveform_says_nothing_of_clipping() -> None:
    sheet = waveform_sheet(
        np.arange(500) / 100, np.zeros(500), clipped=np.zeros(500), turn_s=None, turn_of="", y_label="acceleration, m/s²"
    )
    assert_clear(sheet)
    assert not [says for says in words(sheet) if "clipped" in says or "turn" in says]


BEGIN = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
LIMITS = {"yellow": 3.0, "danger": 4.5, "low": 0.4}


def month(says: str) -> float:
    """A date on the axis, in days."""
    return datetime.strptime(f"1 {says}", "%d %b %Y").replace(tzinfo=UTC).timestamp() / DAY


def trended(**more: Any) -> Sheet:
    time = BEGIN + DAY * np.arange(90)
    return trend_sheet(time, np.linspace(1.0, 3.2, 90), y_label="overall velocity, mm/s", limits=LIMITS, **more)


def test_readings_limits_and_forecast_stand_at_their_date_and_level() -> None:
    by, earliest, middle, latest = (BEGIN + DAY * day for day in (95, 100, 110, 125))
    sheet = trended(
        epochs=[(BEGIN + 20 * DAY, "oil changed")],
        ahead=Ahead("the limit is reached", 4.5, by, "inspect by", earliest, middle, latest),
    )
    assert_clear(sheet)
    across, up = scales(sheet, month)
    spots = dots(sheet)
    order = np.argsort(spots[:, 0])
    assert np.polyval(across, spots[order, 0]) == pytest.approx(BEGIN / DAY + np.arange(90), abs=0.1 * across[0])
    assert np.polyval(up, spots[order, 1]) == pytest.approx(np.linspace(1.0, 3.2, 90), abs=0.1 * abs(up[0]))
    lines = list(read(sheet).iter(f"{SVG}line"))
    for colour, dash, value in ((DANGER, None, 4.5), (ABNORMAL, "7 4", 3.0), (ABNORMAL, "7 3 1 3", 0.4)):
        (line,) = [one for one in lines if one.get("stroke") == colour and one.get("stroke-dasharray") == dash]
        assert np.polyval(up, float(line.get("y1", "nan"))) == pytest.approx(value, abs=0.1 * abs(up[0]))
    (bar,) = [line for line in lines if line.get("stroke-width") == "5.0"]
    ends = np.polyval(across, [float(bar.get("x1", "nan")), float(bar.get("x2", "nan"))])
    assert ends * DAY == pytest.approx([earliest, latest], abs=0.1 * across[0] * DAY)
    assert np.polyval(up, float(bar.get("y1", "nan"))) == pytest.approx(4.5, abs=0.1 * abs(up[0]))
    said = words(sheet)
    assert "oil changed" in said and "inspect by 4 Jun 2026" in said and "reached 9 Jun 2026 to 4 Jul 2026 (90 %)" in said
    assert "The limit is reached" in said and "yellow 3" in said and "danger 4.5" in said and "low 0.4" in said


def test_not_before_is_open_to_the_right_and_a_far_inspection_is_named_at_the_edge() -> None:
    sheet = trended(ahead=Ahead("not before 30 days", 4.5, BEGIN + 400 * DAY, "inspect by", BEGIN + 120 * DAY))
    assert_clear(sheet)
    assert "not before 29 Jun 2026" in words(sheet) and "inspect by 5 Apr 2027 →" in words(sheet)
    assert not [says for says in words(sheet) if "90 %" in says]


@pytest.mark.parametrize("epochs", [[], [(BEGIN + 30 * DAY, "oil changed")]])
def test_readings_before_an_epoch_or_a_step_are_muted(epochs: list[tuple[float, str]]) -> None:
    for steps in ([], [BEGIN + 50 * DAY]):
        muted = [
            path.get("d", "")
            for path in read(trended(epochs=epochs, steps=steps)).iter(f"{SVG}path")
            if path.get("stroke") == "#6B6A63"
        ]
        count = sum(data.count("a1.8 ") // 2 for data in muted)
        assert count == (50 if steps else 30 if epochs else 0)


def test_growth_is_drawn_through_its_own_levels() -> None:
    time = BEGIN + DAY * np.array([40.0, 89.0])
    sheet = trended(growth=Growth(time, np.array([1.9, 3.2]), np.array([1.8, 3.0]), np.array([2.0, 3.4])))
    across, up = scales(sheet, month)
    (line,) = re.findall(rf'd="M([\d. L]+)" fill="none" stroke="{ACCENT}"', sheet.svg(""))
    points = np.array([[float(n) for n in point.split()] for point in line.split("L")])
    assert np.polyval(up, points[:, 1]) == pytest.approx([1.9, 3.2], abs=0.1 * abs(up[0]))
    assert np.polyval(across, points[:, 0]) * DAY == pytest.approx(time, abs=0.1 * across[0] * DAY)


@settings(deadline=None)
@given(
    values=st.lists(st.one_of(st.just(float("nan")), st.floats(-1e3, 1e3)), min_size=1, max_size=30),
    limits=st.dictionaries(st.sampled_from(["yellow", "danger", "low"]), st.floats(-1e3, 1e3)),
    epochs=st.lists(
        st.tuples(st.floats(BEGIN, BEGIN + 40 * DAY), st.sampled_from(["oil changed", "SENSOR MOVED TO THE OTHER SIDE"]))
    ),
    ahead=st.lists(st.floats(0, 900 * DAY), min_size=4, max_size=4).map(sorted),
    every=st.sampled_from([1.0, 3600.0, DAY, 30 * DAY]),
    unit=st.sampled_from(["mm/s", "°C"]),
)
@example(values=[0.0, 5e-324], limits={}, epochs=[], ahead=[0.0, 0.0, 0.0, 0.0], every=DAY, unit="mm/s")
def test_trends_of_any_readings_keep_their_labels_apart(
    values: list[float], limits: dict[str, float], epochs: list[tuple[float, str]], ahead: list[float], every: float, unit: str
) -> None:
    time = BEGIN + every * np.arange(len(values))
    asked: dict[str, Any] = {"y_label": f"level, {unit}", "limits": limits, "epochs": epochs}
    if not np.isfinite(values).any():
        with pytest.raises(OutOfRange, match="reading"):
            trend_sheet(time, values, **asked)
        return
    by, *when = (float(time[-1]) + at for at in ahead)
    says, look = "a forecast that says much: " + "words and " * 40, "look again by"
    for forecast in (None, Ahead(says, 3.0, by, look), Ahead(says, 3.0, by, look, when[0]), Ahead(says, 3.0, by, look, *when)):
        if forecast is None or forecast.earliest_s is None or "danger" in limits:
            bound = (
                Ahead(says, limits["danger"], by, look, *when)
                if forecast and forecast.latest_s and "danger" in limits
                else forecast
            )
            assert_clear(trend_sheet(time, values, ahead=bound, **asked))


def test_a_limit_of_another_name_is_refused() -> None:
    with pytest.raises(OutOfRange, match="yellow"):
        trend_sheet([0.0], [1.0], y_label="level, mm/s", limits={"trip": 3.0})


def test_png_has_the_stated_size_and_the_ink_of_the_drawing() -> None:
    sheet = trended()
    picture = Image.open(io.BytesIO(sheet_png(sheet, "a trend", times=2.0)))
    assert picture.format == "PNG" and picture.size == (2 * sheet.width, 2 * sheet.height)
    colours = [colour for _, colour in picture.convert("RGB").getcolors(1 << 20) or []]
    assert (0xFB, 0xFA, 0xF6) in colours and tuple(bytes.fromhex(DANGER[1:])) in colours
