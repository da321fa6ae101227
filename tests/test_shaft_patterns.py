"""Unbalance, misalignment, bent shaft, looseness and resonance: each found, its nearest rival not called it, nor a stranger.

The simulator (`drive/shaft_faults.py`) shares no code with what judges.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.lines import expected_lines
from gearcase.drive.shaft_faults import (
    BentShaft,
    Looseness,
    Misalignment,
    Neighbour,
    ShaftFault,
    Situation,
    Unbalance,
)
from gearcase.drive.train import Ratings
from gearcase.judge.patterns import resonance, shafts
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Role, Weighed
from gearcase.judge.patterns.tones import Tones, relative_phase
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import transform

MM_S = 1e-3
UNBALANCE = Unbalance("input", 6 * MM_S)
BENT = BentShaft("input", ("input coupling end", "input mesh end"), 6 * MM_S)
MISALIGNED = Misalignment(("motor", "input"), ("motor drive end", "input coupling end"), 6 * MM_S)
LOOSE = Looseness("input", 4 * MM_S)
RESONANT = Unbalance("input", 1 * MM_S, natural_hz=24.2)
SPEEDS = (18.0, 20.0, 22.0, 24.0, 26.0, 28.0)


def claimed(found: Sequence[Weighed]) -> set[tuple[str, str]]:
    return {(one.pattern, one.component) for one in found if one.answer is Answer.CLAIMED}


def of(found: Sequence[Weighed], name: str, shaft: str = "input") -> Weighed:
    return next(one for one in found if (one.pattern, one.component) == (name, shaft))


def seen(weighed: Weighed, sign: str) -> bool | None:
    return next(one.seen for one in weighed.signs if one.name == sign)


def sweep(*faults: ShaftFault, seed: int, speeds: Sequence[float] = SPEEDS) -> tuple[Observed, ...]:
    files = [observe(Situation(hz), seed=100 * seed + n, faults=faults, channels=CHANNELS[3:6]) for n, hz in enumerate(speeds)]
    return tuple(one for records in files for one in records)


@pytest.mark.parametrize(
    ("fault", "name"),
    [(UNBALANCE, "unbalance"), (BENT, "bent shaft"), (MISALIGNED, "misalignment"), (LOOSE, "looseness or soft foot")],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_each_fault_is_called_by_its_name_and_by_no_other(fault: ShaftFault, name: str) -> None:
    assert claimed(shafts.examine(DRIVE, observe(seed=1, faults=[fault]))) == {(name, "input")}


def test_a_sound_drive_has_none_of_them() -> None:
    found = (*shafts.examine(DRIVE, observe(seed=2)), *resonance.examine(DRIVE, sweep(seed=2)))
    assert claimed(found) == set()
    assert of(found, "unbalance").answer is Answer.NOT_SEEN


@pytest.mark.parametrize(("hz", "multiples"), [(24.3, 1), (24.68, 1), (24.81, 1), (25.2, 3), (49.9, 1), (12.5, 10)])
def test_a_neighbour_that_shakes_the_floor_is_none_of_them(hz: float, multiples: int) -> None:
    """From one bin of a record of 16 s off this shaft's own line on."""
    assert claimed(shafts.examine(DRIVE, observe(seed=3, faults=[Neighbour(hz, 8 * MM_S, multiples)]))) == set()


def test_a_neighbour_at_this_very_speed_is_known_by_the_record_with_this_drive_standing() -> None:
    neighbour = Neighbour(SPEED_HZ, 8 * MM_S)
    records = (*observe(seed=4, faults=[neighbour]), *observe(Situation(SPEED_HZ, "standing"), seed=5, faults=[neighbour]))
    found = of(shafts.examine(DRIVE, records), "unbalance")
    assert (found.answer, seen(found, "shows with this drive standing")) == (Answer.UNCERTAIN, True)
    elsewhere = [
        one for one in records if one.recording.taken.state != "standing" or one.recording.point != found.seen_in[0].recording.point
    ]
    assert claimed(shafts.examine(DRIVE, elsewhere)) == set(), "nor where another point was recorded standing"
    ours = (*observe(seed=4, faults=[UNBALANCE]), *observe(Situation(SPEED_HZ, "standing"), seed=5, faults=[UNBALANCE]))
    assert seen(of(shafts.examine(DRIVE, ours), "unbalance"), "shows with this drive standing") is False


def test_two_machines_at_nearly_one_speed_beat_and_the_phase_is_not_steady() -> None:
    """A quarter of a hertz apart: four beats in the record, outside the window of this shaft's line by half."""
    found = shafts.examine(DRIVE, observe(seed=6, faults=[Unbalance("input", 4 * MM_S), Neighbour(24.5, 8 * MM_S)]))
    assert of(found, "unbalance").answer is not Answer.CLAIMED and seen(of(found, "unbalance"), "steady phase") is False


def test_without_the_axial_direction_unbalance_stays_uncertain_and_says_what_is_missing() -> None:
    radial = [channel for channel in CHANNELS if channel.direction != "axial"]
    found = of(shafts.examine(DRIVE, observe(seed=1, faults=[UNBALANCE], channels=radial)), "unbalance")
    assert found.answer is Answer.UNCERTAIN and found.attribution_false_alarm == 0.5
    assert any(sign.name == "large axial" and sign.seen is None and "needs an axial channel" in sign.says for sign in found.signs)


def test_with_one_channel_nothing_is_claimed_and_each_pattern_says_what_it_needs() -> None:
    found = shafts.examine(DRIVE, observe(seed=1, faults=[UNBALANCE], channels=CHANNELS[3:4]))
    assert claimed(found) == set()
    assert of(found, "unbalance").answer is Answer.NOT_TESTABLE and "sampled together" in of(found, "unbalance").why


def test_a_bent_shaft_stays_when_uncoupled_and_misalignment_goes() -> None:
    def both(fault: ShaftFault) -> tuple[Weighed, ...]:
        one_sided = [channel for channel in CHANNELS if channel.point == "input coupling end"]
        apart = observe(Situation(SPEED_HZ, "uncoupled"), seed=7, faults=[fault], channels=one_sided)
        return shafts.examine(DRIVE, (*apart, *observe(seed=8, faults=[fault], channels=one_sided)))

    assert claimed(both(BENT)) == {("bent shaft", "input")}
    assert claimed(both(MISALIGNED)) == {("misalignment", "input")}


def test_unbalance_at_another_speed_and_load() -> None:
    """Displacement goes with the square of speed; what follows the load is no unbalance."""
    slower = observe(Situation(20.0), seed=9, faults=[UNBALANCE])
    found = of(shafts.examine(DRIVE, (*slower, *observe(seed=1, faults=[UNBALANCE]))), "unbalance")
    assert found.answer is Answer.CLAIMED and seen(found, "rises with the square of speed") is True
    unloaded = observe(Situation(SPEED_HZ, load=0.2), seed=9, faults=[Unbalance("input", 2 * MM_S)])
    found = of(shafts.examine(DRIVE, (*unloaded, *observe(seed=1, faults=[UNBALANCE]))), "unbalance")
    assert found.answer is Answer.UNCERTAIN and found.why.startswith("follows load")


def test_a_resonance_is_seen_from_several_speeds_and_is_no_unbalance() -> None:
    records = sweep(RESONANT, seed=1)
    found = resonance.examine(DRIVE, records)
    assert claimed(found) == {("resonance", "input")}
    last = (*records, *observe(Situation(26.0), seed=300, faults=[RESONANT]))
    assert claimed(shafts.examine(DRIVE, last)) == set(), "nor at a speed beside it, once the others are known"
    at_peak = [one for one in records if one.speed_hz == 24.0]
    alone = of(shafts.examine(DRIVE, at_peak), "unbalance")
    assert alone.answer is Answer.UNCERTAIN and alone.why.startswith("one radial direction much the higher")


def test_what_is_high_at_all_speeds_or_stands_still_is_no_resonance() -> None:
    assert claimed(resonance.examine(DRIVE, sweep(UNBALANCE, seed=2))) == set()
    assert claimed(resonance.examine(DRIVE, sweep(Neighbour(24.0, 8 * MM_S), seed=3))) == set()
    last = of(resonance.examine(DRIVE, sweep(Unbalance("input", 1 * MM_S, natural_hz=28.0), seed=4)), "resonance")
    assert last.answer is Answer.NOT_TESTABLE and "needs one beyond it" in last.why


def test_a_motor_that_runs_idle_does_not_hide_the_unbalance_behind_its_pole_pass() -> None:
    """At 24.98 Hz of 25 Hz it stands 0.08 Hz either side, a bin and a half."""
    drive = replace(DRIVE, speed_hz=(24.98, 24.98), rated_speed_hz=24.98)
    found = shafts.examine(drive, observe(Situation(24.98), seed=1, drive=drive, faults=[UNBALANCE]))
    assert claimed(found) == {("unbalance", "input")}


def test_a_shaft_whose_ratio_is_known_to_a_band_only_is_not_tested() -> None:
    """A line one per cent off would be missed, and missing it is not "not seen"."""
    drive = replace(DRIVE, ratio_links=(replace(DRIVE.ratio_links[0], spread=0.01),))
    found = of(shafts.examine(drive, observe(seed=1, drive=drive, faults=[UNBALANCE])), "unbalance", "motor")
    assert found.answer is Answer.NOT_TESTABLE and "known to ±1" in found.why


def test_growth_stands_in_where_no_zone_can_be_told() -> None:
    plain = replace(DRIVE, ratings=Ratings())
    now = observe(seed=1, faults=[UNBALANCE], drive=plain)
    alone = of(shafts.examine(plain, now), "unbalance")
    assert alone.answer is Answer.NOT_TESTABLE and "rated power and support" in alone.why
    grown = of(shafts.examine(plain, (*observe(seed=2, drive=plain, faults=[Unbalance("input", 2 * MM_S)]), *now)), "unbalance")
    assert grown.answer is Answer.CLAIMED
    assert grown.growth_db == pytest.approx(20 * np.log10(6 / 2), abs=2.5)  # the sound drive's own line adds at random phase


def test_signs_bear_the_names_of_their_rows_and_answer_yes_no_or_cannot() -> None:
    found = (*shafts.examine(DRIVE, observe(seed=1)), *resonance.examine(DRIVE, sweep(seed=1)))
    for weighed in found:
        row = pattern(weighed.pattern)
        names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
        assert row.offered
        assert all(sign.name in names[sign.role] for sign in weighed.signs)
        assert all(sign.seen is None or type(sign.seen) is bool for sign in weighed.signs)


def _tones(samples: np.ndarray, rate_hz: float = 1000.0) -> Tones:
    spectrum = transform(samples, sample_rate_hz=rate_hz)
    recording = Recording(samples, rate_hz, "m/s2")
    return Tones(Observed(recording, spectrum, envelope_spectrum(spectrum), 25.0, 0.0, quality=()), expected_lines(DRIVE))


def test_a_vibration_calibrator_reads_10_mm_s() -> None:
    """159.155 Hz, 10 m/s2 RMS: at omega = 1000 rad/s that is 10 mm/s RMS, wherever it stands between bins."""
    noise = np.random.default_rng(1).standard_normal(1 << 15) * 1e-3
    wave = 10 * np.sqrt(2) * np.sin(1000 * np.arange(1 << 15) / 8000) + noise
    tone = _tones(wave, 8000.0).at(159.155, 1.0)
    assert tone is not None and tone.velocity == pytest.approx(0.01, rel=0.01)
    assert tone.hz == pytest.approx(1000 / (2 * np.pi), abs=0.02 * 8000 / (1 << 15))


@pytest.mark.parametrize("apart", [3.2, 3.5, 3.9])
def test_a_line_beside_a_taller_one_is_read_without_its_skirt(apart: float) -> None:
    """1 mm/s at 25 Hz, so many bins beside 10 mm/s. What of the taller one is left there is the Hann window's own transform,
    sinc(d) / (1 - d^2) of its height (Harris 1978).
    """
    time = np.arange(16000) / 1000
    lines = ((1e-3, 25.0), (10e-3, 25.0 + apart / 16))
    wave = sum(np.sqrt(2) * velocity * 2 * np.pi * hz * np.cos(2 * np.pi * hz * time) for velocity, hz in lines)
    tone = _tones(wave + 1e-3 * np.random.default_rng(1).standard_normal(time.size)).at(25.0, 0.02)
    left = 10 * abs(np.sinc(apart) / (1 - apart**2))
    assert tone is not None and 1e3 * tone.velocity == pytest.approx(1.0, abs=left + 0.02)


@pytest.mark.parametrize("beside_hz", [-0.2, -0.05, -0.02, 0.02, 0.05, 0.15])
def test_a_neighbour_at_nearly_the_speed_of_this_drive_is_neither_unbalance_nor_resonance(beside_hz: float) -> None:
    """It stands 0.3 to 3.2 bins beside the shaft's line: another machine's, once the speed is known from the meshes."""
    near = Neighbour(SPEED_HZ + beside_hz, 8 * MM_S)
    known = [replace(one, speed_spread=1e-6) for one in observe(seed=3, faults=[near])]
    assert claimed(shafts.examine(DRIVE, known)) == set()
    there = of(shafts.examine(DRIVE, known), "unbalance")
    assert there.why.startswith("1x radial") or there.why.startswith("zone C"), there.why


def test_a_claim_says_how_likely_a_neighbour_stands_as_near_and_what_would_tell() -> None:
    """Motors on one mains are within 2 % (common practice, no source); 16 s and a speed known to 2e-4 place a line to 0.014 Hz."""
    found = of(shafts.examine(DRIVE, observe(seed=1, faults=[UNBALANCE])), "unbalance")
    (stands,) = [sign.says for sign in found.signs if sign.name == "shows with this drive standing"]
    assert stands.startswith("needs a record with this drive standing") and int(stands.rsplit(" ", 1)[1]) in range(30, 60)
    loose = [replace(one, speed_spread=0.02) for one in observe(seed=1, faults=[UNBALANCE])]
    stated = of(shafts.examine(DRIVE, loose), "unbalance")
    assert stated.answer is not Answer.CLAIMED, "at a speed that is only stated any neighbour stands as near"


def test_a_phase_between_channels_is_read_and_noise_has_none() -> None:
    """30 degrees by construction. In noise the chance given must come true: at most one in fifty below 0.02 of 1,000 pairs, with
    room for what the binomial distribution exceeds once in a thousand times.
    """
    rng = np.random.default_rng(2)
    time = np.arange(16000) / 1000
    lead, lag = (np.cos(2 * np.pi * 25.03 * time + phase) + rng.standard_normal(time.size) for phase in (np.radians(30), 0.0))
    found = relative_phase(_tones(lead), _tones(lag), 25.03)
    assert found is not None and found.steady and found.degrees == pytest.approx(30, abs=3)
    noise = [_tones(rng.standard_normal(4000)) for _ in range(40)]
    pairs = [relative_phase(noise[a], noise[a + 1], hz) for a in range(0, 40, 2) for hz in np.arange(20, 420, 8)]
    chances = np.array([pair.chance for pair in pairs if pair])
    assert chances.size == 1000
    assert np.sum(chances <= 0.02) <= 34  # scipy.stats.binom.ppf(0.999, 1000, 0.02)
    assert np.sum(chances <= 0.5) <= 549
