"""Proving against the rig: what is right passes, and every fault of a link, a sensor or a plan is named with its cure.

Criteria from the trade's order of proving (common practice); the link's confidence limit against the rule of three.
"""

import asyncio
import json
import math
import socket
import subprocess
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.cli import main
from gearcase.device.profile import LAMPS, encode
from gearcase.device.rig import Rig, RigBus, SensorFault
from gearcase.drawings.text import prove_text
from gearcase.errors import NoReply
from gearcase.install.bus import error_rate_limit
from gearcase.install.orientation import TOWARDS_OUTPUT, consistent_with, rotation, tap_axis, turns
from gearcase.job.build import Job, load
from gearcase.record import chain
from gearcase.stages import prove
from gearcase.stages.prove import Said, evidence_key
from gearcase.stages.result import StageResult
from published import Check, check_id, checks
from test_stages import EXAMPLES

SERIALS = {
    "converter": "40003",
    "vibration input": "40011",
    "vibration intermediate": "40012",
    "sump temperature": "40021",
    "stack light": "40031",
}
TAPPED = ("input coupling end", "intermediate left")


@dataclass
class Site:
    """A rig standing still, cold, with a clock that only waiting moves."""

    job: Job = field(default_factory=lambda: load(EXAMPLES / "demo"))
    now: float = 0.0
    kept: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rig = Rig(self.job, lambda: self.now, 0.0)
        for point in TAPPED:
            self.rig.tap(point)

    async def sleep(self, seconds: float) -> None:
        self.now += seconds

    def prove(self, said: Said | None = None, *, polls: int = 3000, bus: Any = None, job: Job | None = None) -> StageResult:
        told = said or Said(
            serials=SERIALS,
            tapped=TAPPED,
            speed_hz=0.0,
            temperature=293.15,
            light_seen=True,
            controller=(0x1234, 123456789.0, 123.456),
        )
        earlier = {evidence_key(row): row for row in self.kept}
        made = prove.run(
            job or self.job,
            bus or RigBus(self.rig),
            polls=polls,
            said=told,
            earlier=earlier,
            keep=self.kept.append,
            sleep=self.sleep,
        )
        return asyncio.run(made)


def row(result: StageResult, device: str, step: str) -> dict[str, Any]:
    return next(row for row in result.document["evidence"] if (row["step"], row["device"]) == (step, device))


def test_a_sound_installation_passes_every_step_and_one_may_go_home() -> None:
    result = Site().prove()
    assert result.document["before_going_home"] == [] and result.document["may_go_home"] and not result.wrong
    words = prove_text(result.document)
    assert "you may go home: all 35 steps passed" in words and "locked out" in words


def test_the_steps_come_in_the_order_of_proving() -> None:
    steps = list(dict.fromkeys(row["step"] for row in Site().prove().document["evidence"]))
    assert steps == list(prove.STEPS)


def test_an_unplugged_device_is_named_with_those_that_answer_and_the_others_go_on() -> None:
    site = Site()
    site.rig.sensor_faults[12] = SensorFault(silent=True)
    result = site.prove()
    found = row(result, "vibration intermediate", "answers")
    assert found["outcome"] == "failed" and "units 3, 11, 21, 31 answer, so look at its address" in found["says"]
    assert row(result, "vibration intermediate", "gravity")["outcome"] == "open"
    assert row(result, "vibration input", "orientation")["outcome"] == "passed"
    assert result.wrong and not result.document["may_go_home"]


@pytest.mark.parametrize(
    ("wrong", "step", "says"),
    [
        (SensorFault(swapped_words=True), "constants", "sends the low word first"),
        (SensorFault(shift=1), "constants", "its sheet counts from 1"),
        (SensorFault(axes=((1, 1), (0, 1), (2, 1))), "orientation", "consistent with"),
        (SensorFault(axes=((0, -1), (1, -1), (2, 1))), "orientation", "consistent with"),
    ],
)
def test_swapped_words_moved_registers_and_swapped_axes_are_named(wrong: SensorFault, step: str, says: str) -> None:
    site = Site()
    site.rig.sensor_faults[11] = wrong
    found = row(site.prove(), "vibration input", step)
    assert found["outcome"] == "failed" and says in found["says"]


def test_with_swapped_words_the_other_steps_are_still_read_right() -> None:
    site = Site()
    site.rig.sensor_faults[11] = SensorFault(swapped_words=True)
    assert row(site.prove(), "vibration input", "gravity")["measured"] == "1.004 g"


def test_a_turn_about_the_vertical_is_seen_only_by_the_tap() -> None:
    """On the input end's face with the mark up, gravity lies along y; half a turn about it changes the sign of x and z."""
    site = Site()
    site.rig.sensor_faults[11] = SensorFault(axes=((0, -1), (1, 1), (2, -1)))
    blind = row(site.prove(Said(serials=SERIALS)), "vibration input", "orientation")
    assert blind["outcome"] == "open" and blind["says"].count(" or ") == 3 and "tap the housing" in blind["says"]
    seen = row(site.prove(), "vibration input", "orientation")
    assert seen["outcome"] == "failed" and "x as -x, y as y, z as -z" in seen["says"]


def test_two_devices_exchanged_are_told_by_their_models_or_constants() -> None:
    site = Site()
    light, sump = (next(d for d in site.job.bus.devices if d.name == name) for name in ("stack light", "sump temperature"))
    devices = tuple(
        replace(d, address={light.name: sump.address, sump.name: light.address}.get(d.name, d.address))
        for d in site.job.bus.devices
    )
    result = site.prove(job=replace(site.job, bus=replace(site.job.bus, devices=devices)))
    assert "where a stack light (105) was planned" in row(result, "stack light", "identity")["says"]


def test_one_address_twice_is_named_for_both() -> None:
    site = Site()
    devices = tuple(replace(d, address=11) if d.address == 12 else d for d in site.job.bus.devices)
    result = site.prove(job=replace(site.job, bus=replace(site.job.bus, devices=devices)))
    for device, other in (("vibration input", "vibration intermediate"), ("vibration intermediate", "vibration input")):
        assert f"{other} has address 11 too" in row(result, device, "answers")["says"]


def test_a_running_drive_leaves_open_what_wants_it_still() -> None:
    site = Site()
    site.rig.set_speed(24.75)
    result = site.prove()
    for step in ("gravity", "orientation", "noise"):
        assert row(result, "vibration input", step)["says"].startswith("the drive runs")


@pytest.mark.parametrize(
    ("said", "device", "step", "says"),
    [
        (Said(serials={**SERIALS, "converter": "7"}), "converter", "identity", "as built it is 7"),
        (Said(temperature=298.15), "sump temperature", "temperature", "look at the probe"),
        (Said(controller=(0x1234, 1.0, 123.456)), "converter", "controller", "type and word order"),
        (Said(speed_hz=20.0), "converter", "inputs", "the reference says 1200.0 rpm"),
    ],
)
def test_what_a_person_brings_and_the_device_contradicts_fails(said: Said, device: str, step: str, says: str) -> None:
    found = row(Site().prove(said), device, step)
    assert found["outcome"] == "failed" and says in found["says"]


def test_what_nobody_brought_is_open_never_passed() -> None:
    open_steps = {row["step"] for row in Site().prove(Said()).document["before_going_home"]}
    assert open_steps == {"identity", "orientation", "temperature", "inputs", "light seen", "controller"}


def test_too_few_polls_are_no_proof() -> None:
    assert "3000 without an error are enough" in row(Site().prove(polls=100), "converter", "link")["says"]


@pytest.mark.parametrize("polls", [100, 3000, 10000])
def test_the_confidence_limit_is_the_rule_of_three(polls: int) -> None:
    """Without an error: 1 - 0.05^(1/n), which is 3/n for many polls (Clopper and Pearson 1934)."""
    assert error_rate_limit(polls=polls, errors=0) == pytest.approx(1 - 0.05 ** (1 / polls), rel=1e-9)
    assert error_rate_limit(polls=polls, errors=0) == pytest.approx(3 / polls, rel=0.02)


def test_with_errors_the_limit_is_where_so_few_have_five_per_cent() -> None:
    limit = error_rate_limit(polls=1000, errors=2)
    chance = sum(math.comb(1000, k) * limit**k * (1 - limit) ** (1000 - k) for k in range(3))
    assert chance == pytest.approx(0.05, rel=1e-6)


class Dying:
    """A bus whose gateway dies after so many reads."""

    def __init__(self, bus: RigBus, reads: int) -> None:
        self.bus, self.left = bus, reads

    async def read(self, **asked: int) -> tuple[int, ...]:
        self.left -= 1
        if self.left < 0:
            raise NoReply(asked["unit"], "registers", "no reply")
        return await self.bus.read(**asked)

    async def write(self, **asked: Any) -> None:
        raise NoReply(asked["unit"], "registers", "no reply")


class Altered:
    """A bus on which some registers of the rig's devices read something else."""

    def __init__(self, bus: RigBus, values: dict[tuple[int, str], float]) -> None:
        self.bus, self.values = bus, values
        self.reads = 0

    async def read(self, **asked: int) -> tuple[int, ...]:
        self.reads += 1
        words = list(await self.bus.read(**asked))
        for (unit, name), value in self.values.items():
            if unit == asked["unit"]:
                register = self.bus._rig.profile_of(unit).registers[name]
                for place, word in enumerate(encode(register, value), start=register.address - asked["start"]):
                    if 0 <= place < len(words):
                        words[place] = word
        return tuple(words)

    async def write(self, **asked: Any) -> None:
        await self.bus.write(**asked)


def altered(site: Site, unit: int, **values: float) -> StageResult:
    named = {(unit, name.replace("_", " ")): value for name, value in values.items()}
    return site.prove(bus=Altered(RigBus(site.rig), named), polls=10)


@pytest.mark.parametrize(("degrees", "outcome"), [(4.0, "passed"), (6.0, "failed"), (40.0, "failed")])
def test_a_sensor_leaning_more_than_five_degrees_fails(degrees: float, outcome: str) -> None:
    """On the input end's face with the mark up, y points up; it leans towards x."""
    lean = math.radians(degrees)
    leaning = altered(Site(), 11, gravity_x=9.80665 * math.sin(lean), gravity_y=9.80665 * math.cos(lean), gravity_z=0.0)
    assert row(leaning, "vibration input", "orientation")["outcome"] == outcome


@pytest.mark.parametrize(("g", "outcome"), [(0.94, "failed"), (0.96, "passed"), (1.04, "passed"), (1.06, "failed")])
def test_gravity_must_read_one_g_within_five_per_cent(g: float, outcome: str) -> None:
    found = altered(Site(), 11, gravity_x=0.0, gravity_y=9.80665 * g, gravity_z=0.0)
    assert row(found, "vibration input", "gravity")["outcome"] == outcome


@pytest.mark.parametrize(("mm_s", "outcome"), [(0.27, "passed"), (0.29, "failed")])
def test_noise_at_standstill_is_held_to_a_fifth_of_the_lowest_boundary(mm_s: float, outcome: str) -> None:
    """75 kW, rigid: A/B at 1.4 mm/s (ISO 10816-3, group 2), a fifth of it 0.28 mm/s."""
    assert row(altered(Site(), 11, overall_velocity_y=mm_s / 1000), "vibration input", "noise")["outcome"] == outcome


@pytest.mark.parametrize(("share", "outcome"), [(1.004, "passed"), (1.006, "failed"), (0.994, "failed")])
def test_speed_is_held_to_half_a_per_cent_of_the_reference(share: float, outcome: str) -> None:
    site = Site()
    said = Said(serials=SERIALS, speed_hz=24.75)
    bus = Altered(RigBus(site.rig), {(3, "running"): 1.0, (3, "speed"): 24.75 * share})
    assert row(site.prove(said, bus=bus, polls=10), "converter", "inputs")["outcome"] == outcome


def test_a_run_state_that_contradicts_the_speed_fails() -> None:
    found = row(altered(Site(), 3, running=0.0, speed=24.75), "converter", "inputs")
    assert found["outcome"] == "failed" and "contradict each other" in found["says"]


def test_a_lamp_that_does_not_change_is_named_with_what_is_lit() -> None:
    found = row(altered(Site(), 31, lamps_lit=LAMPS["green"]), "stack light", "light")
    assert found["outcome"] == "failed" and found["says"].startswith("yellow was written and green is lit")


@pytest.mark.parametrize(("alone", "says"), [("red", "stays lit"), ("blue", "does not come back")])
def test_a_light_that_does_not_fall_back_or_come_back_fails(alone: str, says: str) -> None:
    site = Site()
    bus = Altered(RigBus(site.rig), {})

    async def sleep(seconds: float) -> None:
        site.now += seconds
        bus.values[(31, "lamps lit")] = LAMPS[alone]

    site.sleep = sleep  # type: ignore[method-assign]
    found = row(site.prove(bus=bus, polls=10), "stack light", "light")
    assert found["outcome"] == "failed" and says in found["says"]


def test_a_tap_along_no_axis_is_to_be_repeated() -> None:
    site = Site()
    site.rig.taps["input coupling end"] = (10.0, 9.0, 8.0)
    found = row(site.prove(polls=10), "vibration input", "orientation")
    assert found["outcome"] == "open" and "tap again, straight" in found["says"]


@pytest.mark.parametrize(("tap", "clear"), [((30.0, 10.0, 0.0), True), ((29.9, 10.0, 0.0), False), ((0.0, 0.0, 0.0), False)])
def test_a_tap_must_stand_out_by_three_to_one(tap: tuple[float, float, float], clear: bool) -> None:
    assert tap_axis(tap)[1] is clear


def test_nobody_polls_a_silent_device_three_thousand_times() -> None:
    site = Site()
    bus = Altered(Dying(RigBus(site.rig), 40), {})  # type: ignore[arg-type]
    found = row(site.prove(bus=bus), "stack light", "link")
    assert found["outcome"] == "failed" and "fell silent" in found["says"] and bus.reads < 300


@pytest.mark.parametrize("reads", [0, 3, 20, 60, 4000])
def test_a_rig_killed_midway_loses_nothing_and_the_next_run_asks_only_what_is_left(reads: int) -> None:
    site = Site()
    first = site.prove(bus=Dying(RigBus(site.rig), reads))
    passed = {evidence_key(row) for row in site.kept if row["outcome"] == "passed"}
    assert first.wrong and len(site.kept) == 35
    kept_before = len(site.kept)
    second = site.prove()
    asked_again = {evidence_key(row) for row in site.kept[kept_before:]}
    assert second.document["may_go_home"] and not asked_again & passed and len(asked_again) + len(passed) == 35


def test_what_passed_is_asked_again_when_the_job_says_otherwise_now() -> None:
    site = Site()
    site.prove()
    points = tuple(replace(point, clock=6.0) if point.name == "input coupling end" else point for point in site.job.points)
    before = len(site.kept)
    result = site.prove(job=replace(site.job, points=points))
    assert {row["device"] for row in site.kept[before:]} == {"vibration input"}
    assert row(result, "vibration input", "orientation")["outcome"] == "failed"


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MG"), ids=check_id)
def test_an_axis_tilted_from_the_vertical_reads_its_cosine(check: Check) -> None:
    """Rows MG* of mounting_checks.csv: the mark of a sensor on an upright face, 30 degrees an hour from twelve."""
    reading = rotation("left", check.given["tilt_deg"] / 30) @ np.array([0.0, 1.0, 0.0])
    assert reading[1] == pytest.approx(check.value, abs=max(check.tolerance, 1e-9))


def test_there_are_24_turns_and_the_planned_one_is_first() -> None:
    assert len({turn.matrix for turn in turns()}) == 24 and turns()[0].says == "x as x, y as y, z as z"


@pytest.mark.parametrize("outward", ["up", "down", "left", "right", "input end", "output end"])
@pytest.mark.parametrize("clock", [0, 1.5, 3, 6, 9, 12])
def test_axes_are_right_handed_and_a_tap_leaves_one_turn(outward: str, clock: float) -> None:
    planned = rotation(outward, clock)
    assert np.linalg.det(planned) == pytest.approx(1.0) and planned @ planned.T == pytest.approx(np.eye(3), abs=1e-12)
    at_rest, tap = planned @ np.array([0, 9.8, 0]), planned @ np.array(TOWARDS_OUTPUT) * 20
    left = consistent_with(planned, at_rest, within=0.087, tap=tap, towards=TOWARDS_OUTPUT)
    assert [turn.says for turn in left] == ["x as x, y as y, z as z"]


def test_the_command_proves_over_the_wire_keeps_its_evidence_and_can_be_tampered_with_by_nobody(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.yaml").write_bytes((EXAMPLES / "demo" / "job.yaml").read_bytes())
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    command = [sys.executable, "-m", "gearcase.cli", "rig", str(tmp_path), "--port", str(port)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as rig:
        assert rig.stdin and rig.stdout
        rig.stdin.write("stop\n")
        rig.stdin.flush()
        while "stands still" not in rig.stdout.readline():
            pass
        where = ["--connection", f"tcp 127.0.0.1:{port}", "--polls", "50", "--json"]
        assert main(["prove", str(tmp_path), *where, "--by", "tester"]) == 0
        document = json.loads(capsys.readouterr().out)
        rig.stdin.close()
        rig.wait(10)
    evidence = tmp_path / "results" / "prove" / "evidence.jsonl"
    assert len(chain.read(evidence)) == len(document["evidence"]) == 35
    assert main(["prove", str(tmp_path), *where]) == 2
    assert "a bus that can be opened" in capsys.readouterr().out
    evidence.write_bytes(evidence.read_bytes().replace(b'"open"', b'"passed"', 1))
    assert main(["prove", str(tmp_path), *where]) == 2


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--polls", "0"], "1 to 1000000"),
        (["--tapped", "nowhere"], "one of: input coupling end"),
        (["--controller", "a,b"], "numbers with commas between"),
        (["--connection", "radio"], "how the bus is reached"),
        (["--temperature", "20"], "a temperature with its unit"),
    ],
)
def test_a_wrong_call_is_refused_with_what_would_be_right(given: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", str(EXAMPLES / "demo"), *given]) == 2
    assert says in capsys.readouterr().err
