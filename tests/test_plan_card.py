"""Card and schedule as one plan of the same work: every task has its steps, every step its task, in one order; each caution once,
where its own work begins. The order of the trade is common practice, no source.
"""

import itertools
import re
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from gearcase.install.adhesives import adhesive
from gearcase.install.cautions import Step
from gearcase.install.housing import Kit
from gearcase.install.network import Approval
from gearcase.install.outage import Isolation, Outage
from gearcase.job.build import Job, load
from gearcase.stages import plan
from gearcase.stages.planning.card import NOT_YET
from gearcase.tables import load as table
from test_stages import EXAMPLES


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def document(job: Job, today: str = "") -> dict[str, Any]:
    return plan.run(job, today=today).document


def kit(job: Job, **changed: Any) -> Job:
    return replace(job, kit=replace(job.kit, **changed))


JOBS = {
    "demo": lambda job: job,
    "no outage said": lambda job: replace(job, outage=Outage()),
    "no kit": lambda job: replace(job, kit=Kit()),
    "no bus": lambda job: replace(job, bus=replace(job.bus, devices=())),
    "no mount said": lambda job: replace(job, points=tuple(replace(point, mount="") for point in job.points)),
    "a pad": lambda job: replace(job, points=(replace(job.points[1], mount="adhesive pad"),)),
    "a refused hole": lambda job: replace(job, conditions=replace(job.conditions, drilling_consent="refused")),
    "no power": lambda job: replace(job, power=replace(job.power, volts=None, branch=None, entries=())),
    "no brackets": lambda job: kit(job, brackets=()),
    "a crew that cannot": lambda job: replace(job, outage=replace(job.outage, crew=(), windows=())),
}


@pytest.mark.parametrize("name", JOBS)
def test_every_task_has_its_steps_and_every_step_its_task_in_the_order_of_the_schedule(name: str, demo: Job) -> None:
    found = document(JOBS[name](demo))
    card, outage = found["work_card"], found["outage"]
    tasks = [step["task"] for step in card if step["task"]]
    assert set(tasks) == {row["name"] for row in (*outage["bench"], *outage["tasks"])}
    assert list(dict.fromkeys(tasks)) == [
        *(row["name"] for row in outage["bench"]),
        *(row["name"] for row in (found["schedule"] or {"tasks": ()})["tasks"]),
    ]
    together = list(dict.fromkeys(tasks))
    assert [together.index(task) for task in tasks] == sorted(together.index(task) for task in tasks)  # none is broken off
    loose = {(step["where"], step["do"].split(" ")[0]) for step in card if not step["task"]}
    assert {says for _, says in loose} <= {"Agree", "Ask", "Follow", "Before"}
    assert [step["number"] for step in card] == list(range(1, len(card) + 1))


def test_no_step_asks_for_what_another_forbids(demo: Job) -> None:
    """A locked drive with a backstop and a clamped belt is not turned by hand; the plant cannot write the light
    (docs/publish.md: read-only); what has no sensor has no clip beside one; lengths have their sign.
    """
    card = document(demo)["work_card"]
    (probe,) = [step["do"] for step in card if "screw the probe in" in step["do"]]
    assert "only where whoever holds the lock allows it" in probe and "backstop" in probe
    (light,) = [step["do"] for step in card if step["do"].startswith("Show every colour")]
    assert "from the controller" not in light
    (pulled,) = [step["do"] for step in card if step["do"].startswith("Pull each")]
    assert "never beside what turns" in pulled
    for step in card:
        said = " ".join(str(step[key]) for key in ("do", "value", "tolerance"))
        assert not re.search(r"\d um\b", said), said
        assert not (step["do"].startswith("Run cable W4") and "of the sensor" in said), "the light's"


def test_enclosure_and_light_have_their_tasks_and_the_supply_comes_once_they_hang(demo: Job) -> None:
    """Trade: bracket, plate and box first, then conduit, then the supply; a cable to what is there."""
    found = document(demo)
    at = {row["name"]: row for row in found["schedule"]["tasks"]}
    order = [
        "fit bracket: plate on the jig holes",
        "hang the edge enclosure",
        "run the conduit",
        "connect the supply",
        "dead tests",
    ]
    for before, after in itertools.pairwise(order):
        assert at[before]["end_s"] <= at[after]["start_s"] + 1e-6
    order = ["fit bracket: stand of the light", "fix the stack light", "route cable to stack light", "wire and label every device"]
    for before, after in itertools.pairwise(order):
        assert at[before]["end_s"] <= at[after]["start_s"] + 1e-6
    waits = {row["name"]: {one["task"] for one in row["after"]} for row in found["outage"]["tasks"]}
    assert "fix the stack light" in waits["route cable to stack light"]
    assert "fit the sump's probe" in waits["route cable to sump temperature"]
    assert at["fit the sump's probe"]["end_s"] <= at["route cable to sump temperature"]["start_s"]
    assert at["run the conduit"]["crew"] == at["connect the supply"]["crew"] == ["C. Tarn"]  # the licensed electrician
    assert {"hang the edge enclosure", "fix the stack light"} & {
        row["name"] for row in document(kit(demo, enclosure=None, light=None))["outage"]["tasks"]
    } == set()


def test_the_card_has_the_steps_of_wiring_tests_bench_and_release(demo: Job) -> None:
    card = document(demo)["work_card"]
    for device in demo.bus.devices:
        own = [step for step in card if step["where"] == device.name]
        assert own[0]["do"].startswith("On the bench") and own[0]["value"] == f"unit {device.address}, 19200 baud"
        assert any(step["do"].startswith("Wire it") for step in own)
    dead = next(step for step in card if step["task"] == "dead tests")
    assert dead["tolerance"].startswith("54 to 66 ohm")  # trade.md: 54 to 66 ohm A to B
    taps = {step["where"]: step["value"] for step in card if "then tap" in step["do"]}
    assert set(taps) == {"input coupling end", "intermediate left"}
    axes = {row["point"]: row["tap_axis"] for row in document(demo)["orientation"]}
    assert all(value.startswith(axes[where]) for where, value in taps.items())
    assert any("test registers" in step["do"] for step in card if step["where"] == "controller")
    assert [step["do"].split(",")[0] for step in card if step["task"] == "release and hand back"][-1] == "Take the locks off"


def test_each_isolation_point_is_a_step_to_sign_and_comes_off_in_reverse(demo: Job) -> None:
    points = demo.outage.isolation.points
    card = document(demo)["work_card"]
    own = [step for step in card if step["where"] == "isolation"]
    assert [step["do"].partition(": ")[2].partition("; each")[0] for step in own[: len(points)]] == list(points)
    assert all(step["value"] == "lock held by C. Tarn" for step in own[: len(points)])
    assert ", ".join(reversed(points)) in own[-1]["do"]
    silent = document(replace(demo, outage=replace(demo.outage, isolation=None)))["work_card"]
    assert any("nobody has listed them" in step["do"] for step in silent)


@pytest.mark.parametrize(
    ("held", "granted"),
    [
        (None, False),
        (Isolation(("feeder",), False, "C. Tarn"), False),
        (Isolation((), True, "C. Tarn"), False),
        (Isolation(("feeder",), True, ""), False),
        (Isolation(("feeder",), True, "C. Tarn"), True),
    ],
)
def test_an_isolation_nobody_agreed_to_is_no_go_five_working_days_before(held: Isolation | None, granted: bool, demo: Job) -> None:
    """Trade: a go/no-go list with owners five working days before; the demo's outage is on 2026-09-10."""
    job = replace(demo, outage=replace(demo.outage, isolation=held))
    row = next(row for row in document(job)["outage"]["lead"] if row["what"].startswith("isolation agreed"))
    assert row["granted"] is granted and row["needed_by"] == "2026-09-03" and row["owner"]

    def blocks(today: str) -> bool:
        rows = document(job, today)["findings"]
        return any(one["level"] == "blocker" and one["where"].startswith("isolation agreed") for one in rows)

    assert blocks("2026-09-04") is not granted and not blocks("2026-09-02")


def test_every_connection_of_the_network_sheet_is_on_the_go_no_go_list(demo: Job) -> None:
    lead = {row["what"]: row for row in document(demo)["outage"]["lead"]}
    for one in demo.network.network.connections:
        row = lead[f"network: {one.opened_by} to {one.towards}, {one.service}"]
        assert row["owner"] == one.owner and row["days"] == one.lead_time / 86400
        assert row["granted"] is (one.approval is Approval.APPROVED)
    late = document(demo, "2026-08-20")["findings"]  # 21 days are needed before 2026-09-03
    assert any(row["rule"] == "plan.lead" and "time server" in row["where"] for row in late)


def cautions_of(job: Job) -> dict[str, tuple[dict[str, Any], dict[str, Any]]]:
    """Id -> its row, and the step where it stands."""
    found = document(job)
    return {row["id"]: (row, found["work_card"][row["step"] - 1]) for row in found["cautions"]["list"]}


@pytest.mark.parametrize("name", JOBS)
def test_the_card_says_each_caution_once_and_no_other(name: str, demo: Job) -> None:
    found = document(JOBS[name](demo))
    said = Counter(line for step in found["work_card"] for line in step["caution"].splitlines())
    assert set(said.values()) == {1} and set(said) == {row["says"] for row in found["cautions"]["list"]}


@pytest.mark.parametrize(
    ("caution", "task", "words"),
    [
        ("solvent", "bond intermediate left", "Grind to bare metal. Degrease"),
        ("methacrylate", "bond intermediate left", "Check that clean water"),
        ("oil_open", "fit the sump's probe", "Drain below"),
        ("oil_drill", "measure the wall at input coupling end", "Gauge the wall"),
        ("isolate", "lock out and prove still", "Isolate"),
        ("bracket_holes", "fit bracket: plate on the jig holes", "Gauge the full thread"),
        ("mains", "run the conduit", "Punch"),
        ("restore", "release and hand back", "Account"),
    ],
)
def test_a_caution_stands_where_its_own_work_begins(caution: str, task: str, words: str, demo: Job) -> None:
    _, step = cautions_of(demo)[caution]
    assert step["task"] == task and step["do"].startswith(words)


@pytest.mark.parametrize("name", [row["adhesive"] for row in table("adhesives")])
def test_an_adhesive_has_its_own_caution_and_no_others(name: str, demo: Job) -> None:
    """Safety data sheets: methacrylate burns, epoxy sensitises, cyanoacrylate glues skin."""
    stand = set(cautions_of(kit(demo, adhesive=adhesive(name)))) & {"methacrylate", "epoxy", "cyanoacrylate"}
    assert len(stand) == 1 and stand.pop() in name


def test_every_kind_of_caution_has_a_part_of_the_work_of_its_own() -> None:
    assert {row["step"] for row in table("cautions")} <= {str(step) for step in Step}


def test_a_blocked_part_has_no_step_that_says_to_fit_it(demo: Job) -> None:
    box = replace(demo.kit.brackets[0], holes=("hole by the glass",))  # of which nobody knows what it is for
    steps = [step for step in document(kit(demo, brackets=(box, demo.kit.brackets[1])))["work_card"] if step["where"] == box.name]
    assert [step["do"] for step in steps] == [NOT_YET]


def test_a_plate_is_named_once(demo: Job) -> None:
    """A bracket that is called a plate already is not made a plate of a plate."""
    assert [row["name"] for row in document(demo)["plates"]] == ["plate on the jig holes"]
    other = tuple(replace(one, name="bar on the jig holes") if one.face else one for one in demo.kit.brackets)
    renamed = kit(demo, brackets=other, enclosure=replace(demo.kit.enclosure, bracket="bar on the jig holes"))
    assert [row["name"] for row in document(renamed)["plates"]] == ["plate of bar on the jig holes"]
