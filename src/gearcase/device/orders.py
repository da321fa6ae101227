"""What a person may tell the running rig, one line an order.

``speed 1200 rpm``, ``stop``, ``load 80 %``, ``ambient 30 °C``, ``sump 70 °C``; ``fault outer_race 2.5 m/s2 at BEARING`` (0 m/s2
takes it away); ``tap POINT``; and against one unit: ``silence 12``, ``swap 12``, ``shift 12 1``, ``axes 12 y x -z``, ``mend 12``.
"""

import re
from collections.abc import Callable

from gearcase import units
from gearcase.device.rig import Rig, SensorFault
from gearcase.errors import OutOfRange

__all__ = ["ORDERS", "obey"]


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


def _ambient(rig: Rig, text: str) -> str:
    rig.ambient = units.parse(text, "temperature")
    return f"ambient {units.show(rig.ambient, 'temperature', '°C')}"


def _sump(rig: Rig, text: str) -> str:
    rig.sump = units.parse(text, "temperature")
    return f"sump {units.show(rig.sump, 'temperature', '°C')}"


def _fault(rig: Rig, text: str) -> str:
    match = re.fullmatch(r"(\w+)\s+(.+?)\s+at\s+(.+)", text)
    if not match:
        raise OutOfRange(
            "order", repr(f"fault {text}"), "fault KIND IMPACT at BEARING, e.g. fault outer_race 2.5 m/s2 at output left"
        )
    rig.set_fault(match[3], match[1], units.parse(match[2], "acceleration"))
    return f"{match[1]} of {match[3]}: {match[2]}"


def _tap(rig: Rig, text: str) -> str:
    rig.tap(text)
    return f"tapped at {text}, towards the output end"


def _silence(rig: Rig, text: str) -> str:
    return _against(rig, text, SensorFault(silent=True), "unplugged")


def _swap(rig: Rig, text: str) -> str:
    return _against(rig, text, SensorFault(swapped_words=True), "sends the low word first")


def _shift(rig: Rig, text: str) -> str:
    unit, _, by = text.partition(" ")
    if by.strip() not in ("1", "-1"):
        raise OutOfRange("shift", repr(by), "1 or -1")
    return _against(rig, unit, SensorFault(shift=int(by)), f"registers moved by {by}")


def _axes(rig: Rig, text: str) -> str:
    unit, _, order = text.partition(" ")
    names = order.split()
    if sorted(name.lstrip("-") for name in names) != ["x", "y", "z"]:
        raise OutOfRange("axes", repr(order), "x, y and z in the order they come out, e.g. y x -z")
    axes = tuple(("xyz".index(name.lstrip("-")), -1 if name.startswith("-") else 1) for name in names)
    return _against(rig, unit, SensorFault(axes=axes), f"axes come out as {order}")


def _mend(rig: Rig, text: str) -> str:
    return _against(rig, text, SensorFault(), "mended")


def _against(rig: Rig, text: str, fault: SensorFault, says: str) -> str:
    if not text.strip().isdecimal() or int(text) not in rig.units:
        raise OutOfRange("unit", repr(text), f"one of: {', '.join(str(unit) for unit in rig.units)}")
    rig.sensor_faults[int(text)] = fault
    return f"unit {text}: {says}"


ORDERS: dict[str, Callable[[Rig, str], str]] = {
    "speed": _speed,
    "stop": _stop,
    "load": _load,
    "ambient": _ambient,
    "sump": _sump,
    "fault": _fault,
    "tap": _tap,
    "silence": _silence,
    "swap": _swap,
    "shift": _shift,
    "axes": _axes,
    "mend": _mend,
}
