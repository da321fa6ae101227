"""What the handover and the pages say of proving, limits and watching, and the sheet for the controls engineer.

Register figures against the constants the trade asks for (0x1234, 123456789, 123.456) and against the profile rows themselves.
"""

import csv
import io
from typing import Any

import pytest

from gearcase.drawings.block import Block
from gearcase.drawings.installed import baseline_blocks, controls_blocks, prove_blocks, tag_list, watch_blocks
from gearcase.drawings.report import handover_html
from gearcase.job.build import load
from gearcase.stages import handover, plan, survey
from gearcase.tables import load as load_table
from test_stages import EXAMPLES

EVIDENCE = {
    "device": "sump temperature",
    "step": "link",
    "outcome": "passed",
    "measured": "0 of 3000 polls failed",
    "criterion": "c",
}
LEFT = {"device": "stack light", "step": "light seen", "outcome": "open", "says": "look at it"}


def words(blocks: Any) -> str:
    """Everything a list of blocks says."""
    listed: list[Block] = list(blocks)
    parts = [part for one in listed for part in (one.text, *one.items, *one.head, *(cell for row in one.rows for cell in row))]
    return " ".join(parts)


@pytest.fixture(scope="module")
def devices() -> list[dict[str, Any]]:
    return list(plan.run(load(EXAMPLES / "demo")).document["bus"]["devices"])


def test_what_several_devices_show_alike_stands_once_with_the_minute_it_was_tried() -> None:
    """Times as written elsewhere on the pages, 2026-09-10 08:40."""
    alike = [{**EVIDENCE, "device": name} for name in ("converter", "light")]
    attempts = [{**row, "who": "A. Fell", "when": f"2026-09-10T08:4{n}:07+00:00"} for row in alike for n in (0, 1)]
    document = {"statement": "", "caution": "", "before_going_home": [], "evidence": alike, "attempts": attempts}
    evidence, again = (block for block in prove_blocks(document) if block.kind == "table")
    assert [row[-1] for row in evidence.rows] == ["converter, light"]
    assert [(row[0], row[-1]) for row in again.rows] == [
        ("2026-09-10 08:40", "converter, light"),
        ("2026-09-10 08:41", "converter, light"),
    ]


def test_what_keeps_people_from_going_home_stands_first() -> None:
    document = {"statement": "not yet: 1 open", "caution": "lock out first", "before_going_home": [LEFT], "evidence": [EVIDENCE]}
    blocks = list(prove_blocks(document))
    said = words(blocks)
    assert (
        said.index("look at it") < said.index("0 of 3000 polls failed") and blocks[1].state == "action" and "lock out first" in said
    )
    failed = {**document, "before_going_home": [{**LEFT, "outcome": "failed"}]}
    assert list(prove_blocks(failed))[1].state == "abnormal"
    assert "Before going home" not in words(prove_blocks({**document, "before_going_home": []}))


def limit(**changed: Any) -> dict[str, Any]:
    worked = {"value": 2.8e-3, "unit": "m/s", "formula": "the boundary", "source": "ISO 10816-3", "inputs": {}, "spread": 0.0}
    false = {"per_year": 0.4, "low": 0.1, "high": 2.0, "hours": 300.0}
    return {
        "point": "intermediate left",
        "quantity": "overall velocity",
        "unit": "m/s",
        "kind": "one-week",
        "yellow": worked,
        "danger": None,
        "low": None,
        "expires": "2026-12-25T10:00:00+00:00",
        "false_alarms_per_year": {"yellow": false},
        **changed,
    }


def test_limits_are_shown_in_the_reader_s_units_with_expiry_and_false_alarms() -> None:
    document = {"statement": "baseline normal", "status": "normal", "findings": [], "limits": [limit()]}
    said = words(baseline_blocks(document))
    assert all(part in said for part in ("2.8 mm/s", "0.4 (0.1 to 2)", "2026-12-25", "the boundary", "not wired"))


def test_an_interval_that_says_nothing_is_said_to_say_nothing() -> None:
    short = limit(false_alarms_per_year={"yellow": {"per_year": 0.0, "low": 0.0, "high": 3.8e4, "hours": 0.5}})
    assert "not to be told from 0.5 h" in words(
        baseline_blocks({"statement": "s", "status": "normal", "findings": [], "limits": [short]})
    )


def test_a_refused_baseline_asks_for_action() -> None:
    finding = {"level": "blocker", "where": "a", "says": "over the B/C boundary"}
    blocks = list(baseline_blocks({"statement": "refused", "status": "refused", "findings": [finding], "limits": []}))
    assert blocks[1].state == "action" and "Blocker: a Over the B/C boundary" in words(blocks)


def test_the_watch_shows_conditions_and_its_diary() -> None:
    row = {"point": "a", "quantity": "temperature", "condition": "yellow", "light": "yellow"}
    event = {"time": "2026-11-25T10:11:12+00:00", "kind": "light", "point": "", "says": "yellow", "who": ""}
    blocks = list(watch_blocks({"statement": "abnormal", "conditions": [row], "events": [event]}))
    assert blocks[1].state == "abnormal" and "2026-11-25 10:11" in words(blocks)
    assert blocks[2].head == ("point", "quantity", "condition", "light"), "a column in which nothing stands takes no room"
    later, earlier = ({**event, "time": f"2026-11-25T{hour}:00:00+00:00", "says": hour} for hour in ("12", "11"))
    told = list(watch_blocks({"statement": "s", "conditions": [], "events": [later, earlier]}))[-1]
    assert [row[3] for row in told.rows] == ["11", "12"], "a diary goes by the clock"
    assert list(watch_blocks({"statement": "calm", "conditions": [{**row, "condition": "clear"}], "events": []}))[1].state == "none"


def test_the_controls_sheet_has_every_register_both_ways_and_the_test_registers(devices: list[dict[str, Any]]) -> None:
    said = words(controls_blocks(devices, baud=19200))
    for part in ("0x1234", "123456789", "123.456", "19200 baud", "stale after 60 s", "lamps wanted", "sump temperature"):
        assert part in said
    assert list(controls_blocks([{**row, "profile": ""} for row in devices], baud=19200)) == []


def test_the_tag_list_has_a_row_for_every_register_of_every_device(devices: list[dict[str, Any]]) -> None:
    rows = list(csv.DictReader(io.StringIO(tag_list(devices).decode())))
    profiles = [row["profile"] for row in devices]
    assert len(rows) == sum(row["profile"] == name for name in profiles for row in load_table("registers"))
    assert all(int(row["address from 1"]) == int(row["address from 0"]) + 1 for row in rows)
    constants = {row["register"]: float(row["constant"]) for row in rows if row["unit"] == "11" and row["constant"]}
    assert (constants["constant word"], constants["constant whole"], constants["constant real"]) == (4660, 123456789, 123.456)


CALM = {
    "prove": {"statement": "you may go home", "caution": "lock out first", "before_going_home": [], "evidence": [EVIDENCE]},
    "baseline": {"statement": "baseline normal", "status": "normal", "findings": [], "limits": []},
    "watch": {"statement": "nothing over its limits", "conditions": [], "events": []},
}


@pytest.mark.parametrize(
    ("stage", "changed"),
    [
        ("", {}),
        ("prove", {"evidence": [{**EVIDENCE, "outcome": "failed"}]}),
        ("baseline", {"status": "refused"}),
        ("watch", {"conditions": [{"point": "a", "quantity": "q", "condition": "yellow", "light": "yellow"}]}),
    ],
)
def test_a_handover_calls_for_action_when_any_stage_does_and_tells_the_owner(stage: str, changed: dict[str, Any]) -> None:
    job = load(EXAMPLES / "demo")
    documents = {name: {**row, **(changed if name == stage else {})} for name, row in CALM.items()}
    documents["survey"] = survey.run(job).document
    earlier = {name: handover.Earlier(1, document, {}, ()) for name, document in documents.items()}
    result, content = handover.run(job, earlier, who="a", date="2026-11-25", number=1, checksum=lambda _: "0" * 64)
    assert result.wrong is bool(stage)
    page = handover_html(content)
    assert page.index("How the job stands") < page.index("You may go home") < page.index("Proved over the wire")
