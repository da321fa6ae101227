"""Many jobs planned together: lists of all, one job's error stops no other, and what is wrong with the call is named."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import scipy.stats
from benchmarks.plan import DRIVES, drives

from gearcase import cli
from gearcase.cli import campaign as verb
from gearcase.errors import BadInput, Problem
from gearcase.install.cutting import cut_list
from gearcase.install.lengths import SAW_KERF, Lengths, Piece, Stock
from gearcase.record import chain
from gearcase.stages import campaign
from gearcase.stages.campaign import Planned, failed, job_folders, plan_one
from test_stages import EXAMPLES

DEMO = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")


def job(home: Path, name: str, *changes: tuple[str, str]) -> Path:
    """The demo under another title, with changes."""
    text = DEMO
    for given, put in (("title: Conveyor CV-204", f"title: {name}"), *changes):
        assert text.count(given) == 1, given
        text = text.replace(given, put)
    (home / name).mkdir(parents=True)
    (home / name / "job.yaml").write_text(text, encoding="utf-8")
    return home / name


POST = "      - {name: post of the light, length: 1800 mm}\n"
OFFCUT = "      - {name: offcut in the shop, length: 900 mm, available: 1}\n"
THIN = ("\n    wall: {readings: [22.6 mm, 22.4 mm, 22.5 mm]", "\n    wall: {readings: [14.4 mm, 14.2 mm, 14.3 mm]")


@pytest.fixture
def three(tmp_path: Path) -> Path:
    """A folder of jobs: one ready, one blocked, one that cannot be read."""
    home = tmp_path / "jobs"
    job(home, "a ready")
    job(home, "b blocked", THIN)
    job(home, "c broken", ("teeth: 71", "teeth: 7.5"))
    return home


def call(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, dict[str, Any]]:
    code = cli.main(["campaign", *map(str, arguments), "--json"])
    said = capsys.readouterr()
    assert said.err == ""
    document: dict[str, Any] = json.loads(said.out)
    return code, document


def test_one_jobs_error_stops_no_other_and_is_named(three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, document = call(capsys, three)
    assert code == 1 and document["statement"].startswith("1 of 3 jobs can be carried out as planned, 1 blocked, 1 not planned")
    states = {row["title"]: row for row in document["jobs"]}
    assert [states[name]["state"] for name in ("a ready", "b blocked", "c broken")] == ["ready", "blocked", "not planned"]
    assert "a way to the oil" in states["b blocked"]["stops"][0]["says"]
    assert "job.yaml" in states["c broken"]["stops"][0]["where"] and "whole number" in states["c broken"]["stops"][0]["says"]


def test_what_stays_adds_up_and_tools_go_from_job_to_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: the demo takes two sensors of one sort and one drill #3; three demos six sensors, one drill, one spare of each."""
    folders = [job(tmp_path, name) for name in ("one", "two", "three")]
    code, document = call(capsys, *folders)
    rows = {(row["group"], row["what"]): row for row in document["pick"]}
    assert len(rows) == len(document["pick"])  # each thing once, spares of single jobs not counted again
    sensor, drill = "sensor, waveform, 3 axes, 2 Hz to 10 kHz", "drill #3 (5.41 mm, 118 degree point)"
    assert code == 0 and rows["parts", sensor]["quantity"] == 6 and rows["parts", sensor]["for"] == ["one", "two", "three"]
    assert rows["tools", drill]["quantity"] == 1 and rows["spares", drill]["quantity"] == 1
    assert rows["spares", sensor]["quantity"] == 1 and rows["documents", "work card of this plan"]["quantity"] == 3


def test_stock_is_cut_for_all_jobs_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: three jobs' feet of 900 mm come out of one bar, where each job alone would open its own."""
    bars = "      - {name: cross bar of the enclosure, length: 420 mm, count: 2}\n"
    foot = "{name: foot, length: 300 mm, count: 2}", "{name: foot, length: 900 mm}"
    changes = ((POST, ""), (bars, ""), foot, (OFFCUT, ""))
    folders = [job(tmp_path, name, *changes) for name in ("one", "two", "three")]
    _, document = call(capsys, *folders)
    strut = next(row for row in document["cut_lists"] if row["of"] == "strut channel")
    assert [len(bar["pieces"]) for bar in strut["bars"]] == [3] and strut["bought_m"] == pytest.approx(3.048)
    assert {piece["job"] for piece in strut["bars"][0]["pieces"]} == {"one", "two", "three"}
    bars = [row for row in document["pick"] if row["what"] == "strut channel, 3048 mm"]
    assert [row["quantity"] for row in bars] == [1]


def test_together_never_takes_more_stock_than_apart(tmp_path: Path) -> None:
    jobs = [plan_one(job(tmp_path, f"{n}", ("length: 1800 mm", f"length: {1000 + 350 * n} mm"))) for n in range(4)]
    together = {row["of"]: row["bought_m"] for row in campaign.run(jobs).document["cut_lists"]}
    for material, bought in together.items():
        alone = [cut_list(one.pieces, one.stocks, kerf=SAW_KERF) for job_ in jobs for name, one in job_.lengths if name == material]
        assert bought <= sum(one.bought for one in alone) + 1e-9


def test_offcuts_of_all_jobs_count_together_and_the_widest_kerf_holds() -> None:
    piece, offcut = Piece("foot", 0.5), Stock("offcut", 0.6, 1)
    jobs = [
        Planned(name, name, lengths=(("conduit", Lengths((piece,), (offcut,), kerf)),))
        for name, kerf in (("a", 0.002), ("b", 0.004))
    ]
    (row,) = campaign.run(jobs).document["cut_lists"]
    assert len(row["bars"]) == 2 and row["uncut"] == [] and row["kerf_m"] == 0.004
    short = campaign.run([replace(jobs[0], lengths=jobs[0].lengths * 3)])
    assert short.wrong is False  # three entries bring three offcuts
    lacking = replace(jobs[0], lengths=(("conduit", Lengths((piece, piece), (offcut,))),))
    found = campaign.run([lacking])
    assert found.wrong and "the stock ends before foot" in found.document["findings"][0]["says"]


def test_two_jobs_of_one_title_are_named_by_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = job(tmp_path, "left")
    second = tmp_path / "right"
    shutil.copytree(first, second)
    code, document = call(capsys, first, second)
    assert code == 0 and [row["rule"] for row in document["findings"]] == ["campaign.title"]
    assert str(second) in document["findings"][0]["says"]
    assert [row["title"] for row in document["jobs"]] == [f"left ({first})", f"left ({second})"]


def test_a_job_named_twice_is_planned_once(three: Path) -> None:
    assert job_folders([three, three / "a ready", three]) == [three / "a ready", three / "b blocked", three / "c broken"]


@pytest.mark.parametrize("empty", ["nothing there", "a folder without jobs"])
def test_an_empty_campaign_is_refused_with_what_would_do(empty: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "none"
    if empty == "a folder without jobs":
        folder.mkdir()
    code, document = call(capsys, folder)
    assert code == 2 and document["ok"] is False
    assert "each with a job.yaml" in document["errors"][0]["accepted"] and str(folder) in document["errors"][0]["given"]


def test_no_folder_at_all_is_a_wrong_call(capsys: pytest.CaptureFixture[str]) -> None:
    code, document = call(capsys)
    assert code == 2 and "FOLDER" in document["errors"][0]["given"]


def test_a_folder_without_a_job_among_others_is_named(three: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").mkdir()
    code, document = call(capsys, three / "a ready", tmp_path / "empty")
    assert code == 1 and [row["state"] for row in document["jobs"]] == ["ready", "not planned"]
    assert "job.yaml" in json.dumps(document["jobs"][1]["stops"])


def test_a_defect_in_one_job_costs_only_that_one(three: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(_: object) -> None:
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr(campaign.plan, "run", breaks)
    planned = plan_one(three / "a ready")
    assert planned.problems[0].where == "gearcase itself failed" and "ZeroDivisionError" in planned.problems[0].given


def test_nothing_is_kept_unless_a_folder_is_named(three: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call(capsys, three)
    assert not list(tmp_path.rglob("results"))
    call(capsys, three, "--into", tmp_path / "lists", "--by", "A. Tester")
    kept = tmp_path / "lists" / "results" / "campaign" / "0001"
    assert {path.name for path in kept.iterdir()} == {"result.json", "campaign.pdf", "campaign.html"}
    stored = json.loads((kept / "result.json").read_text(encoding="utf-8"))
    assert stored["schema"] == "campaign/1" and stored["who"] == "A. Tester" and len(stored["read"]) == 2
    assert "a way to the oil" in (kept / "campaign.html").read_text(encoding="utf-8")


def test_several_processes_give_the_same_as_one(three: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folders = job_folders([three])
    alone = [plan_one(folder) for folder in folders]
    monkeypatch.setattr(verb, "_WORTH_A_PROCESS", 1)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    together = list(verb._planned(folders))
    assert campaign.run(together) == campaign.run(alone) and together[2].problems == alone[2].problems


def test_the_words_tell_every_job_and_what_stops_it(three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["campaign", str(three)]) == 1
    said = capsys.readouterr().out
    assert said.startswith("1 of 3 jobs") and "b blocked: input coupling end: a way to the oil" in said
    assert "cut list, strut channel" in said and "spares:" in said


def test_who_looks_sees_how_far_it_is(three: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    cli.main(["campaign", str(three)])
    said = capsys.readouterr().err
    assert "1 of 3: a ready" in said and "3 of 3: c broken" in said and said.endswith("\r\033[K")


def test_problems_cross_from_a_process_whole() -> None:
    problem = Problem("job.yaml:3", "drive", "x", "y")
    assert failed(Path("a/b"), *BadInput(problem).problems).problems == (problem,)


def test_the_drives_of_the_benchmark_follow_the_demo(tmp_path: Path) -> None:
    """One in ten has a wall too thin for its hole; a generator that no longer fits the demo stops the benchmark."""
    drives(tmp_path)
    made = sorted(tmp_path.iterdir())
    assert len(made) == DRIVES
    thin, thick = (
        [(row["rule"], row["level"]) for row in plan_one(folder).findings if row["level"] == "blocker"] for folder in made[:2]
    )
    assert thin == [("plan.metal_left", "blocker")] and thick == []


def opened(folder: Path, *entries: tuple[str, str, str]) -> Path:
    """Entries of a job's record of what was found: pattern called, found, pattern seen instead."""
    path = folder / "results" / "opened" / "found.jsonl"
    for fault, found, seen in entries:
        entry = {"schema": "found/1", "fault": fault, "found": found, "seen": seen, "corrects": None}
        chain.append(path, entry, who="A. Fitter", when="2026-09-20T08:00:00+00:00")
    return path


def test_what_was_found_on_opening_is_tallied_over_all_jobs_planned_or_not(three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: outer race right in 1 of 2 of the first job, 3 of 3 of the broken one, missed once; the interval by scipy's test."""
    opened(three / "a ready", ("outer_race", "confirmed", ""), ("outer_race", "nothing", ""), ("unbalance", "not inspected", ""))
    opened(three / "c broken", *[("outer_race", "confirmed", "")] * 3, ("inner_race", "other", "outer_race"))
    _, document = call(capsys, three)
    rows = {row["pattern"]: row for row in document["tally"]}
    ends = scipy.stats.binomtest(4, 5).proportion_ci(0.9, "exact")
    right = rows["outer_race"]["named_right"]
    assert (right["hits"], right["of"]) == (4, 5) and (right["low"], right["high"]) == pytest.approx((ends.low, ends.high))
    assert rows["outer_race"]["missed"] == 1 and rows["unbalance"]["not_inspected"] == 1 and document["opened_jobs"] == 2
    assert rows["inner_race"]["named_right"]["hits"] == 0
    cli.main(["campaign", str(three), "--into", str(three.parent / "lists"), "--by", "A. Fitter"])
    said = capsys.readouterr().out
    assert "found on opening, over 2 of 3 jobs, 90 % intervals:" in said
    assert "outer race: right in 4 of 5 inspected (34 to 99 %), 1 nothing; missed 1" in said
    page = next((three.parent / "lists").rglob("campaign.html")).read_text(encoding="utf-8")
    assert "Found on opening, over 2 of 3 jobs" in page and "4 of 5 (34 to 99 %)" in page


def test_entries_that_somebody_changed_are_left_out_of_the_tally_and_named(three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = opened(three / "a ready", ("outer_race", "nothing", ""))
    path.write_text(path.read_text(encoding="utf-8").replace("nothing", "confirmed"), encoding="utf-8")
    opened(three / "b blocked", ("outer_race", "confirmed", ""))
    _, document = call(capsys, three)
    (row,) = document["tally"]
    assert row["named_right"]["of"] == 1 and document["opened_jobs"] == 1
    (finding,) = [one for one in document["findings"] if one["rule"] == "campaign.opened"]
    assert finding["where"] == "a ready" and "left out of the tally" in finding["says"] and "found.jsonl" in finding["says"]
