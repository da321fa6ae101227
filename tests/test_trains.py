"""Trains of every kind against worked examples (tests/reference/gear_trains.csv, sources in its rows), Willis's equation, a
symbolic solver of general use, and the laws of gearing.
"""

import math
import re
from dataclasses import replace
from fractions import Fraction

import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.drive.assembly import assembly_flaws
from gearcase.drive.bearing_lines import bearing_rings
from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.power import power_flow
from gearcase.drive.speeds import ShaftOrder, difference_spread, shaft_orders, undetermined
from gearcase.drive.train import Belt, Drive, Mesh, Motor, PassingPart, RatioLink, Shaft
from gearcase.errors import OutOfRange
from gearcase.stages.workings import line_workings
from gearcase.worked import Given, Origin
from published import Check, check_id, checks, rows


def drive_of(shafts: tuple[Shaft, ...], meshes: tuple[Mesh, ...], reference: str, speed_hz: float = 1.0, **more: object) -> Drive:
    speed = Given(f"speed of {reference}", speed_hz, "Hz", Origin.NAMEPLATE)
    return Drive("drive", shafts, meshes, (), reference, (speed_hz, speed_hz), speed_hz, speed, **more)  # type: ignore[arg-type]


def planetary(
    sun: int, planet: int, ring: int, *, planets: int = 3, held: str = "ring", reference: str = "sun", speed_hz: float = 1.0
) -> Drive:
    shafts = (
        *(Shaft(name, held=name == held) for name in ("sun", "carrier", "ring")),
        Shaft("planet", carrier="carrier", count=planets),
    )
    meshes = (
        Mesh("sun mesh", "sun", "planet", sun, planet, group="set"),
        Mesh("ring mesh", "planet", "ring", planet, ring, kind="internal", group="set"),
    )
    return drive_of(shafts, meshes, reference, speed_hz)


def hz_of(drive: Drive, name: str) -> float:
    (line,) = (line for line in expected_lines(drive) if line.name == name)
    return line.hz(drive.rated_speed_hz)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G11", "G12", "G13", "G14", "G16"), ids=check_id)
def test_planetary_sets_agree_with_worked_examples_whatever_is_held(check: Check) -> None:
    topic = {row["id"]: row["topic"] for row in rows("gear_trains.csv")}[check.id]
    held = topic.split(", ")[1].split()[0]
    drive = planetary(
        check.given["sun"],
        check.given["planet"],
        check.given["ring"],
        planets=check.given["planets"],
        held=held,
        reference=check.given["input"],
        speed_hz=check.given["input_hz"],
    )
    orders = {name: order.order * check.given["input_hz"] for name, order in shaft_orders(drive).items()}
    found = {
        "sun_hz": lambda: orders["sun"],
        "carrier_hz": lambda: orders["carrier"],
        "ring_hz": lambda: orders["ring"],
        "mesh_hz": lambda: hz_of(drive, "sun mesh 1x"),
        "planet_spin_rel_carrier_hz": lambda: hz_of(drive, "planet 1x"),
        "sun_fault_hz": lambda: hz_of(drive, "set sun tooth 1x"),
        "ring_fault_hz": lambda: hz_of(drive, "set ring tooth 1x"),
    }[check.quantity]()
    assert found == pytest.approx(check.value, rel=check.tolerance, abs=1e-9)


SPACING = [row for row in rows("gear_trains.csv") if row["topic"] == "planetary assembly"]


@pytest.mark.parametrize("row", SPACING, ids=lambda row: row["id"])
def test_sets_that_can_be_spaced_evenly_are_not_refused(row: dict[str, str]) -> None:
    given_ = sympy.sympify(row["inputs"].replace("true", "True"))
    sun, ring, planets = (int(given_[key]) for key in ("sun", "ring", "planets"))
    flaws = assembly_flaws(planetary(sun, (ring - sun) // 2, ring, planets=planets))
    refused = any("do not mesh all" in flaw.says for flaw in flaws)
    assert refused == (row["value"] != "true")


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G02"), ids=check_id)
def test_a_textbook_set_turns_its_carrier_and_planet_with_the_right_sign(check: Check) -> None:
    orders = shaft_orders(planetary(20, 30, 80))
    member = check.quantity.removesuffix("_rpm")
    assert orders[member].order * check.given["sun_rpm"] == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G05"), ids=check_id)
def test_a_planetary_helical_drive_agrees_with_its_published_figures(check: Check) -> None:
    given_ = check.given
    shafts = tuple(Shaft(name) for name in ("high speed", "intermediate", "sun", "carrier"))
    shafts += (Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=given_["planets"]))
    meshes = (
        Mesh("mesh 3", "high speed", "intermediate", given_["pinion3"], given_["wheel3"]),
        Mesh("mesh 2", "intermediate", "sun", given_["pinion2"], given_["wheel2"]),
        Mesh("sun mesh", "sun", "planet", given_["sun"], given_["planet"], group="set"),
        Mesh("ring mesh", "planet", "ring", given_["planet"], given_["ring"], kind="internal", group="set"),
    )
    drive = drive_of(shafts, meshes, "high speed", given_["hss_rpm"] / 60)
    assert assembly_flaws(drive) == ()
    found = {
        "overall_ratio": lambda: 1 / abs(shaft_orders(drive)["carrier"].order),
        "intermediate_shaft_hz": lambda: hz_of(drive, "intermediate 1x"),
        "sun_shaft_hz": lambda: hz_of(drive, "sun 1x"),
        "carrier_hz": lambda: hz_of(drive, "carrier 1x"),
        "carrier_rpm": lambda: 60 * hz_of(drive, "carrier 1x"),
        "planet_mesh_hz": lambda: hz_of(drive, "sun mesh 1x"),
        "mesh3_hz": lambda: hz_of(drive, "mesh 3 1x"),
        "ring_fault_hz": lambda: hz_of(drive, "set ring tooth 1x"),
    }[check.quantity]()
    assert found == pytest.approx(check.value, rel=check.tolerance)
    assert hz_of(drive, "planet pass 1x") == pytest.approx(hz_of(drive, "set ring tooth 1x"))  # a held ring's tooth stands


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G07"), ids=check_id)
def test_bevel_and_planetary_stages_in_a_row_agree_with_published_figures(check: Check) -> None:
    given_ = check.given
    shafts = (*(Shaft(name) for name in ("input", "sun", "carrier")), Shaft("ring", held=True))
    shafts += (Shaft("planet", carrier="carrier", count=4),)
    meshes = (
        Mesh("bevel mesh", "input", "sun", given_["bevel_pinion"], given_["bevel_gear"], kind="bevel"),
        Mesh("sun mesh", "sun", "planet", given_["sun"], given_["planet"]),
        Mesh("ring mesh", "planet", "ring", given_["planet"], given_["ring"], kind="internal"),
    )
    drive = drive_of(shafts, meshes, "input", given_["input_rpm"] / 60)
    found = {
        "bevel_mesh_hz": lambda: hz_of(drive, "bevel mesh 1x"),
        "sun_rpm": lambda: 60 * hz_of(drive, "sun 1x"),
        "carrier_rpm": lambda: 60 * hz_of(drive, "carrier 1x"),
        "overall_ratio": lambda: 1 / abs(shaft_orders(drive)["carrier"].order),
    }[check.quantity]()
    assert found == pytest.approx(check.value, rel=check.tolerance)
    assert not shaft_orders(drive)["carrier"].sense_known  # across crossing axes "the same way" means nothing


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G04", "G41", "G43"), ids=check_id)
def test_worms_agree_with_worked_examples(check: Check) -> None:
    given_ = check.given
    meshes = (Mesh("worm mesh", "worm", "wheel", given_["starts"], given_["wheel"], kind="worm"),)
    drive = drive_of((Shaft("worm"), Shaft("wheel")), meshes, "worm", given_["worm_rpm"] / 60)
    found = {
        "mesh_hz": hz_of(drive, "worm mesh 1x"),
        "wheel_hz": hz_of(drive, "wheel 1x"),
        "wheel_rpm": 60 * hz_of(drive, "wheel 1x"),
    }
    assert found[check.quantity] == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("gear_trains.csv", "G08"), ids=check_id)
def test_orders_of_a_published_planetary_set(check: Check) -> None:
    given_ = check.given
    drive = planetary(given_["sun"], given_["planet"], given_["ring"], planets=given_["planets"])
    line = {"planet_mesh_order": "sun mesh 1x", "sun_fault_order": "set sun tooth 1x"}[check.quantity]
    assert hz_of(drive, line) == pytest.approx(check.value, rel=check.tolerance)


teeth = st.integers(12, 120)


@given(sun=teeth, planet=teeth, held=st.sampled_from(("sun", "carrier", "ring")), data=st.data())
def test_any_epicyclic_set_obeys_the_textbook_formula(sun: int, planet: int, held: str, data: st.DataObject) -> None:
    """Willis: (w_sun - w_carrier) / (w_ring - w_carrier) = -z_ring / z_sun, any member held, either of the others driving."""
    ring = sun + 2 * planet
    reference = data.draw(st.sampled_from([name for name in ("sun", "carrier", "ring") if name != held]))
    order = {
        name: found.order for name, found in shaft_orders(planetary(sun, planet, ring, held=held, reference=reference)).items()
    }
    assert order["sun"] - order["carrier"] == pytest.approx(-ring / sun * (order["ring"] - order["carrier"]), abs=1e-9)
    assert order["planet"] - order["carrier"] == pytest.approx(ring / planet * (order["ring"] - order["carrier"]), abs=1e-9)
    textbook = {
        ("ring", "sun"): ("carrier", 1 / (1 + ring / sun)),
        ("ring", "carrier"): ("sun", 1 + ring / sun),
        ("carrier", "sun"): ("ring", -sun / ring),
        ("carrier", "ring"): ("sun", -ring / sun),
        ("sun", "ring"): ("carrier", 1 / (1 + sun / ring)),
        ("sun", "carrier"): ("ring", 1 + sun / ring),
    }
    output, ratio = textbook[held, reference]
    assert order[output] == pytest.approx(ratio)


@given(sun=teeth, planet=teeth, carrier=st.floats(0.05, 20), sense=st.sampled_from(("same", "opposite")))
def test_a_differential_follows_both_its_inputs(sun: int, planet: int, carrier: float, sense: str) -> None:
    """Nothing held: the stated sun and a carrier whose ratio to it is given leave the ring one speed (Willis)."""
    ring = sun + 2 * planet
    geared = RatioLink("geared", "sun", "carrier", 1 / carrier, 0.0, sense=sense)
    order = shaft_orders(replace(planetary(sun, planet, ring, held="none"), ratio_links=(geared,)))
    turning = carrier if sense == "same" else -carrier
    assert order["ring"].order == pytest.approx(turning - sun / ring * (1 - turning), rel=1e-6, abs=1e-9)


def test_a_set_with_nothing_held_says_what_is_free_and_what_would_settle_it() -> None:
    drive = planetary(24, 30, 84, held="none")
    assert set(shaft_orders(drive)) == {"sun"}
    reasons = undetermined(drive)
    assert set(reasons) == {"carrier", "ring", "planet"}
    assert "free: say which part the housing holds" in reasons["carrier"]


def test_unknown_teeth_are_named_as_the_reason() -> None:
    drive = drive_of((Shaft("input"), Shaft("output")), (Mesh("low mesh", "input", "output", 20, None),), "input")
    assert undetermined(drive) == {"output": "the teeth of 'low mesh' are not known: count them, or give the ratio"}


def test_stepped_planets_and_planets_in_pairs_obey_willis() -> None:
    """Stepped: k = z_p1 z_r / (z_s z_p2), reversed in sign; in pairs the second planet turns the sign round (textbook forms)."""
    shafts = (Shaft("sun"), Shaft("carrier"), Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=3))
    stepped = (Mesh("a", "sun", "planet", 20, 60), Mesh("b", "planet", "ring", 24, 104, kind="internal"))
    order = shaft_orders(drive_of(shafts, stepped, "sun"))
    assert 1 / order["carrier"].order == pytest.approx(1 + 60 * 104 / (20 * 24))
    pairs = (
        Mesh("a", "sun", "planet", 30, 18),
        Mesh("between", "planet", "outer", 18, 20),
        Mesh("b", "outer", "ring", 20, 90, kind="internal"),
    )
    order = shaft_orders(drive_of((*shafts, Shaft("outer", carrier="carrier", count=3)), pairs, "sun"))
    assert 1 / order["carrier"].order == pytest.approx(1 - 90 / 30)  # the carrier turns backwards


def test_sets_that_share_members_crosswise_are_solved_together() -> None:
    """A coupled pair (the Simpson arrangement: common sun, first carrier to second ring), checked by a symbolic solver."""
    shafts = (*(Shaft(name) for name in ("input ring", "sun", "output")), Shaft("second carrier", held=True))
    shafts += (Shaft("p1", carrier="output", count=3), Shaft("p2", carrier="second carrier", count=3))
    meshes = (
        Mesh("r1", "p1", "input ring", 20, 70, kind="internal"),
        Mesh("s1", "sun", "p1", 30, 20),
        Mesh("s2", "sun", "p2", 30, 20),
        Mesh("r2", "p2", "output", 20, 70, kind="internal"),
    )
    drive = drive_of(shafts, meshes, "input ring", 25.0)
    order = shaft_orders(drive)
    assert {name: found.order for name, found in order.items()} == pytest.approx(_symbolic(drive))
    line = next(line for line in expected_lines(drive) if line.name == "output 1x")
    working = line_workings(drive, (line,))[line.name]
    assert working.value == pytest.approx(line.hz(25.0))
    assert "solved together" in str(working.as_dict())


def _symbolic(drive: Drive) -> dict[str, float]:
    """The same train by sympy's solver, its equations written out anew from the meshes."""
    speed = {shaft.name: sympy.Symbol(f"w{n}") for n, shaft in enumerate(drive.shafts)}
    carried = {shaft.name: shaft.carrier for shaft in drive.shafts}
    equations = [speed[drive.reference_shaft] - 1, *(speed[shaft.name] for shaft in drive.shafts if shaft.held)]
    for mesh in drive.meshes:
        carrier = carried[mesh.pinion_shaft] or carried[mesh.wheel_shaft]
        frame = speed[carrier] if carrier else sympy.Integer(0)
        sign = -1 if mesh.kind == "internal" else 1
        equations.append(
            sympy.Integer(mesh.pinion_teeth or 0) * (speed[mesh.pinion_shaft] - frame)
            + sign * sympy.Integer(mesh.wheel_teeth or 0) * (speed[mesh.wheel_shaft] - frame)
        )
    (solution,) = sympy.linsolve(equations, *speed.values())
    return {name: float(value) for name, value in zip(speed, solution, strict=True) if not value.free_symbols}


@st.composite
def trains(draw: st.DrawFn) -> Drive:
    """A tree of parallel, internal, bevel and epicyclic stages, each hung on a shaft drawn from those before."""
    shafts, meshes = [Shaft("s0")], []
    for number in range(draw(st.integers(1, 5))):
        on = draw(st.sampled_from([shaft.name for shaft in shafts if not shaft.held and not shaft.carrier]))
        kind = draw(st.sampled_from(("external", "internal", "bevel", "epicyclic")))
        one, two = draw(teeth), draw(teeth)
        new = f"s{number + 1}"
        if kind != "epicyclic":
            shafts.append(Shaft(new))
            wheel = one + two if kind == "internal" else two  # a ring has more teeth than what runs in it
            meshes.append(Mesh(f"m{number}", on, new, one, wheel, kind=kind))
            continue
        planet, ring = f"planet {number}", f"ring {number}"
        shafts += [Shaft(new), Shaft(ring, held=True), Shaft(planet, carrier=new, count=3)]
        meshes += [Mesh(f"a{number}", on, planet, one, two), Mesh(f"b{number}", planet, ring, two, one + 2 * two, kind="internal")]
    return drive_of(tuple(shafts), tuple(meshes), "s0")


@settings(max_examples=60, deadline=None)
@given(trains())
def test_random_trains_agree_with_a_symbolic_solver(drive: Drive) -> None:
    assert {name: found.order for name, found in shaft_orders(drive).items()} == pytest.approx(_symbolic(drive), rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(drive=trains(), data=st.data())
def test_stating_another_shaft_inverts_the_ratio(drive: Drive, data: st.DataObject) -> None:
    forward = shaft_orders(drive)
    other = data.draw(st.sampled_from([name for name, found in forward.items() if found.order]))
    backward = shaft_orders(replace(drive, reference_shaft=other))
    assert backward["s0"].order == pytest.approx(1 / forward[other].order)


@settings(max_examples=60, deadline=None)
@given(drive=trains(), data=st.data())
def test_power_flow_balances(drive: Drive, data: st.DataObject) -> None:
    """What goes in comes out; every joint brings to its shafts together nothing; every shaft passes on what it takes."""
    orders = shaft_orders(drive)
    ends = [name for name, found in orders.items() if found.order and name != "s0" and not _carried(drive, name)]
    output = data.draw(st.sampled_from(ends))
    flow = power_flow(drive, power=1000.0, input_shaft="s0", output_shaft=output)
    for joint, shares in flow.items():
        assert sum(shares.values()) == pytest.approx(0, abs=1e-5), joint
    for name in orders:
        brought = sum(shares.get(name, 0.0) for shares in flow.values())
        wanted = {"s0": -1000.0, output: 1000.0}.get(name, 0.0)
        assert brought == pytest.approx(wanted, abs=1e-4), name


def _carried(drive: Drive, name: str) -> bool:
    return any(shaft.name == name and shaft.carrier for shaft in drive.shafts)


def test_split_torque_shares_its_load_and_agrees_by_both_ways() -> None:
    shafts = tuple(Shaft(name) for name in ("input", "left", "right", "output"))
    meshes = tuple(
        mesh
        for side in ("left", "right")
        for mesh in (Mesh(f"{side} first", "input", side, 20, 60), Mesh(f"{side} second", side, "output", 18, 90))
    )
    drive = drive_of(shafts, meshes, "input", 25.0)
    assert shaft_orders(drive)["output"].order == pytest.approx(1 / 15)
    flow = power_flow(drive, power=90e3, input_shaft="input", output_shaft="output")
    assert flow["left second"]["output"] == pytest.approx(45e3)
    assert flow["right second"]["output"] == pytest.approx(45e3)


def test_two_ways_round_a_split_that_do_not_agree_are_both_given() -> None:
    shafts = tuple(Shaft(name) for name in ("input", "left", "right", "output"))
    meshes = (
        Mesh("a", "input", "left", 20, 60),
        Mesh("b", "left", "output", 18, 90),
        Mesh("c", "input", "right", 20, 60),
        Mesh("d", "right", "output", 18, 91),
    )
    with pytest.raises(
        OutOfRange, match=r"two paths disagree: through 'a', 'b' gives 15 turns of 'input' .*'c', 'd' gives 15\.167"
    ):
        shaft_orders(drive_of(shafts, meshes, "input"))


def test_a_set_with_two_members_held_is_locked() -> None:
    drive = planetary(24, 30, 84, held="ring")
    held = tuple(replace(shaft, held=True) if shaft.name == "carrier" else shaft for shaft in drive.shafts)
    with pytest.raises(OutOfRange, match="the train is locked"):
        shaft_orders(replace(drive, shafts=held))


def test_a_stated_shaft_that_is_held_is_locked() -> None:
    with pytest.raises(OutOfRange, match="is locked: its speed is stated, and the housing is said to hold it"):
        shaft_orders(planetary(24, 30, 84, held="sun", reference="sun"))


@pytest.mark.parametrize("count", [0, -17, 17.5])
def test_teeth_that_are_not_whole_and_positive_are_refused(count: float) -> None:
    drive = drive_of((Shaft("a"), Shaft("b")), (Mesh("mesh", "a", "b", 20, count),), "a")  # type: ignore[arg-type]
    with pytest.raises(OutOfRange, match="a whole number of teeth"):
        shaft_orders(drive)


def test_a_mesh_across_two_carriers_or_with_its_own_is_refused() -> None:
    shafts = (Shaft("s"), Shaft("c1"), Shaft("c2"), Shaft("p1", carrier="c1"), Shaft("p2", carrier="c2"))
    with pytest.raises(OutOfRange, match="carried by 'c1' and 'c2'"):
        shaft_orders(
            drive_of(shafts, (Mesh("m", "p1", "p2", 20, 20), Mesh("n", "s", "c1", 20, 20), Mesh("o", "s", "c2", 9, 9)), "s")
        )
    with pytest.raises(OutOfRange, match="not with its carrier"):
        shaft_orders(drive_of(shafts[:2] + shafts[3:4], (Mesh("m", "p1", "c1", 20, 20), Mesh("n", "s", "p1", 20, 20)), "s"))


@pytest.mark.parametrize(
    ("counts", "planets", "says", "impossible"),
    [
        ((24, 30, 90), 3, "the ring has 90 teeth where sun .* gives 84: no planet fits", True),
        ((24, 30, 85), 1, "possible only with shifted profiles", False),
        ((20, 31, 82), 4, r"4 planets at equal angles do not mesh all: \(20 \+ 82\) / 4 is not whole.*2 or 3 planets", True),
        ((24, 30, 84), 6, r"6 planets of 30 teeth round a sun of 24 run into each other: .* at most 4 fit", True),
    ],
)
def test_sets_that_cannot_be_assembled_say_why_and_what_would_do(
    counts: tuple[int, int, int], planets: int, says: str, impossible: bool
) -> None:
    """Conditions of any text on epicyclic gears: coaxial (z_r = z_s + 2 z_p), even spacing ((z_s + z_r) / N whole), clearance."""
    flaws = assembly_flaws(planetary(*counts, planets=planets))
    assert [flaw.impossible for flaw in flaws if re.search(says, flaw.says)] == [impossible], flaws


def test_unevenly_spaced_planets_are_taken_at_their_word() -> None:
    drive = planetary(20, 31, 82, planets=4)
    uneven = tuple(replace(shaft, evenly_spaced=False) if shaft.carrier else shaft for shaft in drive.shafts)
    assert assembly_flaws(replace(drive, shafts=uneven)) == ()


def test_a_belt_slips_within_its_spread_and_shows_its_own_turn() -> None:
    """200 to 500 mm on 25 Hz: 10 Hz; a belt of 2.5 m turns at pi x 0.2 x 25 / 2.5 = 6.283 Hz (geometry)."""
    belt = Belt("V-belt", "V-belt", "motor", "input", 0.2, 0.5, 2.5, slip_spread=0.02)
    drive = drive_of((Shaft("motor"), Shaft("input")), (), "motor", 25.0, belts=(belt,))
    order = shaft_orders(drive)["input"]
    assert (order.order, order.spread) == (pytest.approx(0.4), pytest.approx(0.02))
    assert hz_of(drive, "V-belt turn 1x") == pytest.approx(2 * math.pi)


def test_a_chain_meshes_and_turns_by_its_links() -> None:
    chain = Belt("chain", "chain", "motor", "input", 17, 51, 102)
    drive = drive_of((Shaft("motor"), Shaft("input")), (), "motor", 12.0, belts=(chain,))
    assert shaft_orders(drive)["input"].order == pytest.approx(1 / 3)
    assert hz_of(drive, "chain teeth 1x") == pytest.approx(17 * 12)
    assert hz_of(drive, "chain turn 1x") == pytest.approx(2.0)


def _motor(**more: object) -> Drive:
    motor = Motor("input", 4, 50.0, 24.75, **more)  # type: ignore[arg-type]
    return drive_of((Shaft("input"),), (), "input", 24.75, motor=motor)


def test_a_motor_on_the_mains_shows_twice_its_supply_and_its_pole_pass() -> None:
    """Four poles, 1485 rpm on 50 Hz: slip 0.25 Hz, pole pass 4 x 0.25 = 1 Hz (induction motor theory)."""
    drive = _motor()
    lines = {line.name: line for line in expected_lines(drive)}
    assert lines["motor supply 2x"].hz(24.75) == pytest.approx(100.0)
    assert lines["motor supply 2x"].hz(20.0) == pytest.approx(100.0)  # the mains do not follow the shaft
    assert lines["motor pole pass"].hz(24.75) == pytest.approx(1.0)
    assert lines["motor pole pass"].hz(24.9) == pytest.approx(0.4)


def test_under_a_converter_twice_its_output_follows_the_speed_and_its_carrier_does_not() -> None:
    ranging = replace(_motor(converter=True, carrier_hz=4000.0), speed_hz=(12.0, 24.75))
    lines = {line.name: line for line in expected_lines(ranging)}
    supply = lines["motor supply 2x"]
    for slip_hz in (0.0, 0.25):  # no load, full load: the field runs ahead of 24.75 Hz at 25
        true = 4 * (12.0 + slip_hz)
        assert abs(supply.hz(12.0) - true) <= supply.spread * supply.hz(12.0) * (1 + 1e-6)
    assert lines["motor converter carrier 1x"].hz(12.0) == 4000.0
    below = lines["motor converter carrier 1x - 1 x twice output"]
    assert below.hz(12.0) == pytest.approx(4000.0 - supply.hz(12.0))


def test_a_plate_whose_poles_and_speed_contradict_each_other_is_named() -> None:
    wrong = drive_of((Shaft("input"),), (), "input", 24.75, motor=Motor("input", 6, 50.0, 24.75, converter=True))
    with pytest.raises(OutOfRange, match=r"1485 rpm does not belong to 6 poles on 50 Hz, whose field turns at 1000 rpm"):
        expected_lines(wrong)


def test_what_passes_so_many_times_a_turn_has_its_lines() -> None:
    parts = (PassingPart("fan", "input", "fan blades", 7), PassingPart("buckets", "input", "buckets", 2.4))
    drive = drive_of((Shaft("input"),), (), "input", 10.0, passing_parts=parts)
    assert hz_of(drive, "fan 2x") == pytest.approx(140)
    assert hz_of(drive, "buckets 1x") == pytest.approx(24)


@settings(max_examples=30, deadline=None)
@given(trains())
def test_every_line_of_any_train_is_worked_from_what_was_given(drive: Drive) -> None:
    lines = expected_lines(drive)
    workings = line_workings(drive, lines)
    assert set(workings) == {line.name for line in lines}
    for line in lines:
        assert workings[line.name].recalculate() == pytest.approx(line.hz(drive.rated_speed_hz), rel=1e-9), line.name


@settings(max_examples=40, deadline=None)
@given(drive=trains(), data=st.data())
def test_every_bearing_line_is_worked_whichever_rings_turn(drive: Drive, data: st.DataObject) -> None:
    """Bearings between any two parts, planets on their pins either way round, with their sidebands."""
    names = [shaft.name for shaft in drive.shafts if not shaft.carrier]
    pins = [(shaft.carrier, shaft.name) for shaft in drive.shafts if shaft.carrier]
    between = [*pins, *((outer, inner) for inner, outer in pins), (data.draw(st.sampled_from(names)), None)]
    between.append((data.draw(st.sampled_from(names)), data.draw(st.sampled_from(names))))
    shape = Geometry(11, 12e-3, 60e-3, data.draw(st.floats(0, 1)))
    drive = replace(drive, bearings=tuple(Bearing(f"bearing {n}", *rings, shape) for n, rings in enumerate(between)))
    lines = [line for line in expected_lines(drive) if line.component.startswith("bearing")]
    workings = line_workings(drive, tuple(lines))
    assert len(workings) == len(lines)
    for line in lines:
        assert workings[line.name].recalculate() == pytest.approx(line.hz(drive.rated_speed_hz), rel=1e-9), line.name


ON_PIN = Bearing("planet bearing", "carrier", "planet", Geometry(18, 16e-3, 80e-3))  # (d/D) cos a = 0.2


def on_pin(bearing: Bearing = ON_PIN, speed_hz: float = 24 + 2 / 3) -> Drive:
    """Sun 21, planets 39, ring 99 held; sun at 1480 rpm."""
    return replace(planetary(21, 39, 99, speed_hz=speed_hz), bearings=(bearing,))


@pytest.mark.parametrize(
    ("inner", "outer", "share"), [("carrier", "planet", 0.6), ("planet", "carrier", 0.4)], ids=("on a pin", "on a stub shaft")
)
def test_the_cage_of_a_planets_bearing_turns_as_its_carrier_sees_it(inner: str, outer: str, share: float) -> None:
    """By hand: carrier 24.667 x 21 / 120 = 4.3167 Hz, planet as the carrier sees it (24.667 - 4.3167) x 21 / 39 = 10.958 Hz; the
    load and one ring go round with it, so the cage turns (1 + 0.2) / 2 or (1 - 0.2) / 2 of that (no-slip kinematics, Harris).
    """
    drive = on_pin(replace(ON_PIN, inner_shaft=inner, outer_shaft=outer))
    assert hz_of(drive, "planet 1x") == pytest.approx(10.958, abs=5e-4)
    assert hz_of(drive, "planet bearing cage 1x") == pytest.approx(share * 10.958, abs=5e-4)
    assert hz_of(drive, "planet bearing outer race 1x") == pytest.approx(9 * 0.8 * 10.958, abs=5e-3)  # the same from anywhere


def test_a_planets_bearing_shows_its_turning_ring_its_cage_and_its_carrier_beside_its_lines() -> None:
    drive = on_pin()
    by_line: dict[str, set[tuple[str, str, int]]] = {}
    for line in expected_lines(drive):
        if line.kind == "sideband" and line.component == "planet bearing" and line.harmonic == 1:
            by_line.setdefault(line.sideband_of, set()).add((line.sideband_shaft, line.sideband_rate, line.sideband_pair))
    carrier = {("carrier", "", pair) for pair in (-2, -1, 1, 2)}
    assert by_line == {
        "outer_race": carrier | {("planet", "", pair) for pair in (-2, -1, 1, 2)},
        "inner_race": carrier,  # the pin stands in its load
        "rolling_element": carrier | {("", "cage", pair) for pair in (-2, -1, 1, 2)},
        "cage": {("carrier", "", pair) for pair in (-1, 1, 2)},  # 6.575 - 2 x 4.317 Hz is below nothing
    }
    outer = 9 * 0.8 * 10.95769  # 24.66667 x 0.825 x 21 / 39
    assert hz_of(drive, "planet bearing outer race 1x + 2 x planet") == pytest.approx(outer + 2 * 10.95769, abs=5e-4)
    assert hz_of(drive, "planet bearing outer race 1x - 1 x carrier") == pytest.approx(outer - 4.31667, abs=5e-4)


def test_the_bearing_of_a_shaft_has_sidebands_of_the_ring_that_turns_and_of_its_cage() -> None:
    """6205 of tests/reference/bearings.csv, row B01: orders 5.4152 inner race, 4.7135 element, 0.39828 cage."""
    ball = Bearing("ball", "input", None, Geometry(9, 0.3126 * 0.0254, 1.537 * 0.0254))
    lines = expected_lines(replace(_motor(), motor=None, bearings=(ball,)))
    assert {line.name: line.order for line in lines if line.kind == "sideband" and line.harmonic == 1} == pytest.approx(
        {f"ball inner race 1x {'-' if pair < 0 else '+'} {abs(pair)} x input": 5.4152 + pair for pair in (-2, -1, 1, 2)}
        | {
            f"ball rolling element 1x {'-' if pair < 0 else '+'} {abs(pair)} x cage": 4.7135 + pair * 0.39828
            for pair in (-2, -1, 1, 2)
        },
        rel=5e-5,
    )
    assert {line.harmonic for line in lines if line.kind == "sideband"} == {1, 2, 3}


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 0.1), st.floats(0, 0.1))
def test_the_spread_of_a_difference_is_that_of_its_worst_corner(one: float, other: float, first: float, second: float) -> None:
    """Interval arithmetic: of the four corners of what both speeds may be."""
    speeds = (ShaftOrder(one, first, Origin.MEASURED, ()), ShaftOrder(other, second, Origin.MEASURED, ()))
    if abs(one - other) < 1e-3:
        return
    corners = [one * (1 + a * first) - other * (1 + b * second) for a in (-1, 1) for b in (-1, 1)]
    reach = max(abs(corner - (one - other)) for corner in corners)
    assert difference_spread(*speeds) * abs(one - other) == pytest.approx(reach, abs=1e-9)


@pytest.mark.parametrize(
    ("turning", "race", "cage"),
    [
        (("fast", None), 0.01, 0.01),
        ((None, "slow"), 0.02, 0.02),
        # fast at 1 within 1 %, slow at 0.5 within 2 %, one way: (0.01 + 0.01) / 0.5; cage (0.8 x 1 + 1.2 x 0.5) / 2: 0.02 / 1.4
        (("fast", "slow"), 0.04, 0.02 / 1.4),
        (("slow", "fast"), 0.04, 0.02 / 1.6),
    ],
)
def test_what_is_not_known_of_the_rings_speeds_is_in_every_line_of_the_bearing(
    turning: tuple[str | None, str | None], race: float, cage: float
) -> None:
    shape, belt = Geometry(18, 16e-3, 80e-3), {"kind": "V-belt", "driver_shaft": "input"}
    belts = (
        Belt("one", driven_shaft="fast", driver_size=0.2, driven_size=0.2, slip_spread=0.01, **belt),
        Belt("two", driven_shaft="slow", driver_size=0.2, driven_size=0.4, slip_spread=0.02, **belt),
    )
    shafts = (Shaft("input"), Shaft("fast"), Shaft("slow"))
    drive = replace(drive_of(shafts, (), "input"), belts=belts, bearings=(Bearing("b", *turning, shape),))
    spreads = {line.kind: line.spread for line in expected_lines(drive) if line.component == "b" and line.kind != "sideband"}
    assert spreads == pytest.approx({"outer_race": race, "inner_race": race, "rolling_element": race, "cage": cage})
    for line in expected_lines(drive):  # the sum of both reaches, as far from it as its line
        if line.name == "b inner race 2x + 1 x slow":
            rate = 2 * 18 / 2 * 1.2 * 0.5  # half a turn of one ring against the other
            assert line.spread * line.order == pytest.approx(rate * race + 0.5 * 0.02)


def test_a_planet_on_its_pin_is_known_as_well_as_the_difference_of_its_speed_and_its_carriers() -> None:
    """Sun behind a belt that slips by 2 %: planet 0.55 backwards and carrier 0.2, both known to 2 %, differ by 0.75."""
    base = replace(on_pin(), shafts=(Shaft("motor"), *on_pin().shafts), reference_shaft="motor")
    drive = replace(base, belts=(Belt("belt", "V-belt", "motor", "sun", 0.2, 0.2, None, 0.02),))
    orders = shaft_orders(drive)
    rings = bearing_rings(drive, ON_PIN, orders)
    assert rings is not None and rings.carrier == "carrier" and rings.inner.order == 0
    planet, carrier = orders["planet"], orders["carrier"]
    reach = abs(planet.order) * planet.spread + carrier.order * carrier.spread
    (line,) = (line for line in expected_lines(drive) if line.name == "planet bearing cage 1x")
    assert line.spread == pytest.approx(reach / (carrier.order - planet.order)) and line.spread > 0


@pytest.mark.parametrize("converter", [False, True])
def test_pole_pass_stands_either_side_of_the_motor_shafts_line(converter: bool) -> None:
    """Four poles, 1485 rpm on 50 Hz: pole pass 1 Hz at full load (induction motor theory); on a converter, load unknown, half."""
    drive = _motor(converter=converter)
    beside = {line.sideband_pair: line for line in expected_lines(drive) if line.sideband_rate == "pole_pass"}
    away = 0.5 if converter else 1.0
    assert {pair: line.hz(24.75) for pair, line in beside.items()} == pytest.approx({n: 24.75 + n * away for n in (-2, -1, 1, 2)})
    if converter:  # from no load to full
        assert beside[1].spread * beside[1].hz(24.75) == pytest.approx(0.5)
    else:  # at 24.9 Hz the slip is 0.1 Hz
        assert beside[-1].hz(24.9) == pytest.approx(24.9 - 0.4)
    above = replace(drive, rated_speed_hz=25.25, speed_hz=(25.25, 25.25))
    if not converter:  # driven above its field it slips the other way, and still the upper sideband is the upper one
        (upper,) = (line for line in expected_lines(above) if line.sideband_rate and line.sideband_pair == 1)
        assert upper.hz(25.25) == pytest.approx(26.25)


def test_lines_of_belts_motor_and_parts_are_worked_too() -> None:
    motor = Motor("motor", 4, 50.0, 24.75, converter=True, carrier_hz=4000.0)
    belts = (Belt("belt", "V-belt", "motor", "input", 0.2, 0.5, 2.5, 0.02), Belt("chain", "chain", "input", "sun", 17, 51, 102))
    base = planetary(24, 30, 84)
    drive = replace(
        base,
        shafts=(Shaft("motor"), Shaft("input"), *base.shafts),
        reference_shaft="motor",
        rated_speed_hz=24.75,
        speed_hz=(20.0, 24.75),
        speed_given=Given("speed", 24.75, "Hz", Origin.NAMEPLATE),
        belts=belts,
        motor=motor,
        passing_parts=(PassingPart("fan", "motor", "fan blades", 7),),
    )
    lines = expected_lines(drive)
    for mains in (drive, replace(drive, motor=replace(motor, converter=False))):
        lines = expected_lines(mains)
        workings = line_workings(mains, lines)
        assert {line.kind for line in lines} >= {"belt", "passing", "supply", "pole_pass", "planet", "planet_pass", "member_tooth"}
        for line in lines:
            assert workings[line.name].value == pytest.approx(line.hz(24.75), rel=1e-9), line.name


def test_sidebands_of_a_planetary_mesh_stand_at_carrier_turns_and_planet_passes() -> None:
    drive = planetary(24, 30, 84)
    carrier = shaft_orders(drive)["carrier"].order
    mesh = 24 * (1 - carrier)
    sidebands: dict[int, Line] = {
        line.sideband_pair: line
        for line in expected_lines(drive)
        if line.kind == "sideband" and line.sideband_shaft == "carrier" and line.harmonic == 1
    }
    assert set(sidebands) == {sign * pair for pair in (1, 2, 3, 6, 9) for sign in (-1, 1)}
    assert sidebands[3].order == pytest.approx(mesh + 3 * carrier)


def test_the_exact_solver_keeps_ratios_that_floats_would_blur() -> None:
    """Twelve stages of 101/100 out and back: exactly one turn, which binary fractions would miss."""
    shafts = tuple(Shaft(f"s{n}") for n in range(13))
    meshes = tuple(Mesh(f"m{n}", f"s{n}", f"s{n + 1}", 101, 100) for n in range(12))
    order = shaft_orders(drive_of(shafts, meshes, "s0"))["s12"].order
    assert order == float(Fraction(101, 100) ** 12)


def test_plain_planets_mesh_at_one_rate_and_stepped_ones_at_two() -> None:
    """Sun and ring mesh of a plain planet are one line; a stepped planet meshes at z_p1 and z_p2 times its turns (definition)."""
    plain = {line.component for line in expected_lines(planetary(24, 30, 84)) if line.kind == "mesh"}
    assert plain == {"sun mesh"}
    shafts = (Shaft("sun"), Shaft("carrier"), Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=2))
    meshes = (
        Mesh("sun mesh", "sun", "planet", 20, 60, group="set"),
        Mesh("ring mesh", "planet", "ring", 24, 104, kind="internal", group="set"),
    )
    rates = {
        line.component: line.order for line in expected_lines(drive_of(shafts, meshes, "sun")) if line.name.endswith("mesh 1x")
    }
    assert rates["sun mesh"] / rates["ring mesh"] == pytest.approx(60 / 24)


def test_a_given_ratio_says_nothing_of_the_sense() -> None:
    drive = drive_of((Shaft("a"), Shaft("b")), (), "a", ratio_links=(RatioLink("measured", "a", "b", 3.0, 0.0),))
    assert not shaft_orders(drive)["b"].sense_known
    back = (Mesh("mesh", "a", "b", 20, 60),)  # an external mesh turns the other way, which the ratio does not contradict
    assert shaft_orders(replace(drive, meshes=back))["b"].order == pytest.approx(-1 / 3)


def fed_twice(sense: str) -> Drive:
    """A differential: the sun stated, the ring driven from the same shaft across a bevel mesh at a quarter of its speed."""
    base = planetary(21, 39, 99, held="none")
    return replace(base, meshes=(*base.meshes, Mesh("side bevel", "sun", "ring", 20, 80, kind="bevel", sense=sense)))


def test_two_inputs_whose_senses_nobody_knows_leave_the_third_open_and_say_so() -> None:
    drive = fed_twice("")
    assert "carrier" not in shaft_orders(drive)
    assert "how they turn across 'side bevel': say sense: same or opposite" in undetermined(drive)["carrier"]
    assert not any(line.component == "carrier" for line in expected_lines(drive))


@pytest.mark.parametrize(("sense", "ring"), [("same", 0.25), ("opposite", -0.25)])
def test_a_sense_that_is_said_decides_between_the_two_speeds_of_willis(sense: str, ring: float) -> None:
    """w_carrier = (z_s w_s + z_r w_r) / (z_s + z_r): (21 +- 99/4) / 120 (Willis)."""
    assert shaft_orders(fed_twice(sense))["carrier"].order == pytest.approx((21 + 99 * ring) / 120)


def test_both_inputs_behind_one_bevel_keep_their_sense_to_each_other() -> None:
    """Sun and ring are both driven from the shaft behind the bevel: what nobody knows is the sign of all of it."""
    base = planetary(21, 39, 99, held="none", reference="motor")
    shafts = (Shaft("motor"), *base.shafts)
    meshes = (Mesh("bevel", "motor", "sun", 20, 40, kind="bevel"), Mesh("side", "sun", "ring", 20, 80), *base.meshes)
    order = shaft_orders(replace(base, shafts=shafts, meshes=meshes))
    assert abs(order["carrier"].order) == pytest.approx(0.5 * (21 - 99 / 4) / 120 * -1)
    assert not order["carrier"].sense_known


def bevel_differential(left: int, right: int, *, held: bool, senses: tuple[str, str]) -> Drive:
    """Side gears a and b, bevel planets of 12 teeth in a case."""
    shafts = (Shaft("a"), Shaft("b", held=held), Shaft("case"), Shaft("planet", carrier="case", count=2))
    meshes = tuple(
        Mesh(f"{side} mesh", "planet", side, 12, teeth, kind="bevel", sense=sense)
        for side, teeth, sense in zip("ab", (left, right), senses, strict=True)
    )
    return drive_of(shafts, meshes, "a")


@pytest.mark.parametrize(("left", "right"), [(20, 20), (20, 22), (18, 40)])
def test_a_bevel_differential_turns_as_willis_says_once_its_senses_are_said(left: int, right: int) -> None:
    """As the case sees them the side gears turn opposite ways, z_a (w_a - w_c) = -z_b (w_b - w_c): b held, the case turns
    z_a / (z_a + z_b), half where they are alike (Willis; the differential of any machine-design text).
    """
    for senses in (("same", "opposite"), ("opposite", "same")):
        order = shaft_orders(bevel_differential(left, right, held=True, senses=senses))
        assert order["case"].order == pytest.approx(left / (left + right))
        assert abs(order["planet"].order - order["case"].order) == pytest.approx(left / 12 * (1 - left / (left + right)))


@pytest.mark.parametrize(("left", "right"), [(20, 20), (20, 22)])
@pytest.mark.parametrize("senses", [("", ""), ("same", ""), ("", "opposite")])
def test_a_carrier_is_never_given_a_speed_by_gears_whose_senses_nobody_has_said(
    left: int, right: int, senses: tuple[str, str]
) -> None:
    """The same teeth with both senses alike give 20 / (20 - 22) = -10, twenty-one times the true speed the other way."""
    drive = bevel_differential(left, right, held=True, senses=senses)
    assert "case" not in shaft_orders(drive)
    unsaid = ", ".join(f"'{side} mesh'" for side, sense in zip("ab", senses, strict=True) if not sense)
    assert f"how they turn across {unsaid}: say sense: same or opposite" in undetermined(drive)["case"]


def test_a_differential_with_nothing_held_is_open_whatever_its_senses() -> None:
    drive = bevel_differential(20, 20, held=False, senses=("same", "opposite"))
    assert "say which part the housing holds" in undetermined(drive)["case"]


def test_gears_of_unknown_sense_on_a_held_carrier_turn_as_in_a_housing() -> None:
    drive = bevel_differential(20, 40, held=False, senses=("", ""))
    shafts = tuple(replace(shaft, held=shaft.name == "case") for shaft in drive.shafts)
    order = shaft_orders(replace(drive, shafts=shafts))
    assert abs(order["planet"].order) == pytest.approx(20 / 12) and abs(order["b"].order) == pytest.approx(20 / 40)


def test_a_ring_smaller_than_what_runs_in_it_is_refused() -> None:
    drive = drive_of((Shaft("a"), Shaft("b")), (Mesh("mesh", "a", "b", 63, 20, kind="internal"),), "a")
    with pytest.raises(OutOfRange, match=r"63 teeth inside 20: a ring has more teeth .* exchange pinion and wheel"):
        shaft_orders(drive)


def test_ratios_that_differ_by_a_seventh_of_a_per_cent_disagree() -> None:
    """20.12 and 20.09, each known to half of its last digit: 0.03 apart, with 0.01 of room."""
    links = tuple(RatioLink(name, "input", "output", ratio, 0.005) for name, ratio in (("one", 20.12), ("two", 20.09)))
    drive = drive_of((Shaft("input"), Shaft("output")), (), "input", ratio_links=links)
    with pytest.raises(OutOfRange, match=r"two paths disagree: through 'one' gives 20\.12 turns of 'input' .* 'two' gives 20\.09"):
        shaft_orders(drive)


def test_a_difference_of_two_uncertain_speeds_is_less_sure_than_either() -> None:
    """Ring on a V-belt with 2 % of slip, sun stated: mesh follows w_sun - w_carrier, its reach that of the carrier."""
    base = planetary(21, 39, 99, held="none")
    belt = Belt("belt", "V-belt", "sun", "ring", 0.1, 0.4, slip_spread=0.02)
    drive = replace(base, belts=(belt,))
    orders = shaft_orders(drive)
    carrier = orders["carrier"]
    assert carrier.order == pytest.approx((21 + 99 / 4) / 120)
    (mesh,) = (line for line in expected_lines(drive) if line.name == "sun mesh 1x")
    for slip in (-0.02, 0.02):  # the ends of the slip: what the line may truly be
        true = 21 * (1 - (21 + 99 / 4 * (1 + slip)) / 120)
        assert abs(mesh.order - true) <= mesh.spread * mesh.order * (1 + 1e-9)
    assert mesh.spread * mesh.order == pytest.approx(21 * carrier.spread * carrier.order)
