"""The simulated drive against a line table written by hand, with numpy and scipy alone: none of gearcase's own signal code."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.simulate import BearingFault, Levels, Stranger, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.errors import OutOfRange
from gearcase.worked import Given, Origin

RATE, SAMPLES = 12800.0, 2**17
QUIET = Levels(shaft=0.5, mesh=1.0, noise_rms=0.001, modulation=0.2)

# Two stages, 17/71 and 19/91 teeth, input at 24 Hz. Worked by hand:
# intermediate 24 x 17 / 71 = 5.746479 Hz; output 5.746479 x 19 / 91 = 1.199814 Hz
# high-speed mesh 24 x 17 = 408 Hz; low-speed mesh 5.746479 x 19 = 109.183099 Hz; sidebands 408 +- 24 and 408 +- 5.746479
# shaft lines 0.5 / n; mesh 1 / n; a swing of 0.2 makes sidebands of 0.1
BY_HAND = {
    24.0: 0.5,
    48.0: 0.25,
    5.746479: 0.5,
    1.199814: 0.5,
    408.0: 1.0,
    816.0: 0.5,
    109.183099: 1.0,
    384.0: 0.1,
    432.0: 0.1,
    402.253521: 0.1,
    413.746479: 0.1,
}
# 6205 of tests/reference/bearings.csv, row B01: published outer race order 3.5848, inner 5.4152, defect 4.7135, cage 0.39828
BALL = Geometry(9, 0.3126 * 0.0254, 1.537 * 0.0254)
PUBLISHED = {"outer_race": 3.5848, "inner_race": 5.4152, "rolling_element": 4.7135}


def drive() -> Drive:
    return Drive(
        "two stages",
        (Shaft("input"), Shaft("intermediate"), Shaft("output")),
        (Mesh("high", "input", "intermediate", 17, 71), Mesh("low", "intermediate", "output", 19, 91)),
        (Bearing("ball", "input", None, BALL),),
        "input",
        (24.0, 24.0),
        24.0,
        Given("speed", 24.0, "Hz", Origin.MEASURED),
    )


def record(seed: int = 1, levels: Levels = QUIET, **options: object) -> np.ndarray:
    given = {"noise": "white", "levels": levels} | options
    return simulate(drive(), speed_hz=24.0, sample_rate_hz=RATE, samples=SAMPLES, seed=seed, **given)  # type: ignore[arg-type]


def amplitude(samples: np.ndarray, hz: float) -> float:
    """Amplitude of a sine at one frequency, by least squares on sine and cosine after a flat-top-like taper (numpy only)."""
    window = scipy.signal.windows.flattop(samples.size, sym=False)
    turned = np.exp(-2j * np.pi * hz * np.arange(samples.size) / RATE)
    return float(2 * np.abs(np.sum(samples * window * turned)) / window.sum())


@pytest.mark.parametrize(("hz", "expected"), BY_HAND.items())
def test_every_line_stands_where_and_as_high_as_worked_by_hand(hz: float, expected: float) -> None:
    assert amplitude(record().astype(float), hz) == pytest.approx(expected, rel=0.03)


def test_nothing_else_stands_out() -> None:
    spectrum = np.abs(np.fft.rfft(record() * np.hanning(SAMPLES))) * 4 / SAMPLES
    hz = np.arange(spectrum.size) * RATE / SAMPLES
    known = [n * f for f in (24.0, 5.746479, 1.199814) for n in (1, 2, 3)]
    for mesh, sides in ((408.0, (24.0, 5.746479)), (109.183099, (5.746479, 1.199814))):
        known += [n * mesh + shift for n in (1, 2, 3) for side in sides for shift in (-side, 0.0, side)]
    rest = np.min(np.abs(hz[:, None] - np.array(known)), axis=1) > 0.6
    assert spectrum[rest].max() < 0.003


@pytest.mark.parametrize(("fault", "order"), PUBLISHED.items())
def test_a_bearing_fault_shows_its_published_order_in_scipys_envelope(fault: str, order: float) -> None:
    samples = record(levels=Levels(noise_rms=0.5), faults=[BearingFault("ball", fault, impact=5.0, jitter=0.002)])
    band = scipy.signal.sosfiltfilt(scipy.signal.butter(4, [2000, 4500], "bandpass", fs=RATE, output="sos"), samples)
    envelope = np.abs(scipy.signal.hilbert(band)) ** 2
    spectrum = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(SAMPLES)))
    hz = np.arange(spectrum.size) * RATE / SAMPLES
    near = np.abs(hz / (order * 24.0) - 1) < 0.01
    around = np.abs(hz / (order * 24.0) - 1) < 0.1
    assert spectrum[near].max() > 10 * np.median(spectrum[around])
    assert hz[near][np.argmax(spectrum[near])] == pytest.approx(order * 24.0, rel=0.003)


@pytest.mark.parametrize(
    ("inner", "outer", "fault", "swings_hz"),
    [
        ("input", None, "inner_race", 24.0),
        ("input", None, "outer_race", None),
        (None, "input", "inner_race", None),
        (None, "input", "outer_race", 24.0),
        ("input", "intermediate", "inner_race", 24.0),
        ("input", "intermediate", "outer_race", 5.746479),
    ],
)
def test_a_spot_on_a_race_passes_the_load_zone_once_a_turn_of_its_own_ring(
    inner: str | None, outer: str | None, fault: str, swings_hz: float | None
) -> None:
    """Sidebands of the first line of the pass rate: 0.4 of it for a swing of 0.8, none for a ring that is held."""
    changed = replace(drive(), bearings=(Bearing("ball", inner, outer, BALL),))
    given = {"levels": Levels(0.0, 0.0, 0.05, 0.0), "faults": [BearingFault("ball", fault, 5.0, jitter=0.0)]}
    samples = simulate(changed, speed_hz=24.0, sample_rate_hz=RATE, samples=SAMPLES, seed=1, noise="white", **given)
    squared = samples.astype(float) ** 2
    slip = 24.0 + 5.746479 if inner and outer else 24.0  # the intermediate shaft turns the other way
    line = amplitude(squared, PUBLISHED[fault] * slip)
    for side in (24.0, 5.746479):
        beside = max(amplitude(squared, PUBLISHED[fault] * slip + sign * side) for sign in (-1, 1)) / line
        if side == swings_hz:
            assert beside > 0.3
        else:
            assert beside < 0.1


@pytest.mark.parametrize(
    ("fault", "line_hz", "swings_hz"),
    [("outer_race", 78.895385, 10.957692), ("inner_race", 118.343077, None), ("rolling_element", 52.596923, 6.574615)],
)
def test_the_bearing_of_a_planet_is_loaded_from_its_carrier_and_passes_the_sensor(
    fault: str, line_hz: float, swings_hz: float | None
) -> None:
    """Sun 21, planet 39, ring 99 held, sun at 24.6667 Hz, by hand: carrier 4.316667 Hz, planet on its pin 10.957692 Hz; with 18
    elements and (d/D) cos a = 0.2 outer race 9 x 0.8, inner race 9 x 1.2, element 5 x 0.96 times that, cage 0.6 times. Every line
    swells as the planet passes; what swings it besides stands out over the products of both,
    which are where the housing sees planet and cage turn: 10.9577 - 4.3167 and 6.574615 - 4.3167 Hz.
    """
    shafts = (Shaft("sun"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3))
    meshes = (Mesh("one", "sun", "planet", 21, 39), Mesh("two", "planet", "ring", 39, 99, kind="internal"))
    bearings = (Bearing("pin", "carrier", "planet", Geometry(18, 16e-3, 80e-3)),)
    changed = replace(drive(), shafts=shafts, meshes=meshes, bearings=bearings, reference_shaft="sun")
    given = {"levels": Levels(0.0, 0.0, 0.05, 0.0), "faults": [BearingFault("pin", fault, 5.0, jitter=0.0)]}
    samples = simulate(changed, speed_hz=74 / 3, sample_rate_hz=RATE, samples=SAMPLES, seed=1, noise="white", **given)
    squared = samples.astype(float) ** 2
    line = amplitude(squared, line_hz)
    assert line > 0.1

    def beside(side: float) -> float:
        return max(amplitude(squared, line_hz + sign * side) for sign in (-1, 1)) / line

    assert beside(4.316667) > 0.2
    if swings_hz is None:
        assert max(beside(10.957692), beside(6.574615)) < 0.05
    else:
        assert beside(swings_hz) > max(0.3, 1.5 * beside(swings_hz - 4.316667))


def test_a_rate_offset_moves_the_comb_and_nothing_else_does() -> None:
    samples = record(levels=Levels(noise_rms=0.2), faults=[BearingFault("ball", "outer_race", 5.0, rate_offset=0.01, jitter=0.0)])
    envelope = np.abs(scipy.signal.hilbert(samples)) ** 2
    spectrum = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(SAMPLES)))
    hz = np.arange(spectrum.size) * RATE / SAMPLES
    near = np.abs(hz / (3.5848 * 24.0) - 1) < 0.02
    assert hz[near][np.argmax(spectrum[near])] == pytest.approx(3.5848 * 24.0 * 1.01, rel=0.001)


def test_a_stranger_pulses_at_its_own_rate() -> None:
    samples = record(levels=Levels(noise_rms=0.2), strangers=[Stranger(47.3, 5.0, jitter=0.0)])
    envelope = np.abs(scipy.signal.hilbert(samples)) ** 2
    spectrum = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(SAMPLES)))
    hz = np.arange(spectrum.size) * RATE / SAMPLES
    near = np.abs(hz - 47.3) < 2
    assert hz[near][np.argmax(spectrum[near])] == pytest.approx(47.3, abs=0.15)


@pytest.mark.parametrize("noise", ["white", "sloping", "resonant", "impulsive"])
def test_noise_is_as_strong_as_asked(noise: str) -> None:
    silent = Levels(shaft=0.0, mesh=0.0, noise_rms=2.0, modulation=0.0)
    assert float(np.std(record(levels=silent, noise=noise))) == pytest.approx(2.0, rel=0.02)


def test_the_same_seed_gives_the_same_record_and_another_seed_another() -> None:
    np.testing.assert_array_equal(record(seed=3), record(seed=3))
    assert abs(np.corrcoef(record(3, Levels(0, 0, 1, 0)), record(4, Levels(0, 0, 1, 0)))[0, 1]) < 0.02


def test_a_fault_in_a_bearing_that_is_not_there_is_refused() -> None:
    with pytest.raises(OutOfRange, match="a bearing of the drive whose geometry is known"):
        record(faults=[BearingFault("attic", "outer_race", 1.0)])
