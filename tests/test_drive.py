"""The drive model against published bearings and worked trains. Sources stand in each row of tests/reference."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.drive.bearings import (
    Bearing,
    Geometry,
    ball_pass_frequency_inner,
    ball_pass_frequency_outer,
    element_defect_frequency,
    element_spin_frequency,
    fundamental_train_frequency,
)
from gearcase.drive.line import sideband_frequency
from gearcase.drive.lines import expected_lines
from gearcase.drive.measurement import highest_frequency, record_length_for_turns, sample_rate
from gearcase.drive.rates import assembly_phase_frequency, gear_mesh_frequency, hunting_tooth_frequency
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, Mesh, RatioLink, Shaft
from gearcase.errors import OutOfRange
from gearcase.worked import Given, Origin
from published import Check, check_id, checks, rows

RATES = {
    "bpfo": ball_pass_frequency_outer,
    "bpfi": ball_pass_frequency_inner,
    "ftf": fundamental_train_frequency,
    "element_spin": element_spin_frequency,
    "element_defect": element_defect_frequency,
}
PUBLISHED = [(row, field) for row in rows("bearings.csv") for field in row["published_fields"].split()]


def train(teeth: list[int], input_hz: float = 1.0, bearings: tuple[Bearing, ...] = ()) -> Drive:
    """A parallel-axis train: pinion, wheel, pinion, wheel, ..."""
    stages = len(teeth) // 2
    return Drive(
        "train",
        tuple(Shaft(f"shaft {n}") for n in range(1, stages + 2)),
        tuple(Mesh(f"mesh {n + 1}", f"shaft {n + 1}", f"shaft {n + 2}", teeth[2 * n], teeth[2 * n + 1]) for n in range(stages)),
        bearings,
        "shaft 1",
        (input_hz, input_hz),
        input_hz,
        Given("input speed", input_hz, "Hz", Origin.NAMEPLATE),
    )


def hz(drive: Drive, kind: str, component: str) -> float:
    found = [line for line in expected_lines(drive) if (line.kind, line.component, line.harmonic) == (kind, component, 1)]
    return found[0].hz(drive.rated_speed_hz)


@pytest.mark.parametrize(("row", "field"), PUBLISHED, ids=lambda part: part["id"] if isinstance(part, dict) else part)
def test_bearing_rates_agree_with_published_figures(row: dict[str, str], field: str) -> None:
    unit = {"in": 0.0254, "mm": 0.001}[row["dim_unit"]]
    rate = RATES[field](
        float(row["speed_rpm"]) / 60 if row["published_as"] == "Hz" else 1.0,
        elements=int(row["elements"]),
        element_diameter=float(row["roller_dia"]) * unit,
        pitch_diameter=float(row["pitch_dia"]) * unit,
        contact_angle=math.radians(float(row["contact_deg"])),
    )
    assert float(rate) == pytest.approx(float(row[field]), rel=float(row["tol"]))


@pytest.mark.parametrize("check", checks("bearing_checks.csv", "BC"), ids=check_id)
def test_bearing_rates_agree_with_worked_geometries_either_ring_turning(check: Check) -> None:
    rate = RATES[check.quantity](
        check.given["inner_hz"],
        outer_hz=check.given["outer_hz"],
        elements=check.given["Z"],
        element_diameter=check.given["d_mm"] / 1000,
        pitch_diameter=check.given["D_mm"] / 1000,
        contact_angle=math.radians(check.given["contact_deg"]),
    )
    assert float(rate) == pytest.approx(check.value, rel=check.tolerance)


geometries = st.builds(
    lambda elements, ratio, pitch, angle: {
        "elements": elements,
        "element_diameter": ratio * pitch,
        "pitch_diameter": pitch,
        "contact_angle": angle,
    },
    st.integers(3, 40),
    st.floats(0.01, 0.6),
    st.floats(0.01, 2.0),
    st.floats(0, 1.2),
)


@given(bearing=geometries, inner=st.floats(-100, 100), outer=st.floats(-100, 100))
def test_outer_and_inner_rates_together_pass_every_element_once_a_turn(bearing: dict, inner: float, outer: float) -> None:
    both = ball_pass_frequency_outer(inner, outer_hz=outer, **bearing) + ball_pass_frequency_inner(inner, outer_hz=outer, **bearing)
    assert float(both) == pytest.approx(bearing["elements"] * abs(inner - outer), abs=1e-9)


@given(bearing=geometries, speed=st.floats(0.1, 100))
def test_elements_pass_the_held_outer_race_at_z_times_the_cage(bearing: dict, speed: float) -> None:
    cage = fundamental_train_frequency(speed, **bearing)
    assert float(ball_pass_frequency_outer(speed, **bearing)) == pytest.approx(float(bearing["elements"] * cage))


@given(bearing=geometries, speed=st.floats(0.1, 100))
def test_both_rings_turning_together_carry_the_cage_along_and_pass_no_element(bearing: dict, speed: float) -> None:
    assert float(ball_pass_frequency_outer(speed, outer_hz=speed, **bearing)) == 0
    assert float(fundamental_train_frequency(speed, outer_hz=speed, **bearing)) == pytest.approx(speed)


@pytest.mark.parametrize(
    ("changed", "says"),
    [({"elements": 2}, "3 or more"), ({"element_diameter": 1.0}, "below the pitch"), ({"contact_angle": 2.0}, "pi/2")],
)
def test_impossible_bearings_are_refused(changed: dict, says: str) -> None:
    shape = {"elements": 8, "element_diameter": 0.01, "pitch_diameter": 0.05, "contact_angle": 0.0} | changed
    with pytest.raises(OutOfRange, match=says):
        ball_pass_frequency_outer(1.0, **shape)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G06", "G31"), ids=check_id)
def test_trains_agree_with_worked_examples(check: Check) -> None:
    teeth = check.given.get("z") or [check.given[key] for key in ("z1", "z2", "z3", "z4")]
    speed = check.given.get("input_hz") or check.given["input_rpm"] / 60
    drive = train(teeth, speed)
    orders = shaft_orders(drive)
    stages = len(teeth) // 2
    wanted = {
        "ratio": lambda: 1 / abs(orders[f"shaft {stages + 1}"].order),
        "idler_hz": lambda: hz(drive, "shaft", "shaft 2"),
        "output_hz": lambda: hz(drive, "shaft", "shaft 3"),
        **{f"shaft{n}_hz": lambda n=n: hz(drive, "shaft", f"shaft {n}") for n in range(1, stages + 2)},
        **{f"mesh{n}_hz": lambda n=n: hz(drive, "mesh", f"mesh {n}") for n in range(1, stages + 1)},
    }
    assert wanted[check.quantity]() == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G2"), ids=check_id)
def test_hunting_tooth_and_assembly_phase_agree_with_worked_examples(check: Check) -> None:
    pinion, wheel = check.given["pinion"], check.given["gear"]
    mesh = gear_mesh_frequency(speed_hz=check.given["pinion_rpm"] / 60, teeth=pinion)
    teeth = {"pinion_teeth": pinion, "wheel_teeth": wheel}
    wanted = {
        "assembly_phases": mesh / assembly_phase_frequency(mesh_hz=mesh, **teeth),
        "hunting_tooth_hz": hunting_tooth_frequency(mesh_hz=mesh, **teeth),
        "assembly_phase_hz": assembly_phase_frequency(mesh_hz=mesh, **teeth),
        "repeat_pinion_turns": check.given["pinion_rpm"] / 60 / hunting_tooth_frequency(mesh_hz=mesh, **teeth),
    }
    assert wanted[check.quantity] == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G51"), ids=check_id)
def test_sidebands_stand_where_they_are_defined(check: Check) -> None:
    mesh_hz, shaft_hz = check.given["mesh_hz"], check.given["shaft_hz"]
    side = sideband_frequency(fundamental_hz=mesh_hz, harmonic=1, modulation_hz=shaft_hz, pair=check.given["n"])
    assert side == pytest.approx(check.value, rel=check.tolerance)


def test_every_mesh_harmonic_has_sidebands_of_both_shafts() -> None:
    """A swing of the tooth force once a turn modulates the whole waveform, every harmonic of it alike."""
    lines = expected_lines(train([17, 71]))
    harmonics = {line.harmonic for line in lines if line.kind == "mesh"}
    assert harmonics == {1, 2, 3}
    sides = {(line.harmonic, line.sideband_shaft, line.sideband_pair) for line in lines if line.kind == "sideband"}
    assert sides == {(n, f"shaft {s}", pair) for n in harmonics for s in (1, 2) for pair in (-3, -2, -1, 1, 2, 3)}


def test_external_gears_turn_the_other_way_at_each_mesh() -> None:
    orders = shaft_orders(train([17, 71, 19, 91]))
    assert [math.copysign(1, orders[f"shaft {n}"].order) for n in (1, 2, 3)] == [1, -1, 1]


@given(teeth=st.lists(st.integers(11, 120), min_size=2, max_size=8).filter(lambda t: len(t) % 2 == 0))
def test_teeth_pass_at_one_rate_on_both_sides_of_every_mesh(teeth: list[int]) -> None:
    orders = shaft_orders(train(teeth))
    for n in range(len(teeth) // 2):
        pinion, wheel = orders[f"shaft {n + 1}"].order, orders[f"shaft {n + 2}"].order
        assert teeth[2 * n] * abs(pinion) == pytest.approx(teeth[2 * n + 1] * abs(wheel))


def test_a_contradiction_names_the_shaft_and_both_ratios() -> None:
    drive = train([20, 40])
    twice = Mesh("second path", "shaft 1", "shaft 2", 20, 41)
    closed = Drive(**{**vars(drive), "meshes": (*drive.meshes, twice)})
    with pytest.raises(
        OutOfRange, match=r"two paths disagree: .*'mesh 1' gives 2 backwards turns .*'second path' gives 2\.05 backwards"
    ):
        shaft_orders(closed)


def test_two_paths_disagree_only_by_more_than_what_is_not_known_of_either() -> None:
    """2.00 +- 0.05 and then 2.00 +- 0.01 is 4.00 within 3 %, so 4.08 +- 0.01 is the same ratio and 4.20 is not."""
    shafts = tuple(Shaft(f"shaft {n}") for n in (1, 2, 3))

    def ring(whole: float) -> Drive:
        links = (("first", 1, 2, 2.0, 0.05), ("second", 2, 3, 2.0, 0.01), ("whole", 1, 3, whole, 0.01))
        joined = tuple(RatioLink(name, f"shaft {a}", f"shaft {b}", ratio, spread) for name, a, b, ratio, spread in links)
        return Drive(**{**vars(train([20, 40])), "shafts": shafts, "meshes": (), "ratio_links": joined})

    assert set(shaft_orders(ring(4.08))) == {"shaft 1", "shaft 2", "shaft 3"}
    with pytest.raises(OutOfRange, match="two paths disagree"):
        shaft_orders(ring(4.20))


def test_three_gears_in_a_ring_are_seen_to_lock() -> None:
    ring = (
        Mesh("a", "shaft 1", "shaft 2", 20, 20),
        Mesh("b", "shaft 2", "shaft 3", 20, 20),
        Mesh("c", "shaft 3", "shaft 1", 20, 20),
    )
    with pytest.raises(OutOfRange, match=r"two paths disagree: .* gives 1 backwards turns .* gives 1$"):
        shaft_orders(Drive(**{**vars(train([20, 20, 20, 20])), "meshes": ring}))


def test_a_shaft_joined_to_nothing_is_named() -> None:
    drive = train([20, 40])
    with pytest.raises(OutOfRange, match=r"'idler'.* is not connected"):
        shaft_orders(Drive(**{**vars(drive), "shafts": (*drive.shafts, Shaft("idler"))}))


def test_only_a_ratio_still_gives_the_output_shaft_with_its_rounding() -> None:
    drive = train([20, 40])
    ratio = Drive(
        **{
            **vars(drive),
            "meshes": (),
            "ratio_links": (RatioLink("nameplate ratio", "shaft 1", "shaft 2", 20.1, 0.05),),
        }
    )
    order = shaft_orders(ratio)["shaft 2"]
    assert order.order == pytest.approx(1 / 20.1)
    assert order.spread == pytest.approx(0.05 / 20.1)


def test_unknown_teeth_hide_only_what_lies_behind_them() -> None:
    drive = train([17, 71, 19, 91])
    unknown = Mesh("mesh 2", "shaft 2", "shaft 3", 19, None)
    lines = expected_lines(Drive(**{**vars(drive), "meshes": (drive.meshes[0], unknown)}))
    assert {line.component for line in lines if line.kind == "shaft"} == {"shaft 1", "shaft 2"}
    assert any(line.component == "mesh 2" and line.kind == "mesh" for line in lines)  # its pinion's teeth are enough


def test_a_bearing_on_a_shaft_that_turns_its_outer_ring_keeps_its_pass_rates() -> None:
    shape = Geometry(9, 7.94e-3, 39.04e-3)
    inner = train([20, 40], 25.0, (Bearing("b", "shaft 1", None, shape),))
    outer = train([20, 40], 25.0, (Bearing("b", None, "shaft 1", shape),))
    assert hz(inner, "outer_race", "b") == pytest.approx(hz(outer, "outer_race", "b"))
    assert hz(inner, "cage", "b") + hz(outer, "cage", "b") == pytest.approx(25.0)


def test_measurement_set_up_follows_the_rules() -> None:
    assert highest_frequency(mesh_hz=2000, inner_race_hz=134, shaft_hz=24.75) == 6500  # 3.25 x mesh
    assert highest_frequency(mesh_hz=0, inner_race_hz=700, shaft_hz=24.75) == 7000  # 10 x inner race
    assert highest_frequency(mesh_hz=0, inner_race_hz=0, shaft_hz=120) == 6000  # 50 x shaft
    check = next(c for c in checks("signal_checks.csv", "SF2sample_rate"))
    assert sample_rate(highest_hz=check.given["fmax_hz"]) == pytest.approx(check.value)
    assert record_length_for_turns(slowest_hz=0.5) == 40
