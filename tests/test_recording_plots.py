"""Plots of a recording, from its samples to the drawing: what stands where is measured from the drawing by its own figures.

Checked against: simulated drives, whose tooth counts and speeds are known; a sine, whose amplitude a Hann window misses by 1.42 dB
at most (F. J. Harris, Proc. IEEE 66, 1978, table 1); the tree of bands of J. Antoni 2007 (from memory).
"""

import io
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from gearcase.cli import main
from gearcase.cli.verbs import _PLOTS
from gearcase.drawings.axes import LEFT, SIZE
from gearcase.drawings.diagnose_blocks import plot_blocks
from gearcase.drawings.maps import kurtogram_sheet, order_map_sheet
from gearcase.drawings.recording_plots import KINDS, Judged, Plot, plot
from gearcase.drawings.svg import ABNORMAL, ACCENT, DANGER, INK, Sheet
from gearcase.drawings.tooth_circle import strongest_tooth, tooth_circle_sheet
from gearcase.drive.lines import expected_lines
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.job.build import Job, build, load
from gearcase.job.read import parse_text
from gearcase.judge.heard import Speed, hear
from gearcase.judge.patterns.observed import Observed, Recorded
from gearcase.signal.kurtogram import kurtogram
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.spectrum import transform
from gearcase.stages import diagnose, survey
from gearcase.stages.order_maps import mapped
from gearcase.stages.pictured import OrderHistory, highest_order, pictured, waveform
from gearcase.stages.result import StageResult
from kinds import KINDS as DRIVES

SVG = "{http://www.w3.org/2000/svg}"
DEMO = Path(__file__).parents[1] / "examples" / "demo"
RATE, SPEED = 12800.0, 24.6
ACTION = "#1F5FA8"
LEVELS = Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08)
PAIR = """
job: 1
title: a pair of gears
drive:
  input: {shaft: pinion shaft, speed: 1476 rpm, origin: measured}
  shafts: [{name: pinion shaft, end: input}, {name: wheel shaft, end: output}]
  meshes: [{name: mesh, pinion: {shaft: pinion shaft, teeth: 19}, wheel: {shaft: wheel shaft, teeth: 40}}]
"""


def assert_clear(sheet: Sheet) -> None:
    """No label on another, and all on the sheet."""
    assert sheet.labels
    assert not [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 and box.bottom <= sheet.height for box in sheet.labels)


def texts(sheet: Sheet) -> list[tuple[str, float, float]]:
    """Labels with their places, read as XML."""
    return [
        ("".join(text.itertext()), float(text.get("x", "nan")), float(text.get("y", "nan")))
        for text in ElementTree.fromstring(sheet.svg("a plot")).iter(f"{SVG}text")
    ]


def foot_scale(sheet: Sheet, says: str) -> np.ndarray:
    """Line through the figures of the foot axis: the value at a place, as (slope, offset)."""
    (base,) = [y for words, _, y in texts(sheet) if words == says]
    figures = np.array([(x, float(words)) for words, x, y in texts(sheet) if abs(y - (base - 20)) < 1])
    line = np.polyfit(*figures.T, 1)
    assert np.abs(np.polyval(line, figures[:, 0]) - figures[:, 1]).max() <= 0.11 * line[0]
    return line


def inked(sheet: Sheet) -> dict[float, list[tuple[float, float, float, float]]]:
    """Left, top, width and height of every inked box, by opacity."""
    found: dict[float, list[tuple[float, float, float, float]]] = {}
    for data, opacity in re.findall(rf'<path d="([^"]*)" fill="{INK}" fill-opacity="([\d.]+)"', sheet.svg("")):
        for box in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", data):
            found.setdefault(float(opacity), []).append(tuple(map(float, box)))  # type: ignore[arg-type]
    for *box, opacity in re.findall(
        rf'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" fill="{INK}" fill-opacity="([\d.]+)"', sheet.svg("")
    ):
        found.setdefault(float(opacity), []).append(tuple(map(float, box)))  # type: ignore[arg-type]
    return found


def key(sheet: Sheet) -> dict[float, float]:
    """From which level on each opacity stands, as the key says."""
    row = max(y for _, _, y in texts(sheet))
    said = sorted((x, float(words)) for words, x, y in texts(sheet) if y == row and re.fullmatch(r"[\d.e-]+", words))
    boxes = sorted(
        (left, opacity) for opacity, boxes in inked(sheet).items() for left, top, _, _ in boxes if abs(top - (row - 11)) < 0.5
    )
    return {opacity: value for (_, opacity), (_, value) in zip(boxes, said, strict=True)}


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(DEMO)


def recorded(job: Job, *, seed: int = 1, impact: float = 0.0, seconds: int = 20, **more: Any) -> Recording:
    faults = [BearingFault("intermediate bearing, left", "outer_race", impact, jitter=0.004)] if impact else []
    samples = simulate(
        job.drive,
        speed_hz=SPEED,
        sample_rate_hz=RATE,
        samples=int(RATE * seconds),
        seed=seed,
        noise="resonant",
        faults=faults,
        levels=LEVELS,
    )
    facts = {"speed_hz": SPEED, "point": "intermediate left", "name": f"record {seed}", "sha256": f"{seed}"} | more
    return Recording(samples, RATE, "m/s2", **facts)


@pytest.fixture(scope="module")
def judged(demo: Job) -> tuple[dict[str, Any], StageResult]:
    """Three recordings while a bearing fault grows, and one that is clipped."""
    records = [recorded(demo, seed=n, impact=impact, start=f"2026-0{n}-03") for n, impact in ((1, 0.0), (2, 1.0), (3, 5.0))]
    clipped = recorded(demo, seed=4, point="output left")
    records.append(replace(clipped, samples=np.clip(clipped.samples, -2.5, 2.5)))
    return survey.run(demo).document, diagnose.run(demo, records)


def made(judged: tuple[dict[str, Any], StageResult], kind: str, number: int = 2) -> Plot | None:
    return plot(kind, Judged(judged[0], judged[1].document, judged[1].arrays, number))


def test_the_command_offers_every_kind_there_is() -> None:
    assert tuple(KINDS) == _PLOTS


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_drawn_with_its_labels_apart_and_without_the_colours_of_states(
    kind: str, judged: tuple[dict[str, Any], StageResult]
) -> None:
    found = made(judged, kind)
    assert found is not None
    assert_clear(found.sheet)
    assert found.says.endswith(".") and found.caption.endswith(".")
    svg = found.sheet.svg(found.title)
    assert not any(colour in svg for colour in (ABNORMAL, DANGER, ACTION))
    assert len(svg) < 150_000, "small enough for a page"


def test_of_a_recording_unfit_to_be_judged_its_waveform_shows_why(judged: tuple[dict[str, Any], StageResult]) -> None:
    assert [kind for kind in KINDS if made(judged, kind, 3)] == ["waveform"]
    found = made(judged, "waveform", 3)
    assert found is not None and "Tops that are cut" in found.says
    assert any("samples clipped" in words for words, _, _ in texts(found.sheet))


def test_only_what_is_drawn_is_kept_and_it_is_small(judged: tuple[dict[str, Any], StageResult]) -> None:
    arrays = judged[1].arrays
    assert {name.rpartition("-")[2] for name in arrays} == {"2", "3"}, "the latest of each point, which is also the verdict's"
    for name, columns in arrays.items():
        assert len({values.size for values in columns.values()}) == 1, "columns of one length, as Parquet wants them"
        assert sum(values.nbytes for values in columns.values()) < 2**21, name


def test_the_report_says_what_to_read_before_each_plot(judged: tuple[dict[str, Any], StageResult]) -> None:
    blocks = list(plot_blocks(judged[0], judged[1].document, judged[1].arrays))
    figures = [number for number, block in enumerate(blocks) if block.kind == "figure"]
    assert len(figures) == 7
    assert all(blocks[number - 1].kind == "text" and blocks[number - 1].text.endswith(":") for number in figures)


@pytest.mark.parametrize("kind", ["spectrum", "orders", "order-map", "history"])
def test_flags_stand_at_the_lines_of_the_drive(kind: str, judged: tuple[dict[str, Any], StageResult]) -> None:
    found = made(judged, kind)
    assert found is not None
    in_orders = kind != "spectrum"
    scale = foot_scale(found.sheet, "orders of input" if in_orders else "frequency, Hz")
    speed = 1.0 if in_orders else judged[1].document["recordings"][2]["speed_hz"]
    for name, order in (("high-speed mesh 1x", 17), ("high-speed mesh 2x", 34), ("input 1x", 1)):  # 17 teeth of the demo's pinion
        ((x, top),) = [(x, y) for words, x, y in texts(found.sheet) if words == name]
        strokes = [float(one) for one in re.findall(rf'<line x1="([\d.]+)" y1="{top - SIZE * 0.8:.1f}"', found.sheet.svg(""))]
        nearest = min(strokes, key=lambda stroke: abs(stroke - x))
        assert np.polyval(scale, nearest) == pytest.approx(order * speed, abs=0.15 * scale[0])


def test_an_order_map_shows_a_level_at_its_order_and_time_in_the_ink_its_key_names() -> None:
    level = np.full((5, 100), 0.01)
    level[1, 40], level[4, 70], level[2, 10] = 0.25, 0.9, 0.049
    orders = np.arange(100) * 0.5 + 0.25
    rows = [(n + 0.5, f"day {n}") for n in range(5)]
    sheet = order_map_sheet(
        orders, level, rows=rows, flags=[], x_label="orders of input", y_label="recording", key="amplitude, m/s²"
    )
    assert_clear(sheet)
    scale, steps = foot_scale(sheet, "orders of input"), key(sheet)
    rows_at = {words: y - SIZE / 3 for words, _, y in texts(sheet) if words.startswith("day")}
    seen = {}
    for opacity, boxes in inked(sheet).items():
        for left, top, wide, high in boxes:
            if left + wide / 2 > LEFT and high > 20:
                seen[opacity] = (float(np.polyval(scale, left + wide / 2)), top + high / 2)
    assert len(seen) == 3
    for value, order, row in ((0.25, 20.25, 1), (0.9, 35.25, 4), (0.049, 5.25, 2)):
        at_least = max(step for step in steps.values() if step <= value)
        (opacity,) = [one for one, step in steps.items() if step == at_least]
        assert seen[opacity][0] == pytest.approx(order, abs=0.2 * scale[0])
        assert seen[opacity][1] == pytest.approx(rows_at[f"day {row}"], abs=0.2)
    assert rows_at["day 4"] < rows_at["day 0"], "the latest on top"


@settings(deadline=None, max_examples=30)
@given(rows=st.integers(1, 150), top=st.floats(1e-6, 1e6), seed=st.integers(0, 99))
def test_maps_of_any_size_keep_their_labels_apart(rows: int, top: float, seed: int) -> None:
    level = top * np.random.default_rng(seed).random((rows, 60)) ** 8
    named = [(n + 0.5, f"2026-01-{n:02d}") for n in range(rows)]
    sheet = order_map_sheet(
        np.arange(60) + 0.5, level, rows=named, flags=[], x_label="orders", y_label="recording", key="amplitude, m/s²"
    )
    assert_clear(sheet)
    assert sheet.labels and any(words == named[-1][1] for words, _, _ in texts(sheet)), "the latest is always named"


def test_a_kurtogram_frames_the_band_that_the_impacts_ring_in() -> None:
    time = np.arange(65536) / 16384
    wave = np.exp(-((time * 10) % 1) * 60) * np.sin(2 * np.pi * 3000 * time) + 0.1 * np.random.default_rng(0).standard_normal(
        time.size
    )
    found = kurtogram(transform(wave, sample_rate_hz=16384.0), narrowest_hz=300.0)
    sheet = kurtogram_sheet(found.lowest_hz, found.highest_hz, found.level, found.kurtosis, found.standard_error)
    assert_clear(sheet)
    scale = foot_scale(sheet, "frequency, Hz")
    ((left, wide),) = re.findall(
        rf'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="[\d.]+" fill="none" stroke="{ACCENT}"', sheet.svg("")
    )
    low, high = np.polyval(scale, float(left)), np.polyval(scale, float(left) + float(wide))
    assert low < 3000 < high and high - low < 4100
    boxes = re.findall(r'<rect x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="24.0" fill="none" stroke="#6B6A63"', sheet.svg(""))
    counts = [boxes.count(row) for row in sorted(set(boxes), key=float)]
    assert counts == [1, 2, 3, 4, 6, 8, 12, 16, 24][: len(counts)] and len(counts) >= 7, "the paper's tree"


def test_of_noise_alone_no_band_is_inked_and_none_is_framed_as_found() -> None:
    noise = np.random.default_rng(5).standard_normal(65536)
    found = kurtogram(transform(noise, sample_rate_hz=16384.0), narrowest_hz=300.0)
    sheet = kurtogram_sheet(found.lowest_hz, found.highest_hz, found.level, found.kurtosis, found.standard_error)
    assert_clear(sheet)
    assert not inked(sheet) and ACCENT not in sheet.svg("")
    assert any("as noise gives" in words for words, _, _ in texts(sheet))


@pytest.mark.parametrize("teeth", [5, 17, 46, 71, 100, 213])
def test_a_tooth_that_stands_out_is_tinted_at_its_angle_and_numbered(teeth: int) -> None:
    turn = np.arange(4096) / 4096
    tooth = teeth * 2 // 3
    residual = np.where(np.floor(turn * teeth) == tooth - 1, 3.0, 0.2) * np.sin(2 * np.pi * 6 * teeth * turn)
    sheet = tooth_circle_sheet(
        5 * np.cos(2 * np.pi * teeth * turn), residual, teeth=teeth, gear="pinion of mesh", turns=99, unit="m/s²"
    )
    assert_clear(sheet)
    assert strongest_tooth(residual, teeth)[0] == tooth
    middle, start, end = re.findall(r'd="M([\d.]+ [\d.]+)L([\d.]+ [\d.]+)A[\d. ]+ 0 0 1 ([\d.]+ [\d.]+)z"', sheet.svg(""))[0]
    x, y = map(float, middle.split())
    angles = [np.arctan2(float(end.split()[0]) - x, y - float(end.split()[1])) / (2 * np.pi) % 1 for end in (start, end)]
    assert angles == pytest.approx([(tooth - 1) / teeth, tooth / teeth], abs=2e-3)
    ((says, at_x, at_y),) = [one for one in texts(sheet) if one[0] == f"{tooth}" and one[1] < 530]
    assert np.arctan2(at_x - x, y - (at_y - SIZE / 3)) / (2 * np.pi) % 1 == pytest.approx((tooth - 0.5) / teeth, abs=2e-3), says


def test_the_traces_about_the_circle_swing_as_far_as_their_bars_say() -> None:
    turn = np.arange(1024) / 1024
    value = 3.3 * np.cos(2 * np.pi * 3 * turn)
    sheet = tooth_circle_sheet(value, 0.1 * value, teeth=20, gear="pinion of mesh", turns=99, unit="m/s²")
    outline = next(data for data in re.findall(r'd="M([\d. L]+)z" fill="none" stroke="#1E2328"', sheet.svg("")))
    points = np.array([[float(n) for n in point.split()] for point in outline.split("L")])
    centre = points.mean(axis=0)
    radius = np.hypot(*(points - centre).T)
    top, bottom = map(
        float,
        re.findall(r'<line x1="538.0" y1="([\d.]+)" x2="538.0" y2="([\d.]+)" stroke="#1E2328" stroke-width="2.0"', sheet.svg(""))[
            0
        ],
    )
    (says,) = [words for words, _, y in texts(sheet) if words.endswith("m/s²") and top < y < bottom + SIZE]
    per_px = float(says.split()[0]) / (bottom - top)
    assert (radius - radius.mean()) * per_px == pytest.approx(value, abs=0.2 * per_px)


def test_the_average_turn_shows_the_gear_and_a_tooth_that_knocks_once_a_turn_stands_out() -> None:
    """A mesh of 19 teeth, its wheel of 40 and a knock at one tooth of the pinion, put together here from sines and bursts."""
    job = build(parse_text(PAIR), folder="job")
    time = np.arange(int(20 * RATE)) / RATE
    turns = SPEED * time + 0.02 * np.sin(2 * np.pi * 0.3 * time)
    wave = sum(np.cos(2 * np.pi * 19 * n * turns) / n for n in (1, 2, 3)) + 0.3 * np.random.default_rng(1).standard_normal(
        time.size
    )
    knock = 2.0 * np.exp(-(((turns % 1 - 0.4) / 0.006) ** 2)) * np.cos(2 * np.pi * 130 * turns)
    found = {}
    for name, samples in (("sound", wave), ("knocking", wave + knock)):
        record = Recording(samples, RATE, "m/s2", speed_hz=SPEED)
        columns = pictured(
            record,
            transform(samples, sample_rate_hz=RATE),
            Speed(SPEED, 0.001, 1e-4, "stated"),
            drive=job.drive,
            fastest_order=1.0,
        )["average"]
        pinion = columns["gear"] == 0
        found[name] = {key: values[pinion] for key, values in columns.items()}
        assert set(columns["gear"]) == {0, 1}
        amplitudes = 2 * np.abs(np.fft.rfft(found[name]["value"])) / pinion.sum()
        assert amplitudes[[19, 38, 57]] == pytest.approx([1, 1 / 2, 1 / 3], abs=0.02)
        assert 0 <= 20 * SPEED - found[name]["turns"][0] < 10, "all but where the filter settles"
    assert 2.0 < found["sound"]["fm4"][0] < 4.5 < 15 < found["knocking"]["fm4"][0]
    assert strongest_tooth(found["sound"]["residual"], 19)[1] < 2 < 8 < strongest_tooth(found["knocking"]["residual"], 19)[1]


def test_what_a_second_gear_on_the_shaft_meshes_is_no_residual(judged: tuple[dict[str, Any], StageResult]) -> None:
    """The demo's intermediate shaft bears a wheel of 71 teeth and a pinion of 19."""
    columns = judged[1].arrays["average-2"]
    wheel = columns["gear"] == 1
    assert wheel.any()
    amplitudes = 2 * np.abs(np.fft.rfft(columns["value"][wheel])) / wheel.sum()
    left = 2 * np.abs(np.fft.rfft(columns["residual"][wheel])) / wheel.sum()
    assert amplitudes[19] > 0.3 and np.all(left[[19, 38, 57, 71]] < 1e-3)


@settings(deadline=None, max_examples=25)
@given(order=st.floats(0.5, 50), amplitude=st.floats(0.01, 100))
def test_a_sine_stands_in_the_order_history_at_its_order_with_its_amplitude(order: float, amplitude: float) -> None:
    time = np.arange(int(4 * RATE)) / RATE
    history = OrderHistory(58.0)
    history.add(7, transform(amplitude * np.cos(2 * np.pi * order * SPEED * time), sample_rate_hz=RATE), SPEED)
    columns = history.columns()
    row = columns["recording 7"]
    step = float(np.diff(columns["order"]).mean())
    assert columns["order"][np.argmax(row)] == pytest.approx(order, abs=step)
    assert 10 ** (-1.43 / 20) * amplitude <= row.max() <= 1.001 * amplitude


def run_up(job: Job, *, marks: bool) -> Recording:
    """Speed rising evenly from 6 to 24 turns a second in 20 s, turns(t) = 6 t + 0.45 t^2: sines of order 1, 19 and 38 and hum of
    100 Hz, put together here.
    """
    time = np.arange(int(20 * RATE)) / RATE
    turns = 6 * time + 0.45 * time**2
    wave = sum(height * np.cos(2 * np.pi * order * turns) for order, height in ((1, 0.5), (19, 2.0), (38, 1.0)))
    wave = wave + np.cos(2 * np.pi * 100 * time) + 0.1 * np.random.default_rng(1).standard_normal(time.size)
    passed = (-6 + np.sqrt(36 + 1.8 * np.arange(300))) / 0.9  # turns(t) = n
    taken = Circumstances(state="run-up")
    about = {"pulses_per_turn": 1, "tachometer": "1 pulse a turn", "marks_s": passed} if marks else {}
    return Recording(wave, RATE, "m/s2", speed_hz=15.0, name="run-up", taken=taken, **about)  # type: ignore[arg-type]


def order_rows(result: StageResult) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Orders, times and levels of the order map."""
    columns = result.arrays["order-map-0"]
    times = [name for name in columns if name != "order"]
    return columns["order"], np.array([float(name[3:]) for name in times]), np.stack([columns[name] for name in times])


def test_the_order_map_of_a_run_up_has_upright_lines_where_a_tachometer_tells_its_speed() -> None:
    """Each line stands in one column at its amplitude in every stretch (a Hann window misses 1.42 dB at most, Harris 1978), while
    hum at 100 Hz stands at 100 Hz over the speed 6 + 0.9 t.
    """
    job = build(parse_text(PAIR), folder="job")
    result = diagnose.run(job, [run_up(job, marks=True)])
    assert not any("one of them is wrong" in reason for reason in result.document["cannot_tell"]), "it ran up to its own speed"
    orders, times, level = order_rows(result)
    step = orders[1] - orders[0]
    assert len(times) == 48 and times[0] < 2 and times[-1] > 19
    for order, height in ((1, 0.5), (19, 2.0), (38, 1.0)):
        near = np.abs(orders - order) < 0.5
        columns = orders[near][np.argmax(level[:, near], axis=1)]
        assert np.abs(columns - order).max() <= step
        assert np.all((10 ** (-1.5 / 20) * height < level[:, near].max(axis=1)) & (level[:, near].max(axis=1) < 1.05 * height))
    hum = 100 / (6 + 0.9 * times)
    clear = np.abs(hum - 19) > 1
    found = [orders[np.argmax(np.where(np.abs(orders - at) < 1, row, 0))] for at, row in zip(hum, level, strict=True)]
    smeared = 0.9 * times[1] * hum**2 / 100  # by how many orders it moves within a stretch, about
    assert np.all(np.abs(np.array(found) - hum)[clear] <= (step + smeared)[clear])
    drawn = plot("order-map", Judged(survey.run(job).document, result.document, result.arrays, 0))
    assert drawn is not None and drawn.caption == "Orders over time, each stretch at its own speed, told by its tachometer."
    assert drawn.says.startswith("Upright lines turn with the drive")
    assert_clear(drawn.sheet)


def test_the_order_map_of_a_run_up_without_a_tachometer_follows_its_lines() -> None:
    """With a third mesh harmonic, of order 57: each stays in its column; at the mean speed the first leans from order 8 to 30."""
    job = build(parse_text(PAIR), folder="job")
    plain = run_up(job, marks=False)
    time = np.arange(plain.samples.size) / RATE
    third = 0.5 * np.cos(2 * np.pi * 57 * (6 * time + 0.45 * time**2))
    result = diagnose.run(job, [replace(plain, samples=plain.samples + third)])
    orders, _, level = order_rows(result)
    for order in (19, 38, 57):
        near = np.abs(orders - order) < 2
        places = orders[near][np.argmax(level[:, near], axis=1)]
        assert np.quantile(np.abs(places - order), 0.9) <= 0.01 * order, "half a second tells a speed to a hundredth"
    drawn = plot("order-map", Judged(survey.run(job).document, result.document, result.arrays, 0))
    assert drawn is not None and drawn.caption == "Orders over time, each stretch at its own speed, told by the way its lines go."


def test_the_order_map_of_a_run_up_that_nothing_tells_says_that_it_is_read_at_one_speed() -> None:
    job = build(parse_text(PAIR), folder="job")
    noise = np.random.default_rng(1).standard_normal(int(20 * RATE))
    result = diagnose.run(job, [replace(run_up(job, marks=False), samples=noise)])
    drawn = plot("order-map", Judged(survey.run(job).document, result.document, result.arrays, 0))
    assert drawn is not None and drawn.caption == (
        "Orders over time, at 900 rpm for the whole record, since its own speed is not told (no tachometer was recorded with it; "
        "no path of speeds along which the drive's lines stand out: record with a tachometer)."
    )
    assert "mean speed" in drawn.says


def test_a_mesh_line_tells_the_order_map_the_speed_where_it_swings() -> None:
    """Speed 24.6 (1 + 0.004 sin(2 pi 0.5 t)): of the third mesh harmonic, order 57, the place would swing by 0.23 at the mean."""
    job = build(parse_text(PAIR), folder="job")
    time = np.arange(int(8 * RATE)) / RATE
    turns = SPEED * (time - 0.004 * np.cos(2 * np.pi * 0.5 * time) / (2 * np.pi * 0.5))
    wave = sum(np.cos(2 * np.pi * order * turns) for order in (19, 38, 57)) + 0.1 * np.random.default_rng(1).standard_normal(
        time.size
    )
    result = diagnose.run(job, [Recording(wave, RATE, "m/s2", speed_hz=SPEED, name="swing")])
    orders, _, level = order_rows(result)
    near = np.abs(orders - 57) < 0.5
    assert np.ptp(orders[near][np.argmax(level[:, near], axis=1)]) <= orders[1] - orders[0]
    assert level[:, near].max(axis=1).min() > 10 ** (-1.5 / 20)
    assert result.document["recordings"][0]["order_map"] == {
        "own_speed": True,
        "says": "each stretch at its own speed, told by the phase of mesh 1x",
    }


def test_noise_tells_an_order_map_no_speed_of_its_own() -> None:
    job = build(parse_text(PAIR), folder="job")
    for seed in range(20):
        heard = hear(Recording(np.random.default_rng(seed).standard_normal(int(8 * RATE)), RATE, "m/s2"))
        noise = Observed(heard.recording, heard.spectrum, heard.envelope, SPEED, 0.025, quality=())
        made = mapped(job.drive, expected_lines(job.drive), noise, speed_hz=SPEED)
        assert made.columns and not made.own_speed


def test_a_long_history_is_thinned_and_keeps_the_latest() -> None:
    history = OrderHistory(20.0)
    spectrum = transform(np.random.default_rng(0).standard_normal(4096), sample_rate_hz=RATE)
    for number in range(1000):
        history.add(number, spectrum, SPEED)
        assert len(history.rows) <= 128 and history.rows[-1][0] == number and history.rows[0][0] == 0


@settings(deadline=None, max_examples=40)
@given(size=st.integers(64, 40000), rate=st.floats(100, 1e5), speed=st.floats(0.05, 100), seed=st.integers(0, 9))
def test_a_recording_of_any_length_gives_what_can_be_made_of_it(size: int, rate: float, speed: float, seed: int) -> None:
    job = build(parse_text(PAIR), folder="job")
    samples = np.random.default_rng(seed).standard_normal(size).astype(np.float32)
    record = Recording(samples, rate, "m/s2")
    lines = expected_lines(job.drive)
    found = pictured(
        record,
        transform(samples, sample_rate_hz=rate),
        Speed(speed, None, 0.02, "stated"),
        drive=job.drive,
        fastest_order=5.0,
    )
    found["order-map"] = mapped(job.drive, lines, Recorded(record, quality=()), speed_hz=speed).columns
    found["waveform"] = waveform(record, speed, clipped=False)
    for columns in found.values():
        assert all(np.isfinite(values).all() for values in columns.values())
    assert found["waveform"]["value"].size <= 16384 and np.abs(found["waveform"]["value"]).max() == np.abs(samples).max()


@pytest.mark.parametrize("kind", DRIVES)
def test_plots_of_drives_of_every_kind_keep_their_labels_apart(kind: str) -> None:
    job = build(parse_text(f"job: 1\ntitle: {kind}\ndrive:{DRIVES[kind]}"), folder="job")
    speed = job.drive.rated_speed_hz
    samples = simulate(job.drive, speed_hz=speed, sample_rate_hz=RATE, samples=int(8 * RATE), seed=3, noise="white", levels=LEVELS)
    result = diagnose.run(
        job, [Recording(samples, RATE, "m/s2", speed_hz=speed, name=f"record {n}", start=f"2026-0{n}") for n in (1, 2)]
    )
    document = survey.run(job).document
    drawn = [found for name in KINDS if (found := plot(name, Judged(document, result.document, result.arrays, 1)))]
    assert drawn
    for found in drawn:
        assert_clear(found.sheet)
    assert highest_order(expected_lines(job.drive)) >= 20


def test_plot_writes_svg_and_png_and_refuses_what_it_cannot_draw(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "job.yaml").write_text(PAIR, encoding="utf-8")
    job = load(folder)
    samples = simulate(job.drive, speed_hz=SPEED, sample_rate_hz=RATE, samples=int(10 * RATE), seed=3, noise="white", levels=LEVELS)
    np.save(tmp_path / "record.npy", samples)
    call = ["plot", str(folder), str(tmp_path / "record.npy"), "--rate", "12.8 kHz", "--unit", "m/s2"]
    assert main([*call, "--kind", "spectrum", "--into", str(tmp_path / "a.svg")]) == 0
    svg = ElementTree.fromstring((tmp_path / "a.svg").read_text(encoding="utf-8"))
    assert main([*call, "--kind", "spectrum", "--into", str(tmp_path / "a.png")]) == 0
    picture = Image.open(io.BytesIO((tmp_path / "a.png").read_bytes()))
    assert picture.size == (2 * int(svg.get("width", "0")), 2 * int(svg.get("height", "0")))
    assert not (folder / "results").exists(), "a plot is no result"
    capsys.readouterr()
    for kind, into, said in (
        ("history", "b.svg", "two recordings or more"),
        ("pie", "b.svg", "one of waveform, spectrum"),
        ("spectrum", "b.gif", "ends in .svg or .png"),
        ("spectrum", "no folder/b.svg", "No such file or directory   a place that is there"),
    ):
        assert main([*call, "--kind", kind, "--into", str(tmp_path / into)]) == 2
        assert said in capsys.readouterr().err
        assert not (tmp_path / into).exists()
