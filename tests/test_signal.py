"""Spectra, envelope and indicators against published window figures, identities, scipy and hand sums."""

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.indicators import indicators
from gearcase.signal.spectrum import (
    amplitude_spectrum,
    block_floor,
    find_lines,
    hann,
    line_strength,
    overall_velocity,
    transform,
)
from published import Check, check_id, checks


def noise(samples: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(samples)


def published(prefix: str) -> Check:
    (check,) = checks("signal_checks.csv", prefix)
    return check


def test_the_window_has_the_published_noise_bandwidth_and_gain() -> None:
    """Harris (1978), Table 1: white noise power read through the window over its coherent gain squared."""
    impulse = np.zeros(16384)
    impulse[0] = 1  # a flat transform: each bin then holds the window's transform, three taps
    taps = np.abs(hann(np.fft.rfft(np.roll(impulse, 0)) * 0 + np.eye(1, 8193, 4000)[0]))
    bandwidth = np.sum(taps**2) / np.max(taps) ** 2
    assert bandwidth == pytest.approx(published("SW-hann-enbw").value, rel=published("SW-hann-enbw").tolerance)
    assert np.max(taps) == pytest.approx(published("SW-hann-coherent_gain").value)


def test_a_line_between_bins_loses_the_published_scallop() -> None:
    check = published("SW-hann-scallop_loss")
    wave = np.sin(2 * np.pi * 1000.5 * np.arange(16384) / 16384)
    reading = amplitude_spectrum(transform(wave, sample_rate_hz=16384.0)).max()
    assert -20 * np.log10(reading) == pytest.approx(check.value, rel=check.tolerance)


def test_amplitude_spectrum_agrees_with_scipy() -> None:
    x = noise(8192) + 3 * np.sin(2 * np.pi * 200 * np.arange(8192) / 8192)
    _, power = scipy.signal.periodogram(x - x.mean(), 8192.0, window="hann", scaling="spectrum", detrend=False)
    ours = amplitude_spectrum(transform(x, sample_rate_hz=8192.0))
    np.testing.assert_allclose(ours[1:-1], np.sqrt(2 * power[1:-1]), rtol=1e-9)


def test_batches_give_what_single_records_give() -> None:
    x = noise(3 * 4096).reshape(3, 4096).astype(np.float32)
    whole = envelope_spectrum(transform(x, sample_rate_hz=4096.0))
    for n in range(3):
        one = envelope_spectrum(transform(x[n], sample_rate_hz=4096.0))
        np.testing.assert_allclose(whole.strength[n], one.strength, rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize("check", checks("vibration_checks.csv", "VC1"), ids=check_id)
def test_overall_velocity_agrees_with_published_conversions(check: Check) -> None:
    frequency, rate = check.given["freq_hz"], 8192.0
    wave = check.given["accel_g_rms"] * 9.80665 * np.sqrt(2) * np.sin(2 * np.pi * frequency * np.arange(2**17) / rate)
    found = overall_velocity(transform(wave, sample_rate_hz=rate), unit="m/s2", lowest_hz=10, highest_hz=2000)
    assert 1000 * float(found) == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("signal_checks.csv", "SM"), ids=check_id)
def test_indicators_agree_with_worked_moments(check: Check) -> None:
    samples = np.array(check.given["samples"], float)
    found = indicators(samples)
    ours = {
        "std_population": float(found.rms),  # ours takes the mean out
        "kurtosis": float(found.kurtosis),
        "rms": float(np.hypot(found.rms, samples.mean())),
        "crest_factor": float(found.peak) / float(found.rms),
        "peak_to_peak": None,
    }
    if check.quantity in ("std_population", "kurtosis", "rms"):
        assert ours[check.quantity] == pytest.approx(check.value, rel=check.tolerance)
    else:  # peak figures of those rows keep the mean, ours do not: compare with the definition on the centred record
        centred = samples - samples.mean()
        assert float(found.crest_factor) == pytest.approx(np.abs(centred).max() / centred.std())


@pytest.mark.parametrize(
    ("name", "wave", "kurtosis", "crest"),
    [
        ("SI02 SI06 sine", np.sin(2 * np.pi * np.arange(4096) / 64), 1.5, np.sqrt(2)),
        ("SI03 SI07 square", np.tile([1.0, -1.0], 2048), 1.0, 1.0),
    ],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_indicators_of_known_waves(name: str, wave: np.ndarray, kurtosis: float, crest: float) -> None:
    found = indicators(wave)
    assert float(found.kurtosis) == pytest.approx(kurtosis, rel=1e-4)
    assert float(found.crest_factor) == pytest.approx(crest, rel=1e-4)


def test_kurtosis_agrees_with_scipy() -> None:
    x = noise(20000, 3) ** 3
    assert float(indicators(x).kurtosis) == pytest.approx(scipy.stats.kurtosis(x, fisher=False))


@given(scale=st.floats(1e-6, 1e6), offset=st.floats(-1e3, 1e3))
@settings(max_examples=30)
def test_crest_and_kurtosis_do_not_change_with_scale_or_offset(scale: float, offset: float) -> None:
    x = noise(2048, 1)
    one, other = indicators(x), indicators(scale * (x + offset))
    assert float(other.kurtosis) == pytest.approx(float(one.kurtosis), rel=1e-6)
    assert float(other.crest_factor) == pytest.approx(float(one.crest_factor), rel=1e-6)


def test_strength_of_noise_is_exponential_with_mean_one() -> None:
    """Chi-square with two degrees of freedom, halved (Bendat and Piersol): compare the whole distribution."""
    strength = np.concatenate(
        [envelope_spectrum(transform(noise(2**16, seed), sample_rate_hz=12000.0)).strength[100:-100:7] for seed in range(12)]
    )
    assert scipy.stats.kstest(strength, "expon").statistic < 1.63 / np.sqrt(strength.size) + 0.01  # 1 % point, floor's own scatter


def test_envelope_finds_the_modulation_scipys_hilbert_envelope_finds() -> None:
    rate, n = 12000.0, 2**16
    t = np.arange(n) / rate
    carrier = scipy.signal.sosfiltfilt(scipy.signal.butter(4, [2500, 4000], "bandpass", fs=rate, output="sos"), noise(n, 5))
    x = (1 + 0.8 * np.cos(2 * np.pi * 107.3 * t)) * carrier + 0.01 * noise(n, 6)
    ours = envelope_spectrum(transform(x, sample_rate_hz=rate))
    squared = np.abs(scipy.signal.hilbert(x)) ** 2
    theirs = np.abs(np.fft.rfft((squared - squared.mean()) * np.hanning(n)))
    frequencies = np.arange(theirs.size) * rate / n
    low = (frequencies > 50) & (frequencies < 400)
    assert np.argmax(ours.strength[: low.size][low[: ours.strength.size]]) == pytest.approx(np.argmax(theirs[low]), abs=1)


def test_modulation_depth_reads_the_depth_of_a_known_modulation() -> None:
    """Squared envelope of (1 + m cos) noise: mean 1 + m^2/2, first line 2m, so depth 2m / (1 + m^2/2)."""
    rate, n, m = 12000.0, 2**17, 0.3
    bin_hz = rate / n
    frequency = round(100 / bin_hz) * bin_hz
    x = (1 + m * np.cos(2 * np.pi * frequency * np.arange(n) / rate)) * noise(n, 8)
    depth = envelope_spectrum(transform(x, sample_rate_hz=rate)).depth[round(frequency / bin_hz)]
    assert float(depth) == pytest.approx(2 * m / (1 + m**2 / 2), rel=0.05)


@given(width=st.integers(8, 200), bins=st.integers(8, 2000))
@settings(max_examples=50)
def test_a_flat_spectrum_has_itself_for_floor(width: int, bins: int) -> None:
    np.testing.assert_allclose(block_floor(np.full(bins, 3.5), width=width), 3.5)


def test_a_dead_band_divides_nothing_by_zero() -> None:
    power = np.concatenate([np.ones(500), np.zeros(500)])
    assert np.isfinite(line_strength(power, width=50)).all()
    assert np.isfinite(line_strength(np.zeros(500), width=50)).all()


def test_lines_found_in_noise_are_as_rare_as_asked() -> None:
    found = sum(
        len(find_lines(np.random.default_rng(seed).exponential(size=20000), bin_hz=1.0, chance=0.05)) for seed in range(400)
    )
    assert found <= scipy.stats.binom.ppf(0.999, 400, 0.05)


@pytest.mark.parametrize(
    ("samples", "rate", "says"),
    [
        (np.array([1.0, np.nan] * 64), 100.0, r"64 of 128 not finite.*first is at 1"),
        (np.ones(10), 100.0, "at least 64"),
        (np.ones(100), 0.0, "above 0"),
    ],
)
def test_records_that_cannot_be_transformed_are_refused(samples: np.ndarray, rate: float, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        transform(samples, sample_rate_hz=rate)
