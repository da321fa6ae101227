"""Gear figures of merit against the rows of gear_indicators.csv (published definitions), numpy moments and waves of known parts."""

from pathlib import Path

import numpy as np
import pytest
import scipy.io
import scipy.optimize
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.signal.gear_indicators import gear_indicators, gear_signals, mesh_modulation, na4, standardised_moment
from gearcase.signal.spectrum import band_rms, transform
from gearcase.signal.synchronous import synchronous_average, turning_from_mesh
from published import Check, checks

TEETH, STEPS = 23, 512
ANGLE = 2 * np.pi * np.arange(STEPS) / STEPS


def row(name: str) -> Check:
    (check,) = checks("gear_indicators.csv", name)
    return check


def orders(**amplitudes: float) -> np.ndarray:
    """Cosines: ``o23=1.0`` is order 23 with amplitude 1."""
    return np.sum([a * np.cos(int(k[1:]) * ANGLE + 0.7 * int(k[1:])) for k, a in amplitudes.items()], axis=0)


def noise(*shape: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(shape)


def test_fm0_is_the_published_quotient() -> None:
    """GN01: peak to peak 10 over mesh amplitudes 2, 1 and 0.5; a line of no mesh order brings the wave to that peak to peak."""
    check = row("GN01")
    first, second, third = check.given["harmonic_amplitudes"]
    wave = lambda extra: orders(o23=first, o46=second, o69=third, o37=extra)  # noqa: E731
    extra = scipy.optimize.brentq(lambda a: np.ptp(wave(a)) - check.given["peak_to_peak"], 0, 10, xtol=1e-14)
    found = gear_indicators(wave(extra), teeth=TEETH, harmonics=3)
    assert float(found.fm0) == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize(("name", "order"), [("GN05a", 4), ("GN05b", 6), ("GN05c", 8)])
def test_moments_of_a_difference_are_the_published_ones(name: str, order: int) -> None:
    check = row(name)
    found = standardised_moment(np.array(check.given["difference"]), order=order)
    assert float(found) == pytest.approx(check.value, rel=check.tolerance)


def test_moments_of_a_sine_and_of_noise_are_the_known_ones() -> None:
    """GN03 and SI14 (sine 1.5 and 2.5), SI01, SI12, SI13 (Gaussian 3, 15, 105); GN04 has a statistical tolerance."""
    sine = np.cos(5 * ANGLE)
    assert float(standardised_moment(sine, order=4)) == pytest.approx(row("GN03").value, rel=1e-6)
    (sixth,) = checks("signal_checks.csv", "SI14")
    assert float(standardised_moment(sine, order=6)) == pytest.approx(sixth.value, rel=sixth.tolerance)
    x = noise(2**20, seed=1)
    for order, name in ((4, "SI01"), (6, "SI12"), (8, "SI13")):
        (check,) = checks("signal_checks.csv", name)
        assert float(standardised_moment(x, order=order)) == pytest.approx(check.value, rel=0.05)


def test_fm4_of_a_difference_is_scipys_kurtosis_and_of_a_healthy_gear_about_three() -> None:
    averages = orders(o23=2.0, o46=1.0, o22=0.1, o1=0.5) + 0.05 * noise(400, STEPS, seed=2)
    found = gear_indicators(averages, teeth=TEETH, harmonics=3)
    parts = gear_signals(averages, teeth=TEETH, harmonics=3)
    np.testing.assert_allclose(found.fm4, scipy.stats.kurtosis(parts.difference, axis=-1, fisher=False), rtol=1e-9)
    assert found.fm4.mean() == pytest.approx(3 * (STEPS - 1) / (STEPS + 1), abs=4 * np.sqrt(24 / STEPS / 400))


def test_na4_is_the_published_quotient_and_grows_where_kurtosis_does_not() -> None:
    check = row("GN07")
    found = na4(np.array(check.given["residual_records_oldest_first"]))
    assert float(found[-1]) == pytest.approx(check.value, rel=check.tolerance)
    x = noise(30, 4, STEPS, seed=3)
    x[20:, 2] *= 3  # of four gears one, from record 20 on
    whole = na4(x)
    assert whole.shape == (30, 4)
    variance = np.cumsum(x.var(axis=-1), axis=0) / np.arange(1, 31)[:, None]
    plain = np.mean((x - x.mean(axis=-1, keepdims=True)) ** 4, axis=-1) / variance**2
    np.testing.assert_allclose(whole, plain, rtol=1e-9)
    assert whole[20, 2] > 20 and np.all(np.delete(whole, 2, axis=1) < 6)


def test_nb4_is_na4_of_the_envelope_about_the_mesh() -> None:
    """Equal records: kurtosis of the envelope 1 + m cos, a sine: 1.5."""
    average = (1 + 0.2 * np.cos(ANGLE)) * np.cos(TEETH * ANGLE)
    envelope = mesh_modulation(np.stack([average] * 3), teeth=TEETH, harmonic=1, sidebands=8).amplitude
    np.testing.assert_allclose(na4(envelope), 1.5, rtol=1e-6)


def test_sideband_figures_are_the_published_ones() -> None:
    """GN09 and GN10: sidebands 0.12 and 0.18; the standard deviation 0.6 is the mesh's and theirs together."""
    index, factor = row("GN09"), row("GN10")
    lower, upper, rms = factor.given["lower"], factor.given["upper"], factor.given["rms"]
    mesh = np.sqrt(2 * rms**2 - lower**2 - upper**2 - 0.01**2)
    found = gear_indicators(orders(o23=mesh, o22=lower, o24=upper, o37=0.01), teeth=TEETH, harmonics=1)
    assert float(found.sideband_index) == pytest.approx(index.value, rel=index.tolerance)
    assert float(found.sideband_level_factor) == pytest.approx(factor.value, rel=factor.tolerance)


def test_the_energy_ratio_is_the_published_quotient() -> None:
    check = row("GN11")
    difference, regular = (np.sqrt(2) * check.given[key] for key in ("rms_difference", "rms_regular"))
    found = gear_indicators(orders(o23=regular, o37=difference, o1=5.0), teeth=TEETH, harmonics=2)
    assert float(found.energy_ratio) == pytest.approx(check.value, rel=check.tolerance)


def test_each_part_holds_its_orders_and_no_others() -> None:
    """GI02 and GI03."""
    wave = 7.0 + orders(o1=1.0, o2=2.0, o3=3.0, o22=4.0, o23=5.0, o24=6.0, o45=7.0, o46=8.0, o47=9.0, o69=10.0)
    parts = gear_signals(wave, teeth=TEETH, harmonics=2)
    np.testing.assert_allclose(parts.regular, orders(o22=4.0, o23=5.0, o24=6.0, o45=7.0, o46=8.0, o47=9.0), atol=1e-12)
    np.testing.assert_allclose(parts.residual, orders(o3=3.0, o22=4.0, o24=6.0, o45=7.0, o47=9.0, o69=10.0), atol=1e-12)
    np.testing.assert_allclose(parts.difference, orders(o3=3.0, o69=10.0), atol=1e-12)
    np.testing.assert_allclose(parts.mesh_amplitudes, [5.0, 8.0])
    np.testing.assert_allclose(parts.sideband_amplitudes, [4.0, 6.0])


@given(scale=st.floats(1e-9, 1e9), shift=st.integers(0, STEPS - 1), offset=st.floats(-10, 10))
@settings(max_examples=40)
def test_figures_change_neither_with_scale_nor_with_where_the_turn_begins(scale: float, shift: int, offset: float) -> None:
    wave = orders(o23=2.0, o46=1.0, o22=0.2, o24=0.1, o1=0.4) + 0.1 * noise(STEPS, seed=4)
    one = gear_indicators(wave, teeth=TEETH, harmonics=2)
    other = gear_indicators(scale * (np.roll(wave, shift) + offset), teeth=TEETH, harmonics=2)
    for name in ("fm0", "fm4", "m6a", "m8a", "energy_ratio", "sideband_level_factor"):
        assert float(getattr(other, name)) == pytest.approx(float(getattr(one, name)), rel=1e-6), name
    assert float(other.sideband_index) == pytest.approx(scale * float(one.sideband_index), rel=1e-6)


def test_a_tooth_that_knocks_is_seen_in_fm4_and_worn_teeth_in_the_energy_ratio() -> None:
    healthy = orders(o23=2.0, o46=1.0) + 0.05 * noise(STEPS, seed=5)
    knock = 0.8 * np.exp(-(((ANGLE - 2.5) / 0.06) ** 2)) * np.cos(80 * ANGLE)
    worn = healthy + 0.5 * noise(STEPS, seed=6)
    good, one_tooth, all_teeth = (gear_indicators(wave, teeth=TEETH, harmonics=2) for wave in (healthy, healthy + knock, worn))
    assert one_tooth.fm4 > 3 * good.fm4 and one_tooth.m6a / good.m6a > one_tooth.fm4 / good.fm4
    assert all_teeth.fm4 < 1.5 * good.fm4 and all_teeth.energy_ratio > 5 * good.energy_ratio


@pytest.mark.parametrize("harmonic", [1, 2, 3])
def test_the_modulation_of_a_harmonic_is_read_back(harmonic: int) -> None:
    swell, lag = 1 + 0.3 * np.cos(ANGLE - 1) + 0.1 * np.cos(3 * ANGLE), 0.05 * np.sin(2 * ANGLE + 0.4)
    wave = orders(o5=1.0) + 2.0 * swell * np.cos(harmonic * TEETH * ANGLE + 0.9 + lag)
    found = mesh_modulation(np.stack([wave, wave]), teeth=TEETH, harmonic=harmonic, sidebands=11)
    np.testing.assert_allclose(found.amplitude[1], 2.0 * swell, atol=1e-3)
    np.testing.assert_allclose(found.phase[0] - found.phase[0].mean(), lag - lag.mean(), atol=1e-3)


def test_float32_stays_and_batches_are_as_single_averages() -> None:
    waves = (1e-7 * (orders(o23=2.0, o46=1.0) + 0.1 * noise(5, STEPS, seed=7))).astype(np.float32)
    parts = gear_signals(waves, teeth=TEETH, harmonics=2)
    assert parts.difference.dtype == np.float32
    whole = gear_indicators(waves, teeth=TEETH, harmonics=2)
    for n in range(5):
        one = gear_indicators(waves[n], teeth=TEETH, harmonics=2)
        for name in ("fm0", "fm4", "m8a", "energy_ratio"):
            assert float(getattr(whole, name)[n]) == pytest.approx(float(getattr(one, name)), rel=1e-5)


BAD_AVERAGES = [
    (np.zeros(STEPS), TEETH, 2, "without a mesh"),
    (orders(o5=1.0), TEETH, 2, "without a mesh"),
    (orders(o23=1.0, o22=0.1), TEETH, 2, "nothing but regular mesh"),
    (np.full(STEPS, 0.1), TEETH, 2, "without a mesh"),
    (orders(o23=1.0), 3, 2, "at least 4"),
    (orders(o23=1.0), TEETH, 0, "at least 1"),
    (orders(o23=1.0), TEETH, 12, "at least 556"),
    (np.where(np.arange(STEPS) == 5, np.nan, 1.0), TEETH, 2, "first is at 5"),
    (np.ones(STEPS, complex), TEETH, 2, "real numbers"),
    (np.empty(0), TEETH, 2, "at least 96"),
]


@pytest.mark.parametrize(("average", "teeth", "harmonics", "says"), BAD_AVERAGES)
def test_averages_that_cannot_be_judged_are_refused(average: np.ndarray, teeth: int, harmonics: int, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        gear_indicators(average, teeth=teeth, harmonics=harmonics)


def test_moments_and_histories_of_nothing_are_refused() -> None:
    with pytest.raises(OutOfRange, match="constant"):
        standardised_moment(np.full((2, 50), 0.1), order=4)
    with pytest.raises(OutOfRange, match="4, 6 or 8"):
        standardised_moment(noise(50), order=5)
    with pytest.raises(OutOfRange, match="oldest first"):
        na4(noise(50))
    with pytest.raises(OutOfRange, match="constant"):
        na4(np.concatenate([np.full((1, 50), 0.1), noise(3, 50)]))
    with pytest.raises(OutOfRange, match="fewer than half"):
        mesh_modulation(orders(o23=1.0), teeth=TEETH, harmonic=1, sidebands=12)
    with pytest.raises(OutOfRange, match="without order 46"):
        mesh_modulation(orders(o23=1.0), teeth=TEETH, harmonic=2, sidebands=5)
    with pytest.raises(OutOfRange, match="at least 1"):
        mesh_modulation(orders(o23=1.0), teeth=TEETH, harmonic=0, sidebands=5)


@pytest.mark.recordings
def test_the_average_of_the_open_gear_pair_holds_all_the_power_of_its_mesh_and_sidebands(recordings: Path) -> None:
    """Channel 12 of its README: mesh 29.5, sidebands one pinion turn away 4.38 and 3.62, each the highest bin of a Hann spectrum.

    Such a reading is low by up to 1.42 dB (Harris 1978), and by what the wandering speed smears: the average, which follows the
    speed, must read no less, and as much as the power within 3 Hz of the line holds. Angle told by channel 14.
    """
    folder = recordings / "gear_pair_rig_2000rpm"
    told, record = (np.ravel(scipy.io.loadmat(folder / f"3027_217_Data_Chan{n}.mat")["Data1"]) for n in (14, 12))
    found = turning_from_mesh(transform(told, sample_rate_hz=25600.0), line_hz=766.605, cycles_per_turn=TEETH, half_width_hz=10.0)
    average = synchronous_average(record, found.turning, sample_rate_hz=25600.0, per_turn=STEPS)
    parts = gear_signals(average.values, teeth=TEETH, harmonics=5)
    spectrum = transform(record, sample_rate_hz=25600.0)
    lower, upper = (float(amplitude) for amplitude in parts.sideband_amplitudes)
    for away, read_off, ours in ((0.0, 29.5, float(parts.mesh_amplitudes[0])), (-33.33, 4.38, lower), (33.33, 3.62, upper)):
        rms = band_rms(spectrum, lowest_hz=766.605 + away - 3, highest_hz=766.605 + away + 3)
        assert ours > read_off
        assert ours == pytest.approx(np.sqrt(2) * float(rms), rel=0.03)
