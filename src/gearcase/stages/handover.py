"""Handover: what does the owner get? Gathers the results that stand, and refuses what is stale or missing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job
from gearcase.stages.result import Arrays, StageResult, calls_by_date, calls_for_action

__all__ = ["GATHERED", "Content", "Earlier", "run"]

GATHERED = ("survey", "plan", "fit", "prove", "baseline", "watch", "diagnose", "trend", "opened", "publish")


@dataclass(frozen=True)
class Earlier:
    """The latest result of a stage: its run number, document, arrays, and what has changed since, in words."""

    number: int
    document: dict[str, Any]
    arrays: Arrays
    changed: tuple[str, ...]


@dataclass(frozen=True)
class Content:
    """Everything a report shows."""

    title: str
    site: dict[str, Any]
    date: str
    who: str
    run: int
    checksum: str
    survey: dict[str, Any]
    plan: dict[str, Any] | None
    fit: dict[str, Any] | None
    prove: dict[str, Any] | None
    baseline: dict[str, Any] | None
    watch: dict[str, Any] | None
    diagnose: dict[str, Any] | None
    trend: dict[str, Any] | None
    opened: dict[str, Any] | None
    publish: dict[str, Any] | None
    arrays: Arrays
    stale: tuple[str, ...]


def run(
    job: Job,
    earlier: Mapping[str, Earlier],
    *,
    who: str,
    date: str,
    number: int,
    checksum: Callable[[Any], str],
    accept_stale_by: str = "",
) -> tuple[StageResult, Content]:
    """Gather what the stages left into one handover.

    Parameters
    ----------
    job : Job
    earlier : mapping
        Stage name -> latest result: ``survey``, and the others of `GATHERED` where they were run.
    who, date : str
        Who hands over, and when, as shown.
    number : int
        Run number of this handover.
    checksum : callable
        Of plain data, for the title blocks.
    accept_stale_by : str
        Name of the person who accepts results older than the job; empty refuses them.

    Raises
    ------
    BadInput
        No survey yet, or a result is stale and nobody accepts it.
    """
    if "survey" not in earlier:
        raise BadInput(Problem("survey", "", "no result yet", f"run: gearcase survey {job.folder}"))
    stale = tuple(f"{stage}: {change}" for stage, result in earlier.items() for change in result.changed)
    if stale and not accept_stale_by:
        raise BadInput(
            [
                Problem(
                    stage,
                    "",
                    change,
                    f"run: gearcase {stage} {job.folder}, or name who accepts it: --accept-stale NAME",
                )
                for stage, result in earlier.items()
                for change in result.changed
            ]
        )
    diagnose = earlier.get("diagnose")
    documents = {stage: result.document for stage, result in earlier.items()}
    content = Content(
        title=job.title,
        site=dict(job.site),
        date=date,
        who=who,
        run=number,
        checksum=checksum(documents)[:12],
        survey=earlier["survey"].document,
        plan=documents.get("plan"),
        fit=documents.get("fit"),
        prove=documents.get("prove"),
        baseline=documents.get("baseline"),
        watch=documents.get("watch"),
        diagnose=documents.get("diagnose"),
        trend=documents.get("trend"),
        opened=documents.get("opened"),
        publish=documents.get("publish"),
        arrays={
            name: columns for stage in ("diagnose", "trend") if stage in earlier for name, columns in earlier[stage].arrays.items()
        },
        stale=stale,
    )
    read = tuple({"what": f"{stage} {result.number:04d}", "sha256": checksum(result.document)} for stage, result in earlier.items())
    document = {
        "schema": "handover/1",
        "job": job.title,
        "statement": diagnose.document["statement"] if diagnose else "no recording has been judged",
        "contradictions": [row["says"] for row in content.survey.get("contradictions", ())],
        "stages": {stage: result.number for stage, result in earlier.items()},
        "stale": list(stale),
        "stale_accepted_by": accept_stale_by if stale else "",
        "checksum": content.checksum,
    }
    return StageResult("handover", document, read, wrong=_wrong(documents)), content


def _wrong(documents: Mapping[str, dict[str, Any]]) -> bool:
    """Whether anything handed over calls for action: a verdict, a failed step of the proving, no limits, an abnormal watch, a limit
    that is reached or has a date.
    """
    diagnose, prove = documents.get("diagnose"), documents.get("prove", {})
    return (
        bool(diagnose and calls_for_action(diagnose))
        or any(row["outcome"] == "failed" for row in prove.get("evidence", ()))
        or documents.get("baseline", {}).get("status") == "refused"
        or any(row["condition"] != "clear" for row in documents.get("watch", {}).get("conditions", ()))
        or calls_by_date(documents.get("trend"))
    )
