"""What comes in by post and by broker: kept whole and once, in SI, or refused with what would be right; hostile ones do no harm.

Status codes are those of RFC 9110 and RFC 6585 (429), the Bearer scheme that of RFC 6750; the client is a general-purpose one.
"""

import asyncio
import io
import json
import os
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearcase.device.publish.secrets import password
from gearcase.errors import BadInput
from gearcase.job.build import Job, build
from gearcase.job.build_inputs import Posting
from gearcase.job.read import parse_text
from gearcase.job.secret_schema import Variable
from gearcase.monitor.incoming.accept import LARGEST_BATCH, LARGEST_RECORDING, Accept, NotKept, incoming_folder
from gearcase.monitor.incoming.http import make_app, serve
from gearcase.monitor.incoming.mqtt import Topics, read_recording_message
from gearcase.monitor.inputs import Inputs
from gearcase.record.store import Store, store_path
from rigserver import free_port
from test_stages import EXAMPLES

NOW = 1_800_000_000.0
TOKEN = "a-token-of-this-drive-long-enough"
POINT = "input coupling end"


def demo(inputs: str = "  - {name: posted speed, kind: speed, source: posted}\n  - {name: run, kind: run, source: posted}") -> Job:
    read = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    before, _, rest = read.partition("\ninputs:\n")
    return build(parse_text(f"{before}\ninputs:\n{inputs}\nkit:{rest.partition(chr(10) + 'kit:')[2]}"), folder="")


JOB = demo()


@dataclass
class Place:
    """A store, a folder of what came in, and the room that accepts, at a standing clock."""

    folder: Path
    job: Job = field(default_factory=lambda: JOB)
    now: float = NOW
    ticks: float = 0.0

    def __post_init__(self) -> None:
        self.store = Store.open(store_path(self.folder))
        self.inputs = Inputs(self.job)
        self.accept = Accept(self.job, self.inputs, self.store, incoming_folder(self.folder), lambda: self.now)
        self.app = make_app(self.accept, TOKEN, ticks=lambda: self.ticks)

    def post(self, path: str, **given: Any) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=True)
            async with httpx.AsyncClient(transport=transport, base_url="http://edge") as client:
                return await client.request(given.pop("method", "POST"), path, **given)

        return asyncio.run(go())

    def send(self, *rows: Any, token: str = TOKEN, **given: Any) -> httpx.Response:
        return self.post("/readings", json={"readings": list(rows)}, headers={"authorization": f"Bearer {token}"}, **given)

    def record(self, content: bytes, kind: str = "application/octet-stream", **said: str) -> httpx.Response:
        headers = {"authorization": f"Bearer {TOKEN}", "content-type": kind}
        return self.post("/recordings", params={"name": "a.wav", "point": POINT} | said, content=content, headers=headers)

    def kept(self) -> list[tuple[float, str, str, float, str, str]]:
        r = self.store.readings()
        return list(zip(*(column.tolist() for column in (r.time_s, r.point, r.quantity, r.value, r.unit, r.quality)), strict=True))


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    made = Place(tmp_path)
    yield made
    made.store.close()


def row(**said: Any) -> dict[str, Any]:
    return {"time": NOW - 10, "point": POINT, "quantity": "overall velocity", "value": 2.5, "unit": "mm/s"} | said


def wav(seconds: float = 0.5) -> bytes:
    file = io.BytesIO()
    noise = np.random.default_rng(1).normal(0, 0.1, int(12800 * seconds))
    soundfile.write(file, noise, 12800, format="WAV", subtype="FLOAT")
    return file.getvalue()


def test_a_batch_is_kept_in_si_before_it_is_acknowledged(place: Place) -> None:
    """0.1 in/s is 2.54 mm/s and 68 °F is 20 °C by definition (ISO 80000-3, -5)."""
    answer = place.send(
        row(value=0.1, unit="in/s"),
        row(quantity="temperature", point="sump", value=68, unit="°F"),
        row(quantity="high-frequency acceleration", value=1, unit="g", time="2027-01-15T08:59:00+01:00"),
        row(value=None, quality="bad", time=NOW - 5),
    )
    assert (answer.status_code, answer.json()) == (200, {"ok": True, "kept": 4})
    moment = datetime(2027, 1, 15, 7, 59, tzinfo=UTC).timestamp()
    kept = place.kept()
    assert kept[0][:3] == (moment, POINT, "high-frequency acceleration") and kept[0][3] == pytest.approx(9.80665)
    assert (kept[1][3], kept[1][4]) == (pytest.approx(2.54e-3), "m/s")
    assert (kept[2][3], kept[2][4]) == (pytest.approx(293.15), "K")
    assert kept[3][5] == "bad" and np.isnan(kept[3][3])


def test_the_same_batch_twice_is_kept_once(place: Place) -> None:
    assert place.send(row()).status_code == place.send(row()).status_code == 200
    assert len(place.kept()) == 1


WRONG = {
    "no time": ({"time": None}, "time", "Unix seconds"),
    "time without zone": ({"time": "2027-01-15T08:00:00"}, "time", "with its zone"),
    "time to come": ({"time": NOW + 61}, "time", "a time that has been"),
    "time long past": ({"time": NOW - 32 * 86400}, "time", "the last 31 days"),
    "time as truth": ({"time": True}, "time", "Unix seconds"),
    "unknown point": ({"point": "output top"}, "point", "a measuring point of the job, one of: input coupling end"),
    "no point": ({"point": ""}, "point", "a measuring point"),
    "velocity of the sump": ({"point": "sump"}, "point", "a measuring point"),
    "unknown quantity": ({"quantity": "torque"}, "quantity", "one of: overall velocity"),
    "quantity as number": ({"quantity": 3}, "quantity", "one of"),
    "no unit": ({"unit": ""}, "unit", "one of: mm/s, m/s, in/s"),
    "unit of another kind": ({"unit": "m/s2"}, "unit", "one of: mm/s"),
    "unit as number": ({"unit": 1}, "unit", "one of"),
    "value as text": ({"value": "2.5"}, "value", "a number"),
    "value as truth": ({"value": True}, "value", "a number"),
    "value below nought": ({"value": -1}, "value", "0 or more"),
    "value beyond": ({"value": 1e200}, "value", "that drives have"),
    "no value": ({"value": None}, "value", "null, with quality bad"),
    "unknown quality": ({"quality": "fine"}, "quality", "good, bad, stale"),
    "unknown key": ({"valeu": 1}, "valeu", "the keys are"),
    "below absolute zero": ({"quantity": "temperature", "value": -300, "unit": "°C"}, "value", "absolute zero"),
    "speed at a point": ({"quantity": "speed", "unit": "rpm"}, "point", "is of the drive"),
    "load that no input takes": ({"quantity": "load", "point": "", "unit": "%"}, "quantity", "kind: load, source: posted"),
    "half running": ({"quantity": "running", "point": "", "unit": "", "value": 0.5}, "value", "1 running or 0"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_bad_reading_is_refused_with_what_would_be_right_and_the_batch_with_it(place: Place, name: str) -> None:
    said, key, accepted = WRONG[name]
    answer = place.send(row(), row(**said))
    assert answer.status_code == 422 and place.kept() == []
    found = [error for error in answer.json()["errors"] if error["key"] == key]
    assert found and found[0]["where"] == "readings[1]" and accepted in found[0]["accepted"], answer.json()


@pytest.mark.parametrize(
    "content",
    [
        *(
            b"",
            b"{",
            b"[]",
            b"3",
            b'"a"',
            b"\xff\xfe",
            b'{"readings": []}',
            b'{"readings": 3}',
            b'{"readings": [1]}',
            b"[" * 100_000,
        ),
        *(b'{"readings": [], "more": 1}', b'[{"value": NaN}]', b'[{"value": 1e999}]', b'[{"time": ' + b"9" * 5000 + b"}]", b"null"),
    ],
)
def test_what_is_no_batch_is_refused_in_words(place: Place, content: bytes) -> None:
    headers = {"authorization": f"Bearer {TOKEN}", "content-type": "application/json"}
    answer = place.post("/readings", content=content, headers=headers)
    assert answer.status_code == 422 and answer.json()["errors"] and place.kept() == []


@given(content=st.one_of(st.binary(max_size=200), st.recursive(st.none() | st.booleans() | st.floats() | st.text(), st.lists)))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_sent_is_kept_or_refused_and_nothing_falls_over(place: Place, content: Any) -> None:
    raw = content if isinstance(content, bytes) else json.dumps(content).encode()
    with pytest.raises(BadInput):
        place.accept.readings(raw)


def test_many_wrong_readings_are_answered_with_the_first_twenty(place: Place) -> None:
    answer = place.send(*(row(point="nowhere") for _ in range(50)))
    errors = answer.json()["errors"]
    assert len(errors) == 21 and errors[-1]["given"] == "30 more"


@pytest.mark.parametrize(
    "header", [None, "", "Bearer", "Bearer ", "Bearer wrong", f"Basic {TOKEN}", f"Bearer {TOKEN} x", "Bearer é"]
)
def test_without_the_token_nothing_is_taken(place: Place, header: str | None) -> None:
    headers = {} if header is None else {"authorization": header.encode("utf-8")}
    answer = place.post("/readings", json=[row()], headers=headers)
    assert answer.status_code == 401 and answer.headers["www-authenticate"] == "Bearer" and place.kept() == []
    assert TOKEN not in answer.text


def test_wrong_tokens_are_only_so_many_a_minute_and_the_right_one_waits_too(place: Place) -> None:
    assert [place.send(row(), token="wrong").status_code for _ in range(11)] == [401] * 10 + [429]
    answer = place.send(row())
    assert answer.status_code == 429 and answer.headers["retry-after"] == "60"
    place.ticks += 61
    assert place.send(row()).status_code == 200


def test_a_sender_that_asks_too_often_is_told_to_wait(place: Place) -> None:
    codes = [place.send(row(time=NOW - n)).status_code for n in range(62)]
    assert codes == [200] * 60 + [429] * 2
    place.ticks += 1
    assert place.send(row()).status_code == 200


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("GET", "/readings", 405), ("POST", "/", 404), ("POST", "/readings/", 404), ("PUT", "/recordings", 405)],
)
def test_other_methods_and_places_are_refused_in_words(place: Place, method: str, path: str, status: int) -> None:
    answer = place.post(path, method=method, follow_redirects=False)
    assert (answer.status_code in (status, 307), answer.status_code != 200) == (True, True)
    if answer.status_code == status:
        assert "POST" in answer.json()["errors"][0]["accepted"]


@pytest.mark.parametrize(("path", "kind"), [("/readings", "text/plain"), ("/recordings", "application/json"), ("/readings", "")])
def test_another_content_type_is_refused(place: Place, path: str, kind: str) -> None:
    headers = {"authorization": f"Bearer {TOKEN}", "content-type": kind}
    assert place.post(path, content=b"[]", headers=headers).status_code == 415


def test_a_body_too_large_is_refused_before_and_while_it_is_read(place: Place) -> None:
    headers = {"authorization": f"Bearer {TOKEN}", "content-type": "application/json"}
    said = place.post("/readings", content=b" " * (LARGEST_BATCH + 1), headers=headers)
    assert said.status_code == 413 and said.headers["connection"] == "close"

    async def endless() -> Any:
        for _ in range(LARGEST_BATCH // 65536 + 2):
            yield b" " * 65536

    assert place.post("/readings", content=endless(), headers=headers).status_code == 413
    length = str(LARGEST_RECORDING + 1)
    kind = "application/octet-stream"
    assert (
        place.post("/recordings", content=b"", headers=headers | {"content-length": length, "content-type": kind}).status_code
        == 413
    )


def test_what_cannot_be_kept_is_not_acknowledged(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: Any) -> None:
        raise BadInput([])

    monkeypatch.setattr(place.store, "add_readings", full)
    answer = place.send(row(quantity="speed", point="", unit="rpm", value=1485))
    assert answer.status_code == 503 and "not kept, send it again" in answer.json()["errors"][0]["accepted"]
    assert place.inputs.now(NOW).speed.value is None, "what is not kept is not heard either"


def test_a_posted_input_is_heard_and_an_older_one_does_not_replace_it(place: Place) -> None:
    speed = {"quantity": "speed", "point": "", "unit": "rpm"}
    place.send(row(**speed, value=1485, time=NOW - 5), row(quantity="running", point="", unit="", value=1, time=NOW - 5))
    place.send(row(**speed, value=900, time=NOW - 50))
    found = place.inputs.now(NOW)
    assert (found.speed_hz, found.speed.source, found.speed.age_s, found.run.value) == (24.75, "posted speed", 5.0, 1.0)


def test_a_reading_that_came_in_is_judged_until_it_is_too_old(place: Place) -> None:
    place.send(row(time=NOW - 10, value=3), row(time=NOW - 20, value=2))
    assert [(one.time_s, one.value) for one in place.accept.fresh(NOW + 589)] == [(NOW - 10, pytest.approx(3e-3))], (
        "with its own time"
    )
    assert place.accept.fresh(NOW + 591) == []
    assert place.accept.fresh(NOW - 3600) == [], "a clock set back an hour: what was of the time to come does not count"


def test_a_recording_is_kept_with_what_it_does_not_say_and_once(place: Place) -> None:
    content = wav()
    answer = place.record(content, unit="g", speed="1485 rpm", start="2027-01-15T08:00:00Z")
    assert answer.status_code == 200, answer.text
    assert place.record(content, unit="g", speed="1485 rpm", start="2027-01-15T08:00:00Z").status_code == 200
    files = sorted(path.name for path in incoming_folder(place.folder).iterdir())
    assert files == [f"{answer.json()['sha256'][:24]} input-coupling-end.wav", f"{files[0]}.json"]
    said = json.loads((incoming_folder(place.folder) / files[1]).read_text())
    assert said == {"point": POINT, "unit": "g", "speed": "1485 rpm", "start": "2027-01-15T08:00:00Z"}


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ({"name": "a.exe"}, "name"),
        ({"name": "../../a.wav"}, "name"),
        ({"name": "a"}, "name"),
        ({"point": "nowhere"}, "point"),
        ({"point": ""}, "point"),
        ({"sha256": "0" * 64}, "sha256"),
        ({"volume": "11"}, "volume"),
        ({"speed": "1485"}, "speed"),
        ({"rate": "fast"}, "rate"),
        ({"unit": "g\n"}, "unit"),
        ({"unit": "furlong"}, "--unit"),
    ],
)
def test_a_recording_with_a_bad_header_is_refused_and_leaves_nothing(place: Place, said: dict[str, str], key: str) -> None:
    answer = place.record(wav(), **({"unit": "g"} | said))
    assert answer.status_code == 422 and any(key in (e["key"], e["where"]) for e in answer.json()["errors"]), answer.json()
    assert not incoming_folder(place.folder).exists() or not list(incoming_folder(place.folder).iterdir())


@pytest.mark.parametrize("content", [b"", b"RIFF", os.urandom(1000), wav()[:200]])
def test_a_file_that_cannot_be_read_is_refused_and_leaves_nothing(place: Place, content: bytes) -> None:
    assert place.record(content, unit="g").status_code == 422
    assert list(incoming_folder(place.folder).iterdir()) == []


def test_a_disk_that_takes_no_file_is_no_acknowledgement(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(NotKept, match="No space left"):
        place.accept.recording({"name": "a.wav", "point": POINT, "unit": "g"}, wav())
    assert list(incoming_folder(place.folder).iterdir()) == []


def test_the_header_of_a_message_is_one_line() -> None:
    assert read_recording_message(b'{"name": "a.wav"}\nab\nc') == ({"name": "a.wav"}, b"ab\nc")
    for payload in (b"", b"\n", b"{}", b"[]\nabc", b"{" * 5000 + b"\n", b"\xff\n", b'{"a": 1' + b" " * 5000 + b"}\n"):
        with pytest.raises(BadInput):
            read_recording_message(payload)


TOPIC_INPUTS = """\
  - {name: plain, kind: speed, source: mqtt, topic: plant/speed, unit: rpm}
  - {name: deep, kind: load, source: mqtt, topic: plant/all, path: data.0.load, unit: "%"}
  - {name: word, kind: run, source: mqtt, topic: plant/all, path: run}
  - {name: way, kind: direction, source: mqtt, topic: plant/way}
incoming: {mqtt: {host: 127.0.0.1, tls: false}}
"""


def topics() -> tuple[Inputs, Topics]:
    inputs = Inputs(demo(TOPIC_INPUTS))
    return inputs, Topics(inputs)


def test_inputs_come_from_their_topics() -> None:
    inputs, heard = topics()
    assert heard.names == ("plant/speed", "plant/all", "plant/way")
    heard.hear("plant/speed", b"1485", retained=False, now=NOW)
    heard.hear("plant/all", b'{"data": [{"load": 80}], "run": true}', retained=False, now=NOW)
    heard.hear("plant/way", b"reverse", retained=False, now=NOW)
    heard.hear("plant/other", b"1", retained=False, now=NOW)
    found = inputs.now(NOW)
    assert (found.speed_hz, found.load.value, found.run.value, found.direction.value) == (24.75, pytest.approx(0.8), 1.0, -1.0)


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "a number"),
        (b"fast", "a number"),
        (b"[1]", "no number"),
        (b"1e999", "a"),
        (b"\xff\xfe", "a number"),
        (b" " * 70000, "70000 bytes"),
    ],
)
def test_a_message_without_a_value_leaves_the_last_one_to_grow_old_and_says_why(payload: bytes, why: str) -> None:
    inputs, heard = topics()
    heard.hear("plant/all", b'{"data": [], "run": 1}', retained=False, now=NOW)
    heard.hear("plant/speed", b"1485", retained=False, now=NOW)
    heard.hear("plant/speed", payload, retained=False, now=NOW + 10)
    known = inputs.now(NOW + 10).speed
    assert (known.value, known.quality, known.age_s) == (24.75, "held", 10.0) and why in known.says


def test_a_retained_message_has_no_age_and_does_not_count() -> None:
    inputs, heard = topics()
    heard.hear("plant/speed", b"1485", retained=True, now=NOW)
    assert inputs.now(NOW).speed.value is None and "of unknown age" in inputs.now(NOW).speed.says


def test_metrics_by_number_are_known_by_the_birth_that_named_them_and_die_with_it() -> None:
    """Encoded by the publisher's room, whose own tests hold it against another library."""
    from gearcase.device.publish import sparkplug

    def payload(*metrics: dict[str, Any]) -> bytes:
        made = sparkplug._message("Payload", timestamp=1)
        made.metrics.extend(sparkplug._message("Metric", **one) for one in metrics)
        return bytes(made.SerializeToString())

    data = "spBv1.0/plant/DDATA/node/drive"
    inputs = Inputs(
        demo(
            f"  - {{name: told, kind: speed, source: mqtt, topic: {data}, metric: Speed, unit: rpm}}\n"
            "  - {name: run, kind: run, source: posted}\nincoming: {mqtt: {host: 127.0.0.1, tls: false}}"
        )
    )
    inputs.hear("run", 1.0, NOW)
    heard = Topics(inputs)
    assert heard.names == (data, "spBv1.0/plant/DBIRTH/node/drive", "spBv1.0/plant/DDEATH/node/drive")
    heard.hear(data, payload({"alias": 7, "int_value": 2**32 - 1485}), retained=False, now=NOW)
    assert "the birth that says them was not heard yet" in inputs.now(NOW).speed.says
    born = payload({"name": "Speed", "alias": 7, "datatype": 3, "int_value": 1200}, {"name": "Other", "alias": 8, "int_value": 1})
    heard.hear("spBv1.0/plant/DBIRTH/node/drive", born, retained=False, now=NOW)
    assert inputs.now(NOW).speed_hz == 20.0
    heard.hear(data, payload({"alias": 7, "int_value": 2**32 - 1485}, {"alias": 8, "int_value": 2}), retained=False, now=NOW)
    found = inputs.now(NOW)
    assert (found.speed_hz, found.direction.value) == (24.75, -1.0), "Int32 below 0 is two's complement (Sparkplug 3.0.0)"
    heard.hear("spBv1.0/plant/DDEATH/node/drive", payload(), retained=False, now=NOW + 5)
    assert inputs.now(NOW + 5).speed.quality == "held" and "not there any more" in inputs.now(NOW + 5).speed.says
    heard.hear(data, b"\xff\xff\xff", retained=False, now=NOW + 6)
    assert "no Sparkplug B" in inputs.now(NOW + 6).speed.says


def served(place: Place, **files: Any) -> tuple[int, threading.Thread, Any]:
    """The application on a real port, and how to stop it."""
    token_file = place.folder / "token"
    token_file.write_text(TOKEN + "\n")
    token_file.chmod(0o600)
    posting = Posting("127.0.0.1", free_port(), token_file, files.get("certificate"), files.get("key"))
    loop = asyncio.new_event_loop()
    task = loop.create_task(serve(posting, place.accept, ticks=time.monotonic))

    def run() -> None:
        asyncio.set_event_loop(loop)
        try:
            loop.run_until_complete(task)
        except asyncio.CancelledError:
            pass
        finally:
            loop.close()

    thread = threading.Thread(target=run)
    thread.start()
    return posting.port, thread, lambda: (loop.call_soon_threadsafe(task.cancel), thread.join(10))


def test_on_a_real_port_it_answers_and_survives_what_is_no_request(place: Place) -> None:
    import socket

    port, thread, stop = served(place)
    try:
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                time.sleep(0.05)
        hostile = [
            b"\x16\x03\x01\x02\x00" + os.urandom(200),
            os.urandom(4096),
            b"POST /readings HTTP/1.1\r\n" + b"x: " + b"a" * 100_000,
            b"POST /readings HTTP/1.1\r\nhost: a\r\ncontent-length: -5\r\n\r\n",
            b"POST /readings HTTP/1.1\r\nhost: a\r\ncontent-length: 99999999999999999999\r\nauthorization: Bearer x\r\n\r\n",
            b"POST /readings HTTP/1.1\r\nhost: a\r\ntransfer-encoding: chunked\r\ncontent-length: 5\r\n\r\nZZ\r\n",
            b"GET / HTTP/0.9\r\n\r\n",
        ]
        for packet in hostile:
            with socket.create_connection(("127.0.0.1", port), 2) as line:
                line.settimeout(2)
                line.sendall(packet)
                line.shutdown(socket.SHUT_WR)
                try:
                    answer = line.recv(65536)
                except OSError:
                    answer = b""
                assert not answer or b" 200 " not in answer[:20]
        with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
            answer = client.post("/readings", json=[row()], headers={"authorization": f"Bearer {TOKEN}"})
            assert answer.status_code == 200 and "server" not in answer.headers
    finally:
        stop()
    assert not thread.is_alive() and len(place.kept()) == 1


@pytest.mark.parametrize(
    ("content", "mode", "says"),
    [
        (TOKEN, 0o644, "chmod 600"),
        ("short", 0o600, "20 letters"),
        ("with blanks in it, long enough", 0o600, "20 letters"),
        ("", 0o600, "one line"),
    ],
)
def test_a_token_that_is_short_or_open_to_others_is_refused(place: Place, content: str, mode: int, says: str) -> None:
    token_file = place.folder / "token"
    token_file.write_text(content)
    token_file.chmod(mode)
    with pytest.raises(BadInput, match=says):
        asyncio.run(serve(Posting("127.0.0.1", free_port(), token_file, None, None), place.accept, ticks=time.monotonic))


@pytest.mark.parametrize(
    ("content", "says"), [(None, "EDGE_TOKEN.*not set.*EnvironmentFile"), ("", "one line"), ("a word", "20 letters")]
)
def test_a_token_of_the_environment_is_refused_without_repeating_it(
    place: Place, monkeypatch: pytest.MonkeyPatch, content: str | None, says: str
) -> None:
    monkeypatch.delenv("EDGE_TOKEN", raising=False)
    if content is not None:
        monkeypatch.setenv("EDGE_TOKEN", content)
    posting = Posting("127.0.0.1", free_port(), Variable("EDGE_TOKEN"), None, None)
    with pytest.raises(BadInput, match=says) as refused:
        asyncio.run(serve(posting, place.accept, ticks=time.monotonic))
    assert not content or content not in str(refused.value)


def test_a_secret_of_the_environment_is_read_when_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDGE_TOKEN", TOKEN)
    assert password(Variable("EDGE_TOKEN")) == TOKEN


def test_a_port_that_is_taken_is_said(place: Place) -> None:
    import socket

    token_file = place.folder / "token"
    token_file.write_text(TOKEN)
    token_file.chmod(0o600)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        posting = Posting("127.0.0.1", taken.getsockname()[1], token_file, None, None)
        with pytest.raises(BadInput, match="a free port"):
            asyncio.run(serve(posting, place.accept, ticks=time.monotonic))


def test_after_the_clock_was_set_back_what_comes_counts_again(place: Place) -> None:
    place.send(
        row(value=3), row(quantity="speed", point="", unit="rpm", value=900), row(quantity="running", point="", unit="", value=1)
    )
    place.now -= 3600
    early = place.now - 5
    place.send(
        row(value=2, time=early),
        row(quantity="speed", point="", unit="rpm", value=1485, time=early),
        row(quantity="running", point="", unit="", value=1, time=early),
    )
    assert [one.value for one in place.accept.fresh(place.now)] == [pytest.approx(2e-3)]
    assert place.inputs.now(place.now).speed_hz == 24.75
