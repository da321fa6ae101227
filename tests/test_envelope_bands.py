"""Envelope of a hand band and the fast kurtogram, against theory of complex noise, scipy's analytic signal and plain filters."""

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.signal.envelope import band_envelope_spectrum, envelope_spectrum
from gearcase.signal.kurtogram import Kurtogram, kurtogram
from gearcase.signal.spectrum import transform

RATE = 16384.0


def noise(*shape: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(shape)


def of(samples: np.ndarray, narrowest_hz: float = 200.0) -> Kurtogram:
    return kurtogram(transform(samples, sample_rate_hz=RATE), narrowest_hz=narrowest_hz)


def knocks(*, ring_hz: float, rate_hz: float, samples: int = 65536, noise_rms: float = 0.3, seed: int = 1) -> np.ndarray:
    """Impacts that ring a resonance, in noise."""
    train = np.zeros(samples)
    train[(np.arange(0, samples / RATE - 0.01, 1 / rate_hz) * RATE).astype(int)] = 1
    t = np.arange(400) / RATE
    return np.convolve(train, np.exp(-900 * t) * np.sin(2 * np.pi * ring_hz * t))[:samples] + noise_rms * noise(samples, seed=seed)


def test_in_gaussian_noise_the_kurtosis_scatters_about_zero_by_its_standard_error() -> None:
    """A circular complex Gaussian has E|c|^4 = 2 (E|c|^2)^2; the sample kurtosis of n of them has variance 4 / n."""
    found = of(noise(300, 16384))
    scores = found.kurtosis / found.standard_error
    for level in np.unique(found.level):
        of_level = scores[:, found.level == level]
        assert of_level.std() == pytest.approx(1, abs=0.12), level  # three times 1 / sqrt(2 * 300) for the widest band
        assert abs(of_level.mean()) < 5 / np.sqrt(of_level.size) + 2 * found.standard_error.max(), level


def test_a_steady_tone_has_kurtosis_minus_one_and_bursts_two_over_their_share_less_two() -> None:
    """|c| constant: 1 - 2. Noise that is on for a share p of the time: 2 p / p^2 - 2."""
    tone = of(np.sin(2 * np.pi * 3001.3 * np.arange(32768) / RATE))
    assert float(tone.kurtosis[0]) == pytest.approx(-1, abs=0.01)
    share = 0.1
    on = (np.arange(2**18) // 4096) % 10 == 0
    bursts = of(noise(2**18, seed=2) * on)
    assert float(bursts.kurtosis[0]) == pytest.approx(2 / np.mean(on) - 2, rel=0.03)
    assert np.mean(on) == pytest.approx(share, rel=0.1)


@pytest.mark.parametrize("ring_hz", [1500.0, 3300.0, 5100.0, 7000.0])
def test_the_best_band_holds_the_resonance_that_rings(ring_hz: float) -> None:
    best = of(knocks(ring_hz=ring_hz, rate_hz=47.0)).best
    assert best.lowest_hz < ring_hz < best.highest_hz
    assert best.kurtosis > 10 * best.standard_error
    assert best.highest_hz - best.lowest_hz <= RATE / 4  # not the whole band, in which the noise is


@pytest.mark.parametrize("ring_hz", [3300.0, 5100.0])
def test_the_kurtosis_of_a_band_is_that_behind_a_filter_of_scipy(ring_hz: float) -> None:
    x = knocks(ring_hz=ring_hz, rate_hz=47.0)
    found = of(x)
    for at in np.argsort(found.kurtosis)[-3:]:
        edges = [found.lowest_hz[at] + 1, found.highest_hz[at] - 1]
        width = edges[1] - edges[0]
        # the same half-power width: the rounded edges are at half their amplitude an eighth of the width inside
        narrowed = [edges[0] + width / 8, edges[1] - width / 8]
        taps = scipy.signal.firwin(1001, narrowed, pass_zero=False, fs=RATE)
        c = scipy.signal.hilbert(np.convolve(x, taps, "same"))[2000:-2000]
        plain = np.mean(np.abs(c) ** 4) / np.mean(np.abs(c) ** 2) ** 2 - 2
        assert float(found.kurtosis[at]) == pytest.approx(plain, rel=0.15)


def test_every_level_divides_the_band_without_a_gap() -> None:
    found = of(noise(65536))
    assert found.level.tolist() == sorted(found.level)
    assert set(found.level) >= {0.0, 1.0, 1.6, 2.0, 2.6, 3.0, 3.6}
    for level in np.unique(found.level):
        low, high = found.lowest_hz[found.level == level], found.highest_hz[found.level == level]
        parts = 2**level if level % 1 == 0 else 3 * 2 ** (level - 1.6)
        assert low.size == round(float(parts))
        np.testing.assert_allclose(low[1:], high[:-1])
        assert low[0] == 0 and high[-1] == pytest.approx(RATE / 2, rel=1e-3)
        assert np.all(high - low >= 199)


@given(scale=st.floats(1e-9, 1e6), shift=st.integers(0, 65535))
@settings(max_examples=15, deadline=None)
def test_scale_and_start_change_nothing(scale: float, shift: int) -> None:
    x = knocks(ring_hz=3300.0, rate_hz=44.0).astype(np.float32)
    one, other = of(x).best, of((scale * np.roll(x, shift)).astype(np.float32)).best
    assert float(one.lowest_hz) == float(other.lowest_hz) and float(one.highest_hz) == float(other.highest_hz)
    assert float(other.kurtosis) == pytest.approx(float(one.kurtosis), rel=0.1)


def test_a_strong_tone_that_does_not_fit_the_record_is_no_impact_at_its_ends() -> None:
    """What it leaks into other bands rings at the ends of the record only, 60 dB above the noise there; those are left out."""
    x = noise(20, 65536, seed=7) + 1000 * np.sin(2 * np.pi * 2023.4567 * np.arange(65536) / RATE + 0.7)
    found = of(x)
    away = (found.lowest_hz > 2600) | (found.highest_hz < 1500)
    assert np.all(np.abs(found.kurtosis[:, away] / found.standard_error[away]) < 6)


def test_bands_that_hold_nothing_beside_a_tone_in_step_have_no_kurtosis() -> None:
    """What is left of a tone without noise is rounding, which is no sign of impacts; squared it ran out of float32 to infinity."""
    found = of(np.sin(2 * np.pi * 50 * np.arange(65536) / 12800).astype(np.float32))
    assert np.all((found.kurtosis <= 0) & (found.kurtosis >= -1.0001))


def test_batches_give_what_single_records_give() -> None:
    x = np.stack([knocks(ring_hz=hz, rate_hz=30.0, seed=3) for hz in (2000.0, 4000.0, 6000.0)]).astype(np.float32)
    whole = of(x)
    assert whole.kurtosis.dtype == np.float32 and whole.best.kurtosis.shape == (3,)
    for n in range(3):
        np.testing.assert_allclose(whole.kurtosis[n], of(x[n]).kurtosis, rtol=1e-3, atol=1e-3)
    assert list(whole.best.lowest_hz < [2000, 4000, 6000]) == [True] * 3


def test_the_envelope_of_a_band_is_scipys_behind_a_sharp_filter() -> None:
    x = knocks(ring_hz=3300.0, rate_hz=47.0)
    ours = band_envelope_spectrum(transform(x, sample_rate_hz=RATE), lowest_hz=2500, highest_hz=4100)
    values = np.fft.rfft(x - x.mean())
    hz = np.arange(values.size) * RATE / x.size
    squared = np.abs(scipy.signal.hilbert(np.fft.irfft(values * ((hz >= 2500) & (hz <= 4100)), x.size))) ** 2
    window = scipy.signal.get_window("hann", x.size)
    theirs = np.abs(np.fft.rfft((squared - squared.mean()) * window)) * 2 / window.sum() / squared.mean()
    np.testing.assert_allclose(ours.depth[1:-1], theirs[1 : ours.depth.size - 1], atol=1e-9)
    lines = ours.strength[100:1000]
    assert (100 + np.argmax(lines)) * ours.bin_hz == pytest.approx(47, abs=0.3)


def test_the_band_chosen_shows_the_impacts_better_than_a_band_without_them() -> None:
    spectrum = transform(knocks(ring_hz=5100.0, rate_hz=47.0, noise_rms=0.6), sample_rate_hz=RATE)
    best = kurtogram(spectrum, narrowest_hz=200.0).best
    chosen = band_envelope_spectrum(spectrum, lowest_hz=float(best.lowest_hz), highest_hz=float(best.highest_hz))
    other = band_envelope_spectrum(spectrum, lowest_hz=1000, highest_hz=2000)
    at = slice(round(46.5 / spectrum.bin_hz), round(47.5 / spectrum.bin_hz))
    assert chosen.strength[at].max() > 10 * other.strength[at].max()


def test_a_record_that_does_not_move_has_an_envelope_spectrum_of_nothing_and_no_best_band() -> None:
    still = transform(np.full(4096, 2.0), sample_rate_hz=RATE)
    for found in (envelope_spectrum(still), band_envelope_spectrum(still, lowest_hz=1000, highest_hz=3000)):
        assert not found.depth.any() and not found.strength.any()
    with pytest.raises(OutOfRange, match="constant"):
        kurtogram(still, narrowest_hz=200)


def test_bands_that_cannot_be_are_refused() -> None:
    spectrum = transform(noise(4096), sample_rate_hz=RATE)
    for lowest, highest, says in [(0, 100, "inside"), (300, 200, "inside"), (10, 9000, "inside"), (1000, 1100, "at least 64")]:
        with pytest.raises(OutOfRange, match=says):
            band_envelope_spectrum(spectrum, lowest_hz=lowest, highest_hz=highest)
    for narrowest, says in [(0.0, "above 0"), (float("nan"), "above 0"), (9000.0, "for one band")]:
        with pytest.raises(OutOfRange, match=says):
            kurtogram(spectrum, narrowest_hz=narrowest)
