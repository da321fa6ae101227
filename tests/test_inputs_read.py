"""The sections `inputs` and `incoming` of job.yaml: what each source needs, and every bad input answered with its line."""

import math

import pytest

from gearcase.errors import BadInput
from gearcase.job.build import Job, build
from gearcase.job.read import parse_text

TOP = """\
job: 1
drive:
  name: d
  input: {speed: 1485 rpm}
points:
  - {name: top}
bus:
  devices:
    - {name: converter, profile: drive inputs, address: 3, registers: 14, run: 3 m}
    - {name: plain, address: 4, registers: 2, run: 3 m}
"""  # ten lines


def job(text: str) -> Job:
    return build(parse_text(TOP + text), folder="")


def one(said: str, extra: str = "") -> Job:
    return job(f"inputs:\n  - {{name: a, {said}}}\n{extra}")


def test_the_sources_of_one_input_stay_in_their_order_and_become_si() -> None:
    built = job(
        "inputs:\n"
        "  - {name: by profile, kind: speed, source: register, device: converter, quantity: speed}\n"
        "  - {name: raw, kind: speed, source: register, device: plain, address: 40, type: u16, scale: 0.5, unit: rpm,\n"
        "     age_limit: 5 s}\n"
        "  - {name: loop, kind: speed, source: analogue, device: plain, address: 0, type: i16, scale: 0.01, reads: [4, 20],\n"
        "     means: [0 rpm, 1800 rpm]}\n"
        "  - {name: topic, kind: ambient, source: mqtt, topic: plant/air, path: data.t, unit: °F}\n"
        "  - {name: plate, kind: speed, source: stated, value: 1485 rpm}\n"
        "incoming: {mqtt: {host: localhost, tls: false}}\n"
    )
    by = {source.name: source for source in built.inputs}
    assert [source.name for source in built.inputs] == ["by profile", "raw", "loop", "topic", "plate"]
    assert by["raw"].slope == pytest.approx(0.5 / 60) and by["raw"].raw is not None and by["raw"].raw.address == 40
    assert by["raw"].age_limit == 5.0
    assert by["loop"].slope * 12.0 * 100 + by["loop"].offset == pytest.approx(15.0), "12 mA of 4 to 20 is half of 30 Hz"
    assert by["topic"].slope * 68.0 + by["topic"].offset == pytest.approx(293.15), "68 °F is 20 °C"
    assert by["plate"].stated == 24.75
    assert built.incoming.mqtt is not None and built.incoming.mqtt.port == 1883


def test_a_job_without_a_way_in_has_none() -> None:
    built = job("")
    assert (built.inputs, built.incoming.mqtt, built.incoming.http, built.incoming.folder) == ((), None, None, None)


def test_a_posting_keeps_address_and_port() -> None:
    files = "token_file: t, certificate_file: c.pem, key_file: k.pem"
    posting = job(f"incoming: {{http: {{address: 192.0.2.5, port: 8443, {files}}}}}\n").incoming.http
    assert posting is not None and (posting.address, posting.port) == ("192.0.2.5", 8443)


S, R = "kind: speed, source: ", "kind: run, source: "
MQTT = "incoming: {mqtt: {host: b}}\n"
# said of the source, then the key and what stands in accepted
WRONG_SOURCES = {
    "unknown kind": ("kind: torque, source: posted", "inputs[0].kind", "run, speed, load, direction or ambient"),
    "unknown source": (S + "guess", "inputs[0].source", "register, analogue, mqtt, posted, comb"),
    "no kind": ("source: posted", "inputs[0].kind", "needed: run"),
    "age without unit": (S + "posted, age_limit: 30", "inputs[0].age_limit", "a time with its unit"),
    "age of nothing": (S + "posted, age_limit: 0 s", "inputs[0].age_limit", "above 0"),
    "no device": (S + "register, quantity: speed", "inputs[0].device", "needed: the device of the bus"),
    "device of no such name": (S + "register, device: convertor, quantity: speed", "inputs[0].device", "did you mean converter?"),
    "neither register nor address": (S + "register, device: converter", "inputs[0]", "either quantity"),
    "both register and address": (
        S + "register, device: converter, quantity: speed, address: 1, type: u16, unit: rpm",
        "inputs[0]",
        "either quantity",
    ),
    "register of no such name": (S + "register, device: converter, quantity: sped", "inputs[0].quantity", "did you mean speed?"),
    "register of a device without profile": (S + "register, device: plain, quantity: speed", "inputs[0].quantity", "are: none"),
    "register of another quantity": (
        S + "register, device: converter, quantity: load",
        "inputs[0].quantity",
        "a register of speed",
    ),
    "type where the profile says it": (
        S + "register, device: converter, quantity: speed, type: u16",
        "inputs[0].type",
        "the profile says it",
    ),
    "address as the sheets count": (S + "register, device: plain, address: 400001, type: u16", "inputs[0].address", "40001"),
    "address below nought": (S + "register, device: plain, address: -1, type: u16, unit: rpm", "inputs[0].address", "0 to 65535"),
    "address without type": (S + "register, device: plain, address: 1, unit: rpm", "inputs[0].type", "needed: u16"),
    "unknown type": (S + "register, device: plain, address: 1, type: u8, unit: rpm", "inputs[0].type", "u16, i16, u32, i32 or f32"),
    "unknown function": (
        S + "register, device: plain, address: 1, type: u16, unit: rpm, function: 6",
        "inputs[0].function",
        "3 for holding",
    ),
    "address without unit": (S + "register, device: plain, address: 1, type: u16", "inputs[0].unit", "one of: rpm"),
    "unit of another kind": (S + "register, device: plain, address: 1, type: u16, unit: mm", "inputs[0].unit", "one of: rpm"),
    "unit of a run contact": (R + "register, device: plain, address: 1, type: u16, unit: rpm", "inputs[0].unit", "no unit"),
    "scale of nought": (
        S + "register, device: plain, address: 1, type: u16, unit: rpm, scale: 0",
        "inputs[0].scale",
        "not 0",
    ),
    "bit of a speed": (
        S + "register, device: plain, address: 1, type: u16, unit: rpm, bit: 3",
        "inputs[0].bit",
        "a number, not a bit",
    ),
    "bit beyond a word": (R + "register, device: plain, address: 1, type: u16, bit: 16", "inputs[0].bit", "0 the lowest to 15"),
    "analogue without span": (S + "analogue, device: plain, address: 1, type: u16", "inputs[0].reads", "needed: what an analogue"),
    "span upside down": (
        S + "analogue, device: plain, address: 1, type: u16, reads: [20, 4], means: [0 rpm, 1 rpm]",
        "inputs[0].reads",
        "the lower end first",
    ),
    "span of one end": (
        S + "analogue, device: plain, address: 1, type: u16, reads: [4], means: [0 rpm, 1 rpm]",
        "inputs[0].reads",
        "the two numbers",
    ),
    "meaning of another kind": (
        S + "analogue, device: plain, address: 1, type: u16, reads: [4, 20], means: [0 mm, 1 rpm]",
        "inputs[0].means[0]",
        "a speed with its unit",
    ),
    "three meanings": (
        S + "analogue, device: plain, address: 1, type: u16, reads: [4, 20], means: [0 rpm, 1 rpm, 2 rpm]",
        "inputs[0].means",
        "what the two ends mean",
    ),
    "analogue run": (
        R + "analogue, device: plain, address: 1, type: u16, reads: [4, 20], means: [a, b]",
        "inputs[0].source",
        "analogue tells speed or load or ambient",
    ),
    "no topic": (S + "mqtt, unit: rpm", "inputs[0].topic", "needed: MQTT topic"),
    "topic with a wildcard": (S + "mqtt, topic: plant/#, unit: rpm", "inputs[0].topic", "without wildcards"),
    "path and metric": (S + "mqtt, topic: t, unit: rpm, path: a, metric: b", "inputs[0].metric", "either path"),
    "mqtt without a broker": (S + "mqtt, topic: t, unit: rpm", "inputs[0].source", "incoming.mqtt with host"),
    "key of another source": (S + "posted, topic: t", "inputs[0].topic", "the keys of a source by posted are: name, kind"),
    "comb for load": ("kind: load, source: comb", "inputs[0].source", "comb tells speed"),
    "level for speed": (S + "level, point: top, above: 1 mm/s", "inputs[0].source", "level tells run"),
    "level without level": (R + "level, point: top", "inputs[0].above", "needed: overall velocity above"),
    "level at no such point": (R + "level, point: tip, above: 1 mm/s", "inputs[0].point", "did you mean top?"),
    "run stated": (R + "stated, value: running", "inputs[0].source", "stated tells speed or load or direction or ambient"),
    "nothing stated": (S + "stated", "inputs[0].value", "needed: what is stated"),
    "stated without unit": (S + "stated, value: 1485", "inputs[0].value", "a speed with its unit"),
    "stated direction": ("kind: direction, source: stated, value: left", "inputs[0].value", "one of: forward, reverse"),
}


@pytest.mark.parametrize("name", WRONG_SOURCES)
def test_a_bad_source_is_answered_with_its_line_key_and_what_would_be_right(name: str) -> None:
    said, key, accepted = WRONG_SOURCES[name]
    extra = "" if "without a broker" in name or "mqtt" not in said else MQTT
    with pytest.raises(BadInput) as caught:
        one(said, extra)
    found = {problem.key: problem for problem in caught.value.problems}
    assert key in found, found
    assert found[key].where == "job.yaml:12" and accepted in found[key].accepted


HTTP = "incoming:\n  http: {token_file: t, "
WRONG_WAYS = {
    "no host": ("incoming:\n  mqtt: {readings: r}\n", "incoming.mqtt.host", "needed: name or address"),
    "nothing to listen to": ("incoming:\n  mqtt: {host: b}\n", "incoming.mqtt", "what to listen to"),
    "user without password": (
        "incoming:\n  mqtt: {host: b, readings: r, user: u}\n",
        "incoming.mqtt.password_file",
        "needed: file that holds the password",
    ),
    "a password itself": ("incoming:\n  mqtt: {host: b, readings: r, password: x}\n", "incoming.mqtt.password", "password_file?"),
    "ca without tls": (
        "incoming:\n  mqtt: {host: 127.0.0.1, readings: r, tls: false, ca_file: c}\n",
        "incoming.mqtt.ca_file",
        "left out: without TLS",
    ),
    "far away without tls": ("incoming:\n  mqtt: {host: b, readings: r, tls: false}\n", "incoming.mqtt.tls", "may do without"),
    "port beyond": ("incoming:\n  mqtt: {host: b, readings: r, port: 70000}\n", "incoming.mqtt.port", "1 to 65535"),
    "no token": ("incoming:\n  http: {port: 1}\n", "incoming.http.token_file", "needed: file that holds the token"),
    "a token twice": (HTTP + "token_variable: T}\n", "incoming.http.token_variable", "left out: token_file"),
    "a token itself": (HTTP + "token: secret}\n", "incoming.http.token", "did you mean token_file?"),
    "address without numbers": (HTTP + "address: edge}\n", "incoming.http.address", "an address, e.g."),
    "open to all without certificate": (
        HTTP + "address: 0.0.0.0}\n",
        "incoming.http.address",
        "127.0.0.1 without a",
    ),
    "certificate without key": (HTTP + "certificate_file: c}\n", "incoming.http.key_file", "together"),
    "key without certificate": (HTTP + "key_file: c}\n", "incoming.http.certificate_file", "together"),
    "age without unit": ("incoming:\n  age_limit: 5\n", "incoming.age_limit", "a time with its unit"),
    "misspelt": ("incoming:\n  foldr: x\n", "incoming.foldr", "did you mean folder?"),
}


@pytest.mark.parametrize("name", WRONG_WAYS)
def test_a_bad_way_in_is_answered_with_its_line_key_and_what_would_be_right(name: str) -> None:
    text, key, accepted = WRONG_WAYS[name]
    with pytest.raises(BadInput) as caught:
        job(text)
    found = {problem.key: problem for problem in caught.value.problems}
    assert key in found, found
    assert found[key].where == "job.yaml:12" and accepted in found[key].accepted


@pytest.mark.parametrize("how", ["posted", "comb"])
def test_one_source_that_tells_all_is_listed_once(how: str) -> None:
    text = f"inputs:\n  - {{name: a, {S}{how}}}\n  - {{name: b, {S}{how}}}\n"
    with pytest.raises(BadInput, match=r"job.yaml:13.*job.yaml:12 has it already"):
        job(text)


def test_two_sources_of_one_name_are_refused() -> None:
    with pytest.raises(BadInput, match=r"job.yaml:13.*a name of its own"):
        job("inputs:\n  - {name: a, kind: speed, source: posted}\n  - {name: a, kind: load, source: posted}\n")


def test_what_is_stated_never_grows_old() -> None:
    from gearcase.monitor.inputs import Inputs

    assert Inputs(one(S + "stated, value: 1485 rpm")).sources[0].age_limit == math.inf
