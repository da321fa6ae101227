"""Is it the sensor, or a neighbour? One channel that lies, gravity, a real overload; lines that stay with this drive standing."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.shaft_faults import Hum, Neighbour, SensorFault, ShaftFault, Situation, Unbalance
from gearcase.judge.patterns import background, sensors
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.observed import Recorded
from gearcase.judge.patterns.signs import Answer, Role, Weighed
from gearcase.signal.quality import judge_quality

MM_S = 1e-3
POINT = "input coupling end"
HERE = CHANNELS[3:6]  # its three directions


def recorded_again(one: Recorded, samples: np.ndarray) -> Recorded:
    """The same channel with other samples."""
    recording = replace(one.recording, samples=samples)
    quality = judge_quality(samples, sample_rate_hz=recording.sample_rate_hz, unit=recording.unit)
    return Recorded(recording, quality=tuple(quality))


def named(found: Sequence[Weighed], answer: Answer) -> set[str]:
    return {one.component for one in found if one.answer is answer}


def moved(records: Sequence[Recorded], *means: float) -> tuple[Recorded, ...]:
    """The same records with a mean each, of a sensor that measures down to 0 Hz."""
    return tuple(recorded_again(one, one.recording.samples + np.float32(mean)) for one, mean in zip(records, means, strict=True))


@pytest.mark.parametrize(("kind", "size"), [("clip", 0.25), ("offset", 40.0), ("ski slope", 3.0)])
def test_one_channel_that_lies_is_named(kind: str, size: float) -> None:
    fault = SensorFault(POINT, "axial", kind, size)
    found = sensors.examine(observe(seed=1, sensors=[fault], channels=HERE))
    assert named(found, Answer.CLAIMED) == {f"{POINT} axial"}


def test_sound_channels_are_not_named() -> None:
    found = sensors.examine(observe(seed=1, channels=HERE))
    assert named(found, Answer.NOT_SEEN) == {POINT} and len(found) == 1


def test_gravity_is_no_fault_of_the_sensor() -> None:
    """One g of 9.80665 m/s2 (ISO 80000-3), upright on one axis or spread over three; with one axis left out nobody can tell."""
    records = observe(seed=1, channels=HERE)
    for means in ((0.0, 9.80665, 0.0), (5.662, 5.662, -5.662)):
        assert named(sensors.examine(moved(records, *means)), Answer.CLAIMED) == set()
    wrong = sensors.examine(moved(records, 0.0, 15.0, 0.0))
    assert named(wrong, Answer.CLAIMED) == {f"{POINT} vertical"}
    two = sensors.examine(moved(records[:2], 0.0, 6.0))
    assert named(two, Answer.UNCERTAIN) == {f"{POINT} vertical"} and "needs three axes" in two[0].why


def test_a_real_vibration_too_strong_for_one_direction_is_not_called_the_sensors() -> None:
    """A resonance drives the vertical direction over the range of all three: they clip at 12 m/s2, only this one gets there."""
    strong = Unbalance("input", 30 * MM_S, natural_hz=25.5)
    ranges = [SensorFault(POINT, channel.direction, "clip", 12.0) for channel in HERE]
    found = sensors.examine(observe(seed=1, faults=[strong], sensors=ranges, channels=HERE))
    assert named(found, Answer.CLAIMED) == set()
    assert named(found, Answer.UNCERTAIN) == {f"{POINT} vertical"} and "truly be that strong" in found[0].why


def test_a_slow_motion_that_another_axis_shares_is_no_ski_slope_of_a_sensor() -> None:
    """The same slow wandering in two axes, in one of them too little to be called a ski slope."""
    records = observe(seed=1, channels=HERE)
    wander = np.cumsum(np.random.default_rng(1).standard_normal(records[0].recording.samples.size))
    wander = (wander - wander.mean()) / wander.std()
    swaying = tuple(
        recorded_again(one, one.recording.samples + np.float32(size) * wander.astype(np.float32))
        for one, size in zip(records, (3.0, 0.05, 0.0), strict=True)
    )
    found = sensors.examine(swaying)
    assert named(found, Answer.CLAIMED) == set()
    assert named(found, Answer.UNCERTAIN) == {f"{POINT} horizontal"} and "moves with it" in found[0].why


def test_what_two_channels_show_or_one_shows_alone_is_not_the_sensors() -> None:
    both = [SensorFault(POINT, direction, "offset", 40.0) for direction in ("axial", "vertical")]
    found = sensors.examine(observe(seed=1, sensors=both, channels=HERE))
    assert named(found, Answer.CLAIMED) == set()
    (alone,) = sensors.examine(observe(seed=1, sensors=both, channels=HERE[2:]))
    assert alone.answer is Answer.NOT_TESTABLE and "another channel" in alone.why


def judged(*faults: ShaftFault, standing: Sequence[ShaftFault] | None = None) -> Weighed:
    still = Situation(SPEED_HZ, "standing")
    records = (
        *observe(seed=1, faults=faults, channels=HERE[:1]),
        *observe(still, seed=2, faults=faults if standing is None else standing, channels=HERE[:1]),
    )
    (found,) = background.examine(DRIVE, records)
    return found


def test_a_neighbour_is_known_with_this_drive_standing() -> None:
    found = judged(Neighbour(31.7, 4 * MM_S), Neighbour(63.4, 2 * MM_S))
    assert found.answer is Answer.CLAIMED and [line.found_hz for line in found.lines] == pytest.approx([31.7, 63.4], abs=0.07)
    at_our_speed = judged(Neighbour(SPEED_HZ, 4 * MM_S))
    assert at_our_speed.answer is Answer.CLAIMED


@pytest.mark.parametrize(("neighbour", "answer"), [(0.9, Answer.NOT_SEEN), (1.4, Answer.CLAIMED)])
def test_a_quarter_of_the_velocity_in_operation_is_too_much(neighbour: float, answer: Answer) -> None:
    """ISO 20816-1 (from memory): background over 25 % of what is measured running; 0.9 of 4.4 mm/s is 0.20, 1.4 of 4.5 is 0.31."""
    own, other = Unbalance("input", 4.3 * MM_S), Neighbour(31.7, neighbour * MM_S)
    assert judged(own, other, standing=[other]).answer is answer


def test_what_goes_with_this_drive_or_is_hum_or_noise_is_no_neighbour() -> None:
    assert judged(Unbalance("input", 4 * MM_S)).answer is Answer.NOT_SEEN
    assert judged(Hum(50.0, 4 * MM_S)).answer is Answer.NOT_SEEN
    hum = judged(Neighbour(50.0, 4 * MM_S, multiples=3))
    assert hum.answer is Answer.UNCERTAIN and hum.why.startswith("multiples of the mains only")
    other = judged(Unbalance("input", 1 * MM_S), standing=[Neighbour(31.7, 4 * MM_S)])
    assert other.answer is Answer.NOT_SEEN and other.why.startswith("same lines")
    assert background.examine(DRIVE, observe(seed=1, channels=HERE)) == ()


def test_signs_bear_the_names_of_their_rows() -> None:
    fault = SensorFault(POINT, "axial", "offset", 40.0)
    for weighed in (*sensors.examine(observe(seed=1, sensors=[fault], channels=HERE)), judged()):
        row = pattern(weighed.pattern)
        names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
        assert row.offered
        assert all(sign.name in names[sign.role] for sign in weighed.signs)
        assert all(sign.seen is None or type(sign.seen) is bool for sign in weighed.signs)
