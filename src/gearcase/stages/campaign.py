"""Campaign: how do the kits of many jobs go on? Each job planned by itself, then one pick list, one cut list, what stops each; and,
of jobs whose drives have been opened since, how often each pattern was right over all of them.

A job that cannot be read or planned is named with what is wrong, and stops no other. Tools go from job to job; what stays behind
adds up; spares are counted over all jobs; stock is cut for all of them together.
"""

import traceback
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem
from gearcase.findings import Finding, Level
from gearcase.install.housing import Cable
from gearcase.install.lengths import Lengths, Piece, Stock
from gearcase.job.build import load
from gearcase.judge.opened import Opened, tally
from gearcase.record import opening
from gearcase.stages import plan
from gearcase.stages.opened import OPENED_ENTRIES, told
from gearcase.stages.planning.lists import CUT_LIST, Wanted, bars_wanted, cut_document, materials, pick_list, picked_cables
from gearcase.stages.result import StageResult, finding_document

__all__ = ["Planned", "failed", "job_folders", "plan_one", "run"]

_JOB = "job.yaml"


@dataclass(frozen=True)
class Planned:
    """One job of a campaign: what its plan leaves for the lists of all, or the problems that kept it from being planned; and what
    was found when its drive was opened, planned or not: with the hash of the last entry, or why its entries cannot be read.
    """

    folder: str
    title: str
    problems: tuple[Problem, ...] = ()
    findings: tuple[dict[str, Any], ...] = ()
    pick: tuple[dict[str, Any], ...] = ()
    cables: tuple[Cable, ...] = ()
    lengths: tuple[tuple[str, Lengths], ...] = ()
    sha256: str = ""
    opened: tuple[Opened, ...] = ()
    opened_sha256: str = ""
    opened_unread: tuple[Problem, ...] = ()


def job_folders(named: Sequence[Path]) -> list[Path]:
    """The jobs meant: a folder with a job, or every job in a folder of jobs; a folder of neither stays, to be named as wrong.

    Raises
    ------
    BadInput
        Nothing named, or no folder among them that holds a job.
    """
    found: dict[Path, Path] = {}
    for folder in named:
        inside = sorted(path.parent for path in folder.glob(f"*/{_JOB}")) if folder.is_dir() else []
        for job in inside if inside and not (folder / _JOB).is_file() else [folder]:
            found.setdefault(job.resolve(), job)
    if not any((folder / _JOB).is_file() for folder in found):
        names = ", ".join(str(folder) for folder in named) or "none"
        raise BadInput(
            Problem("gearcase campaign", "FOLDER", names, "folders of jobs, each with a job.yaml, or a folder that holds such")
        )
    return list(found.values())


def plan_one(folder: Path) -> Planned:
    """Plan one job and read what was found on opening; nothing is raised, since others wait."""
    planned = _planned(folder)
    try:
        records = opening.entries(folder)
        return replace(planned, opened=told(records), opened_sha256=records[-1]["sha256"] if records else "")
    except BadInput as error:
        return replace(planned, opened_unread=error.problems)
    except (GearcaseError, OSError) as error:
        return replace(planned, opened_unread=(Problem(str(folder), "", "", str(error)),))


def _planned(folder: Path) -> Planned:
    try:
        job = load(folder)
        result = plan.run(job)
    except BadInput as error:
        return failed(folder, *error.problems)
    except OutOfRange as error:
        return failed(folder, Problem(error.name, "", str(error.value), error.rule))
    except (GearcaseError, OSError) as error:
        return failed(folder, Problem(str(folder), "", "", str(error)))
    except Exception as error:  # a defect in one job must not cost the lists of the others
        place = traceback.extract_tb(error.__traceback__)[-1]
        says = f"{type(error).__name__}: {error} ({Path(place.filename).name}:{place.lineno})"
        return failed(folder, Problem("gearcase itself failed", "", says, "please report it"))
    document = result.document
    return Planned(
        folder=str(folder),
        title=job.title,
        findings=tuple({key: row[key] for key in ("level", "rule", "where", "says")} for row in document["findings"]),
        pick=tuple(document["pick"]),
        cables=tuple(picked_cables(job.kit, document["cables"])),
        lengths=tuple(materials(job.kit)),
        sha256=job.text_sha256,
    )


def failed(folder: Path, *problems: Problem) -> Planned:
    """A job that could not be planned."""
    return Planned(str(folder), folder.name, problems)


def run(jobs: Sequence[Planned]) -> StageResult:
    """Gather the plans of a campaign.

    Returns
    -------
    StageResult
        Document ``campaign/1``; `wrong` when a job cannot be planned or is blocked, or the stock of all does not suffice.
    """
    names = _names(jobs)
    cut_lists, findings = _cut(jobs, names)
    findings = [*_same_titles(jobs), *findings, *_unread(jobs, names)]
    planned = [job for job in jobs if not job.problems]
    rows = [_row(job, names[job.folder]) for job in jobs]
    states = Counter(row["state"] for row in rows)
    others = f"{states['blocked']} blocked, {states['not planned']} not planned"
    document = {
        "schema": "campaign/1",
        "statement": f"{states['ready']} of {len(jobs)} jobs can be carried out as planned, {others}",
        "ready": states["ready"],
        "jobs": rows,
        "pick": pick_list(
            [*_wanted(planned, names), *bars_wanted(cut_lists)],
            (cable for job in planned for cable in job.cables),
        ),
        "cut_lists": cut_lists,
        "opened_jobs": sum(bool(job.opened) for job in jobs),
        "tally": [asdict(row) for row in tally(one for job in jobs for one in job.opened)],
        "findings": [finding_document(finding) for finding in findings],
    }
    read = (
        *({"what": f"{job.folder}/{_JOB}", "sha256": job.sha256} for job in planned),
        *({"what": f"{job.folder}, {OPENED_ENTRIES}", "sha256": job.opened_sha256} for job in jobs if job.opened),
    )
    short = any(finding.level is Level.BLOCKER for finding in findings)
    return StageResult("campaign", document, read, wrong=states["ready"] < len(jobs) or short)


def _row(job: Planned, name: str) -> dict[str, Any]:
    blockers = [{"where": row["where"], "says": row["says"]} for row in job.findings if row["level"] == "blocker"]
    problems = [{"where": f"{one.where} {one.key}".strip(), "says": _problem_words(one)} for one in job.problems]
    return {
        "title": name,
        "folder": job.folder,
        "state": "not planned" if problems else "blocked" if blockers else "ready",
        "stops": problems or blockers,
        "cautions": sum(row["level"] == "caution" for row in job.findings),
    }


def _problem_words(problem: Problem) -> str:
    return "; ".join(part for part in (f"given {problem.given}" if problem.given else "", problem.accepted) if part)


def _names(jobs: Sequence[Planned]) -> dict[str, str]:
    """What each job is called in the lists: its title, with its folder where another has the same."""
    titles = Counter(job.title for job in jobs)
    return {job.folder: job.title if titles[job.title] == 1 else f"{job.title} ({job.folder})" for job in jobs}


def _same_titles(jobs: Sequence[Planned]) -> Iterator[Finding]:
    for title, count in Counter(job.title for job in jobs).items():
        if count > 1:
            folders = ", ".join(job.folder for job in jobs if job.title == title)
            says = f"{count} jobs have this title; the lists name them by folder: {folders}. Give each a title of its own"
            yield Finding(Level.CAUTION, "campaign.title", title, says)


def _unread(jobs: Sequence[Planned], names: dict[str, str]) -> Iterator[Finding]:
    for job in jobs:
        for problem in job.opened_unread:
            says = f"what was found on opening is left out of the tally: {problem.where}: {_problem_words(problem)}"
            yield Finding(Level.CAUTION, "campaign.opened", names[job.folder], says)


def _wanted(jobs: Iterable[Planned], names: dict[str, str]) -> Iterator[Wanted]:
    """What the jobs need, without their spares and bars, which are counted anew over all."""
    for job in jobs:
        for row in job.pick:
            if row["group"] != "spares" and row["for"] != [CUT_LIST]:
                yield Wanted(row["what"], names[job.folder], row["quantity"], row["group"], row["millilitres"])


def _cut(jobs: Sequence[Planned], names: dict[str, str]) -> tuple[list[dict[str, Any]], list[Finding]]:
    """One cut list of each material; the kerf is the widest of all saws, stock that any job can have serves all."""
    rows, findings = [], []
    for material in dict.fromkeys(material for job in jobs for material, _ in job.lengths):
        pieces: list[Piece] = []
        stocks: dict[tuple[str, float], int | None] = {}
        kerf = 0.0
        for job in jobs:
            for lengths in (lengths for name, lengths in job.lengths if name == material):
                pieces += [replace(piece, job=names[job.folder]) for piece in lengths.pieces]
                kerf = max(kerf, lengths.kerf)
                for stock in lengths.stocks:
                    before = stocks.get((stock.name, stock.length), 0)
                    many = before is None or stock.available is None
                    stocks[stock.name, stock.length] = None if many else before + stock.available  # type: ignore[operator]
        held = tuple(Stock(name, length, count) for (name, length), count in stocks.items())
        row, wrong = cut_document(material, Lengths(tuple(pieces), held, kerf))
        rows.append(row)
        findings += [Finding(Level.BLOCKER, f"campaign.{rule}", where, says) for rule, where, says in wrong]
    return rows, findings
