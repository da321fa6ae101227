"""The open three-axis recording of a low-cost sensor with gravity, by our readers and rules: true rate, clipping, gravity.

Check values: the set's rows of ``checks.csv``, measured from its time stamps and samples. Test use only, nothing of it is shipped.
The rules were fixed on simulations and theory before they saw it.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from gearcase.errors import BadInput
from gearcase.findings import Finding, Level
from gearcase.install.orientation import GRAVITY, angle_between
from gearcase.record.readers import read_recording
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording

pytestmark = pytest.mark.recordings
AXES = ("x", "y", "z")
RATE_HZ = 62.745  # by its time stamps; the script that recorded it says 100


@pytest.fixture(scope="module")
def file(recordings: Path) -> Path:
    return recordings / "mems_mpu6050_motor" / "motor_data_20241031_040618.csv"


@pytest.fixture(scope="module")
def known(recordings: Path) -> dict[str, tuple[float, float]]:
    """Check values with their tolerances."""
    with (recordings / "checks.csv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["dataset"] == "mems_mpu6050_motor"]
    return {row["quantity"]: (float(row["value"]), float(row["tolerance"])) for row in rows}


@pytest.fixture(scope="module")
def axes(file: Path) -> dict[str, Recording]:
    return {axis: read_recording(file, unit="g", channel=f"acc_{axis}", rate_hz=RATE_HZ) for axis in AXES}


@pytest.fixture(scope="module")
def running(file: Path) -> np.ndarray:
    with file.open(encoding="utf-8", newline="") as stream:
        return np.array([row["motor_state"] == "1" for row in csv.DictReader(stream)])


def found(samples: np.ndarray) -> dict[str, Finding]:
    return {one.rule: one for one in judge_quality(samples, sample_rate_hz=RATE_HZ, unit="m/s2")}


def test_the_true_rate_is_named_and_nothing_is_assumed_from_uneven_times(file: Path, known: dict[str, tuple[float, float]]) -> None:
    with pytest.raises(BadInput, match="no rate can be taken") as refused:
        read_recording(file, unit="g", channel="acc_x")
    rate = float(str(refused.value).split("mean rate of ")[1].split(" Hz")[0])
    assert rate == pytest.approx(known["true_rate"][0], abs=known["true_rate"][1])


@pytest.mark.parametrize("axis", AXES)
def test_clipping_is_found_on_every_axis_with_its_share(
    axis: str, axes: dict[str, Recording], running: np.ndarray, known: dict[str, tuple[float, float]]
) -> None:
    share, tolerance = known[f"clipped_fraction_{axis}_running"]
    clipping = found(axes[axis].samples[running])["quality.clipping"]
    assert clipping.level is Level.BLOCKER
    assert int(clipping.says.split()[0]) / running.sum() == pytest.approx(share, abs=tolerance)


def test_gravity_is_found_at_rest_and_called_no_vibration(
    axes: dict[str, Recording], known: dict[str, tuple[float, float]]
) -> None:
    rest = {axis: axes[axis].samples[: round(5 * RATE_HZ)] for axis in AXES}
    vector = np.array([rest[axis].mean() for axis in AXES]) / GRAVITY
    assert np.linalg.norm(vector) == pytest.approx(known["gravity_length_first5s"][0], abs=known["gravity_length_first5s"][1])
    tilt = np.degrees(angle_between(vector, [0.0, 1.0, 0.0]))
    assert tilt == pytest.approx(known["tilt_from_plus_y"][0], abs=known["tilt_from_plus_y"][1])
    assert "gravity on a sensor that measures down to 0 Hz" in found(rest["y"])["quality.offset"].says


@pytest.mark.parametrize("axis", AXES)
def test_at_rest_nothing_is_clipped_and_the_record_is_called_short(axis: str, axes: dict[str, Recording]) -> None:
    rest = found(axes[axis].samples[: round(5 * RATE_HZ)])
    assert "quality.clipping" not in rest and rest["quality.short"].level is Level.BLOCKER
