"""Which way the axes of a sensor point, from faces and hours written out by hand; and from a rig with a fault put in to the verdict
of a watch that takes its records itself.

H is to the right and V up, both seen from the input end, A along the shaft towards the viewer there: H x V = A, V x A = H,
A x H = V. A sensor's z stands out of its face, y lies along its mark, and x = y x z.
"""

import asyncio
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.device.records import take_records
from gearcase.device.rig import Rig, RigBus, SensorFault, devices
from gearcase.install.housing import Face
from gearcase.install.profile import Profile
from gearcase.job.build import Job, load
from gearcase.judge.patterns.observed import Recorded, at_one_time
from gearcase.monitor.records import standing
from gearcase.monitor.setup import Setup, stamp
from gearcase.record import results
from gearcase.signal.recording import Circumstances, Recording
from gearcase.stages import diagnose, plan
from gearcase.stages.prove import Said
from gearcase.stages.sensor_axes import sensor_axes
from gearcase.tables import load as table
from test_prove import Site as Proving
from test_record_forms import ALTERNATING, device_of, form_of, row, samples_row, sheet
from test_stages import EXAMPLES
from test_watch import Site

POINT, DEVICE, UNIT = "input coupling end", "vibration input", 11
DEMO = load(EXAMPLES / "demo")
# face, hour of the mark -> where x, y and z point, by the cross products above
BY_HAND = {
    ("input end", 12.0): "+H +V +A",
    ("input end", 3.0): "-V +H +A",  # H x A = -V
    ("output end", 12.0): "-H +V -A",  # V x -A = -H
    ("left", 12.0): "+A +V -H",  # V x -H = A
    ("left", 3.0): "-V +A -H",  # who looks at the left side has the input end at his right hand; A x -H = -V
    ("right", 12.0): "-A +V +H",  # V x H = -A
    ("right", 9.0): "+V +A +H",  # who looks at the right side has the input end at his left hand; A x H = V
    ("up", 12.0): "+H -A +V",  # twelve is towards the output end; -A x V = H
    ("down", 12.0): "-H -A -V",  # -A x -V = A x V = -H
}
DIRECTIONS = {"H": "horizontal", "V": "vertical", "A": "axial"}
WORDS = {"+H": "right", "-H": "left", "+V": "up", "-V": "down", "+A": "towards the input end", "-A": "towards the output end"}


def placed(outward: str, clock: float | None, *, job: Job = DEMO) -> Job:
    """The job with its first point on a face that looks so, its mark at that hour."""
    housing = replace(job.housing, faces=(*job.housing.faces, Face("tried", (0.5, 0.5), outward=outward)))
    points = tuple(replace(one, face="tried", clock=clock) if one.name == POINT else one for one in job.points)
    return replace(job, housing=housing, points=points)


def felt(job: Job, **known: Any) -> dict[str, tuple[str, int]]:
    found = sensor_axes(job, **{"fit": None, "prove": None, **known})[POINT]
    return {axis: (one.direction, one.sign) for axis, one in found.items()}


def by_hand(words: str) -> dict[str, tuple[str, int]]:
    return {axis: (DIRECTIONS[one[1]], 1 if one[0] == "+" else -1) for axis, one in zip("xyz", words.split(), strict=True)}


@pytest.mark.parametrize(("outward", "clock"), BY_HAND)
def test_axes_point_as_face_and_mark_say_by_hand_and_as_the_plan_says(outward: str, clock: float) -> None:
    job = placed(outward, clock)
    assert felt(job) == by_hand(BY_HAND[outward, clock])
    (planned,) = [one for one in plan.run(job).document["orientation"] if one["point"] == POINT]
    assert [planned["axes"][axis] for axis in "xyz"] == [WORDS[one] for one in BY_HAND[outward, clock].split()]


def test_a_mark_between_the_machines_axes_gives_only_what_stands_out_of_the_face() -> None:
    """Half an hour is 15 degrees, cosine 0.97: along it still. An hour is 30 degrees, 0.87: between two axes."""
    assert felt(placed("left", 0.5)) == by_hand("+A +V -H")
    assert felt(placed("left", 1.0)) == felt(placed("left", None)) == {"z": ("horizontal", -1)}


def test_where_nobody_says_how_it_stands_or_where_the_shaft_lies_nothing_is_said() -> None:
    assert felt(placed("", 12.0)) == {}
    points = tuple(replace(one, face="") for one in DEMO.points)
    assert felt(replace(DEMO, points=points)) == {}
    for kind in ("right-angle", "shaft-mounted", ""):
        found = sensor_axes(replace(DEMO, housing=replace(DEMO.housing, kind=kind)), fit=None, prove=None)
        assert found[POINT].keys() == set("xyz"), "it stands on the input shaft, which lies along A by what A is"
        assert found["intermediate left"] == {}, "an intermediate shaft may lie across"


def test_one_axis_that_stands_out_where_the_job_wants_another_direction_has_none() -> None:
    """Out of the input end stands the shaft: there one axis feels axial, and the job wants radial; on the left it has that."""
    for outward, direction, expected in (("input end", "radial", {}), ("input end", "axial", {"z": ("axial", 1)})):
        job = placed(outward, None)
        points = tuple(replace(one, direction=direction, sensor=replace(one.sensor, axes=1)) for one in job.points)
        assert felt(replace(job, points=points)) == expected
    job = placed("left", None)
    points = tuple(replace(one, sensor=replace(one.sensor, axes=1)) for one in job.points)
    assert felt(replace(job, points=points)) == {"z": ("horizontal", -1)} and points[0].direction == "radial"


def test_what_was_fitted_comes_before_the_plan() -> None:
    """Planned on the input end with the mark up; built on the left side."""
    built = [{"item": "face", "value": "left"}]
    assert felt(DEMO, fit={"points": [{"name": POINT, "built": built}]}) == {"z": ("horizontal", -1)}, "its hour there is not known"
    built = [*built, {"item": "clock", "value": 3.0}]
    assert felt(DEMO, fit={"points": [{"name": POINT, "built": built}]}) == by_hand(BY_HAND["left", 3.0])


def proved(axes: tuple[tuple[int, int], ...], *, tapped: bool, stands: Job = DEMO) -> dict[str, Any]:
    """The proof of a sensor that stands as a job has it but for its axes: which reading each of them is, and its sign."""
    site = Proving(stands)
    site.rig.sensor_faults[UNIT] = SensorFault(axes=axes)
    return site.prove(Said(tapped=(POINT,) if tapped else ()), parts={6}, job=DEMO).document


def test_a_proof_that_passed_or_cannot_decide_leaves_the_plan() -> None:
    for tapped in (True, False):
        assert felt(DEMO, prove=proved(((0, 1), (1, 1), (2, 1)), tapped=tapped)) == by_hand("+H +V +A")


def test_a_sensor_proved_to_stand_otherwise_is_read_as_it_stands() -> None:
    """Half a turn about the vertical: what was to point right points left, and to the output end instead of the input end."""
    assert felt(DEMO, prove=proved(((0, -1), (1, 1), (2, -1)), tapped=True)) == by_hand("-H +V -A")


def test_of_a_sensor_that_a_proof_found_wrong_only_what_is_sure_is_said() -> None:
    """Gravity on x alone: x points up whatever the rest does. A mark at half past one fits no quarter turn: nothing is sure."""
    document = proved(((1, 1), (0, -1), (2, 1)), tapped=True)
    assert felt(DEMO, prove=document) == {"x": ("vertical", 1)}
    oblique = replace(DEMO, points=tuple(replace(one, clock=1.5) if one.name == POINT else one for one in DEMO.points))
    assert felt(DEMO, prove=proved(((0, 1), (1, 1), (2, 1)), tapped=True, stands=oblique)) == {}
    assert felt(placed("left", 3.0), prove=document) == by_hand(BY_HAND["left", 3.0]), "the job places it otherwise since"


def test_a_new_proof_is_noticed_and_read(tmp_path: Path) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    site = Site(tmp_path)
    try:
        before = Setup.read(tmp_path, site.store, at_start=False), stamp(tmp_path)
        document = {**proved(((0, -1), (1, 1), (2, -1)), tapped=True), "schema": "prove/1"}
        when = "2026-09-10T08:00:00+00:00"
        results.write(tmp_path, "prove", document=document, arrays={}, pictures={}, read=(), who="tester", when=when)
        after = Setup.read(tmp_path, site.store, at_start=False), stamp(tmp_path)
        assert before[1] != after[1]
        assert [one[0].axes[POINT]["z"].sign for one in (before, after)] == [1, -1]
    finally:
        site.store.close()


def test_a_channel_with_a_direction_points_right_up_or_towards_the_input_end() -> None:
    samples = np.array([1.0, -2.0, 3.0], np.float32)
    axes = sensor_axes(placed("output end", 12.0), fit=None, prove=None)[POINT]
    for axis, direction, sign in (("x", "horizontal", -1), ("y", "vertical", 1), ("z", "axial", -1)):
        one = standing(Recording(samples, 6400.0, "m/s2", axis, taken=Circumstances(state="steady", together="record 5")), axes)
        assert one.taken == Circumstances(direction, "steady", together="record 5")
        assert one.samples.tolist() == (sign * samples).tolist() and ("sign turned" in one.found) is (sign < 0)
    other = Recording(samples, 6400.0, "m/s2", "w")
    assert standing(other, axes) is other


def test_axes_of_one_record_are_sampled_together_and_blocks_of_a_device_that_holds_none_are_not() -> None:
    apart = [samples_row(f"record {axis}", address, axes=axis) for axis, address in (("x", "1000"), ("y", "2000"))]
    number = row("number", "waveform number", "51")
    fast = samples_row("velocity", "3000", unit="mm/s", kind="velocity", axes="z")
    for rows, groups in (
        (ALTERNATING, ["xyz"]),
        ([*ALTERNATING[:3], *apart], ["x", "y"]),
        ([*ALTERNATING[:3], *apart, number], ["xy"]),
        ([*ALTERNATING[:3], *apart, fast, number], ["xy", "z"]),
    ):
        found = taken_of(form_of(rows))
        kept = [replace(one, sha256=f"file {n}") for n, one in enumerate(found)]  # as the store has them, a file each
        assert [
            "".join(one.recording.channel for one in group) for group in at_one_time(Recorded(one, quality=()) for one in kept)
        ] == groups
        without = [replace(one, taken=Circumstances()) for one in kept]
        assert len(at_one_time(Recorded(one, quality=()) for one in without)) == len(kept)


def taken_of(form: Profile) -> tuple[Recording, ...]:
    job = replace(DEMO, bus=replace(DEMO.bus, devices=(device_of(form),)))
    rig = RigBus(Rig(job, lambda: 0.0, 24.75))
    return asyncio.run(take_records(rig, device_of(form), form.records[0], speed_hz=None, start="2026-03-02T10:00:00+00:00"))


# --- from rig to verdict ---------------------------------------------------------------------------------------------------------

RECORD = {"axes": "x y z", "address": "100", "role": "waveform"}  # 16 s of three axes at 2,560 Hz, in pages
SHEET = {"waveform rate": "2560", "waveform samples": "40960", "waveform step": "0.002"}


def three_axes() -> Profile:
    """The house's sensor with a record that holds its three axes, sampled together."""
    own = [dict(one) for one in table("registers") if one["profile"] == "three-axis vibration" and one["register"] != "record axis"]
    rows = []
    for one in own:
        changed = {**one, "profile": "paged sensor"}
        if one["role"] in SHEET:
            changed |= {"constant": SHEET[one["role"]], "address": "", "function": "", "type": "f32"}
        rows.append(changed | (RECORD if one["role"] == "waveform" else {}))
    rows += [row("page", "waveform page", "50", function="3"), row("page length", "waveform page samples", **sheet("2048"))]
    return form_of(rows)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr(devices, "_RECORD_LIFE", 45.0)
    made = Site(tmp_path)
    form = three_axes()
    changed = [replace(one, profile=form.name, form=form) if one.address == UNIT else one for one in DEMO.bus.devices]
    made.job = replace(DEMO, bus=replace(DEMO.bus, devices=tuple(changed)))
    made.rig = Rig(made.job, lambda: made.now, 24.75, sump=321.15)
    yield made
    made.store.close()


def watched(site: Site, *, prove: dict[str, Any] | None = None) -> list[dict[str, Any]]:
    """What the watch makes of records that it takes itself, one diagnosis after the other: the documents."""
    documents: list[dict[str, Any]] = []

    def judge(*found: Recording) -> dict[str, Any]:
        site.judged = list(found)
        documents.append(diagnose.run(site.job, found).document)
        return documents[-1]

    site.diagnose = judge  # type: ignore[assignment,method-assign]
    site.new_watch(limits={}, usual={POINT: 1e-3})
    site.watch.take_up(replace(site.watch.setup, prove=prove))
    site.settled()
    site.turns(8)
    return documents


def answers(document: dict[str, Any]) -> dict[str, str]:
    shafts = ("unbalance", "misalignment", "bent shaft")
    return {
        one["pattern"]: one["answer"] for one in document["patterns"] if one["component"] == "input" and one["pattern"] in shafts
    }


def test_a_watch_names_unbalance_that_it_could_not_test_in_axes_without_direction_or_kept_apart(site: Site) -> None:
    """9 mm/s, zone C begins at 2.8 (ISO 10816-3)."""
    site.rig.set_fault("input", "unbalance", 9e-3)
    first, second = watched(site)
    for document in (first, second):
        assert [(row["component"], row["fault"]) for row in document["verdicts"]] == [("input", "unbalance")]
        assert answers(document) == {"unbalance": "claimed", "misalignment": "not seen", "bent shaft": "not seen"}
    assert site.said("fault named") == ["unbalance fault of input, named by two records"]
    assert {one.channel: one.taken.direction for one in site.judged} == {"x": "horizontal", "y": "vertical", "z": "axial"}
    for less in ({"direction": "", "together": ""}, {"together": ""}):
        before = [replace(one, taken=replace(one.taken, **less)) for one in site.judged]
        assert answers(diagnose.run(site.job, before).document)["unbalance"] == "not testable"


def test_a_watch_sees_misalignment_and_says_what_would_make_it_sure(site: Site) -> None:
    """One sensor cannot tell it from a bent shaft: that takes the phase across the coupling, or a record uncoupled."""
    site.rig.set_fault("input", "misalignment", 9e-3)
    document = watched(site)[-1]
    assert answers(document)["misalignment"] == "uncertain" and document["verdicts"] == []
    assert any("signs of misalignment, input" in words and "uncoupled" in words for words in document["cannot_tell"])
    before = [replace(one, taken=replace(one.taken, direction="", together="")) for one in site.judged]
    assert answers(diagnose.run(site.job, before).document)["misalignment"] == "not testable"


def test_of_a_sound_drive_nothing_is_named(site: Site) -> None:
    document = watched(site)[-1]
    assert set(answers(document).values()) == {"not seen"} and document["verdicts"] == [] and document["cannot_tell"] == []


def test_a_sensor_that_lies_on_another_face_than_the_job_says_is_judged_by_nothing_that_its_proof_leaves_open(site: Site) -> None:
    """It lies on top, not on the input end: z points up and y to the output end, so that the vertical would pass for axial."""
    site.rig.set_fault("input", "unbalance", 9e-3)
    lies = SensorFault(axes=((0, 1), (2, -1), (1, 1)))
    proving = Proving(site.job)
    proving.rig.sensor_faults[UNIT] = site.rig.sensor_faults[UNIT] = lies
    document = watched(site, prove=proving.prove(Said(), parts={6}).document)[-1]
    assert {one.channel: one.taken.direction for one in site.judged} == {"x": "", "y": "", "z": "vertical"}
    assert document["verdicts"] == [] and set(answers(document).values()) == {"not testable"}


@pytest.mark.parametrize(("outward", "clock"), BY_HAND)
def test_wherever_the_sensor_stands_its_channels_have_the_phases_of_the_machine(site: Site, outward: str, clock: float) -> None:
    """An unbalance turns: horizontal and vertical a quarter of a turn apart, and the axial phase the same at every face."""
    job = placed(outward, clock, job=site.job)
    rig = Rig(job, lambda: site.now, 24.75)
    rig.set_fault("input", "unbalance", 20e-3)
    device = next(one for one in job.bus.devices if one.address == UNIT)
    taken = asyncio.run(take_records(RigBus(rig), device, device.form.records[0], speed_hz=24.75, start=""))
    found = {
        one.taken.direction: one.samples for one in (standing(one, sensor_axes(job, fit=None, prove=None)[POINT]) for one in taken)
    }
    turning = np.exp(-2j * np.pi * 24.75 * np.arange(40960) / 2560.0)  # 396 whole turns
    phase = {direction: np.angle(samples @ turning, deg=True) for direction, samples in found.items()}
    apart = [(phase[direction] - phase["horizontal"] + 180) % 360 - 180 for direction in ("vertical", "axial")]
    assert apart == pytest.approx([-90, 36], abs=5), "the rig turns from right to up; its axial is a tenth of a turn ahead"
