"""Simulated gear faults against rates and amplitudes worked by hand, with numpy alone: none of gearcase's own signal code.

Two stages, 17/71 and 19/91 teeth, input at 24 Hz: mesh 408 Hz, intermediate 24 x 17 / 71 = 5.746479 Hz, hunting tooth of the first
408 / (17 x 71) = 0.338028 Hz. Planetary set, sun 21, planet 39, ring 99 held, three planets, sun at 20 Hz: carrier 20 x 21 / 120 =
3.5 Hz, mesh 99 x 3.5 = 346.5 Hz; a sun tooth meets a planet 3 x 346.5 / 21 = 49.5 times a second, a ring tooth 3 x 3.5 = 10.5
times, a planet tooth one of its two gears 2 x 346.5 / 39 = 17.769231 times.
"""

import numpy as np
import pytest

from gearcase.drive.gear_faults import Eccentricity, GearFault, HuntingTooth, Knock, MeshMisalignment, ToothDamage, Wear, knocks
from gearcase.drive.simulate import Levels, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.errors import OutOfRange
from gearcase.worked import Given, Origin

RATE, SAMPLES = 12800.0, 2**17
PLAIN = Levels(shaft=0.0, mesh=1.0, noise_rms=1e-6, modulation=0.0)
SPEED = Given("speed", 24.0, "Hz", Origin.MEASURED)
TRAIN = Drive(
    "two stages",
    (Shaft("input"), Shaft("intermediate"), Shaft("output")),
    (Mesh("high", "input", "intermediate", 17, 71), Mesh("low", "intermediate", "output", 19, 91)),
    (),
    "input",
    (24.0, 24.0),
    24.0,
    SPEED,
)
PLANETARY = Drive(
    "planetary set",
    (Shaft("sun"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3)),
    (Mesh("inner", "sun", "planet", 21, 39), Mesh("outer", "planet", "ring", 39, 99, kind="internal")),
    (),
    "sun",
    (20.0, 20.0),
    20.0,
    SPEED,
)


def amplitudes(*faults: GearFault, drive: Drive = TRAIN, speed_hz: float = 24.0, levels: Levels = PLAIN) -> np.ndarray:
    samples = simulate(
        drive, speed_hz=speed_hz, sample_rate_hz=RATE, samples=SAMPLES, seed=3, noise="white", gear_faults=faults, levels=levels
    )
    window = np.hanning(SAMPLES)
    return np.abs(np.fft.rfft(samples * window)) * 2 / window.sum()


def at(spectrum: np.ndarray, hz: float) -> float:
    """Amplitude wherever between bins the line stands: power of its lobe over the window's noise bandwidth of 1.5 bins."""
    middle = round(hz * SAMPLES / RATE)
    return float(np.sqrt(np.sum(spectrum[middle - 3 : middle + 4] ** 2) / 1.5))


def test_runout_makes_one_pair_of_sidebands_of_its_own_shaft() -> None:
    """1 x (1 + 0.4 cos) makes 0.2 to either side."""
    found = amplitudes(Eccentricity("high", "input", depth=0.4))
    assert [at(found, 408.0 + side) for side in (-24.0, 24.0)] == pytest.approx([0.2, 0.2], rel=0.01)
    assert max(at(found, 408.0 + side) for side in (-48.0, 48.0, -5.746479, 5.746479)) < 0.01


def test_wear_lifts_every_harmonic_and_a_tilted_mesh_the_second_over_the_first() -> None:
    """Sound: 1, 1/2, 1/3."""
    worn = amplitudes(Wear("high", growth=2.0))
    assert at(worn, 408.0) == pytest.approx(2.0, rel=0.01)
    assert at(worn, 816.0) > 1.0 and at(worn, 1224.0) > 2 / 3
    tilted = amplitudes(MeshMisalignment("high", second=2.0))
    assert [at(tilted, hz) for hz in (408.0, 816.0, 1224.0)] == pytest.approx([1.0, 2.0, 1 / 3], rel=0.01)


def test_a_yielding_tooth_makes_many_sidebands_of_its_own_shaft() -> None:
    """A dip of 0.8 over 1.5 of 17 teeth: its mean, 0.4 x 1.5 / 17, is twice the amplitude of low orders to either side at most."""
    found = amplitudes(ToothDamage("high", "input", Knock(0.0), dip=0.8))
    sides = [at(found, 408.0 + n * 24.0) for n in (-6, -4, -3, -2, 2, 3, 4, 6)]
    assert all(0.01 < side < 0.4 * 1.5 / 17 for side in sides)
    assert at(found, 408.0 + 3 * 5.746479) < 0.005


@pytest.mark.parametrize(
    ("drive", "speed_hz", "fault", "rate_hz"),
    [
        (TRAIN, 24.0, ToothDamage("high", "input", Knock(5.0)), 24.0),
        (TRAIN, 24.0, ToothDamage("high", "intermediate", Knock(5.0)), 5.746479),
        (TRAIN, 24.0, HuntingTooth("high", Knock(5.0)), 0.338028),
        (PLANETARY, 20.0, ToothDamage("inner", "sun", Knock(5.0)), 49.5),
        (PLANETARY, 20.0, ToothDamage("outer", "ring", Knock(5.0)), 10.5),
        (PLANETARY, 20.0, ToothDamage("inner", "planet", Knock(5.0)), 17.769231),
    ],
)
def test_a_damaged_tooth_knocks_as_often_as_worked_by_hand(drive: Drive, speed_hz: float, fault: GearFault, rate_hz: float) -> None:
    turns, size = knocks(drive, fault, last_turn=100.0, seed=1)
    assert np.diff(turns) == pytest.approx(speed_hz / rate_hz, rel=1e-6)
    assert size.mean() == pytest.approx(1.0, abs=0.25) and size.min() > 0


def test_a_knock_of_the_ring_stays_at_its_place_and_one_of_the_sun_passes_the_sensor() -> None:
    sizes = {
        shaft: knocks(PLANETARY, ToothDamage(mesh, shaft, Knock(5.0)), last_turn=200.0, seed=1)[1]
        for mesh, shaft in (("inner", "sun"), ("outer", "ring"))
    }
    assert sizes["sun"].std() > 3 * sizes["ring"].std()


def test_a_mesh_or_shaft_that_is_not_there_is_refused() -> None:
    with pytest.raises(OutOfRange, match="a mesh of the drive"):
        knocks(TRAIN, ToothDamage("nowhere", "input", Knock(1.0)), last_turn=1.0, seed=1)
    with pytest.raises(OutOfRange, match="one of the shafts of 'high'"):
        knocks(TRAIN, ToothDamage("high", "output", Knock(1.0)), last_turn=1.0, seed=1)
