"""Who is told what and when, and that it arrives once: by mail (RFC 5321, 5322, STARTTLS RFC 3207) and web hook (Standard
Webhooks).
"""

import asyncio
import base64
import email
import hashlib
import hmac
import json
import shutil
import ssl
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email.message import Message as Parsed
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from gearcase.cli import main
from gearcase.device import messages
from gearcase.device.messages import Message, NotSent, by_mail, by_webhook
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.job.build_notify import Mail, Notify, Webhook
from gearcase.job.build_publish import User
from gearcase.judge.notices import LEVELS, Notice, Recipient, Rules, Standing, Told, step
from gearcase.monitor import notifying
from gearcase.monitor.notifying import Notifying, message_of, sender_to, standing_of
from gearcase.record.store import Event
from test_stages import EXAMPLES

SHIFT, LEAD = Recipient("shift", frozenset(LEVELS)), Recipient("lead", frozenset(["danger"]), after=1200.0)
RULES = Rules((SHIFT, LEAD), again=1800.0)
HOT = Standing("sump, temperature", "danger", "sump, temperature over danger: 95 °C, limit 93 °C", "it persists", "stop")
HIGH = Standing("input, overall velocity", "abnormal", "input, overall velocity over yellow")
LOST = Standing("input", "cannot tell", "input: readings lost")


@dataclass
class People:
    """What is told as time passes, a look every 10 s."""

    now: float = 0.0
    told: dict[str, Told] = field(default_factory=dict)
    notices: list[tuple[float, Notice]] = field(default_factory=list)

    def pass_(self, seconds: float, *standing: Standing, **changed: Any) -> list[Notice]:
        before = len(self.notices)
        for _ in range(round(seconds / 10)):
            given = {"rules": RULES, "shelved": (), "maintenance": False, **changed}
            self.told, made = step(self.told, standing, self.now, **given)
            self.notices += [(self.now, one) for one in made]
            self.now += 10
        return [one for _, one in self.notices[before:]]


def test_a_transition_is_told_once_and_that_it_is_over_to_those_who_were_told() -> None:
    people = People()
    (one,) = people.pass_(3600, HIGH)
    assert one.to == ("shift",) and one.lines == (HIGH,) and not one.again
    (over,) = people.pass_(3600)
    assert over.to == ("shift",) and over.lines[0].level == "over"
    assert people.pass_(3600) == []


def test_a_danger_is_told_again_until_it_is_acknowledged_and_further_down_the_list_by_time() -> None:
    people = People()
    people.pass_(7200, HOT)
    assert [(when, one.to, one.again) for when, one in people.notices] == [
        (0, ("shift",), False),
        (1200, ("lead",), False),
        (1800, ("shift", "lead"), True),
        (3600, ("shift", "lead"), True),
        (5400, ("shift", "lead"), True),
    ]
    assert people.pass_(7200, replace(HOT, acknowledged=True)) == []
    (over,) = people.pass_(600)
    assert over.to == ("shift", "lead")


def test_a_danger_acknowledged_in_time_never_reaches_the_second_on_the_list() -> None:
    people = People()
    people.pass_(600, HOT)
    assert people.pass_(7200, replace(HOT, acknowledged=True)) == []


@pytest.mark.parametrize("one", [HIGH, HOT])
def test_what_was_acknowledged_and_alarms_again_is_told_again_once(one: Standing) -> None:
    """An alarm that grows by 3 dB after somebody has seen it alarms again (trade practice): the light flashes, people are told."""
    people = People()
    assert len(people.pass_(60, one)) == 1
    assert people.pass_(300, replace(one, acknowledged=True)) == []
    (again,) = people.pass_(600, one)
    assert again.again and again.to == ("shift",) and again.lines[0].level == one.level


def test_an_alarm_seen_under_one_limit_hides_none_under_another() -> None:
    """Limits of two loads: the danger at one was acknowledged, that at the other nobody has seen."""
    seen = {**ROW, "condition": "danger acknowledged"}
    for rows in ([seen, ROW], [ROW, seen]):
        (standing,) = standing_of(rows, {}, [])
        assert not standing.acknowledged


def test_from_yellow_to_danger_is_a_transition_and_goes_to_all_who_were_told() -> None:
    people = People()
    people.pass_(600, replace(HOT, level="abnormal"))
    (one,) = people.pass_(60, HOT)
    assert one.lines[0].level == "danger" and one.to == ("shift",)


def test_a_lost_frame_is_no_message_and_one_cut_cable_is_one() -> None:
    people = People()
    assert people.pass_(50, LOST) + people.pass_(600) == []
    (one,) = people.pass_(120, LOST, replace(LOST, subject="sump"))
    assert len(one.lines) == 2


def test_flapping_is_gathered_and_told_when_it_has_held_still() -> None:
    people = People()
    for _ in range(12):
        people.pass_(120, LOST)
        people.pass_(120)
    assert len(people.notices) <= 4, "48 minutes of coming and going"
    assert [one.remarks for one in people.pass_(3600, LOST)] == [] or people.notices[-1][1].remarks
    assert people.told["input"].level == "cannot tell"


def test_a_danger_is_never_gathered() -> None:
    people = People()
    for _ in range(6):
        people.pass_(120, LOST)
        people.pass_(120)
    (one,) = people.pass_(10, replace(LOST, level="danger"))
    assert one.lines[0].level == "danger"


def test_in_maintenance_nothing_is_told_and_what_stands_afterwards_is() -> None:
    people = People()
    people.pass_(600, HIGH)
    assert people.pass_(3600, HOT, maintenance=True) == []
    after = people.pass_(600, HOT)
    assert [line.subject for one in after for line in one.lines] == [HOT.subject, HIGH.subject]


def test_a_shelved_subject_is_left_as_it_was() -> None:
    people = People()
    people.pass_(600, HIGH)
    assert people.pass_(7200, shelved=[HIGH.subject]) == []
    assert people.pass_(600, HIGH) == []


def test_what_is_told_of_nobody_goes_to_nobody() -> None:
    people = People()
    assert people.pass_(600, HIGH, rules=Rules((LEAD,))) == []


@pytest.fixture
def job(tmp_path: Path) -> Job:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    return load(tmp_path)


def told(job: Job, **notify: Any) -> Job:
    return replace(job, notify=Notify(**{"rules": RULES, **notify}))


class Diary:
    """Entries as a store would keep them, and the messages that arrived."""

    def __init__(self, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
        self.job, self.now = told(job), 0.0
        self.events: list[Event] = []
        self.arrived: list[tuple[str, str]] = []
        self.away: set[str] = set()
        self.notifying = Notifying(self.say)
        monkeypatch.setattr(notifying, "sender_to", self.sender_to)

    def say(self, kind: str, point: str, says: str, now: float | None, details: dict[str, Any], who: str) -> None:
        self.events.append(Event(self.now, kind, point, says, who, details))
        self.notifying.hear(self.events[-1], self.now)

    def sender_to(self, job: Job, name: str) -> Callable[[Message], Any]:
        async def send(message: Message) -> None:
            if name in self.away:
                raise NotSent("mail server away")
            self.arrived.append((name, message.id))

        return send

    def turn(self, *standing: Standing, **given: Any) -> None:
        asked = {"shelved": (), "maintenance": False, "cannot_see": (), **given}
        self.notifying.look(self.job, standing, ticks=self.now, **asked)
        asyncio.run(self.notifying.send(self.job, lambda: self.now))
        self.now += 10

    def restart(self) -> None:
        self.notifying = Notifying(self.say)
        for event in list(self.events):
            self.notifying.remember(event, self.now, self.now)

    def kinds(self) -> list[str]:
        return [event.kind for event in self.events]


@pytest.fixture
def diary(job: Job, monkeypatch: pytest.MonkeyPatch) -> Diary:
    return Diary(job, monkeypatch)


def test_a_restart_neither_loses_a_message_nor_tells_it_twice(diary: Diary) -> None:
    diary.away = {"shift"}
    diary.turn(HOT)
    assert diary.arrived == [] and "could not reach shift" in diary.notifying.trouble
    diary.restart()
    diary.away = set()
    diary.turn(HOT)
    assert len(diary.arrived) == 1
    diary.restart()
    for _ in range(10):
        diary.turn(HOT)
    assert len(diary.arrived) == 1 and diary.notifying.trouble == ""
    assert diary.kinds() == ["notice", "notice late", "notice sent"]


def test_a_restart_keeps_the_interval_of_a_danger_and_who_was_told(diary: Diary) -> None:
    for turn in range(181):
        diary.turn(HOT)
        if turn % 20 == 7:
            diary.restart()
    assert [name for name, _ in diary.arrived] == ["shift", "lead", "shift", "lead"]


def test_a_server_that_is_away_is_tried_less_and_less_often_and_others_are_not_held_up(diary: Diary) -> None:
    tries: list[float] = []
    sender = diary.sender_to

    def counted(job: Job, name: str) -> Callable[[Message], Any]:
        if name == "shift":
            tries.append(diary.now)
        return sender(job, name)

    notifying.sender_to = counted  # type: ignore[assignment]
    diary.away = {"shift"}
    for _ in range(360):
        diary.turn(HOT)
    waits = [later - sooner for sooner, later in pairwise(tries)]
    assert waits == sorted(waits) and waits[0] <= 20 and 500 <= waits[-1] <= 620
    assert [name for name, _ in diary.arrived][:1] == ["lead"], "the second on the list is reached all the same"
    assert diary.kinds().count("notice late") <= 3


def test_what_waits_has_an_end_and_dangers_are_kept(diary: Diary, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notifying, "MOST_WAITING", 3)
    diary.away = {"shift", "lead"}
    diary.turn(HOT)
    for number in range(6):
        diary.turn(HOT, *(Standing(f"point {one}", "abnormal", "high") for one in range(number + 1)))
    given_up = [event for event in diary.events if event.kind == "notice given up"]
    assert given_up and not any("DANGER" in event.says for event in given_up)


def test_a_sender_that_hangs_is_broken_off(diary: Diary, monkeypatch: pytest.MonkeyPatch) -> None:
    async def hang(_: Message) -> None:
        await asyncio.sleep(60)

    monkeypatch.setattr(notifying, "_ONE_TRY", 0.05)
    monkeypatch.setattr(notifying, "sender_to", lambda job, name: hang)
    diary.turn(HOT)
    assert "no answer within" in next(event.says for event in diary.events if event.kind == "notice late")


ROW = {
    "point": "input coupling end",
    "quantity": "overall velocity",
    "condition": "danger",
    "lost": "",
    "value": 7.2e-3,
    "yellow": 2.8e-3,
    "danger": 4.5e-3,
}


def test_a_message_says_what_how_sure_by_when_and_what_cannot_be_seen(job: Job) -> None:
    named = {"component": "intermediate bearing, left", "fault": "outer_race", "urgency": "plan and verify: act within 4 days"}
    fault = {
        "point": "intermediate left",
        "quantity": "diagnosis",
        "condition": "outer race fault of intermediate bearing, left",
        "light": "yellow",
    }
    rows = [ROW, fault, {**ROW, "point": "sump", "quantity": "temperature", "condition": "clear", "lost": "its readings are lost"}]
    standing = standing_of(
        rows, {"intermediate left": {**named, "noise_false_alarm": 1e-6, "attribution_false_alarm": 0.04}}, ["light: no reply"]
    )
    assert [one.level for one in standing] == ["danger", "abnormal", "cannot tell", "cannot tell"]
    subject, text = message_of(told(job), Notice(tuple(standing), ("shift",)), ["output bearing, right: its geometry is not known"])
    assert subject == "CV-204: DANGER: input coupling end, overall velocity and 3 more"
    for words in (
        "over danger: 7.2 mm/s, limit 4.5 mm/s",
        "second witness agrees",
        "stop and inspect at the first safe stop",
        "odds that noise made it 1e-06; that another source did 0.04",
        "act within 4 days",
        "sump: its readings are lost",
        "light: no reply",
        "output bearing, right: its geometry is not known",
        "every 30 min until somebody acknowledges",
        "Nothing here trips the machine",
    ):
        assert words in text, words


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("notify: {people: []}", "one at least"),
        ("notify: {people: [{name: shift}]}", "mail or webhook, one of them"),
        ("notify: {people: [{name: shift, mail: a@b.example}]}", "a mail server to send it by"),
        ("notify: {people: [{name: shift, webhook: hall}]}", "none is listed"),
        ("notify: {people: [{name: shift, mail: nobody}]}", "a mail address"),
        (
            "notify: {mail: {host: m.example, sender: a@b.example, security: none}, people: [{name: s, mail: a@b.example}]}",
            "starttls or tls",
        ),
        (
            "notify: {mail: {host: m.example, sender: a@b.example, user: me}, people: [{name: s, mail: a@b.example}]}",
            "password_file",
        ),
        (
            "notify: {mail: {host: m.example, sender: a@b.example, password: x}, people: [{name: s, mail: a@b.example}]}",
            "the keys here are",
        ),
        (
            "notify: {mail: {host: m.example, sender: a@b.example}, people: [{name: s, mail: a@b.example, after: 5 min}]}",
            "told of a danger at once",
        ),
        (
            'notify: {webhooks: [{name: h, url: "http://h.example/x", secret_file: s}], people: [{name: s, webhook: h}]}',
            "https://",
        ),
        (
            'notify: {webhooks: [{name: h, url: "https://u:p@h.example", secret_file: s}], people: [{name: s, webhook: h}]}',
            "without a password",
        ),
    ],
)
def test_what_is_wrong_with_notify_is_said_with_its_line(text: str, says: str, tmp_path: Path) -> None:
    whole = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    (tmp_path / "job.yaml").write_text(f"{whole}\n{text}\n", encoding="utf-8")
    line = whole.count("\n") + 2
    with pytest.raises(BadInput, match=says) as caught:
        load(tmp_path)
    assert all(problem.where == f"job.yaml:{line}" for problem in caught.value.problems)


@dataclass
class MailServer:
    """A server that takes mail, as RFC 5321 lays it down, for one test."""

    context: ssl.SSLContext | None = None
    password: str = ""
    refuses: str = ""
    taken: list[Parsed] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 mail.example ready\r\n")
        while line := await reader.readline():
            words = line.decode().strip()
            self.heard.append(words)
            verb = words.partition(" ")[0].upper()
            if verb == "EHLO":
                writer.write(b"250-mail.example\r\n250-STARTTLS\r\n250 AUTH PLAIN\r\n")
            elif verb == "STARTTLS" and self.context:
                writer.write(b"220 go ahead\r\n")
                await writer.start_tls(self.context)
            elif verb == "AUTH":
                given = base64.b64decode(words.split()[-1]).decode().split("\0")[-1]
                writer.write(b"235 ok\r\n" if given == self.password else b"535 authentication failed\r\n")
            elif verb == "RCPT" and self.refuses:
                writer.write(f"{self.refuses}\r\n".encode())
            elif verb == "DATA":
                writer.write(b"354 go ahead\r\n")
                text = b""
                while (more := await reader.readline()) != b".\r\n":
                    text += more.removeprefix(b".")  # RFC 5321, 4.5.2
                self.taken.append(email.message_from_bytes(text))
                writer.write(b"250 taken\r\n")
            elif verb == "QUIT":
                writer.write(b"221 bye\r\n")
                break
            else:
                writer.write(b"250 ok\r\n")
        writer.close()


@asynccontextmanager
async def listening(serve: Callable[[asyncio.StreamReader, asyncio.StreamWriter], Any]) -> AsyncIterator[int]:
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]


def certificate(folder: Path) -> tuple[Path, ssl.SSLContext]:
    """A certificate for 127.0.0.1 that signs itself, and the server's side of it."""
    from ipaddress import ip_address

    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "mail of the test")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number(), now, now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    path = folder / "mail.pem"
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private = folder / "mail.key"
    private.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(path, private)
    return path, context


def secret(folder: Path, text: str) -> Path:
    path = folder / "secret"
    path.write_text(f"{text}\n", encoding="utf-8")
    path.chmod(0o600)
    return path


MESSAGE = Message("a1b2", 1.8e9, "CV-204: DANGER: sump, temperature\nBcc: all@plant.example", "95 °C\n.\nend", {"lines": []})


def test_a_mail_arrives_whole_over_starttls_with_its_password(tmp_path: Path) -> None:
    authority, context = certificate(tmp_path)
    server = MailServer(context, "pass word")

    async def go(ca_file: Path | None, password: str) -> None:
        async with listening(server.serve) as port:
            mail = Mail("127.0.0.1", port, "starttls", ca_file, "gearcase@plant.example", User("edge", secret(tmp_path, password)))
            await by_mail(mail, "shift@plant.example")(MESSAGE)

    asyncio.run(go(authority, "pass word"))
    (one,) = server.taken
    assert one["Subject"] == "CV-204: DANGER: sump, temperature Bcc: all@plant.example" and one["Bcc"] is None
    assert one["Message-ID"] == "<a1b2@plant.example>" and one["Auto-Submitted"] == "auto-generated"
    body = one.get_payload(decode=True)
    assert isinstance(body, bytes) and body.decode().replace("\r\n", "\n") == "95 °C\n.\nend\n"
    with pytest.raises(NotSent, match="535 authentication failed") as caught:
        asyncio.run(go(authority, "wrong one"))
    assert "wrong one" not in str(caught.value)
    heard = len(server.heard)
    with pytest.raises(NotSent, match="CERTIFICATE_VERIFY_FAILED"):
        asyncio.run(go(None, "pass word"))
    assert not any(line.startswith("AUTH") for line in server.heard[heard:]), "no password to a server that cannot prove who it is"


def test_a_mail_that_is_refused_says_why(tmp_path: Path) -> None:
    server = MailServer(refuses="550 no such mailbox")

    async def go() -> None:
        async with listening(server.serve) as port:
            await by_mail(Mail("127.0.0.1", port, "none", None, "a@b.example", None), "nobody@plant.example")(MESSAGE)

    with pytest.raises(NotSent, match=r"mail server 127\.0\.0\.1.*no such mailbox"):
        asyncio.run(go())


def hook(answers: Iterable[int], heard: list[tuple[dict[str, str], bytes]]) -> Callable[..., Any]:
    """A web server that answers with these codes in turn."""
    codes = iter(answers)

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode().split("\r\n")
        headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in head[1:] if line)}
        heard.append((headers, await reader.readexactly(int(headers["content-length"]))))
        writer.write(f"HTTP/1.1 {next(codes)} said\r\ncontent-length: 0\r\nlocation: /elsewhere\r\n\r\n".encode())
        await writer.drain()
        writer.close()

    return serve


def test_a_web_hook_is_signed_so_that_the_other_side_can_tell_and_keeps_its_id(tmp_path: Path) -> None:
    heard: list[tuple[dict[str, str], bytes]] = []

    async def go() -> None:
        async with listening(hook([503, 302, 204], heard)) as port:
            send = by_webhook(Webhook("hall", f"http://127.0.0.1:{port}/drives", None, secret(tmp_path, "both know this")))
            for code in ("503", "302"):
                with pytest.raises(NotSent, match=f"hall: answered {code}"):
                    await send(MESSAGE)
            await send(MESSAGE)

    asyncio.run(go())
    assert len(heard) == 3 and {headers["webhook-id"] for headers, _ in heard} == {"a1b2"}
    for headers, body in heard:
        signed = f"a1b2.{headers['webhook-timestamp']}.".encode() + body
        digest = hmac.new(b"both know this", signed, hashlib.sha256).digest()
        assert headers["webhook-signature"] == f"v1,{base64.b64encode(digest).decode()}"
    assert json.loads(heard[0][1]) == {"id": "a1b2", "lines": []}


def test_a_secret_that_others_may_read_is_not_used(tmp_path: Path) -> None:
    path = secret(tmp_path, "x")
    path.chmod(0o644)
    with pytest.raises(NotSent, match="readable by its owner alone"):
        asyncio.run(by_webhook(Webhook("hall", "http://127.0.0.1:9/x", None, path))(MESSAGE))


def test_a_mail_server_that_never_answers_ends_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(messages, "_LONGEST", 0.2)

    async def go() -> None:
        async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.read()
            writer.close()

        async with listening(silent) as port:
            await by_mail(Mail("127.0.0.1", port, "none", None, "a@b.example", None), "a@b.example")(MESSAGE)

    with pytest.raises(NotSent, match="timed out"):
        asyncio.run(go())


def test_a_test_message_is_asked_for_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    text = 'notify: {webhooks: [{name: h, url: "http://127.0.0.1:9/x", secret_file: secret}], people: [{name: hall, webhook: h}]}'
    (tmp_path / "job.yaml").write_text(f"{whole}\n{text}\n", encoding="utf-8")
    secret(tmp_path, "both know this")
    assert main(["notify", str(tmp_path), "--by", "A. Fitter"]) == 1
    assert "hall   not sent: web hook h:" in capsys.readouterr().out
    assert main(["notify", str(tmp_path), "--by", "A. Fitter", "--to", "nobody"]) == 2
    assert sender_to(load(tmp_path), "nobody") is None
