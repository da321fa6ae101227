"""Speed from the comb of lines: standard errors that hold on simulated drives of known speed, refusals, and open recordings.

`drive.simulate` shares no code with `signal`; the recordings have published speeds. The method was fixed on simulations before it
saw the recordings.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import scipy.io
import scipy.stats

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.lines import expected_lines
from gearcase.drive.simulate import BearingFault, Levels, Noise, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.errors import OutOfRange
from gearcase.job.build import load
from gearcase.judge.combs import SLIP_BAND
from gearcase.judge.explained import comb_orders
from gearcase.signal.comb_likelihood import WIDTHS_BINS, Comb, Combs, Spectrum, slipping_bounds, slipping_gain
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.spectrum import floor_bins, hann, line_places, line_strength, transform
from gearcase.signal.speed import NoSpeed, SpeedEstimate, may_fit_better, speed_from_comb
from gearcase.worked import Given, Origin

EXAMPLES = Path(__file__).parents[1] / "examples"
RATE = 12800.0
NOISES: tuple[Noise, ...] = ("white", "sloping", "resonant", "impulsive")
BALL = Bearing("ball", "a", None, Geometry(9, 7.94e-3, 39.04e-3))
RECORDS = 60  # in `make check`; in the long suite
MANY_RECORDS = 400


def train(*teeth: int) -> Drive:
    """Shafts a, b, c, ... joined by meshes of these teeth, pinion and wheel in turn; one bearing on the first."""
    names = "abcd"[: len(teeth) // 2 + 1]
    meshes = tuple(Mesh(f"mesh {n}", names[n], names[n + 1], teeth[2 * n], teeth[2 * n + 1]) for n in range(len(teeth) // 2))
    given = Given("speed", 25.0, "Hz", Origin.MEASURED)
    return Drive("train", tuple(map(Shaft, names)), meshes, (BALL,), "a", (25.0, 25.0), 25.0, given)


def spectra(samples: np.ndarray, rate_hz: float, drive: Drive, *, loose: bool = True) -> list[Spectrum]:
    """As the stages hand them on; half orders only where the range is narrow."""
    whole = transform(samples, sample_rate_hz=rate_hz)
    strength = line_strength(np.abs(hann(whole.values)) ** 2, width=floor_bins(whole.bin_hz))
    envelope = envelope_spectrum(whole)
    orders = comb_orders(expected_lines(drive))
    return [
        Spectrum(strength, whole.bin_hz, (*orders.spectrum, orders.loose) if loose else orders.spectrum),
        Spectrum(envelope.strength, envelope.bin_hz, orders.envelope, orders.slipping, SLIP_BAND),
    ]


def about(samples: np.ndarray, rate_hz: float, drive: Drive, stated_hz: float) -> SpeedEstimate | NoSpeed:
    return speed_from_comb(spectra(samples, rate_hz, drive), lowest_hz=0.975 * stated_hz, highest_hz=1.025 * stated_hz)


def tone(hz: float, amplitude: float, samples: int) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * hz * np.arange(samples) / RATE)


@cache
def trials(records: int) -> list[tuple[float, SpeedEstimate | NoSpeed]]:
    """Random two-stage drives: any of the four noises, shafts and meshes from lost in it to strong, up to five foreign tones up
    to ten times the noise, one in three with a damaged bearing, stated speed up to 2 % off, 2.6 or 5.1 s.
    """
    done = []
    for seed in range(records):
        rng = np.random.default_rng(5000 + seed)
        drive = train(*map(int, (rng.integers(13, 30), rng.integers(31, 99), rng.integers(13, 30), rng.integers(31, 99))))
        speed, samples = float(rng.uniform(15, 40)), 2 ** int(rng.integers(15, 17))
        levels = Levels(10 ** rng.uniform(-2.3, -0.5), 10 ** rng.uniform(-2.3, 0), 1.0, rng.uniform(0.05, 0.5))
        fault = BearingFault("ball", "outer_race", float(rng.uniform(1, 10)), rate_offset=float(rng.uniform(-0.01, 0.01)))
        record = simulate(
            drive,
            speed_hz=speed,
            sample_rate_hz=RATE,
            samples=samples,
            seed=seed,
            noise=NOISES[seed % 4],
            faults=[fault] if seed % 3 == 0 else [],
            levels=levels,
        ).astype(float)
        for _ in range(int(rng.integers(0, 6))):
            record += tone(float(rng.uniform(5, 5000)), float(10 ** rng.uniform(-1, 1)), samples)
        done.append((speed, about(record, RATE, drive, speed * (1 + float(rng.uniform(-0.02, 0.02))))))
    return done


@pytest.mark.parametrize("records", [RECORDS, pytest.param(MANY_RECORDS, marks=pytest.mark.long)])
def test_the_stated_standard_error_is_right(records: int) -> None:
    """Within two of them lie 95.4 % of a normal error: as many as the binomial law of so many records allows, at 95 %."""
    found = [(speed, one) for speed, one in trials(records) if isinstance(one, SpeedEstimate)]
    away = [(one.speed_hz - speed) / one.standard_error_hz for speed, one in found]
    assert len(away) >= 2 * records / 3
    fewest, most = scipy.stats.binom.interval(0.95, len(away), scipy.stats.norm.cdf(2) - scipy.stats.norm.cdf(-2))
    assert fewest <= sum(abs(z) < 2 for z in away) <= most


@pytest.mark.parametrize("records", [RECORDS, pytest.param(MANY_RECORDS, marks=pytest.mark.long)])
def test_a_record_that_shows_too_little_is_refused_with_the_cure_and_none_is_far_off(records: int) -> None:
    refused = [found for _, found in trials(records) if isinstance(found, NoSpeed)]
    assert refused and all("record again" in found.says or "state the speed" in found.says for found in refused)
    far = [1 for speed, found in trials(records) if isinstance(found, SpeedEstimate) and abs(found.speed_hz / speed - 1) > 2e-3]
    assert len(far) <= scipy.stats.binom.ppf(0.975, records, 0.01), "odds of 20 to 1 and better"


@pytest.mark.parametrize("records", [40, pytest.param(1000, marks=pytest.mark.long)])
def test_noise_gives_no_speed(records: int) -> None:
    """The stated chance is 0.001 at most."""
    drive, found = train(17, 71), 0
    for seed in range(records):
        noise = np.random.default_rng(seed).standard_normal(2**14)
        found += isinstance(about(noise, RATE, drive, 25.0), SpeedEstimate)
    assert found <= scipy.stats.binom.ppf(0.999, records, 1e-3)


def test_mains_hum_at_standstill_is_no_speed() -> None:
    """Hum of 50 Hz with harmonics fits a comb of 1500 rpm; a drive that turns at 1497 rpm beside the hum keeps its speed."""
    drive, samples = train(17, 71), 2**16
    hum = np.random.default_rng(1).standard_normal(samples) + sum(tone(50 * n, 0.5 / n, samples) for n in range(1, 8))
    still = about(hum, RATE, drive, 25.0)
    assert isinstance(still, NoSpeed) and "multiples of 50 Hz" in still.says and "record again while it runs" in still.says
    turning = simulate(drive, speed_hz=24.95, sample_rate_hz=RATE, samples=samples, seed=1, noise="white")
    found = about(hum + turning, RATE, drive, 25.0)
    assert isinstance(found, SpeedEstimate) and found.speed_hz == pytest.approx(24.95, abs=5 * found.standard_error_hz)


def test_two_drives_in_one_recording_are_two_speeds() -> None:
    """Two equal shafts, one at 24.6 and one at 25.3 Hz: neither is the drive's more than the other."""
    samples = 2**16
    record = np.random.default_rng(2).standard_normal(samples)
    for hz in (24.6, 25.3):
        record += sum(tone(n * hz, 0.3, samples) for n in (1, 2, 3, 4))
    found = about(record, RATE, train(), 25.0)
    assert isinstance(found, NoSpeed) and sorted(found.rivals_hz) == pytest.approx([24.6, 25.3], abs=0.01)
    assert "1518 rpm" in found.says and "1475.9 rpm" in found.says and "state the speed" in found.says


def test_one_strong_stranger_decides_nothing() -> None:
    """A tone a thousand times the shaft's own lines stands where a comb 1 % off would have its fifth line."""
    samples = 2**16
    record = np.random.default_rng(3).standard_normal(samples) + tone(5 * 24.8 * 1.01, 100.0, samples)
    record += sum(tone(24.8 * n, 0.1, samples) for n in (1, 2, 3, 4))
    found = about(record, RATE, train(), 25.1)
    assert isinstance(found, SpeedEstimate) and found.speed_hz == pytest.approx(24.8, abs=5 * found.standard_error_hz)


@pytest.mark.parametrize(("pinion", "wheel", "off"), [(28, 57, 0.01), (26, 102, -0.01), (27, 53, -0.01)])
def test_half_orders_of_a_loose_shaft_are_not_taken_for_the_turns_of_another(pinion: int, wheel: int, off: float) -> None:
    """28/57 of a speed 1/56 too high, 26/102 of one 1/52 too low, 27/53 of one 1/54 too low are exactly its half and its quarter:
    there every line of a loose shaft at 0.5, 1, 1.5 ... turns stands on a harmonic of the other shaft.
    """
    drive, speed = train(pinion, wheel), 24.6
    time = np.arange(2**17) / RATE
    record = simulate(drive, speed_hz=speed, sample_rate_hz=RATE, samples=time.size, seed=pinion, noise="white").astype(float)
    for half in range(1, 21):  # 0.5x to 10x, each ten times what a sound shaft shows
        record += 3.0 * 0.9**half * (0.35 if half % 2 else 1.0) * np.cos(2 * np.pi * (half / 2 * speed * time + 0.37 * half**2))
    found = about(record, RATE, drive, speed * (1 + off))
    assert isinstance(found, SpeedEstimate) and found.speed_hz == pytest.approx(speed, rel=5e-4)


def test_bearing_lines_alone_are_no_speed() -> None:
    record = simulate(
        train(),
        speed_hz=25.0,
        sample_rate_hz=RATE,
        samples=2**16,
        seed=4,
        noise="white",
        levels=Levels(0.0, 0.0, 1.0, 0.0),
        faults=[BearingFault("ball", "outer_race", 5.0, jitter=0.002)],
    )
    assert isinstance(about(record, RATE, train(), 25.0), NoSpeed)


def test_over_a_wide_range_a_comb_is_not_taken_for_its_half_or_double() -> None:
    """Either the right speed or several of them, with the right one among them."""
    right = 0
    for seed in range(20):
        rng = np.random.default_rng(900 + seed)
        drive, speed = train(int(rng.integers(13, 30)), int(rng.integers(31, 99))), float(rng.uniform(15, 40))
        record = simulate(drive, speed_hz=speed, sample_rate_hz=RATE, samples=2**16, seed=seed, noise="resonant")
        found = speed_from_comb(spectra(record, RATE, drive, loose=False), lowest_hz=8.0, highest_hz=50.0)
        rivals = found.rivals_hz if isinstance(found, NoSpeed) else (found.speed_hz,)
        assert any(hz == pytest.approx(speed, rel=1e-3) for hz in rivals)
        right += isinstance(found, SpeedEstimate)
    assert right >= 10


def test_a_spectrum_in_which_no_line_can_be_told_apart_takes_nothing_from_the_other() -> None:
    strength = np.random.default_rng(4).exponential(size=2000)
    strength[[240, 480, 720, 960]] = 40.0
    shown, short = (Spectrum(values, 0.1, [(1, 2, 3, 4)]) for values in (strength, strength[:50]))
    alone, both = (speed_from_comb(some, lowest_hz=23.0, highest_hz=25.0) for some in ([shown], [shown, short]))
    assert isinstance(alone, SpeedEstimate) and isinstance(both, SpeedEstimate)
    assert both.speed_hz == alone.speed_hz and both.found == ((1, 2, 3, 4), ())


def test_a_range_upside_down_is_refused() -> None:
    with pytest.raises(OutOfRange, match="0 < lowest < highest"):
        speed_from_comb([Spectrum(np.ones(100), 1.0, [(1.0,)])], lowest_hz=2.0, highest_hz=1.0)


GEAR_PAIR = [f"gear_pair_rig_2000rpm/3027_217_Data_Chan{n}" for n in (12, 13, 14, 15)]
CWRU = [
    "97_normal_0hp_firsthalf",
    "105_12k_DE_IR007_0hp",
    "118_12k_DE_B007_0hp",
    "130_12k_DE_OR007at6_0hp",
    "209_12k_DE_IR021_0hp",
    "278_12k_FE_IR007_0hp",
]
MFPT = [
    "OuterRaceFault_vload_1",
    "OuterRaceFault_vload_3",
    "OuterRaceFault_vload_7",
    "InnerRaceFault_vload_1",
    "InnerRaceFault_vload_4",
]
WITHIN_THE_FILES_OWN_SPEED = 6  # of twelve, as they came; a regression, not a goal: say so in docs/speed.md


def measured(folder: Path, name: str, channel: str) -> tuple[SpeedEstimate | NoSpeed, float]:
    """Speed of an open recording within 2.5 % of what is stated of its rig, and the file's own speed where it has one. [Hz]"""
    file = scipy.io.loadmat(folder / f"{name}.mat", simplify_cells=True)
    if name.startswith("gear_pair"):
        return about(np.ravel(file["Data1"]).astype(float), 25600.0, train(23, 46), 2000 / 60), float("nan")
    if name.startswith("mfpt"):
        record = file["bearing"]
        return about(record["gs"], float(record["sr"]), load(EXAMPLES / "rig-mfpt").drive, 25.0), float("nan")
    samples = next(value for key, value in file.items() if key.endswith(channel))
    rpm = next((float(value) for key, value in file.items() if key.endswith("RPM")), float("nan"))
    comb = spectra(np.ravel(samples), 12000.0, load(EXAMPLES / "rig-cwru").drive)
    return speed_from_comb(comb, lowest_hz=1720 / 60 * 0.975, highest_hz=1800 / 60 * 1.025), rpm / 60


@pytest.mark.recordings
@pytest.mark.parametrize("name", GEAR_PAIR)
def test_speed_of_the_open_gear_pair(name: str, recordings: Path) -> None:
    """Stated 2000 rpm; pinion found at 33.331 Hz, to 0.02 Hz (README and checks.csv of the set, measured there by other means)."""
    found, _ = measured(recordings, name, "")
    assert isinstance(found, SpeedEstimate)
    assert found.speed_hz == pytest.approx(33.331, abs=0.02 + 2 * found.standard_error_hz)
    assert found.speed_hz == pytest.approx(2000 / 60, abs=0.5 / 60 + 2 * found.standard_error_hz), "to the last digit of 2000 rpm"


@pytest.mark.recordings
def test_speed_of_the_open_motor_rig(recordings: Path) -> None:
    """The files hold whole rpm; both accelerometers of a record turn at one speed, whatever the file says."""
    within = 0
    for name in CWRU:
        ends = [measured(recordings, f"cwru_bearing/{name}", end) for end in ("DE_time", "FE_time")]
        errors = []
        for found, stated_hz in ends:
            assert isinstance(found, SpeedEstimate)
            within += abs(found.speed_hz - stated_hz) <= 0.5 / 60 + 2 * found.standard_error_hz
            assert found.speed_hz == pytest.approx(stated_hz, abs=1.5 / 60), "a rpm beyond the last digit"
            errors.append((found.speed_hz, found.standard_error_hz))
        (drive_end, its_error), (fan_end, other) = errors
        assert abs(drive_end - fan_end) <= 3 * np.hypot(its_error, other), name
    assert within == WITHIN_THE_FILES_OWN_SPEED, f"{within} of {2 * len(CWRU)}: say so in docs/speed.md"


@pytest.mark.recordings
@pytest.mark.parametrize("name", MFPT)
def test_speed_of_the_open_bearing_rig_lies_where_its_shaft_line_was_seen(name: str, recordings: Path) -> None:
    """Nominal 25 Hz; the line at shaft speed stands at 24.67 to 25.0 Hz (README of the set): no closer truth is known."""
    found, _ = measured(recordings, f"mfpt_bearing/{name}", "")
    assert isinstance(found, SpeedEstimate)
    low, high = found.speed_hz - 2 * found.standard_error_hz, found.speed_hz + 2 * found.standard_error_hz
    assert 24.67 <= low < high <= 25.0


@pytest.mark.parametrize("width", [0.5, 0.03])
def test_the_likelihood_of_a_speed_is_the_plain_product_over_its_lines(width: float) -> None:
    """As the theory of operation has it, written line by line: each with its nearest peak, within four errors of it."""
    strength = np.random.default_rng(3).exponential(size=4000)
    strength[[400, 401, 800, 1199, 1601, 2003]] = [60.0, 40.0, 30.0, 25.0, 90.0, 18.0]
    families = [(1.0, 2.0, 3.0), (4.0, 4.5, 5.0, 5.01)]  # the last too near to be told apart
    comb, speeds = Combs([Comb(Spectrum(strength, 0.1, families), 38.0, 42.0)]), np.linspace(38.0, 42.0, 161)
    at = 1 + np.flatnonzero((strength[1:-1] >= 6) & (strength[1:-1] >= strength[:-2]) & (strength[1:-1] > strength[2:]))
    at = at[(at >= 377) & (at < 2103)]  # from the comb's lowest place to its highest, three bins more
    place, error = line_places(strength, at)
    rho = np.count_nonzero(strength[at] >= 14) / (2103 - 377) + np.exp(-strength[at]) * strength[at] * np.log(1e5 / 6)
    for speed, found in zip(speeds, comb.log_gain(speeds, width), strict=True):
        expected = 0.0
        for family in ((1.0, 2.0, 3.0), (4.0, 4.5, 5.0)):
            likelihoods = []
            for share in (0.01, 0.1, 0.6):
                product = 1.0
                for line in speed / 0.1 * np.array(family):
                    near = np.argmin(np.abs(at - np.rint(line)))
                    scatter = np.hypot(error[near], width)
                    there = abs(line - place[near]) < 4 * scatter
                    density = scipy.stats.norm.pdf(line, place[near], scatter) / rho[near] if there else 0.0
                    product *= 1 - share + share * density
                likelihoods.append(product)
            expected += np.log(np.mean(likelihoods))
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def crowded(seed: int) -> Combs:
    """Two spectra of noise with peaks of all strengths, some of them in their combs."""
    rng = np.random.default_rng(seed)
    both = []
    for families in ([(17.0, 34.0, 51.0), (1.0, 2.0, 3.0), (16.0, 18.0, 33.0, 35.0)], [(1.0, 2.0, 3.0), (4.0, 5.0)]):
        strength = rng.exponential(size=24000)
        at = rng.integers(10, 23990, 300)
        at[:8] = np.rint(10 * 40.3 * rng.choice(families[0], 8) + rng.normal(0, 1, 8))
        strength[at] = 10 ** rng.uniform(0.5, 4, at.size)
        both.append(Comb(Spectrum(strength, 0.1, families), 38.0, 42.0))
    return Combs(both)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("steps", [1, 4])
def test_no_speed_of_a_stretch_exceeds_the_most_said_of_it(seed: int, steps: int) -> None:
    """Asked of the likelihood itself, by every width, at random speeds of each stretch; in most stretches it comes near."""
    combs, rng = crowded(seed), np.random.default_rng(seed)
    aside = steps * combs.spacing_hz / 2
    middles = np.arange(38.0, 42.0, 2 * aside)
    most = combs.most_gain(middles, aside)
    speeds = middles[:, None] + aside * np.sort(rng.uniform(-1, 1, (middles.size, 20)), axis=1)
    found = np.max([combs.log_gain(speeds.ravel(), width).reshape(speeds.shape).max(axis=1) for width in WIDTHS_BINS], axis=0)
    assert np.all(found <= most + 1e-9)
    assert np.median(most - found) < 1.0


def test_a_comb_that_stands_out_by_fine_speeds_alone_is_not_taken_for_noise() -> None:
    """Few lines, whose peaks stand exactly in place: coarse speeds, whose lines may scatter by half a bin, do not tell them from
    noise. The mean over the range is written down here without any stop on the way.
    """
    stopped = 0
    for seed in range(40):
        strength = np.random.default_rng(seed).exponential(size=9000)
        strength[[2410, 4820, 7230]] = 9.0 + seed / 4
        comb = Spectrum(strength, 0.05, [(5.0, 10.0, 15.0)])
        combs = Combs([Comb(comb, 23.0, 25.0)])
        found = speed_from_comb([comb], lowest_hz=23.0, highest_hz=25.0)
        fine = np.arange(23.0, 25.0, combs.spacing_hz / 80)
        mean = np.mean([np.exp(combs.log_gain(fine, width)).mean() for width in WIDTHS_BINS])
        coarse = np.exp(combs.log_gain(fine[::80], WIDTHS_BINS[0])).mean() / len(WIDTHS_BINS)
        noise = isinstance(found, NoSpeed) and found.why == "noise"
        assert noise == (mean < 1000) or mean == pytest.approx(1000, rel=0.1)
        stopped += bool(coarse < 1000 <= mean)
    assert stopped, "none of them asks for fine speeds"


def test_what_slips_is_the_strongest_of_its_band_and_keeps_within_its_bounds() -> None:
    strength = np.random.default_rng(1).exponential(size=3000) * 3
    spectrum = Spectrum(strength, 0.1, [], (0.4, 3.585, 5.4, 11.9), 0.015)  # the last is above the spectrum at some speeds
    speeds = np.random.default_rng(2).uniform(24.0, 26.0, 300)
    expected = np.zeros(speeds.size)
    for n, speed in enumerate(speeds):
        for order in spectrum.slipping:
            half = max(round(0.015 * order * 25.03 / 0.1), 1)
            middle, width = round(speed * order / 0.1), 2 * half + 1
            if width < middle < strength.size - width:
                luck = np.clip(strength[middle - half : middle + half + 1].max() - np.log(width), 0, 14)
                expected[n] += np.log(1 - 0.1 + 0.1 * np.exp(luck / 2) / 2)
    found = slipping_gain([spectrum], speeds, about_hz=25.03)
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    least, most = slipping_bounds([spectrum], speeds, about_hz=25.03)
    assert least <= found.min() < found.max() <= most


def test_a_speed_that_fits_better_elsewhere_is_never_missed() -> None:
    """Where the proof says that none does, the search over the wide range finds none outside; for most drives it does say so."""
    proved, elsewhere = 0, 0
    for seed in range(24):
        rng = np.random.default_rng(700 + seed)
        drive, speed = train(int(rng.integers(13, 30)), int(rng.integers(31, 99))), float(rng.uniform(15, 40))
        record = simulate(drive, speed_hz=speed, sample_rate_hz=RATE, samples=2**15, seed=seed, noise=NOISES[seed % 4]).astype(
            float
        )
        if seed % 2 == 0:  # another drive 5 % beside, up to thirty times as loud
            beside = {"speed_hz": 1.05 * speed, "sample_rate_hz": RATE, "samples": 2**15, "seed": seed + 1, "noise": "white"}
            record += 10 ** rng.uniform(0, 1.5) * simulate(drive, **beside)  # type: ignore[arg-type]
        heard = spectra(record, RATE, drive)
        near = speed_from_comb(heard, lowest_hz=0.975 * speed, highest_hz=1.025 * speed)
        if isinstance(near, NoSpeed):
            continue
        wide = {"lowest_hz": 0.9 * speed, "highest_hz": 1.1 * speed}
        far = speed_from_comb(heard, **wide)
        outside = isinstance(far, SpeedEstimate) and abs(far.speed_hz / speed - 1) > 0.025
        may = may_fit_better(heard, near.speed_hz, beside_hz=(0.975 * speed, 1.025 * speed), **wide)
        assert may or not outside
        proved, elsewhere = proved + (not may), elsewhere + outside
    assert proved >= 8 and elsewhere >= 2


@pytest.mark.parametrize("seed", [1, 5])
def test_lines_that_slip_alone_may_make_another_speed_the_better_one(seed: int) -> None:
    """Eight lines at 24 Hz; four at 26 Hz, and twelve bearing lines, each worth ln(1 - 0.1 + 0.1 e^7 / 2) = 4.0 there."""
    rng, orders = np.random.default_rng(seed), tuple(range(1, 9))
    strength, envelope = rng.exponential(size=4000), rng.exponential(size=8000)
    strength[[240 * order for order in orders] + [260 * order for order in orders[:4]]] = 200.0
    slipping = tuple(3.58 + 1.83 * n for n in range(12))
    envelope[[round(260 * order) for order in slipping]] = 60.0
    heard = [Spectrum(strength, 0.1, [orders]), Spectrum(envelope, 0.1, [], slipping, 0.015)]
    wide = {"lowest_hz": 21.6, "highest_hz": 26.4}
    far = speed_from_comb(heard, **wide)
    assert isinstance(far, SpeedEstimate) and far.speed_hz == pytest.approx(26.0, rel=1e-4)
    assert may_fit_better(heard, 24.0, beside_hz=(23.4, 24.6), **wide)
