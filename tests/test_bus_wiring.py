"""Stubs, ends, bias, loads and grounds of a serial bus against published rows, circuit theory and whole buses drawn wrong.

Sources stand in the rows of tests/reference/electrical_checks.csv and modbus_checks.csv, or beside the check.
"""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.install.bus import transaction_time
from gearcase.install.bus_wiring import (
    ADDRESSES,
    CLUSTER,
    COMMON_MODE,
    IDLE,
    MOST_UNIT_LOADS,
    SLEW_LIMITED,
    UNKNOWN_DRIVER_STUB,
    Bias,
    Device,
    Screen,
    Splitter,
    Termination,
    Wiring,
    bus_resistance,
    check_wiring,
    common_mode_room,
    idle_voltage,
    largest_bias_resistor,
    longest_stub,
    longest_trunk,
    reflection,
    standard_resistor,
    unit_loads,
)
from published import Check, check_id, checks, rows

PUBLISHED = {row["id"]: row["value"] for row in rows("electrical_checks.csv")}


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EX"), ids=check_id)
def test_a_stub_is_a_tenth_of_the_edge(check: Check) -> None:
    found = longest_stub(rise_time=check.given["rise_time_s"], velocity_fraction=check.given["velocity_fraction"], baud=9600.0)
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EP"), ids=check_id)
def test_bias_resistors_agree_with_the_divider(check: Check) -> None:
    found = largest_bias_resistor(supply=check.given["vcc"], idle=check.given["idle_v"], bus_resistance=check.given["bus_ohm"])
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("electrical_checks.csv", "EU"), ids=check_id)
def test_unit_loads_add_up(check: Check) -> None:
    found = unit_loads(devices=check.given["devices"], unit_load_each=check.given["unit_load_each"])
    assert found == pytest.approx(check.value, rel=check.tolerance)


def test_limits_are_those_of_the_standards() -> None:
    """Rows EB of electrical_checks.csv: TIA/EIA-485-A and Modbus over Serial Line V1.02."""
    assert float(PUBLISHED["EB01"]) == MOST_UNIT_LOADS
    assert bus_resistance(termination=1.0, terminations=0, unit_loads=1.0) == float(PUBLISHED["EB02"])
    assert unit_loads(devices=float(PUBLISHED["EB03"]), unit_load_each=1 / 8) == MOST_UNIT_LOADS
    both = bus_resistance(termination=float(PUBLISHED["EB04"]), terminations=2, unit_loads=0)
    assert both == pytest.approx(float(PUBLISHED["EB05"]))
    assert f"+/-{1000 * IDLE:.0f}" == PUBLISHED["EB07"]
    assert f"{COMMON_MODE[0]:.0f} to {COMMON_MODE[1]:+.0f}" == PUBLISHED["EB09"]
    assert longest_trunk(baud=9600.0) == float(PUBLISHED["EB13"])
    assert longest_trunk(baud=1e5) == 1000.0 and longest_trunk(baud=1e6) == 100.0 and "1000 m at 100 kbit/s" in PUBLISHED["EB12"]
    assert longest_trunk(baud=1e5) <= float(PUBLISHED["EB10"])
    assert longest_stub(rise_time=1.0, velocity_fraction=0.66, baud=19200.0) == float(PUBLISHED["EB14"])
    assert float(PUBLISHED["EB18"]) == MOST_UNIT_LOADS  # devices of one unit load each
    assert PUBLISHED["EB19"].startswith(f"{ADDRESSES[0]} to {ADDRESSES[-1]} ")


def test_long_stubs_are_for_slew_limited_drivers_at_low_baud_only() -> None:
    """Trade rule: 1 m and less for fast drivers, long stubs only slew-limited at 19,200 baud and less."""
    assert longest_stub(rise_time=2e-6, velocity_fraction=0.66, baud=19200.0) > 10.0
    assert longest_stub(rise_time=2e-6, velocity_fraction=0.66, baud=38400.0) == UNKNOWN_DRIVER_STUB
    assert longest_stub(rise_time=0.99 * SLEW_LIMITED, velocity_fraction=0.66, baud=9600.0) == UNKNOWN_DRIVER_STUB


@given(rise_time=st.floats(1e-9, 1e-4), velocity=st.floats(0.3, 1.0), baud=st.sampled_from([9600.0, 19200.0, 115200.0]))
def test_the_echo_of_a_stub_is_back_within_a_fifth_of_the_edge(rise_time: float, velocity: float, baud: float) -> None:
    there_and_back = 2 * longest_stub(rise_time=rise_time, velocity_fraction=velocity, baud=baud) / (velocity * 299792458.0)
    assert there_and_back <= rise_time / 5 * (1 + 1e-12)


@given(termination=st.floats(50, 500), loads=st.integers(0, 32), supply=st.floats(3, 12), each=st.floats(100, 5000))
def test_the_resting_bus_agrees_with_its_circuit_solved_node_by_node(
    termination: float, loads: int, supply: float, each: float
) -> None:
    """Nodal analysis of pull-up, two ends, each device's 12 kohm, pull-down (any circuit textbook)."""
    between = 2 / termination + loads / 12000.0
    conductance = np.array([[1 / each + between, -between], [-between, 1 / each + between]])
    a, b = np.linalg.solve(conductance, [supply / each, 0.0])
    at_rest = bus_resistance(termination=termination, terminations=2, unit_loads=loads)
    assert idle_voltage(supply=supply, bias_each=each, bus_resistance=at_rest) == pytest.approx(a - b)


@given(supply=st.floats(3, 24), bus_ohm=st.floats(40, 2000))
def test_the_resistor_to_buy_holds_the_idle_level(supply: float, bus_ohm: float) -> None:
    most = largest_bias_resistor(supply=supply, idle=IDLE, bus_resistance=bus_ohm)
    bought = standard_resistor(most)
    assert 13 / 15 * most <= bought <= most * (1 + 1e-9)  # the widest step of E24 is from 13 to 15
    assert idle_voltage(supply=supply, bias_each=bought, bus_resistance=bus_ohm) >= IDLE * (1 - 1e-9)


def test_a_matched_end_sends_nothing_back_and_an_open_one_everything() -> None:
    """Transmission line textbooks: 0 matched, +1 open, -1 short."""
    assert reflection(termination=120.0, impedance=120.0) == 0.0
    assert reflection(termination=1e12, impedance=120.0) == pytest.approx(1.0)
    assert reflection(termination=1e-9, impedance=120.0) == pytest.approx(-1.0)


def test_seven_volts_between_grounds_are_all_there_is() -> None:
    """TIA/EIA-485-A: ground difference up to 7 V either way."""
    assert common_mode_room(ground_difference=7.0, noise=0.0) == pytest.approx(0.0)
    assert common_mode_room(ground_difference=-7.0, noise=0.5) == pytest.approx(-0.5)


@pytest.mark.parametrize(
    "check", [check for check in checks("modbus_checks.csv", "MT") if check.quantity == "scan_s"], ids=check_id
)
def test_a_round_takes_the_readings_of_all_its_devices(check: Check) -> None:
    each = transaction_time(
        baud=check.given["baud"], registers=check.given["registers"], device_delay=check.given["device_delay_s"]
    )
    assert check.given["devices"] * each == pytest.approx(check.value, rel=check.tolerance)


GOOD = Wiring(
    baud=19200,
    along=("controller", "one", "two", "three"),
    length=60.0,
    impedance=120.0,
    velocity_fraction=0.66,
    devices=(
        Device("controller", None, 0.0, 1.0, 30e-9, 0.0),
        Device("one", 1, 0.3, 0.125, 30e-9, 0.5),
        Device("two", 2, 0.5, 0.125, 100e-9, 0.5),
        Device("three", 3, 0.0, 0.125, 100e-9, 0.5, isolated=True, on_converter=True),
    ),
    splitters=(Splitter("tee at one", (0.3,)), Splitter("tee at two", (0.5,))),
    terminations=(Termination("controller", 120.0), Termination("three", 120.0)),
    biases=(Bias("controller", 5.0, 620.0),),
    screen=Screen.ONE_END,
    screen_bonds=("controller",),
)


def changed(name: str, **parts: object) -> Wiring:
    return replace(GOOD, devices=tuple(replace(one, **parts) if one.name == name else one for one in GOOD.devices))


def found(wiring: Wiring) -> list[tuple[str, str, str]]:
    return [(finding.level, finding.rule, finding.where) for finding in check_wiring(wiring)]


def test_a_bus_drawn_by_the_rules_has_no_findings() -> None:
    assert check_wiring(GOOD) == ()


B, C = Level.BLOCKER, Level.CAUTION
WRONG = {
    "clash": (changed("two", address=1), [(B, "bus.address", "one, two")], "share address 1; free: 2"),
    "broadcast": (changed("two", address=0), [(B, "bus.address", "two")], "0 is not one of 1 to 247; free: 2"),
    "reserved": (changed("two", address=248), [(B, "bus.address", "two")], "248 is not one of"),
    "loads": (changed("two", unit_load=30.0), [(B, "bus.unit_loads", "bus")], "31.25 unit loads, 28 are the most with bias"),
    "long": (replace(GOOD, length=1200.0), [(B, "bus.length", "trunk")], "trunk of 1200 m, 1000 m are the most"),
    "rate": (replace(GOOD, length=900.0, baud=115200), [(B, "bus.length", "trunk")], "868 m are the most at 115200 baud"),
    "stub": (changed("two", stub=0.7), [(B, "bus.stub", "two")], r"0.59 m are the most \(controller drives edges of 30 ns\)"),
    "star": (
        replace(GOOD, splitters=(Splitter("box", (3.0, 4.0, 5.0)),)),
        [(B, "bus.star", "box")],
        "star of 3 with 5 m, each may have 0.59 m .*tee",
    ),
    "one end": (
        replace(GOOD, terminations=GOOD.terminations[:1]),
        [(B, "bus.termination", "three")],
        "no termination at this end of the line: 120 ohm",
    ),
    "three ends": (
        replace(GOOD, terminations=(*GOOD.terminations, Termination("two", 120.0))),
        [(B, "bus.termination", "two"), (B, "bus.bias", "controller"), (C, "bus.bias", "controller")],
        "take this out",
    ),
    "mismatch": (
        replace(GOOD, terminations=(Termination("controller", 120.0), Termination("three", 220.0))),
        [(C, "bus.termination", "three")],
        "220 ohm on a cable of 120 ohm sends back 29 %",
    ),
    "no bias": (replace(GOOD, biases=()), [(C, "bus.bias", "bus")], "200 mV or more"),
    "weak bias": (replace(GOOD, biases=(Bias("controller", 5.0, 4700.0),)), [(B, "bus.bias", "controller")], "31 mV at rest"),
    "strong bias": (replace(GOOD, biases=(Bias("controller", 5.0, 220.0),)), [(C, "bus.bias", "controller")], "with 53 ohm"),
    "two biases": (
        replace(GOOD, biases=(GOOD.biases[0], Bias("three", 5.0, 620.0))),
        [(B, "bus.bias", "controller, three")],
        "keep those at one",
    ),
    "grounds": (changed("two", ground_difference=-9.0), [(B, "bus.common_mode", "two")], "isolated transceiver"),
    "converter": (changed("two", on_converter=True), [(C, "bus.common_mode", "two")], "at full load"),
    "no screen rule": (replace(GOOD, screen=None), [(C, "bus.screen", "bus")], "record which"),
    "screen twice": (
        replace(GOOD, screen_bonds=("controller", "three")),
        [(C, "bus.screen", "bus")],
        r"earthed at 2 places \(controller, three\), the rule chosen is one end",
    ),
    "screen once": (replace(GOOD, screen=Screen.BOTH_ENDS), [(C, "bus.screen", "three")], "not earthed at this end"),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_bus_drawn_wrong_says_where_how_much_and_what_cures_it(fault: str) -> None:
    wiring, expected, says = WRONG[fault]
    assert found(wiring) == expected
    assert re.search(says, check_wiring(wiring)[0].says)


def test_an_unknown_driver_counts_as_fast() -> None:
    unknown = replace(GOOD, devices=tuple(replace(one, rise_time=None, stub=1.2 * (one.name == "two")) for one in GOOD.devices))
    (finding,) = check_wiring(unknown)
    assert (
        finding.rule == "bus.stub" and "1 m are the most (the rise time of controller, one, two, three is unknown" in finding.says
    )


def test_the_fastest_driver_decides_for_every_stub() -> None:
    slow = replace(GOOD, devices=tuple(replace(one, rise_time=1e-6, stub=5.0 * (one.name == "two")) for one in GOOD.devices))
    assert check_wiring(slow) == ()
    fast = replace(slow, devices=(*slow.devices[:-1], replace(slow.devices[-1], rise_time=10e-9)))
    assert found(fast) == [(B, "bus.stub", "two"), (B, "bus.star", "tee at one"), (B, "bus.star", "tee at two")]


def test_branches_of_a_splitter_share_forty_metres() -> None:
    """Modbus over Serial Line V1.02 section 3.4 (from memory): 40 m divided by the number of derivations."""
    slow = replace(GOOD, devices=tuple(replace(one, rise_time=5e-6) for one in GOOD.devices))
    within, beyond = (replace(slow, splitters=(Splitter("box", (CLUSTER / 4 + more,) * 4),)) for more in (0.0, 0.1))
    assert found(within) == [] and found(beyond) == [(B, "bus.star", "box")]


def test_capacitors_in_series_with_the_ends_leave_the_bias_alone() -> None:
    """Row EB16: 120 ohm in series with 1 nF where the line is polarised."""
    ends = tuple(replace(end, capacitor=True) for end in GOOD.terminations)
    weak = replace(GOOD, terminations=ends, biases=(Bias("controller", 5.0, 10000.0),))
    assert found(weak) == []


def test_both_terminations_of_the_modbus_guide_pass_on_the_usual_cable() -> None:
    """Row EB16: 150 ohm, or 120 ohm with a capacitor, on cable of 120 ohm."""
    assert "150 ohm" in PUBLISHED["EB16"] and "120 ohm" in PUBLISHED["EB16"]
    ends = tuple(replace(end, resistance=150.0) for end in GOOD.terminations)
    assert found(replace(GOOD, terminations=ends)) == []


def test_a_screen_earthed_at_both_ends_keeps_the_other_rule() -> None:
    """Row ES3: one end (Modbus serial guide) or both in a bonded plant (IEC 61000-5-2); state which."""
    both = replace(GOOD, screen=Screen.BOTH_ENDS, screen_bonds=("three", "controller"))
    assert found(both) == []


@given(factor=st.floats(1.0, 3.0))
def test_a_longer_stub_is_never_better(factor: float) -> None:
    def level(wiring: Wiring) -> list[Finding]:
        return [finding for finding in check_wiring(wiring) if finding.rule == "bus.stub"]

    assert len(level(changed("two", stub=0.5 * factor))) >= len(level(GOOD))


def test_the_working_behind_a_finding_can_be_done_again() -> None:
    worked = [finding.worked for wiring, _, _ in WRONG.values() for finding in check_wiring(wiring) if finding.worked]
    assert len(worked) >= 5
    assert all(one.recalculate() == pytest.approx(one.value) for one in worked)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: longest_stub(rise_time=0.0, velocity_fraction=0.66, baud=9600), "rise_time=0.0: above 0"),
        (lambda: longest_stub(rise_time=1e-8, velocity_fraction=1.2, baud=9600), "velocity_fraction=1.2"),
        (lambda: bus_resistance(termination=120, terminations=0, unit_loads=0), "something between A and B"),
        (lambda: largest_bias_resistor(supply=0.1, idle=0.2, bus_resistance=60), "below the supply of 0.1 V"),
        (lambda: common_mode_room(ground_difference=0, noise=-1), "noise=-1"),
        (lambda: unit_loads(devices=-1, unit_load_each=1), "devices=-1"),
    ],
)
def test_nonsense_is_refused(call: Callable[[], float], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        call()
