"""Reads published check values: `tests/reference/*.csv`, each row with its source, basis and tolerance."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

REFERENCE = Path(__file__).parent / "reference"


@dataclass(frozen=True)
class Check:
    """One published figure: what was given, what came out, how close to agree."""

    id: str
    quantity: str
    given: dict[str, Any]
    value: float
    tolerance: float


def rows(name: str) -> list[dict[str, str]]:
    """All rows of a file, as text."""
    with (REFERENCE / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def checks(name: str, *prefixes: str) -> list[Check]:
    """Rows with a numeric value whose id starts with one of the prefixes."""
    return [
        Check(row["id"], row["quantity"], json.loads(row["inputs"]), float(row["value"]), float(row["tol"]))
        for row in rows(name)
        if row["id"].startswith(prefixes) and row["tol"]
    ]


def check_id(check: Check) -> str:
    """Name of a case in a test report."""
    return check.id
