"""Writing into a job file: comments and layout stay, a bad value is refused, a new job reads and agrees with its schema."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from gearcase.drawings.text import plan_text
from gearcase.errors import BadInput
from gearcase.install.housing import HOUSING_KINDS, PORT_KINDS
from gearcase.job import write
from gearcase.job.build import build, load
from gearcase.job.read import FILE_NAME, parse_text, read_source
from gearcase.job.schema import json_schema
from gearcase.job.template import SCHEMA_NAME, new_job, template
from gearcase.job.write import add_recording, set_value
from gearcase.stages import plan
from gearcase.tables import load as table

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("*/job.yaml"))

COMMENTED = """\
# first line
job: 1   # version

drive:
    input: {speed: 25 Hz}   # by stroboscope
    nameplate:
        text: "oil: grade 220, 'changed' in spring, a line that is longer than any width a program would break it at"
    shafts:
    # both ends
    - name: input
      end: input
    -   name: output   # to the pump
        end: output
    meshes:
    - name: mesh
      pinion: {shaft: input, teeth: 17}   # counted
      wheel: {shaft: output, teeth: }
      origin: measured

points:
- name: 'top'

# last line
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / FILE_NAME).write_text(COMMENTED, encoding="utf-8", newline="")
    return tmp_path


def text(folder: Path) -> str:
    return (folder / FILE_NAME).read_bytes().decode()


def comments(words: str) -> list[str]:
    return re.findall(r"# .*", words)


def test_a_tooth_count_is_filled_in_where_it_was_empty_and_nothing_else_changes(folder: Path) -> None:
    set_value(folder, "drive.meshes[0].wheel.teeth", 71)
    assert text(folder).replace("teeth: 71}", "teeth: }").split() == COMMENTED.split()
    assert load(folder).drive.meshes[0].wheel_teeth == 71


def test_a_recording_is_added_and_a_second_one_after_it(folder: Path) -> None:
    add_recording(folder, {"file": "a.wav", "point": "top", "speed": "1482 rpm"})
    add_recording(folder, {"file": "b.wav"})
    assert [(entry.file, entry.point) for entry in load(folder).recordings] == [("a.wav", "top"), ("b.wav", "")]
    assert comments(text(folder)) == comments(COMMENTED)


def test_a_section_left_empty_takes_its_first_recording(folder: Path) -> None:
    (folder / FILE_NAME).write_text(COMMENTED + "recordings:   # none yet\n", encoding="utf-8")
    add_recording(folder, {"file": "a.wav"})
    assert load(folder).recordings[0].file == "a.wav"
    assert "# none yet" in text(folder)


def test_a_section_that_is_not_there_is_made(folder: Path) -> None:
    set_value(folder, "site.name", "hall 3")
    assert load(folder).site["name"] == "hall 3"


PLACES = [
    ("drive.meshes[0].pinion.teeth", st.integers(1, 9999)),
    ("drive.input.speed", st.integers(1, 9999).map(lambda n: f"{n} rpm")),
    ("drive.nameplate.text", st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1)),
    ("points[0].name", st.text("abcdefg :#-'\"", min_size=1).filter(lambda words: bool(words.strip()))),
    ("points[1]", st.just({"name": "side", "face": "left"})),
    ("network", st.dictionaries(st.sampled_from(["subnet", "gateway"]), st.text("xyz: -#'", min_size=1, max_size=9))),
]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_set_is_read_back_and_everything_else_stays(folder: Path, data: st.DataObject) -> None:
    (folder / FILE_NAME).write_text(COMMENTED, encoding="utf-8")
    before = read_source(folder)
    key, values = data.draw(st.sampled_from(PLACES))
    value = data.draw(values)
    set_value(folder, key, value)
    after = read_source(folder)
    path = write._path(key)
    assert after.value(path) == value
    assert comments(text(folder))[0] == "# first line" and set(comments(COMMENTED)) <= set(comments(text(folder)))
    changed = {here for here in before.lines if here[: len(path)] != path and path[: len(here)] != here}
    assert all(after.value(here) == before.value(here) for here in changed)


@pytest.mark.parametrize(
    ("key", "value", "where", "accepted"),
    [
        ("drive.meshes[0].wheel.teeth", 0, "job.yaml:17", "a whole number of teeth"),
        ("drive.input.speed", 1485, "job.yaml:5", "a speed with its unit"),
        ("drive.meshes[0].pinion.shaft", "outptu", "job.yaml:16", "did you mean output?"),
        ("drive.meshes[3].pinion.teeth", 20, "job.yaml:14", "a key of the file"),
        ("drive.meshes[3]", {}, "job.yaml:14", "a place in drive.meshes"),
        ("job.version", 2, "job.yaml:2", "a place in job"),
        ("drive..input", 2, "job.yaml", "a key as errors name it"),
    ],
)
def test_a_value_that_would_spoil_the_job_is_refused_and_the_file_stays(
    folder: Path, key: str, value: Any, where: str, accepted: str
) -> None:
    with pytest.raises(BadInput) as caught:
        set_value(folder, key, value)
    assert (caught.value.problems[0].where, accepted in caught.value.problems[0].accepted) == (where, True)
    assert text(folder) == COMMENTED
    assert [path.name for path in folder.iterdir()] == [FILE_NAME]


def test_a_write_that_fails_half_way_leaves_the_file_and_no_scrap(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BadInput, match="No space left on device"):
        set_value(folder, "site.name", "hall 3")
    assert text(folder) == COMMENTED
    assert [path.name for path in folder.iterdir()] == [FILE_NAME]


def test_line_ends_access_rights_and_links_stay_as_they_were(tmp_path: Path) -> None:
    real, folder = tmp_path / "real.yaml", tmp_path / "job"
    real.write_bytes(COMMENTED.replace("\n", "\r\n").encode())
    real.chmod(0o640)
    folder.mkdir()
    (folder / FILE_NAME).symlink_to(real)
    set_value(folder, "drive.meshes[0].wheel.teeth", 71)
    assert (folder / FILE_NAME).is_symlink() and real.stat().st_mode & 0o777 == 0o640
    assert real.read_bytes().count(b"\r\n") == real.read_bytes().count(b"\n") == COMMENTED.count("\n")


@pytest.mark.parametrize("kind", HOUSING_KINDS)
def test_a_new_job_reads_without_errors_and_claims_nothing_as_known(kind: str, tmp_path: Path) -> None:
    path = new_job(tmp_path / "new", "conveyor: 'east'", kind)
    job = load(path.parent)
    assert job.title == "conveyor: 'east'" and job.findings == ()
    assert job.drive.ratio_links == () and job.drive.speed_given.origin == "assumed"
    assert all(mesh.pinion_teeth is None and mesh.wheel_teeth is None for mesh in job.drive.meshes)
    assert all(bearing.geometry is None for bearing in job.drive.bearings)
    assert json.loads((path.parent / SCHEMA_NAME).read_text(encoding="utf-8")) == json_schema()


def uncommented(kind: str) -> str:
    """The template with every hint taken at its word."""
    hints = r"(?m)^( *)# (?= *(?:- )?\w+: *(?:[\[{]|$|\S)| *- \{)(?!yaml-language|A gearcase|Where)"
    return re.sub(hints, r"\1", template(kind, "a"))


@pytest.mark.parametrize("kind", HOUSING_KINDS)
def test_the_housing_of_the_template_shows_one_of_everything_and_fits_together(kind: str) -> None:
    job = build(parse_text(uncommented(kind)), folder="job")
    faces = job.housing.faces
    seated = {seat.bearing for face in faces for seat in face.seats}
    assert {point.bearing for point in job.points} <= seated
    kept = {part.kind for face in faces for part in face.keep_outs}
    assert {"rotating part", "fan shroud", "split line"} <= kept
    assert {port.kind for port in job.housing.ports} == set(PORT_KINDS)
    holes = {hole.name: hole for face in faces for hole in face.threaded_holes}
    assert all(name in holes for bracket in job.kit.brackets for name in bracket.holes) and any(
        "lifting" in hole.function for hole in holes.values()
    )
    rules = {row["rule"] for row in plan.run(job).document["findings"]}
    assert not rules & {
        "plan.outward",
        "plan.face_edge",
        "plan.keep_out",
        "plan.bracket_hole",
        "plan.bracket_holes",
        "plan.overlap",
    }
    assert plan_text(plan.run(job).document)


@pytest.mark.parametrize("kind", HOUSING_KINDS)
def test_every_hint_of_the_template_may_be_uncommented(kind: str) -> None:
    words = uncommented(kind)
    assert parse_text(words).value(("drive", "nameplate", "ratio")) == 20.1
    assert parse_text(words).value(("recordings", 0, "unit")) == "m/s2"
    Draft202012Validator(json_schema()).validate(parse_text(words).data)
    job = build(parse_text(words), folder="job")
    assert job.drive.bearings[0].geometry is not None
    assert job.housing.kind == kind
    assert all(face.outward and face.regions and face.threaded_holes for face in job.housing.faces)
    assert job.housing.ports[0].pitch == pytest.approx(0.0254 / 14)


def test_the_template_names_every_mount() -> None:
    assert all(row["mount"] in template(HOUSING_KINDS[0], "a") for row in table("mounts"))


def test_a_new_job_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="nothing is overwritten"):
        new_job(tmp_path, "again", HOUSING_KINDS[0])
    assert text(tmp_path) == "mine" and not (tmp_path / SCHEMA_NAME).exists()


def test_a_schema_a_person_keeps_there_already_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / SCHEMA_NAME).write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="nothing is overwritten"):
        new_job(tmp_path, "again", HOUSING_KINDS[0])
    assert (tmp_path / SCHEMA_NAME).read_text(encoding="utf-8") == "mine" and not (tmp_path / FILE_NAME).exists()


def test_a_folder_that_cannot_be_made_is_a_named_problem(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(BadInput, match="a folder that can be made"):
        new_job(tmp_path / "file" / "job", "a", HOUSING_KINDS[0])


def test_the_schema_is_a_schema_of_its_draft() -> None:
    Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.parent.name)
def test_every_example_agrees_with_the_schema_and_reads_without_findings(path: Path) -> None:
    Draft202012Validator(json_schema()).validate(read_source(path.parent).data)
    assert load(path.parent).findings == ()


def test_there_are_examples_to_check() -> None:
    assert {"rig-mfpt", "rig-cwru"} <= {path.parent.name for path in EXAMPLES}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("pinion:", "pinnion:"),
        ("points:", "piont:"),
        ("speed: 25 Hz", "sped: 25 Hz"),
        ("teeth: 17", "teeth: 17.5"),
        ("origin: measured", "origin: guessed"),
        ("25 Hz", "25"),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(folder: Path, old: str, new: str) -> None:
    schema = Draft202012Validator(json_schema())
    assert schema.is_valid(parse_text(COMMENTED).data)
    source = parse_text(COMMENTED.replace(old, new))
    assert not schema.is_valid(source.data)
    (folder / FILE_NAME).write_text(source.text, encoding="utf-8")
    with pytest.raises(BadInput):
        load(folder)


def test_every_key_is_described_for_the_editor() -> None:
    schema = json_schema()
    for part in (schema, *schema["$defs"].values()):
        for key, field in part.get("properties", {}).items():
            assert field.get("description"), key
