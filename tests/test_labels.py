"""Labels that say the same to eye and camera, and the register map as it is left in the panel."""

import io
import re
from importlib.resources import files

import pypdf
import pytest
import segno

from gearcase.drawings.block import Block, Report
from gearcase.drawings.labels import Label, label_blocks, labels_of, labels_svg, register_map_blocks
from gearcase.drawings.report import report_pdf
from gearcase.errors import OutOfRange
from gearcase.install.profile import CONSTANTS

DEVICES = [
    {"name": "vibration input", "address": 11, "point": "input coupling end", "serial": "SN-0042", "cable": "C1"},
    {"name": "vibration intermediate", "address": 12, "point": "intermediate left"},
]


def dark(svg: str, number: int = 0) -> set[tuple[int, int]]:
    """The dark modules of a drawn code, by row and column, read back from its shapes alone."""
    path = re.findall(r'<path d="([^"]*)" fill="#000000"/>', svg)[number]
    boxes = [tuple(map(float, box)) for box in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", path)]
    left, top = min(box[0] for box in boxes), min(box[1] for box in boxes)
    module = boxes[0][2] / 7  # the upper left finder begins with seven dark modules, ISO/IEC 18004
    return {
        (round((y - top) / module), round((x - left) / module) + step)
        for x, y, wide, _ in boxes
        for step in range(round(wide / module))
    }


def test_a_device_and_both_ends_of_its_cable_have_a_label() -> None:
    labels = labels_of("CV-204", DEVICES)
    assert [label.name for label in labels] == ["vibration input", "C1, device end", "C1, panel end", "vibration intermediate"]
    assert labels[0].code == labels[2].code == "CV-204/input coupling end/11"
    assert labels[0].lines == ("address 11", "serial SN-0042")
    assert "____" in labels[3].lines[1]


def test_a_stroke_in_a_name_does_not_make_a_fourth_part() -> None:
    (label,) = labels_of("A/B", [{"name": "x", "address": 1, "point": "in/out"}])
    assert label.code == "A-B/in-out/1"


def test_two_devices_of_one_address_are_refused() -> None:
    with pytest.raises(OutOfRange, match="a and b have the same"):
        labels_of("j", [{"name": "a", "address": 3}, {"name": "b", "address": 3}])


def test_the_drawn_code_is_the_code_of_its_words() -> None:
    labels = labels_of("CV-204", DEVICES)
    svg = labels_svg(labels)
    for number, label in enumerate(labels):
        matrix = segno.make_qr(label.code, error="m").matrix
        meant = {(row, column) for row, line in enumerate(matrix) for column, module in enumerate(line) if module}
        assert dark(svg, number) == meant, label.name


def test_letters_stay_on_their_label() -> None:
    label = Label("a very long name of a device that nobody would give it " * 2, ("address 1", "serial " + "9" * 60), "j/p/1")
    svg = labels_svg([label])
    assert "…" in svg and "9" * 40 not in svg


def test_too_many_labels_or_too_long_a_code_are_refused() -> None:
    one = Label("a", ("b",), "j/p/1")
    with pytest.raises(OutOfRange, match="1 to 21"):
        labels_svg([one] * 22)
    with pytest.raises(OutOfRange, match="1 to 21"):
        labels_svg([])
    for length in (300, 5000):
        with pytest.raises(OutOfRange, match="short enough"):
            labels_svg([Label("a", (), "x" * length)])


def test_more_labels_than_a_sheet_holds_go_on_the_next() -> None:
    labels = labels_of("j", [{"name": f"unit {n}", "address": n} for n in range(1, 31)])
    figures = [block for block in label_blocks(labels) if block.kind == "figure"]
    assert [figure.text.split(",")[0] for figure in figures] == ["Labels 1 to 21", "Labels 22 to 30"]
    assert all(figure.to_scale for figure in figures)


def test_a_full_sheet_stays_inside_the_report_s_page_and_so_keeps_its_scale() -> None:
    layout = (files("gearcase.drawings") / "templates" / "report.typ").read_text(encoding="utf-8")
    found = re.search(r"margin: \(left: (\d+)mm, right: (\d+)mm, top: (\d+)mm, bottom: (\d+)mm", layout)
    assert found is not None
    left, right, top, bottom = map(int, found.groups())
    size = re.search(r'width="(\d+)" height="(\d+)"', labels_svg([Label("a", ("b",), "j/p/1")] * 21))
    assert size is not None
    wide, tall = (int(part) * 25.4 / 96 for part in size.groups())
    assert wide == pytest.approx(3 * 57, abs=0.2) and tall == pytest.approx(7 * 30, abs=0.2)
    assert wide <= 210 - left - right
    assert tall + 35 <= 297 - top - bottom  # heading, a line of text and the caption


ROWS = [
    {"name": "velocity", "address": 0, "function": 4, "type": "u16", "scale": 0.01, "unit": "mm/s", "low": 0.0, "high": 65.0},
    {"name": "peak", "address": 2, "function": 4, "type": "f32", "scale": 1, "unit": "g", "low": None, "high": 50.0},
    *(
        {"name": name, "address": address, "function": 3, "type": form, "scale": 1, "unit": "", "constant": value}
        for (name, value), address, form in zip(CONSTANTS.items(), (90, 91, 93), ("u16", "u32", "f32"), strict=True)
    ),
]


def map_rows() -> tuple[tuple[str, ...], ...]:
    return next(block for block in register_map_blocks(ROWS, word_order="high word first", title="p") if block.kind == "table").rows


def test_the_register_map_counts_from_0_and_from_1_and_names_the_constants() -> None:
    rows = map_rows()
    assert rows[0] == ("velocity", "0", "1", "4", "u16", "one word", "0.01", "mm/s", "0 to 65", "")
    assert rows[1][5] == "high word first" and rows[1][8] == "up to 50"
    assert [row[9] for row in rows[2:]] == ["0x1234 (4660)", "123456789", "123.456"]


def test_no_row_of_a_table_is_torn_between_two_pages() -> None:
    """A step of a work card is read and ticked in one piece: each row's first and last word stand on one page."""
    rows = tuple((str(n), f"begin{n} {'words that fill the line ' * (20 + n % 7)} end{n}") for n in range(90))
    table = Block("table", head=("", "do"), rows=rows, wide=(1.0, 9.0), tall=True)
    printed = report_pdf(Report("t", "s", (), (("job", "t"),), Block("note"), "", (table,)))
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(printed)).pages]
    assert len(pages) > 3
    for n in range(90):
        assert [f"begin{n} " in page for page in pages] == [bool(re.search(rf"end{n}\b", page)) for page in pages], n


def test_labels_and_map_print() -> None:
    blocks = (
        *label_blocks(labels_of("CV-204", DEVICES)),
        *register_map_blocks(ROWS, word_order="low word first", title="made up"),
    )
    report = Report("t", "s", (), (("job", "t"),), Block("note"), "", blocks)
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(report_pdf(report))).pages)
    assert "Register map, made up" in text and "123456789" in text and "Labels 1 to 4" in text
