"""What the entries say together: of each item the latest value counts, earlier ones are kept, contradictions are named.

An entry that gives its reason (``because``) replaces an earlier value without contradicting it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gearcase import units
from gearcase.findings import Finding, Level

__all__ = ["Built", "Value", "built_devices", "built_points", "serials_twice", "shown"]

_NESTED = ("bond", "device")


@dataclass(frozen=True)
class Value:
    """A value as built, by the entry that gave it."""

    item: str
    value: Any
    entry: int
    who: str
    done: str
    because: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data, with the value in words."""
        return {
            "item": self.item,
            "value": self.value,
            "shown": shown(self.item, self.value),
            "entry": self.entry,
            "who": self.who,
            "done": self.done,
            "because": self.because,
        }


@dataclass
class Built:
    """A point or device as built: item -> the value that counts, those replaced, its entries and photos, contradictions."""

    name: str
    values: dict[str, Value] = field(default_factory=dict)
    superseded: list[tuple[Value, int]] = field(default_factory=list)
    entries: list[int] = field(default_factory=list)
    photos: list[dict[str, str]] = field(default_factory=list)
    contradictions: dict[str, Finding] = field(default_factory=dict)

    def get(self, item: str) -> Any:
        """The value of an item, None while nobody has entered it."""
        return self.values[item].value if item in self.values else None

    def take(self, value: Value) -> None:
        """A later value: it counts from now on, the earlier one is kept."""
        earlier = self.values.get(value.item)
        self.values[value.item] = value
        if earlier is None:
            return
        self.superseded.append((earlier, value.entry))
        if value.because:
            self.contradictions.pop(value.item, None)
        elif found := _contradiction(self.name, earlier, value):
            self.contradictions[value.item] = found


def built_points(records: Iterable[Mapping[str, Any]], names: Iterable[str]) -> dict[str, Built]:
    """Every named point, and any other that entries speak of, as built."""
    points = _as_built(records, names, "point", lambda entry: _items(entry["built"], without="device"))
    for record in records:
        if record["entry"]["point"]:
            points[record["entry"]["point"]].photos += record["entry"]["photos"]
    return points


def built_devices(records: Iterable[Mapping[str, Any]], names: Iterable[str]) -> dict[str, Built]:
    """Every named device, and any other that entries speak of, as built."""
    return _as_built(records, names, "device", lambda entry: _items(entry["built"]["device"], without="name"))


def serials_twice(built: Iterable[Built], kind: str) -> list[Finding]:
    """One serial number on two points or devices: one label was misread."""
    first: dict[str, Value] = {}
    owner: dict[str, str] = {}
    found = []
    for part in built:
        value = part.values.get("serial")
        if value is None:
            continue
        key = str(value.value).casefold()
        if key in first:
            says = (
                f"serial {value.value} (entry {value.entry}) is also that of {owner[key]} (entry {first[key].entry}): one {kind} "
                "cannot be in two places; read both labels and enter the right serial with because: label misread"
            )
            found.append(Finding(Level.BLOCKER, "fit.serial_twice", part.name, says))
        else:
            first[key], owner[key] = value, part.name
    return found


def shown(item: str, value: Any) -> str:
    """A value in words.

    Examples
    --------
    >>> shown("depth", 0.0115), shown("at", [0.331, 0.328]), shown("bond.metal_temperature", 291.15)
    ('11.5 mm', '331, 328 mm', '18 °C')
    """
    if item == "wall":
        return f"{units.show(min(value['readings']), 'length', 'mm')}, least of {len(value['readings'])} readings"
    if item == "clock":
        return f"{value:g} o'clock"
    if item == "at":
        return f"{1000 * value[0]:.4g}, {1000 * value[1]:.4g} mm"
    kinds = {
        "depth": ("length", "mm"),
        "torque": ("torque", "N m"),
        "bond.metal_temperature": ("temperature", "°C"),
        "bond.left": ("time", "h"),
    }
    return units.show(value, *kinds[item]) if item in kinds else str(value)


def _as_built(
    records: Iterable[Mapping[str, Any]],
    names: Iterable[str],
    about: str,
    items: Callable[[Mapping[str, Any]], Iterable[tuple[str, Any]]],
) -> dict[str, Built]:
    """What the entries about each point, or each device, have built, in their order."""
    built = {name: Built(name) for name in names}
    for record in records:
        entry = record["entry"]
        if not entry[about]:
            continue
        part = built.setdefault(entry[about], Built(entry[about]))
        part.entries.append(record["number"])
        for item, value in items(entry):
            part.take(_value(record, item, value))
    return built


def _items(built: Mapping[str, Any], *, without: str) -> Iterable[tuple[str, Any]]:
    for key, value in built.items():
        if key == without:
            continue
        if key in _NESTED:
            yield from ((f"{key}.{inner}", part) for inner, part in value.items() if part not in (None, ""))
        elif value not in (None, ""):
            yield key, value


def _value(record: Mapping[str, Any], item: str, value: Any) -> Value:
    entry = record["entry"]
    return Value(item, value, record["number"], record["who"], entry["done"], entry["because"])


def _contradiction(name: str, earlier: Value, later: Value) -> Finding | None:
    """Whether two values of one item cannot both be true of a thing that was only fitted once."""
    both = (
        f"{shown(earlier.item, earlier.value)} (entry {earlier.entry}) and {shown(later.item, later.value)} (entry {later.entry})"
    )
    if later.item == "serial" and str(earlier.value).casefold() != str(later.value).casefold():
        says = f"two serials: {both}; read the label and enter the right one with because: swapped, or label misread"
        return Finding(Level.BLOCKER, "fit.two_serials", name, says)
    if later.item == "depth" and later.value < earlier.value:
        says = f"two depths: {both}; a hole does not get shallower: gauge it again and enter it with because"
        return Finding(Level.CAUTION, "fit.two_depths", name, says)
    if later.item == "wall":
        apart = abs(min(earlier.value["readings"]) - min(later.value["readings"]))
        errors = sum(value.value.get("gauge_error") or 0.0 for value in (earlier, later))
        if apart > errors:
            says = f"two walls: {both}, further apart than the gauge's errors; gauge the spot again and enter it with because"
            return Finding(Level.CAUTION, "fit.two_walls", name, says)
    return None
