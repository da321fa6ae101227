"""Run the notebook in docs and keep its outputs in it: `make notebook`. Times of running are left out: only results change it."""

from pathlib import Path

import nbclient
import nbformat

NOTEBOOK = Path(__file__).parents[1] / "docs" / "indicators.ipynb"


def main() -> None:
    """Execute in place."""
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    place = {"metadata": {"path": NOTEBOOK.parent}}
    nbclient.NotebookClient(notebook, timeout=300, kernel_name="python3", record_timing=False, resources=place).execute()
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
    nbformat.write(notebook, NOTEBOOK)


if __name__ == "__main__":
    main()
