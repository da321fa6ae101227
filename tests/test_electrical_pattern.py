"""Twice the supply: this motor's, a neighbour's on the same mains, or twice the shaft?"""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.shaft_faults import Hum, Misalignment, Neighbour, ShaftFault, Situation
from gearcase.drive.train import Drive, Motor
from gearcase.judge.patterns import electrical
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.signs import Answer, Role, Weighed

MM_S = 1e-3
POLE_PASS_HZ = 4 * (25.0 - SPEED_HZ)  # poles times slip
HUM = Hum(50.0, 4 * MM_S, pole_pass_hz=POLE_PASS_HZ)
MOTOR = CHANNELS[:2]


def judged(
    *faults: ShaftFault, states: Sequence[str] = (), drive: Drive = DRIVE, speed_hz: float = SPEED_HZ, samples: int = 40960
) -> Weighed:
    files = [Situation(speed_hz, state) for state in (*states, "steady")]
    records = [
        observe(situation, seed=n, faults=faults, channels=MOTOR, drive=drive, samples=samples) for n, situation in enumerate(files)
    ]
    (found,) = electrical.examine(drive, [one for record in records for one in record])
    return found


def seen(weighed: Weighed, sign: str) -> bool | None:
    return next(one.seen for one in weighed.signs if one.name == sign)


@pytest.mark.parametrize("state", ["coast-down", "standing"])
def test_a_hum_that_goes_with_the_power_is_the_motors(state: str) -> None:
    found = judged(HUM, states=[state])
    assert found.answer is Answer.CLAIMED and found.component == "motor"
    assert seen(found, "pole pass sidebands") is True
    assert seen(judged(Hum(50.0, 4 * MM_S), states=[state]), "pole pass sidebands") is False


def test_the_line_alone_is_nobodys() -> None:
    found = judged(HUM)
    assert found.answer is Answer.NOT_TESTABLE and "coast-down" in found.why


@pytest.mark.parametrize("state", ["coast-down", "standing"])
def test_another_machine_on_the_same_mains_goes_on_humming(state: str) -> None:
    found = judged(Neighbour(100.0, 4 * MM_S), states=[state])
    assert found.answer is Answer.NOT_SEEN and found.why.startswith("dies at once")


def test_a_neighbour_beside_it_and_a_sound_motor_are_not_called() -> None:
    assert judged(Neighbour(98.9, 8 * MM_S), states=["coast-down"]).answer is Answer.NOT_SEEN
    assert judged(states=["coast-down"]).answer is Answer.NOT_SEEN


def test_twice_the_shaft_of_a_motor_of_two_poles_is_no_hum() -> None:
    """At 49.75 Hz it stands at 99.5 Hz; 16 s part them, 4 s do not: half a hertz is two bins there."""
    drive = replace(
        DRIVE, speed_hz=(49.75, 49.75), rated_speed_hz=49.75, motor=Motor("motor", poles=2, supply_hz=50.0, rated_speed_hz=49.75)
    )
    fault = Misalignment(("motor", "input"), ("motor drive end", "input coupling end"), 8 * MM_S)
    assert judged(fault, states=["coast-down"], drive=drive, speed_hz=49.75).answer is Answer.NOT_SEEN
    short = judged(fault, states=["coast-down"], drive=drive, speed_hz=49.75, samples=10240)
    assert short.answer is Answer.NOT_TESTABLE and "finer resolution" in short.why
    hum = judged(Hum(50.0, 4 * MM_S), states=["coast-down"], drive=drive, speed_hz=49.75)
    assert hum.answer is Answer.CLAIMED


def test_without_a_motor_there_is_nothing_to_say() -> None:
    assert electrical.examine(replace(DRIVE, motor=None), observe(seed=1, channels=MOTOR)) == ()


def test_signs_bear_the_names_of_the_row() -> None:
    row = pattern("electrical")
    names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
    assert row.offered
    assert all(sign.name in names[sign.role] for sign in judged(HUM, states=["coast-down"]).signs)
