"""Sheets of a plan measured as a reader would: lengths on paper against the plan's, PDF and DXF read back by their own libraries.

The scale of a printed sheet is known from the file alone: SVG counts 96 px to the inch (CSS 2.1, section 4.3.2), PDF 72 units to
the inch (ISO 32000-1, section 8.3.2.3), a DXF names its unit ($INSUNITS 4: mm, DXF reference).
"""

import csv
import io
import itertools
import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import ezdxf
import ezdxf.bbox
import ezdxf.units
import numpy as np
import pypdf
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pypdf.generic import ContentStream

from gearcase.drawings.beside import plan_drawings, plan_files
from gearcase.drawings.chart import schedule_sheet, verdict
from gearcase.drawings.drafting import TitleBlock, hatch, spread
from gearcase.drawings.face import face_sheet
from gearcase.drawings.plate import plate_dxf, plate_sheet
from gearcase.drawings.solid import VIEWS, isometric, solid_sheet
from gearcase.drawings.svg import Box, Sheet
from gearcase.drawings.template import OVERLAP, PAPERS, template_pdf, template_sheets
from gearcase.drawings.wiring import bus_sheet, power_sheet, terminals_sheet
from gearcase.errors import OutOfRange
from gearcase.install.orientation import OUTWARD, rotation
from gearcase.job.build import load
from gearcase.stages import plan
from gearcase.stages.plan import HELD
from sheetrows import BUS, CABLES, FACES, HOUR, INPUT_END, LEFT, PARTS, PLATE, POWER, ROUTES, SCHEDULE, TERMINALS
from test_stages import EXAMPLES

BLOCK = TitleBlock("Conveyor CV-204", "plan", "0003", "2026-09-08", "0123456789ab")
PX, POINTS = 96 / 25.4, 72 / 25.4  # to the mm


def studs(*places: tuple[float, float]) -> list[dict[str, Any]]:
    """Parts on studs of the left face, at places in m."""
    return [{**PARTS[3], "name": f"stud {number}", "at_m": list(at)} for number, at in enumerate(places)]


SHEETS: dict[str, Callable[[], list[Sheet]]] = {
    "face left": lambda: [face_sheet(LEFT, PARTS, title="face left", block=BLOCK)],
    "face in a report": lambda: [face_sheet(INPUT_END, PARTS, title="face coupling side")],
    "template A4": lambda: template_sheets(LEFT, [*PARTS, *studs((0.380, 0.100))], paper="A4", block=BLOCK),
    "template A3": lambda: template_sheets(LEFT, [*PARTS, *studs((0.380, 0.100))], paper="A3", block=BLOCK),
    "plate": lambda: [plate_sheet(PLATE, block=BLOCK)],
    "housing": lambda: [solid_sheet(FACES, PARTS, ROUTES, title="housing", block=BLOCK)],
    "bus": lambda: [bus_sheet(BUS, CABLES, title="serial bus", block=BLOCK)],
    "power": lambda: [power_sheet(POWER, title="power", block=BLOCK)],
    "terminals": lambda: [terminals_sheet(TERMINALS, title="terminals", block=BLOCK)],
    "schedule": lambda: [schedule_sheet(SCHEDULE, title="outage", block=BLOCK)],
}


def words_of(svg: str) -> str:
    """All words of a drawing; fails where it is not well formed."""
    return " ".join(" ".join(ElementTree.fromstring(svg).itertext()).split())


def overlapping(sheet: Sheet) -> list[tuple[Box, Box]]:
    return [pair for pair in itertools.combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]


def off_the_sheet(sheet: Sheet) -> list[Box]:
    return [box for box in sheet.labels if box.left < 0 or box.top < 0 or box.right > sheet.width or box.bottom > sheet.height]


@pytest.mark.parametrize("name", SHEETS)
def test_no_label_stands_on_another_or_off_its_sheet(name: str) -> None:
    for sheet in SHEETS[name]():
        assert not overlapping(sheet) and not off_the_sheet(sheet)


@pytest.mark.parametrize(
    ("name", "expected"),
    {
        "face left": "input left|output left|intermediate left|drain plug (port)|split flange (split line)|exhaust (hot zone)"
        "|wall 22.4 ± 0.3, measured|wall unknown|jacking screw|leave it alone|load to 2 o'clock|mark to 10.5 o'clock|1:5",
        "template A4": "drill No. 3 (5.41 mm), tap 1/4-28|95 from left, 340 up"
        "|flat magnet: do not drill|380 from left, 100 up|Measure both bars|datum: left edge|1:1",
        "plate": "slot 13.5 x 30, turned 90°|enclosure foot, M6|R10|1:2",
        "housing": "from the input end, left, above|from the output end, right, below|cable W1|cable W2|up: no face given",
        "bus": "address 3|address 31|0.125 unit loads|stub 0.5 m|trunk 8.2 m|termination 120 Ω|bias 560 Ω to 5 V|isolated|cable W2"
        "|no cable left|screen grounded|19200 baud",
        "power": "fuse 4 A|22 AWG, 8.2 m, 0.1 A|23.3 V, needs 21.6 V or more|licensed electrician only|lowest volts",
        "terminals": "D1|D0|common|splitter, terminal 4|colour, as found",
        "schedule": "locked out|cold|running|cures 4 h|opens|closes|network approval|A, B|Fits",
    }.items(),
)
def test_each_sheet_says_what_a_technician_needs_from_it(name: str, expected: str) -> None:
    words = " ".join(words_of(sheet.svg(name)) for sheet in SHEETS[name]())
    assert [part for part in expected.split("|") if part not in words] == []
    assert all(cell in words for cell in vars(BLOCK).values())


PLACES = st.tuples(st.floats(0.02, 0.60), st.floats(0.02, 0.41))


@given(places=st.lists(PLACES, min_size=1, max_size=8), clock=st.one_of(st.none(), st.floats(0, 12)))
def test_parts_anywhere_on_a_face_never_write_on_one_another(places: list[tuple[float, float]], clock: float | None) -> None:
    parts = [{**PARTS[1], "name": f"sensor {n}", "at_m": list(at), "clock": clock} for n, at in enumerate(places)]
    sheet = face_sheet(LEFT, parts, title="face left", block=BLOCK)
    assert not overlapping(sheet) and not off_the_sheet(sheet)
    assert all(f"sensor {n}" in words_of(sheet.svg("x")) for n in range(len(places)))


@pytest.mark.parametrize(
    ("wide", "high", "scale"), [(0.12, 0.08, 1), (0.25, 0.2, 2), (0.62, 0.43, 5), (1.2, 0.9, 10), (0.2, 0.9, 5)]
)
def test_a_face_takes_the_largest_scale_that_fits_and_holds_it(wide: float, high: float, scale: int) -> None:
    """ISO 5455 reductions; 180 x 240 mm is what is left of A4 between margins and title block."""
    sheet = face_sheet({"name": "f", "size_m": [wide, high], "keep_outs": []}, [], title="f", block=BLOCK)
    assert f"scale 1:{scale} " in words_of(sheet.svg("f"))
    found = re.search(r'<rect x="[\d.]+" y="[\d.]+" width="([\d.]+)" height="([\d.]+)"', sheet.svg("f"))
    assert found
    assert float(found[1]) / PX * scale == pytest.approx(1000 * wide, abs=0.05 * scale)
    assert float(found[2]) / PX * scale == pytest.approx(1000 * high, abs=0.05 * scale)
    assert sheet.width <= 180 * PX and sheet.height <= 260 * PX


@pytest.mark.parametrize("clock", [12, 3, 4.5, 10.5])
def test_the_mark_points_where_the_sensors_y_axis_will(clock: float) -> None:
    """On the left face, seen from outside, A runs to the right and V up (orientation's axes, checked there against gravity)."""
    part = {**PARTS[1], "clock": clock}
    sheet = face_sheet(LEFT, [part], title="f")
    (head,) = [one for one in sheet.parts if one.startswith("<path") and 'fill="#8A5A2B"' in one]
    tip, left, right = (tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", head))
    back = ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)
    _, up, along = rotation("left", clock)[1]
    length = math.dist(tip, back)
    assert (tip[0] - back[0]) / length == pytest.approx(along, abs=0.01)
    assert (back[1] - tip[1]) / length == pytest.approx(up, abs=0.01)


@pytest.mark.parametrize(
    ("outward", "twelve", "three"),  # standing before each face of a box, its input end known: geometry
    [
        ("input end", "up", "right, seen from the input end"),
        ("output end", "up", "left, seen from the input end"),
        ("left", "up", "towards the input end"),
        ("right", "up", "towards the output end"),
        ("up", "towards the output end", "right, seen from the input end"),
        ("down", "towards the output end", "left, seen from the input end"),
    ],
)
def test_a_face_says_what_its_clock_means_on_the_machine_and_the_template_which_edge_is_meant(
    outward: str, twelve: str, three: str
) -> None:
    face = {**LEFT, "outward": outward}
    assert f"12 o'clock {twelve}, 3 o'clock {three}" in words_of(face_sheet(face, PARTS, title="f").svg("f"))
    opposite = {"up": "down", "towards the output end": "towards the input end"}[twelve]
    told = words_of(template_sheets(face, studs((0.05, 0.05)), paper="A4", block=BLOCK)[0].svg("t"))
    assert f"datum: lower edge of the face ({opposite})" in told
    unknown = {key: value for key, value in LEFT.items() if key != "outward"}
    assert "o'clock up" not in words_of(face_sheet(unknown, PARTS, title="f").svg("f"))


def test_what_must_stay_clear_is_dimensioned_to_its_edges_on_the_face_and_in_its_table() -> None:
    """By hand from LEFT: the level glass, 45 x 45 mm about (540, 130), has its edges at 517.5 and 562.5, 107.5 and 152.5."""
    sheet = face_sheet(LEFT, [], title="f")
    figures = re.findall(r">([\d.]+)<", sheet.svg("f"))
    assert all(figure in figures for figure in ("517.5", "562.5", "107.5", "152.5", "235", "265"))
    words = words_of(sheet.svg("f"))
    assert "oil level glass 517.5–562.5 107.5–152.5 keep clear: port" in words
    assert "split flange 0–620 235–265 keep clear: split line" in words


def test_a_keep_out_over_the_faces_edge_is_dimensioned_no_farther_than_the_face() -> None:
    over = {**INPUT_END, "keep_outs": [{"name": "guard", "kind": "guard", "at_m": [0.5, 0.4], "size_m": [0.2, 0.2]}]}
    words = words_of(face_sheet(over, [], title="f").svg("f"))
    assert "guard 400–520 300–430 keep clear: guard" in words and "600" not in words.split() and "500" not in words.split()


def test_no_label_stands_in_the_hatching_of_another_nor_on_a_leader() -> None:
    """A boss beside a guard, as a coupling side has it: the label of the boss keeps off the guard."""
    boss = {"name": "beside the cap", "kind": "boss", "at_m": [0.33, 0.33], "size_m": [0.045, 0.045], "wall": None}
    sheet = face_sheet({**INPUT_END, "regions": [boss]}, PARTS, title="f")
    guard = re.search(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"[^>]*dasharray="4 3"', sheet.svg("f"))
    assert guard
    left, top, wide, high = map(float, guard.groups())
    hatched = Box(left, top, left + wide, top + high)
    texts = re.findall(r">([^<>]+)</text>", sheet.svg("f"))
    assert len(texts) == len(sheet.labels)
    inside = [text for text, box in zip(texts, sheet.labels, strict=True) if box.overlaps(hatched)]
    assert "beside the cap (boss)" in texts and set(inside) <= {"coupling and guard (rotating part)"}
    assert sheet.leaders, "the label of the boss or the part is led"
    for (x, y, to_x, to_y), box in itertools.product(sheet.leaders, sheet.labels):
        along = [(x + (to_x - x) * n / 50, y + (to_y - y) * n / 50) for n in range(50)]
        assert not any(box.left < across < box.right and box.top < down < box.bottom for across, down in along)


@pytest.mark.parametrize(
    "places",  # crowds in which a leader ran through a sensor
    [
        [(0.446, 0.051), (0.282, 0.288), (0.169, 0.362), (0.519, 0.060), (0.063, 0.229), (0.538, 0.176)],
        [(0.251, 0.349), (0.155, 0.222), (0.267, 0.343), (0.566, 0.145), (0.306, 0.345), (0.333, 0.121)],
        [(0.076, 0.169), (0.367, 0.274), (0.501, 0.079), (0.385, 0.115), (0.228, 0.240), (0.486, 0.271)],
    ],
)
def test_no_leader_runs_through_a_sensor_or_a_hole_that_it_does_not_name(places: list[tuple[float, float]]) -> None:
    """Each leader keeps 6 px from the middle of every mark but the one at which it starts: its circle is 5 px and more."""
    parts = [{**part, "clock": None} for part in studs(*places)]
    sheet = face_sheet(LEFT, parts, title="f")
    each = PX / int(re.findall(r"scale 1:(\d+)", words_of(sheet.svg("f")))[0])
    outline = re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', sheet.svg("f"))[0]
    left, top, high = (float(one) for one in outline)
    marks = [one["at_m"] for one in (*parts, *LEFT["threaded_holes"])]
    middles = [(left + 1000 * x * each, top + high - 1000 * y * each) for x, y in marks]
    assert sheet.leaders
    for x, y, to_x, to_y in sheet.leaders:
        long = math.dist((x, y), (to_x, to_y))
        for across, down in middles:
            share = min(max(((across - x) * (to_x - x) + (down - y) * (to_y - y)) / long**2, 0), 1)
            away = math.dist((across, down), (x + share * (to_x - x), y + share * (to_y - y)))
            assert away >= 6 or math.dist((x, y), (across, down)) < 16, (across, down)


def test_an_area_is_named_inside_where_its_name_fits() -> None:
    """A wide panel with a part in its middle: the name moves aside and stays in the panel."""
    panel = {"name": "panel", "kind": "panel", "at_m": [0.26, 0.2], "size_m": [0.3, 0.2], "wall": None}
    part = {**PARTS[0], "at_m": [0.26, 0.2], "clock": None}
    sheet = face_sheet({**INPUT_END, "keep_outs": [], "regions": [panel]}, [part], title="f")
    found = re.search(
        r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"[^>]*dasharray="10 2 2 2"', sheet.svg("f")
    )
    assert found
    left, top, wide, high = map(float, found.groups())
    (box,) = [
        box for text, box in zip(re.findall(r">([^<>]+)</text>", sheet.svg("f")), sheet.labels, strict=True) if "(panel)" in text
    ]
    assert left < box.left and box.right < left + wide and top < box.top and box.bottom < top + high


def test_the_enclosure_and_its_plate_are_on_their_face_and_in_space_where_the_job_has_them() -> None:
    """Of the demo's job.yaml: the enclosure 140 x 120 about (125, 360); the plate's slots over the jig holes (40 and 210, 360)."""
    document = plan.run(load(EXAMPLES / "demo")).document
    box, plate = document["fittings"]
    assert box["face"] == plate["face"] == "left"
    assert [*box["at_m"], *box["size_m"]] == pytest.approx([0.125, 0.36, 0.14, 0.12])
    corner = [at - side / 2 for at, side in zip(plate["at_m"], plate["size_m"], strict=True)]
    over = [[round(c + a, 6) for c, a in zip(corner, slot["at_m"], strict=True)] for slot in document["plates"][0]["slots"]]
    assert over == [[0.04, 0.36], [0.21, 0.36]]
    left, coupling = (
        face_sheet(face, document["parts"], title="f", fittings=document["fittings"]).svg("f") for face in document["faces"]
    )
    assert "edge enclosure 55–195 300–420 140 x 120, on plate on the jig holes" in words_of(left)
    assert left.count('dasharray="12 3 2 3 2 3"') == 2 and "edge enclosure" not in words_of(coupling)
    files = plan_drawings(document, block=BLOCK)
    assert all(row["name"] in words_of(files[name].decode()) for row in (box, plate) for name in ("face-0.svg", "housing.svg"))


def test_an_enclosure_on_a_stand_is_on_no_face() -> None:
    job = load(EXAMPLES / "demo")
    assert job.kit.enclosure
    stand = replace(job.kit.enclosure, face="", at=None, bracket="stand of the light")
    assert plan.run(replace(job, kit=replace(job.kit, enclosure=stand))).document["fittings"] == []
    assert plan.run(replace(job, kit=replace(job.kit, enclosure=None))).document["fittings"] == []


def test_a_name_too_long_for_its_cell_of_the_title_block_takes_two_lines() -> None:
    plate = {**PLATE, "name": "plate on the jig holes"}
    sheet = plate_sheet(plate, block=BLOCK)
    assert "sheet plate on the jig holes stage" in words_of(sheet.svg("p"))
    assert not overlapping(sheet) and not off_the_sheet(sheet)


def test_no_words_are_cut_in_tables_headlines_and_names_of_tasks() -> None:
    """On the sheets a mark's use, a terminal's place and a crew are told nowhere else."""
    said = "jacking the two halves of the housing apart, and only that, with the cap bolts slack and the dowels drawn"
    crew = ["a licensed electrician of the plant, to be named", "the shift engineer of the crushing plant"]
    face = {**LEFT, "outward": "up", "threaded_holes": [{**LEFT["threaded_holes"][0], "function": said}]}
    tasks = [{**task, "crew": crew} for task in SCHEDULE["tasks"]]
    sheets = {
        said: [
            face_sheet(face, PARTS, title="face top", block=BLOCK),
            terminals_sheet([{**row, "to": said} for row in TERMINALS], title="terminals", block=BLOCK),
            plate_sheet({**PLATE, "holes": [{**hole, "for": said} for hole in PLATE["holes"]]}, block=BLOCK),
        ],
        ", ".join(crew): [schedule_sheet({**SCHEDULE, "tasks": tasks}, title="outage", block=BLOCK)],
    }
    for text, sheet in ((text, sheet) for text, some in sheets.items() for sheet in some):
        words = words_of(sheet.svg("s"))
        assert "…" not in words and set(text.split()) <= set(words.split())
        assert not overlapping(sheet) and not off_the_sheet(sheet)
    assert "dimensions in mm from the lower left corner" in words_of(sheets[said][0].svg("s"))


@given(size=st.tuples(st.floats(1, 300), st.floats(1, 300)), slope=st.sampled_from([-1, 0, 1]), every=st.floats(2, 20))
def test_hatching_stays_inside_its_area_at_its_slope(size: tuple[float, float], slope: int, every: float) -> None:
    sheet = Sheet(400, 400)
    hatch(sheet, Box(50, 50, 50 + size[0], 50 + size[1]), slope=slope, every=every)
    for part in sheet.parts:
        x, y, to_x, to_y = (float(one) for one in re.findall(r'[xy][12]="([\d.]+)"', part))
        assert all(49.9 <= one <= 50.1 + size[0] for one in (x, to_x)) and all(49.9 <= one <= 50.1 + size[1] for one in (y, to_y))
        assert abs(abs(to_y - y) - abs(slope) * abs(to_x - x)) <= 0.21


@given(places=st.lists(st.floats(0, 100), max_size=6).map(sorted))
def test_figures_are_spread_in_order_with_room_between(places: list[float]) -> None:
    moved = spread(places, least=12, low=0, high=100)
    assert all(b - a >= 12 - 1e-9 for a, b in itertools.pairwise(moved)) and all(0 <= one <= 100 for one in moved)


def test_equal_distances_on_a_plate_read_equal() -> None:
    """Two slots 200 mm apart, at 31.75 and at what is a hair less than 231.75 mm."""
    slots = [{**PLATE["slots"][0], "at_m": [x, 0.075]} for x in (0.03175, 0.23174999999999998)]
    told = words_of(plate_sheet({**PLATE, "size_m": [0.3, 0.15], "holes": [], "slots": slots}, block=BLOCK).svg("p"))
    places = [float(x) for x in re.findall(r"slot [\d.]+ x [\d.]+, turned 0° ([\d.]+)", told)]
    assert places[1] - places[0] == pytest.approx(200)


# the template, measured in its PDF


Matrix = NDArray[np.float64]


def drawn(reader: pypdf.PdfReader, page: pypdf.PageObject) -> Iterator[list[tuple[float, float]]]:
    """Every path of a page as its points, in mm from the lower left corner of the paper."""

    def walk(stream: Any, resources: Any, matrix: Matrix) -> Iterator[list[tuple[float, float]]]:
        kept: list[Matrix] = []
        path: list[tuple[float, float]] = []
        for values, sign in ContentStream(stream, reader).operations:
            if sign == b"q":
                kept.append(matrix)
            elif sign == b"Q":
                matrix = kept.pop()
            elif sign == b"cm":
                matrix = as_matrix(values) @ matrix
            elif sign in (b"m", b"l", b"c"):
                if sign == b"m" and path:
                    yield path
                    path = []
                x, y, _ = np.array([float(values[-2]), float(values[-1]), 1.0]) @ matrix
                path.append((x / POINTS, y / POINTS))
            elif sign in (b"S", b"s", b"f", b"B", b"b", b"n", b"f*", b"B*"):
                if path:
                    yield path
                path = []
            elif sign == b"Do":
                form = resources["/XObject"][values[0]].get_object()
                if form["/Subtype"] == "/Form":
                    own = as_matrix(form.get("/Matrix", [1, 0, 0, 1, 0, 0]))
                    yield from walk(form, form.get("/Resources", resources), own @ matrix)

    yield from walk(page["/Contents"].get_object(), page["/Resources"], np.eye(3))


def as_matrix(values: Any) -> Matrix:
    a, b, c, d, e, f = (float(value) for value in values)
    return np.array([[a, b, 0], [c, d, 0], [e, f, 1]])


def straight(reader: pypdf.PdfReader, page: pypdf.PageObject) -> list[tuple[float, float, float, float]]:
    return [(*path[0], *path[1]) for path in drawn(reader, page) if len(path) == 2]


@pytest.fixture(scope="module", params=PAPERS)
def template(request: pytest.FixtureRequest) -> tuple[str, pypdf.PdfReader]:
    return request.param, pypdf.PdfReader(io.BytesIO(template_pdf(LEFT, PARTS, paper=request.param, block=BLOCK)))


def test_both_bars_of_every_page_measure_100_mm_in_the_pdf(template: tuple[str, pypdf.PdfReader]) -> None:
    paper, reader = template
    for page in reader.pages:
        assert (float(page.mediabox.width) / POINTS, float(page.mediabox.height) / POINTS) == pytest.approx(PAPERS[paper], abs=0.01)
        lines = straight(reader, page)
        level = [abs(x2 - x1) for x1, y1, x2, y2 in lines if y1 == y2 and 95 < abs(x2 - x1) < 105]
        upright = [abs(y2 - y1) for x1, y1, x2, y2 in lines if x1 == x2 and 95 < abs(y2 - y1) < 105]
        assert level == [pytest.approx(100, abs=0.1)] and upright == [pytest.approx(100, abs=0.1)]
        assert page.extract_text().count("100 mm, measure me") == 2


def crosses(reader: pypdf.PdfReader, page: pypdf.PageObject, most: float) -> list[tuple[float, float]]:
    """Middles of equal level and upright strokes that halve each other. [mm]"""
    lines = [line for line in straight(reader, page) if math.dist(line[:2], line[2:]) < most]
    level = {(round((a + c) / 2, 1), round(b, 1)): c - a for a, b, c, d in lines if b == d and c - a > 4}
    upright = {(round(a, 1), round((b + d) / 2, 1)): abs(d - b) for a, b, c, d in lines if a == c and abs(d - b) > 4}
    near = [(one, other) for one in level for other in upright if math.dist(one, other) < 0.2]
    return [one for one, other in near if abs(level[one] - upright[other]) < 0.1]


def test_holes_stand_on_the_page_where_the_plan_has_them(template: tuple[str, pypdf.PdfReader]) -> None:
    """The stud and the tapped hole J1 share the first sheet: 65 mm across and 60 mm up from one to the other, in the plan."""
    _, reader = template
    for page in reader.pages:
        if "jacking" not in page.extract_text() and "J1" in page.extract_text() and "input left" in page.extract_text():
            found = crosses(reader, page, 40)
            apart = [(b[0] - a[0], b[1] - a[1]) for a, b in itertools.permutations(found, 2)]
            assert any(dx == pytest.approx(65, abs=0.15) and dy == pytest.approx(-60, abs=0.15) for dx, dy in apart)
            return
    pytest.fail("no page shows the stud and the tapped hole")


def test_the_datum_edge_stands_as_far_from_the_hole_as_the_plan_says() -> None:
    """The heavy upright line is the face's left edge: the stud is 95 mm to the right of it."""
    reader = pypdf.PdfReader(io.BytesIO(template_pdf(LEFT, PARTS, paper="A4", block=BLOCK)))
    (page,) = [page for page in reader.pages if "input left" in page.extract_text()]
    edge = max((line for line in straight(reader, page) if line[0] == line[2]), key=lambda line: abs(line[3] - line[1]))
    assert any(x - edge[0] == pytest.approx(95, abs=0.15) for x, _ in crosses(reader, page, 40))


def test_registration_marks_of_neighbours_are_the_same_places_on_the_face() -> None:
    """Each sheet writes the place beside its mark: of two sheets side by side, and one above the other, two places agree."""
    four = studs((0.080, 0.100), (0.250, 0.100), (0.080, 0.350), (0.250, 0.350))
    sheets = template_sheets(LEFT, four, paper="A4", block=BLOCK)
    places = [set(re.findall(r">(-?[\d.]+, -?[\d.]+)<", sheet.svg("t"))) for sheet in sheets]
    assert [len(own) for own in places] == [4] * 4 and OVERLAP > 0
    for one, other in ((0, 1), (2, 3), (0, 2), (1, 3)):
        assert len(places[one] & places[other]) == 2


def test_registration_marks_stand_where_they_say_from_the_datum_edges() -> None:
    """The first sheet shows both edges, its longest strokes; a mark says 'across, up' from their corner."""
    reader = pypdf.PdfReader(io.BytesIO(template_pdf(LEFT, studs((0.100, 0.100)), paper="A4", block=BLOCK)))
    lines = [line for line in straight(reader, reader.pages[0]) if math.dist(line[:2], line[2:]) > 150]
    left = max((line for line in lines if line[0] == line[2]), key=lambda line: abs(line[3] - line[1]))[0]
    low = min(line[1] for line in lines if line[1] == line[3])
    said = re.findall(r"(?<![\d.])(-?\d+), (-?\d+)(?![\d.])", reader.pages[0].extract_text())
    stand = [(x - left, y - low) for x, y in crosses(reader, reader.pages[0], 40)]
    assert len(said) == 4
    for across, up in said:
        assert any(math.dist(one, (float(across), float(up))) < 0.15 for one in stand), (across, up, stand)


def test_only_sheets_with_a_hole_are_printed_and_one_hole_is_one_sheet() -> None:
    """Of four parts on the face one is on a stud: the sheets of those bonded or held by a magnet are not printed."""
    assert len(template_sheets(LEFT, PARTS, paper="A4", block=BLOCK)) == 1
    assert len(template_sheets(LEFT, studs((0.560, 0.030), (0.040, 0.400)), paper="A4", block=BLOCK)) == 2


@example(places=[(0.0, 0.25), (0.25, 0.203125)])  # an upright label ran out of its sheet's window
@example(places=[(0.375, 0.359375), (0.375, 0.359375), (0.359375, 0.359375)])  # no room near by for the third label
@given(places=st.lists(st.tuples(st.floats(0, 0.62), st.floats(0, 0.43)), min_size=1, max_size=3))
def test_each_hole_stands_whole_on_a_sheet_that_says_how_it_is_laid(places: list[tuple[float, float]]) -> None:
    """The drill of 5.41 mm at least its own width inside the border; each sheet bears datum edges or lines to scribe, both ways."""
    sheets = template_sheets(LEFT, studs(*places), paper="A4", block=BLOCK)
    assert len(sheets) <= len(places)
    shown: set[str] = set()
    for sheet in sheets:
        svg, told = sheet.svg("t"), words_of(sheet.svg("t"))
        left, top, wide, high = map(
            float, re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)[0]
        )
        rings = [(float(x) + 10.2, float(y)) for x, y in re.findall(r'd="M([\d.]+) ([\d.]+)a10.2 10.2', svg)]
        own = set(re.findall(r"stud \d", told))
        whole = [left + 20 < x < left + wide - 20 and top + 20 < y < top + high - 20 for x, y in rings]
        assert own and sum(whole) >= 1
        shown |= own
        assert not overlapping(sheet) and not off_the_sheet(sheet)
        assert re.search(r"datum: left edge of the face|scribe on the face: \d+ mm from its left edge", told)
        assert re.search(r"datum: lower edge of the face|scribe on the face: \d+ mm up from its lower edge", told)
    assert shown == {f"stud {number}" for number in range(len(places))}


def test_a_row_of_holes_over_several_sheets_is_shown_to_the_last() -> None:
    """Every 31 mm over a face 620 mm wide: no choice of where sheets begin keeps all of them from borders, yet each is on one."""
    row = studs(*((0.005 + 0.031 * number, 0.2) for number in range(20)))
    told = " ".join(words_of(sheet.svg("t")) for sheet in template_sheets(LEFT, row, paper="A4", block=BLOCK))
    assert {f"stud {number}" for number in range(20)} == set(re.findall(r"stud \d+", told))


@pytest.mark.parametrize(("at", "way"), [((0.330, 0.330), "left"), ((0.330, 0.330), "up"), ((0.560, 0.200), "left")])
def test_a_line_to_scribe_stands_as_far_from_the_hole_as_it_says(at: tuple[float, float], way: str) -> None:
    """Measured in the PDF: the heavy dashed line and the hole are apart by the difference of what the sheet says of both."""
    reader = pypdf.PdfReader(io.BytesIO(template_pdf(LEFT, studs(at), paper="A4", block=BLOCK)))
    (page,) = reader.pages
    said = re.search(r"(\d+)\s+mm\s+from\s+its\s+left" if way == "left" else r"(\d+)\s+mm\s+up\s+from", page.extract_text())
    assert said and int(said[1]) % 50 == 0
    long = [line for line in straight(reader, page) if math.dist(line[:2], line[2:]) > 150]
    stands = {round(line[0], 1) for line in long if line[0] == line[2]} if way == "left" else {round(line[1], 1) for line in long}
    holes = [one[0] if way == "left" else one[1] for one in crosses(reader, page, 12)]
    apart = 1000 * at[0 if way == "left" else 1] - int(said[1])
    assert any(hole - line == pytest.approx(apart, abs=0.15) for hole in holes for line in stands)


def test_new_holes_of_a_bracket_are_on_the_template_of_their_face_unless_they_are_held() -> None:
    bracket = {
        "name": "shelf",
        "face": "left",
        "at_m": [[0.1, 0.1], [0.2, 0.1]],
        "thread": "M8",
        "drill": "6.8 mm",
        "drill_mm": 6.8,
    }
    document = {"faces": [LEFT], "parts": [], "bus": {"devices": []}, "brackets": [bracket]}
    held = {**document, "work_card": [{"where": "shelf", "do": HELD}]}
    assert "template-0.pdf" in plan_files(document) and "template-0.pdf" not in plan_files(held)
    before = {**document, "brackets": [{key: bracket[key] for key in ("name", "face", "at_m", "thread")}]}
    assert "template-0.pdf" not in plan_files(before), "a plan kept from before brackets told their drill"
    told = " ".join(
        pypdf.PdfReader(io.BytesIO(plan_drawings(document, block=BLOCK)["template-0.pdf"])).pages[0].extract_text().split()
    )
    assert told.count("drill 6.8 mm, tap M8") == 2


@pytest.mark.parametrize(("paper", "parts"), [("letter-ish", PARTS), ("A4", []), ("A4", PARTS[1:3])])
def test_a_template_that_cannot_be_made_says_why(paper: str, parts: list[dict[str, Any]]) -> None:
    with pytest.raises(OutOfRange):
        template_pdf(LEFT, parts, paper=paper, block=BLOCK)


# the plate, read back


@pytest.fixture(scope="module")
def cut() -> Any:
    return ezdxf.read(io.StringIO(plate_dxf(PLATE).decode()))  # type: ignore[attr-defined]


def test_the_plate_is_cut_in_millimetres_and_100_are_100(cut: Any) -> None:
    assert cut.dxfversion == "AC1024" and cut.header["$INSUNITS"] == ezdxf.units.MM == 4
    assert cut.audit().errors == []
    centres = sorted(tuple(hole.dxf.center)[:2] for hole in cut.modelspace().query("CIRCLE[layer=='HOLES']"))
    assert centres == [(50.0, 30.0), (50.0, 120.0), (150.0, 30.0), (150.0, 120.0)]
    assert math.dist(centres[0], centres[2]) == 100.0
    assert {hole.dxf.radius for hole in cut.modelspace().query("CIRCLE")} == {3.3}


def test_the_outline_is_closed_and_as_large_as_the_plate(cut: Any) -> None:
    outline = cut.modelspace().query("*[layer=='OUTLINE']")
    size = ezdxf.bbox.extents(outline).size
    assert (size.x, size.y) == pytest.approx((200, 150), abs=1e-9)
    lines, arcs = outline.query("LINE"), outline.query("ARC")
    around = sum(line.dxf.start.distance(line.dxf.end) for line in lines) + sum(
        math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360) * arc.dxf.radius for arc in arcs
    )
    assert around == pytest.approx(2 * (200 + 150) - 8 * 10 + 2 * math.pi * 10)  # perimeter of a rounded rectangle


@pytest.mark.parametrize("layer", ["OUTLINE", "SLOTS"])
def test_every_end_of_a_contour_meets_one_other(cut: Any, layer: str) -> None:
    ends = []
    for entity in cut.modelspace().query(f"*[layer=='{layer}']"):
        pair = (entity.start_point, entity.end_point) if entity.dxftype() == "ARC" else (entity.dxf.start, entity.dxf.end)
        ends += [(round(point.x, 6), round(point.y, 6)) for point in pair]
    assert ends and all(ends.count(end) == 2 for end in ends)


def test_slots_have_their_length_over_all_along_their_turn(cut: Any) -> None:
    """The first lies level, the second stands; the box round a slot is its length by its width."""
    slots = list(cut.modelspace().query("*[layer=='SLOTS']"))
    for first, (wide, high) in ((0, (30, 13.5)), (4, (13.5, 30))):
        size = ezdxf.bbox.extents(slots[first : first + 4]).size
        assert (size.x, size.y) == pytest.approx((wide, high), abs=1e-6)


def test_the_same_plate_gives_the_same_file() -> None:
    assert plate_dxf(PLATE) == plate_dxf(PLATE)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"holes": [{"at_m": [0.198, 0.03], "diameter_m": 0.0066, "for": "foot"}]}, "3.3 to 196.7 mm"),
        ({"slots": [{"at_m": [0.1, 0.07], "length_m": 0.01, "width_m": 0.0135, "turned_deg": 0, "for": "strut"}]}, "not a slot"),
        ({"slots": [{"at_m": [0.1, 0.01], "length_m": 0.03, "width_m": 0.0135, "turned_deg": 90, "for": "strut"}]}, "15 to 135 mm"),
        ({"corner_radius_m": 0.08}, "half of the shorter side"),
    ],
)
def test_a_plate_that_cannot_be_cut_says_what_would_be_right(changed: dict[str, Any], says: str) -> None:
    with pytest.raises(OutOfRange, match=re.escape(says)):
        plate_dxf({**PLATE, **changed})


# the housing in space


@pytest.mark.parametrize("towards", VIEWS.values())
def test_axes_are_as_iso_5456_3_has_them(towards: tuple[float, float, float]) -> None:
    """Isometric axonometry: the three axes equally long, V upright, the level ones 30 degrees off the horizontal."""
    onto = isometric(towards)
    assert np.linalg.norm(onto, axis=0) == pytest.approx([1, 1, 1])
    assert onto[:, 1] == pytest.approx([0, 1])
    assert [math.degrees(math.asin(abs(onto[1, axis]))) for axis in (0, 2)] == pytest.approx([30, 30])


def test_every_face_shows_in_exactly_one_view() -> None:
    for way in OUTWARD.values():
        assert sum(np.dot(way, towards) > 0 for towards in VIEWS.values()) == 1


def test_a_cable_over_an_edge_goes_on_where_it_left() -> None:
    """The left face's right edge is the input end's left edge: both legs draw the crossing at one place on paper, in both views."""
    sheet = solid_sheet(FACES, PARTS, ROUTES[:1], title="h", block=BLOCK)
    legs = [
        [tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", one)]
        for one in sheet.parts
        if one.startswith("<path") and ('stroke-width="2.2"' in one or 'stroke-width="1.0"' in one)
    ]
    assert len(legs) == 6
    for view in (legs[:3], legs[3:]):
        assert view[0][1] == view[1][0] and view[1][1] == pytest.approx(view[2][0], abs=0.02)


def test_edges_of_the_box_hold_the_scale() -> None:
    sheet = solid_sheet(FACES, PARTS, [], title="h", block=BLOCK)
    assert "1:10" in words_of(sheet.svg("h"))
    lengths = [
        math.dist(*(tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", one))) / PX * 10
        for one in sheet.parts
        if re.match(r'<path d="M[\d. ]+L[\d. ]+" fill="none" stroke="#1E2328" stroke-width="(0.7|1.4)"', one)
    ]
    assert sorted({round(one) for one in lengths}) == [430, 520, 620]


def test_hidden_lines_are_dashed_and_shown_ones_are_not() -> None:
    """Three edges of a box seen in space are hidden, nine show, in each view."""
    sheet = solid_sheet([{**face, "keep_outs": [], "seats": []} for face in FACES], [], [], title="h", block=BLOCK)
    edges = [one for one in sheet.parts if re.match(r'<path d="M[\d. ]+L[\d. ]+" fill="none" stroke="#1E2328"', one)]
    assert [sum("dasharray" in one for one in view) for view in (edges[:12], edges[12:])] == [3, 3] and len(edges) == 24


def test_faces_that_span_no_box_are_refused_and_those_without_a_direction_named() -> None:
    with pytest.raises(OutOfRange, match="nothing along H"):
        solid_sheet([LEFT], PARTS, [], title="h", block=BLOCK)
    nowhere = {**INPUT_END, "name": "lid", "outward": ""}
    assert "lid" in words_of(solid_sheet([*FACES, nowhere], PARTS, [], title="h", block=BLOCK).svg("h"))


# wiring and schedule


def test_a_bus_that_lacks_what_it_wants_says_so() -> None:
    whole = words_of(bus_sheet(BUS, CABLES, title="b", block=BLOCK).svg("b"))
    assert "no termination is planned" not in whole and "one end is wanted" not in whole
    bare = {**BUS, "terminations": BUS["terminations"][:1], "screen_bonds": ["edge computer", "stack light"]}
    words = words_of(bus_sheet(bare, CABLES, title="b", block=BLOCK).svg("b"))
    assert "no termination is planned at: stack light" in words and "grounded at 2 places; one end is wanted" in words


def test_devices_stand_in_the_order_of_the_trunk_and_no_wire_has_a_colour() -> None:
    svg = bus_sheet(BUS, CABLES, title="b", block=BLOCK).svg("b")
    assert re.findall(r"address (\d+)", svg) == ["3", "11", "12", "31"]
    assert "cable W2, run 8.20 m" in svg
    whole = " ".join(words_of(SHEETS[name]()[0].svg("w")) for name in ("bus", "power", "terminals"))
    assert not re.search(r"\b(red|black|white|blue|brown|green|yellow)\b", whole)


def test_the_label_of_a_hole_hides_no_line_to_scribe() -> None:
    """The demo's template: the upright line to scribe runs beside the hole, and its words gave the label no way past."""
    document = plan.run(load(EXAMPLES / "demo")).document
    (face,) = [row for row in document["faces"] if row["name"] == "coupling side"]
    parts = [row for row in document["parts"] if row["face"] == "coupling side"]
    (sheet,) = template_sheets(face, parts, paper="A4", block=BLOCK)
    ends = [
        [float(end) for end in re.findall(r'[xy][12]="([\d.]+)"', part)]
        for part in sheet.parts
        if 'stroke-dasharray="14 4"' in part
    ]
    lines = [Box(min(x, to_x), min(y, to_y), max(x, to_x) + 1, max(y, to_y) + 1) for x, y, to_x, to_y in ends]
    assert len(lines) == 2 and not any(label.overlaps(line) for label in sheet.labels for line in lines)
    (scribed,) = [label for label in sheet.labels if label.bottom - label.top > 200]
    assert scribed.top > min(line.top for line in lines), "nor does it run off the face"


def test_the_lowest_volts_are_marked_where_they_are() -> None:
    words = words_of(power_sheet(POWER, title="p", block=BLOCK).svg("p"))
    assert re.search(r"stack light 23\.3 V, needs 21\.6 V or more ◄ lowest", words) and words.count("lowest") == 1


def test_each_run_of_the_demos_line_carries_all_that_is_fed_beyond_it() -> None:
    """Kirchhoff's current law by hand from job.yaml: two sensors 45 mA, probe 30 mA, light 350 mA, converter none."""
    files = plan_drawings(plan.run(load(EXAMPLES / "demo")).document, block=BLOCK)
    carried = [float(one) for one in re.findall(r"22 AWG, [\d.]+ m, ([\d.]+) A", words_of(files["power.svg"].decode()))]
    assert carried == pytest.approx([0.47, 0.47, 0.12, 0.09, 0.045])
    assert not re.search(r"\.\d{3,} m,", words_of(files["power.svg"].decode())), "nobody cuts a cable to the micrometre"


def bars(sheet: Sheet) -> list[tuple[float, float, str]]:
    """Left, width and outline of the bars of tasks, in order."""
    found = [re.search(r'<rect x="([\d.]+)" .*?width="([\d.]+)" height="13.0" .*?stroke="(#\w+)"', one) for one in sheet.parts]
    return [(float(one[1]), float(one[2]), one[3]) for one in found if one]


def test_bars_are_as_long_as_their_tasks_on_one_scale() -> None:
    """The scale comes from the starts of the first and the last task; drawings are written to 0.1 px, so two ends agree to that."""
    found = bars(schedule_sheet(SCHEDULE, title="o", block=BLOCK))
    tasks = SCHEDULE["tasks"]
    first = tasks[0]["start_s"]
    per_second = (found[-1][0] - found[0][0]) / (tasks[-1]["start_s"] - first)
    for (left, wide, _), task in zip(found, tasks, strict=True):
        assert wide == pytest.approx((task["end_s"] - task["start_s"]) * per_second, abs=0.1)
        assert left - found[0][0] == pytest.approx((task["start_s"] - first) * per_second, abs=0.1)


def test_the_critical_path_differs_in_shape_and_not_in_colour_alone() -> None:
    sheet = schedule_sheet({**SCHEDULE, "before": []}, title="o", block=BLOCK)
    critical = sum(task["critical"] for task in SCHEDULE["tasks"])
    assert sum(colour == "#8A5A2B" for *_, colour in bars(sheet)) == critical
    diamonds = [one for one in sheet.parts if "l5 -5l5 5l-5 5z" in one]
    assert len(diamonds) == 2 * critical
    plain = [{**task, "critical": False} for task in SCHEDULE["tasks"]]
    assert "l5 -5l5 5l-5 5z" not in schedule_sheet({**SCHEDULE, "before": [], "tasks": plain}, title="o", block=BLOCK).svg("o")


def test_a_window_that_is_too_short_is_told_first_with_the_hours() -> None:
    short = {**SCHEDULE, "window_s": 8 * HOUR}
    assert verdict(short) == "Does not fit: the last task ends at 9.5 h, 1.5 h after the window closes."
    assert verdict(short) in words_of(schedule_sheet(short, title="outage", block=BLOCK).svg("o"))


@given(window=st.floats(0.5, 60), cure=st.floats(0, 48), early=st.floats(0, 60))
def test_names_of_window_and_states_never_stand_on_one_another(window: float, cure: float, early: float) -> None:
    tasks = [
        {**task, "start_s": task["start_s"] - early * HOUR * (n == 0), "cure_s": cure * HOUR * (task["cure_s"] > 0)}
        for n, task in enumerate(SCHEDULE["tasks"])
    ]
    sheet = schedule_sheet({**SCHEDULE, "window_s": window * HOUR, "tasks": tasks}, title="outage", block=BLOCK)
    assert not overlapping(sheet) and not off_the_sheet(sheet)
    words = words_of(sheet.svg("o"))
    assert all(one in words for one in ("opens", "closes", "locked out", "cold", "running"))


# what lies beside a plan

PLANNED_POWER = {  # as the plan's own document has it
    "supply_v": 24.0,
    "line": [
        {
            "start": "supply",
            "end": "edge computer",
            "length_m": 8.2,
            "wire": "22 AWG",
            "current_a": 0.1,
            "volts": {"value": 23.3},
            "least_v": 21.6,
        }
    ],
    "branch_circuit": {"volts": 120.0, "wire": "14 AWG", "overcurrent_a": 15.0, "only_by": "licensed electrician only"},
}


FULL = {
    "faces": FACES,
    "parts": PARTS,
    "bus": BUS,
    "cables": CABLES,
    "routes": ROUTES,
    "power": PLANNED_POWER,
    "terminals": TERMINALS,
    "plates": [PLATE],
    "schedule": SCHEDULE,
}


@pytest.mark.parametrize("document", [FULL, plan.run(load(EXAMPLES / "demo")).document], ids=["every drawing", "the demo today"])
def test_files_beside_a_plan_are_those_named_and_each_opens(document: dict[str, Any]) -> None:
    made = plan_drawings(document, block=BLOCK)
    assert list(made) == list(plan_files(document)) and "face-0.svg" in made and "bus.svg" in made
    for name, content in made.items():
        if name.endswith(".svg"):
            assert words_of(content.decode())
        elif name.endswith(".pdf"):
            assert pypdf.PdfReader(io.BytesIO(content)).pages
        elif name.endswith(".csv"):
            assert len({len(row) for row in csv.reader(io.StringIO(content.decode()))}) == 1
        else:
            assert ezdxf.read(io.StringIO(content.decode())).units == ezdxf.units.MM  # type: ignore[attr-defined]


def test_a_drawing_of_what_nobody_planned_is_not_made() -> None:
    assert {"template-0.pdf", "plate-0.dxf", "schedule.svg", "power.svg", "housing.svg"} <= set(plan_files(FULL))
    bonded = [{**part, "mount": "rigid adhesive", "hole": None} for part in PARTS]
    few = plan_files({"faces": [LEFT], "parts": bonded, "bus": {"devices": []}, "cables": []})
    assert list(few) == ["face-0.svg"]
