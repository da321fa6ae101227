"""The commands as a person calls them: exit codes, one JSON document and nothing else, errors that say what would be right."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearcase import cli
from gearcase.job.build import load
from test_stages import EXAMPLES, RATE, recorded


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job folder with one faulty and one sound recording beside it."""
    folder = tmp_path / "job"
    folder.mkdir()
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    (folder / "job.yaml").write_text(text[: text.index("# Made by `make demo`")], encoding="utf-8")
    for name, impact in (("faulty", 5.0), ("sound", 0.0)):
        soundfile.write(tmp_path / f"{name}.wav", recorded(load(folder), impact=impact).samples, int(RATE), subtype="FLOAT")
    return folder


def call(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = cli.main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def document(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, dict[str, Any]]:
    code, out, err = call(capsys, *arguments, "--json")
    assert err == ""
    return code, json.loads(out)


FOUND = ("--unit", "m/s2", "--speed", "1476 rpm", "--point", "intermediate left")


def test_from_new_to_handover(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "check", job)[0] == 0
    assert document(capsys, "survey", job)[1]["schema"] == "survey/1"
    code, found = document(capsys, "diagnose", job, tmp_path / "faulty.wav", *FOUND)
    assert code == 1 and found["verdicts"][0]["fault"] == "outer_race"
    code, handed = document(capsys, "handover", job, "--by", "A. Tester")
    assert code == 1
    assert Path(handed["pdf"]).read_bytes().startswith(b"%PDF")
    assert "Conveyor CV-204" in Path(handed["html"]).read_text(encoding="utf-8")


def test_a_sound_recording_exits_with_0(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = document(capsys, "diagnose", job, tmp_path / "sound.wav", *FOUND)
    assert code == 0 and found["clean"]


def test_an_unfit_recording_exits_with_1_and_so_does_its_handover(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    soundfile.write(tmp_path / "dead.wav", np.zeros(int(RATE * 20), np.float32), int(RATE), subtype="FLOAT")
    assert call(capsys, "survey", job)[0] == 0
    code, found = document(capsys, "diagnose", job, tmp_path / "dead.wav", *FOUND)
    assert not found["verdicts"] and found["statement"].startswith("cannot tell")
    assert code == 1 and call(capsys, "handover", job)[0] == 1
    assert call(capsys, "diagnose", job, tmp_path / "sound.wav", *FOUND)[0] == 0
    assert call(capsys, "handover", job)[0] == 0


def test_the_point_may_be_left_out_and_any_component_be_named(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, found = document(capsys, "diagnose", job, tmp_path / "faulty.wav", *FOUND[:4])
    assert code == 1 and found["verdicts"][0]["component"].startswith("intermediate bearing")


def test_a_changed_job_makes_the_handover_stale(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document(capsys, "survey", job)
    path = job / "job.yaml"
    path.write_text(path.read_text().replace("teeth: 71", "teeth: 72"))
    code, _, err = call(capsys, "handover", job)
    assert code == 2 and "job.yaml drive has changed since" in err and "--accept-stale" in err
    assert call(capsys, "handover", job, "--accept-stale", "B. Approver")[0] == 0


def test_recordings_of_one_name_in_two_folders_do_not_make_a_handover_stale(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = "recordings:\n"
    for folder, name in (("a", "faulty"), ("b", "sound")):
        (job / folder).mkdir()
        shutil.copy(tmp_path / f"{name}.wav", job / folder / "x.wav")
        listed += f"  - {{file: {folder}/x.wav, unit: m/s2, speed: 1476 rpm, point: intermediate left}}\n"
    with (job / "job.yaml").open("a", encoding="utf-8") as stream:
        stream.write(listed)
    assert call(capsys, "survey", job)[0] == 0
    assert [row["name"] for row in document(capsys, "diagnose", job)[1]["recordings"]] == ["a/x.wav", "b/x.wav"]
    assert call(capsys, "handover", job)[0] == 1
    shutil.copy(tmp_path / "sound.wav", job / "a" / "x.wav")
    code, _, err = call(capsys, "handover", job)
    assert code == 2 and "recording a/x.wav has changed since" in err and "b/x.wav" not in err


@pytest.mark.parametrize(("said", "channels"), [("channel: vibration, tachometer: taco", 2), ("channel: vibraton", 2)])
def test_a_channel_misspelt_in_the_job_is_named_with_its_key_and_line(
    said: str, channels: int, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    noise = np.random.default_rng(1).standard_normal((channels, 5000))
    np.savez(job / "run.npz", **dict(zip(("vibration", "tacho"), noise, strict=True)))
    key = said.rpartition(", ")[2].partition(":")[0]
    with (job / "job.yaml").open("a", encoding="utf-8") as stream:
        stream.write(
            f"recordings:\n  - file: run.npz\n    unit: m/s2\n    rate: 5 kHz\n    {said.replace(', ', chr(10) + '    ')}\n"
        )
    lines = (job / "job.yaml").read_text(encoding="utf-8").splitlines()
    line = 1 + next(n for n, text in enumerate(lines) if said.rpartition(", ")[2] in text)
    code, _, err = call(capsys, "survey", job)
    assert code == 2 and f"job.yaml:{line}   recordings[0].{key}   given '{said.rpartition(' ')[2]}' for run.npz" in err
    assert "--channel" not in err and "vibration (5000 samples), tacho (5000 samples)" in err


def test_new_makes_a_job_that_reads_and_never_overwrites_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "new", tmp_path / "fresh", "--title", 'a "quoted" title: with colon')[0] == 0
    assert call(capsys, "check", tmp_path / "fresh")[0] == 0
    assert call(capsys, "survey", tmp_path / "fresh")[0] == 0
    before = (tmp_path / "fresh" / "job.yaml").read_bytes()
    code, _, err = call(capsys, "new", tmp_path / "fresh")
    assert code == 2 and "nothing is overwritten" in err
    assert (tmp_path / "fresh" / "job.yaml").read_bytes() == before


def test_the_schema_is_printed_for_editors(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "schema")
    assert code == 0 and json.loads(out)["$schema"].endswith("2020-12/schema")


@pytest.mark.parametrize(
    ("options", "where", "accepted"),
    [
        (("--speed", "1476"), "--speed", 'a speed with its unit, e.g. "1485 rpm"'),
        (("--speed", "-5 rpm"), "--speed", "above 0"),
        (("--rate", "12 parsec"), "--rate", "a frequency with its unit"),
        (("--unit", "furlong"), "--unit", ""),
        (("--point", "attic"), "--point", "a point of the job: input coupling end"),
        (("--channel", "nine"), "--channel", ""),
    ],
)
def test_a_wrong_option_is_named_with_what_would_be_right(
    options: tuple[str, str], where: str, accepted: str, job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = [*FOUND, *options]
    code, error = document(capsys, "diagnose", job, tmp_path / "sound.wav", *given)
    assert code == 2 and error["schema"] == "error/1" and not error["ok"]
    assert any(problem["where"].endswith(where) or problem["key"] == where for problem in error["errors"]), error
    assert any(accepted in problem["accepted"] for problem in error["errors"]), error


def test_a_rate_or_unit_against_the_files_own_is_refused_with_both(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, error = document(capsys, "diagnose", job, tmp_path / "sound.wav", *FOUND, "--rate", "48 kHz")
    assert code == 2 and [row["key"] for row in error["errors"]] == ["--rate"]
    assert "48000 Hz" in error["errors"][0]["given"] and "12800 Hz" in error["errors"][0]["given"]
    np.savez(tmp_path / "other.npz", x=np.random.default_rng(1).standard_normal(9000), fs=RATE, unit="g")
    code, error = document(capsys, "diagnose", job, tmp_path / "other.npz", *FOUND)
    assert code == 2 and error["errors"][0]["given"] == "m/s2 against a file that states g"
    assert not (job / "results" / "diagnose").exists()


def test_a_recording_without_unit_is_refused_and_nothing_is_kept(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = call(capsys, "diagnose", job, tmp_path / "sound.wav")
    assert code == 2 and "--unit" in err
    assert not (job / "results" / "diagnose").exists()


@pytest.mark.parametrize("verb", ["check", "survey", "diagnose", "handover"])
def test_a_folder_without_a_job_is_refused(verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = call(capsys, verb, tmp_path / "nowhere")
    assert code == 2 and out == "" and "no such folder" in err


@pytest.mark.parametrize("arguments", [(), ("dance",), ("survey",), ("survey", "a", "b")])
def test_a_wrong_call_exits_with_2(arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, *arguments)[0] == 2


@pytest.mark.parametrize(
    ("arguments", "where", "says"),
    [
        (("dance",), "gearcase", "the verb dance"),
        (("diagnos", "job"), "gearcase", "the verb diagnos"),
        (("survey",), "gearcase survey", "the following arguments are required: JOB"),
        (("diagnose", "job", "--rate"), "gearcase diagnose", "argument --rate: expected one argument"),
        (("plan", "a", "--loud"), "gearcase plan", "unrecognized arguments: --loud"),
    ],
)
def test_a_wrong_call_is_refused_like_any_bad_input(
    arguments: tuple[str, ...], where: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, error = document(capsys, *arguments)
    assert code == 2 and error["schema"] == "error/1" and not error["ok"]
    (problem,) = error["errors"]
    assert problem["where"] == where and says in problem["given"] and problem["accepted"].startswith(where)
    assert call(capsys, *arguments, "--js")[1].startswith('{"schema": "error/1"')
    code, out, err = call(capsys, *arguments)
    assert code == 2 and out == "" and says in err and "Traceback" not in err


def test_a_defect_of_gearcase_itself_is_no_answer(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from gearcase.stages import survey

    def broken(*_: object) -> None:
        raise RuntimeError("wheels came off")

    monkeypatch.setattr(survey, "run", broken)
    code, _, err = call(capsys, "survey", job)
    assert code == 2 and "wheels came off" in err and "Traceback" not in err


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fuzz")
    shutil.copy(EXAMPLES / "rig-mfpt" / "job.yaml", folder)
    return folder


@given(
    content=st.one_of(
        st.binary(max_size=300),
        st.builds(lambda n, cut: np.arange(n, dtype=np.float32).tobytes()[:cut], st.integers(0, 50), st.integers(0, 200)),
    ),
    ending=st.sampled_from([".wav", ".csv", ".mat", ".npy", ".npz", ".parquet", ".tdms", ".uff", ".txt", ".xyz", ""]),
)
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_recording_whatever_it_holds_ends_in_a_traceback(
    content: bytes, ending: str, fuzzed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = fuzzed / f"fuzz{ending}"
    path.write_bytes(content)
    code, out, err = call(capsys, "diagnose", fuzzed, path, "--rate", "12000", "--unit", "g")
    assert code in (0, 1, 2)
    assert "gearcase itself failed" not in err and "Traceback" not in err
    assert code == 2 or out


@given(text=st.text(max_size=200))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_job_file_whatever_it_says_ends_in_a_traceback(
    text: str, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.yaml").write_text("job: 1\ndrive:\n" + text, encoding="utf-8", errors="replace")
    code, _, err = call(capsys, "survey", folder)
    assert code in (0, 2) and "gearcase itself failed" not in err


def test_help_names_every_verb_and_comes_without_heavy_imports() -> None:
    heavy = "{'numpy', 'scipy', 'pydantic', 'pint'}"
    script = f"import sys; from gearcase import cli; cli.main(['--help']); print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert all(verb in done.stdout for verb in ("new", "check", "survey", "diagnose", "handover", "schema"))
    assert done.stdout.strip().endswith("[]")


def test_a_job_without_devices_has_no_links_and_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "new", tmp_path / "drive")[0] == 0
    code, out, _ = call(capsys, "links", tmp_path / "drive")
    assert code == 0 and "no devices" in out


def test_a_verb_that_is_none_is_refused_with_all_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    """Each has its own options all the same, of which only those of the verb asked for are built."""
    code, _, err = call(capsys, "diagnoze")
    assert code == 2 and "did you mean diagnose?" in err
    assert set(re.split(r"[ ,\n]+", err)) > {"new", "prove", "diagnose", "answer", "schema"}
    code, out, _ = call(capsys, "prove", "--help")
    assert code == 0 and "--calibrated POINT" in out and "--light-seen" in out
