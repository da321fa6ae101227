"""The notebook in docs runs as it stands, and gives what it shows."""

import re
from itertools import zip_longest
from pathlib import Path

import nbclient
import nbformat
import pytest

NOTEBOOK = Path(__file__).parents[1] / "docs" / "indicators.ipynb"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def shown(notebook: nbformat.NotebookNode) -> list[str]:
    """Text of every output."""
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    return [output.get("text") or output.get("data", {}).get("text/plain", "") for output in outputs]


@pytest.mark.filterwarnings("ignore")  # of the kernel's own sockets
def test_the_notebook_gives_what_it_shows() -> None:
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    before = shown(notebook)
    nbclient.NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": NOTEBOOK.parent}}
    ).execute()
    for was, now in zip_longest(before, shown(notebook), fillvalue=""):
        assert NUMBER.sub("#", was).split() == NUMBER.sub("#", now).split()
        for one, other in zip(NUMBER.findall(was), NUMBER.findall(now), strict=True):
            last_digit = 10.0 ** -len(one.partition(".")[2])
            assert float(other) == pytest.approx(float(one), abs=1.01 * last_digit)
    assert len(before) >= 6


def test_the_three_lines_are_three() -> None:
    cell = nbformat.read(NOTEBOOK, as_version=4).cells[3]
    assert cell.cell_type == "code" and len([line for line in cell.source.splitlines() if line]) == 3
