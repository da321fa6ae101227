"""The survey's pictures for drives of every kind: nothing lies on anything else, everything is named, crossings are where algebra
says.

The algebra is solved again by sympy, a symbolic solver of general use; proportions are counted in teeth.
"""

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.cli import main
from gearcase.drawings.layout import layout_of
from gearcase.drawings.pictures import SURVEY_PICTURES, survey_pictures
from gearcase.drawings.placing import Placing
from gearcase.drawings.planetary import end_views, set_height
from gearcase.drawings.speedmap import main_rows, speed_map_sheet
from gearcase.drawings.sticks import stick_chart_sheet
from gearcase.drawings.survey_blocks import survey_blocks
from gearcase.drawings.svg import Sheet
from gearcase.drawings.train import train_sheet, train_svg
from gearcase.drive.crossings import crossing_speeds, crossings, shown_speeds
from gearcase.drive.line import Line
from gearcase.worked import Origin
from kinds import KINDS, surveyed

SVG_TEXT = "{http://www.w3.org/2000/svg}text"
POINTS = [
    {"name": "input side", "lowest_hz": 2.0, "true_hz": 2500.0, "detectable_hz": 6000.0, "limited_by": "mount"},
    {"name": "OUTPUT BEARING HOUSING, LOWER HALF", "lowest_hz": 0.5, "true_hz": 1000.0, "detectable_hz": 3000.0, "limited_by": ""},
]
LONG = "WITH A MUCH LONGER NAME THAN ANY"
SHEETS: dict[str, Callable[[dict[str, Any]], Sheet]] = {
    "train": lambda survey: train_sheet(survey["drive"]),
    "lines over speed": speed_map_sheet,
    "lines by part": stick_chart_sheet,
    "lines by part with points": lambda survey: stick_chart_sheet({**survey, "points": POINTS}),
}


def words(svg: str) -> list[str]:
    """All labels of a drawing, which is read as XML on the way."""
    return ["".join(text.itertext()) for text in ElementTree.fromstring(svg).iter(SVG_TEXT)]


def each_word(labels: list[str]) -> set[str]:
    return {word.strip(":,;()") for label in labels for word in label.split()}


def renamed(part: Any, names: dict[str, str]) -> Any:
    """The same document with other names."""
    if isinstance(part, str):
        return names.get(part, part)
    if isinstance(part, dict):
        return {key: value if key in ("end", "kind") else renamed(value, names) for key, value in part.items()}
    return [renamed(one, names) for one in part] if isinstance(part, list) else part


def long_named(survey: dict[str, Any]) -> dict[str, Any]:
    drive = survey["drive"]
    named = [*drive["shafts"], *drive["meshes"], *drive["bearings"], *drive["belts"], *drive["passing_parts"]]
    names = {one["name"]: f"{one['name']} {LONG}" for one in named}
    names |= {line["name"]: f"{line['name']} {LONG}" for line in survey["lines"]}
    made: dict[str, Any] = renamed(survey, names)
    return made


def assert_clear(sheet: Sheet) -> None:
    assert sheet.labels
    assert not [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 and box.bottom <= sheet.height for box in sheet.labels)
    for part in sheet.parts:
        if shape := re.match(r'<rect x="([-.\d]+)" y="([-.\d]+)" width="([-.\d]+)" height="([-.\d]+)"', part):
            x, y, wide, high = map(float, shape.groups())
            assert x >= 0 and y >= 0 and wide >= 0 and high >= 0 and x + wide <= sheet.width and y + high <= sheet.height, part


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("kind", KINDS)
def test_labels_of_every_kind_stand_apart_and_on_the_sheet(kind: str, sheet: str) -> None:
    assert_clear(SHEETS[sheet](surveyed(kind)))


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("kind", KINDS)
def test_they_do_so_with_long_names_too(kind: str, sheet: str) -> None:
    assert_clear(SHEETS[sheet](long_named(surveyed(kind))))


@pytest.mark.parametrize("kind", KINDS)
def test_every_shaft_gear_bearing_belt_and_part_is_named_on_the_train(kind: str) -> None:
    drive = surveyed(kind)["drive"]
    labels = words(train_svg(drive))
    said = each_word(labels)
    for one in [*drive["shafts"], *drive["bearings"], *drive["belts"], *drive["passing_parts"]]:
        assert set(one["name"].split()) <= said, one["name"]
    for mesh in drive["meshes"]:
        assert {str(mesh["pinion_teeth"] or "?"), str(mesh["wheel_teeth"] or "?")} <= said
        assert set((mesh["group"] or mesh["name"]).split()) <= said
    for belt in drive["belts"]:
        sizes = (belt["driver_size"], belt["driven_size"])
        toothed = belt["kind"] in ("toothed belt", "chain")
        assert all(f"{size if toothed else 1000 * size:g}" in labels for size in sizes)
    assert drive["motor"] is None or {"motor", f"{drive['motor']['poles']} poles"} <= set(labels)


@pytest.mark.parametrize("kind", KINDS)
def test_a_shaft_bears_an_arrow_only_where_its_sense_is_known(kind: str) -> None:
    drive = surveyed(kind)["drive"]
    told = [shaft for shaft in drive["shafts"] if shaft["sense_known"] and shaft["order"] and not shaft["held"]]
    arrows = [label for label in words(train_svg(drive)) if label.endswith(("↻", "↺"))]
    assert len(arrows) == len(told)
    assert sum(label.endswith("↺") for label in arrows) == sum(shaft["order"] < 0 for shaft in told)


def test_a_faulty_planet_bearing_and_a_faulty_mesh_are_marked_as_such() -> None:
    drive = surveyed("planetary and helical with a fan")["drive"]
    plain, marked = train_svg(drive), train_svg(drive, ["planet bearing", "high-speed mesh"])
    assert "planet bearing: fault" in words(marked) and "fault" in each_word(words(marked))
    assert marked.count('stroke-width="2.6"') == 1 and 'stroke-width="2.6"' not in plain
    assert "fault" not in each_word(words(plain))


@pytest.mark.parametrize("kind", ["a planetary set", "three helical stages", "belt before and chain behind"])
def test_a_name_too_long_for_its_room_never_costs_the_mark_of_a_fault_or_of_unknown_geometry(kind: str) -> None:
    drive = long_named(surveyed(kind))["drive"]
    for bearing in drive["bearings"]:
        said = words(train_svg(drive, [bearing["name"]]))
        assert sum("fault" in label for label in said) == 1
        assert sum("geometry?" in label for label in said) == sum(not one["geometry_known"] for one in drive["bearings"])


def test_what_is_held_is_grounded_and_a_differential_holds_nothing() -> None:
    held = {kind: train_svg(surveyed(kind)["drive"]).count('stroke-width="2.8"') for kind in KINDS}  # the line of the ground
    counted = {kind: sum(shaft["held"] for shaft in surveyed(kind)["drive"]["shafts"]) for kind in KINDS}
    assert held == counted
    assert held["a differential with nothing held"] == 0 and held["two planetary sets in a row"] == 2


def test_a_sun_that_is_held_is_grounded() -> None:
    survey = surveyed("a planetary set with its carrier held")
    shafts = [{**shaft, "held": shaft["name"] == "sun", "end": ""} for shaft in survey["drive"]["shafts"]]
    sheet = train_sheet({**survey["drive"], "shafts": shafts})
    assert_clear(sheet)
    assert "sun: held" in words(sheet.svg("")) and sheet.svg("").count('stroke-width="2.8"') == 1


def test_gears_of_a_set_that_share_a_plane_are_stacked_and_steps_stand_side_by_side() -> None:
    def roles(kind: str) -> list[list[str]]:
        (one,) = [column.of for column in layout_of(surveyed(kind)["drive"]).columns if column.kind == "set"]
        return [[gear.role for gear in plane] for plane in one.planes]

    assert roles("a planetary set") == [["sun", "planet", "ring"]]
    assert roles("stepped planets") == [["sun", "planet"], ["planet", "ring"]]
    assert roles("planets in pairs") == [["sun", "planet", "planet", "ring"]]


def test_a_load_split_over_two_shafts_is_drawn_between_them() -> None:
    rows = layout_of(surveyed("load split over two shafts")["drive"]).rows
    assert rows == [("upper",), ("input", "output"), ("lower",)]


def test_shafts_that_only_a_belt_drives_stand_outside_the_housing() -> None:
    layout = layout_of(surveyed("belt before and chain behind")["drive"])
    assert set(layout.outside) == {"motor shaft", "conveyor head shaft"}


@pytest.mark.parametrize("kind", KINDS)
def test_axes_stand_so_far_apart_that_no_gear_or_set_reaches_another_axis_beyond_its_own_mesh(kind: str) -> None:
    place = Placing(surveyed(kind)["drive"], ())
    rows = [place.y[row[0]] for row in place.layout.rows]
    assert rows == sorted(rows)
    for column in place.layout.columns:
        if column.kind == "set":
            axis = place.y[column.shafts[0]]
            assert all(above <= axis - set_height(column.of) for above in rows if above < axis)
            below = axis + place.words_top(column) + 13 * len(place.words(column))
            assert all(below <= other - 30 for other in rows if other > axis)
        if column.kind == "mesh":
            own = {place.y[name] for name in column.shafts}
            for axis, half in place.gear_extents({name: place.y[name] for name in column.shafts}):
                assert not [other for other in rows if other not in own and abs(other - axis) < half], column.of["name"]


def test_pitch_circles_of_the_end_view_are_as_their_teeth_and_touch() -> None:
    drive = surveyed("two planetary sets in a row")["drive"]
    for (_, sheet), (sun, planet, ring, planets) in zip(end_views(drive), [(21, 39, 99, 3), (24, 36, 96, 4)], strict=True):
        assert_clear(sheet)
        found = [
            tuple(map(float, shape.groups()))
            for part in sheet.parts
            if (shape := re.match(r'<path d="M([-.\d]+) ([-.\d]+)a([.\d]+) [^"]*" fill="none"', part))
        ]
        radii = [radius for _, _, radius in found]
        scale = radii[1] / ring  # the outermost is the rim
        assert sorted(radii[2:]) == pytest.approx(sorted([sun * scale] + [planet * scale] * planets), abs=0.1)
        middle = found[1][0] + radii[1]
        for x, y, radius in found[2:-1]:
            reach = ((x + radius - middle) ** 2 + (y - 160.0) ** 2) ** 0.5
            assert reach + radius == pytest.approx(ring * scale, abs=0.2) and reach - radius == pytest.approx(sun * scale, abs=0.2)


def test_sets_whose_teeth_are_unknown_or_stepped_have_no_end_view() -> None:
    survey = surveyed("a planetary set")
    meshes = [{**mesh, "pinion_teeth": None} for mesh in survey["drive"]["meshes"]]
    assert len(end_views(survey["drive"])) == 1
    assert not end_views({**survey["drive"], "meshes": meshes}) and not end_views(surveyed("stepped planets")["drive"])
    assert_clear(train_sheet({**survey["drive"], "meshes": meshes}))


RATIONAL = st.fractions(-40, 40, max_denominator=12)


@settings(max_examples=150)
@given(RATIONAL, RATIONAL, RATIONAL, RATIONAL)
def test_lines_cross_where_algebra_says(order: Any, fixed: Any, other: Any, other_fixed: Any) -> None:
    s = sympy.symbols("s", real=True)
    one, two = (sympy.Rational(str(a)) * s + sympy.Rational(str(b)) for a, b in ((order, fixed), (other, other_fixed)))
    if sympy.expand(one**2 - two**2) == 0 or (not order and not other):
        return  # together at every speed, or neither follows it
    wanted = sorted(float(root) for root in set(sympy.solve(one**2 - two**2, s)))
    found = crossing_speeds(order=float(order), fixed_hz=float(fixed), other_order=float(other), other_fixed_hz=float(other_fixed))
    assert sorted({round(speed, 6) for speed in found}) == pytest.approx(sorted({round(root, 6) for root in wanted}), abs=1e-5)


def line(name: str, order: float, fixed_hz: float = 0.0, kind: str = "mesh") -> Line:
    return Line(name, name, kind, 1, order, "input", 0.0, Origin.MEASURED, fixed_hz=fixed_hz)


def test_crossings_are_those_of_different_parts_in_service_or_just_beyond() -> None:
    supply = line("supply", 0.0, 100.0, "supply")
    lines = [supply, line("five", 5.0), line("six", 6.0), line("seven", 7.0), line("beside", 4.9, kind="sideband")]
    found = crossings(lines, service_hz=(16.0, 20.0))
    # 100 / 5 = 20, in service; 100 / 6 = 16.67, too; 100 / 7 = 14.29 lies beyond 16 less a tenth
    assert [(row.first, row.second) for row in found] == [("supply", "six"), ("supply", "five")]
    assert [row.speed_hz for row in found] == pytest.approx([100 / 6, 20.0]) and [row.hz for row in found] == [100.0, 100.0]
    beyond = crossings(lines, service_hz=(15.0, 16.0))
    assert [(row.second, row.in_service) for row in beyond] == [("seven", False), ("six", False)]


def test_the_table_of_crossings_and_the_rings_are_those_of_the_drive() -> None:
    survey = surveyed("belt before and chain behind")  # five blades on the motor's shaft, mains of 50 Hz: 5 s = 100
    (row,) = survey["crossings"]
    assert {row["first"], row["second"]} == {"cooling fan 1x", "motor supply 2x"}
    assert (row["speed_hz"], row["hz"], row["in_service"]) == (pytest.approx(20.0), pytest.approx(100.0), True)
    (table,) = [block for block in survey_blocks(survey) if block.kind == "table" and "crosses" in block.head]
    assert table.rows == (("1200.0", "100.00", "cooling fan", "motor supply 2x", "yes"),)
    rings = [part for part in speed_map_sheet(survey).parts if "a4.5 4.5" in part]
    assert len(rings) == 1


@pytest.mark.parametrize("kind", KINDS)
def test_every_main_line_is_named_beside_the_diagram(kind: str) -> None:
    survey = surveyed(kind)
    said = each_word(words(speed_map_sheet(survey).svg("")))
    for row in main_rows(survey):
        assert set(row["name"].replace(" 1x", "").replace(" rolling", "").split()) <= said, row["name"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_fundamental_stands_with_its_frequency_in_the_row_of_its_part(kind: str) -> None:
    survey = surveyed(kind)
    said = each_word(words(stick_chart_sheet(survey).svg("")))
    for one in survey["lines"]:
        if one["harmonic"] == 1 and one["kind"] != "sideband" and not (one["kind"] == "converter" and one["order"]):
            assert f"{one['hz']:.4g}" in said and set(one["component"].split()) <= said, one["name"]


def test_names_of_lines_that_crowd_stay_beside_their_panel_in_the_order_of_the_lines() -> None:
    survey = surveyed("a worm")
    (pattern,) = [row for row in survey["lines"] if row["kind"] == "mesh" and row["harmonic"] == 1]
    crowd = [{**pattern, "name": f"line {number}", "order": 1.0 + number / 100} for number in range(12)]
    sheet = speed_map_sheet({**survey, "lines": [*crowd, {**pattern, "name": "line 99", "order": 8.9}]})
    assert_clear(sheet)
    beside = [box for box in sheet.labels if box.left > 500]
    assert len(beside) == 13 and max(box.bottom for box in beside) <= sheet.height - 48.0
    told = [word for word in words(sheet.svg("")) if word.startswith("line")]
    assert told == ["line 99", *(f"line {number}" for number in reversed(range(12)))]


def test_lines_that_coincide_at_every_speed_share_one_name() -> None:
    survey = surveyed("a worm")
    (pattern,) = [row for row in survey["lines"] if row["kind"] == "mesh" and row["harmonic"] == 1]
    twice = {**survey, "lines": [{**pattern, "name": name} for name in ("left", "right")]}
    assert "left (+1)" in words(speed_map_sheet(twice).svg("")) and "right" not in words(speed_map_sheet(twice).svg(""))


def test_a_band_is_drawn_only_about_lines_of_which_something_is_unknown() -> None:
    belted, geared = (speed_map_sheet(surveyed(kind)).svg("") for kind in ("belt before and chain behind", "a planetary set"))
    assert 'fill-opacity="0.2"' in belted and 'fill-opacity="0.2"' not in geared


def test_each_picture_of_the_page_follows_one_sentence_on_what_to_read_from_it() -> None:
    blocks = list(survey_blocks(surveyed("planetary and helical with a fan")))
    figures = [number for number, block in enumerate(blocks) if block.kind == "figure"]
    assert len(figures) == 4
    assert all(blocks[number - 1].kind == "text" and blocks[number - 1].text.endswith(":") for number in figures)


@pytest.mark.parametrize("kind", KINDS)
def test_pictures_are_well_formed_and_named_as_the_page_knows_them(kind: str) -> None:
    for picture in survey_pictures(surveyed(kind)):
        assert words(picture.svg)
        assert picture.name.startswith(SURVEY_PICTURES) and picture.name.endswith(".svg")


def test_a_survey_without_a_line_is_drawn_as_its_train_alone() -> None:
    (only,) = survey_pictures({**surveyed("a worm"), "lines": [], "crossings": []})
    assert only.name == "train.svg"


def test_a_survey_kept_from_before_all_this_is_still_drawn() -> None:
    survey = surveyed("three helical stages")
    drive = {key: value for key, value in survey["drive"].items() if key not in ("belts", "motor", "passing_parts")}
    for key, later in {"shafts": ("carrier", "count", "held", "sense_known"), "meshes": ("kind", "group", "power_w")}.items():
        drive[key] = [{name: value for name, value in one.items() if name not in later} for one in drive[key]]
    drive["bearings"] = [{key: value for key, value in one.items() if key != "other_shaft"} for one in drive["bearings"]]
    lines = [{key: value for key, value in one.items() if key != "fixed_hz"} for one in survey["lines"]]
    kept = {key: value for key, value in survey.items() if key not in ("crossings", "points")} | {"drive": drive, "lines": lines}
    assert [picture.svg for picture in survey_pictures(kept)] == [picture.svg for picture in survey_pictures(survey)]


def test_survey_keeps_its_pictures_beside_its_result(tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(f"job: 1\ntitle: t\ndrive:\n  name: d{KINDS['a planetary set']}", encoding="utf-8")
    main(["survey", str(tmp_path)])
    kept = {path.name for path in (tmp_path / "results" / "survey" / "0001").glob("*.svg")}
    assert kept == {"train.svg", "end-view-1.svg", "speed-map.svg", "lines.svg"}


def test_speeds_shown_are_the_service_range_and_a_tenth_beyond() -> None:
    assert shown_speeds((20.0, 30.0)) == pytest.approx((18.0, 33.0))


def test_sidebands_of_a_bearing_are_told_and_drawn_with_the_bearing() -> None:
    survey = surveyed("planetary and helical with a fan")
    said = [block.text for block in survey_blocks(survey) if block.kind == "text"]
    planet = "planetary stage planet"
    assert f"Sidebands about each outer race line: 1, 2 turns of {planet} either side; 1, 2 turns of carrier either side." in said
    of_element = "1, 2 turns of the cage either side; 1, 2 turns of carrier either side"
    assert f"Sidebands about each rolling element line: {of_element}." in said
    assert "Sidebands about the motor shaft's line: 1, 2 pole passes either side." in said
    assert any(text.startswith("Sidebands about each mesh line: 1, 2, 3 turns of input either side") for text in said)
    drawn = words(stick_chart_sheet(survey).svg(""))
    assert drawn.count("planet bearing") == 1  # in one row, not in a second among the meshes
