"""One pass over many recordings: every figure against scipy or what the simulator was told, and batches against single ones."""

import gc
import weakref
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.fft
import scipy.signal
import scipy.stats
import xarray
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.errors import OutOfRange
from gearcase.job.build import load
from gearcase.judge.heard import Speed
from gearcase.signal.gear_indicators import gear_indicators
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import transform
from gearcase.signal.synchronous import synchronous_average, turning_from_marks
from gearcase.stages.indicator_table import indicator_table
from gearcase.stages.pictured import pictured
from test_signal_fuzz import records

DRIVE = load(Path(__file__).parents[1] / "examples" / "demo").drive
RATE, SPEED, SECONDS = 12800.0, 24.6, 20
DAMAGED = "intermediate bearing, left"
LEVELS = Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08)


def recorded(seed: int, *, impact: float = 0.0, seconds: int = SECONDS, **given: object) -> Recording:
    faults = [BearingFault(DAMAGED, "outer_race", impact, jitter=0.004)] if impact else []
    samples = simulate(
        DRIVE,
        speed_hz=SPEED,
        sample_rate_hz=RATE,
        samples=int(RATE * seconds),
        seed=seed,
        noise="resonant",
        faults=faults,
        levels=LEVELS,
    )
    facts = {"speed_hz": SPEED, "point": "intermediate left", "name": f"record {seed}"} | given
    return Recording(samples, RATE, "m/s2", **facts)  # type: ignore[arg-type]


RECORDINGS = [recorded(0), recorded(1, impact=2.0), recorded(2, impact=6.0)]


@pytest.fixture(scope="module")
def table() -> xarray.Dataset:
    return indicator_table(RECORDINGS, DRIVE)


def test_single_figures_are_scipys(table: xarray.Dataset) -> None:
    for n, recording in enumerate(RECORDINGS):
        x = recording.samples.astype(np.float64)
        x -= x.mean()
        one = table.isel(recording=n)
        assert float(one.rms) == pytest.approx(np.sqrt(np.mean(x**2)), rel=1e-4)
        assert float(one.peak) == pytest.approx(np.abs(x).max(), rel=1e-4)
        assert float(one.kurtosis) == pytest.approx(scipy.stats.kurtosis(x, fisher=False), rel=1e-4)
        hz, density = scipy.signal.welch(x, RATE, window="hann", nperseg=x.size)
        for name, lowest in (("overall_velocity", 10.0), ("overall_velocity_slow", 2.0)):
            band = (hz >= lowest) & (hz <= 1000)
            velocity = np.sqrt(np.sum(density[band] / (2 * np.pi * hz[band]) ** 2) * hz[1])
            assert float(one[name]) == pytest.approx(velocity, rel=0.01)


def test_octaves_are_those_of_a_filter_and_end_where_the_record_does(table: xarray.Dataset) -> None:
    """IEC 61260-1: mid-band 1000 x 10^(3 n / 10), edges a factor 10^(3/20) to either side."""
    assert list(table.band.values.round(-1)[6:9]) == [1000, 2000, 3980]
    x = RECORDINGS[0].samples
    for middle in (1000.0, 1995.26):
        edges = np.array([middle / 10**0.15, middle * 10**0.15])
        filtered = scipy.signal.sosfiltfilt(scipy.signal.butter(10, edges, btype="band", fs=RATE, output="sos"), x)
        assert float(table.band_rms.isel(recording=0).sel(band=middle, method="nearest")) == pytest.approx(filtered.std(), rel=0.03)
    assert bool(table.band_rms.sel(band=7943.3, method="nearest").isnull().all())


def test_lines_read_as_they_were_made(table: xarray.Dataset) -> None:
    """Meshes 0.8 / n at 17 teeth x 24.6 Hz; shafts 0.2 / n."""
    for n in (1, 2, 3):
        line = table.sel(line=f"high-speed mesh {n}x")
        assert line.amplitude.values == pytest.approx(0.8 / n, rel=0.05)
        assert line.found_hz.values == pytest.approx(n * 17 * SPEED, abs=0.02)
        assert (line.over_noise_db > 20).all()
    assert table.sel(line="input 1x").amplitude.values == pytest.approx(0.2, rel=0.25)
    assert table.speed_hz.values == pytest.approx(SPEED, rel=1e-5)


def test_a_fault_grows_in_the_envelope_at_its_own_bearing_and_nowhere_else(table: xarray.Dataset) -> None:
    races = table.envelope_over_noise_db.where((table.kind == "outer_race") & (table.harmonic == 1), drop=True)
    last = races.isel(recording=2)
    assert str(last.component[int(last.argmax("line"))].values) == DAMAGED
    of_it = races.where(races.component == DAMAGED, drop=True).values.ravel()
    assert of_it[2] > of_it[1] > of_it[0] and of_it[2] > 20


def test_the_kurtogram_finds_the_band_that_rings(table: xarray.Dataset) -> None:
    """The simulator's impacts ring at 3 kHz."""
    last = table.isel(recording=2)
    assert float(last.kurtogram_lowest) < 3000 < float(last.kurtogram_highest)
    assert float(last.kurtogram_kurtosis) > 5 * float(last.kurtogram_error)


def test_gear_figures_are_those_of_a_tachometer(table: xarray.Dataset) -> None:
    """The shaft turns evenly: marks at every turn tell the same average but for where it begins, which no figure sees."""
    shaft = turning_from_marks(np.arange(int(SECONDS * SPEED)) / SPEED)
    average = synchronous_average(RECORDINGS[0].samples, shaft, sample_rate_hz=RATE, per_turn=256)
    theirs = gear_indicators(average.values, teeth=17, harmonics=3)
    ours = table.isel(recording=0).sel(gear="high-speed mesh, input")
    assert float(ours.fm0) == pytest.approx(float(theirs.fm0), rel=0.05)
    assert float(ours.sideband_level_factor) == pytest.approx(float(theirs.sideband_level_factor), rel=0.05)
    assert float(ours.energy_ratio) == pytest.approx(float(theirs.energy_ratio), rel=0.1)
    assert int(ours.turns) == pytest.approx(SECONDS * SPEED, rel=0.05)
    assert str(ours.gear_why_not.values) == ""


def test_the_picture_of_an_average_turn_says_the_same_of_its_gear(table: xarray.Dataset) -> None:
    """Two gears share the intermediate shaft: what the other one meshes is no residual, in neither of the two."""
    record = RECORDINGS[0]
    speed = Speed(float(table.speed_hz[0]), None, 1e-4, "measured")
    spectrum = transform(record.samples, sample_rate_hz=RATE)
    drawn = pictured(record, spectrum, speed, drive=DRIVE, fastest_order=1.0)["average"]
    at = {float(gear): float(drawn["fm4"][drawn["gear"] == gear][0]) for gear in np.unique(drawn["gear"])}
    known = np.isfinite(table.fm4.values[0])
    assert known.sum() >= 3
    assert list(at.values()) == pytest.approx(table.fm4.values[0][known], rel=1e-3)


def test_na4_of_a_first_record_is_a_kurtosis_and_later_ones_remember_it(table: xarray.Dataset) -> None:
    again = indicator_table([RECORDINGS[0], RECORDINGS[0]], DRIVE)
    assert again.na4.values[1] == pytest.approx(again.na4.values[0])
    louder = replace(RECORDINGS[0], samples=2 * RECORDINGS[0].samples)
    grown = indicator_table([RECORDINGS[0], louder], DRIVE).na4
    assert grown.values[1] == pytest.approx(grown.values[0] * 4**2 / ((1 + 4) / 2) ** 2, rel=1e-3)
    elsewhere = indicator_table([RECORDINGS[0], replace(louder, point="output left")], DRIVE).na4
    assert elsewhere.values[1] == pytest.approx(elsewhere.values[0], rel=1e-3)


def test_recordings_together_give_what_they_give_alone() -> None:
    short = [recorded(seed, seconds=3) for seed in range(4)]
    dead = replace(short[0], samples=np.full_like(short[0].samples, 2.5), name="dead")
    mixed = [*short[:2], dead, RECORDINGS[0], *short[2:]]
    together = indicator_table(iter(mixed), DRIVE)
    for n, recording in enumerate(mixed):
        alone = indicator_table([recording], DRIVE).isel(recording=0).drop_vars(["na4"])
        xarray.testing.assert_allclose(together.isel(recording=n).drop_vars(["na4"]), alone, rtol=1e-4)


def test_what_cannot_be_had_is_missing_and_said() -> None:
    few = indicator_table([recorded(5, seconds=1)], DRIVE).isel(recording=0)
    assert bool(few.fm4.sel(gear="low-speed mesh, output").isnull())
    assert "turns in the record" in str(few.gear_why_not.sel(gear="low-speed mesh, output").values)
    quiet = replace(RECORDINGS[0], samples=np.random.default_rng(0).standard_normal(2**16), speed_hz=None)
    silent = indicator_table([quiet], DRIVE).isel(recording=0)
    assert bool(silent.speed_hz.isnull()) and "nobody has said at which speed" in str(silent.speed_from.values)
    assert bool(silent.amplitude.isnull().all()) and float(silent.rms) == pytest.approx(1, rel=0.02)


def test_recordings_are_let_go_once_they_are_measured() -> None:
    """Two of these fill a batch; while the next is filled the one before may still be held."""
    seen: list[weakref.ref[Recording]] = []

    def lazily() -> Iterator[Recording]:
        for n in range(12):
            gc.collect()
            assert sum(one() is not None for one in seen) <= 4
            recording = replace(RECORDINGS[0], name=str(n), samples=RECORDINGS[0].samples.copy())
            seen.append(weakref.ref(recording))
            yield recording
            del recording

    assert indicator_table(lazily(), DRIVE).sizes["recording"] == 12
    assert indicator_table([], DRIVE).sizes["recording"] == 0


def test_every_variable_has_its_unit(table: xarray.Dataset) -> None:
    assert [name for name in table.data_vars if name != "gear_why_not" and not table[name].attrs.get("units")] == []


@settings(max_examples=40, deadline=None)
@given(samples=records(), rate=st.sampled_from([1.0, 100.0, 12800.0, 1e7]))
def test_any_record_is_measured_or_refused(samples: np.ndarray, rate: float) -> None:
    try:
        found = indicator_table([Recording(samples, rate, "m/s2", speed_hz=SPEED, name="any")], DRIVE)
    except OutOfRange:
        return
    assert np.isfinite(found.rms.values).all()
    figures = [found[name].values for name in found.data_vars if name != "gear_why_not"]
    assert not any(np.isinf(values).any() for values in figures)
