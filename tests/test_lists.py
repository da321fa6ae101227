"""What to bring and what to cut: groups, spares, cut lists in the plan, the page before leaving home, and the sheets to print."""

import json
import math
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase import cli
from gearcase.drawings.drafting import TitleBlock
from gearcase.drawings.list_blocks import leaving_page, pick_blocks, work_card
from gearcase.drawings.plan_blocks import plan_section
from gearcase.drawings.report import report_html, report_pdf
from gearcase.install.housing import Cable, Port, Wall
from gearcase.install.lengths import Lengths, Piece, Stock
from gearcase.install.outage import Ask
from gearcase.job.build import Job, load
from gearcase.stages import plan
from gearcase.stages.planning.lists import GROUPS, Wanted, cut_document, pick_list
from gearcase.tables import load as table
from gearcase.web.app import make_app
from gearcase.worked import Origin
from test_stages import EXAMPLES
from test_web import Client

BLOCK = TitleBlock("Conveyor CV-204", "plan", "0001", "2026-03-02", "0123456789ab")


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


@pytest.fixture(scope="module")
def document(demo: Job) -> dict[str, Any]:
    return plan.run(demo).document


def quantities(rows: list[dict[str, Any]], group: str) -> dict[str, int]:
    return {row["what"]: row["quantity"] for row in rows if row["group"] == group}


def pages(report: Any) -> int:
    """Pages of a PDF as its own page tree counts them (ISO 32000-1, 7.7.3)."""
    return max(int(count) for count in re.findall(rb"/Count (\d+)", report_pdf(report)))


def test_the_pick_list_of_the_demo_has_every_group_and_each_thing_once(document: dict[str, Any]) -> None:
    rows = document["pick"]
    assert {row["group"] for row in rows} == set(GROUPS)
    assert max(Counter((row["group"], row["what"]) for row in rows).values()) == 1
    assert quantities(rows, "parts")["sensor, waveform, 3 axes, 2 Hz to 10 kHz"] == 2
    assert quantities(rows, "parts")["conduit, 3048 mm"] == 3
    assert all(row["for"] and row["quantity"] >= 1 for row in rows)


def test_spares_say_by_which_rule_and_every_rule_is_marked_as_common_practice(document: dict[str, Any]) -> None:
    spares = [row for row in document["pick"] if row["group"] == "spares"]
    assert spares and all(row["rule"] for row in spares)
    assert all(row["basis"] == "practice" and "common practice" in row["source"] for row in table("pick_rules"))
    kinds = quantities(document["pick"], "spares")
    assert kinds["plug tap 1/4-28"] == 1 and kinds["cable, 15.0 m, 22 AWG"] == 1
    said = [block for block in pick_blocks(document["pick"]) if "Spares" in block.head]
    assert [block.head[-1] for block in said] == ["rule (common practice)"]


@pytest.mark.parametrize(("sensors", "spares"), [(1, 1), (10, 1), (11, 2), (100, 10)])
def test_one_spare_sensor_for_every_ten(sensors: int, spares: int) -> None:
    rows = pick_list(Wanted("sensor", f"point {n}") for n in range(sensors))
    assert quantities(rows, "parts") == {"sensor": sensors} and quantities(rows, "spares") == {"sensor": spares}


def test_the_spare_cable_is_longer_than_the_longest_of_its_wire() -> None:
    rows = pick_list([], [Cable("a", 5.0, "22 AWG"), Cable("b", 10.0, "22 AWG"), Cable("c", 60.0, "18 AWG")])
    assert quantities(rows, "spares") == {"cable, 15.0 m, 22 AWG": 1, "cable, 60.0 m, 18 AWG": 1}  # nothing longer is sold


@given(st.lists(st.tuples(st.sampled_from(["drill #3", "sensor", "grease", "cable 5 m"]), st.sampled_from("abcd"))))
def test_merging_loses_nothing_and_adds_nothing(takes: list[tuple[str, str]]) -> None:
    rows = [row for row in pick_list(Wanted(what, why) for what, why in takes) if row["group"] != "spares"]
    assert {row["what"]: set(row["for"]) for row in rows} == {
        what: {why for one, why in takes if one == what} for what in {what for what, _ in takes}
    }
    for row in rows:
        assert row["quantity"] == (1 if row["group"] == "tools" else sum(what == row["what"] for what, _ in takes))


def test_the_cut_list_of_the_demo_holds_every_piece_once(demo: Job, document: dict[str, Any]) -> None:
    """The least by hand: two pieces of 2700 or 2200 mm never share a bar of 3048 mm, so conduit takes three."""
    strut, conduit = document["cut_lists"]
    assert conduit["bought_m"] == pytest.approx(3 * 3.048) and conduit["least"]
    assert demo.kit.strut is not None
    cut = [piece["name"] for bar in strut["bars"] for piece in bar["pieces"]]
    assert sorted(cut) == sorted(piece.name for piece in demo.kit.strut.pieces)
    for bar in (*strut["bars"], *conduit["bars"]):  # one kerf for each piece, read off the list by hand
        used = sum(piece["length_m"] + 0.003 for piece in bar["pieces"])
        assert bar["left"]["value"] == pytest.approx(bar["length_m"] - used)


@pytest.mark.parametrize(
    ("lengths", "rule", "says"),
    [
        (
            Lengths((Piece("post", 3.2),), (Stock("10 ft", 3.048),)),
            "too_long",
            "post of 3200 mm is longer than the longest .* 3048 mm",
        ),
        (
            Lengths((Piece("post", 0.8), Piece("post", 0.8)), (Stock("offcut", 1.0, 1),)),
            "stock",
            "before post are cut: 803 mm more",
        ),
        (Lengths((Piece("post", 0.8),), ()), "stock", r"give kit\.strut\.stock"),
    ],
)
def test_pieces_that_cannot_be_cut_block_with_what_would_cure_it(lengths: Lengths, rule: str, says: str, demo: Job) -> None:
    result = plan.run(replace(demo, kit=replace(demo.kit, strut=lengths)))
    found = [row for row in result.document["findings"] if row["rule"] == f"plan.{rule}"]
    assert result.wrong and [row["level"] for row in found] == ["blocker"] and re.search(says, found[0]["says"])


@settings(max_examples=40, deadline=None)
@given(lengths=st.lists(st.integers(50, 3100), min_size=1, max_size=8), offcuts=st.integers(0, 2))
def test_every_piece_is_cut_or_named(lengths: list[int], offcuts: int) -> None:
    pieces = tuple(Piece(f"piece {n}", length / 1000) for n, length in enumerate(lengths))
    stocks = (Stock("bar", 3.0, 2), *((Stock("offcut", 0.7, offcuts),) if offcuts else ()))
    row, wrong = cut_document("conduit", Lengths(pieces, stocks))
    named = [piece["name"] for bar in row["bars"] for piece in bar["pieces"]]
    named += [piece["name"] for key in ("too_long", "uncut") for piece in row[key]]
    assert sorted(named) == sorted(piece.name for piece in pieces)
    assert bool(wrong) == bool(row["too_long"] or row["uncut"])


def test_lengths_are_read_from_the_job_with_count_and_offcuts(demo: Job) -> None:
    strut = demo.kit.strut
    assert strut is not None and strut.kerf == pytest.approx(0.003)
    assert Counter(piece.length for piece in strut.pieces) == {1.8: 1, 0.42: 2, 0.3: 2}
    assert strut.stocks == (Stock("3048 mm", 3.048), Stock("offcut in the shop", 0.9, 1))


def test_an_unknown_wall_packs_for_both_answers_and_says_which_stops(demo: Job) -> None:
    stud = demo.points[0]
    for wall in (None, Wall(30e-3, 0.0, Origin.ESTIMATED)):
        job = replace(demo, points=(replace(stud, wall=wall), *demo.points[1:]))
        fork = plan.run(job).document["before_leaving"]["forks"][0]
        assert fork["where"] == stud.name and fork["unknown"].startswith("the wall at the spot")
        assert (
            "drill #3" in fork["pack_one"] and "plug tap 1/4-28" in fork["pack_one"] and "two-part adhesive" in fork["pack_other"]
        )
        assert "21.01 mm or more" in fork["one"] and "the owner" not in " ".join(fork.values())  # who has agreed already
        asked = plan.run(replace(job, conditions=replace(job.conditions, drilling_consent="asked"))).document["before_leaving"]
        assert "whether it may be drilled" in asked["forks"][0]["unknown"]
        assert "neither drilling nor bonding" in asked["forks"][0]["stops"]
    assert not [fork for fork in plan.run(demo).document["before_leaving"]["forks"] if fork["where"] == stud.name]


def test_what_is_not_gauged_or_said_is_a_fork_too(demo: Job) -> None:
    port = Port("side plug", "side", "left", (0.1, 0.1))
    job = replace(
        demo,
        points=(replace(demo.points[0], mount="", at=None), *demo.points[1:]),
        housing=replace(demo.housing, ports=(port,), surface_temperature=None),
    )
    forks = {row["unknown"]: row for row in plan.run(job).document["before_leaving"]["forks"]}
    assert {"how the sensor is mounted", "where the sensor stands", "thread of the port"} <= set(forks)
    assert "55 degree" in forks["thread of the port"]["pack_other"]
    assert "above 100 °C" in forks["metal temperature on the day"]["stops"]


def test_what_stops_the_job_is_asked_before_leaving(demo: Job) -> None:
    thin = replace(demo, points=(replace(demo.points[0], wall=Wall(14e-3, 0.3e-3, Origin.MEASURED)), *demo.points[1:]))
    leaving = plan.run(thin).document["before_leaving"]
    assert any("a way to the oil" in row["what"] for row in leaving["stops"])
    assert not any("may the drive be drilled" in row["what"] for row in leaving["stops"])
    silent = replace(thin, conditions=replace(thin.conditions, drilling_consent=""))
    assert any("may the drive be drilled" in row["what"] for row in plan.run(silent).document["before_leaving"]["stops"])
    assert any("network" in row["what"] for row in leaving["permissions"])
    assert leaving["permissions"][0]["owner"] == "shift engineer of the crushing plant"


def test_permissions_are_the_go_no_go_list_and_what_is_granted_needs_no_box(demo: Job) -> None:
    asks = (Ask("consent to drill", "owner", 14.0, granted=True), Ask("network approval", "office", 42.0))
    job = replace(demo, outage=replace(demo.outage, asks=asks))
    document = plan.run(job).document
    rows = {row["what"]: row for row in document["before_leaving"]["permissions"]}
    assert set(rows) == {row["what"] for row in document["outage"]["lead"]} and len(rows) > len(asks)
    assert rows["network approval"] == {"what": "network approval", "owner": "office", "lead": "42 days", "granted": False}
    blocks = list(leaving_page(document, BLOCK).blocks)
    boxes = next(block for block in blocks if block.kind == "table" and "permission" in block.head).rows
    assert "network approval" in {row[1] for row in boxes} and "consent to drill" not in {row[1] for row in boxes}
    assert any(block.text.startswith("Granted already") and "consent to drill" in block.text for block in blocks)


def test_the_page_before_leaving_home_names_what_is_isolated_or_asks_for_it(demo: Job) -> None:
    def page(job: Job) -> str:
        return " ".join(report_html(leaving_page(plan.run(job).document, BLOCK)).split())

    said = page(demo)
    assert all(point.replace("'", "&#39;") in said for point in demo.outage.isolation.points) and "held by C. Tarn" in said
    unsaid = replace(demo, outage=replace(demo.outage, isolation=None))
    assert "Nobody has listed what is isolated or blocked" in page(unsaid)
    assert any("lock-out points" in row["what"] for row in plan.run(unsaid).document["before_leaving"]["stops"])
    assert not any("lock-out points" in row["what"] for row in plan.run(demo).document["before_leaving"]["stops"])


def test_the_page_before_leaving_home_is_one_page(document: dict[str, Any]) -> None:
    assert pages(leaving_page(document, BLOCK)) == 1
    assert pages(work_card(document, BLOCK)) > 1  # the count can be more than one


def test_the_work_card_has_a_column_for_what_its_steps_give_and_room_to_sign(document: dict[str, Any]) -> None:
    steps = [dict(step) for step in document["work_card"]]
    card = next(block for block in work_card(document, BLOCK).blocks if block.kind == "table")
    assert card.head[-1] == "done by, date" and [row[0] for row in card.rows] == [str(step["number"]) for step in steps]
    steps[0] |= {"value": "19200 baud", "tolerance": "none", "only_by": "a licensed electrician"}
    card = next(block for block in work_card({**document, "work_card": steps}, BLOCK).blocks if block.kind == "table")
    assert "19200 baud; none" in card.rows[0] and "\na licensed electrician" in card.rows[0][2]
    assert all(len(row) == len(card.head) == len(card.wide) for row in card.rows)
    for row, step in zip(card.rows, document["work_card"], strict=True):
        said = [line for line in row[2].splitlines() if line.startswith("Caution: ")]
        assert said == [f"Caution: {caution}" for caution in step["caution"].splitlines()]


def test_a_blocked_plan_says_so_on_its_work_card(demo: Job) -> None:
    blocked = plan.run(replace(demo, kit=replace(demo.kit, cables=()))).document
    assert work_card(blocked, BLOCK).blocks[0].text == "Do not proceed"
    assert "no cable is left" in report_html(work_card(blocked, BLOCK))


def test_the_handover_holds_the_faces_and_how_to_use_the_template(document: dict[str, Any]) -> None:
    blocks = list(plan_section(document))
    faces = [block for block in blocks if block.kind == "figure" and "at scale" in block.text]
    assert len(faces) == len(document["faces"])
    assert any("100.0 mm" in block.text and "template" in block.text for block in blocks)
    headings = {block.text for block in blocks if block.kind == "heading"}
    assert "Cables" in headings and not {"Work card", "Bring", "The outage", "Try with a magnet before drilling"} & headings
    bonded = {**document, "parts": [{**part, "mount": "rigid adhesive"} for part in document["parts"]]}
    assert not any("template" in block.text for block in plan_section(bonded))


def test_a_plan_kept_before_lists_had_groups_can_still_be_read() -> None:
    (block,) = pick_blocks([{"what": "plug tap 1/4-28", "for": "input coupling end"}])
    assert block.rows == (("plug tap 1/4-28", "input coupling end"),)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.yaml").write_text((EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    assert cli.main(["plan", str(folder), "--json"]) == 0
    return folder / "results" / "plan" / "0001"


def test_the_plan_keeps_its_drawings_with_title_blocks_and_its_sheets(kept: Path) -> None:
    from gearcase.checksums import sha256_of_data

    names = {path.name for path in kept.iterdir()}
    assert {"face-0.svg", "face-1.svg", "template-1.pdf", "bus.svg", "housing.svg"} <= names
    assert {"work-card.pdf", "work-card.html", "before-you-leave-home.pdf", "before-you-leave-home.html"} <= names
    result = json.loads((kept / "result.json").read_text(encoding="utf-8"))
    checksum = sha256_of_data(result["result"])[:12]
    for name in ("face-0.svg", "bus.svg", "housing.svg", "work-card.html"):
        text = (kept / name).read_text(encoding="utf-8")
        assert checksum in text and "0001" in text, name
    assert "scale 1:" in (kept / "face-0.svg").read_text(encoding="utf-8")


def test_faces_of_a_plan_draw_whatever_a_housing_can_say(tmp_path: Path) -> None:
    """Regions, seats and tapped holes reach the drawing under the keys it reads."""
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    (tmp_path / "job.yaml").write_text(text, encoding="utf-8")
    cli.main(["plan", str(tmp_path), "--json"])
    drawn = (tmp_path / "results" / "plan" / "0001" / "face-0.svg").read_text(encoding="utf-8")
    assert all(
        words in drawn for words in ("wall 12 ± 0.3, measured", "jig hole 1", "intermediate bearing, left", "oil level glass")
    )


def test_the_page_of_the_plan_links_its_sheets(kept: Path) -> None:
    browser = Client(make_app(kept.parents[2]))
    page = browser.get("/plan")
    assert page.status_code == 200
    for name in ("work-card.pdf", "before-you-leave-home.pdf", "template-1.pdf", "face-0.svg"):
        address = f"/plan/0001/{name}"
        assert f'href="{address}"' in page.text and browser.get(address).status_code == 200
    for said in (
        "Face left, SVG",
        "Drill template, face coupling side, PDF",
        "Plate on the jig holes, DXF",
        "Serial bus, SVG",
    ):
        assert f">{said}<" in page.text
    assert not re.search(r"(Face|Template|Plate) \d", page.text)
    assert "Before you leave home" in page.text and "Cut list, strut channel" in page.text


def test_consumables_are_amounts_and_not_uses(demo: Job) -> None:
    """By hand: 30 mm across, 0.2 mm of line, taken three times: 0.42 ml. Clips: one within 150 mm, then each 450 mm at most."""
    rows = {row["what"]: row for row in plan.run(demo).document["pick"] if row["group"] != "spares"}
    glue = rows["two-part methacrylate adhesive"]
    assert glue["quantity"] == 1 and glue["millilitres"] == pytest.approx(3 * math.pi / 4 * 3.0**2 * 0.02, rel=1e-3)
    twice = replace(demo, points=(demo.points[1], replace(demo.points[1], name="again", at=(0.1, 0.2))))
    both = next(row for row in plan.run(twice).document["pick"] if row["what"] == glue["what"])
    assert both["quantity"] == 1 and both["millilitres"] == pytest.approx(2 * glue["millilitres"])
    assert any("0.42 ml or more in all" in cell for block in pick_blocks([glue]) for row in block.rows for cell in row)
    cables = plan.run(demo).document["cables"]
    routed = {route["device"]: route["length_m"] for route in plan.run(demo).document["routes"]}
    lengths = [routed.get(row["device"], row["run_m"]) for row in cables]
    assert rows["cable clips"]["quantity"] == sum(1 + math.ceil((length - 0.15) / 0.45) for length in lengths)


def test_screws_are_counted_by_their_holes_and_what_goes_through_a_box_is_brought(demo: Job) -> None:
    """Two jig holes, four corners of the enclosure; a gland for the bus cable, a fitting for the conduit; no second enclosure."""
    rows = {(row["group"], row["what"]): row["quantity"] for row in plan.run(demo).document["pick"]}
    assert rows["parts", "screws M12, grade A2-70, washers"] == 2 and rows["parts", "screws M6 with nuts and washers"] == 4
    assert rows["parts", "gland M20x1.5"] == 1 and rows["parts", "conduit fitting 1/2"] == 1
    assert not any("enclosure" in what for group, what in rows if group == "spares")


def test_whatever_the_work_card_asks_for_is_on_the_list_to_bring(demo: Job) -> None:
    """Above all what proves the drive dead: each tool named beside a step, found by its words in a thing to bring."""
    document = plan.run(demo).document
    brought = [row["what"].lower() for row in document["pick"] if row["group"] != "spares"]
    named = {tool for step in document["work_card"] for tool in step["tool"].split(", ") if tool}
    assert named > {"small plastic hammer", "couplant", "stripper"}
    assert [tool for tool in sorted(named) if not any(tool.lower() in what for what in brought)] == []
    rows = {row["what"]: row["group"] for row in document["pick"]}
    assert rows["voltage tester proved before and after"] == rows["stripper"] == "tools"
    assert rows["couplant"] == rows["ferrules"] == "consumables"
