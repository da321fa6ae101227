"""Gear patterns on fixed simulated jobs: each named when strong, not when its nearest rival is there, not beside a foreign machine.

The simulator shares no code with what judges it. Chances are held against theory: random phases drawn here, Student's test of
scipy.
"""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from math import gcd, lcm
from pathlib import Path

import numpy as np
import pytest
import scipy.io
import scipy.stats
from studies.pattern_cases import KNOCK, PATTERNS, RATE_HZ, TEETH, Job, foreign, rival, shown
from studies.patterns import judged, observe, outcomes, run

from gearcase.drive.gear_faults import Knock, ToothDamage
from gearcase.drive.simulate import Levels, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.patterns import catalogue
from gearcase.judge.patterns.angular import AngularHalves, angular_halves, mesh_rates
from gearcase.judge.patterns.gear_parts import decoys, gears
from gearcase.judge.patterns.gears import examine as examine_gears
from gearcase.judge.patterns.impulse import _outlier_log_chance, _power_log_chance, _product_log_chance, as_sure, impulse
from gearcase.judge.patterns.mesh_levels import _growth_log_chance
from gearcase.judge.patterns.mesh_yield import BY_LUCK, MeshYield, mesh_yield
from gearcase.judge.patterns.raised import raised_log_chance
from gearcase.judge.patterns.signs import Answer, Role
from gearcase.signal.gear_indicators import gear_indicators
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.synchronous import Turning, synchronous_average
from gearcase.worked import Given, Origin

FIRST = 800_000  # apart from the numbers the method was looked at with
STRONG = {
    TEETH: 8.0,
    "eccentric gear or bent shaft": 1.0,
    "gear wear": 3.0,
    "mesh misalignment": 3.0,
}  # others 8
PAIR = Drive(
    "pair",
    (Shaft("input"), Shaft("output")),
    (Mesh("mesh", "input", "output", 19, 53),),
    (),
    "input",
    (24.0, 24.0),
    24.0,
    Given("speed", 24.0, "Hz", Origin.MEASURED),
)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_each_pattern_is_named_at_its_part_and_nothing_else(pattern: str) -> None:
    """Half of them at least: in some sets a sun's and a planet's tooth knock at one rate, or no mesh line stands clear."""
    found = outcomes(shown(pattern, FIRST, 4 if "tooth" in pattern else 2, STRONG.get(pattern, 8.0)), pattern)
    assert found["place"] >= found["jobs"] / 2 and not found["wrong"]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_its_nearest_rival_is_not_called_by_its_name(pattern: str) -> None:
    found = outcomes(rival(pattern, FIRST, 2, 8.0), pattern)
    assert not found["pattern wrong"]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_foreign_machine_is_none_of_them(pattern: str) -> None:
    found = outcomes(foreign(pattern, FIRST, 2, 8.0), pattern)
    assert not found["wrong"]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_only_patterns_with_a_positive_case_a_rival_and_a_foreign_machine_are_offered(pattern: str) -> None:
    """The three tests above run over these; a row of the family that is offered and not among them would be untested."""
    assert catalogue.pattern(pattern).offered
    family = [one for part in ("mesh", "planetary set") for one in catalogue.of_part(part)]
    assert {one.name for one in family if one.offered} <= set(PATTERNS)


@pytest.mark.long
@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_hundred_sound_drives_are_claimed_no_more_often_than_stated(pattern: str) -> None:
    """Every claim of any gear pattern counts; noise is stated as 0.001 a job and pattern, eight patterns at most."""
    with ProcessPoolExecutor() as pool:
        found = run(pool, "sound", pattern, 810_000, 100)
    assert found["wrong"] <= scipy.stats.binom.ppf(0.999, 100, len(PATTERNS) * NOISE_LIMIT)


@pytest.mark.long
def test_of_two_thousand_sound_drives_of_the_bearings_study_no_more_are_claimed_than_stated() -> None:
    """A third of them have no gears."""
    with ProcessPoolExecutor() as pool:
        found = run(pool, "healthy", TEETH, 400_000, 2000)
    assert found["jobs"] > 1200
    assert found["wrong"] <= scipy.stats.binom.ppf(0.999, found["jobs"], len(PATTERNS) * NOISE_LIMIT)


def recorded(*faults: ToothDamage, seconds: float = 10.0, knock_at: float | None = None, drive: Drive = PAIR) -> Job:
    samples = simulate(
        drive,
        speed_hz=24.0,
        sample_rate_hz=RATE_HZ,
        samples=int(seconds * RATE_HZ),
        seed=4,
        noise="white",
        gear_faults=faults,
        levels=Levels(shaft=0.2, mesh=1.0, modulation=0.1),
    )
    if knock_at is not None:
        ring = np.exp(-np.arange(40) / 9.0) * np.sin(np.arange(40) * 1.4)
        at = int(knock_at * RATE_HZ)
        samples[at : at + 40] += 500 * ring.astype(np.float32)
    recording = Recording(samples, RATE_HZ, "m/s2", speed_hz=24.0, point="a", name="record", taken=Circumstances(state="steady"))
    return Job(drive, (recording,))


def halves_of(job: Job) -> AngularHalves:
    one = observe(job.drive, job.recordings[0])
    assert one is not None
    found = angular_halves(mesh_rates(job.drive), one)
    assert isinstance(found, AngularHalves)
    return found


def test_the_window_of_a_planet_that_passes_is_the_record_times_one_plus_cosine() -> None:
    """Multiplied in the waveform, angle by angle, against the shift of its lines: numpy's transform of both."""
    halves = halves_of(recorded())
    angle, turns, part = np.arange(2**14) / 2**14 * 40, 0.5, 0.3  # 40 turns of the reference shaft, 20 of a carrier
    rng = np.random.default_rng(3)
    waves = sum(np.cos(2 * np.pi * (order * angle + rng.uniform())) for order in (6.0, 19.0, 38.0, 41.5))
    two = []
    for wave in (waves, waves * (1 + np.cos(2 * np.pi * (turns * angle - part)))):
        spectrum = np.fft.rfft(wave * np.hanning(wave.size + 1)[:-1])
        spectrum[1::2] *= -1
        two.append(np.stack([spectrum, spectrum]))
    plain, windowed = (replace(halves, values=values, middle=(20.0, 20.0), step=1 / 40) for values in two)
    shifted = plain.passing(turns, part).values * np.sqrt(1.5)
    assert np.abs(shifted - windowed.values).max() < 1e-6 * np.abs(windowed.values).max()


def test_lines_stand_at_exact_orders_with_the_amplitudes_that_were_put_in() -> None:
    """19 teeth: mesh at order 19 with 1 m/s2, its harmonics 1/2 and 1/3, sidebands of 0.05 one turn away (swing 0.1)."""
    found = halves_of(recorded())
    assert [found.height(19.0 * n) for n in (1, 2, 3)] == pytest.approx([1.0, 0.5, 1 / 3], rel=0.16)  # Hann: up to 1.42 dB
    assert found.height(20.0) == pytest.approx(0.05, rel=0.3)
    assert found.turns == pytest.approx(240, rel=0.05)


def test_the_average_turn_from_lines_is_that_of_averaging_turns() -> None:
    """Turn by turn in the waveform against lines of two halves, which a Hann window weighs: as near as its 1.42 dB between bins."""
    job = recorded(ToothDamage("mesh", "input", Knock(8.0), dip=0.4, lag=0.4))
    halves = halves_of(job)
    average = halves.average_turn(1.0)
    plain = synchronous_average(job.recordings[0].samples, halves.turning, sample_rate_hz=RATE_HZ, per_turn=average.size).values
    ours, theirs = (gear_indicators(turn, teeth=19, harmonics=3) for turn in (average, plain))
    assert float(ours.fm4) == pytest.approx(float(theirs.fm4), rel=0.1)
    assert float(ours.energy_ratio) == pytest.approx(float(theirs.energy_ratio), rel=0.1)
    assert np.argmax(np.abs(average)) == np.argmax(np.abs(plain))


def test_a_damaged_tooth_stands_at_one_place_whatever_the_other_gear_does() -> None:
    found = halves_of(recorded(ToothDamage("mesh", "input", Knock(4.0), dip=0.4, lag=0.4)))
    pinion, wheel = gears(PAIR)
    seen = impulse(found, pinion.turns, width=pinion.width, teeth=19, regular=pinion.regular)
    other = impulse(found, wheel.turns, width=wheel.width, teeth=53, others=(pinion.turns,), regular=wheel.regular)
    assert seen is not None and seen.places == 1 and seen.log_chance < np.log(NOISE_LIMIT) and seen.contrast > 4
    assert other is not None and other.log_chance > np.log(NOISE_LIMIT)


def test_two_opposite_teeth_are_seen_at_two_places_and_nobody_claims_one_tooth() -> None:
    weighed = judged(recorded(ToothDamage("mesh", "input", Knock(3.0), dip=0.6, lag=0.6)))
    (tooth,) = [one for one in weighed if one.pattern == TEETH and one.answer is Answer.CLAIMED]
    assert tooth.component == "teeth on input, in mesh"
    job = recorded()
    t = np.arange(job.recordings[0].samples.size) / RATE_HZ
    twice = (np.cos(2 * np.pi * 24.0 * t) ** 200 * np.sin(2 * np.pi * 1900 * t) * 8).astype(np.float32)  # two bursts a turn
    both = replace(job, recordings=(replace(job.recordings[0], samples=job.recordings[0].samples + twice),))
    (pair,) = [one for one in judged(both) if one.pattern == TEETH and "input" in one.component]
    assert pair.answer is not Answer.CLAIMED


def test_a_knock_at_which_the_mesh_does_not_yield_is_no_tooths_for_sure() -> None:
    weighed = judged(recorded(ToothDamage("mesh", "input", Knock(6.0))))
    assert [(one.pattern, one.component) for one in weighed if one.answer is Answer.CLAIMED] == [(KNOCK, "input")]
    (tooth,) = [one for one in weighed if one.pattern == TEETH and "input" in one.component]
    assert tooth.answer is Answer.UNCERTAIN and "none of a tooth" in tooth.why


def test_a_tooth_that_yields_shifts_every_harmonic_towards_fading_and_lagging() -> None:
    """1 - (d + i n l): at d = l 225 degrees for the first harmonic, 243 and 252 for the next; the knock itself anywhere."""
    pinion = gears(PAIR)[0]
    found = {
        dip: mesh_yield(halves_of(recorded(ToothDamage("mesh", "input", Knock(3.0), dip=dip, lag=dip))), pinion, 0.0)
        for dip in (0.0, 0.6)
    }
    assert found[0.6].yields is True and found[0.6].no_tooth < 0.05
    assert found[0.0].yields is not True and found[0.0].no_tooth > 0.2


@pytest.mark.parametrize("harmonics", [2, 3])
def test_a_knock_of_random_phase_passes_for_a_tooth_no_more_often_than_stated(harmonics: int) -> None:
    """Angles drawn even over the circle here."""
    away = np.abs(np.random.default_rng(1).uniform(-180, 180, (20_000, harmonics))).max(axis=1)
    within = 180 * BY_LUCK ** (1 / harmonics)
    assert sum(MeshYield(float(one), harmonics, within).yields is True for one in away) <= scipy.stats.binom.ppf(
        0.999, away.size, BY_LUCK
    )


def test_a_single_knock_from_outside_is_in_one_half_of_the_record_only() -> None:
    """500 m/s2 against a noise of 1: over the whole record's average it would stand out of every turn."""
    assert not [one for one in judged(recorded(knock_at=3.0)) if one.answer in (Answer.CLAIMED, Answer.UNCERTAIN)]


def test_too_few_turns_are_said_with_how_many_are_needed() -> None:
    """Wheel at 24 x 19 / 53 = 8.604 Hz: in 2 s it turns 17 times."""
    weighed = judged(recorded(seconds=2.0))
    (wheel,) = [one for one in weighed if one.component == "teeth on output"]
    assert wheel.answer is Answer.NOT_TESTABLE and "turns of output in the record, 20 are needed" in wheel.why


def test_a_tooth_beyond_the_next_mesh_does_not_hunt_in_this_one() -> None:
    """20/38 and 24/60 teeth: shaft 3 turns 4/19 as often as shaft 1, whose teeth meet those of shaft 2 again after 19 turns."""
    (job,) = rival("eccentric gear or bent shaft", 600_033, 1, 8.0)
    assert [(mesh.pinion_teeth, mesh.wheel_teeth) for mesh in job.drive.meshes] == [(20, 38), (24, 60)]
    claims = [one for one in judged(job) if one.answer is Answer.CLAIMED]
    assert [(one.pattern, one.component) for one in claims] == [(KNOCK, "shaft 3")]


def test_a_worm_is_not_testable_and_does_no_harm() -> None:
    """Four starts on 40 teeth."""
    worm = replace(PAIR, meshes=(Mesh("mesh", "input", "output", 4, 40, kind="worm"),))
    weighed = judged(recorded(drive=worm))
    answers = {one.component: one.answer for one in weighed if one.pattern == TEETH}
    assert answers["teeth on input (mesh)"] is Answer.NOT_TESTABLE
    assert not [one for one in weighed if one.answer is Answer.CLAIMED]


@pytest.mark.recordings
@pytest.mark.parametrize("channel", [12, 13, 14, 15])
def test_no_gear_pattern_is_claimed_on_the_open_gear_pair(channel: int, recordings: Path) -> None:
    """23 teeth at 2000 rpm (its README); the wheel's 46 are what its sidebands say. Nobody has stated its condition."""
    samples = np.ravel(scipy.io.loadmat(recordings / "gear_pair_rig_2000rpm" / f"3027_217_Data_Chan{channel}.mat")["Data1"])
    pair = replace(PAIR, meshes=(Mesh("mesh", "input", "output", 23, 46),), speed_hz=(33.3333, 33.3333), rated_speed_hz=33.3333)
    weighed = judged(Job(pair, (Recording(samples, 25600.0, "m/s2", speed_hz=33.3333, name="record"),)))
    assert not [one for one in weighed if one.answer is Answer.CLAIMED]
    teeth = [one for one in weighed if one.pattern == TEETH]
    assert {one.answer for one in teeth} == {Answer.NOT_SEEN} and len(teeth) == 2


def test_signs_have_the_names_of_their_rows() -> None:
    for pattern in (TEETH, "gear wear", "mesh misalignment", "sun tooth"):
        for weighed in judged(next(shown(pattern, FIRST, 1, 8.0))):
            row = catalogue.pattern(weighed.pattern)
            names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
            assert all(sign.name in names[sign.role] for sign in weighed.signs), weighed.pattern


def test_wear_asks_for_the_load_and_for_enough_records() -> None:
    job = next(shown("gear wear", FIRST, 1, 3.0))
    unstated = [replace(one, taken=Circumstances(state="steady")) for one in job.recordings]
    (worn,) = [
        one for one in judged(replace(job, recordings=tuple(unstated))) if one.component == job.part and one.pattern == "gear wear"
    ]
    assert worn.answer is Answer.NOT_TESTABLE and "nobody has said the load" in worn.why
    (worn,) = [
        one
        for one in judged(replace(job, recordings=job.recordings[2:4]))
        if one.component == job.part and one.pattern == "gear wear"
    ]
    assert worn.answer is Answer.NOT_TESTABLE and "2 records" in worn.why


def test_growth_has_students_chance() -> None:
    """scipy.stats.ttest_ind, equal scatter, one-sided."""
    groups = [np.array([1.0, 1.3, 0.8]), np.array([2.1, 2.6, 1.9])]
    expected = scipy.stats.ttest_ind(groups[1], groups[0], alternative="greater").pvalue
    assert np.exp(_growth_log_chance(groups, float(groups[1].mean() - groups[0].mean()))) == pytest.approx(expected)


def drawn(rng: np.random.Generator, *, alike: bool) -> AngularHalves:
    """Random phases of 400 orders, in both halves the same where the gear is uneven and sound, else noise."""
    bins = 400 * 16 + 32
    values = (rng.standard_normal((2, bins)) + 1j * rng.standard_normal((2, bins))) / np.sqrt(2)
    if alike:
        values[1] = values[0]
    turning = Turning(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    return AngularHalves(values, np.abs(values), (0.0, 0.0), 1 / 16, 32.0, 400.0, turning, "mesh")


@pytest.mark.parametrize("orders", [400, 45])
@pytest.mark.parametrize("alike", [True, False])
def test_random_phases_show_a_place_no_more_often_than_stated(alike: bool, orders: int) -> None:
    rng = np.random.default_rng(7)
    turns = [replace(drawn(rng, alike=alike), top=float(orders)) for _ in range(800)]
    chances = np.array([impulse(turn, 1.0, width=0.05, teeth=20).log_chance for turn in turns])  # type: ignore[union-attr]
    for stated in (0.1, 0.01, 0.001):
        assert np.sum(chances <= np.log(stated)) <= scipy.stats.binom.ppf(0.999, chances.size, stated)


@pytest.mark.parametrize("knock", [(1.5, 1.5), (1.5, 0.4)])
def test_of_many_turns_those_are_as_sure_that_each_alone_is(knock: tuple[float, float]) -> None:
    """Ten turns that differ by a tenth, over as many orders as the fastest shows; one of them knocks, in one half perhaps less."""
    bases = np.linspace(1.0, 1.1, 10)
    for seed in range(20):
        turn = drawn(np.random.default_rng(seed), alike=True)
        turn.values[:, np.rint(np.arange(4, 360) * bases[4] / turn.step).astype(int)] += np.array(knock)[:, None]
        alike = [replace(turn, top=turn.top * base / bases[-1]) for base in bases]
        alone = [impulse(one, base, width=0.05, teeth=20) for one, base in zip(alike, bases, strict=True)]
        chances = np.array([one.log_chance for one in alone if one is not None])
        for limit in (-0.1, -1.0, chances[4] + 1e-6, chances[4] - 1e-6):
            assert as_sure(turn, bases, limit, width=0.05, teeth=20).tolist() == (chances <= limit).tolist()
        assert chances.argmin() == 4 and chances[4] < np.log(NOISE_LIMIT)


@pytest.mark.parametrize("teeth", [8, 13, 24, 60])
@pytest.mark.parametrize("shape", [1, 2, 8])
def test_teeth_that_differ_show_one_above_all_others_no_more_often_than_stated(teeth: int, shape: int) -> None:
    """Energies drawn here, gamma distributed; of fewer than 13 the least even case alone is told."""
    energy = np.random.default_rng(teeth).gamma(shape, 1 / shape, (100_000, teeth))
    strongest = energy.argmax(axis=1)[:, None]
    around = np.take_along_axis(energy, (strongest + np.arange(teeth)) % teeth, axis=1)
    others = np.isin(np.arange(teeth), (0, 1, teeth - 1), invert=True)
    found = np.sum(_outlier_log_chance(around, others) <= np.log(NOISE_LIMIT))
    assert found <= scipy.stats.binom.ppf(0.999, 100_000, NOISE_LIMIT)


def test_wear_of_uneven_teeth_is_seen_though_the_bands_among_its_harmonics_grow_with_it() -> None:
    """A tuning case of the study: the mesh grows to three times, and the bands beside it by 5 dB."""
    (job,) = shown("gear wear", 350_000, 1, 3.0)
    found = [one for one in judged(job) if one.pattern == "gear wear" and one.answer is Answer.CLAIMED]
    assert [one.component for one in found] == [job.part]


def test_the_chance_of_a_product_of_three_is_that_of_draws() -> None:
    """Two million products of three exponential draws, against the law; alone, and as a quarter of the mean."""
    drawn = np.random.default_rng(5).exponential(size=(3, 2_000_000)).prod(axis=0)
    for part in (1.0, 0.25):
        for beyond in (3.0, 10.0):
            share = np.mean(1 - part + part * drawn >= beyond)  # 1,000 draws and more
            assert np.exp(_product_log_chance(np.array([beyond]), np.array([part])))[0] == pytest.approx(share, rel=0.1)


@pytest.mark.parametrize(("pinion", "wheel"), [(15, 33), (18, 42), (25, 45)])
@pytest.mark.parametrize("noise", [0.0, 1.0, 10.0])
def test_meetings_of_teeth_that_differ_show_one_above_all_others_no_more_often_than_stated(
    pinion: int, wheel: int, noise: float
) -> None:
    """Two gears' complex Gaussian differences, and those of what both share, multiplied here, meeting by meeting, over noise."""
    rng = np.random.default_rng(pinion)
    meeting = np.arange(lcm(pinion, wheel))
    energy = np.ones((20_000, meeting.size))
    for different in (pinion, wheel, gcd(pinion, wheel)):
        energy *= rng.exponential(size=(20_000, different))[:, meeting % different]
    energy += rng.gamma(8, noise / 8, energy.shape)
    around = np.take_along_axis(energy, (energy.argmax(axis=1)[:, None] + meeting) % meeting.size, axis=1)
    others = np.isin(meeting, (0, 1, meeting.size - 1), invert=True)
    found = np.sum(_outlier_log_chance(around, others, of_two=True) <= np.log(NOISE_LIMIT))
    assert found <= scipy.stats.binom.ppf(0.999, 20_000, NOISE_LIMIT)


def test_the_power_over_places_has_at_most_the_chance_of_the_gamma_distribution() -> None:
    """scipy.stats.gamma: an upper bound, within a third where power is four times its mean and more."""
    for places in (1, 2, 8, 64):
        for contrast in (4.0, 10.0):
            exact = scipy.stats.gamma.logsf(contrast * places, places)
            assert exact <= float(_power_log_chance(np.array(contrast * places), places)) + 1e-9 <= exact + np.log(4 / 3)


def test_noise_raises_half_of_sixteen_lines_no_more_often_than_stated() -> None:
    rng = np.random.default_rng(8)
    orders = np.arange(20.0, 36.0)
    chances = np.array([raised_log_chance(drawn(rng, alike=False), orders) for _ in range(1000)])
    for stated in (0.1, 0.01):
        # the threshold is the lines' own: each of half as many could have been it, so the chance is an upper bound within that
        assert np.mean(chances <= np.log(stated)) <= 3 * stated


def test_decoys_keep_clear_of_small_whole_ratios() -> None:
    found = decoys(3.0) / 3.0
    assert found.size == 40 and found.min() < 0.55 and found.max() > 1.9
    assert all(abs(found - p / q).min() > 0.002 for p in range(1, 6) for q in range(1, 6))


def test_a_drive_without_gears_has_no_gear_patterns() -> None:
    bare = replace(PAIR, meshes=(), shafts=PAIR.shafts[:1])
    assert examine_gears(bare, [one for job in (recorded(),) if (one := observe(job.drive, job.recordings[0]))]) == ()
