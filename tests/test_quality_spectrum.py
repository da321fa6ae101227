"""Rules of quality that look at a record's spectrum and its speed: each fault as theory makes it, and what is like it and sound.

Sound records are the simulator's, which shares no code with `signal`, in all four classes of noise; and records made here.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import scipy.integrate
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from studies.cases import NOISES, faulty, foreign, healthy

from gearcase.drive.simulate import Levels, simulate
from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.job.build import load
from gearcase.signal.quality import judge_quality
from gearcase.signal.quality.speed_drift import speed_ratios
from gearcase.signal.recording import Circumstances, Recording
from gearcase.stages import diagnose
from test_signal_fuzz import records

RATE, N = 12800.0, 2**18
TIME = np.arange(N) / RATE
SPECTRAL = {"quality.ski_slope", "quality.aliasing", "quality.mains", "quality.carrier", "quality.drift"}


def noise(seed: int, samples: int = N) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(samples)


def tones(hz: Sequence[float], amplitude: float = 1.0) -> np.ndarray:
    return np.sum([amplitude * np.cos(2 * np.pi * f * TIME + f) for f in hz], axis=0)


def found(x: np.ndarray, unit: str = "m/s2", rate: float = RATE) -> dict[str, Finding]:
    return {finding.rule: finding for finding in judge_quality(x, sample_rate_hz=rate, unit=unit)}


def power_law(seed: int, exponent: float) -> np.ndarray:
    """Noise whose power falls as this power of the frequency."""
    hz = np.fft.rfftfreq(N, 1 / RATE)
    values = np.fft.rfft(noise(seed))
    values[1:] *= hz[1:] ** (exponent / 2)
    values[0] = 0
    x = np.fft.irfft(values, N)
    return np.asarray(x / x.std())


@pytest.mark.parametrize(
    "cases", [healthy(0, 24), faulty(100, 12, "outer_race", 8.0), foreign(200, 12, 8.0)], ids=["sound", "faulty", "foreign"]
)
def test_simulated_drives_in_every_class_of_noise_are_left_alone(cases) -> None:  # type: ignore[no-untyped-def]
    for case in cases:
        record = case.recording
        flagged = found(record.samples, rate=record.sample_rate_hz)
        assert not SPECTRAL & set(flagged), (record.name, flagged)


@pytest.mark.parametrize("kind", NOISES)
def test_standing_drives_are_left_alone(kind: str) -> None:
    """Noise alone, 20 s: long enough for every rule."""
    case = next(healthy(3, 1))
    levels = Levels(shaft=0.0, mesh=0.0)
    for seed in range(5):
        x = simulate(case.drive, speed_hz=25.0, sample_rate_hz=RATE, samples=N, seed=seed, noise=kind, levels=levels)  # type: ignore[arg-type]
        assert found(x) == {}


# --- ski slope ---


@pytest.mark.parametrize("seed", range(5))
def test_a_drifting_sensor_is_a_ski_slope_in_any_unit(seed: int) -> None:
    """A random walk falls as 1/f^2 in acceleration, 16 times an octave in velocity's power: (1/f^2)^2."""
    x = noise(seed) + 0.02 * np.cumsum(noise(seed + 100))
    finding = found(x)["quality.ski_slope"]
    assert finding.level is Level.CAUTION
    growth = float(finding.says.split("rises ")[1].split(" times")[0])
    assert growth == pytest.approx(16, rel=0.35)
    velocity = scipy.integrate.cumulative_trapezoid(x - x.mean(), dx=1 / RATE, initial=0.0)
    assert "quality.ski_slope" in found(velocity, "m/s")


def test_the_recovery_from_an_overload_is_a_ski_slope() -> None:
    since = TIME - 6.0
    assert "quality.ski_slope" in found(noise(0) + np.where(since >= 0, 40 * np.exp(-since / 0.5), 0))


def test_velocity_below_and_above_are_those_of_a_filter() -> None:
    x = noise(1) + 0.02 * np.cumsum(noise(101))
    says = found(x)["quality.ski_slope"].says
    velocity = scipy.integrate.cumulative_trapezoid(x - x.mean(), dx=1 / RATE, initial=0.0)
    density = scipy.signal.welch(velocity, RATE, nperseg=N, window="hann", detrend="linear")
    below = np.sqrt(density[1][(density[0] >= 4 * RATE / N) & (density[0] < 10)].sum() * RATE / N)
    assert float(says.split("10 Hz is ")[1].split(" mm/s")[0]) == pytest.approx(1000 * below, rel=0.1)


@pytest.mark.parametrize(
    "x",
    [
        power_law(1, 0.0),
        power_law(2, -1.0),
        noise(3) + 30 * TIME / TIME[-1],
        noise(4) + tones([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 7.0, 14.0], 3.0),
    ],
    ids=["white", "1/f", "a straight drift", "slow shafts"],
)
def test_what_rises_honestly_is_no_ski_slope(x: np.ndarray) -> None:
    assert "quality.ski_slope" not in found(x)


# --- aliasing ---


def sampled_without_filter(ring_hz: float, seed: int) -> np.ndarray:
    """Noise through a resonance, every fourth sample kept."""
    b, a = scipy.signal.iirpeak(ring_hz, 5, fs=4 * RATE)
    wave = scipy.signal.lfilter(b, a, noise(seed, 4 * N))
    return np.asarray(wave[::4] / wave.std() + 0.05 * noise(seed + 1))


def test_a_resonance_beyond_half_the_rate_shows_at_the_end_of_the_band_and_not_behind_a_filter() -> None:
    assert "quality.aliasing" in found(sampled_without_filter(7000.0, 1))
    b, a = scipy.signal.iirpeak(7000.0, 5, fs=4 * RATE)
    anti_alias = scipy.signal.cheby2(14, 80, RATE / 2, fs=4 * RATE, output="sos")
    filtered = scipy.signal.sosfilt(anti_alias, scipy.signal.lfilter(b, a, noise(1, 4 * N)))[::4]
    assert found(filtered / filtered.std()) == {}


@pytest.mark.parametrize("base", [1317.3, 977.7, 2222.2])
def test_harmonics_beyond_half_the_rate_are_found_where_they_fold_to(base: float) -> None:
    harmonics = range(1, int(RATE / base) + 1)  # a sensor that passes all below the sample rate
    wave = np.sum([np.cos(2 * np.pi * k * base * TIME + k) / k for k in harmonics], axis=0) + 0.2 * noise(5)
    finding = found(wave)["quality.aliasing"]
    assert f"harmonics of {base:.5g} Hz" in finding.says and finding.level is Level.CAUTION


@pytest.mark.parametrize("base", [1277.7, 977.7, 1575.0, 2550.0])
def test_a_gear_with_sidebands_where_harmonics_would_fold_to_is_not_aliased(base: float) -> None:
    """Sidebands at the very distance of folded harmonics: on both sides, as modulation makes them."""
    offset = RATE % base
    wave = sum(
        (1 + 0.5 * np.cos(2 * np.pi * offset * TIME)) * np.cos(2 * np.pi * k * base * TIME + k) / k
        for k in range(1, int(RATE / 2 / base))
    )
    assert "quality.aliasing" not in found(wave + 0.2 * noise(6))


# --- mains ---


@pytest.mark.parametrize("base", [49.95, 50.08, 60.02])
def test_hum_is_named_with_its_harmonics_and_its_share(base: float) -> None:
    x = np.sum([a * np.cos(2 * np.pi * n * base * TIME) for n, a in ((1, 1.0), (2, 0.2), (3, 0.4), (5, 0.3))], axis=0)
    share = (1 + 0.04 + 0.16 + 0.09) / 2 / ((1 + 0.04 + 0.16 + 0.09) / 2 + 1)
    finding = found(x + noise(7))["quality.mains"]
    assert finding.says.startswith(f"Lines at 1, 2, 3, 5 times {base:.2f} Hz hold {100 * share:.2g} %")
    assert finding.level is Level.CAUTION
    assert found(0.2 * x + noise(7))["quality.mains"].level is Level.NOTE


@pytest.mark.parametrize("hz", [24.95, 16.67, 10.0, 47.0, 49.5])
def test_shafts_whose_harmonics_meet_the_mains_are_no_hum(hz: float) -> None:
    """49.5 Hz: a two-pole motor under load."""
    assert "quality.mains" not in found(tones([n * hz for n in range(1, 13)], 0.3) + noise(8))


# --- carrier ---


@pytest.mark.parametrize(("carrier", "output"), [(3000.1, 43.2), (4000.2, 49.7), (2499.9, 20.0)])
def test_a_converter_is_named_by_carrier_and_output(carrier: float, output: float) -> None:
    """Voltage of a three-phase bridge: carrier +- 2 and 4, twice the carrier +- 1 (Holmes and Lipo, from memory)."""
    lines = [carrier + n * output for n in (-4, -2, 2, 4)] + [2 * carrier + n * output for n in (-1, 1)]
    finding = found(tones([f for f in lines if f < RATE / 2], 0.3) + noise(9))["quality.carrier"]
    assert finding.where == f"{round(carrier, -2):g} Hz"
    assert float(finding.says.split("four times ")[1].split(" Hz")[0]) == pytest.approx(output, abs=0.1)


def test_a_mesh_at_a_round_frequency_is_no_converter() -> None:
    """Mesh 1000 Hz with two pairs of sidebands about each harmonic: 2000 and 3000 Hz look like carriers but for the fundamental."""
    lines = [1000.0 * k + n * 24.7 for k in (1, 2, 3) for n in (-2, -1, 0, 1, 2)]
    assert "quality.carrier" not in found(tones(lines, 0.3) + noise(10))


# --- speed within the record ---


def running(share: float, seed: int, fixed: Sequence[float] = ()) -> np.ndarray:
    """A gear whose speed rises by this share."""
    angle = 24.7 * (TIME + share * TIME**2 / 2 / TIME[-1])
    gear = np.sum([np.cos(2 * np.pi * n * angle + n) for n in (16, 17, 18, 34, 35, 51, 52, 68)], axis=0)
    return np.asarray(gear + noise(seed) + (tones(fixed) if fixed else 0))


@pytest.mark.parametrize(
    ("share", "level"), [(0.02, Level.CAUTION), (-0.02, Level.CAUTION), (0.05, Level.BLOCKER), (-0.05, Level.BLOCKER)]
)
def test_a_speed_that_moves_is_measured(share: float, level: Level) -> None:
    """Between the middles of the first and the last eighth it moves by 7/8 of the whole."""
    x = running(share, 11)
    finding = found(x)["quality.drift"]
    assert finding.level is level
    assert np.ptp(speed_ratios(x, sample_rate_hz=RATE)) == pytest.approx(abs(share) * 7 / 8, rel=0.05)


@pytest.mark.parametrize("share", [0.0, 0.002, 0.005])
def test_a_speed_that_hardly_moves_is_left_alone(share: float) -> None:
    for seed in range(5):
        assert "quality.drift" not in found(running(share, seed))


def test_a_speed_that_was_meant_to_move_is_not_held_against_the_record() -> None:
    x = running(-0.05, 13)
    assert [one.rule for one in judge_quality(x, sample_rate_hz=RATE, unit="m/s2")] == ["quality.drift"]
    assert judge_quality(x, sample_rate_hz=RATE, unit="m/s2", steady=False) == []


def test_lines_of_a_neighbour_that_stay_do_not_hide_the_drift() -> None:
    assert "quality.drift" in found(running(0.02, 12, fixed=[310.0, 333.3, 555.5, 777.7]))


# --- any record at all ---


@settings(max_examples=150, deadline=None)
@given(samples=records(), rate=st.sampled_from([1e-3, 1.0, 100.0, 25600.0, 1e9]), unit=st.sampled_from(["m/s2", "m/s", "m"]))
def test_any_record_gets_findings_or_is_refused(samples: np.ndarray, rate: float, unit: str) -> None:
    try:
        findings = judge_quality(samples, sample_rate_hz=rate, unit=unit)
    except OutOfRange:
        return
    assert not any(word in finding.says for finding in findings for word in ("nan", "inf ", "inf%"))


@settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(["tone", "two values", "clipped", "steps", "impulse", "ramp", "tiny", "huge"]),
    size=st.sampled_from([64, 1023, 4096, 16384, 40000]),
    seed=st.integers(0, 5),
)
def test_long_odd_records_are_judged_without_a_crash_or_a_warning(kind: str, size: int, seed: int) -> None:
    n = np.arange(size)
    made = {
        "tone": np.cos(0.3 * n + seed),
        "two values": np.sign(np.cos(0.01 * (seed + 1) * n)),
        "clipped": np.clip(noise(seed, size), -0.5, 0.5),
        "steps": np.floor(n / 100) % 7.0,
        "impulse": np.eye(1, size, seed)[0],
        "ramp": 1.0 * n,
        "tiny": 1e-150 * noise(seed, size),
        "huge": 1e100 * noise(seed, size),
    }[kind]
    for finding in judge_quality(made, sample_rate_hz=1000.0, unit="m/s2"):
        assert "nan" not in finding.says and "inf" not in finding.says


@pytest.mark.parametrize(("state", "told"), [("steady", True), ("coast-down", False)])
def test_a_diagnosis_asks_how_far_the_speed_moved_where_it_was_meant_to_be_steady(state: str, told: bool) -> None:
    job = load(Path(__file__).parents[1] / "examples" / "demo")
    taken = Circumstances(state=state)
    recording = Recording(running(-0.05, 13), RATE, "m/s2", speed_hz=24.7, name="record", sha256="0", taken=taken)
    document = diagnose.run(job, [recording]).document
    assert any("The speed moves by" in reason for reason in document["cannot_tell"]) == told
    assert not document["verdicts"]
