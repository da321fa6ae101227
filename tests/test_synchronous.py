"""Angle, order tracking and the synchronous average: exact waves of known angle, scipy's resampler, published noise reduction."""

from pathlib import Path

import numpy as np
import pytest
import scipy.io
import scipy.ndimage
import scipy.signal
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.signal.averaging import highest_line
from gearcase.signal.spectrum import amplitude_spectrum, transform
from gearcase.signal.synchronous import (
    SynchronousAverage,
    Turning,
    _between,
    resample_to_angle,
    synchronous_average,
    turning_from_marks,
    turning_from_mesh,
)
from gearcase.signal.tachometer import read_pulses
from published import Check, check_id, checks

RATE = 10000.0


def noise(*shape: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(shape)


def swinging(samples: int, *, hz: float, share: float, swing_hz: float = 0.4) -> tuple[np.ndarray, np.ndarray]:
    """Time, and turns of a shaft whose speed swings by a share of it."""
    t = np.arange(samples) / RATE
    return t, hz * t + share * hz / (2 * np.pi * swing_hz) * np.sin(2 * np.pi * swing_hz * t)


def marks_of(t: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """Times of whole turns."""
    return np.interp(np.arange(1, int(turns[-1]) + 1), turns, t)


@pytest.mark.parametrize("check", checks("signal_checks.csv", "ST"), ids=check_id)
def test_noise_falls_as_published(check: Check) -> None:
    turns = check.given["averages"]
    average = SynchronousAverage(np.zeros(8), np.zeros(8), turns)
    assert average.noise_reduction_db == pytest.approx(check.value, rel=check.tolerance)
    shaft = Turning(np.arange(turns + 2) / 20, np.arange(turns + 2.0))
    found = synchronous_average(noise(60, round(RATE * (turns + 1) / 20), seed=turns), shaft, sample_rate_hz=RATE, per_turn=250)
    assert found.turns == turns
    single = np.sqrt(turns) * found.standard_error  # the scatter of single turns
    fallen = np.mean(single**2) / found.values.var(axis=-1).mean()
    assert 10 * np.log10(fallen) == pytest.approx(check.value, abs=0.5)


def test_at_steady_speed_it_is_scipys_resampler() -> None:
    """100 turns of 100 samples read at 64 steps; scipy.signal.resample is exact for periodic records without content above."""
    angle = 2 * np.pi * np.arange(10000) / 100
    x = np.sum([np.cos(k * angle + k) / k for k in (1, 2, 5, 11, 23)], axis=0) + 0.5 * np.cos(0.13 * angle * 7)
    shaft = Turning(np.arange(0, 10001, 50) / RATE, np.arange(0, 10001, 50) / 100)
    found = resample_to_angle(x, shaft, sample_rate_hz=RATE, per_turn=64)
    theirs = scipy.signal.resample(x, 6400)
    inside = slice(640, found.values.size - 640)
    np.testing.assert_allclose(found.values[inside], theirs[inside], atol=2e-3)


@pytest.mark.parametrize("share", [0.002, 0.02, 0.1])
def test_order_tracking_is_a_general_resampler_read_where_the_angle_is(share: float) -> None:
    """soxr brings noise in a band to 32 times its rate; straight lines between are then good to (2 pi 600 / 320000)^2 / 8."""
    t, turns = swinging(20000, hz=25, share=share)
    x = scipy.signal.sosfiltfilt(scipy.signal.butter(8, 600, fs=RATE, output="sos"), noise(20000, seed=1))
    found = resample_to_angle(x, Turning(t[::40], turns[::40]), sample_rate_hz=RATE, per_turn=256)
    finer = soxr.resample(x, RATE, 32 * RATE, quality="VHQ")
    angle = found.first_turn + np.arange(found.values.size) / 256
    theirs = np.interp(np.interp(angle, turns, t), np.arange(finer.size) / (32 * RATE), finer)
    inside = slice(2560, -2560)
    assert np.abs(found.values - theirs)[inside].max() < 2e-3 * x.std()


@given(share=st.floats(0.0, 0.05), cycles=st.integers(1, 60), hz=st.floats(10, 40))
@settings(max_examples=30, deadline=None)
def test_a_wave_locked_to_a_swinging_shaft_is_even_in_angle(share: float, cycles: int, hz: float) -> None:
    t, turns = swinging(20000, hz=hz, share=share)
    shaft = Turning(t[::40], turns[::40])
    found = resample_to_angle(np.cos(2 * np.pi * cycles * turns), shaft, sample_rate_hz=RATE, per_turn=256)
    expected = np.cos(2 * np.pi * cycles * (found.first_turn + np.arange(found.values.size) / 256))
    inside = slice(256, -256)
    assert np.abs(found.values - expected)[inside].max() < 5e-3


def test_a_record_that_ends_anywhere_is_read_right_a_turn_inside_its_ends() -> None:
    t = np.arange(8000) / 4000
    turns = 20 * t + 0.5 * t**2
    found = resample_to_angle(np.cos(2 * np.pi * 5 * turns), Turning(t[::50], turns[::50]), sample_rate_hz=4000.0, per_turn=64)
    expected = np.cos(2 * np.pi * 5 * np.arange(found.values.size) / 64)
    assert np.abs(found.values - expected)[64:-64].max() < 1e-4
    assert np.abs(found.values - expected).max() < 5e-3


@pytest.mark.parametrize("share", [0.002, 0.01, 0.03])
def test_orders_smeared_over_a_spectrum_are_lines_in_an_order_spectrum(share: float) -> None:
    t, turns = swinging(60000, hz=25, share=share)
    x = np.cos(2 * np.pi * 23 * turns) + 0.5 * np.cos(2 * np.pi * 24 * turns)
    shaft = turning_from_marks(marks_of(t, turns))
    angular = resample_to_angle(x, shaft, sample_rate_hz=RATE, per_turn=128)
    orders = transform(angular.values, sample_rate_hz=angular.per_turn)
    amplitude = amplitude_spectrum(orders)
    for order, known in ((23, 1.0), (24, 0.5)):
        line = highest_line(amplitude, bin_hz=orders.bin_hz, window="hann", lowest_hz=order - 0.3, highest_hz=order + 0.3)
        assert float(line.hz) == pytest.approx(order, abs=1e-3)
        assert float(line.amplitude) == pytest.approx(known, rel=0.01)
    in_time = amplitude_spectrum(transform(x, sample_rate_hz=RATE))
    assert in_time.max() < 0.75


def test_what_the_steps_cannot_show_is_taken_out_and_does_not_fold() -> None:
    t, turns = swinging(20000, hz=25, share=0.01)
    x = np.cos(2 * np.pi * 100 * turns)
    found = resample_to_angle(x, Turning(t[::40], turns[::40]), sample_rate_hz=RATE, per_turn=128)
    assert np.abs(found.values[128:-128]).max() < 0.01


def test_the_average_keeps_the_shafts_own_wave_and_loses_the_others() -> None:
    t, turns = swinging(100000, hz=25, share=0.005)
    own = lambda a: np.cos(2 * np.pi * 21 * a) + 0.3 * np.cos(2 * np.pi * a)  # noqa: E731
    other = np.cos(2 * np.pi * 34 * turns * 21 / 67)  # an order of the other shaft that is no order of this one
    x = own(turns) + other + noise(t.size, seed=3)
    shaft = turning_from_marks(marks_of(t, turns))
    found = synchronous_average(x, shaft, sample_rate_hz=RATE, per_turn=256)
    error = found.values - own(np.arange(256) / 256)
    assert found.turns in (247, 248)
    assert error.std() == pytest.approx(found.standard_error.mean(), rel=0.3)
    wheel = synchronous_average(x, shaft.geared(21 / 67), sample_rate_hz=RATE, per_turn=512)
    orders = np.abs(np.fft.rfft(wheel.values)) / 256
    assert orders[34] == pytest.approx(1, abs=0.05) and orders[67] == pytest.approx(1, abs=0.05)


def test_batches_share_a_turning_and_float32_stays() -> None:
    t, turns = swinging(20000, hz=25, share=0.01)
    x = (np.stack([np.cos(2 * np.pi * k * turns) for k in (5, 9, 13)]) + 0.1 * noise(3, t.size)).astype(np.float32)
    shaft = Turning(t[::40], turns[::40])
    whole = synchronous_average(x, shaft, sample_rate_hz=RATE, per_turn=128)
    assert whole.values.dtype == whole.standard_error.dtype == np.float32
    for n in range(3):
        one = synchronous_average(x[n], shaft, sample_rate_hz=RATE, per_turn=128)
        np.testing.assert_allclose(whole.values[n], one.values, atol=1e-5)


@given(scale=st.floats(1e-6, 1e6), weight=st.floats(-3, 3))
@settings(max_examples=15, deadline=None)
def test_the_average_is_linear(scale: float, weight: float) -> None:
    t, turns = swinging(10000, hz=25, share=0.01)
    shaft = Turning(t[::40], turns[::40])
    x, y = noise(2, t.size, seed=5)
    average = lambda record: synchronous_average(record, shaft, sample_rate_hz=RATE, per_turn=64).values  # noqa: E731
    np.testing.assert_allclose(average(scale * (x + weight * y)) / scale, average(x) + weight * average(y), atol=1e-9)


@pytest.mark.parametrize(("share", "half_width"), [(0.0, 5.0), (0.002, 10.0), (0.01, 20.0)])
def test_the_phase_of_a_mesh_line_tells_the_angle(share: float, half_width: float) -> None:
    """A gear of 29 teeth at 25 Hz with sidebands, noise as strong as its mesh, and a stranger."""
    t, turns = swinging(100000, hz=25, share=share)
    mesh = (1 + 0.4 * np.cos(2 * np.pi * turns)) * np.cos(2 * np.pi * 29 * turns + 0.3 * np.sin(2 * np.pi * turns))
    x = mesh + 0.7 * noise(t.size, seed=6) + np.sin(2 * np.pi * 1111 * t)
    found = turning_from_mesh(transform(x, sample_rate_hz=RATE), line_hz=725.0, cycles_per_turn=29, half_width_hz=half_width)
    known = np.interp(found.turning.at_s, t, turns)
    error = found.turning.turns - known
    assert np.ptp(error - error.mean()) < 0.006  # turns; a sixth of a tooth
    assert found.deviation_hz == pytest.approx(share * 725, abs=3.0)
    assert found.turning.mean_hz == pytest.approx((known[-1] - known[0]) / np.ptp(found.turning.at_s), rel=1e-5)


def test_with_and_without_a_tachometer_the_average_is_the_same_but_for_where_it_begins() -> None:
    t, turns = swinging(100000, hz=25, share=0.003)
    tooth = np.exp(-((((turns % 1) - 0.3) / 0.01) ** 2))
    x = (1 + 0.1 * np.cos(2 * np.pi * turns)) * np.cos(2 * np.pi * 29 * turns) + 0.5 * tooth + 0.3 * noise(t.size, seed=7)
    places = np.arange(1, 4 * int(turns[-1])) / 4
    places += np.resize([0, 0.01, 0.005, -0.008], places.size) + 2e-4 * noise(places.size, seed=8)
    pulses = np.interp(places, turns, t)
    with_marks = synchronous_average(x, turning_from_marks(read_pulses(pulses).mark_s), sample_rate_hz=RATE, per_turn=512)
    told = turning_from_mesh(transform(x, sample_rate_hz=RATE), line_hz=725.0, cycles_per_turn=29, half_width_hz=12.0)
    without = synchronous_average(x, told.turning, sample_rate_hz=RATE, per_turn=512)
    circle = np.fft.irfft(np.fft.rfft(with_marks.values) * np.conj(np.fft.rfft(without.values)))
    likeness = circle.max() / np.sqrt(np.sum(with_marks.values**2) * np.sum(without.values**2))
    assert likeness > 0.98


def test_a_line_that_moves_too_far_for_the_band_or_fades_is_refused_with_the_cure() -> None:
    _, turns = swinging(50000, hz=25, share=0.02)
    asked = {"line_hz": 725.0, "cycles_per_turn": 29}
    of = lambda x: transform(x, sample_rate_hz=RATE)  # noqa: E731
    mesh = of(np.cos(2 * np.pi * 29 * turns))
    with pytest.raises(OutOfRange, match="widen the band, or take a lower harmonic"):
        turning_from_mesh(mesh, half_width_hz=20.0, **asked)  # it moves by 14.5 Hz, over half of that
    with pytest.raises(OutOfRange, match="its phase is lost"):
        turning_from_mesh(of(noise(50000)), half_width_hz=12.0, **asked)
    with pytest.raises(OutOfRange, match="its phase is lost"):
        turning_from_mesh(of(np.zeros(50000)), half_width_hz=12.0, **asked)
    wide = turning_from_mesh(mesh, half_width_hz=40.0, **asked)
    assert wide.deviation_hz == pytest.approx(0.02 * 725, rel=0.05)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"half_width_hz": 1.0}, "16 bins"),
        ({"half_width_hz": 400.0}, "half of line_hz"),
        ({"line_hz": 4995.0}, "below half the sample rate"),
        ({"cycles_per_turn": 0}, "at least 1"),
        ({"samples": noise(2, 20000)}, "one record at a time"),
    ],
)
def test_bands_and_records_that_cannot_tell_an_angle_are_refused(change: dict[str, object], says: str) -> None:
    asked = {
        "samples": noise(20000),
        "line_hz": 725.0,
        "cycles_per_turn": 29,
        "half_width_hz": 12.0,
    } | change
    with pytest.raises(OutOfRange, match=says):
        turning_from_mesh(transform(asked.pop("samples"), sample_rate_hz=RATE), **asked)  # type: ignore[arg-type]


def test_turnings_that_are_none_are_refused() -> None:
    shaft = Turning(np.arange(12) / 20, np.arange(12.0))
    x = noise(5000)
    for marks, says in [
        (np.array([0.0, 0.1, 0.1, 0.2]), "not rising"),
        (np.array([0.0, 0.1]), "at least 4"),
        (np.array([0, 1, 2, np.nan]), "finite"),
    ]:
        with pytest.raises(OutOfRange, match=says):
            turning_from_marks(marks)
    for samples, turning, per_turn, says in [
        (x, shaft, 1, "at least 2 steps"),
        (x[:32], shaft, 64, "at least 64"),
        (x[:700], Turning(shaft.at_s + 0.02, shaft.turns - 0.1), 64, "at least one whole turn"),
        (x, Turning(shaft.at_s + 9, shaft.turns), 64, "within the record"),
        (x, Turning(np.array([0, 0.1, 0.2, 0.201, 0.4]), np.array([0.0, 1, 2, 4, 5])), 64, "backward|rise"),
        (np.empty((0, 5000)), shaft, 64, "at least one record"),
    ]:
        with pytest.raises(OutOfRange, match=says):
            resample_to_angle(samples, turning, sample_rate_hz=RATE, per_turn=per_turn)
    with pytest.raises(OutOfRange, match="two whole turns"):
        synchronous_average(x[:1000], shaft, sample_rate_hz=RATE, per_turn=64)
    with pytest.raises(OutOfRange, match="above 0"):
        shaft.geared(0.0)


@pytest.mark.recordings
@pytest.mark.parametrize("channel", [12, 13, 14, 15])
def test_the_average_of_the_open_gear_pair_shows_its_23_teeth(channel: int, recordings: Path) -> None:
    """Mesh 766.605 Hz, 33.331 Hz: 23 teeth (its README). No tachometer: the angle is told by channel 14's mesh, half width 10 Hz,
    under the 16.67 Hz to the nearest documented sideband.
    """
    folder = recordings / "gear_pair_rig_2000rpm"
    told, record = (np.ravel(scipy.io.loadmat(folder / f"3027_217_Data_Chan{n}.mat")["Data1"]) for n in (14, channel))
    found = turning_from_mesh(transform(told, sample_rate_hz=25600.0), line_hz=766.605, cycles_per_turn=23, half_width_hz=10.0)
    assert found.turning.mean_hz == pytest.approx(33.331, abs=0.02)
    average = synchronous_average(record, found.turning, sample_rate_hz=25600.0, per_turn=512)
    orders = np.abs(np.fft.rfft(average.values)) / 256
    strong = set(np.argsort(orders[2:130])[-3:] + 2)
    assert strong & {23, 46, 69, 92, 115}, strong
    mesh = orders[[23, 46, 69, 92, 115]]
    assert mesh.max() == orders[2:130].max()


def test_a_spline_is_read_between_its_places_as_a_general_purpose_library_reads_it() -> None:
    """scipy.ndimage.map_coordinates, degree 5, the last place next to the first; two channels, places beyond both ends."""
    coefficients, places = noise(2, 500), np.linspace(-3.0, 502.0, 1777)
    expected = [
        scipy.ndimage.map_coordinates(row, places[None], order=5, mode="grid-wrap", prefilter=False) for row in coefficients
    ]
    np.testing.assert_allclose(_between(coefficients, places), expected, rtol=0, atol=1e-12)
