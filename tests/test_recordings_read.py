"""The open recordings as read, against the figures in their own `checks.csv`.

Those figures were published with the sets or measured on these files with the mean removed. The files are not shipped.
"""

import csv
import os
from pathlib import Path

import numpy as np
import pytest
from scipy.constants import g

from gearcase.errors import BadInput
from gearcase.record.readers import describe, read_recording
from gearcase.signal.indicators import indicators
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording

pytestmark = pytest.mark.recordings

DATA = Path(os.environ.get("GEARCASE_DATA", Path(__file__).parents[2] / "shared" / "data"))
SETS = {"mfpt_bearing", "cwru_bearing", "gear_pair_rig_2000rpm"}
QUANTITIES = {"samples", "sample_rate", "rms", "kurtosis", "rpm"}


def rows() -> list[dict[str, str]]:
    """Rows of one file each; a row for every file of a set is repeated for each."""
    path = DATA / "checks.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as stream:
        wanted = [row for row in csv.DictReader(stream) if row["dataset"] in SETS and row["quantity"] in QUANTITIES]
    return [
        {**row, "file": file.name}
        for row in wanted
        for file in sorted((DATA / row["dataset"]).glob("*.mat"))
        if row["file"] in ("*", file.name)
    ]


def read(row: dict[str, str]) -> Recording:
    """With what a person must add, since the files do not say it: unit, and for one set channel and rate."""
    path = DATA / row["dataset"] / row["file"]
    if row["dataset"] == "gear_pair_rig_2000rpm":
        return read_recording(path, unit="m/s2")
    if row["dataset"] == "mfpt_bearing":
        return read_recording(path, unit="g")
    (channel,) = (one.name for one in describe(path).channels if f"_{row['channel']}_" in one.name)
    return read_recording(path, unit="g", rate_hz=12000.0, channel=channel)


def tolerance(text: str) -> float:
    return float(text.rstrip("%")) / 100 if text.endswith("%") else 1e-9


def test_the_recordings_are_there() -> None:
    assert {row["dataset"] for row in rows()} == SETS, f"no recordings in {DATA}; set GEARCASE_DATA"


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['file']} {row['quantity']}")
def test_recordings_read_as_published(row: dict[str, str]) -> None:
    recording = read(row)
    unit = g if row["unit"] == "g" else 1.0
    found = {
        "samples": recording.samples.size,
        "sample_rate": recording.sample_rate_hz,
        "rms": float(indicators(recording.samples).rms) / unit,
        "kurtosis": float(indicators(recording.samples).kurtosis),
        "rpm": 60 * (recording.speed_hz or 0),
    }[row["quantity"]]
    assert found == pytest.approx(float(row["value"]), rel=tolerance(row["tolerance"]))


@pytest.mark.parametrize("row", [row for row in rows() if row["quantity"] == "rms"], ids=lambda row: str(row["file"]))
def test_real_bearing_and_gear_recordings_are_of_good_quality(row: dict[str, str]) -> None:
    """Kurtosis up to 51: real impacts must not be taken for spikes or clipping."""
    recording = read(row)
    assert judge_quality(recording.samples, sample_rate_hz=recording.sample_rate_hz, unit=recording.unit) == []


def test_a_sensor_beyond_its_range_is_seen() -> None:
    """README of the set: while the motor runs x and z are clipped at 2 g, 39.7 % and 24.0 % of the samples."""
    path = DATA / "mems_mpu6050_motor" / "motor_data_20241031_040618.csv"
    with path.open(encoding="utf-8", newline="") as stream:
        running = [row["motor_state"] == "1" for row in csv.DictReader(stream)]
    for channel, share in (("acc_x", 0.397), ("acc_z", 0.240)):
        recording = read_recording(path, unit="g", rate_hz=62.745, channel=channel)
        assert recording.samples.size == 2511
        samples = recording.samples[running]
        findings = judge_quality(samples, sample_rate_hz=recording.sample_rate_hz, unit="m/s2")
        (clipping,) = (finding for finding in findings if finding.rule == "quality.clipping")
        told = int(clipping.says.split()[0]) / samples.size
        assert told == pytest.approx(share, abs=0.002)


def with_tachometer(folder: Path, turns: np.ndarray, rate: float, marks: tuple[float, ...]) -> Path:
    """A file with vibration and the square pulses of a wheel whose marks stand at these parts of a turn."""
    pulse = np.zeros(turns.size)
    for mark in marks:
        pulse[(turns - mark) % 1.0 < 0.1] = 5.0
    path = folder / "run.npz"
    np.savez(path, vibration=np.random.default_rng(1).standard_normal(turns.size), tacho=pulse)
    return path


def test_a_tachometer_channel_gives_the_speed_with_its_pulses_a_turn(tmp_path: Path) -> None:
    rate, speed = 5000.0, 24.6
    turns = speed * np.arange(int(20 * rate)) / rate
    path = with_tachometer(tmp_path, turns, rate, (0.0, 0.5))
    found = read_recording(path, rate_hz=rate, unit="m/s2", channel="vibration", tachometer="tacho", speed_hz=25.0)
    assert found.speed_hz == pytest.approx(speed, abs=1 / rate / 20 * speed)  # a sample at either end of 20 s
    assert "2 pulses a turn" in found.found
    assert found.pulses_per_turn == 2 and found.tachometer.startswith("2 pulses a turn")


def test_the_marks_of_a_run_are_kept_with_the_recording(tmp_path: Path) -> None:
    """From 10 to 25 Hz in 20 s, one mark a turn, the mean speed stated: mark n passes where 10 t + 0.375 t^2 = n."""
    rate = 5000.0
    time = np.arange(int(20 * rate)) / rate
    path = with_tachometer(tmp_path, 10 * time + 0.375 * time**2, rate, (0.0,))
    found = read_recording(path, rate_hz=rate, unit="m/s2", channel="vibration", tachometer="tacho", speed_hz=17.5)
    assert found.pulses_per_turn == 1
    turn = np.arange(1, found.marks_s.size + 1)
    assert found.marks_s == pytest.approx((np.sqrt(100 + 1.5 * turn) - 10) / 0.75, abs=1 / rate)
    assert read_recording(path, rate_hz=rate, unit="m/s2", channel="vibration", speed_hz=17.5).marks_s.size == 0


def test_pulses_that_contradict_the_stated_speed_are_said_and_the_stated_one_stays(tmp_path: Path) -> None:
    rate = 5000.0
    path = with_tachometer(tmp_path, 24.6 * np.arange(int(20 * rate)) / rate, rate, (0.0,))
    found = read_recording(path, rate_hz=rate, unit="m/s2", channel="vibration", tachometer="tacho", speed_hz=17.0)
    assert found.speed_hz == 17.0 and found.pulses_per_turn is None
    assert "fit no whole number a turn at the stated 1020 rpm" in found.found


def test_a_tachometer_at_standstill_is_refused_with_the_cure(tmp_path: Path) -> None:
    path = with_tachometer(tmp_path, np.zeros(50000), 5000.0, ())
    with pytest.raises(BadInput, match="check its supply, its gap and its channel"):
        read_recording(path, rate_hz=5000.0, unit="m/s2", channel="vibration", tachometer="tacho")
