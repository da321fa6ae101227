"""What the pages show of a job: the traveller card, one stage's result, the diary. Read anew at each call, nothing is written."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_data
from gearcase.drawings.beside import plan_files
from gearcase.drawings.block import first_up
from gearcase.drawings.pages import stage_blocks, stage_statement
from gearcase.drawings.pictures import SURVEY_PICTURES
from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job, load
from gearcase.record import results
from gearcase.record.freshness import changes
from gearcase.record.readers import sha256_of_file
from gearcase.record.results import StoredResult
from gearcase.stages.result import calls_by_date
from gearcase.web.sections import OF_THE_PAGE, Section, sections

__all__ = ["STAGES", "Card", "Diary", "Events", "NotKept", "StagePage", "diary", "kept_file", "stage_page", "traveller_card"]

STAGES = {
    "survey": "what turns, what it can show, what is still unknown",
    "plan": "how the kit goes on",
    "fit": "what was done, as built",
    "prove": "every device answers, and says what it should",
    "baseline": "what is normal for this drive",
    "watch": "what changes",
    "diagnose": "what is wrong, and how sure",
    "trend": "where it is going, and how long is left",
    "opened": "what stood behind each verdict",
    "handover": "what the owner gets",
}
Events = Callable[[], list[dict[str, Any]]]  # what watching has seen, the earliest first
_OF_LIGHT = {"green": "done", "white": "done", "yellow": "fault", "red": "blocker"}  # state on a page; of all else "stale"
_KEPT = re.compile(r"[a-z0-9][a-z0-9-]{0,60}\.(svg|pdf|html|png|dxf)")
_DRAWN = {"survey/1": SURVEY_PICTURES, "plan/1": ("face-",)}  # drawn again from the document, in the page's own colours
_PRINTED = "face-"  # a page draws faces itself; the sheets with their title block are linked, to be printed


class NotKept(LookupError):
    """What was asked for is not there; its message says what is."""


@dataclass(frozen=True)
class Row:
    """One line of the traveller card.

    `state` is one of ``done``, ``fault``, ``stale``, ``blocker``, ``damaged``, ``not begun``; `word` says it, `changed` and
    `says` say why.
    """

    stage: str
    asks: str
    state: str
    word: str
    run: int | None = None
    who: str = ""
    when: str = ""
    says: str = ""
    changed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Running:
    """A watch that has begun and not said that it ended: since when, its light and run state, and the state these are on a page."""

    since: str
    light: str
    run_state: str
    state: str


@dataclass(frozen=True)
class Card:
    """The first page: the job and the state of each stage."""

    title: str
    site: dict[str, Any]
    rows: tuple[Row, ...]
    problems: tuple[dict[str, str], ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"schema": "card/1", "ok": True, **asdict(self)}


@dataclass(frozen=True)
class StagePage:
    """One result of one stage, with its place among the runs and stages; `labels` name files and pictures as a person would."""

    title: str
    row: Row
    runs: tuple[int, ...]
    before: str
    after: str
    problems: tuple[dict[str, str], ...]
    checksum: str
    result: dict[str, Any] | None
    running: Running | None
    files: tuple[str, ...]
    pictures: tuple[str, ...]
    labels: dict[str, str]
    sections: tuple[Section, ...]

    @property
    def contents(self) -> tuple[tuple[str, str, int], ...]:
        """Of each heading on the page its address, its words and its level."""
        listed = [(one.id, one.heading.text, one.heading.level) for one in self.sections if one.heading]
        added = (bool(self.pictures), len(self.runs) > 1)
        listed += [(one, one, 1) for one, there in zip(OF_THE_PAGE, added, strict=True) if there]
        return tuple(listed)

    def as_dict(self) -> dict[str, Any]:
        """Plain data: the document itself instead of its layout."""
        shown = {key: value for key, value in vars(self).items() if key not in ("sections", "row", "before", "after")}
        return {"schema": "page/1", "ok": True, **shown, "row": asdict(self.row), "running": self.running and asdict(self.running)}


@dataclass(frozen=True)
class Diary:
    """Everything kept and everything that happened, the latest first."""

    title: str
    entries: tuple[dict[str, Any], ...]
    problems: tuple[dict[str, str], ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {"schema": "diary/1", "ok": True, **asdict(self)}


def traveller_card(folder: Path, events: Events = list) -> Card:
    """The state of every stage of a job. A broken job.yaml or a damaged result is shown, and takes nothing else away."""
    job, problems = _job(folder)
    rows = [_row(folder, job, stage) for stage in STAGES]
    if running := running_watch(events()):
        at = list(STAGES).index("watch")
        word = f"runs, light {running.light}" + (f"; before: {rows[at].word}" if rows[at].run else "")
        rows[at] = replace(rows[at], state=running.state, word=word)
    return Card(job.title if job else folder.name, dict(job.site) if job else {}, tuple(rows), problems)


def running_watch(events: Iterable[Mapping[str, Any]]) -> Running | None:
    """The watch that runs by its own diary; None where none began, or the last has said that it ended."""
    started: Mapping[str, Any] | None = None
    light = run_state = ""
    for event in events:
        kind = event.get("kind")
        if kind == "watch started":
            started, light, run_state = event, "", "unknown"
        elif kind == "watch stopped":
            started = None
        elif kind == "light":
            light = str(event.get("says") or "")
        elif kind == "run state":
            run_state = str(event.get("says") or "").rpartition(" to ")[2]
    if started is None:
        return None
    return Running(_time(started.get("time_s")), light or "not told yet", run_state, _OF_LIGHT.get(light, "stale"))


def stage_page(folder: Path, stage: str, number: int | None = None, events: Events = list) -> StagePage:
    """One result of a stage: the latest, or that of a number; of the watch also one that runs now.

    Raises
    ------
    NotKept
        No such stage or number.
    BadInput
        The result is damaged.
    """
    if stage not in STAGES:
        raise NotKept(f"no stage of that name; the stages are {', '.join(STAGES)}")
    kept = results.numbers(folder, stage)
    if number is not None and number not in kept:
        raise NotKept(f"no such run of {stage}; kept are {', '.join(f'{n:04d}' for n in kept) or 'none yet'}")
    job, problems = _job(folder)
    names = list(STAGES)
    place = names.index(stage)
    around = ("" if place == 0 else names[place - 1], "" if place == len(names) - 1 else names[place + 1])
    title = job.title if job else folder.name
    running = running_watch(events()) if stage == "watch" and number is None else None
    if not kept:
        return StagePage(title, _row(folder, job, stage), (), *around, problems, "", None, running, (), (), {}, ())
    stored = results.stored(folder, stage, number or kept[-1])
    files = _files(stored)
    known = _DRAWN.get(str(stored.document.get("schema")), ())
    return StagePage(
        title,
        _row_of(folder, job, stage, stored),
        tuple(kept),
        *around,
        problems,
        sha256_of_data(stored.document)[:12],
        stored.document,
        running,
        tuple(name for name in files if not name.endswith((".svg", ".png")) or name.startswith(_PRINTED)),
        tuple(name for name in files if name.endswith((".svg", ".png")) and not name.startswith(known or ("/",))),
        _labels(stored, files),
        _sections(folder, stage, stored),
    )


def diary(folder: Path, events: Events) -> Diary:
    """All results of all stages and all events, by time.

    Parameters
    ----------
    folder : Path
    events : callable
        Rows with ``time_s`` (seconds since 1970), ``kind``, ``point`` and ``says``.
    """
    job, problems = _job(folder)
    entries, damaged = [], []
    for stage in STAGES:
        for number in results.numbers(folder, stage):
            try:
                stored = results.stored(folder, stage, number)
                said = stage_statement(stage, stored.document)
            except BadInput as error:
                damaged += error.as_dicts()
                continue
            except (KeyError, TypeError, AttributeError) as error:
                damaged += _unreadable(stored, error).as_dicts()
                continue
            entries.append(
                {
                    "when": stored.header["when"],
                    "what": stage,
                    "run": number,
                    "point": "",
                    "who": stored.header["who"],
                    "says": said,
                }
            )
    for event in events():
        when = _time(event.get("time_s"))
        entries.append(
            {
                "when": when,
                "what": str(event.get("kind") or "event"),
                "run": None,
                "point": str(event.get("point") or ""),
                "who": "",
                "says": str(event.get("says") or ""),
            }
        )
    entries.sort(key=lambda entry: str(entry["when"]), reverse=True)
    return Diary(job.title if job else folder.name, tuple(entries), (*problems, *damaged))


def kept_file(folder: Path, stage: str, number: int, name: str) -> Path:
    """A picture or sheet kept with a result.

    Raises
    ------
    NotKept
        No such stage, run or file; only names found in the result's own folder are ever opened.
    """
    if stage in STAGES and number in results.numbers(folder, stage):
        home = folder / "results" / stage / f"{number:04d}"
        for path in home.iterdir():
            if path.name == name and _KEPT.fullmatch(name) and path.is_file() and not path.is_symlink():
                return path
    raise NotKept("no such file is kept with this result")


def _job(folder: Path) -> tuple[Job | None, tuple[dict[str, str], ...]]:
    try:
        return load(folder), ()
    except BadInput as error:
        return None, tuple(error.as_dicts())


def _row(folder: Path, job: Job | None, stage: str) -> Row:
    """The stage's latest result on the card; a damaged one is a state like any other."""
    try:
        stored = results.latest(folder, stage)
        if stored is None:
            return Row(stage, STAGES[stage], "not begun", "not begun")
        return _row_of(folder, job, stage, stored)
    except BadInput as error:
        number = results.numbers(folder, stage)[-1]
        return Row(stage, STAGES[stage], "damaged", "damaged", number, says="; ".join(str(problem) for problem in error.problems))


def _row_of(folder: Path, job: Job | None, stage: str, stored: StoredResult) -> Row:
    document = stored.document
    try:
        says = stage_statement(stage, document)
    except (KeyError, TypeError, AttributeError) as error:
        raise _unreadable(stored, error) from None
    changed = () if job is None else tuple(str(change) for change in changes(folder, job, stored, sha256_of=_sha256_of))
    state, word = _state(document)
    if changed:
        state, word = (state if state == "blocker" else "stale"), f"{word}, older than the job"
    elif job is None:
        state, word = "stale", f"{word}; job.yaml cannot be read"
    return Row(stage, STAGES[stage], state, word, stored.number, stored.header["who"], stored.header["when"], says, changed)


def _state(document: dict[str, Any]) -> tuple[str, str]:
    """What a result says of itself: a blocker, a fault, or no more than that it is there."""
    found = document.get("findings")
    if any(row.get("level") == "blocker" for row in (found if isinstance(found, list) else []) if isinstance(row, dict)):
        return "blocker", "done, do not proceed"
    evidence, conditions = document.get("evidence", ()), document.get("conditions", ())
    if any(row.get("outcome") == "failed" for row in evidence if isinstance(row, dict)):
        return "blocker", "done, a step failed"
    if any(row.get("condition") != "clear" for row in conditions if isinstance(row, dict)):
        return "fault", "left, abnormal"
    if calls_by_date(document):
        return "fault", "done, a limit is near or reached"
    return ("fault", "done, a fault is seen") if document.get("verdicts") else ("done", "done")


def _sections(folder: Path, stage: str, stored: StoredResult) -> tuple[Section, ...]:
    survey, arrays = None, None
    if stored.document.get("schema") == "diagnose/1":
        earlier = results.latest(folder, "survey")
        survey, arrays = (earlier.document, stored.arrays()) if earlier else (None, None)
    if stored.document.get("schema") == "trend/1":
        arrays = stored.arrays()
    try:
        return sections(stage_blocks(stage, stored.document, survey=survey, arrays=arrays))
    except (KeyError, TypeError, AttributeError, ValueError, IndexError) as error:
        raise _unreadable(stored, error) from None


def _unreadable(stored: StoredResult, error: Exception) -> BadInput:
    accepted = "a document as the stage leaves it; run the stage again to make a new one, nothing is overwritten"
    return BadInput(
        Problem(str(stored.path / "result.json"), "", f"not as its schema says ({type(error).__name__}: {error})", accepted)
    )


def _files(stored: StoredResult) -> list[str]:
    return sorted(
        path.name for path in stored.path.iterdir() if _KEPT.fullmatch(path.name) and path.is_file() and not path.is_symlink()
    )


def _labels(stored: StoredResult, files: list[str]) -> dict[str, str]:
    """Each file as a person calls it: a drawing by what it shows, anything else by its name."""
    shows: dict[str, str] = {}
    if stored.document.get("schema") == "plan/1":
        try:
            shows = plan_files(stored.document)
        except (KeyError, TypeError, AttributeError, ValueError, IndexError) as error:
            raise _unreadable(stored, error) from None
    labels = {}
    for name in files:
        stem, _, kind = name.rpartition(".")
        labels[name] = f"{first_up(shows.get(name, stem.replace('-', ' ')))}, {'web page' if kind == 'html' else kind.upper()}"
    return labels


def _time(seconds: Any) -> str:
    """ISO 8601 of seconds since 1970; empty where it is no such number."""
    try:
        return datetime.fromtimestamp(float(seconds), UTC).isoformat(timespec="seconds")
    except (TypeError, ValueError, OverflowError, OSError):
        return ""


def _sha256_of(path: Path) -> str:
    """Of a file, remembered as long as its size and time of change stay: a page must not read every recording again."""
    known = path.stat()
    return _hashed(path, known.st_size, known.st_mtime_ns)


@lru_cache(maxsize=1024)
def _hashed(path: Path, size: int, changed_ns: int) -> str:
    del size, changed_ns
    return sha256_of_file(path)
