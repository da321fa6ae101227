"""Grooves of a shaft current across a race: a hump that moves with the speed; a ringing race, a dry bearing, a neighbour."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from studies.shaft_cases import BALL, CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.bearing_lines import bearing_order
from gearcase.drive.shaft_faults import Fluting, Hiss, ShaftFault, Situation, simulate_channels
from gearcase.drive.simulate import BearingFault, Levels, Stranger
from gearcase.drive.train import Drive, Mesh, Motor
from gearcase.judge.faults import Hypothesis
from gearcase.judge.patterns import fluting
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Role, Sign, Weighed
from gearcase.judge.patterns.washboard import Washboard
from gearcase.signal.envelope import EnvelopeSpectrum, band_envelope_spectrum
from gearcase.signal.spectrum import transform

BEARING = "input coupling end"
HERE = CHANNELS[4:5]
CONVERTER = Motor("motor", 4, 50.0, rated_speed_hz=24.75, converter=True, current_protection="none")
MESH = Mesh("mesh", "input", "output", 19, 61)  # no multiple of the output shaft within 4 % of the outer race's rate
ON_MAINS = replace(DRIVE, meshes=(MESH,))
ON_CONVERTER = replace(ON_MAINS, motor=CONVERTER)
SLOWER = 0.8
GROOVED = Fluting(BEARING, "outer_race", 0.4, grooves=215.0)


def files(*faults: ShaftFault, speeds: Sequence[float] = (SLOWER, 1.0), rate_hz: float = 20480.0, **more: object) -> list[Observed]:
    """A file at each speed, as the share of the rated one."""
    made = [
        observe(
            Situation(part * SPEED_HZ),
            seed=n,
            faults=faults,
            drive=ON_CONVERTER,
            channels=HERE,
            sample_rate_hz=rate_hz,
            samples=122880,
            **more,
        )
        for n, part in enumerate(speeds)
    ]
    return [one for file in made for one in file]


def judged(records: Sequence[Observed], drive: Drive = ON_CONVERTER, bearing: str = BEARING) -> Weighed:
    return next(one for one in fluting.examine(drive, records) if one.component == bearing)


def sign(found: Weighed, name: str) -> Sign:
    return next(one for one in found.signs if one.name == name)


@pytest.fixture(scope="module")
def grooved() -> list[Observed]:
    return files(GROOVED)


def test_simulated_grooves_pass_the_elements_as_they_stand_round_the_race_in_lines_of_the_race_rate() -> None:
    """215 grooves, and an element that goes round 0.3984 times a turn (reference/bearings.csv, B01: cage of nine 7.94 mm balls on
    39.04 mm; 3.5848 / 9 elements): a hump about 215 * 0.398 * 24.75 = 2120 Hz, of lines 3.585 * 24.75 = 88.7 Hz apart less slip.
    """
    quiet = Levels(shaft=0.0, mesh=0.0, noise_rms=1e-6)
    rows = simulate_channels(
        DRIVE, HERE, Situation(SPEED_HZ), sample_rate_hz=20480.0, samples=81920, seed=1, faults=[GROOVED], levels=quiet
    )
    power = np.abs(np.fft.rfft(rows[0] * np.hanning(81920))) ** 2
    hz = np.fft.rfftfreq(81920, 1 / 20480.0)
    assert np.average(hz, weights=power) == pytest.approx(2120, rel=0.1)  # the housing's modes pull it
    lines = power.copy()
    tall = []
    for _ in range(12):
        at = int(np.argmax(lines))
        tall.append(hz[at])
        lines[max(at - 40, 0) : at + 41] = 0
    apart = np.diff(sorted(tall))
    assert np.allclose(apart / np.rint(apart / 88.4), 88.4, rtol=0.01)


def test_grooves_are_named_at_their_bearing_by_a_hump_that_moves_with_the_speed(grooved: list[Observed]) -> None:
    found = judged(grooved)
    assert found.answer is Answer.CLAIMED
    assert "outer race at 70." in found.why and "hump moves with the speed: from" in found.why
    assert judged(grooved, bearing="motor drive end").answer is Answer.NOT_SEEN, "of one size with it, and not under the point"


def test_a_race_that_rings_a_mode_within_the_same_band_is_not_called_fluting() -> None:
    for seed, resonance_hz in enumerate((1400.0, 2100.0, 3200.0)):
        ringing = BearingFault(BEARING, "outer_race", impact=4.0 + seed, resonance_hz=resonance_hz)
        found = judged(files(damage=[ringing]))
        assert found.answer is Answer.NOT_SEEN and found.why.startswith("the hump moves with the speed: from")
        assert sign(found, "a hump from 1 to 4 kHz spaced by the race line").seen, "it makes the same hump with the same spacing"


def test_a_dry_bearing_a_pulsing_neighbour_and_a_sound_drive_are_not_called_fluting() -> None:
    dry = files(Hiss(2.0, 1000.0, bearing=BEARING))
    foreign = files(strangers=[Stranger(91.7, 4.0)])
    for records in (dry, foreign, files()):
        assert all(one.answer is Answer.NOT_SEEN for one in fluting.examine(ON_CONVERTER, records))


def test_a_neighbour_that_pulses_at_the_rate_of_the_race_at_one_speed_does_not_at_the_other() -> None:
    rate_hz = bearing_order("outer_race", (1.0, 0.0), BALL) * SPEED_HZ
    found = judged(files(strangers=[Stranger(rate_hz, 4.0)]))
    assert found.answer is Answer.NOT_SEEN and found.why.endswith("at both speeds")


def test_without_a_converter_or_on_an_unknown_motor_it_is_doubted_or_told_what_to_look_for(grooved: list[Observed]) -> None:
    mains = judged(grooved, ON_MAINS)
    assert mains.answer is Answer.UNCERTAIN and mains.why == "no converter: job.yaml: converter: false"
    unknown = judged(grooved, replace(ON_MAINS, motor=None))
    assert unknown.answer is Answer.CLAIMED
    assert "look for a brush on the shaft" in sign(unknown, "converter without a shaft brush").says
    for protection, seen in (("shaft brush", False), ("both", False), ("insulated bearing", None), ("", None)):
        motor = replace(CONVERTER, current_protection=protection)
        assert sign(judged(grooved, replace(ON_MAINS, motor=motor)), "converter without a shaft brush").seen is seen


def test_one_speed_or_a_record_too_slow_cannot_show_it(grooved: list[Observed]) -> None:
    for records in (grooved[1:], files(GROOVED, speeds=(0.95, 1.0)), files(GROOVED, rate_hz=6400.0)):
        found = judged(records)
        assert found.answer is Answer.NOT_TESTABLE and "two speeds 10 % apart" in found.why


def test_signs_bear_the_names_of_the_row(grooved: list[Observed]) -> None:
    row = pattern("current fluting")
    names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
    assert row.offered
    assert all(one.name in names[one.role] and (one.seen is None or type(one.seen) is bool) for one in judged(grooved).signs)


def test_a_washboard_of_random_harmonics_is_found_though_the_rate_of_the_race_itself_is_missing() -> None:
    """A load of half a bearing on a turning race, multiplied out with numpy: a race of 9 elements, whose washboard lacks its ninth
    and eighteenth harmonic, has no line at its rate and at twice it, and lines one turn of the race to either side.
    """
    rng, rate_hz, speed_hz, seconds, sampled = np.random.default_rng(5), 134.4, 24.8, 8.0, 4096.0
    time = np.arange(int(seconds * sampled)) / sampled
    cage = (speed_hz * 9 - rate_hz) / 9  # rate of the race = elements (turns of the race - turns of the cage)
    swells = np.zeros(time.size)
    for element in range(9):
        place = cage * time + element / 9
        harmonics = [q for q in range(1, 24) if q not in (9, 18)]
        power = sum(0.15 * np.cos(2 * np.pi * (q * (place - speed_hz * time) + 0.37 * q * q)) for q in harmonics)
        swells += np.maximum(np.cos(2 * np.pi * place), 0.0) ** 1.5 * (1 + power)
    row = np.sqrt(np.maximum(swells, 0.0)) * rng.standard_normal(time.size)
    envelope = band_envelope_spectrum(transform(row, sample_rate_hz=sampled), lowest_hz=300.0, highest_hz=1800.0)
    board = Washboard(envelope, explained_hz=np.empty(0), highest_hz=rate_hz, speed_hz=speed_hz, speed_spread=1e-4)
    inner = Hypothesis("bearing", "inner_race", rate_hz / speed_hz, 0.0, 1.0, through_load=True)
    found = board.race(inner)
    assert found is not None and found.log_chance < -20 and found.base_hz == pytest.approx(rate_hz, rel=2e-3)
    assert -board.scorer.line_log_chance(np.array([rate_hz]))[0] < 6.0, "the rate itself does not stand out"
    outer = Hypothesis("bearing", "outer_race", 9 - rate_hz / speed_hz, 0.0, 0.0)
    rest = board.race(outer)
    assert rest is not None and rest.log_chance > np.log(1e-3)


def test_lines_of_noise_are_as_rare_as_the_chance_they_are_given() -> None:
    """White noise, 200 records: a chance of 0.05 is reached by 0.05 of them at most (upper 95 % bound of 10 in 200 is 0.083)."""
    reached = 0
    for seed in range(200):
        row = np.random.default_rng([71, seed]).standard_normal(16384)
        envelope = band_envelope_spectrum(transform(row, sample_rate_hz=4096.0), lowest_hz=300.0, highest_hz=1800.0)
        board = Washboard(envelope, explained_hz=np.empty(0), highest_hz=134.0, speed_hz=24.8, speed_spread=1e-4)
        found = board.race(Hypothesis("bearing", "inner_race", 5.43, 0.0, 1.0, through_load=True))
        assert found is not None
        reached += found.log_chance <= np.log(0.05)
    assert reached <= 10


def test_two_lines_however_strong_make_no_washboard_of_a_race_that_stands_and_three_do() -> None:
    strength = np.full(8000, 0.5)
    outer = Hypothesis("bearing", "outer_race", 3.585, 0.0, 0.0)
    rate = 3.585 * 25.0
    for multiples, shows in (((2, 3), False), ((2, 3, 5), True)):
        raised = strength.copy()
        raised[[round(n * rate / 0.1) for n in multiples]] = 500.0
        board = Washboard(
            EnvelopeSpectrum(raised, np.sqrt(raised) / 100, 0.1),
            explained_hz=np.empty(0),
            highest_hz=rate,
            speed_hz=25.0,
            speed_spread=1e-4,
        )
        found = board.race(outer)
        assert found is not None and bool(found.log_chance + np.log(12 * 2) <= np.log(1e-3)) is shows  # 12 races at 2 points


def test_an_inner_race_whose_slower_record_lacks_its_rate_is_named() -> None:
    """Of the study's kind: grooves of a race that turns, whose comb at 0.76 of the speed has no fundamental."""
    found = judged(files(Fluting(BEARING, "inner_race", 0.4, grooves=150.0), speeds=(0.76, 1.0)))
    assert found.answer is Answer.CLAIMED and "inner race at" in found.why
