"""What the form of job.yaml cannot see of the plant's inputs: what each source needs, what it has no use for, units and names."""

from collections.abc import Iterator, Mapping
from typing import Any

from gearcase import units
from gearcase.errors import OutOfRange, Problem
from gearcase.install.profile import NO_PROFILE, Profile
from gearcase.job.inputs_schema import HttpModel, InputModel, MqttModel
from gearcase.job.read import Path_, Source, nearest
from gearcase.job.schema import read_as
from gearcase.job.secret_checks import login_check, secret_check

__all__ = ["UNIT_KIND", "inputs_check", "stated_value"]

UNIT_KIND = {"speed": "speed", "load": "ratio", "ambient": "temperature"}  # input -> kind of its unit; run and direction have none
_FOR_ALL = ("name", "kind", "source", "age_limit")
_RAW = ("address", "function", "type", "word_order", "scale")
_USES: Mapping[str, tuple[str, ...]] = {  # source -> the keys it has a use for
    "register": ("device", "quantity", *_RAW, "unit", "bit"),
    "analogue": ("device", "quantity", *_RAW, "reads", "means"),
    "mqtt": ("topic", "path", "metric", "scale", "unit"),
    "posted": (),
    "comb": (),
    "level": ("point", "above"),
    "stated": ("value",),
}
_OF_KINDS = {"comb": ("speed",), "level": ("run",), "stated": ("speed", "load", "direction", "ambient")}
_ONCE = ("comb", "level", "posted")  # one of a kind tells all there is
_THIS_MACHINE = ("127.0.0.1", "localhost", "::1")
_WORDS = {"forward": 1.0, "reverse": -1.0}


def inputs_check(source: Source, known: Mapping[str, Profile]) -> Iterator[Problem]:
    """Every problem of the sections ``inputs`` and ``incoming`` between their keys; `known` are the profiles there are."""
    profiles = {
        _text(item.get("name")): known.get(_text(item.get("profile")), NO_PROFILE)
        for _, item in source.items(("bus", "devices"))
        if item.get("name")
    }
    seen: dict[tuple[str, str], Path_] = {}
    for path, item in source.items(("inputs",)):
        model = read_as(InputModel, item)
        if model is None:
            continue  # the form has said what is wrong
        yield from _keys(source, path, item, model)
        yield from _kind(source, path, model)
        if model.source in ("register", "analogue"):
            yield from _register(source, path, model, profiles)
        if model.source in _ONCE:
            if (model.kind, model.source) in seen:
                first = source.where(seen[model.kind, model.source])
                yield source.problem((*path, "source"), f"one source of this kind; {first} has it already")
            seen.setdefault((model.kind, model.source), path)
    yield from _incoming(source)


def stated_value(kind: str, text: str) -> float:
    """What is stated of an input, in SI; direction 1 or -1.

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> stated_value("speed", "1485 rpm"), stated_value("load", "80 %"), stated_value("direction", "reverse")
    (24.75, 0.8, -1.0)
    """
    if kind in UNIT_KIND:
        return units.parse(text, UNIT_KIND[kind])
    if text not in _WORDS:
        raise OutOfRange(kind, repr(text), f"one of: {', '.join(_WORDS)}")
    return _WORDS[text]


def _keys(source: Source, path: Path_, item: Mapping[str, Any], model: InputModel) -> Iterator[Problem]:
    """Keys that are missing, and those this source has no use for."""
    uses = _USES[model.source]
    for key in item:
        if key not in (*_FOR_ALL, *uses):
            there = f"the keys of a source by {model.source} are: {', '.join((*_FOR_ALL, *uses))}"
            yield source.problem((*path, str(key)), there, given=f"the key {key}")
    needed = {
        "register": ["device"],
        "analogue": ["device", "reads", "means"],
        "mqtt": ["topic"],
        "level": ["point", "above"],
        "stated": ["value"],
    }.get(model.source, [])
    for key in needed:
        if not item.get(key):
            said = InputModel.model_fields[key].description
            yield source.problem((*path, key), f"needed: {said}", given="nothing")
    if model.source == "mqtt" and model.path and model.metric:
        yield source.problem((*path, "metric"), "either path, of a JSON message, or metric, of Sparkplug B")
    by_unit = model.source == "mqtt" or (model.source == "register" and not model.quantity)
    if by_unit and model.kind in UNIT_KIND and model.unit not in units.ACCEPTED[UNIT_KIND[model.kind]]:
        known = ", ".join(unit for unit in units.ACCEPTED[UNIT_KIND[model.kind]] if unit)
        given = f'"{model.unit}"' if model.unit else "nothing"
        yield source.problem((*path, "unit"), f"the unit of the number read, one of: {known}", given=given)
    if model.kind not in UNIT_KIND and model.unit:
        yield source.problem((*path, "unit"), f"nothing: {model.kind} has no unit")
    if model.source == "analogue":
        for n, text in enumerate(model.means):
            yield from _meaning(source, (*path, "means", n), model.kind, text)
        if model.means and len(model.means) != 2:
            yield source.problem((*path, "means"), "what the two ends mean, e.g. [0 rpm, 1800 rpm]")
    if model.source == "stated" and model.value:
        yield from _meaning(source, (*path, "value"), model.kind, model.value)


def _meaning(source: Source, path: Path_, kind: str, text: str) -> Iterator[Problem]:
    if kind in UNIT_KIND or path[-1] == "value":
        try:
            stated_value(kind, text)
        except OutOfRange as error:
            yield source.problem(path, error.rule)


def _kind(source: Source, path: Path_, model: InputModel) -> Iterator[Problem]:
    kinds = ("speed", "load", "ambient") if model.source == "analogue" else _OF_KINDS.get(model.source)
    if kinds and model.kind not in kinds:
        yield source.problem((*path, "source"), f"for {model.kind} another source: {model.source} tells {' or '.join(kinds)}")
    if model.bit is not None and model.kind not in ("run", "direction"):
        yield source.problem((*path, "bit"), f"nothing: {model.kind} is a number, not a bit")


def _register(source: Source, path: Path_, model: InputModel, profiles: Mapping[str, Profile]) -> Iterator[Problem]:
    """A register by its name in the device's profile, or by address and type."""
    if model.device and model.device not in profiles:
        there = f"the devices are: {', '.join(profiles)}" if profiles else "the job lists no devices"
        yield source.problem((*path, "device"), nearest(model.device, list(profiles)) + there)
        return
    if bool(model.quantity) == (model.address is not None):
        accepted = "either quantity, its register's name in the device's profile, or address and type"
        yield source.problem(path, accepted, given="both" if model.quantity else "neither")
    elif model.address is not None and model.type is None:
        yield source.problem((*path, "type"), "needed: u16, i16, u32, i32 or f32", given="nothing")
    elif model.quantity and model.device:
        if raw := [key for key in (*_RAW, "unit") if source.value((*path, key)) is not None]:
            yield source.problem((*path, raw[0]), "nothing: the profile says it", given=f"the key {raw[0]}")
        form = profiles[model.device]
        row = form.registers.get(model.quantity)
        if row is None:
            there = f"the registers of {form.name or 'a device without profile'} are: {', '.join(form.registers) or 'none'}"
            yield source.problem((*path, "quantity"), nearest(model.quantity, list(form.registers)) + there)
        elif model.source == "register" and model.kind in UNIT_KIND and row.kind != UNIT_KIND[model.kind]:
            yield source.problem((*path, "quantity"), f"a register of {UNIT_KIND[model.kind]}, which {model.kind} is")


def _incoming(source: Source) -> Iterator[Problem]:
    topics = [path for path, item in source.items(("inputs",)) if item.get("source") == "mqtt"]
    mqtt = source.value(("incoming", "mqtt"))
    if topics and not isinstance(mqtt, dict):
        accepted = "the broker its topic is at: incoming.mqtt with host"
        yield source.problem((*topics[0], "source"), accepted, given="mqtt without a broker")
    if isinstance(mqtt, dict):
        if not (topics or mqtt.get("readings") or mqtt.get("recordings")):
            accepted = "what to listen to: readings, recordings, or an input whose source is mqtt"
            yield source.problem(("incoming", "mqtt"), accepted, given="a broker and no topic")
        if login := read_as(MqttModel, mqtt):
            yield from login_check(source, ("incoming", "mqtt"), login)
        if mqtt.get("tls") is False and mqtt.get("ca_file"):
            yield source.problem(("incoming", "mqtt", "ca_file"), "left out: without TLS nothing is signed")
        if mqtt.get("tls") is False and mqtt.get("host") not in _THIS_MACHINE:
            yield source.problem(("incoming", "mqtt", "tls"), "true: only a broker on this machine, 127.0.0.1, may do without")
    http = source.value(("incoming", "http"))
    if isinstance(http, dict) and read_as(HttpModel, http):
        yield from secret_check(source, ("incoming", "http"), "token")
        if bool(http.get("certificate_file")) != bool(http.get("key_file")):
            key = "key_file" if http.get("certificate_file") else "certificate_file"
            yield source.problem(("incoming", "http", key), "certificate_file and key_file together", given="one of them")
        if str(http.get("address", "127.0.0.1")) not in _THIS_MACHINE and not http.get("certificate_file"):
            accepted = "127.0.0.1 without a certificate, which a proxy on this machine may serve; or certificate_file and key_file"
            yield source.problem(("incoming", "http", "address"), accepted)


def _text(value: Any) -> str:
    return str(value).strip() if isinstance(value, str | int | float) and not isinstance(value, bool) else ""
