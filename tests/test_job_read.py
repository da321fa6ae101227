"""What job.yaml may say, and what is answered when it says something else: every problem at once, each at its line."""

import re
import string
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job, build, load
from gearcase.job.read import FILE_NAME, LARGEST, Source, parse_text
from gearcase.signal.recording import Circumstances
from gearcase.worked import Origin

DRIVE = """\
job: 1
drive:
  nameplate: {ratio: 20.1}
  input:
    shaft: input
    speed: 900-1485 rpm
  shafts:
    - {name: input, end: input}
    - {name: middle}
    - {name: output, end: output}
  meshes:
    - name: high-speed mesh
      pinion: {shaft: input, teeth: 17}
      wheel: {shaft: middle, teeth: 71}
    - name: low-speed mesh
      pinion: {shaft: middle, teeth: 20}
      wheel: {shaft: output, teeth: 97}
  bearings:
    - name: input bearing
      shaft: input
      elements: 9
      element_diameter: 7.94 mm
      pitch_diameter: 39.04 mm
      contact_angle: 0 deg
points:
  - name: top
    bearing: input bearing
"""
THIRD = "{shaft: middle, teeth: 20}, wheel: {shaft: output, teeth: 90}"


def job(text: str) -> Job:
    return build(parse_text(text), folder="job")


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(BadInput) as caught:
        job(text)
    return caught.value.problems


def changed(*pairs: tuple[str, str]) -> str:
    text = DRIVE
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_a_two_stage_drive_becomes_shafts_meshes_and_bearings_that_know_their_lines() -> None:
    drive = job(DRIVE).drive
    assert [(shaft.name, shaft.end) for shaft in drive.shafts] == [("input", "input"), ("middle", ""), ("output", "output")]
    assert [(mesh.pinion_teeth, mesh.wheel_teeth, mesh.where) for mesh in drive.meshes] == [
        (17, 71, "job.yaml:12"),
        (20, 97, "job.yaml:15"),
    ]
    assert (drive.bearings[0].inner_shaft, drive.bearings[0].outer_shaft) == ("input", None)
    assert drive.bearings[0].where == "job.yaml:19"
    assert drive.bearings[0].geometry is not None
    assert drive.bearings[0].geometry.element_diameter == pytest.approx(0.00794)


def test_revolutions_per_minute_become_turns_per_second() -> None:
    drive = job(DRIVE).drive
    assert drive.speed_hz == (15.0, 24.75)  # 900 / 60 and 1485 / 60
    assert drive.rated_speed_hz == 24.75
    assert (drive.speed_given.origin, drive.speed_given.where) == (Origin.ASSUMED, "job.yaml:6")


def test_the_nameplate_speed_rates_the_input_shaft_and_no_other() -> None:
    plate = ("{ratio: 20.1}", "{ratio: 20.1, input_speed: 1480 rpm}")
    drive = job(changed(plate)).drive
    assert (drive.rated_speed_hz, drive.speed_given.origin) == (pytest.approx(1480 / 60), Origin.NAMEPLATE)
    assert drive.speed_given.where == "job.yaml:3"
    for other in ("middle", "output"):
        drive = job(changed(plate, ("    shaft: input\n    speed", f"    shaft: {other}\n    speed"))).drive
        assert (drive.rated_speed_hz, drive.speed_given.origin) == (24.75, Origin.ASSUMED)


@pytest.mark.parametrize(
    ("printed", "spread"), [("20", 0.5), ("20.1", 0.05), ("20.10", 0.005), ('"20.10"', 0.005), ("6.000", 0.0005)]
)
def test_a_ratio_is_as_exact_as_its_last_printed_digit(printed: str, spread: float) -> None:
    drive = job(f"job: 1\ndrive:\n  nameplate:\n    ratio: {printed}\n  input: {{speed: 1485 rpm}}\n").drive
    assert drive.ratings.ratio_spread == pytest.approx(spread)
    assert drive.ratio_links[0].spread == pytest.approx(spread)


def test_a_job_that_knows_only_a_ratio_has_an_input_and_an_output_shaft() -> None:
    drive = job("job: 1\ndrive:\n  nameplate: {ratio: 20.1}\n  input: {speed: 1485 rpm}\n").drive
    assert [shaft.name for shaft in drive.shafts] == ["input", "output"]
    link = drive.ratio_links[0]
    assert (link.fast_shaft, link.slow_shaft, link.ratio) == ("input", "output", 20.1)
    assert (link.origin, link.where) == (Origin.NAMEPLATE, "job.yaml:3")


def test_a_speed_increaser_has_its_fast_shaft_at_the_output() -> None:
    link = job("job: 1\ndrive:\n  nameplate: {ratio: 0.25}\n  input: {speed: 400 rpm}\n").drive.ratio_links[0]
    assert (link.fast_shaft, link.slow_shaft, link.ratio) == ("output", "input", 4.0)
    assert link.spread / link.ratio == pytest.approx(0.005 / 0.25)


def test_the_ratio_reaches_the_output_where_teeth_are_unknown_and_only_there() -> None:
    assert job(DRIVE).drive.ratio_links == ()
    for unknown in ("unknown", "", "null"):
        links = job(changed(("teeth: 97", f"teeth: {unknown}"))).drive.ratio_links
        assert [(link.fast_shaft, link.slow_shaft) for link in links] == [("input", "output")]


def test_a_job_without_gears_may_have_several_bearings() -> None:
    text = "job: 1\ndrive:\n  input: {shaft: rotor, speed: 25 Hz}\n  bearings:\n"
    text += "    - {name: one, shaft: rotor}\n    - {name: two, shaft: rotor, turning: outer}\n"
    drive = job(text).drive
    assert [shaft.name for shaft in drive.shafts] == ["rotor"]
    assert [(bearing.inner_shaft, bearing.outer_shaft) for bearing in drive.bearings] == [("rotor", None), (None, "rotor")]
    assert drive.bearings[0].geometry is None


def test_both_rings_of_a_bearing_may_turn() -> None:
    text = changed(("      shaft: input\n      elements", "      shaft: input\n      other_ring_shaft: middle\n      elements"))
    assert (job(text).drive.bearings[0].inner_shaft, job(text).drive.bearings[0].outer_shaft) == ("input", "middle")
    bearing = job(text.replace("other_ring_shaft", "turning: outer\n      other_ring_shaft")).drive.bearings[0]
    assert (bearing.inner_shaft, bearing.outer_shaft) == ("middle", "input")


def test_tooth_counts_that_disagree_with_the_nameplate_are_a_caution_not_an_error() -> None:
    assert job(DRIVE).findings == ()  # 71/17 x 97/20 = 20.256: 0.8 % from 20.1
    finding = job(changed(("teeth: 97", "teeth: 100"))).findings[0]  # 20.88: 3.9 %
    assert (str(finding.level), finding.rule, finding.where) == ("caution", "job.ratio", "job.yaml:3")
    assert "20.88" in finding.says and "20.1" in finding.says


def test_a_changed_section_changes_its_own_hash_and_no_other() -> None:
    names = ("drive", "points")
    before, after = job(DRIVE).sources(names), job(changed(("teeth: 97", "teeth: 98"))).sources(names)
    assert before[0] != after[0] and before[1] == after[1]


def test_digits_of_numbers_written_as_names_are_kept() -> None:
    text = changed(("      shaft: input\n      elements", "      shaft: input\n      designation: 06205\n      elements"))
    assert job(text).drive.bearings[0].designation == "06205"


def test_inputs_and_recordings_keep_their_lines() -> None:
    text = DRIVE + (
        "inputs:\n  - {name: speed, kind: speed, source: mqtt, topic: plant/speed, unit: rpm, age_limit: 30 s}\n"
        "incoming: {mqtt: {host: broker}}\n"
        "recordings:\n  - {file: a.wav, point: top, rate: 25.6 kHz, unit: m/s2, speed: 1478 rpm, start: 2026-03-02T10:00}\n"
    )
    built = job(text)
    assert (built.inputs[0].topic, built.inputs[0].age_limit, built.inputs[0].where) == ("plant/speed", 30.0, "job.yaml:29")
    entry = built.recordings[0]
    assert (entry.rate_hz, entry.speed_hz, entry.start) == (25600.0, pytest.approx(1478 / 60), "2026-03-02T10:00")
    assert entry.where == "job.yaml:32"


def test_a_recording_keeps_how_and_in_what_state_it_was_taken() -> None:
    said = "direction: axial, state: coast-down, load: 80 %, oil_temperature: 60 °C"
    taken = job(DRIVE + f"recordings:\n  - {{file: a.wav, {said}}}\n").recordings[0].taken
    assert (taken.direction, taken.state, taken.load, taken.oil_temperature) == ("axial", "coast-down", 0.8, pytest.approx(333.15))
    assert job(DRIVE + "recordings:\n  - {file: a.wav}\n").recordings[0].taken == Circumstances()


@pytest.mark.parametrize(
    ("said", "accepted"),
    [("direction: radial", "horizontal, vertical, axial"), ("state: idle", "run-up, coast-down"), ("load: -5 %", "0")],
)
def test_how_a_recording_was_taken_is_refused_with_what_would_be_right(said: str, accepted: str) -> None:
    with pytest.raises(BadInput, match=accepted):
        job(DRIVE + f"recordings:\n  - {{file: a.wav, {said}}}\n")


def added(text: str) -> str:
    return DRIVE + text


# text, then where, key, given and what stands in accepted
WRONG = {
    "misspelt key": (
        changed(("pitch_diameter", "pich_diameter")),
        ("job.yaml:23", "drive.bearings[0].pich_diameter", "the key pich_diameter", "did you mean pitch_diameter? the keys"),
    ),
    "misspelt empty key": (
        changed(("{name: middle}", "{name: middle, ennd: }")),
        ("job.yaml:9", "drive.shafts[1].ennd", "the key ennd", "did you mean end? the keys here are: name, end"),
    ),
    "misspelt section": (
        changed(("points:", "piont:")),
        ("job.yaml:25", "piont", "the key piont", "did you mean points?"),
    ),
    "bare number for a length": (
        changed(("39.04 mm", "39.04")),
        ("job.yaml:23", "drive.bearings[0].pitch_diameter", "39.04", 'a length with its unit, e.g. "25 mm"'),
    ),
    "wrong unit": (
        changed(("39.04 mm", "39.04 kg")),
        ("job.yaml:23", "drive.bearings[0].pitch_diameter", '"39.04 kg"', "a length with its unit"),
    ),
    "bare number for a speed": (
        changed(("900-1485 rpm", "1485")),
        ("job.yaml:6", "drive.input.speed", "1485", 'a speed with its unit, e.g. "1485 rpm"'),
    ),
    "range upside down": (
        changed(("900-1485 rpm", "1485-900 rpm")),
        ("job.yaml:6", "drive.input.speed", '"1485-900 rpm"', "the low end first"),
    ),
    "speed of nought": (
        changed(("900-1485 rpm", "0-1485 rpm")),
        ("job.yaml:6", "drive.input.speed", '"0-1485 rpm"', "above 0"),
    ),
    "no teeth": (
        changed(("teeth: 17", "teeth: 0")),
        ("job.yaml:13", "drive.meshes[0].pinion.teeth", "0", "a whole number of teeth, 1 to 9999, or unknown"),
    ),
    "teeth below nought": (
        changed(("teeth: 71", "teeth: -71")),
        ("job.yaml:14", "drive.meshes[0].wheel.teeth", "-71", "a whole number of teeth"),
    ),
    "half a tooth": (
        changed(("teeth: 71", "teeth: 17.5")),
        ("job.yaml:14", "drive.meshes[0].wheel.teeth", "17.5", "a whole number of teeth"),
    ),
    "teeth beyond counting": (
        changed(("teeth: 71", "teeth: " + "9" * 400)),
        ("job.yaml:14", "drive.meshes[0].wheel.teeth", '"' + "9" * 56 + "...", "a whole number of teeth"),
    ),
    "nothing where something is needed": (
        changed(("    speed: 900-1485 rpm\n", "")),
        ("job.yaml:4", "drive.input.speed", "nothing", "needed: its speed or range of speeds in service"),
    ),
    "no drive": ("job: 1\n", ("job.yaml:1", "drive", "nothing", "needed: what turns")),
    "another version": (changed(("job: 1", "job: 2")), ("job.yaml:1", "job", "2", "1, the version of this form")),
    "shaft of no such name": (
        changed(("pinion: {shaft: middle", "pinion: {shaft: midle")),
        ("job.yaml:16", "drive.meshes[1].pinion.shaft", '"midle"', "did you mean middle? the shafts are: input, middle"),
    ),
    "bearing of no such name": (
        changed(("bearing: input bearing", "bearing: output bearing")),
        ("job.yaml:27", "points[0].bearing", '"output bearing"', "the bearings are: input bearing"),
    ),
    "point of no such name": (
        added("recordings:\n  - {file: a.wav, point: tip}\n"),
        ("job.yaml:29", "recordings[0].point", '"tip"', "did you mean top? the points are: top"),
    ),
    "shaft twice": (
        changed(("{name: middle}", "{name: middle}\n    - {name: input}")),
        ("job.yaml:10", "drive.shafts[2].name", '"input"', "a name of its own; job.yaml:8 has it already"),
    ),
    "mesh twice": (
        changed(("name: low-speed mesh", "name: high-speed mesh")),
        ("job.yaml:15", "drive.meshes[1].name", '"high-speed mesh"', "a name of its own; job.yaml:12 has it already"),
    ),
    "point twice": (
        added("  - name: top\n"),
        ("job.yaml:28", "points[1].name", '"top"', "a name of its own; job.yaml:26 has it already"),
    ),
    "recording twice": (
        added("recordings:\n  - file: a.wav\n  - file: a.wav\n"),
        ("job.yaml:30", "recordings[1].file", '"a.wav"', "a recording listed once; job.yaml:29 has it already"),
    ),
    "pinion and wheel on one shaft": (
        changed(("wheel: {shaft: output", "wheel: {shaft: middle"), ("    - {name: output, end: output}\n", "")),
        ("job.yaml:16", "drive.meshes[1].wheel.shaft", '"middle"', "another shaft than the pinion's"),
    ),
    "both rings on one shaft": (
        changed(("elements: 9", "other_ring_shaft: input\n      elements: 9")),
        ("job.yaml:21", "drive.bearings[0].other_ring_shaft", '"input"', "another shaft than the first ring's"),
    ),
    "elements thicker than the pitch circle": (
        changed(("7.94 mm", "79.4 mm")),
        ("job.yaml:22", "drive.bearings[0].element_diameter", '"79.4 mm"', "less than the pitch diameter"),
    ),
    "more elements than fit": (
        changed(("elements: 9", "elements: 16")),  # pi / asin(7.94 / 39.04) = 15.3
        ("job.yaml:21", "drive.bearings[0].elements", "16", "at most 15: more do not fit round this pitch circle"),
    ),
    "half a geometry": (
        changed(("      elements: 9\n", "")),
        ("job.yaml:19", "drive.bearings[0]", '"input bearing"', "geometry whole or not at all; missing: elements"),
    ),
    "no contact angle": (
        changed(("      contact_angle: 0 deg\n", "")),
        ("job.yaml:19", "drive.bearings[0]", '"input bearing"', "missing: contact_angle (0 deg for a deep groove"),
    ),
    "contact angle of a right angle": (
        changed(("0 deg", "90 deg")),
        ("job.yaml:24", "drive.bearings[0].contact_angle", '"90 deg"', "from 0 deg to below 89 deg"),
    ),
    "shaft joined to nothing": (
        changed(("    - {name: output, end: output}\n", "    - {name: output, end: output}\n    - {name: pump}\n")),
        ("job.yaml:11", "drive.shafts[3].name", '"pump"', 'joined to "input" by a mesh'),
    ),
    "two trains that never meet": (
        changed(("pinion: {shaft: middle, teeth: 20}", "pinion: {shaft: pump, teeth: 20}"), ("{ratio: 20.1}", "")).replace(
            "  meshes:", "    - name: pump\n  meshes:"
        ),
        ("job.yaml:10", "drive.shafts[2].name", '"output"', 'joined to "input" by a mesh'),
    ),
    "two paths that disagree": (
        changed(("  bearings:\n", "    - {name: third, pinion: " + THIRD + "}\n  bearings:\n")),
        ("job.yaml:18", "drive.meshes[2]", 'shaft "output"', "two paths disagree: through 'high-speed mesh', 'low-speed mesh'"),
    ),
    "unknown mount": (
        added("    mount: glue\n"),
        ("job.yaml:28", "points[0].mount", '"glue"', "one of: stud, rigid adhesive, adhesive pad"),
    ),
    "sensor band upside down": (
        added("    sensor: {lowest: 10 kHz, highest: 2 Hz}\n"),
        ("job.yaml:28", "points[0].sensor.lowest", '"10 kHz"', "less than the highest frequency"),
    ),
    "unknown origin": (
        changed(("    speed: 900-1485 rpm", "    speed: 900-1485 rpm\n    origin: guessed")),
        ("job.yaml:7", "drive.input.origin", '"guessed"', "measured, nameplate, estimated or assumed"),
    ),
    "a word where a list belongs": (
        "job: 1\ndrive:\n  input: {speed: 25 Hz}\n  shafts: input\n",
        ("job.yaml:4", "drive.shafts", '"input"', "a list of shafts, each with a name"),
    ),
    "an empty entry of a list": (
        "job: 1\ndrive:\n  input: {speed: 25 Hz}\n  bearings:\n    -\n",
        ("job.yaml:5", "drive.bearings[0]", "nothing", "keys and values"),
    ),
    "a date that is none": (
        added("recordings:\n  - {file: a.wav, start: yesterday}\n"),
        ("job.yaml:29", "recordings[0].start", '"yesterday"', "a date or date and time"),
    ),
    "a ratio of nought": (
        changed(("ratio: 20.1", "ratio: 0")),
        ("job.yaml:3", "drive.nameplate.ratio", "0", "the ratio as the nameplate gives it, e.g. 20.1"),
    ),
    "a key twice": (
        changed(("    speed: 900-1485 rpm\n", "    speed: 900-1485 rpm\n    speed: 25 Hz\n")),
        ("job.yaml:7", "drive.input.speed", "the key twice", "the key once; job.yaml:6 has it already"),
    ),
    "a tab": (changed(("    speed: 900", "\tspeed: 900")), ("job.yaml:6", "", '"speed: 900', "spaces, not tabs")),
    "a colon too many": ("job: 1\ndrive: a: b\n", ("job.yaml:2", "", '"drive: a: b"', "YAML: keys, colons and even indents")),
    "an open bracket": ("job: 1\ndrive: [1,\n", ("job.yaml:3", "", "the end", "YAML")),
    "a control character": ("job: 1\ndrive: \x07\n", ("job.yaml:2", "", "characters that are not text", "YAML text")),
    "an alias": ("job: 1\nkit: {a: &a [x, x], b: [*a, *a]}\n", ("job.yaml:2", "", "*a", "aliases are not used here")),
    "a tag": ("job: 1\nkit: {a: !run b}\n", ("job.yaml:2", "", "the tag !run", "tags are not used here")),
    "a list as a key": ("job: 1\n? [a, b]\n: c\n", ("job.yaml:2", "", "a list or mapping as a key", "a word as key")),
    "a second document": ("job: 1\n---\njob: 1\n", ("job.yaml:2", "", "a second document", "one document")),
    "nested too deep": ("job: 1\nkit: " + "[" * 90_000, ("job.yaml:2", "", "nested too deep", "at most 12 levels")),
    "nothing": ("", ("job.yaml:1", "", "nothing", "keys and values, beginning with job: 1")),
    "only a comment": ("# later\n", ("job.yaml:1", "", "nothing", "keys and values")),
    "a list": ("- job: 1\n", ("job.yaml:1", "", "a list", "keys and values")),
    "a word": ("hello\n", ("job.yaml:1", "", '"hello"', "keys and values")),
}  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), WRONG.values(), ids=WRONG.keys())
def test_each_mistake_is_named_with_its_line_key_and_what_would_be_accepted(text: str, expected: tuple[str, str, str, str]) -> None:
    where, key, given_, accepted = expected
    found = problems(text)
    matching = [problem for problem in found if (problem.where, problem.key) == (where, key)]
    assert matching, [str(problem) for problem in found]
    assert any(problem.given.startswith(given_) and accepted in problem.accepted for problem in matching), found


ALONE = {name for name in WRONG if not name.startswith(("two trains", "misspelt section", "misspelt key"))}


@pytest.mark.parametrize("name", sorted(ALONE))
def test_one_mistake_is_answered_with_one_problem(name: str) -> None:
    assert len(problems(WRONG[name][0])) == 1


def test_mistakes_of_form_and_between_parts_are_told_together_in_the_order_of_the_file() -> None:
    text = changed(
        ("900-1485 rpm", "1485"),
        ("teeth: 17}", "teeth: 0}"),
        ("wheel: {shaft: output", "wheel: {shaft: outptu"),
        ("elements: 9", "elements: 99"),
        ("bearing: input bearing", "bearing: nothing"),
    )
    found = problems(text + "kitt:\n")
    assert [(problem.where, problem.key) for problem in found] == [
        ("job.yaml:6", "drive.input.speed"),
        ("job.yaml:13", "drive.meshes[0].pinion.teeth"),
        ("job.yaml:17", "drive.meshes[1].wheel.shaft"),
        ("job.yaml:21", "drive.bearings[0].elements"),
        ("job.yaml:27", "points[0].bearing"),
        ("job.yaml:28", "kitt"),
    ]


def test_no_answer_uses_the_jargon_of_a_library() -> None:
    said = " ".join(str(problem) for text, _ in WRONG.values() for problem in problems(text)).lower()
    for word in ("pydantic", "ruamel", "valid string", "should be", "input_value", "traceback", "extra inputs", "none"):
        assert word not in said


@pytest.mark.parametrize(
    ("content", "where", "accepted"),
    [
        (b"job: 1\nsite: {name: caf\xe9}\n", "job.yaml:2", "text in UTF-8"),
        ("job: 1\n".encode("utf-16"), "job.yaml:1", "text in UTF-8"),
        (b"#" * (LARGEST + 1), FILE_NAME, f"at most {LARGEST} bytes"),
        (b"", "job.yaml:1", "beginning with job: 1"),
    ],
)
def test_a_file_that_is_no_text_of_a_job_is_refused(tmp_path: Path, content: bytes, where: str, accepted: str) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(BadInput) as caught:
        load(tmp_path)
    assert caught.value.problems[0].where.endswith(where) and accepted in caught.value.problems[0].accepted


def test_a_missing_folder_and_a_missing_file_are_told_apart_with_the_next_step(tmp_path: Path) -> None:
    for folder, given_ in ((tmp_path / "no", "no such folder"), (tmp_path, "no such file")):
        with pytest.raises(BadInput, match="gearcase new") as caught:
            load(folder)
        assert caught.value.problems[0].given == given_


def test_a_file_named_for_its_folder_is_told_the_folder(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_text(DRIVE)
    with pytest.raises(BadInput, match=re.escape(f"given a file   the folder that holds job.yaml: {tmp_path}")):
        load(tmp_path / FILE_NAME)


def test_a_byte_order_mark_does_not_matter(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"\xef\xbb\xbf" + DRIVE.encode())
    assert load(tmp_path).drive == job(DRIVE).drive


FUZZ = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FUZZ
@given(content=st.binary(max_size=300))
def test_no_bytes_at_all_end_otherwise_than_in_a_named_problem(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(BadInput) as caught:
        load(tmp_path)
    assert caught.value.problems


def answered(read: Callable[[str], Source], text: str) -> tuple[Problem, ...]:
    """The problems a job is answered with, none where it is read; anything else raised is a failure of the test."""
    try:
        build(read(text), folder="job")
    except BadInput as error:
        return error.problems
    return ()


SCRAP = st.one_of(
    st.text(alphabet=string.printable, max_size=8),
    st.sampled_from(["null", "1e999", "-1", "0", ".nan", "[]", "{}", "- ", "1e308 mm", "'", "\n", ": ", "&a", "*a", "input"]),
)


@FUZZ
@given(data=st.data())
def test_a_job_with_scraps_in_it_is_read_or_answered_with_problems(data: st.DataObject) -> None:
    text = DRIVE
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 12)))
        text = text[:start] + data.draw(SCRAP) + text[end:]
    assert all(problem.accepted for problem in answered(parse_text, text))


SLIPS = st.sampled_from(["1e308 mm", "-0 rpm", "0 mm", "unknown"])
LEAVES = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), SLIPS)


@FUZZ
@given(data=st.data())
def test_any_value_in_any_place_is_read_or_answered_with_problems(data: st.DataObject) -> None:
    plant = "inputs:\n  - {name: a, kind: speed, source: stated, value: 1 Hz}\nincoming: {http: {token_file: t}}\n"
    source = parse_text(f"{DRIVE}{plant}recordings:\n  - {{file: a}}\n")
    path = data.draw(st.sampled_from(sorted(source.lines.keys() - {()}, key=str)))
    value = data.draw(st.one_of(LEAVES, st.lists(LEAVES, max_size=2), st.dictionaries(st.text(max_size=4), LEAVES, max_size=2)))
    source.value(path[:-1])[path[-1]] = value
    assert all(problem.accepted for problem in answered(lambda _: source, ""))
