"""Conductors, drops, supplies, branch circuits, conduit and holes against published rows and circuit theory.

Sources stand in the rows of tests/reference, or beside the check.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.power import (
    CONTINUOUS,
    LICENSED,
    MOST_BENDS,
    MOST_DROP,
    MOST_DROP_WITH_FEEDER,
    BranchCircuit,
    Load,
    Segment,
    Supply,
    branch_circuit,
    check_supply,
    check_volts,
    conductor,
    conduit_fill,
    conduit_for,
    knockout,
    least_volts,
    mains_current,
    most_fill,
    pull_points,
    resistance_at,
    separation,
    supply_current,
    voltage_drop,
    volts_along,
    wire_area,
    wires_that_fit,
)
from gearcase.tables import load
from gearcase.units import parse_wire
from published import Check, check_id, checks, rows

INCH, FOOT = 0.0254, 0.3048
PUBLISHED = {row["id"]: row for row in rows("electrical_checks.csv")}


@pytest.mark.parametrize("row", rows("wire_awg.csv"), ids=lambda row: row["awg"])
def test_solid_gauges_have_the_published_resistance(row: dict[str, str]) -> None:
    found = conductor(f"{row['awg']} AWG", "solid")
    assert 1000 * found.resistance == pytest.approx(float(row["ohm_per_km_20c_solid"]), rel=5e-4)
    assert 304.8 * found.resistance == pytest.approx(float(row["ohm_per_kft_20c_solid"]), rel=5e-4)
    assert 1e6 * found.area == pytest.approx(float(row["area_mm2"]), rel=5e-4)


@pytest.mark.parametrize("row", rows("wire_iec60228.csv"), ids=lambda row: row["id"])
def test_metric_conductors_have_the_standards_resistance(row: dict[str, str]) -> None:
    found = conductor(f"{row['area_mm2']} mm2", f"class {row['conductor_class']}")
    assert 1000 * found.resistance == pytest.approx(float(row["max_ohm_per_km_20c_plain_cu"]), rel=1e-9)
    assert found.at == pytest.approx(293.15)


@pytest.mark.parametrize("row", rows("wire_nec_table8.csv"), ids=lambda row: row["id"])
def test_gauges_warm_have_the_codes_resistance(row: dict[str, str]) -> None:
    """Stranded as printed, to its three digits; solid from the 20 degC table, raised to 75 degC."""
    found = conductor(f"{row['awg']} AWG", row["stranding"])
    warm = resistance_at(resistance=found.resistance, at=found.at, coefficient=found.coefficient, temperature=348.15)
    assert 304.8 * warm == pytest.approx(float(row["ohm_per_kft_75c_uncoated_cu"]), rel=5e-3)
    if row["stranding"] == "stranded":
        assert 304.8 * found.resistance == pytest.approx(float(row["ohm_per_kft_75c_uncoated_cu"]), rel=1e-4)


@pytest.mark.parametrize("row", load("conductors"), ids=lambda row: f"{row['wire']} {row['form']}")
def test_every_conductor_of_the_table_is_copper_of_its_size(row: dict[str, str]) -> None:
    """IEC 60028: 17.241 ohm mm2/km at 20 degC; strands and their allowance add up to 17 %, no conductor lies below by 1 %."""
    found = conductor(row["wire"], row["form"])
    assert 1e6 * found.area == pytest.approx(math.pi / 4 * (1000 * parse_wire(row["wire"]).diameter) ** 2, rel=3e-3)
    cold = resistance_at(resistance=found.resistance, at=found.at, coefficient=found.coefficient, temperature=293.15)
    assert 0.99 <= 1000 * cold * found.area * 1e6 / 17.241 <= 1.17


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "ET"), ids=check_id)
def test_resistance_follows_temperature_as_published(check: Check) -> None:
    found = resistance_at(
        resistance=check.given["r"],
        at=check.given["t0_c"] + 273.15,
        coefficient=check.given["alpha"],
        temperature=check.given["t1_c"] + 273.15,
    )
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EV", "EI"), ids=check_id)
def test_voltage_drops_agree_with_worked_ones(check: Check) -> None:
    metric = "length_m" in check.given
    drop = voltage_drop(
        length=check.given["length_m"] if metric else FOOT * check.given["length_ft"],
        resistance=check.given["ohm_per_km"] / 1000 if metric else check.given["ohm_per_kft"] / 304.8,
        current=check.given["current_a"],
    )
    percent = check.quantity == "drop_percent"
    assert (100 * drop / check.given["supply_v"] if percent else drop) == pytest.approx(check.value, rel=check.tolerance)
    if metric:
        wire, form = check.given["wire"].split(" class ")
        assert 1000 * conductor(wire, f"class {form}").resistance == pytest.approx(check.given["ohm_per_km"])


@st.composite
def lines(draw: st.DrawFn) -> list[Segment]:
    """A branching line: each new place is fed from one that is already there."""
    places = ["supply"]
    segments = []
    for number in range(draw(st.integers(1, 8))):
        start = draw(st.sampled_from(places))
        places.append(f"d{number}")
        values = [draw(st.floats(low, high)) for low, high in ((0.1, 100), (1e-3, 0.1), (0, 2))]
        segments.append(Segment(start, places[-1], *values))
    return draw(st.permutations(segments))


@given(line=lines(), supply=st.floats(5, 48))
def test_volts_agree_with_the_circuit_solved_node_by_node(line: list[Segment], supply: float) -> None:
    """Nodal analysis with current sources (any circuit textbook)."""
    node = {segment.end: number for number, segment in enumerate(line)}
    matrix, drawn = np.zeros((len(line), len(line))), np.array([-segment.current for segment in line])
    for segment in line:
        conductance, here = 1 / (2 * segment.length * segment.resistance), node[segment.end]
        matrix[here, here] += conductance
        if segment.start == "supply":
            drawn[here] += conductance * supply
        else:
            there = node[segment.start]
            matrix[there, there] += conductance
            matrix[here, there] -= conductance
            matrix[there, here] -= conductance
    solved = np.linalg.solve(matrix, drawn)
    volts = volts_along(supply=supply, segments=line)
    scale = supply + sum(abs(solved))
    for name, worked in volts.items():
        assert worked.value == pytest.approx(solved[node[name]], abs=1e-6 * scale)
        assert worked.recalculate() == pytest.approx(worked.value)


@given(line=lines())
def test_volts_only_fall_along_the_line(line: list[Segment]) -> None:
    volts = {name: worked.value for name, worked in volts_along(supply=24.0, segments=line).items()} | {"supply": 24.0}
    assert all(volts[segment.end] <= volts[segment.start] for segment in line)


@given(line=lines(), more=st.floats(0, 5))
def test_drawing_more_anywhere_raises_no_volts(line: list[Segment], more: float) -> None:
    before = volts_along(supply=24.0, segments=line)
    first = line[0]
    heavier = Segment(first.start, first.end, first.length, first.resistance, first.current + more)
    after = volts_along(supply=24.0, segments=[heavier, *line[1:]])
    assert all(after[name].value <= before[name].value + 1e-9 for name in before)


def test_too_few_volts_are_a_blocker_with_the_size_that_cures_it() -> None:
    """Row EV1v: 3.192 V lost of 24 V over 1.5 mm2. For 22 V at the device 3.192 / 2.0 = 1.6 times the area are wanted."""
    line = [Segment("supply", "light", 60.0, 13.3e-3, 2.0, 22.0)]
    (finding,) = check_volts(supply=24.0, segments=line)
    assert (finding.level, finding.rule, finding.where) == (Level.BLOCKER, "power.volts", "light")
    assert finding.says.startswith("20.8 V of 24 V arrive, 22 V are the least: conductors of 1.6 times the area")
    assert finding.worked is not None and finding.worked.value == pytest.approx(24.0 - 3.192)
    thicker = [Segment("supply", "light", 60.0, 13.3e-3 / 1.6, 2.0, 22.0)]
    assert check_volts(supply=24.0, segments=thicker) == ()
    (finding,) = check_volts(supply=24.0, segments=[Segment("supply", "light", 1.0, 0.01, 0.1, 24.0)])
    assert finding.says.endswith("a supply of more volts")


def test_places_may_be_called_anything() -> None:
    line = [Segment("psu", "supply", 10.0, 0.01, 1.0), Segment("supply", "name", 10.0, 0.01, 1.0)]
    volts = volts_along(supply=24.0, segments=line, source="psu")
    assert (volts["supply"].value, volts["name"].value) == pytest.approx((23.6, 23.4))


@pytest.mark.parametrize(
    "line",
    [
        [Segment("supply", "a", 1, 1), Segment("supply", "a", 1, 1)],
        [Segment("supply", "a", 1, 1), Segment("b", "c", 1, 1)],
        [Segment("b", "a", 1, 1), Segment("a", "b", 1, 1)],
        [Segment("a", "supply", 1, 1)],
    ],
    ids=["fed twice", "loose", "ring", "source fed"],
)
def test_a_line_that_is_no_tree_is_refused(line: list[Segment]) -> None:
    with pytest.raises(OutOfRange, match="segment"):
        volts_along(supply=24.0, segments=line)


def test_limits_are_those_of_the_codes() -> None:
    assert float(PUBLISHED["EL1"]["value"]) == 100 * MOST_DROP
    assert float(PUBLISHED["EL2"]["value"]) == 100 * MOST_DROP_WITH_FEEDER
    assert f"/{least_volts(nominal=24.0):.1f} to" in PUBLISHED["EL3"]["value"]
    assert math.degrees(MOST_BENDS) == pytest.approx(float(PUBLISHED["ES5"]["value"]))


def test_a_supply_is_sized_with_margin_heat_and_inrush() -> None:
    loads = [Load("light", 1.0, 3.0), Load("edge computer", 1.5, 4.0)]
    assert check_supply(supply=Supply("supply", 5.0, 0.8, 7.5), loads=loads, margin=0.25) == ()
    weak, rush = check_supply(supply=Supply("supply", 3.75, 0.8, 6.0), loads=loads, margin=0.25)
    assert (weak.level, weak.rule) == (Level.BLOCKER, "power.supply") and "3.1 A with margin, it gives 3 A" in weak.says
    assert "rated 3.9 A or more" in weak.says and weak.worked is not None and weak.worked.value == pytest.approx(2.5 * 1.25)
    assert (rush.level, rush.rule) == (Level.CAUTION, "power.inrush") and "7 A when all switch on together" in rush.says


def test_mains_current_balances_the_power() -> None:
    """P = U I cos(phi): 120 W out at 90 % from 230 V and power factor 0.6."""
    current = mains_current(power=120.0, efficiency=0.9, mains=230.0, power_factor=0.6)
    assert 230.0 * current * 0.6 * 0.9 == pytest.approx(120.0)
    assert supply_current(running=2.0, margin=0.0) == 2.0


def test_a_branch_circuit_bears_the_load_with_a_quarter_more() -> None:
    """NEC 210.19 and 210.20 with 240.4(D) (from memory): 15 A device on 14 AWG bears 12 A continuous, 20 A on 12 AWG 16 A."""

    def advice(load_current: float, length: float = 5.0) -> tuple[str, float]:
        found = branch_circuit(
            load_current=load_current,
            continuous=True,
            length=length,
            volts=120.0,
            feeder_drop=0.0,
            system="AWG",
            form="stranded",
            temperature=348.15,
            current_carrying=2,
        )
        assert found.only_by == LICENSED and "icensed electrician only" in LICENSED and "local code" in LICENSED
        assert found.sized_for == pytest.approx(CONTINUOUS * load_current) and found.sized_for <= found.overcurrent
        assert found.overcurrent <= found.ampacity and found.drop_share <= MOST_DROP
        return found.wire, found.overcurrent

    assert advice(12.0) == ("14 AWG", 15.0)
    assert advice(12.1) == ("12 AWG", 20.0)
    assert advice(16.0) == ("12 AWG", 20.0)
    assert advice(16.1) == ("10 AWG", 30.0)
    # Row EI1: 12 A over 150 ft of solid 12 AWG lose 5.8 %; half the resistance and less is needed, so 8 AWG; the fuse stays
    assert advice(12.0, 150 * FOOT) == ("8 AWG", 15.0)


@given(current=st.floats(0.1, 20), length=st.floats(1, 50), continuous=st.booleans(), feeder=st.floats(0, 0.03))
def test_no_circuit_is_advised_that_drops_or_heats_too_much(current: float, length: float, continuous: bool, feeder: float) -> None:
    found = branch_circuit(
        load_current=current,
        continuous=continuous,
        length=length,
        volts=230.0,
        feeder_drop=feeder,
        system="mm2",
        form="class 2",
        temperature=343.15,
        current_carrying=2,
    )
    assert (
        found.drop_share <= 0.03
        and found.drop_share + feeder <= 0.05 + 1e-12
        and current * (1.25 if continuous else 1.0) <= found.overcurrent <= found.ampacity
    )


@pytest.mark.parametrize("row", rows("conduit_nec_table4.csv"), ids=lambda row: row["id"])
def test_conduits_have_the_codes_areas(row: dict[str, str]) -> None:
    """The code's percent columns to their last digit; inside diameters where the table has them."""
    (size,) = [one for one in load("conduits") if (one["type"], one["trade_size"]) == (row["type"], row["trade_size"])]
    area = float(size["area_in2"])
    for count, column in ((0, "area_100_in2"), (1, "area_53_in2"), (2, "area_31_in2"), (3, "area_40_in2")):
        share = most_fill(count=count) if count else 1.0
        assert area * share == pytest.approx(float(row[column]), abs=1.1e-3)
    if row["inside_dia_in"]:
        assert area == pytest.approx(math.pi / 4 * float(row["inside_dia_in"]) ** 2, abs=1.1e-3)


def test_trade_sizes_are_in_order_and_none_is_missing() -> None:
    for kind in dict.fromkeys(row["type"] for row in load("conduits")):
        sizes = [row for row in load("conduits") if row["type"] == kind]
        areas = [float(row["area_in2"]) for row in sizes]
        assert areas == sorted(areas) and len(set(areas)) == len(areas)
        assert [row["trade_size"] for row in sizes][-6:] == ["1/2", "3/4", "1", "1 1/4", "1 1/2", "2"]


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EO"), ids=check_id)
def test_conduits_have_the_standards_outside(check: Check) -> None:
    kind, size = check.given["conduit"].split(" ", 1)
    (row,) = [row for row in load("conduits") if (row["type"], row["trade_size"]) == (kind, size)]
    assert float(row["outside_in"]) == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize(("count", "row"), [(1, "EF1"), (2, "EF2"), (3, "EF3"), (9, "EF3")])
def test_fills_are_the_codes(count: int, row: str) -> None:
    assert 100 * most_fill(count=count) == pytest.approx(float(PUBLISHED[row]["value"]))


def inside(kind: str, size: str) -> float:
    return next(float(row["area_in2"]) for row in load("conduits") if (row["type"], row["trade_size"]) == (kind, size))


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EA"), ids=check_id)
def test_conduits_take_as_many_wires_as_the_codes_annex_says(check: Check) -> None:
    area = wire_area(check.given["wire"].removeprefix("THHN ")) / INCH**2
    assert wires_that_fit(area=area, inside=inside(check.given["conduit"], check.given["trade"])) == check.value


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EW"), ids=check_id)
def test_wires_have_the_codes_area_over_insulation(check: Check) -> None:
    assert wire_area(check.given["wire"].removeprefix("THHN/THWN ")) / INCH**2 == pytest.approx(check.value)


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EM", "EC"), ids=check_id)
def test_fills_of_mixed_wires_and_of_a_cable_agree_with_worked_ones(check: Check) -> None:
    if "cable_od_in" in check.given:
        areas = [math.pi / 4 * check.given["cable_od_in"] ** 2]
    else:
        split = [text.split(" x THHN ") for text in check.given["wires"]]
        areas = [wire_area(f"{gauge} AWG") / INCH**2 for count, gauge in split for _ in range(int(count))]
    fill = conduit_fill(areas=sum(areas), inside=inside(check.given["conduit"], check.given["trade"]))
    assert 100 * fill == pytest.approx(check.value, rel=check.tolerance)
    assert fill <= most_fill(count=len(areas))  # each row is marked: allowed


def test_a_count_that_ends_in_eight_tenths_is_rounded_up() -> None:
    """Row EF5: NEC Chapter 9 Table 1 Note 7."""
    assert wires_that_fit(area=0.40 / 5.79, inside=1.0) == 5.0
    assert wires_that_fit(area=0.40 / 5.81, inside=1.0) == 6.0
    assert wires_that_fit(area=0.32, inside=1.0) == 1.0 and wires_that_fit(area=0.54, inside=1.0) == 0.0


@given(areas=st.lists(st.floats(1e-6, 5e-5), min_size=3, max_size=20), more=st.floats(1e-6, 5e-5))
def test_fill_grows_with_each_wire_and_never_passes_the_limit(areas: list[float], more: float) -> None:
    conduit, fill = conduit_for(kind="EMT", areas=areas)
    larger, _ = conduit_for(kind="EMT", areas=[*areas, more])
    assert larger.inside >= conduit.inside and fill.value <= 0.40
    assert conduit_fill(areas=sum(areas) + more, inside=conduit.inside) > fill.value
    smaller = [float(row["area_in2"]) * INCH**2 for row in load("conduits") if row["type"] == "EMT"]
    assert all(sum(areas) / area > 0.40 for area in smaller if area < conduit.inside * (1 - 1e-9))


@pytest.mark.parametrize("row", rows("knockouts.csv"), ids=lambda row: row["id"])
def test_holes_are_those_published(row: dict[str, str]) -> None:
    kind = {"conduit trade size": "conduit", "metric gland clearance hole": "gland", "panel hole": "connector"}[row["kind"]]
    scale = INCH if row["unit"] == "in" else 1e-3
    found = knockout(kind, row["size"])
    for value, column in ((found.least, "hole_min"), (found.nominal, "hole_nominal"), (found.most, "hole_max")):
        if row[column]:
            assert value == pytest.approx(float(row[column]) * scale, abs=6e-6)
        else:
            assert value is None


@pytest.mark.parametrize("row", load("knockouts"), ids=lambda row: f"{row['kind']} {row['size']}")
def test_the_hole_to_aim_at_lies_between_its_limits(row: dict[str, str]) -> None:
    found = knockout(row["kind"], row["size"])
    if found.least is not None and found.most is not None:
        assert found.least < found.nominal < found.most
    if row["kind"] == "conduit":
        outside = [
            float(one["outside_in"]) for one in load("conduits") if one["type"] == "RMC" and one["trade_size"] == row["size"]
        ]
        assert found.least is not None and found.least > outside[0] * INCH  # the threaded pipe passes


def test_signal_cables_keep_away_from_power() -> None:
    """Row ES2 and ES1; converter motor cable: trade rule, 500 mm over 3 m, cross at 90 degrees (common practice, no source)."""
    mains = separation(neighbour="mains power", parallel=10.0)
    assert f"{1000 * mains.least:.0f} to {1000 * mains.wanted:.0f} mm" in PUBLISHED["ES2"]["value"]
    assert separation(neighbour="converter motor cable", parallel=3.0).least == 0.5
    assert separation(neighbour="converter motor cable", parallel=2.9).least < 0.5
    code = separation(neighbour="class 2 or communications to power, open", parallel=1.0)
    assert PUBLISHED["ES1"]["value"].startswith(f"{1000 * code.least:.0f} mm")


@given(parallel=st.floats(0, 100), more=st.floats(0, 100))
def test_a_longer_way_together_never_wants_less_distance(parallel: float, more: float) -> None:
    for neighbour in ("mains power", "converter motor cable"):
        near, far = (separation(neighbour=neighbour, parallel=length) for length in (parallel, parallel + more))
        assert near.least <= far.least <= far.wanted


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: conductor("14 AWG", "braided"), "class 2, class 5, solid, stranded"),
        (lambda: conductor("1.4 mm2", "class 5"), "class 5: 0.25 mm2"),
        (lambda: conductor("thick", "solid"), 'a wire size, e.g. "14 AWG"'),
        (lambda: resistance_at(resistance=1, at=293.15, coefficient=0.004, temperature=700), "-100 to 200 degC"),
        (lambda: voltage_drop(length=-1, resistance=1, current=1), "length=-1: 0 or more"),
        (lambda: mains_current(power=1, efficiency=90, mains=230, power_factor=1), "at most 1"),
        (lambda: wire_area("1/0 AWG"), "measure its diameter"),
        (lambda: conduit_for(kind="hose", areas=[1e-5]), "EMT, FMC"),
        (lambda: conduit_for(kind="EMT", areas=[1e-2]), "two conduits"),
        (lambda: conduit_for(kind="EMT", areas=[]), "1 or more"),
        (lambda: knockout("gland", "PG9"), "M12x1.5"),
        (lambda: knockout("window", "1"), "conduit, gland or connector"),
        (lambda: separation(neighbour="radio", parallel=1), "mains power, converter motor cable"),
        (lambda: check_supply(supply=Supply("s", 1, 0, 1), loads=[], margin=0), "derating=0"),
        (lambda: branch(load_current=60.0), "60 A over 5 m: at most 50 A with margin and 0.03 of the volts lost: a nearer panel"),
        (lambda: branch(system="SWG"), "AWG or mm2"),
    ],
)
def test_nonsense_is_refused_with_what_would_be_right(call: Callable[[], object], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        call()


def branch(load_current: float = 1.0, system: str = "mm2", length: float = 5.0, feeder_drop: float = 0.0) -> BranchCircuit:
    return branch_circuit(
        load_current=load_current,
        continuous=True,
        length=length,
        volts=230.0,
        feeder_drop=feeder_drop,
        system=system,
        form="class 2",
        temperature=343.15,
        current_carrying=2,
    )


@pytest.mark.parametrize(
    ("system", "conductors", "wire"),
    [
        ("AWG", 3, "12 AWG"),
        ("AWG", 4, "10 AWG"),
        ("AWG", 7, "10 AWG"),
        ("AWG", 10, "8 AWG"),
        ("mm2", 3, "2.5 mm2"),
        ("mm2", 4, "4 mm2"),
    ],
)
def test_more_than_three_conductors_in_a_conduit_thicken_it(system: str, conductors: int, wire: str) -> None:
    """NEC Table 310.15(C)(1), IEC 60364-5-52 Table B.52.17 (from memory). By hand for a device of 20 A: 12 AWG bears 20 A, 80 % of
    it are 16 A, 10 AWG 24 A; of 30 A 70 % are 21 A, 50 % 15 A, and of the 40 A of 8 AWG 20 A; 2.5 mm2 bears 23 A, 80 % 18.4 A,
    4 mm2 24 A.
    """
    found = branch_circuit(
        load_current=14.0,
        continuous=True,
        length=2.0,
        volts=230.0,
        feeder_drop=0.0,
        system=system,
        form="stranded" if system == "AWG" else "class 2",
        temperature=343.15,
        current_carrying=conductors,
    )
    assert (found.wire, found.overcurrent) == (wire, 20.0) and found.ampacity >= found.overcurrent


def test_a_conduit_of_metric_wires_is_filled_by_their_largest_diameter() -> None:
    """EN 50525-2-31 (from memory): H07V-K of 2.5 mm2 is at most 4.1 mm thick."""
    assert wire_area("2.5 mm2") == pytest.approx(math.pi / 4 * 4.1e-3**2)
    conduit, fill = conduit_for(kind="EMT", areas=[wire_area("2.5 mm2")] * 3)
    assert conduit.trade_size == "1/2" and fill.value == pytest.approx(3 * math.pi / 4 * 4.1**2 / (0.304 * 25.4**2), rel=1e-3)
    assert {row["wire"] for row in load("branch_circuits")} <= {row["wire"] for row in load("wire_areas")}


def test_what_the_feeder_loses_is_taken_from_the_five_per_cent() -> None:
    """Row EL2. By hand: 10 A over 20 m of 1.5 mm2 at 70 degC, 2 x 20 x 12.1e-3 x 1.1965 x 10 = 5.79 V, are 2.5 % of 230 V."""
    assert branch(load_current=10.0, length=20.0).wire == "1.5 mm2"
    assert branch(load_current=10.0, length=20.0).drop.value == pytest.approx(5.79, abs=0.005)
    assert branch(load_current=10.0, length=20.0, feeder_drop=0.03).wire == "2.5 mm2"


@pytest.mark.parametrize(("quarter_bends", "points"), [(0, 0), (4, 0), (5, 1), (8, 1), (9, 2)])
def test_four_quarter_bends_go_in_one_pull(quarter_bends: int, points: int) -> None:
    """NEC 358.26 (from memory): 360 degrees between pull points, row ES5."""
    assert pull_points(bends=quarter_bends * math.pi / 2) == points


@pytest.mark.parametrize("spelling", ["2.5 mm2", "2.50 mm²", "2.5mm^2"])
def test_a_conductor_is_found_however_its_size_is_spelled(spelling: str) -> None:
    assert conductor(spelling, "class 5").wire == "2.5 mm2"
