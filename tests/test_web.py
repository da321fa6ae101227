"""The pages as a browser or a script asks for them: what they say, what they refuse, and that they never write."""

import asyncio
import json
import re
import shutil
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st

from gearcase import cli
from gearcase.drawings import pages
from gearcase.drawings.block import Block
from gearcase.record import results
from gearcase.web import card
from gearcase.web.app import make_app
from gearcase.web.sections import OF_THE_PAGE, sections
from test_stages import EXAMPLES

HOSTILE = '<script>alert("x")</script>'
WORKED = {
    "name": "supply at the far end",
    "value": 22.125,
    "unit": "V",
    "spread": 0.25,
    "formula": "U = U0 - I R",
    "source": "Ohm's law",
    "inputs": {"current": {"name": "current", "value": 0.3, "unit": "A", "origin": "measured", "spread": 0.0, "where": ""}},
}
FIT = {
    "schema": "fit/9",
    "job": "x",
    "statement": "2 of 3 parts are fitted as planned",
    "findings": [{"level": "blocker", "rule": "fit.torque", "where": "input", "says": "torque not measured", "worked": WORKED}],
    "as_built": [
        {"point": "input", "wall_mm": 11.5, "photo": None, "supply": WORKED, "checks": [{"what": "square", "ok": True}]},
        {"point": HOSTILE, "wall_mm": 12.25, "photo": "a.jpg", "supply": None, "checks": []},
    ],
    "round_s": 0.5,
}


class Client:
    """Asks the app in this process, as a server would pass it on."""

    def __init__(self, app: FastAPI) -> None:
        self.transport = httpx.ASGITransport(app)

    def request(self, method: str, address: str, headers: dict[str, str] | None = None) -> httpx.Response:
        async def asked() -> httpx.Response:
            async with httpx.AsyncClient(transport=self.transport, base_url="http://127.0.0.1:8765") as client:
                return await client.request(method, address, headers=headers)

        return asyncio.run(asked())

    def get(self, address: str, headers: dict[str, str] | None = None) -> httpx.Response:
        return self.request("GET", address, headers)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with a survey and a plan, made once by the commands."""
    folder = tmp_path_factory.mktemp("made") / "job"
    folder.mkdir()
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    (folder / "job.yaml").write_text(text[: text.index("# Made by `make demo`")], encoding="utf-8")
    for verb in ("survey", "plan"):
        cli.main([verb, str(folder), "--by", "A. Tester", "--json"])
    return folder


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "job"))


@pytest.fixture
def client(job: Path) -> Client:
    return Client(make_app(job))


def keep(job: Path, stage: str, document: dict[str, Any], **more: Any) -> Path:
    given = {"arrays": {}, "pictures": {}, "read": [], "who": "B. Fitter", "when": "2026-11-25T10:00:00+00:00"} | more
    return results.write(job, stage, document=document, **given)


def rows(client: Client) -> dict[str, dict[str, Any]]:
    return {row["stage"]: row for row in client.get("/index.json").json()["rows"]}


def test_the_card_shows_each_stage_with_its_state_in_words(client: Client) -> None:
    page = client.get("/")
    assert page.status_code == 200 and page.headers["content-type"] == "text/html; charset=utf-8"
    assert "Conveyor CV-204" in page.text and "A. Tester" in page.text
    assert page.text.count(">not begun<") == len(card.STAGES) - 2 and page.text.count('<span class="state done">done</span>') == 2
    found = rows(client)
    assert list(found) == list(card.STAGES)
    assert (found["survey"]["state"], found["survey"]["run"], found["fit"]["state"]) == ("done", 1, "not begun")


def test_a_stage_is_said_first_then_drawn_then_tabled(client: Client) -> None:
    text = client.get("/survey").text
    places = [text.index(words) for words in ("still open", "<svg", "<h2>What can be seen", "<table")]
    assert places == sorted(places)
    assert "<details><summary>Working</summary>" in text and "f_m = z x f_shaft" in text
    assert "/survey/0001/ask-for.pdf" in text and "train.svg" not in text
    plan = client.get("/plan").text
    assert "Nothing blocks this plan." in plan and "Work card" in plan and plan.count("<svg") == 3  # two faces, and the outage


def test_a_long_page_lists_what_is_on_it_and_each_link_leads_to_one_place(client: Client) -> None:
    for stage in ("survey", "plan"):
        text = client.get(f"/{stage}").text
        ids, links = re.findall(r'\bid="([^"]*)"', text), re.findall(r'href="#([^"]*)"', text)
        assert len(set(ids)) == len(ids) and sorted(links) == sorted(ids)
        headings = re.findall(r"<h[23]>(.*?)</h[23]>", text)
        assert len(links) == len(headings) >= 4
        assert text.index("On this page") < text.index("<h2>")
    assert "On this page" not in client.get("/watch").text


def test_tables_that_say_what_stands_above_them_are_folded_and_drawings_open_by_themselves(client: Client) -> None:
    text = client.get("/plan").text
    for says in ("Ranked for input coupling end: 1", "Hour by hour: ", "Tools: ", "Spares: "):
        assert f"<details><summary>{says}" in text
    assert "Best beside the cap, 330, 330." in text
    for name in ("bus.svg", "housing.svg", "schedule.svg"):
        assert re.search(rf'<a href="/plan/0001/{name}"><img src="/plan/0001/{name}"', text)
    assert re.search(r'<details class="section"><summary><h3>input bearing, coupling end</h3>', client.get("/survey").text)


@given(
    st.lists(
        st.sampled_from([*(Block("heading", one) for one in ("Runs", "Bonds", "Bonds 2", "Ω", "")), Block("text"), Block("note")])
    )
)
def test_parting_a_page_loses_no_block_and_gives_each_heading_an_address_of_its_own(blocks: list[Block]) -> None:
    made = sections(blocks)
    assert [block for one in made for block in ((one.heading, *one.blocks) if one.heading else one.blocks)] == blocks
    ids = [one.id for one in made if one.heading]
    assert len({*ids, *OF_THE_PAGE}) == len(ids) + len(OF_THE_PAGE) and all(ids)


def test_every_stage_has_a_page_before_it_is_begun(client: Client) -> None:
    for stage in card.STAGES:
        assert client.get(f"/{stage}").status_code == 200
    assert "Not begun." in client.get("/watch").text
    assert client.get("/watch.json").json()["result"] is None


def test_json_holds_the_document_itself(client: Client, job: Path) -> None:
    page = client.get("/survey.json").json()
    kept = results.latest(job, "survey")
    assert (
        kept is not None
        and page["result"] == kept.document
        and page["ok"] is True
        and page["files"] == ["ask-for.html", "ask-for.pdf"]
    )
    assert client.get("/survey/0001.json").json() == page


def test_a_result_older_than_the_job_says_what_changed(client: Client, job: Path) -> None:
    source = job / "job.yaml"
    source.write_text(source.read_text(encoding="utf-8").replace("power: 75 kW", "power: 76 kW"), encoding="utf-8")
    assert "76 kW" in source.read_text(encoding="utf-8")
    found = rows(client)
    assert found["survey"]["state"] == "stale" and found["survey"]["changed"] == ["job.yaml drive has changed since"]
    assert "job.yaml drive has changed since" in client.get("/survey").text


def test_a_handover_is_older_when_a_stage_it_gathers_now_says_something_else(client: Client, job: Path) -> None:
    cli.main(["handover", str(job), "--json"])
    assert rows(client)["handover"]["state"] == "done"
    cli.main(["plan", str(job), "--json"])
    assert rows(client)["handover"]["state"] == "done", "the same plan again changes nothing"
    source = job / "job.yaml"
    source.write_text(source.read_text(encoding="utf-8").replace("run: 8.2 m", "run: 8.1 m"), encoding="utf-8")
    cli.main(["plan", str(job), "--json"])
    changed = rows(client)["handover"]["changed"]
    assert changed == ["plan 0001 was run again, and 0003 says something else", "job.yaml bus has changed since"]
    assert rows(client)["plan"]["state"] == "done"


def test_a_document_of_another_schema_is_laid_out_from_its_shape(client: Client, job: Path) -> None:
    keep(job, "fit", FIT, pictures={"as-built.svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>"})
    text = client.get("/fit").text
    for words in (
        "2 of 3 parts are fitted as planned.",
        "Blocker: input",
        "As built",
        "wall, mm",
        "22.12 ± 0.25 V",
        "U = U0 - I R",
    ):
        assert words in text, words
    assert "<script" not in text and "&lt;script&gt;" in text
    assert '<img src="/fit/0001/as-built.svg"' in text
    assert (rows(client)["fit"]["state"], rows(client)["fit"]["word"]) == ("blocker", "done, do not proceed")


def test_a_date_in_a_table_is_not_broken_at_its_hyphens(client: Client, job: Path) -> None:
    row = {"point": "<b>", "bonded": "2026-09-10 09:55", "file": "2026-09-10-input.wav"}
    keep(job, "fit", {**FIT, "as_built": [row, row]})
    text = client.get("/fit").text
    assert '<span class="unbroken">2026-09-10</span> 09:55' in text and ">2026-09-10-input.wav<" in text and "&lt;b&gt;" in text


def test_a_diagnosis_that_names_a_fault_says_so_on_the_card(client: Client, job: Path) -> None:
    keep(job, "diagnose", {"schema": "other/1", "statement": "something", "verdicts": [{"component": "a"}]})
    assert (rows(client)["diagnose"]["state"], rows(client)["diagnose"]["word"]) == ("fault", "done, a fault is seen")


def test_a_broken_job_is_told_and_takes_no_page_away(client: Client, job: Path) -> None:
    (job / "job.yaml").write_text("job: 1\ndrive: {name: 3, bogus: [}\n", encoding="utf-8")
    for address in ("/", "/survey", "/diary", "/watch"):
        page = client.get(address)
        assert page.status_code == 200 and "need attention" in page.text and "job.yaml" in page.text, address
        assert "Traceback" not in page.text
    assert client.get("/index.json").json()["problems"]
    assert rows(client)["survey"]["word"] == "done; job.yaml cannot be read"


@pytest.mark.parametrize(
    "content", ['{"half', "[]", '{"schema": "survey/1", "who": "", "when": "", "gearcase": "", "read": [], "result": {}}']
)
def test_a_damaged_result_is_a_state_on_the_card_and_an_error_on_its_page(client: Client, job: Path, content: str) -> None:
    (job / "results" / "survey" / "0001" / "result.json").write_text(content, encoding="utf-8")
    assert rows(client)["plan"]["state"] == "done"
    if "result" not in content:
        assert rows(client)["survey"]["state"] == "damaged"
        answer = client.get("/survey.json")
        assert answer.status_code == 422 and answer.json()["errors"][0]["where"].endswith("result.json")
    assert "Traceback" not in client.get("/survey").text


def test_a_document_that_is_not_what_its_schema_says_is_an_error_told(client: Client, job: Path) -> None:
    keep(job, "survey", {"schema": "survey/1", "coverage": 3})
    answer = client.get("/survey.json")
    assert answer.status_code == 422 and "not as its schema says" in answer.json()["errors"][0]["given"]
    assert rows(client)["survey"]["state"] == "damaged"
    assert client.get("/diary.json").json()["problems"]


@pytest.mark.parametrize(
    "address",
    [
        "/nothing",
        "/survey/0002",
        "/survey/1",
        "/survey/-001",
        "/survey/٠٠٠١",
        "/survey/0001/result.json",
        "/survey/0001/nothing.svg",
        "/survey/0001/..%2f..%2f..%2fjob.yaml",
        "/survey/0001/%2e%2e/job.yaml",
        "/..%2fjob.yaml",
        "/fonts/..%2ffonts.csv",
        "/%3Cscript%3E",
        "/survey/",
        "/docs",
        "/openapi.json",
    ],
)
def test_what_is_not_kept_is_not_found(client: Client, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 404
    assert "<script>" not in answer.text and "nameplate" not in answer.text


def test_a_link_out_of_a_result_is_not_followed(client: Client, job: Path, tmp_path: Path) -> None:
    (tmp_path / "secret.svg").write_text("secret")
    (job / "results" / "survey" / "0001" / "leak.svg").symlink_to(tmp_path / "secret.svg")
    assert client.get("/survey/0001/leak.svg").status_code == 404


def test_every_error_has_one_shape(client: Client) -> None:
    for answer in (
        client.get("/none.json"),
        client.request("POST", "/index.json"),
        client.get("/index.json", headers={"host": "evil.example"}),
    ):
        error = answer.json()
        assert set(error) == {"ok", "errors", "status"} and error["ok"] is False and error["status"] == answer.status_code
        assert set(error["errors"][0]) == {"where", "key", "given", "accepted"}


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
def test_only_reading_is_answered(client: Client, method: str) -> None:
    answer = client.request(method, "/survey")
    assert answer.status_code == 405 and answer.headers["allow"] == "GET, HEAD"


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "127.0.0.1:80@evil", "", "127.0.0.2", "localhost:x", "[::1]:8765"]
)
def test_a_foreign_host_is_refused(client: Client, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8765", "localhost:8765", "localhost"])
def test_this_machine_is_answered(client: Client, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


def test_head_says_what_get_would_without_a_body(client: Client) -> None:
    for address in ("/", "/survey.json", "/style.css"):
        answer = client.request("HEAD", address)
        assert answer.status_code == 200 and answer.content == b""


def test_every_answer_is_fenced(client: Client) -> None:
    for address in ("/", "/nothing", "/survey.json", "/style.css", "/survey/0001/ask-for.html"):
        headers = client.get(address).headers
        assert (
            headers["content-security-policy"].startswith("default-src 'none'") and headers["x-content-type-options"] == "nosniff"
        )
        assert "unsafe" not in headers["content-security-policy"] or address.endswith("ask-for.html")
    assert "sandbox" in client.get("/survey/0001/ask-for.html").headers["content-security-policy"]


def test_no_page_needs_anything_from_elsewhere_or_a_script(client: Client) -> None:
    for address in ("/", "/survey", "/plan", "/diary", "/style.css"):
        text = client.get(address).text.replace("http://www.w3.org/2000/svg", "")
        assert "http" not in text and "//" not in text.replace("://", "//") and "<script" not in text and "style=" not in text, (
            address
        )


def test_fonts_and_kept_files_come_with_their_kind(client: Client) -> None:
    assert client.get("/fonts/inter-400.ttf").headers["content-type"] == "font/ttf"
    assert client.get("/survey/0001/train.svg").headers["content-type"] == "image/svg+xml"
    assert client.get("/survey/0001/ask-for.pdf").content.startswith(b"%PDF")


def test_reading_changes_nothing_on_disk(client: Client, job: Path) -> None:
    def state() -> dict[str, tuple[int, int]]:
        return {str(path): (path.stat().st_size, path.stat().st_mtime_ns) for path in job.rglob("*")}

    before = state()
    for address in ("/", "/survey", "/plan", "/diary", "/handover", "/nothing", "/survey/0001/train.svg"):
        client.get(address)
    assert state() == before


def test_the_diary_holds_results_and_events_the_latest_first(job: Path) -> None:
    keep(job, "fit", FIT, when="2026-11-25T10:00:00+00:00")
    happened = [
        {"time_s": 1795600800.0, "kind": "alarm", "point": "input", "says": HOSTILE},
        {"time_s": None, "kind": "odd", "point": None, "says": None},
    ]
    client = Client(make_app(job, events=lambda: happened))
    entries = client.get("/diary.json").json()["entries"]
    assert {entry["what"] for entry in entries} == {"survey", "plan", "fit", "alarm", "odd"}
    times = [entry["when"] for entry in entries]
    assert (
        times == sorted(times, reverse=True) and "2026-11-25T10:00:00+00:00" in times and times[-1] != "2026-11-25T10:00:00+00:00"
    )
    text = client.get("/diary").text
    assert "<script>" not in text and "time not known" in text and "2 of 3 parts are fitted" in text


def test_a_watch_that_runs_is_said_to_run_with_its_light(job: Path) -> None:
    """Its result is kept only when it ends: before, the page of a running watch read "not begun"."""
    said = [
        ("watch started", "5 limits"),
        ("run state", "unknown to starting"),
        ("run state", "starting to steady"),
        ("light", "yellow"),
    ]
    happened = [{"time_s": 1795600800.0 + n, "kind": kind, "point": "", "says": says} for n, (kind, says) in enumerate(said)]
    client = Client(make_app(job, events=lambda: happened))
    text, row = client.get("/watch").text, rows(client)["watch"]
    assert "A watch runs: light yellow" in text and "run state steady" in text and "Not begun" not in text
    assert (row["state"], row["word"]) == ("fault", "runs, light yellow")
    assert client.get("/watch.json").json()["running"]["light"] == "yellow"
    happened.append({"time_s": 1795600900.0, "kind": "watch stopped", "point": "", "says": "9 rounds"})
    assert "A watch runs" not in client.get("/watch").text and rows(client)["watch"]["state"] == "not begun"


def test_a_defect_is_told_without_its_inside(job: Path) -> None:
    def broken() -> list[dict[str, Any]]:
        raise ZeroDivisionError("inside")

    client = Client(make_app(job, events=broken))
    answer = client.get("/diary.json")
    assert answer.status_code == 500 and answer.json()["ok"] is False and "inside" not in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def test_an_earlier_run_stays_to_be_read(client: Client, job: Path) -> None:
    keep(job, "fit", FIT)
    keep(job, "fit", FIT | {"statement": "all is fitted", "findings": []})
    assert "All is fitted." in client.get("/fit").text
    first = client.get("/fit/0001").text
    assert "2 of 3 parts" in first and "/fit/0002" in first


def test_a_recording_is_hashed_again_only_when_it_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[Path] = []
    monkeypatch.setattr(card, "sha256_of_file", lambda path: (read.append(path), str(len(read)))[1])
    path = tmp_path / "a.wav"
    path.write_bytes(b"1")
    assert card._sha256_of(path) == card._sha256_of(path) and len(read) == 1
    path.write_bytes(b"22")
    assert card._sha256_of(path) == "2"


def test_deep_and_odd_documents_still_make_blocks() -> None:
    deep: Any = 1
    for _ in range(12):
        deep = {"inside": [{"name": "x", "more": deep, "rows": [[1, 2], "loose"]}]}
    odd = {"schema": "watch/9", "findings": "none", "empty": [], "nothing": None, "mixed": [1, {"a": 2}, "three"], "deep": deep}
    said = json.dumps([vars(block) for block in pages.stage_blocks("watch", odd)])
    assert "three" in said and "mixed" in said.lower()
    assert pages.stage_statement("watch", odd) == "Watch is recorded."


def test_serve_refuses_a_folder_that_is_no_job_and_a_port_that_is_none(
    tmp_path: Path, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["serve", str(tmp_path)]) == 2
    assert "job.yaml" in capsys.readouterr().err
    assert cli.main(["serve", str(job), "--port", "70000"]) == 2
    assert "1 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("stage", "document", "state", "word"),
    [
        ("prove", {"evidence": [{"outcome": "failed"}]}, "blocker", "done, a step failed"),
        ("prove", {"evidence": [{"outcome": "passed"}]}, "done", "done"),
        ("watch", {"conditions": [{"condition": "yellow"}]}, "fault", "left, abnormal"),
        ("watch", {"conditions": [{"condition": "clear"}]}, "done", "done"),
    ],
)
def test_the_card_says_when_a_step_failed_or_the_drive_was_left_abnormal(
    stage: str, document: dict[str, Any], state: str, word: str, tmp_path: Path
) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    whole = {"schema": f"{stage}/9", "statement": "said", **document}
    results.write(tmp_path, stage, document=whole, arrays={}, pictures={}, read=[], who="a", when="2026-11-25T10:00:00+00:00")
    row = next(row for row in card.traveller_card(tmp_path).rows if row.stage == stage)
    assert (row.state, row.word) == (state, word)
