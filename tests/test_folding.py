"""Lines at a terminal: none longer than it, no word lost, columns kept; into a file nothing is folded."""

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.cli.folding import fold, to_terminal
from gearcase.drawings.text import diagnose_text
from test_cli import call, job

__all__ = ["job"]  # a fixture
WORDS = st.lists(st.text("abcdefgh,.", min_size=1, max_size=9), min_size=1, max_size=40)


@given(words=WORDS, indent=st.integers(0, 6), width=st.integers(40, 120))
def test_a_line_keeps_its_words_and_its_indent_and_fits(words: list[str], indent: int, width: int) -> None:
    folded = fold(" " * indent + " ".join(words), width)
    assert folded.split() == words and max(map(len, folded.split("\n"))) <= width
    assert folded.startswith(" " * indent + words[0])


@given(rows=st.lists(st.tuples(WORDS, WORDS, WORDS), min_size=1, max_size=5), width=st.integers(40, 100))
def test_a_table_keeps_the_words_of_each_cell_in_its_column_and_fits(
    rows: list[tuple[list[str], list[str], list[str]]], width: int
) -> None:
    cells = [["part", "coverage", "why"], *([" ".join(cell) for cell in row] for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(3)]
    lines = ["  ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip() for row in cells]
    lines.insert(1, "  ".join("-" * wide for wide in widths))
    folded = fold("\n".join([*lines, "", "and then"]), width).split("\n")
    assert max(map(len, folded)) <= width and folded[-2:] == ["", "and then"]
    columns = [one.span() for one in re.finditer("-+", folded[1])]
    for column, (start, end) in enumerate(columns):
        told = " ".join(line[start : end if column < 2 else None] for line in folded[2:-2]).split()
        assert told == [word for row in rows for word in row[column]]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_only_a_terminal_is_folded_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    assert to_terminal("word " * 60, io.StringIO()) == "word " * 60
    assert to_terminal("word " * 60, Terminal()) == fold("word " * 60, 50) != "word " * 60


def test_recordings_may_stand_behind_options(job: object, capsys: pytest.CaptureFixture[str]) -> None:
    """``gearcase diagnose JOB --rate RATE FILE`` is what somebody types who has just read that the rate lacks."""
    for arguments in (("--rate", "12 kHz", "nothing.wav"), ("nothing.wav", "--rate", "12 kHz")):
        code, out, err = call(capsys, "diagnose", job, *arguments)
        assert code == 2 and out == "" and err.startswith("nothing.wav") and "unrecognized" not in err


def test_the_ruled_head_that_tables_have_is_the_one_that_is_folded_by() -> None:
    line = {
        "line": "1x outer race",
        "expected_hz": 40.0,
        "found_hz": None,
        "snr_db": None,
        "why": "stands on a line of a shaft " * 4,
    }
    verdict = {
        "component": "a",
        "fault": "outer_race",
        "recording": "r.wav",
        "noise_false_alarm": 0.01,
        "maturity": 1,
        "urgency": "look",
    }
    verdict |= {"attribution_false_alarm": 0.1, "evidence": [line], "rivals": [], "advice": []}
    document = {"statement": "s", "verdicts": [verdict], "cannot_tell": [], "unexplained": [], "not_testable": [], "recordings": []}
    assert max(map(len, fold(diagnose_text(document), 80).split("\n"))) <= 80
