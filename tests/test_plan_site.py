"""Wiring, power, network and site in the plan: what is wrong is named with its cure; what is missing is asked for."""

import copy
import csv
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from gearcase.drawings.beside import plan_files
from gearcase.drawings.network_sheet import network_csv
from gearcase.drawings.plan_blocks import plan_blocks
from gearcase.drawings.text import plan_text
from gearcase.errors import BadInput, Problem
from gearcase.install.cautions import DEFERS
from gearcase.install.power import LICENSED
from gearcase.job.build import Job, build, load
from gearcase.job.read import Source, read_source
from gearcase.stages import plan
from test_stages import EXAMPLES


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


@pytest.fixture(scope="module")
def source() -> Source:
    return read_source(EXAMPLES / "demo")


def changed(source: Source, *path: Any, value: Any) -> Job:
    """The demo's file with one value changed, or left out where the value is None."""
    data = copy.deepcopy(source.data)
    here: Any = data
    for key in path[:-1]:
        here = here[key]
    if value is None:
        del here[path[-1]]
    else:
        here[path[-1]] = value
    return build(replace(source, data=data), folder="job")


def found(job: Job) -> dict[tuple[str, str], str]:
    return {(row["level"], row["rule"]): row["says"] for row in plan.run(job).document["findings"]}


def test_volts_at_the_last_device_are_those_worked_out_by_hand(demo: Job) -> None:
    """22 AWG stranded, 54.01 ohm/km at 20 degC (table conductors), 0.00393 1/K, at 60 degC: 62.50 ohm/km; Ohm's law, run by run; a
    device's own current alone passes its stub.
    """
    per_metre = 54.01e-3 * (1 + 0.00393 * 40)
    laid = {row["device"]: row["run_m"] for row in plan.run(demo).document["cables"]}  # the two with a place on the housing
    runs, currents = [4.0, 4.0, 4.4, laid["vibration intermediate"], laid["vibration input"]], [0.0, 0.35, 0.03, 0.045, 0.045]
    lost = [2 * length * per_metre * sum(currents[n:]) for n, length in enumerate(runs)]
    line = plan.run(demo).document["power"]["line"]
    off = [2 * stub * per_metre * current for stub, current in zip([0.0, 0.3, 0.3, 0.3, 0.3], currents, strict=True)]
    assert [row["volts"]["value"] for row in line] == pytest.approx([24 - sum(lost[: n + 1]) - off[n] for n in range(5)], rel=1e-5)
    assert all(before["end"] == after["start"] for before, after in pairwise(line))


def test_a_long_stub_costs_its_device_volts_and_no_other(source: Source, demo: Job) -> None:
    """By hand: 9 m of stub and 0.35 A at 62.50 ohm/km lose 2 x 9 x 0.0625 x 0.35 = 0.394 V, 0.381 V more than the demo's 0.3 m."""
    before, after = (
        {row["end"]: row["volts"]["value"] for row in plan.run(job).document["power"]["line"]}
        for job in (demo, changed(source, "bus", "devices", 4, "stub", value="9 m"))
    )
    per_metre = 54.01e-3 * (1 + 0.00393 * 40)
    assert before["stack light"] - after["stack light"] == pytest.approx(2 * 8.7 * per_metre * 0.35)
    assert {name: volts for name, volts in before.items() if name != "stack light"} == pytest.approx(
        {name: volts for name, volts in after.items() if name != "stack light"}
    )


@pytest.mark.parametrize(
    ("surface", "region", "warned"), [(40, None, False), (47, None, False), (48, None, True), (60, None, True), (40, 55, True)]
)
def test_a_surface_that_burns_who_works_on_it_is_cautioned_before_one_that_burns_at_a_touch(
    demo: Job, surface: float, region: float | None, warned: bool
) -> None:
    """ISO 13732-1:2006, bare metal, lower bounds (from memory): 65 °C for a second's touch, 48 °C for the ten minutes of a bond."""
    housing = replace(demo.housing, surface_temperature=surface + 273.15)
    if region is not None:
        hot = replace(housing.faces[0].regions[0], temperature=region + 273.15)
        face = replace(housing.faces[0], regions=(hot, *housing.faces[0].regions[1:]))
        housing = replace(housing, faces=(face, *housing.faces[1:]))
    listed = {row["id"] for row in plan.run(replace(demo, housing=housing)).document["cautions"]["list"]}
    assert ("hot" in listed) is warned


def test_each_caution_stands_once_on_the_card_and_the_page(demo: Job) -> None:
    document = plan.run(demo).document
    card = " ".join(step["caution"] for step in document["work_card"])
    assert document["cautions"]["list"] and document["cautions"]["defers"] == DEFERS
    for row in document["cautions"]["list"]:
        assert card.count(row["says"]) == 1
        assert row["says"] in document["work_card"][row["step"] - 1]["caution"]
    assert {"backstop", "incline", "converter", "mains", "magnet", "oil_drill"} <= {
        row["id"] for row in document["cautions"]["list"]
    }


def test_in_a_classified_area_a_kit_without_certificates_blocks(demo: Job) -> None:
    place = replace(demo.conditions, area="zone 1 IIB T4", certificate_consent="the drive's maker")
    bare = replace(demo, conditions=place, kit=replace(demo.kit, parts=()))
    blockers = [row for row in plan.run(bare).document["findings"] if row["level"] == "blocker"]
    assert any("list each in kit.parts" in row["says"] for row in blockers)


def test_what_nobody_knows_of_stored_energy_and_height_keeps_its_caution(demo: Job) -> None:
    place = replace(demo.conditions, backstop=None, incline=None, counterweight=None, working_height=None)
    stand = {row["id"] for row in plan.run(replace(demo, conditions=place)).document["cautions"]["list"]}
    assert {"backstop", "incline", "counterweight", "height"} <= stand
    known = replace(demo.conditions, backstop=False, incline=False, counterweight=False, working_height=1.0)
    stand = {row["id"] for row in plan.run(replace(demo, conditions=known)).document["cautions"]["list"]}
    assert not {"incline", "counterweight", "height"} & stand


def test_a_trunk_that_leaves_a_device_out_blocks_and_a_strange_name_is_said(demo: Job) -> None:
    cable = demo.bus.cable
    assert cable.along and not cable.splitters
    renamed = tuple("stack lightx" if name == "stack light" else name for name in cable.along)
    document = plan.run(replace(demo, bus=replace(demo.bus, cable=replace(cable, along=renamed)))).document
    said = {(row["level"], row["says"].split(":")[0]) for row in document["findings"] if row["rule"] == "plan.along"}
    assert ("blocker", "the trunk does not pass stack light") in said
    assert ("caution", "the trunk passes stack lightx, no device or joint of the bus") in said
    assert not [row for row in plan.run(demo).document["findings"] if row["rule"] == "plan.along"]


def test_a_drive_on_a_converter_asks_where_its_motor_cable_runs(demo: Job) -> None:
    """Trade: 500 mm from a converter's motor cable; crossed at 90 degrees."""

    def asked(job: Job) -> list[str]:
        rows = plan.run(job).document["findings"]
        return [row["says"] for row in rows if row["rule"] == "plan.separation" and row["where"] == "power"]

    silent = replace(demo, power=replace(demo.power, neighbours=()))
    assert len(asked(silent)) == 1 and "keep 500 mm from it" in asked(silent)[0]
    mains = replace(silent, drive=replace(demo.drive, speed_hz=(24.75, 24.75)))
    assert not asked(demo) and not asked(mains)


def test_a_crowded_conduit_thickens_the_conductor_of_the_plan(demo: Job) -> None:
    """15 A device: 14 AWG bears 15 A, 80 % of it 12 A; 12 AWG 16 A. One wire of the conduit is the earth, which does not count."""

    def wire(wires: int) -> tuple[str, float]:
        crowded = replace(demo, power=replace(demo.power, branch=replace(demo.power.branch, wires=wires)))
        circuit = plan.run(crowded).document["power"]["branch_circuit"]
        return circuit["wire"], circuit["grouping"]

    assert wire(4) == ("14 AWG", 1.0) and wire(5) == ("12 AWG", 0.8)


def test_mains_is_marked_for_the_licensed_electrician_on_card_text_and_page(demo: Job) -> None:
    document = plan.run(demo).document
    marked = [step["do"] for step in document["work_card"] if step["only_by"] == LICENSED]
    assert [words.split(" ")[0] for words in marked] == ["Punch", "Run", "Circuit"]  # the box, the pipe, then what goes through
    assert LICENSED in plan_text(document)
    assert any(block.kind == "note" and block.text == LICENSED for block in plan_blocks(document))


def test_text_and_page_show_wiring_volts_and_the_network_sheet(demo: Job) -> None:
    document = plan.run(demo).document
    headings = [block.text for block in plan_blocks(document) if block.kind == "heading"]
    wanted = ["Wiring of the bus", "Volts along the supply line", "Branch circuit", "Network sheet", "Where the cautions stand"]
    assert [heading for heading in headings if heading in wanted] == wanted
    assert "192.0.2.20" in plan_text(document) and "Modbus TCP" in plan_text(document)


@pytest.mark.parametrize(
    ("today", "says"),
    [
        ("", "35 are left"),
        ("2026-08-11", "30 are left"),
        ("2026-09-01", "9 are left"),
        ("2026-11-26", "the day of the fitting is past"),
    ],
)
def test_days_left_are_those_until_the_outage(today: str, says: str, demo: Job) -> None:
    """The calendar: 30 and 9 days before 10 September 2026. The 35 that the job states hold only where nobody knows the day."""
    (row,) = [
        row for row in plan.run(demo, today=today).document["findings"] if row["rule"] in ("network.approval", "network.lead_time")
    ]
    assert says in row["says"] and (row["level"] == "blocker") == (today == "2026-09-01"), "21 days are more than 9"


@pytest.mark.parametrize(
    ("path", "value", "level", "rule", "says"),
    [
        (("network", "hosts", 1, "address"), "192.0.2.20", "blocker", "network.clash", "share 192.0.2.20"),
        (("network", "subnet"), "192.0.2.0/99", "blocker", "network.subnet", "written like 192.0.2.0/24"),
        (("network", "connections", 1, "lead_time"), "60 d", "blocker", "network.lead_time", "takes 60 days, 35 are left"),
        (("network", "connections", 1, "service"), "gossip", "blocker", "network.service", "state the port"),
        (("network", "subnet"), None, "caution", "network.subnet", "no subnet yet"),
        (("network", "until_fitting"), None, "caution", "network.approval", "days left unknown"),
        (("power", "wire"), "15 AWG", "blocker", "plan.wire", "one of the table's"),
        (("power", "wire"), None, "caution", "plan.wire", "give power.wire"),
        (("power", "branch_circuit", "load"), "90 A", "blocker", "plan.branch_circuit", "a nearer panel"),
        (("power", "branch_circuit", "conduit"), "drainpipe", "blocker", "plan.conduit", "one of: EMT"),
        (("power", "branch_circuit", "bends"), "450 deg", "caution", "plan.conduit", "450 degrees"),
        (("power", "branch_circuit", "wires"), 1, "blocker", "plan.branch_wires", "1 wire is no circuit"),
        (("power", "entries", 0, "size"), "M21", "blocker", "plan.entry", "M20x1.5"),
        (("power", "volts"), "230 V", "blocker", "plan.supply_volts", "no extra-low voltage, which ends at 60 V"),
        (("power", "volts"), "48 V", "caution", "plan.supply_volts", "most devices of 24 V bear 30 V"),
        (("power", "derating"), None, "caution", "plan.derating", "all of it counted"),
        (("power", "rated"), "5 A", "caution", "plan.line_fuse", "it gives 120 W, more than the 100 W of a class 2 supply"),
        (("bus", "devices", 1, "current"), "2 A", "caution", "plan.line_current", "A pass its 22 AWG, 2 A are the most"),
        (("power", "neighbours", 0, "distance"), "200 mm", "blocker", "plan.separation", "at least 300 mm"),
        (("power", "rated"), "500 mA", "blocker", "power.supply", "a supply rated 0.73 A"),
        (("bus", "devices", 4, "least_volts"), "23.9 V", "blocker", "power.volts", "of 24 V arrive"),
        (("bus", "devices", 2, "stub"), "12 m", "blocker", "bus.stub", "9.9 m are the most"),
        (("bus", "terminations"), None, "caution", "bus.termination", "nobody has said what ends the line"),
        (("bus", "bias", 0, "each"), "4700 ohm", "blocker", "bus.bias", "680 ohm"),
        (("bus", "devices", 0, "unit_load"), 40, "blocker", "bus.unit_loads", "28 are the most"),
        (("site", "conditions", "area"), None, "blocker", "plan.area", "ask the owner"),
        (("site", "conditions", "drilling_consent"), "refused", "blocker", "plan.consent", "bond every sensor"),
        (("site", "conditions", "drilling_consent"), None, "caution", "plan.consent", "in writing"),
        (("site", "conditions", "area"), "zone 2 IIB T3", "blocker", "plan.certificate", "void the drive's own certificate"),
        (("site", "conditions", "area"), "zone 2 IIB T3", "blocker", "part.area", "no certificate; the site is zone 2"),
        (("site", "conditions", "ingress"), "IP69", "blocker", "part.ingress", "the site wants IP69"),
        (("housing", "surface_temperature"), "120 °C", "blocker", "part.temperature", "120 degC there, it bears 105 degC"),
    ],
)
def test_what_is_wrong_or_missing_is_named_with_its_number_and_cure(
    source: Source, path: tuple[Any, ...], value: Any, level: str, rule: str, says: str
) -> None:
    assert says in found(changed(source, *path, value=value))[level, rule]


@pytest.mark.parametrize(
    ("path", "value", "accepted"),
    [
        (("power", "volts"), "24", "a voltage with its unit"),
        (("power", "derating"), "120 %", "at most 100 %"),
        (("bus", "devices", 1, "current"), "-3 mA", "a current of 0 or more"),
        (("network", "connections", 0, "port"), 70000, "1 to 65535"),
        (("site", "conditions", "ambient"), "900 °C", "places and parts have"),
        (("power", "wire"), "thick", "a wire size"),
        (("site", "conditions", "drilling_consent"), "maybe", "one of: not asked, asked, given, refused"),
    ],
)
def test_what_cannot_be_is_a_problem_with_what_would_be_accepted(
    source: Source, path: tuple[Any, ...], value: Any, accepted: str
) -> None:
    with pytest.raises(BadInput) as caught:
        changed(source, *path, value=value)
    assert any(accepted in problem.accepted for problem in caught.value.problems)


def paths(part: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every key and place below a part of the file."""
    inside = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    return [path for key, value in inside for path in ((*here, key), *paths(value, (*here, key)))]


def read_or_problems(source: Source, path: tuple[Any, ...]) -> tuple[Job | None, tuple[Problem, ...]]:
    """The job without one key, or the problems it is answered with; anything else raised is a failure of the test."""
    try:
        return changed(source, *path, value=None), ()
    except BadInput as error:
        return None, error.problems


SECTIONS = ("site", "power", "network", "bus", "kit")
DEMO = read_source(Path(EXAMPLES) / "demo")


@pytest.mark.parametrize(
    "path", [path for section in SECTIONS for path in [(section,), *paths(DEMO.data[section], (section,))]], ids=str
)
def test_a_plan_without_any_one_key_is_made_or_the_key_is_asked_for(source: Source, path: tuple[Any, ...]) -> None:
    job, problems = read_or_problems(source, path)
    if job is None:
        assert problems and all(problem.accepted for problem in problems)
        return
    document = plan.run(job).document
    assert plan_text(document) and list(plan_blocks(document))
    assert all(row["says"] and row["where"] for row in document["findings"])


def test_the_network_sheet_is_a_table_beside_the_plan_that_no_spreadsheet_runs(demo: Job) -> None:
    """Read back by the standard library; a cell that begins like a formula is quoted (common practice, no source)."""
    document = plan.run(demo).document
    assert "network.csv" in plan_files(document)
    read = list(csv.DictReader(io.StringIO(network_csv(document))))
    sheet = demo.network.network
    assert [row["address"] for row in read if row["kind"] == "host"] == [host.address for host in sheet.hosts]
    ports = {
        (row["name"], row["towards"]): (row["port"], row["approval"], row["owner"]) for row in read if row["kind"] == "connection"
    }
    assert ports["plant controller", "edge computer"] == ("502", "approved", "controls engineer")
    assert ports["edge computer", "time server"] == ("123", "asked", "site network")
    assert {row["name"]: row["address"] for row in read if row["kind"] == "bus unit"}["stack light"] == "31"
    document["network"]["hosts"][0]["owner"] = "=HYPERLINK(1)"
    assert "'=HYPERLINK(1)" in network_csv(document)
    assert "network.csv" not in plan_files(plan.run(replace(demo, network=None)).document)


def test_every_device_has_its_terminal_rows_in_the_order_of_the_trunk(demo: Job) -> None:
    document = plan.run(demo).document
    rows = document["terminals"]
    assert list(dict.fromkeys(row["device"] for row in rows)) == [name for name in demo.bus.cable.along if name != "edge computer"]
    served = {row["device"]: row["cable"] for row in document["cables"]}
    assert all(row["cable"] == served[row["device"]] for row in rows)
    line = {row["device"]: row["to"] for row in rows if row["signal"] == "D1"}
    assert line["converter"] == "D1 of edge computer" and line["stack light"] == "D1 of converter"
    fed = {row["device"] for row in rows if row["signal"] == "supply +"}
    assert fed == {device.name for device in demo.bus.devices if device.current}  # the converter has its own supply
    assert "terminals.svg" in plan_files(document)
