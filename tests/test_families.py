"""What alarms at a bearing end. Outside checks: RMS of sines by definition; four to six families (common practice, no source)."""

import asyncio
from pathlib import Path

import numpy as np
import pytest

from gearcase.drive.line import Line
from gearcase.drive.simulate import BearingFault, simulate
from gearcase.job.build import load
from gearcase.judge.alarm import RULES, Sample, Thresholds, cannot_tell, fresh, step
from gearcase.judge.families import LINE_FAMILIES, Family, alarm_families, family_levels
from gearcase.signal.spectrum import transform
from gearcase.worked import Origin
from test_stages import EXAMPLES
from test_watch import FAULT, Site

HOUR = 3600.0
DEMO = load(EXAMPLES / "demo")


@pytest.mark.parametrize("folder", sorted(path.name for path in EXAMPLES.iterdir() if (path / "job.yaml").is_file()))
def test_every_bearing_end_has_four_to_six_families_each_with_an_alarm_rule(folder: str) -> None:
    job = load(EXAMPLES / folder)
    for bearing in job.drive.bearings:
        families = alarm_families(job.drive, bearing.name)
        assert 4 <= len(families) <= 6
        assert all(family.quantity in RULES for family in families)


def test_the_lines_are_those_of_this_end() -> None:
    families = {family.quantity: family for family in alarm_families(DEMO.drive, FAULT[0])}
    assert {line.component for line in families["bearing lines"].lines} == {FAULT[0]}
    assert {line.component for line in families["shaft lines"].lines} == {"intermediate"}
    assert len({line.component for line in families["mesh lines"].lines}) == 2  # an intermediate shaft has a mesh at either end
    elsewhere = alarm_families(DEMO.drive, "")
    assert [family.quantity for family in elsewhere][3:] == ["shaft lines", "mesh lines"]


def line(kind: str, order: float) -> Line:
    return Line(f"{kind} {order}", "x", kind, 1, order, "input", 0.0, Origin.MEASURED)


def test_levels_are_those_of_sines_at_the_lines_and_of_nothing_beside_them() -> None:
    time = np.arange(65536) / 8192
    wave = 3.0 * np.sin(2 * np.pi * 200 * time) + 4.0 * np.sin(2 * np.pi * 400 * time) + 50.0 * np.sin(2 * np.pi * 300 * time)
    families = [
        Family("mesh lines", "m/s2", (line("mesh", 10.0), line("mesh", 20.0))),
        Family("shaft lines", "m/s", (line("shaft", 10.0),)),
        Family("overall velocity", "m/s"),
    ]
    found = family_levels(families, transform(wave, sample_rate_hz=8192.0), speed_hz=20.0)
    assert found["mesh lines"] == pytest.approx(5.0 / np.sqrt(2), rel=1e-3)  # 3 and 4 at right angles
    assert found["shaft lines"] == pytest.approx(3.0 / np.sqrt(2) / (2 * np.pi * 200), rel=1e-3)
    assert set(found) == {"mesh lines", "shaft lines"}
    assert family_levels(families, transform(wave, sample_rate_hz=8192.0), speed_hz=2000.0) == {}, "no line lies in the record"


def test_lines_that_fall_together_are_counted_once() -> None:
    wave = np.sin(2 * np.pi * 200 * np.arange(65536) / 8192)
    twice = Family("mesh lines", "m/s2", (line("mesh", 10.0), line("mesh", 10.001)))
    found = family_levels([twice], transform(wave, sample_rate_hz=8192.0), speed_hz=20.0)
    assert found["mesh lines"] == pytest.approx(1 / np.sqrt(2), rel=1e-3)


def test_bearing_lines_rise_with_the_fault_and_most_at_the_bearing_that_has_it() -> None:
    """A strong fault raises its neighbours' families too: that something is wrong is the alarm's, whose it is the diagnosis's."""
    ends = {name: alarm_families(DEMO.drive, name) for name in (FAULT[0], "output bearing, left")}

    def level(impact: float, end: str) -> float:
        faults = [BearingFault(*FAULT, impact, jitter=0.004)] if impact else []
        samples = simulate(
            DEMO.drive, speed_hz=24.75, sample_rate_hz=12800.0, samples=128000, seed=5, noise="resonant", faults=faults
        )
        return family_levels(ends[end], transform(samples, sample_rate_hz=12800.0), speed_hz=24.75)["bearing lines"]

    sound = level(0.0, FAULT[0])
    rising = [level(impact, FAULT[0]) for impact in (2.0, 5.0, 20.0)]
    assert sound < rising[0] < rising[1] < rising[2] and rising[2] > 4 * sound  # 12 dB
    assert rising[2] > 2 * level(20.0, "output bearing, left")


def test_a_level_of_records_is_not_missed_between_them_and_goes_blue_after_three() -> None:
    state = fresh("mesh lines", Thresholds(1.0, 2.0))
    for number, value in enumerate((0.5, 1.5, 1.5, 1.5, 1.5, 1.5)):
        at = number * 2 * HOUR
        state, _ = step(state, Sample(at, value, "good", "steady"), at)
        state, _ = step(state, None, at + HOUR)
        assert cannot_tell(state, at + HOUR) == ""
    assert state.condition == "yellow"
    assert "no good reading" in cannot_tell(state, at + 6 * HOUR)
    for _ in range(4):
        at += 2 * HOUR
        state, _ = step(state, Sample(at, 0.5, "good", "steady"), at)
    assert state.condition == "clear"


def test_the_watch_takes_a_record_every_two_hours_and_keeps_the_levels_of_its_lines(tmp_path: Path) -> None:
    site = Site(tmp_path)

    async def rounds(hours: float) -> None:
        for _ in range(round(hours * 60)):
            site.now += 60
            await site.watch.round()
            await site.watch.record()

    asyncio.run(rounds(0.6))
    points = {device.point for device in site.job.bus.devices if device.profile == "three-axis vibration"}
    first = [one for one in site.store.latest() if one.quantity in LINE_FAMILIES]
    assert {one.point for one in first} == points and {one.quantity for one in first} == set(LINE_FAMILIES)
    site.rig.set_fault(*FAULT, 30.0)
    asyncio.run(rounds(2.2))
    kept = site.store.readings(point="intermediate left", quantity="bearing lines")
    assert len(kept) == 2 and kept.value[1] > 3 * kept.value[0]
    assert site.judged == [], "levels are no diagnosis"
    site.store.close()
