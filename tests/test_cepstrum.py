"""Cepstra, liftering and the separation of discrete from random parts, against the series of an echo and scipy's coherence."""

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.signal.averaging import averaged_spectrum
from gearcase.signal.cepstrum import edited, long_pass, power_cepstrum, real_cepstrum, short_pass, without_family
from gearcase.signal.separation import separate
from gearcase.signal.spectrum import Transform, amplitude_spectrum, transform

RATE = 8192.0


def noise(*shape: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(shape)


def of(samples: np.ndarray) -> Transform:
    return transform(samples, sample_rate_hz=RATE)


def family(spacing_hz: float, samples: int, lines: int = 80) -> np.ndarray:
    t = np.arange(samples) / RATE
    return np.sum([np.cos(2 * np.pi * spacing_hz * k * t + k * k) for k in range(1, lines + 1)], axis=0)


@given(strength=st.floats(-0.9, 0.9), delay=st.integers(20, 300))
@settings(max_examples=40, deadline=None)
def test_an_echo_adds_the_terms_of_its_logarithm(strength: float, delay: int) -> None:
    """log |1 + a z| = Re(a z - a^2 z^2 / 2 + a^3 z^3 / 3 ...), z = exp(-i omega q) (Oppenheim and Schafer, from memory)."""
    x = noise(8192)
    x -= x.mean()
    added = real_cepstrum(of(x + strength * np.roll(x, delay))).values - real_cepstrum(of(x)).values
    for n in (1, 2, 3):
        assert added[n * delay] == pytest.approx((-1) ** (n + 1) * strength**n / n / 2, abs=1e-3)
    assert added[delay // 2 + 3] == pytest.approx(0, abs=1e-3)


def test_the_real_cepstrum_is_numpys() -> None:
    x = noise(2, 4096)
    values = np.abs(np.fft.fft(x - x.mean(axis=-1, keepdims=True)))
    values[:, 0] = values[:, 1]
    theirs = np.fft.ifft(np.log(values)).real
    np.testing.assert_allclose(real_cepstrum(of(x)).values, theirs[:, :2049], atol=1e-10)


def test_the_power_cepstrum_of_one_unweighted_segment_is_twice_the_real_one() -> None:
    """log |X|^2 = 2 log |X|; the first value holds the scaling, and the bin at half the rate is not doubled in a density."""
    x = noise(4096)
    power = power_cepstrum(averaged_spectrum(x, sample_rate_hz=RATE, segment=4096, window="boxcar")).values[1:]
    real = real_cepstrum(of(x)).values[1:]
    half_rate = (-1.0) ** np.arange(1, 2049) * np.log(2) / 4096  # the bin not doubled
    np.testing.assert_allclose(power + half_rate, 2 * real, atol=1e-9)


@given(scale=st.floats(1e-9, 1e9))
@settings(max_examples=20)
def test_scale_moves_the_first_value_alone(scale: float) -> None:
    x = noise(4096)
    one, other = real_cepstrum(of(x)).values, real_cepstrum(of(scale * x)).values
    assert other[0] - one[0] == pytest.approx(np.log(scale), abs=1e-9)
    np.testing.assert_allclose(other[1:], one[1:], atol=1e-9)


@pytest.mark.parametrize("spacing_hz", [16.0, 33.0, 61.7])
def test_a_family_is_gathered_at_its_quefrency(spacing_hz: float) -> None:
    x = family(spacing_hz, 65536, lines=50) + noise(65536)
    found = power_cepstrum(averaged_spectrum(x, sample_rate_hz=RATE, segment=8192, window="hann"))
    away = found.quefrency_s > 0.5 / spacing_hz
    assert found.quefrency_s[away][np.argmax(found.values[away])] == pytest.approx(1 / spacing_hz, abs=found.step_s)


def test_without_a_family_its_lines_are_gone_and_a_stranger_stays() -> None:
    samples = 65536
    t = np.arange(samples) / RATE
    x = 0.3 * family(32.0, samples) + 0.3 * np.sin(2 * np.pi * 1111.0 * t) + noise(samples)
    spectrum = of(x)
    cepstrum = without_family(real_cepstrum(spectrum), spacing_hz=32.0, half_width_s=1 / RATE)
    before, after = amplitude_spectrum(spectrum), amplitude_spectrum(of(edited(spectrum, cepstrum)))
    lines = np.round(32.0 * np.arange(1, 81) / spectrum.bin_hz).astype(int)
    stranger = round(1111.0 / spectrum.bin_hz)
    drop = 20 * np.log10(before[lines] / after[lines])
    assert np.median(drop) > 12
    assert after[stranger] == pytest.approx(before[stranger], rel=0.1)
    between = np.setdiff1d(np.arange(200, 20000), np.concatenate([lines + k for k in range(-3, 4)]))
    assert np.median(after[between]) == pytest.approx(np.median(before[between]), rel=0.1)


def test_the_short_pass_keeps_the_resonance_and_the_long_pass_takes_it_away() -> None:
    """A resonance of known frequency response behind noise: scipy's lfilter and freqz."""
    b, a = scipy.signal.iirpeak(2000.0, 4.0, fs=RATE)
    spectrum = of(scipy.signal.lfilter(b, a, noise(65536, seed=3)))
    cepstrum = real_cepstrum(spectrum)
    hz = np.arange(spectrum.values.shape[-1]) * spectrum.bin_hz
    _, response = scipy.signal.freqz(b, a, worN=hz, fs=RATE)
    part = (hz > 500) & (hz < 3500)
    smooth = np.log(np.abs(np.fft.rfft(edited(spectrum, short_pass(cepstrum, until_s=0.004)))))[part]
    expected = np.log(np.abs(response[part]))
    assert np.std(smooth - expected) < 0.15 * np.std(expected)
    flat = np.log(np.abs(np.fft.rfft(edited(spectrum, long_pass(cepstrum, from_s=0.004)))))[part]
    smoothed = np.convolve(flat, np.ones(801) / 801, "valid")
    assert np.std(smoothed) < 0.15 * np.std(expected)


def test_short_and_long_pass_add_up_to_the_whole_and_batches_are_as_single_records() -> None:
    x = noise(3, 4096, seed=8).astype(np.float32)
    spectrum = of(x)
    cepstrum = real_cepstrum(spectrum)
    both = short_pass(cepstrum, until_s=0.01).values + long_pass(cepstrum, from_s=0.01).values
    np.testing.assert_allclose(both[:, 1:], cepstrum.values[:, 1:])
    back = edited(spectrum, cepstrum)
    assert cepstrum.values.dtype == back.dtype == np.float32
    np.testing.assert_allclose(back, x - x.mean(axis=-1, keepdims=True), atol=1e-4)
    np.testing.assert_allclose(real_cepstrum(of(x[1])).values, cepstrum.values[1], atol=1e-6)


def test_what_cannot_be_liftered_is_refused() -> None:
    spectrum = of(noise(4096))
    cepstrum = real_cepstrum(spectrum)
    with pytest.raises(OutOfRange, match="constant"):
        real_cepstrum(of(np.ones(4096)))
    with pytest.raises(OutOfRange, match="constant"):
        power_cepstrum(averaged_spectrum(np.ones(4096), sample_rate_hz=RATE, segment=512, window="hann"))
    for work in (lambda q: short_pass(cepstrum, until_s=q), lambda q: long_pass(cepstrum, from_s=q)):
        for bad in (0.0, -1.0, float("nan")):
            with pytest.raises(OutOfRange, match="above 0"):
                work(bad)
    for spacing, width, says in [
        (1.0, 1e-4, "in this record"),
        (4000, 1e-5, "in this record"),
        (50, 0.01, "quarter"),
        (50, 0, "above 0"),
    ]:
        with pytest.raises(OutOfRange, match=says):
            without_family(cepstrum, spacing_hz=spacing, half_width_s=width)
    with pytest.raises(OutOfRange, match="real cepstrum of this transform"):
        edited(of(noise(8192)), cepstrum)


def test_the_gain_squared_is_scipys_coherence_between_a_record_and_its_past() -> None:
    x = noise(40000, seed=4) + np.sin(2 * np.pi * 900.3 * np.arange(40000) / RATE)
    x -= x.mean()
    found = separate(x, block=512, delay=700)
    _, coherence = scipy.signal.coherence(x[:-700], x[700:], window="hann", nperseg=512, noverlap=256, detrend=False)
    kept = found.gain > 0
    np.testing.assert_allclose(found.gain[kept] ** 2, coherence[kept], rtol=1e-6)
    assert kept[round(900.3 / RATE * 512)]
    assert coherence[~kept].max() < coherence[kept].min()
    assert np.mean(kept) < 0.01 + 6 / 257 + 3 * np.sqrt(0.01 / 257)  # one in a hundred, the tone's bins, and the scatter of both


def test_tones_and_noise_come_apart() -> None:
    samples = 2**17
    tones = family(301.3, samples, lines=5)
    random = noise(samples, seed=5)
    found = separate(tones + random, block=2048, delay=4096)
    inside = slice(1024, -1024)
    pairs = (samples - 2048 - 4096) // 1024 + 1
    error = np.std((found.discrete - tones)[inside])
    # what gets through: a band of some four bins about each of five tones, and one bin in a hundred at twice 1 / sqrt(pairs)
    assert error < 1.3 * np.sqrt(5 * 4 / 1024 + 0.01 * 4 / pairs)
    assert np.std(found.random[inside]) == pytest.approx(np.sqrt(1 - 5 * 4 / 1024), rel=0.01)  # the noise in those bands goes too
    np.testing.assert_allclose(found.discrete + found.random, tones + random - (tones + random).mean(), atol=1e-12)


def test_of_noise_alone_only_the_stated_share_goes_to_the_discrete_part() -> None:
    x = noise(8, 2**16, seed=6)
    found = separate(x, block=512, delay=512)
    pairs = (2**16 - 1024) // 256 + 1
    assert np.mean(found.gain > 0) == pytest.approx(0.01, abs=3 * np.sqrt(0.01 / found.gain.size))
    assert np.std(found.discrete) < 0.1 * 2.5 / np.sqrt(pairs)


def test_slipping_impacts_go_with_the_random_part_and_gear_tones_with_the_discrete() -> None:
    samples = 2**17
    rng = np.random.default_rng(7)
    at = np.cumsum(RATE / 87.3 * (1 + 0.02 * rng.standard_normal(1300))).astype(int)
    train = np.zeros(samples)
    train[at[at < samples]] = 1
    t = np.arange(200) / RATE
    impacts = 4 * np.convolve(train, np.exp(-700 * t) * np.sin(2 * np.pi * 2600 * t))[:samples]
    gear = np.sin(2 * np.pi * 517.3 * np.arange(samples) / RATE)
    found = separate(gear + impacts, block=2048, delay=8192)
    inside = slice(2048, -2048)
    assert np.corrcoef(found.random[inside], impacts[inside])[0, 1] > 0.95
    assert np.corrcoef(found.discrete[inside], gear[inside])[0, 1] > 0.95


@given(scale=st.floats(1e-12, 1e9))
@settings(max_examples=10, deadline=None)
def test_separation_scales_with_the_record_and_stays_float32(scale: float) -> None:
    x = (noise(2, 8192) + np.sin(np.arange(8192) * 0.3)).astype(np.float32)
    one, other = (separate(part, block=256, delay=300) for part in (x, (scale * x).astype(np.float32)))
    assert other.discrete.dtype == np.float32
    np.testing.assert_allclose(other.discrete / scale, one.discrete, atol=1e-4)


def test_a_still_record_is_still_in_both_parts_and_bad_ones_are_refused() -> None:
    found = separate(np.full(8192, 5.0), block=256, delay=256)
    assert not found.discrete.any() and not found.random.any() and not found.gain.any()
    bad = np.where(np.arange(8192) == 9, np.nan, 0.0)
    for samples, block, delay, says in [
        (bad, 256, 256, "first is at 9"),
        (noise(1000), 256, 256, "at least 1408"),
        (noise(8192), 32, 256, "at least 64"),
        (noise(8192), 256, 0, "at least one"),
        (noise(8192) + 1j, 256, 256, "real numbers"),
        (np.empty(0), 256, 256, "at least 1408"),
    ]:
        with pytest.raises(OutOfRange, match=says):
            separate(samples, block=block, delay=delay)
