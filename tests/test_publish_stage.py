"""The map of what the plant is told: kept with the job, the same in the server, on the controls sheet and in the tag list.

Frames and codes as in ``test_publish_modbus.py``; pymodbus reads by the tag list alone.
"""

import asyncio
import contextlib
import csv
import io
import json
import math
import shutil
import socket
import time
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from pymodbus.client import AsyncModbusTcpClient

from gearcase.cli import main
from gearcase.device.publish.plant import open_plant
from gearcase.device.publish.values import Published, plant_values
from gearcase.drawings.installed import tag_list
from gearcase.drawings.plant_sheet import plant_blocks, plant_sheet
from gearcase.drawings.report import handover_html, report_html
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.job.build_publish import Publish
from gearcase.monitor.plant import open_publisher
from gearcase.record import results
from gearcase.stages import handover, publish, survey
from rigserver import free_port
from test_installed import words
from test_service import Served
from test_stages import EXAMPLES

PUBLISH = """
publish:
  modbus: {port: PORT, acknowledge_from: [127.0.0.1]}
  opcua: {users: [{name: scada, password_file: keys/scada.password}]}
  mqtt: {host: broker.example, group: crushing plant, node: edge computer, user: edge, password_file: keys/mqtt.password}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    there = tmp_path / "job"
    there.mkdir()
    shutil.copy(EXAMPLES / "demo" / "job.yaml", there)
    with (there / "job.yaml").open("a") as stream:
        stream.write(PUBLISH.replace("PORT", str(port)))
    return there


@pytest.fixture
def document(folder: Path) -> dict[str, Any]:
    return publish.run(load(folder), ()).document


def test_the_map_rests_on_what_may_be_posted_since_that_is_told_too(folder: Path) -> None:
    before = publish.run(load(folder), ())
    with (folder / "job.yaml").open("a") as stream:
        stream.write("incoming:\n  http: {port: 8070, token_file: keys/incoming.token}\n")
    after = publish.run(load(folder), ())
    assert len(after.document["values"]) > len(before.document["values"])
    assert after.read != before.read, "what was kept before is stale"


def without(job: Job, point: str) -> Job:
    devices = tuple(device for device in job.bus.devices if device.point != point)
    return replace(job, bus=replace(job.bus, devices=devices))


def test_a_point_that_goes_and_comes_back_has_its_addresses_again(folder: Path) -> None:
    job = load(folder)
    first = publish.run(job, ()).document
    fewer = publish.run(without(job, "input coupling end"), first["values"]).document
    gone = [row for row in fewer["values"] if not row["in_use"]]
    assert gone and all(row["name"].startswith("input coupling end/") and row["registers"] == [] for row in gone)
    assert [(row["name"], row["address"]) for row in fewer["values"]] == [(row["name"], row["address"]) for row in first["values"]]
    assert publish.run(job, fewer["values"]).document["values"] == first["values"]
    begun = publish.run(without(job, "input coupling end"), ()).document
    added = publish.run(job, begun["values"]).document
    assert added["values"][: len(begun["values"])] == begun["values"], "new ones come after"


def test_no_two_registers_of_the_map_share_an_address(document: dict[str, Any]) -> None:
    rows = [*document["head"], *(one for row in document["values"] for one in row["registers"])]
    taken = [at for row in rows for at in range(row["address"], row["address"] + (2 if row["type"].endswith("32") else 1))]
    assert len(taken) == len(set(taken)) and min(taken) == 0


def test_the_result_reads_back_as_the_map_of_the_next_run(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["publish", str(folder)]) == 0
    assert main(["publish", str(folder), "--json"]) == 0
    second = json.loads(capsys.readouterr().out.rpartition("controls.html, tags.csv")[2])
    assert "0 new, 0 reserved" in second["statement"]
    stored = results.latest(folder, "publish")
    assert stored and stored.number == 2 and stored.document["values"] == second["values"]
    assert {path.name for path in stored.path.iterdir()} == {"result.json", "controls.pdf", "controls.html", "tags.csv"}


def test_the_controls_sheet_says_how_each_face_is_reached_and_where_each_value_stands(document: dict[str, Any]) -> None:
    said = words(plant_blocks(document))
    for part in (
        *("0x1234 (4660)", "123456789", "123.456", "high word first", "500 stale", "7FC0 0000"),
        *("Only 127.0.0.1 may write", "no password", "opc.tcp://127.0.0.1:4840/", "users: scada", "urn:gearcase:CV-204:values"),
        *("spBv1.0/crushing plant/DDATA/edge computer/CV-204", "Node Control/Rebirth", "with TLS", "ns=2;s=NAME"),
        *("1 stopped, 2 starting", "danger", "high", "21600", "intermediate left/bearing lines"),
    ):
        assert part in said, part
    assert "secret" not in json.dumps(document) and "password_file" not in json.dumps(document)
    read_only = {**document, "modbus": {**document["modbus"], "acknowledge_from": []}}
    assert "Nothing can be written" in words(plant_blocks(read_only))
    assert "What the plant is told" in report_html(plant_sheet(document, (("job", "a"),)))


def tags(document: dict[str, Any]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(tag_list((), told=document).decode())))


def test_the_tag_list_has_value_time_and_quality_of_every_value_and_its_other_names(document: dict[str, Any]) -> None:
    rows = {row["register"]: row for row in tags(document)}
    assert len(rows) == len(document["head"]) + 3 * len(document["values"])
    speed = rows["drive/speed"]
    assert int(speed["address from 1"]) == int(speed["address from 0"]) + 1 and speed["engineering unit"] == "rpm"
    assert (speed["value on bad"], speed["OPC UA node"], speed["MQTT metric"]) == (
        "not a number",
        "ns=2;s=drive/speed",
        "drive/speed",
    )
    assert speed["MQTT topic"] == "spBv1.0/crushing plant/DDATA/edge computer/CV-204" and speed["stale after s"] == "60"
    assert rows["sump/temperature alarm"]["alarm priority"] == "yellow medium, danger high, cannot tell low"
    for name, after in (("drive/speed, time", 2), ("drive/speed, quality", 4)):
        assert int(rows[name]["address from 0"]) == int(speed["address from 0"]) + after


def test_what_the_tag_list_says_is_what_the_server_serves(folder: Path, document: dict[str, Any]) -> None:
    job = replace(load(folder), publish=replace(load(folder).publish, opcua=None, mqtt=None))
    rows = {row["register"]: row for row in tags(document)}
    seen: list[str] = []

    async def run() -> None:
        async with open_plant(job, folder, document["values"], clock=lambda: 1000.0, acknowledge=seen.append) as plant:
            async with asyncio.timeout(5):
                while plant.condition():
                    await asyncio.sleep(0.01)
            numbers = {one.name: float(n) for n, one in enumerate(plant_values(job), 1)}
            given = {one.name: Published(numbers[one.name], one.si, "good", 1000.0) for one in plant_values(job)}
            await plant.publish(given)
            wanted = {one.name: one.shown(given[one.name])[0] for one in plant_values(job)} | {"heartbeat": 1.0}
            async with AsyncModbusTcpClient("127.0.0.1", port=int(rows["clock"]["port"])) as client:
                for name, value in wanted.items():
                    row = rows[name]
                    size = 2 if row["type"] == "f32" else 1
                    reply = await client.read_input_registers(int(row["address from 0"]), count=size)
                    kind = {"f32": client.DATATYPE.FLOAT32, "u16": client.DATATYPE.UINT16}[row["type"]]
                    found = client.convert_from_registers(reply.registers, kind, word_order="big")
                    assert isinstance(found, int | float) and math.isclose(found, float(value or 0), rel_tol=1e-6), name
                for name in ("constant word", "constant whole", "constant real", "clock"):
                    row = rows[name]
                    kind = {"u16": client.DATATYPE.UINT16, "u32": client.DATATYPE.UINT32, "f32": client.DATATYPE.FLOAT32}[
                        row["type"]
                    ]
                    reply = await client.read_input_registers(int(row["address from 0"]), count=1 if row["type"] == "u16" else 2)
                    found = client.convert_from_registers(reply.registers, kind)
                    wanted_here = 1000.0 if name == "clock" else float(row["constant"])
                    assert found == pytest.approx(wanted_here, rel=1e-6), name
                assert not (await client.write_register(int(rows["acknowledge"]["address from 0"]), 1)).isError()

    asyncio.run(asyncio.wait_for(run(), 20))
    assert seen == ["the plant, over Modbus TCP from 127.0.0.1"]


def test_a_face_whose_library_is_missing_is_said_before_the_watch_begins(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(BadInput, match=r"asyncua is not installed.*gearcase\[plant\]"):
        open_plant(load(folder), folder, (), clock=lambda: 0.0, acknowledge=print)


def test_the_watch_keeps_the_map_once_and_again_only_when_it_has_changed(folder: Path) -> None:
    job = load(folder)
    assert open_publisher(folder, replace(job, publish=Publish()), lambda: 0.0, print) is None
    for _ in range(2):
        assert open_publisher(folder, job, lambda: 0.0, print) is not None
        assert results.numbers(folder, "publish") == [1]
    open_publisher(folder, without(job, "intermediate left"), lambda: 0.0, print)
    assert results.numbers(folder, "publish") == [1, 2]
    stored = results.latest(folder, "publish")
    assert stored and stored.header["who"] == "the watch"


def test_a_handover_shows_what_the_plant_is_told(folder: Path, document: dict[str, Any]) -> None:
    job = load(folder)
    earlier = {
        "survey": handover.Earlier(1, survey.run(job).document, {}, ()),
        "publish": handover.Earlier(1, document, {}, ()),
    }
    _, content = handover.run(job, earlier, who="a", date="2026-11-25", number=1, checksum=lambda _: "0" * 64)
    assert "What the plant is told" in handover_html(content) and "intermediate left/bearing lines" in handover_html(content)


async def listens(port: int) -> bool:
    with contextlib.suppress(OSError):
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.close()
        return True
    return False


def test_the_running_watch_tells_the_plant_and_hears_that_it_acknowledged(tmp_path: Path) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    port = free_port()
    with (tmp_path / "job.yaml").open("a") as stream:
        stream.write(f"\npublish: {{modbus: {{port: {port}, acknowledge_from: [127.0.0.1]}}}}\n")
    watched = Served(tmp_path, publisher=partial(open_publisher, tmp_path))

    async def ask(rig: Any) -> None:
        async with asyncio.timeout(30):
            while not await listens(port):
                await asyncio.sleep(0.05)
            async with AsyncModbusTcpClient("127.0.0.1", port=port) as client:
                speed: list[int] = []
                while not speed or speed[4] != 192:
                    await asyncio.sleep(0.05)
                    speed = (await client.read_input_registers(124, count=6)).registers
                assert client.convert_from_registers(speed[:2], client.DATATYPE.FLOAT32) == pytest.approx(1485.0)  # 60 × 24.75
                assert abs((speed[2] << 16) + speed[3] - time.time()) < 5
                assert not (await client.write_register(10, 1)).isError()
        said = await watched.until("acknowledged")
        assert said.who == "the plant, over Modbus TCP from 127.0.0.1"

    watched.watch(ask)
    stored = results.latest(tmp_path, "publish")
    assert stored and next(row["address"] for row in stored.document["values"] if row["name"] == "drive/speed") == 124
