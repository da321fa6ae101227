"""What a point sees on the running drive: coverage is told hot, not cold. Figures from the tables named beside each check."""

from dataclasses import replace

import pytest

from gearcase.install.adhesives import true_hz_hot
from gearcase.install.mounting import mount_sight, sight
from gearcase.install.resonance import usable_hz
from gearcase.job.build import Job, load
from gearcase.stages import plan, survey
from gearcase.stages.bands import running_band, running_bands
from test_stages import EXAMPLES

HOT = 273.15 + 65  # the demo's surface while it runs


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def test_a_bond_sees_less_hot_and_a_stud_the_same(demo: Job) -> None:
    """`true_hz_hot` is held to its published rows elsewhere."""
    stud, bonded, magnet = demo.points
    warm = true_hz_hot(true_hz_cold=mount_sight("rigid adhesive").true_hz, temperature=HOT)
    bands = running_bands(demo)
    assert bands[bonded.name].true_hz == pytest.approx(warm) and warm < sight(bonded).true_hz  # type: ignore[union-attr]
    assert (bands[stud.name], bands[magnet.name]) == (sight(stud), sight(magnet))
    cool = replace(demo, housing=replace(demo.housing, surface_temperature=None))
    assert running_band(cool, bonded, bonded.mount).band == sight(bonded)


def test_the_hotter_of_housing_and_region_counts(demo: Job) -> None:
    bonded = demo.points[1]
    face = replace(demo.housing.faces[0], regions=(replace(demo.housing.faces[0].regions[0], temperature=HOT + 20),))
    hotter = running_band(replace(demo, housing=replace(demo.housing, faces=(face,))), bonded, bonded.mount).band
    expected = true_hz_hot(true_hz_cold=mount_sight("rigid adhesive").true_hz, temperature=HOT + 20)
    assert hotter is not None and hotter.true_hz == pytest.approx(expected)


def test_a_stack_lower_than_its_mount_limits_it(demo: Job) -> None:
    """A sensor of 9 kHz is true to 0.30 of that at best (trade.md, section 4); a stud of its own lowers it further."""
    stud = replace(demo.points[0], sensor=replace(demo.points[0].sensor, resonance_hz=9000.0))
    band = running_band(demo, stud, "stud").band
    assert band is not None and band.true_hz < usable_hz(resonance_hz=9000.0, error=0.10) <= 0.31 * 9000


def test_plan_and_survey_tell_one_band(demo: Job) -> None:
    planned = {part["name"]: part["band"]["true_hz"] for part in plan.run(demo).document["parts"]}
    surveyed = {row["name"]: row["true_hz"] for row in survey.run(demo).document["points"]}
    assert planned == surveyed


def test_coverage_and_reach_are_told_hot(demo: Job) -> None:
    """On a pad at 95 degC nothing above what `true_hz_hot` leaves is seen at true height; cold the same pad reaches higher."""
    pads = replace(demo, points=tuple(replace(point, mount="adhesive pad") for point in demo.points))
    cold = replace(pads, housing=replace(pads.housing, surface_temperature=None))
    hot = replace(pads, housing=replace(pads.housing, surface_temperature=273.15 + 95))
    said = {name: survey.run(job).document for name, job in (("cold", cold), ("hot", hot))}
    whys = {name: " ".join(row["why"] for row in document["coverage"]) for name, document in said.items()}
    assert "adhesive pad at 95 °C" in whys["hot"] and "at 95 °C" not in whys["cold"]
    grades = {
        name: [grade for point in document["measurement"]["reach"]["points"] for grade in point["grades"]]
        for name, document in said.items()
    }
    assert grades["cold"].count("true") + grades["cold"].count("detectable") > grades["hot"].count("true") + grades["hot"].count(
        "detectable"
    )
