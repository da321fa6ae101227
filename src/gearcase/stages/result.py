"""What a stage leaves."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.findings import Finding, Level

__all__ = ["Arrays", "StageResult", "calls_by_date", "calls_for_action", "finding_document", "has_blocker"]

Arrays = Mapping[str, Mapping[str, NDArray[np.floating]]]


@dataclass(frozen=True)
class StageResult:
    """A stage's result.

    Attributes
    ----------
    stage : str
    document : dict
        Plain data with its `schema`, what ``--json`` prints and ``result.json`` keeps.
    read : tuple of dict
        ``{"what", "sha256"}`` of everything the result rests on.
    arrays : mapping
        Name -> column -> array, kept beside as Parquet.
    wrong : bool
        A blocker, alarm or fault was found: somebody must act.
    """

    stage: str
    document: dict[str, Any]
    read: tuple[dict[str, str], ...]
    arrays: Arrays = field(default_factory=dict)
    wrong: bool = False


def finding_document(finding: Finding) -> dict[str, Any]:
    """A finding as plain data."""
    return {
        "level": str(finding.level),
        "rule": finding.rule,
        "where": finding.where,
        "says": finding.says,
        "worked": finding.worked.as_dict() if finding.worked else None,
    }


def has_blocker(findings: tuple[Finding, ...]) -> bool:
    """Whether any finding says not to proceed."""
    return any(finding.level is Level.BLOCKER for finding in findings)


def calls_for_action(diagnosis: Mapping[str, Any]) -> bool:
    """Whether a ``diagnose/1`` document says something that somebody must act on: a verdict, a recording unfit to be judged, or
    overall vibration in zone D, enough to do damage.
    """
    return bool(diagnosis["verdicts"]) or any(
        recording["indicators"]["zone"] == "D" or any(finding["level"] == Level.BLOCKER for finding in recording["quality"])
        for recording in diagnosis["recordings"]
    )


def calls_by_date(trend: Mapping[str, Any] | None) -> bool:
    """Whether a ``trend/1`` document says that a limit is reached, or when it will be."""
    return any(row["forecast"] and row["forecast"]["answer"] in ("date", "reached") for row in (trend or {}).get("series", ()))
