"""Found on opening, recorded and tallied. Outside check: scipy's exact interval of a binomial test; the chain's own laws."""

import json
from pathlib import Path
from typing import Any

import pytest
import scipy.stats

from gearcase.cli import main
from gearcase.drawings.opened_blocks import opened_blocks, opened_sheet, opened_text
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.record import chain, results
from gearcase.record.results import StoredResult
from gearcase.stages import opened
from test_cli import call, document, job
from test_installed import words
from test_stages import EXAMPLES

__all__ = ["job"]  # a fixture

PART, OTHER = "intermediate bearing, left", "input bearing, far end"
TODAY = "2026-09-20T08:00:00+00:00"


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def diagnosed(
    *verdicts: tuple[str, str], number: int = 1, when: str = "2026-09-01T10:00:00+00:00", file: str = "sep.wav"
) -> StoredResult:
    rows = [{"component": part, "fault": fault, "point": "intermediate left", "recording": file} for part, fault in verdicts]
    return StoredResult(number, Path("x"), {"when": when}, {"verdicts": rows})


BOTH = [diagnosed((PART, "outer_race"), (OTHER, "inner_race"))]


def made(demo: Job, records: list[dict[str, Any]], diagnoses: list[StoredResult] | None = None, **given: Any) -> dict[str, Any]:
    said = {"component": PART, "fault": "outer_race", "found": "confirmed", "seen": "", "says": "", "on": "2026-09-10"}
    more = {"today": TODAY, "photos": (), "corrects": None}
    return opened.entry(demo, BOTH if diagnoses is None else diagnoses, records, **{**said, **more, **given})


def recorded(demo: Job, path: Path, *entries: dict[str, Any], diagnoses: list[StoredResult] | None = None) -> list[dict[str, Any]]:
    for given in entries:
        before = list(chain.read(path))
        chain.append(path, made(demo, before, diagnoses, **given), who="A. Fitter", when=TODAY)
    return list(chain.read(path))


def test_what_was_found_is_tallied_with_its_interval_and_the_rest_is_asked_for(demo: Job, tmp_path: Path) -> None:
    records = recorded(demo, tmp_path / "found.jsonl", {})
    result = opened.run(demo, BOTH, records)
    assert json.loads(json.dumps(result.document, allow_nan=False)) == result.document
    (row,) = result.document["tally"]
    ends = scipy.stats.binomtest(1, 1).proportion_ci(0.9, "exact")
    assert (row["pattern"], row["confirmed"]) == ("outer_race", 1)
    assert (row["named_right"]["low"], row["named_right"]["high"]) == pytest.approx((ends.low, ends.high))
    assert [(one["component"], one["fault"]) for one in result.document["open"]] == [(OTHER, "inner_race")]
    assert result.document["statement"] == "found on opening: 1 confirmed; 1 verdict nobody has opened or entered"
    said = words(opened_blocks(result.document))
    assert "1 of 1 (5 to 100 %)" in said and "inner race fault of input bearing, far end" in said
    assert "entry 1, 2026-09-10, A. Fitter: outer race of intermediate bearing, left: confirmed" in opened_text(result.document)
    sheet = opened_sheet(result.document, (("job", "x"), ("operator", "y")))
    assert "not inspected" in words(sheet.blocks) and sheet.title_block == (("job", "x"),)


def test_a_correction_counts_instead_of_what_it_corrects_and_both_stay(demo: Job, tmp_path: Path) -> None:
    wrong = {"found": "nothing"}
    right = {"found": "other", "seen": "inner_race", "corrects": 1, "says": "spall of the inner ring, seen after washing"}
    records = recorded(demo, tmp_path / "found.jsonl", wrong, right)
    result = opened.run(demo, BOTH, records)
    inner, outer = result.document["tally"]
    assert (outer["nothing"], outer["other"], inner["missed"]) == (0, 1, 1) and len(result.document["entries"]) == 2
    assert "(corrected by entry 2)" in opened_text(result.document)
    with pytest.raises(BadInput, match="an entry that stands: 2"):
        made(demo, records, found="confirmed", corrects=1)


def test_a_verdict_is_entered_once_until_it_is_given_anew(demo: Job, tmp_path: Path) -> None:
    records = recorded(demo, tmp_path / "found.jsonl", {})
    with pytest.raises(BadInput, match="correct it with --corrects 1"):
        made(demo, records)
    later = [*BOTH, diagnosed((PART, "outer_race"), number=2, when="2026-09-15T10:00:00+00:00", file="oct.wav")]
    assert (PART, "outer_race", 2) in [
        (row["component"], row["fault"], row["diagnose"]) for row in opened.open_verdicts(later, records)
    ]
    assert made(demo, records, later, on="2026-09-16")["verdict"]["diagnose"] == 2


def test_a_recording_judged_again_after_the_opening_asks_nothing_anew(demo: Job, tmp_path: Path) -> None:
    records = recorded(demo, tmp_path / "found.jsonl", {}, {"component": OTHER, "fault": "inner_race"})
    again = [*BOTH, diagnosed((PART, "outer_race"), number=2, when="2026-10-01T10:00:00+00:00")]
    assert opened.open_verdicts(again, records) == []
    since = [*BOTH, diagnosed((PART, "outer_race"), number=2, when="2026-10-01T10:00:00+00:00", file="oct.wav")]
    assert [row["diagnose"] for row in opened.open_verdicts(since, records)] == [2]


def test_a_fault_that_no_verdict_had_named_is_entered_too(demo: Job, tmp_path: Path) -> None:
    unnamed = {"component": OTHER, "fault": "", "found": "other", "seen": "cage"}
    result = opened.run(demo, BOTH, recorded(demo, tmp_path / "found.jsonl", unnamed))
    (row,) = result.document["tally"]
    assert (row["pattern"], row["missed"]) == ("cage", 1) and len(result.document["open"]) == 2


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"fault": "cage"}, "a verdict that was given: intermediate bearing, left, outer_race"),
        ({"found": "maybe"}, "one of confirmed, other, nothing, not inspected"),
        ({"found": "nothing", "seen": "cage"}, 'only where "other" was found'),
        ({"found": "other", "seen": "gremlins"}, "one of: outer_race"),
        ({"fault": "", "component": "nobody", "found": "other", "seen": "cage"}, "a part of the drive"),
        ({"fault": "", "found": "other"}, "the pattern that no verdict had named"),
        ({"on": "yesterday"}, "the day of the opening"),
        ({"on": "2026-09-21"}, "a day that has come"),
        ({"photos": ({"file": "gone.jpg", "sha256": ""},)}, "a photo in the job's folder"),
        ({"corrects": 7}, "the number of an entry that stands: none yet"),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_be_right(demo: Job, given: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        made(demo, [], **given)


def test_everything_wrong_is_said_at_once_and_nothing_diagnosed_is_no_crash(demo: Job) -> None:
    with pytest.raises(BadInput) as refused:
        made(demo, [], [], found="maybe", on="never")
    assert len(refused.value.problems) == 3 and "nothing was diagnosed" in str(refused.value)
    assert opened.run(demo, [], []).document["statement"] == "nothing entered yet"


def test_the_verb_records_by_name_keeps_a_sheet_and_the_handover_holds_it(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    verdict = diagnosed((PART, "outer_race")).document["verdicts"]
    kept = {"schema": "diagnose/1", "statement": "s", "verdicts": verdict, "recordings": [], "cannot_tell": []}
    results.write(job, "diagnose", document=kept, arrays={}, pictures={}, read=(), who="a", when="2026-09-01T10:00:00+00:00")
    say = ["--component", PART, "--fault", "outer_race", "--found", "confirmed", "--on", "2026-09-10"]
    code, _, said = call(capsys, "opened", job, *say)
    assert code == 2 and "who says so" in said
    (job / "ring.jpg").write_bytes(b"photo")
    code, found = document(capsys, "opened", job, *say, "--photo", "ring.jpg", "--says", "as long as a thumb", "--by", "A. Fitter")
    assert code == 0 and found["added"] == 1 and found["entries"][0]["who"] == "A. Fitter"
    home = job / "results" / "opened" / "0001"
    assert (home / "found-on-opening.pdf").read_bytes().startswith(b"%PDF") and (home / "found-on-opening.html").is_file()
    code, again = document(capsys, "opened", job)
    assert code == 0 and again["added"] == 0 and again["record"] == found["record"]
    lines = (job / "results" / "opened" / "found.jsonl").read_text(encoding="utf-8")
    (job / "results" / "opened" / "found.jsonl").write_text(lines.replace("confirmed", "nothing"), encoding="utf-8")
    code, _, said = call(capsys, "opened", job)
    assert code == 2 and "an entry that was changed" in said


def test_at_a_terminal_each_open_verdict_is_asked_about(
    job: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    verdicts = diagnosed((PART, "outer_race"), (OTHER, "inner_race")).document["verdicts"]
    kept = {"schema": "diagnose/1", "statement": "s", "verdicts": verdicts, "recordings": [], "cannot_tell": []}
    results.write(job, "diagnose", document=kept, arrays={}, pictures={}, read=(), who="a", when="2026-09-01T10:00:00+00:00")
    answers = iter(["other\n", "cage\n", "crown broken\n", "\n"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin.readline", lambda: next(answers), raising=False)
    assert main(["opened", str(job), "--by", "A. Fitter", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["added"] == 1 and (found["entries"][0]["seen"], found["entries"][0]["says"]) == ("cage", "crown broken")
    assert [row["component"] for row in found["open"]] == [OTHER]
