"""Gravity in three axes against what they are called, and against where it stood before.

Turned sensors are made by a general-purpose library's rotations (`scipy.spatial.transform.Rotation`); the open recording's tilt is
a row of ``checks.csv``.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gearcase.install.orientation import GRAVITY
from gearcase.job.build import load
from gearcase.judge.patterns.observed import Recorded
from gearcase.record.readers import read_recording
from gearcase.signal.recording import Circumstances, Recording
from gearcase.stages import diagnose
from gearcase.stages.gravity_doubts import gravity_doubts
from test_stages import EXAMPLES

STATED = ("horizontal", "vertical", "axial")
UPRIGHT = np.array([0.0, GRAVITY, 0.0])


def taken(
    mean: Sequence[float] | np.ndarray,
    *,
    name: str = "first",
    called: Sequence[str] = STATED,
    point: str = "input",
    unit: str = "m/s2",
    vibration: float = 2.0,
) -> list[Recorded]:
    """Three axes of one sensor that shakes, with this mean on each."""
    rng = np.random.default_rng(sum(name.encode()))
    shaking = rng.normal(scale=vibration, size=(3, 8192)) + np.asarray(mean, np.float64)[:, None]
    shaking += np.asarray(mean, np.float64)[:, None] - shaking.mean(axis=-1, keepdims=True)
    return [
        Recorded(
            Recording(row, 2560.0, unit, channel, point=point, name=name, start=name, taken=Circumstances(direction=direction)),
            quality=(),
        )
        for row, channel, direction in zip(shaking, "xyz", called, strict=True)
    ]


def turned(degrees: float, *, about: Sequence[float] = (0, 0, 1)) -> np.ndarray:
    """What the axes read of gravity once the sensor has been turned."""
    return np.asarray(Rotation.from_rotvec(degrees * np.array(about), degrees=True).inv().apply(UPRIGHT))


def said(*groups: Sequence[Recorded]) -> list[str]:
    return list(gravity_doubts([one for group in groups for one in group]))


@pytest.mark.parametrize("degrees", [0, 5, 17, 163, 180])
def test_a_sensor_that_stands_as_stated_is_left_in_peace_up_or_down(degrees: float) -> None:
    assert said(taken(turned(degrees))) == []


@pytest.mark.parametrize(("degrees", "shows"), [(19, "9.3"), (45, "6.9"), (80, "1.7")])
def test_an_axis_called_vertical_that_gravity_is_not_along_is_named(degrees: float, shows: str) -> None:
    (says,) = said(taken(turned(degrees)))
    assert says.startswith("first: ") and f"stands {degrees} degrees off" in says
    assert f"shows {shows} of 9.8 m/s2" in says


def test_a_level_axis_tells_it_where_nobody_says_which_is_vertical() -> None:
    (says,) = said(taken(turned(30), called=("horizontal", "", "axial")))
    assert "called horizontal (x)" in says and "stands 30 degrees off" in says
    assert said(taken(turned(30), called=("", "", "axial"))) == []  # the axial one is level still
    assert said(taken(turned(70), called=("", "", ""))) == []


def test_a_turn_since_the_first_record_is_told_by_its_angle_whatever_the_axes_are_called() -> None:
    before = taken(turned(3), called=("", "", ""))
    after = taken(turned(23, about=(1, 0, 0)), name="later", called=("", "", ""))
    between = np.degrees(np.arccos(turned(3) @ turned(23, about=(1, 0, 0)) / GRAVITY**2))
    (says,) = said(before, after)
    assert says.startswith("later: ") and f"stands {between:.0f} degrees" in says and "in first" in says
    assert said(before, taken(turned(12), name="later", called=("", "", ""))) == []  # 9 degrees
    assert said(before, after, taken(turned(4), name="last", called=("", "", ""))) == []  # somebody has put it back


def test_what_gravity_cannot_show_stays_unsaid() -> None:
    about_the_vertical = taken(turned(90, about=(0, 1, 0)), name="later")
    assert said(taken(UPRIGHT), about_the_vertical) == []
    assert said(taken([0.01, -0.02, 0.0])) == []  # no direct current
    assert said(taken(0.8 * turned(90))) == []  # less than one g: an offset, or a bad scale, which other rules name
    assert said(taken(turned(90))[:2]) == []
    assert said(taken(turned(90), unit="m/s")) == []
    assert said(taken(turned(90), point="")) == []  # of no point known
    assert said(taken(UPRIGHT), taken(turned(90), name="later", point="output", called=("vertical", "horizontal", "axial"))) == []


def test_diagnose_says_it_beside_its_verdicts() -> None:
    records = [one.recording for one in (*taken(UPRIGHT), *taken(turned(40), name="later"))]
    document = diagnose.run(load(EXAMPLES / "demo"), records).document
    about = [says for says in document["cannot_tell"] if "degrees" in says]
    assert len(about) == 2 and not document["clean"]


@pytest.mark.recordings
def test_the_open_sensor_at_rest_stands_off_its_y_axis_by_what_its_check_value_says(recordings: Path) -> None:
    """21.56 degrees from +y: row ``tilt_from_plus_y``."""
    file = recordings / "mems_mpu6050_motor" / "motor_data_20241031_040618.csv"
    mean = [read_recording(file, unit="g", channel=f"acc_{axis}", rate_hz=62.745).samples[:314].mean() for axis in "xyz"]
    (says,) = said(taken(mean, vibration=0))
    assert "called vertical (y)" in says and "stands 22 degrees off" in says
    assert said(taken(mean, vibration=0, called=("", "", ""))) == []
