"""The two records a drive asks for, what collides in them, sensor range and noise, and what fetching costs.

Published rows stand in tests/reference; other expectations are sums by hand or come from scipy and numpy, as said beside them.
"""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from gearcase.drawings.survey_blocks import survey_blocks
from gearcase.drawings.text import survey_text
from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.collisions import CURES, Collision, collisions
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.measurement import (
    LONGEST_RECORD,
    MeasurementPlan,
    averages_of_record,
    bin_width,
    lines_of_resolution,
    mean_power_error,
    measurement_plan,
    record_length_for_separation,
    record_samples,
    record_time,
)
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.bus import record_interval, transaction_time, waveform_time
from gearcase.install.housing import Bus
from gearcase.install.mounting import mount_names, mount_sight, sight
from gearcase.install.points import Point, Sensor
from gearcase.install.sensing import acceleration_of_line, expected_peak, line_over_noise, velocity_noise
from gearcase.job.build import Job, load
from gearcase.stages import survey
from gearcase.worked import Given, Origin
from published import Check, check_id, checks

EXAMPLES = Path(__file__).parents[1] / "examples"
G = 9.80665  # m/s2, 3rd CGPM 1901


def train(teeth: list[int], input_hz: tuple[float, float], bearings: tuple[Bearing, ...] = ()) -> Drive:
    """A parallel-axis train on shafts 1, 2, ...: pinion, wheel, pinion, wheel, ..."""
    stages = len(teeth) // 2
    return Drive(
        "train",
        tuple(Shaft(f"shaft {n}") for n in range(1, stages + 2)),
        tuple(Mesh(f"mesh {n + 1}", f"shaft {n + 1}", f"shaft {n + 2}", teeth[2 * n], teeth[2 * n + 1]) for n in range(stages)),
        bearings,
        "shaft 1",
        input_hz,
        input_hz[1],
        Given("input speed", input_hz[1], "Hz", Origin.NAMEPLATE),
    )


def planned(drive: Drive) -> MeasurementPlan:
    return measurement_plan(drive, expected_lines(drive))


CONVEYOR = train([17, 71, 19, 91], (15.0, 24.75))


@pytest.mark.parametrize(("spread", "wanted"), [(0.0, 13200.0), (0.3, 17160.0)])
def test_the_highest_frequency_reaches_the_top_of_what_an_inner_race_may_be(spread: float, wanted: float) -> None:
    """By hand: 12 x (1 + 0.1) / 2 x 200 Hz is 1320 Hz, times 10 by the trade's rule; 30 % more where it is known no better."""
    inside = Geometry(12, 1e-3, 10e-3, 0.0, Origin.ESTIMATED, spread)
    fast = train([10, 10], (100.0, 200.0), (Bearing("bearing", "shaft 1", None, inside),))
    highest = planned(fast).short.highest
    assert highest.inputs["inner_race_hz"].value == pytest.approx(wanted / 10) and highest.value == pytest.approx(wanted)


class TestSums:
    @pytest.mark.parametrize("check", checks("signal_checks.csv", "SF"), ids=check_id)
    def test_set_up_agrees_with_published_rows(self, check: Check) -> None:
        lines, highest, ratio = (float(check.given[key]) for key in ("lines", "fmax_hz", "ratio"))
        length, rate = lines / highest, ratio * highest
        found = {
            "record_s": record_time(samples=record_samples(rate_hz=rate, window_s=length, windows=1), rate_hz=rate),
            "resolution_hz": bin_width(length_s=length, windows=1),
            "sample_rate_hz": rate,
            "samples": record_samples(rate_hz=rate, window_s=length, windows=1),
        }
        assert found[check.quantity] == pytest.approx(check.value, abs=check.tolerance)
        assert lines_of_resolution(highest_hz=highest, resolution_hz=found["resolution_hz"]) == lines

    def test_averages_and_error_agree_with_noise_cut_by_scipy(self) -> None:
        """Welch's method of scipy on white noise: how many windows it takes, and how far one bin's mean power scatters."""
        windows, size = 4, 256
        noise = np.random.default_rng(4).standard_normal((4000, windows * size))
        _, power = scipy.signal.welch(noise, window="hann", nperseg=size, noverlap=size // 2)
        _, _, columns = scipy.signal.spectrogram(noise[0], window="hann", nperseg=size, noverlap=size // 2)
        averages = averages_of_record(windows=windows)
        assert columns.shape[-1] == averages
        scatter = power[:, 10:-10].std(axis=0) / power[:, 10:-10].mean(axis=0)
        assert mean_power_error(averages=averages) == pytest.approx(scatter.mean(), rel=0.01)

    def test_half_overlapped_hann_windows_share_a_sixth(self) -> None:
        """Correlation from the window itself: with n averages the variance is (1 + 2 c2) / n - 2 c2 / n2 (Welch 1967)."""
        window = scipy.signal.get_window("hann", 4096)
        shared = (window[:2048] @ window[2048:] / (window @ window)) ** 2
        by_hand = math.sqrt((1 + 2 * shared) / 7 - 2 * shared / 49)
        assert mean_power_error(averages=7) == pytest.approx(by_hand, rel=1e-3)

    @given(st.floats(1.0, 1e5), st.floats(0.01, 600.0), st.sampled_from([1, 2, 4, 8]))
    def test_samples_are_the_least_power_of_two_that_holds_the_window(self, rate: float, window: float, windows: int) -> None:
        samples = record_samples(rate_hz=rate, window_s=window, windows=windows)
        one = samples / windows
        assert math.log2(one) == int(math.log2(one))
        assert one >= rate * window * (1 - 1e-9) and one / 2 < rate * window

    def test_lines_at_the_separating_length_show_a_dip_between_them(self) -> None:
        """Two equal sines in quadrature, Hann window by scipy: a dip at the stated length; none at a third of it."""
        gap, rate = 0.5, 256.0

        def dip(length: float) -> bool:
            t = np.arange(int(rate * length)) / rate
            wave = np.sin(2 * np.pi * 40.0 * t) + np.cos(2 * np.pi * (40.0 + gap) * t)
            spectrum = np.abs(np.fft.rfft(wave * scipy.signal.get_window("hann", t.size), 64 * t.size))
            hz = np.arange(spectrum.size) * rate / (64 * t.size)
            between = spectrum[(hz > 39.9) & (hz < 40.6 + gap)]
            return scipy.signal.find_peaks(between, prominence=0.1 * between.max())[0].size == 2

        needed = record_length_for_separation(gap_hz=gap)
        assert dip(needed) and not dip(needed / 3)

    def test_what_cannot_be_is_refused(self) -> None:
        with pytest.raises(OutOfRange, match="each above 0"):
            record_samples(rate_hz=0.0, window_s=1.0, windows=1)
        with pytest.raises(OutOfRange, match="1 or more"):
            mean_power_error(averages=0)


class TestPlan:
    def test_short_record_of_the_conveyor_by_hand(self) -> None:
        """17 teeth at 24.75 Hz mesh at 420.75 Hz, so the envelope band asks most: 5000 Hz, 12,800 Hz. Ten turns at 15 Hz take 2/3
        s, 8534 samples, 2^14 a window, four windows.
        """
        short = planned(CONVEYOR).short
        assert (short.highest.value, short.rate.value) == (5000.0, pytest.approx(12800.0))
        assert short.needed.value == pytest.approx(10 / 15)
        assert (short.samples.value, short.length.value) == (65536, pytest.approx(5.12))
        assert (short.resolution.value, short.spectral_lines.value) == (pytest.approx(12800 / 16384), 6400)
        assert short.averages.value == 7

    def test_long_record_of_the_conveyor_by_hand(self) -> None:
        """Output turns at 15 x 17/71 x 19/91 = 0.74988 Hz: 20 turns take 26.7 s. Its mesh hunts at 15 x 17/71 / 91 Hz: 76 s.
        Highest line 3 x 112.595 + 3 x 5.926 = 355.56 Hz, the third sideband by the intermediate shaft above mesh 3x.
        """
        long = planned(CONVEYOR).long
        assert long.needed.inputs["turns"].value == pytest.approx(20 / 0.749884, rel=1e-5)
        assert long.needed.inputs["hunting"].value == pytest.approx(3 * 91 * 71 / (15 * 17), rel=1e-9)
        assert long.needed.value == long.needed.inputs["hunting"].value
        assert long.highest.value == pytest.approx(355.563, abs=0.001)
        assert long.samples.value == 131072 and long.averages.value == 1 and long.error.value == 1
        assert long.turns["shaft 3"] >= 20

    @given(
        st.lists(st.integers(12, 120), min_size=2, max_size=6).filter(lambda teeth: len(teeth) % 2 == 0),
        st.floats(1.0, 60.0),
        st.floats(1.0, 4.0),
    )
    def test_every_drive_gets_records_that_hold_what_they_are_for(self, teeth: list[int], low: float, over: float) -> None:
        drive = train(teeth, (low, low * over))
        lines = expected_lines(drive)
        plan = measurement_plan(drive, lines)
        slowest = min(line.hz(low) for line in lines if line.kind == "shaft" and line.harmonic == 1)
        assert plan.long.length.value >= 20 / slowest * (1 - 1e-9)
        assert slowest / plan.long.resolution.value >= 3  # its sidebands stand three bins apart
        fastest = max(line.hz(low) for line in lines if line.kind == "shaft" and line.harmonic == 1)
        assert fastest / plan.short.resolution.value >= 10 * (1 - 1e-9)
        mesh = max(line.hz(low * over) for line in lines if line.kind == "mesh" and line.harmonic == 1)
        assert plan.short.rate.value >= 2.56 * 3.25 * mesh * (1 - 1e-9)
        for record in (plan.short, plan.long):
            assert record.rate.value > 2 * record.highest.value
            for worked in (record.samples, record.length, record.error, record.spectral_lines, record.steadiness):
                assert worked.recalculate() == worked.value
        for tooth in plan.hunting:
            assert tooth.held == (tooth.needed.value <= LONGEST_RECORD)
            assert not tooth.held or plan.long.length.value >= tooth.needed.value * (1 - 1e-9)

    def test_a_hunting_tooth_that_takes_too_long_is_left_out_and_said(self) -> None:
        """71 and 113 teeth: the pair meets once in 113 turns of shaft 1, at 0.5 Hz 226 s, three of them 678 s."""
        plan = planned(train([71, 113], (0.5, 0.5)))
        (tooth,) = plan.hunting
        assert not tooth.held and tooth.needed.value == pytest.approx(678.0)
        assert plan.long.needed.inputs["hunting"].value == 0

    def test_a_speed_wander_of_more_than_is_allowed_smears_the_highest_line(self) -> None:
        """A chirp by scipy: within the allowance nearly all its power stays in three bins. At twenty times it sweeps twenty bins,
        of which the middle three hold the middle of the Hann window: about 3 / 20 x 8 / 3 = 0.4 of its power.
        """
        record = planned(CONVEYOR).long
        highest, length, size = record.highest.value, record.length.value, int(record.samples.value)
        t = np.arange(size) * length / size

        def held(wander: float) -> float:
            wave = scipy.signal.chirp(t, highest * (1 - wander), length, highest * (1 + wander))
            power = np.abs(np.fft.rfft(wave * scipy.signal.get_window("hann", size))) ** 2
            top = int(power.argmax())
            return float(power[top - 1 : top + 2].sum() / power.sum())

        assert held(record.steadiness.value) > 0.95
        assert held(20 * record.steadiness.value) == pytest.approx(0.4, abs=0.1)

    def test_a_machine_without_gears_has_its_long_record_for_its_shaft(self) -> None:
        plan = planned(train([], (10.0, 10.0)))
        assert plan.long.length.value >= 2.0 and plan.long.highest.value == 30.0 and plan.hunting == ()


def line(name: str, order: float, *, kind: str = "shaft", harmonic: int = 1, spread: float = 0.0, component: str = "") -> Line:
    return Line(name, component or name, kind, harmonic, order, "a", spread, Origin.ASSUMED)


def met(*lines: Line, speed_hz: tuple[float, float] = (10.0, 20.0), length: float = 2.0) -> tuple[Collision, ...]:
    return collisions(lines, speed_hz=speed_hz, records=[(1e4, length)])


class TestCollisions:
    def test_a_pair_too_close_for_the_record_gets_the_length_that_separates_it(self) -> None:
        """Orders 4 and 4.05 at 10 Hz stand 0.5 Hz apart: three bins take 6 s; at 6 s they are told apart."""
        (pair,) = met(line("a", 4.0), line("b", 4.05))
        assert (pair.kind, pair.speed_hz) == ("close", 10.0)
        assert pair.gap_hz == pytest.approx(0.5) and pair.record_length == pytest.approx(6.0)
        assert met(line("a", 4.0), line("b", 4.05), length=6.01) == ()

    def test_pairs_that_are_no_neighbours_are_found_too(self) -> None:
        """Between a and c stands b of the same part as a: the pair a and c is still met."""
        pairs = met(line("a", 4.0, component="p"), line("b", 4.01, component="p"), line("c", 4.02))
        assert [(pair.first, pair.second, pair.alike) for pair in pairs] == [("b", "c", 2)]

    def test_one_size_on_one_shaft_coincides_and_no_record_helps(self) -> None:
        (pair,) = met(line("a", 3.5848), line("b", 3.5848), length=1e9)
        assert (pair.kind, pair.record_length, pair.gap_hz) == ("coincide", None, 0.0)

    def test_bands_wider_than_their_distance_overlap_and_no_record_helps(self) -> None:
        """Orders 4 and 4.1 stand 2.5 % apart; with 1.5 % either way they overlap, with 1 % they do not."""
        (pair,) = met(line("a", 4.0, spread=0.015), line("b", 4.1, spread=0.015), length=1e9)
        assert (pair.kind, pair.record_length) == ("overlap", None)
        assert met(line("a", 4.0, spread=0.01), line("b", 4.1, spread=0.01), length=1e9) == ()

    def test_lines_that_meet_inside_the_range_cross_at_a_named_speed(self) -> None:
        """6.25 orders reach 100 Hz at 16 Hz, between 10 and 20."""
        supply = replace(line("supply", 0.0, kind="supply"), fixed_hz=100.0)
        (pair,) = met(supply, line("shaft", 6.25), length=1e9)
        assert (pair.kind, pair.record_length) == ("cross", None) and pair.speed_hz == pytest.approx(16.0)
        assert met(supply, line("shaft", 2.0), length=1e9) == ()  # 20 to 40 Hz: never there

    def test_a_line_that_turns_back_at_zero_is_met_on_either_side(self) -> None:
        """The pole pass of four poles on 50 Hz is |100 - 4 x speed|: 10 Hz at 22.5 and again at 27.5 Hz, 20 Hz at both ends."""
        pole_pass = replace(line("pole pass", -4.0, kind="pole_pass"), fixed_hz=100.0)
        fan = replace(line("fan", 0.0, kind="supply"), fixed_hz=10.0)
        (pair,) = met(pole_pass, fan, speed_hz=(20.0, 30.0), length=1e9)
        assert (pair.kind, pair.record_length) == ("cross", None) and pair.speed_hz == pytest.approx(22.5)

    def test_lines_that_meet_at_the_end_of_the_range_cross_there(self) -> None:
        supply = replace(line("supply", 0.0, kind="supply"), fixed_hz=100.0)
        for order, where in ((10.0, 10.0), (5.0, 20.0)):
            (pair,) = met(supply, line("shaft", order), length=1e9)
            assert (pair.kind, pair.speed_hz) == ("cross", where)

    def test_a_pair_above_the_long_records_band_is_held_against_the_short_one(self) -> None:
        pair = (line("a", 40.0), line("b", 40.02))  # 0.2 Hz apart at 10 Hz: 15 s
        found = collisions(pair, speed_hz=(10.0, 10.0), records=[(5000.0, 5.0), (100.0, 60.0)])
        assert found[0].record_length == pytest.approx(15.0)
        assert collisions(pair, speed_hz=(10.0, 10.0), records=[(5000.0, 5.0), (500.0, 60.0)]) == ()

    def test_a_pair_above_every_record_is_not_named(self) -> None:
        pair = (line("a", 40.0), line("b", 40.02))
        assert collisions(pair, speed_hz=(10.0, 10.0), records=[(300.0, 5.0)]) == ()

    def test_fundamentals_come_first_and_each_pair_of_parts_once(self) -> None:
        pairs = met(
            line("a 2x", 8.0, harmonic=2, component="a"),
            line("b 2x", 8.001, harmonic=2, component="b"),
            line("a 1x", 4.0, component="a"),
            line("b 1x", 4.0005, component="b"),
            line("c 3x", 8.0005, harmonic=3, component="c"),
        )
        assert [(pair.first, pair.alike) for pair in pairs[:1]] == [("a 1x", 2)]
        assert len(pairs) == 3

    @given(st.lists(st.floats(0.1, 20.0), min_size=2, max_size=8, unique=True), st.floats(0.2, 20.0))
    def test_what_is_not_named_is_separated_by_the_record(self, orders: list[float], length: float) -> None:
        """Every pair against the bins themselves: named if and only if it stands less than three bins apart at the lowest speed."""
        lines = [line(f"{n}", order) for n, order in enumerate(orders)]
        found = {frozenset((pair.first, pair.second)) for pair in met(*lines, length=length)}
        for n, one in enumerate(lines):
            for other in lines[n + 1 :]:
                bins = abs(one.hz(10.0) - other.hz(10.0)) * length
                if abs(bins - 3) > 1e-6:
                    assert (frozenset((one.name, other.name)) in found) == (bins < 3)

    def test_of_sidebands_the_first_pair_about_a_mesh_counts_and_comes_after_fundamentals(self) -> None:
        """19 and 20 teeth on one shaft: one mesh is the other's sideband at every speed. 19 and 25: nothing of them meets."""

        def beside(teeth: int) -> list[tuple[str, str, str]]:
            drive = train([19, 40], (20.0, 20.0))
            second = Mesh("mesh 2", "shaft 1", "shaft 3", teeth, 43)
            drive = replace(drive, shafts=(*drive.shafts, Shaft("shaft 3")), meshes=(*drive.meshes, second))
            found = collisions(expected_lines(drive), speed_hz=drive.speed_hz, records=[(1e4, 600.0)])
            return [(pair.kind, pair.first, pair.second) for pair in found]

        assert beside(20) == [("coincide", "mesh 1 1x", "mesh 2 1x - 1 x shaft 1")]
        assert beside(25) == []

    def test_sidebands_of_a_bearing_are_told_by_their_spacing_and_not_by_where_one_stands(self) -> None:
        shaft = Line("input 3x", "input", "shaft", 3, 3.0, "input", 0.0, Origin.MEASURED)
        beside = Line("b inner race 1x - 1 x input", "b", "sideband", 1, 3.0, "input", 0.0, Origin.MEASURED, "input", -1)
        kept = {"speed_hz": (20.0, 20.0), "records": [(1e4, 600.0)]}
        assert len(collisions([shaft, beside], **kept)) == 1  # about a mesh it counts
        assert collisions([shaft, replace(beside, sideband_of="inner_race")], **kept) == ()

    def test_every_kind_says_what_would_help(self) -> None:
        assert CURES.keys() == {"coincide", "overlap", "cross", "close"}


class TestSensors:
    @pytest.mark.parametrize("check", checks("vibration_checks.csv", "VC1"), ids=check_id)
    def test_acceleration_of_a_velocity_agrees_with_published_rows(self, check: Check) -> None:
        found = acceleration_of_line(line_hz=check.given["freq_hz"], velocity=check.value / 1000)
        assert found == pytest.approx(check.given["accel_g_rms"] * G, rel=1e-6)

    def test_peak_to_expect_by_hand(self) -> None:
        """4.5 mm/s at 420.75 Hz is 2 pi x 420.75 x 0.0045 = 11.896 m/s2 RMS, 59.5 at a crest factor of 5."""
        assert expected_peak(rms=acceleration_of_line(line_hz=420.75, velocity=4.5e-3)) == pytest.approx(59.48, abs=0.01)

    def test_velocity_noise_agrees_with_noise_integrated_by_numpy(self) -> None:
        """White acceleration noise of 1e-3 m/s2 per root Hz, integrated over frequency between 2 and 5 Hz: both ends count."""
        rate, seconds = 256.0, 4096
        samples = np.random.default_rng(1).standard_normal(int(rate) * seconds) * 1e-3 * math.sqrt(rate / 2)
        spectrum = np.fft.rfft(samples)
        hz = np.fft.rfftfreq(samples.size, 1 / rate)
        inside = (hz >= 2.0) & (hz <= 5.0)
        moved = np.abs(spectrum[inside] / (2 * np.pi * hz[inside])) ** 2
        rms = math.sqrt(2 * moved.sum()) / samples.size
        assert velocity_noise(density=1e-3, lowest_hz=2.0, highest_hz=5.0) == pytest.approx(rms, rel=0.03)

    def test_noise_in_a_bin_agrees_with_scipy(self) -> None:
        """RMS that a Hann bin of white noise reads as if it were a line: scipy's spectrum scaling, 8 s at 256 Hz."""
        rate, seconds = 256.0, 8
        noise = np.random.default_rng(2).standard_normal((400, int(rate) * seconds)) * 1e-3 * math.sqrt(rate / 2)
        _, power = scipy.signal.periodogram(noise, fs=rate, window="hann", scaling="spectrum")
        in_bin = math.sqrt(power[:, 10:-10].mean())
        assert line_over_noise(rms=in_bin, density=1e-3, length_s=seconds) == pytest.approx(1.0, rel=0.02)

    def test_a_mount_alone_and_a_point_on_it_agree(self) -> None:
        for mount in mount_names():
            wide = sight(Point("p", Sensor(highest_hz=1e6), mount=mount))
            alone = mount_sight(mount)
            assert wide is not None and (wide.true_hz, wide.detectable_hz) == (alone.true_hz, alone.detectable_hz)
        with pytest.raises(OutOfRange, match="one of: stud"):
            mount_sight("string")


class TestBus:
    def test_the_trades_waveform_takes_81_seconds_an_axis(self) -> None:
        """2^16 samples, 525 reads, 19,200 baud, no device delay: 81 s (sum by hand: 137,897 characters and 1050 silences)."""
        assert waveform_time(baud=19200, samples=65536, device_delay=0.0) == pytest.approx(
            137897 * 11 / 19200 + 1050 * 3.5 * 11 / 19200
        )

    @pytest.mark.parametrize("check", checks("modbus_checks.csv", "MT"), ids=check_id)
    def test_a_record_that_fits_one_read_takes_one_published_transaction(self, check: Check) -> None:
        given_ = check.given
        one = waveform_time(baud=given_["baud"], samples=given_["registers"], device_delay=given_["device_delay_s"])
        devices = given_["devices"] if check.quantity == "scan_s" else 1
        assert devices * one == pytest.approx(check.value, abs=check.tolerance)

    @given(st.integers(1, 5000), st.sampled_from([9600, 19200, 115200]), st.floats(0.0, 0.1))
    def test_reads_add_up_to_the_record(self, samples: int, baud: int, delay: float) -> None:
        sizes = [min(125, samples - start) for start in range(0, samples, 125)]
        by_reads = sum(transaction_time(baud=baud, registers=size, device_delay=delay) for size in sizes)
        assert waveform_time(baud=baud, samples=samples, device_delay=delay) == pytest.approx(by_reads)

    def test_half_of_the_bus_is_left(self) -> None:
        assert record_interval(records_s=1500.0) == 3000.0
        with pytest.raises(OutOfRange, match="1 or more"):
            waveform_time(baud=19200, samples=0, device_delay=0.0)


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def surveyed(job: Job, **drive: Any) -> dict[str, Any]:
    return survey.run(replace(job, drive=replace(job.drive, **drive)) if drive else job).document


def spoken(document: dict[str, Any], rule: str) -> list[dict[str, Any]]:
    return [row for row in document["findings"] if row["rule"] == f"survey.{rule}"]


class TestSurvey:
    def test_the_demo_is_surveyed_as_it_is_planned(self, demo: Job) -> None:
        setting = surveyed(demo)["measurement"]
        assert [record["name"] for record in setting["records"]] == ["short and fast", "long and slow"]
        assert setting["records"][0]["samples"]["value"] == 65536
        first = setting["collisions"][0]
        assert first["kind"] == "coincide" and all("intermediate bearing" in name for name in first["lines"])
        assert first["cure"] == CURES["coincide"] and first["alike"] == 10  # three harmonics of three rates, and the cage

    def test_a_range_too_small_clips_and_one_unsaid_is_asked_for(self, demo: Job) -> None:
        def ranged(held: float | None) -> tuple[bool | None, list[dict[str, Any]]]:
            points = tuple(replace(point, sensor=replace(point.sensor, range=held)) for point in demo.points[:1])
            document = surveyed(replace(demo, points=points))
            (row,) = document["measurement"]["ranges"]
            return row["enough"], spoken(document, "sensor_range")

        assert ranged(59.5) == (True, [])  # the peak by hand, above: 59.48 m/s2
        enough, (clips,) = ranged(59.4)
        assert enough is False
        assert clips["level"] == Level.CAUTION and "59 m/s² (6.06 g)" in clips["says"] and "clips" in clips["says"]
        enough, (asked,) = ranged(None)
        assert enough is None
        assert asked["level"] == Level.NOTE and asked["worked"]["value"] == pytest.approx(59.48, abs=0.01)

    def test_without_a_zone_no_range_is_guessed(self, demo: Job) -> None:
        document = surveyed(demo, ratings=replace(demo.drive.ratings, power=None))
        assert document["measurement"]["expected_peak"] is None and spoken(document, "sensor_range") == []
        assert {row["enough"] for row in document["measurement"]["ranges"]} == {None}
        assert document["acceptance"]["tables"] == []

    def test_slow_shafts_are_said_with_what_hides_them(self, demo: Job) -> None:
        """At 900 rpm the output turns at 0.75 Hz and the intermediate shaft at 3.6 Hz; the input at 15 Hz is in the band."""
        document = surveyed(demo)
        assert [row["where"] for row in spoken(document, "low_speed")] == ["output"]
        assert [row["where"] for row in spoken(document, "overall_band")] == ["intermediate"]
        assert "0.75 Hz" in spoken(document, "low_speed")[0]["says"]

    def test_a_very_slow_shaft_drowns_in_the_sensors_noise(self, demo: Job) -> None:
        """Input at 3 rpm: the output turns at 0.0025 Hz; 1.4 mm/s is then 2.2e-5 m/s2."""
        document = surveyed(demo, speed_hz=(0.05, 0.05), rated_speed_hz=0.05)
        row = next(row for row in document["measurement"]["slow_shafts"] if row["shaft"] == "output")
        length = document["measurement"]["records"][1]["length_s"]["value"]
        line = 2 * math.pi * row["hz"] * 1e-3  # no zone applies at that speed: 1 mm/s assumed
        assert row["over_noise"]["value"] == pytest.approx(line / (1e-3 * math.sqrt(1.5 / length)))
        assert [found["where"] for found in spoken(document, "low_speed_noise")] == ["output"]
        (long,) = spoken(document, "long_record")
        assert long["level"] == Level.CAUTION and "pulse a turn" in long["says"]

    def test_points_and_mounts_are_graded_for_each_record(self, demo: Job) -> None:
        reach = surveyed(demo)["measurement"]["reach"]
        assert [wanted["hz"] for wanted in reach["wanted"]] == pytest.approx([355.56, 3 * 420.75 + 3 * 24.75, 5000.0], abs=0.01)
        grades = {row["point"]: row["grades"] for row in reach["points"]}
        assert grades["input coupling end"] == ["true", "true", "true"]
        assert grades["output left"] == ["true", "true", "not seen"]  # a flat magnet is detectable to 4000 Hz: mounts.csv
        assert {row["mount"] for row in reach["mounts"]} == set(mount_names())

    def test_the_bus_of_the_job_gives_the_interval(self, demo: Job) -> None:
        """Two three-axis devices, 65,536 + 131,072 samples an axis: 525 + 1049 reads at 19,200 baud and 5 ms each."""
        bus = surveyed(demo)["measurement"]["bus"]
        axis = (13 * (525 + 1049) + 2 * (65536 + 131072)) * 11 / 19200 + (525 + 1049) * (7 * 11 / 19200 + 0.005)
        assert bus["total_s"] == pytest.approx(6 * axis)
        assert bus["interval_s"]["value"] == pytest.approx(12 * axis)
        assert [row["device"] for row in bus["devices"]] == ["vibration input", "vibration intermediate"]

    def test_without_a_bus_two_common_bauds_are_shown(self, demo: Job) -> None:
        document = surveyed(replace(demo, bus=Bus(19200, 0.0)))
        bus = document["measurement"]["bus"]
        assert [row["baud"] for row in bus["axis"]] == [19200, 115200, 19200, 115200]
        assert bus["axis"][0]["axis_s"]["value"] == pytest.approx(81.1089, abs=1e-3)
        assert bus["interval_s"] is None and spoken(document, "bus_time") == []

    def test_a_device_that_gives_no_waveform_costs_no_record(self, demo: Job) -> None:
        points = tuple(replace(point, sensor=replace(point.sensor, kind="overall")) for point in demo.points)
        bus = surveyed(replace(demo, points=points))["measurement"]["bus"]
        assert bus["devices"] == [] and bus["total_s"] is None

    def test_acceptance_stands_in_the_survey_with_its_reasons(self, demo: Job) -> None:
        accepted = surveyed(demo)["acceptance"]
        (table,) = accepted["tables"]
        assert accepted["judged"] and table["boundaries_m_s"] == pytest.approx([1.4e-3, 2.8e-3, 4.5e-3])  # rows Z3-2-rigid
        assert "ISO 20816-9" in accepted["gear_units"] and "stand-in" in accepted["stand_in"]


class TestShown:
    def test_page_and_terminal_show_both_records_collisions_and_zones(self, demo: Job) -> None:
        document = surveyed(demo)
        page = "\n".join(
            " | ".join((block.text, *block.items, *block.head, *(cell for row in block.rows for cell in row)))
            for block in survey_blocks(document)
        )
        for said in (
            "short and fast | long and slow",
            "65536",
            "911 Hz",  # 910.242 at least: never rounded down
            "One frequency at every speed",
            "Which vibration zones apply",
            "1.4 | 2.8 | 4.5",
            "ISO 20816-9",
            "flat magnet | true | true | not seen",
            "one set of records every 50 min at best",
        ):
            assert said in page, said
        words = survey_text(document)
        for said in ("65536 samples or 5.12 s", "one frequency at every speed", "1.4, 2.8, 4.5 mm/s", "group 2, rigid", "stand-in"):
            assert said in words, said

    def test_a_survey_kept_before_it_planned_two_records_is_still_shown(self, demo: Job) -> None:
        document = surveyed(demo)
        kept = ("highest_frequency_hz", "sample_rate_hz", "record_length_s")
        old = {**document, "measurement": {key: document["measurement"][key] for key in kept}}
        del old["acceptance"]
        assert any(block.text == "What to record" for block in survey_blocks(old))
        assert "zones" not in survey_text(old).split("still unknown")[0]
