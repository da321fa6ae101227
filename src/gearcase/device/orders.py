"""What a person may tell the running rig, one line an order.

How it runs: ``speed 1200 rpm``, ``stop``, ``load 80 %``, ``state overrunning``, ``ambient 30 °C``, ``sump 70 °C``, ``tap POINT``,
``calibrator POINT`` and ``calibrator off``.

What goes wrong: ``fault KIND [SIZE] [at PLACE] [in SHARE] [for TIME]`` puts a fault in, size 0 takes it away; ``grow KIND [at
PLACE] to SIZE over TIME`` lets it grow from its present size; ``mend KIND [at PLACE]``, ``mend UNIT`` or ``mend all`` takes it
away; ``faults`` says what is wrong now. Kinds are those of `rig.faults.KINDS`, and of one device's setting: ``swapped words``,
``shift 1``, ``axes y x -z``, ``address 40``, each ``at UNIT``. Times are those of the rig's clock.
"""

import math
import re
from collections.abc import Callable
from dataclasses import replace

from gearcase import units
from gearcase.device.rig import Rig, SensorFault
from gearcase.device.rig.faults import BEFALLS_SHARE, BUS, KINDS, Kind, kind_named
from gearcase.errors import OutOfRange

__all__ = ["ORDERS", "SETTINGS", "obey"]

_FAULT = re.compile(r"(?P<what>.+?)(?: at (?P<place>.+?))?(?: in (?P<share>[\d.]+ ?%))?(?: for (?P<lasting>[\d.]+ ?\w+))?")
_GROW = re.compile(r"(?P<kind>.+?)(?: at (?P<place>.+?))? to (?P<size>.+?) over (?P<over>[\d.]+ ?\w+)")
_GROW_FORM = "grow KIND at PLACE to SIZE over TIME, e.g. grow unbalance at input to 8 mm/s over 2 h"


def obey(rig: Rig, line: str) -> str:
    """Carry out one order and say what was done.

    Raises
    ------
    OutOfRange
        Not an order, or one that names what the rig does not have; nothing is changed.
    """
    word, _, rest = line.strip().partition(" ")
    if word not in ORDERS:
        raise OutOfRange("order", repr(line.strip()), f"one of: {', '.join(ORDERS)}")
    return ORDERS[word](rig, rest.strip())


def _speed(rig: Rig, text: str) -> str:
    rig.set_speed(units.parse(text, "speed"))
    return f"turns at {units.show(rig.speed_hz, 'speed', 'rpm')}"


def _stop(rig: Rig, _: str) -> str:
    rig.set_speed(0.0)
    return "stands still"


def _load(rig: Rig, text: str) -> str:
    rig.load = units.parse(text, "ratio")
    return f"load {units.show(rig.load, 'ratio', '%')}"


def _state(rig: Rig, text: str) -> str:
    rig.set_state(text)
    return f"state {text}"


def _ambient(rig: Rig, text: str) -> str:
    rig.ambient = units.parse(text, "temperature")
    return f"ambient {units.show(rig.ambient, 'temperature', '°C')}"


def _sump(rig: Rig, text: str) -> str:
    rig.sump = units.parse(text, "temperature")
    return f"sump {units.show(rig.sump, 'temperature', '°C')}"


def _tap(rig: Rig, text: str) -> str:
    rig.tap(text)
    return f"tapped at {text}, towards the output end"


def _calibrator(rig: Rig, text: str) -> str:
    rig.calibrate("" if text == "off" else text)
    return "nothing on the calibrator" if text == "off" else f"{text} on the calibrator: 159.2 Hz, 10 m/s2 RMS"


def _fault(rig: Rig, text: str) -> str:
    given = _FAULT.fullmatch(text)
    if not given:
        raise OutOfRange("order", "'fault'", f"fault KIND SIZE at PLACE; kinds: {', '.join((*KINDS, *SETTINGS))}")
    for setting, change in SETTINGS.items():
        what = given["what"].lower().replace("_", " ")
        if what.split() == setting.split() or what.startswith(f"{setting} "):
            unit = _unit(rig, given["place"] or "")
            if _clause(given):
                raise OutOfRange("order", repr(f"fault {text}"), f"fault {setting} at UNIT: it is set so, not now and then")
            rig.sensor_faults[unit] = change(rig.sensor_faults.get(unit, SensorFault()), what.removeprefix(setting).strip())
            return f"unit {unit}: {what}"
    kind, size_words = _kind_and_rest(given["what"])
    form, place = KINDS[kind], given["place"] or ""
    size = units.parse(size_words, form.size) if form.size and size_words else 1.0
    shares = given["share"] is None or kind in BEFALLS_SHARE
    if bool(form.size) != bool(size_words) or not shares or (kind == "brown-out" and given["lasting"] and not given["share"]):
        raise OutOfRange("order", repr(f"fault {text}"), _form(kind, form))
    share = units.parse(given["share"], "ratio") if given["share"] else 1.0
    lasting = units.parse(given["lasting"], "time") if given["lasting"] else math.inf
    rig.set_fault(place, kind, size, lasting=lasting, share=share)
    return " ".join(filter(None, (_named(kind, place) + ":" * bool(size_words), size_words, _clause(given)))).strip()


def _grow(rig: Rig, text: str) -> str:
    given = _GROW.fullmatch(text)
    if not given:
        raise OutOfRange("order", repr(f"grow {text}"), _GROW_FORM)
    kind = kind_named(given["kind"])
    if not KINDS[kind].size:
        raise OutOfRange("order", repr(f"grow {text}"), f"a kind that has a size; {kind} is there or not")
    size, over = units.parse(given["size"], KINDS[kind].size), units.parse(given["over"], "time")
    rig.set_fault(given["place"] or "", kind, size, over=over)
    return f"{_named(kind, given['place'] or '')} grows to {given['size']} over {given['over']}"


def _mend(rig: Rig, text: str) -> str:
    if text == "all":
        rig.mend_all()
        return "nothing is wrong any more"
    if text == BUS or text.isdecimal():
        rig.mend_unit(text if text == BUS else str(_unit(rig, text)))
        return f"{'unit ' * text.isdecimal()}{text}: mended"
    kind, _, place = text.partition(" at ")
    rig.mend(kind, place)
    return f"{_named(kind_named(kind), place)}: mended"


def _faults(rig: Rig, _: str) -> str:
    now, said = rig.clock(), []
    for (kind, place), one in rig.faults.items():
        size, form = one.at(now), KINDS[kind]
        if size is not None:
            shown = f" {units.show(size, form.size, form.unit)}" if form.size else ""
            growing = f" growing to {units.show(one.last, form.size, form.unit)}" if now < one.since + one.over else ""
            said.append(f"{_named(kind, place)}{shown}{growing}")
    said += [f"unit {unit} is set or mounted wrong" for unit, one in rig.sensor_faults.items() if one != SensorFault()]
    return "; ".join(said) or "nothing is wrong"


def _unit(rig: Rig, text: str) -> int:
    if not text.isdecimal() or int(text) not in rig.units:
        raise OutOfRange("unit", repr(text), f"one of: {', '.join(str(unit) for unit in rig.units)}")
    return int(text)


def _kind_and_rest(what: str) -> tuple[str, str]:
    """The kind that the words begin with, the longest that fits, and what follows it."""
    plain = what.lower().replace("_", " ")
    fitting = [kind for kind in KINDS if plain == kind or plain.startswith(f"{kind} ")]
    kind = max(fitting, key=len, default="") or kind_named(re.split(r" (?=[\d.+-])", what)[0])
    return kind, what[len(kind) :].strip()


def _form(kind: str, form: Kind) -> str:
    """How such an order is written."""
    size = f" SIZE ({form.says}, in {form.unit})" if form.size else ""
    share = " [in SHARE]" if kind in BEFALLS_SHARE else ""
    return f"fault {kind}{size}{f' at {form.place.upper()}' if form.place else ''}{share}"


def _named(kind: str, place: str) -> str:
    return f"{kind} at {place}" if place else kind


def _clause(given: re.Match[str]) -> str:
    return " ".join(f"{word} {given[name]}" for word, name in (("in", "share"), ("for", "lasting")) if given[name])


def _swapped(fault: SensorFault, _: str) -> SensorFault:
    return replace(fault, swapped_words=True)


def _shift(fault: SensorFault, by: str) -> SensorFault:
    if by not in ("1", "-1"):
        raise OutOfRange("shift", repr(by), "1 or -1")
    return replace(fault, shift=int(by))


def _axes(fault: SensorFault, order: str) -> SensorFault:
    names = order.split()
    if sorted(name.lstrip("-") for name in names) != ["x", "y", "z"]:
        raise OutOfRange("axes", repr(order), "x, y and z in the order they come out, e.g. y x -z")
    return replace(fault, axes=tuple(("xyz".index(name.lstrip("-")), -1 if name.startswith("-") else 1) for name in names))


def _address(fault: SensorFault, text: str) -> SensorFault:
    if not text.isdecimal() or not 1 <= int(text) <= 247:
        raise OutOfRange("address", repr(text), "1 to 247, MODBUS over Serial Line V1.02")
    return replace(fault, address=int(text))


SETTINGS: dict[str, Callable[[SensorFault, str], SensorFault]] = {
    "swapped words": _swapped,
    "shift": _shift,
    "axes": _axes,
    "address": _address,
}
ORDERS: dict[str, Callable[[Rig, str], str]] = {
    "speed": _speed,
    "stop": _stop,
    "load": _load,
    "state": _state,
    "ambient": _ambient,
    "sump": _sump,
    "tap": _tap,
    "calibrator": _calibrator,
    "fault": _fault,
    "grow": _grow,
    "mend": _mend,
    "faults": _faults,
}
