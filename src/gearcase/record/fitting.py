"""As-built entries on disk: photos hashed, each entry tied to the plan it was done against and added to the record."""

import contextlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_data
from gearcase.errors import BadInput, Problem
from gearcase.findings import Finding
from gearcase.job.entries import Entered
from gearcase.record import chain
from gearcase.record.readers import sha256_of_file
from gearcase.record.results import StoredResult, latest, stored

__all__ = ["entries", "is_recorded", "keep", "missing_photos", "photo_hash", "photos_now", "plans_of", "torn"]

_HOME = ("results", "fit", "entries.jsonl")


def keep(folder: Path, plan: StoredResult, entered: Entered, *, who: str, when: str) -> dict[str, Any]:
    """Add one entry to the job's record; it names the plan it was done against.

    Raises
    ------
    BadInput
        The record is damaged or cannot be written.
    """
    model = entered.model
    card = {step["number"]: step for step in plan.document["work_card"]}
    built = model.model_dump(mode="json", exclude_unset=True, exclude={"point", "by", "done", "photos", "steps", "because"})
    entry = {
        "schema": "entry/1",
        "against": {"plan": plan.number, "sha256": sha256_of_data(plan.document)},
        "point": model.point,
        "device": entered.device,
        "done": model.done or when,
        "because": model.because,
        "built": built,
        "photos": [{"file": file, "sha256": photo_hash(folder, file)} for file in model.photos],
        "steps": [{key: card[number][key] for key in ("number", "where", "do")} for number in entered.steps],
        "given": entered.given,
    }
    return chain.append(folder.joinpath(*_HOME), entry, who=model.by or who, when=when)


def entries(folder: Path) -> tuple[dict[str, Any], ...]:
    """The job's entries, verified; those that the latest result rests on must all be there.

    Raises
    ------
    BadInput
        An entry was changed, is missing or stands out of order.
    """
    last = latest(folder, "fit")
    return chain.read(folder.joinpath(*_HOME), holds=last.document["record"]["head"] if last else "")


def torn(folder: Path) -> Finding | None:
    """A last entry that was cut off."""
    return chain.torn(folder.joinpath(*_HOME))


def is_recorded(entered: Entered, recorded: Iterable[dict[str, Any]]) -> bool:
    """Whether the same words were recorded before, so that a file can be given twice."""
    return any(record["entry"]["given"] == entered.given for record in recorded)


def missing_photos(folder: Path, entered: Entered) -> Iterator[Problem]:
    """Photos of an entry that are not files below the job's folder."""
    for file in entered.model.photos:
        if not photo_hash(folder, file):
            yield Problem(entered.where, "photos", file, f"a photo that is there, in the job's folder or below it: {folder}")


def photos_now(folder: Path, recorded: Iterable[dict[str, Any]]) -> dict[str, str]:
    """Photo file -> its hash now, of every photo entered; empty where it is gone."""
    return {photo["file"]: photo_hash(folder, photo["file"]) for record in recorded for photo in record["entry"]["photos"]}


def plans_of(folder: Path, recorded: Iterable[dict[str, Any]]) -> dict[int, dict[str, Any]]:
    """Number -> document of the plans that entries were done against; one that is gone or damaged is left out."""
    plans = {}
    for number in {record["entry"]["against"]["plan"] for record in recorded}:
        with contextlib.suppress(BadInput):
            plans[number] = stored(folder, "plan", number).document
    return plans


def photo_hash(folder: Path, file: str) -> str:
    """Hash of a photo; empty where there is no such file below the job's folder."""
    path = (folder / file).resolve()
    return sha256_of_file(path) if path.is_relative_to(folder.resolve()) and path.is_file() else ""
