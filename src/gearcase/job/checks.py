"""What the form of job.yaml cannot see: names twice, names of nothing, bearings that cannot exist, shafts joined to nothing.

The checks read the plain data, so they speak about every part that can be read even where another part is wrong.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from gearcase.errors import Problem
from gearcase.install.bonding import REFERENCE
from gearcase.install.profile import Profile
from gearcase.install.schedule import Window
from gearcase.job.database import address_refused
from gearcase.job.drive_schema import BearingShape
from gearcase.job.housing_checks import housing_check
from gearcase.job.inputs_checks import inputs_check
from gearcase.job.kit_schema import AdhesiveModel, SensorModel
from gearcase.job.notify_checks import notify_check
from gearcase.job.outage_schema import DurationModel, WindowModel, outage_window
from gearcase.job.publish_checks import publish_check
from gearcase.job.read import Path_, Source, nearest
from gearcase.job.retention_schema import RetentionModel
from gearcase.job.schema import read_as

__all__ = ["cross_check", "planet_names"]

_DRIVE_PARTS = ("shafts", "meshes", "planetary_sets", "belts", "bearings", "passing_parts")
_JOINING = {"meshes": ("pinion", "wheel"), "planetary_sets": ("sun", "ring", "carrier"), "belts": ("driver", "driven")}
_LONGEST_WORK = 30 * 86400.0  # s, for one task; beyond it is a slip of the pen
_GEOMETRY = ("elements", "element_diameter", "pitch_diameter", "contact_angle")


def cross_check(source: Source, profiles: Mapping[str, Profile]) -> list[Problem]:
    """Every problem between the parts of a job file, with the profiles its devices may name."""
    nothing = list(_names_of_nothing(source))
    joins_readable = not any(problem.key.startswith("drive") for problem in nothing)
    return [
        *_names_twice(source),
        *nothing,
        *_same_shaft(source),
        *_pulleys(source),
        *(_unjoined(source) if joins_readable else ()),
        *_bearings(source),
        *_sensors(source),
        *_adhesive(source),
        *_overall_only(source),
        *housing_check(source),
        *inputs_check(source, profiles),
        *_windows(source),
        *notify_check(source),
        *_retention(source),
        *publish_check(source),
        *_database(source),
    ]


def _database(source: Source) -> Iterator[Problem]:
    address = source.value(("store",))
    if isinstance(address, str) and (right := address_refused(address)):
        yield source.problem(("store",), right, given="")  # not shown: there may be a password in it


def _retention(source: Source) -> Iterator[Problem]:
    model = read_as(RetentionModel, source.value(("retention",)) or {})
    if model and model.minutes is not None and (model.whole is None or model.minutes <= model.whole):
        yield source.problem(("retention", "minutes"), "longer than retention.whole, which must be there")


def _names_twice(source: Source) -> Iterator[Problem]:
    parts = [item for kind in _DRIVE_PARTS for item in _named(source, ("drive", kind))]
    lists = (
        ("points",),
        ("inputs",),
        ("housing", "faces"),
        ("kit", "cables"),
        ("kit", "parts"),
        ("kit", "brackets"),
        ("housing", "ports"),
        ("bus", "devices"),
        ("network", "hosts"),
        ("outage", "crew"),
        ("outage", "ask"),
        ("notify", "people"),
        ("notify", "webhooks"),
        ("publish", "opcua", "users"),
    )
    for named in (parts, *(_named(source, path) for path in lists)):
        yield from _twice(source, named)
    files: list[tuple[Path_, tuple[Any, ...]]] = [
        ((*path, "file"), (item["file"], item.get("channel", "")))
        for path, item in source.items(("recordings",))
        if _text(item.get("file")) and not isinstance(item.get("channel"), dict | list)
    ]
    yield from _twice(source, files)


def _twice(source: Source, named: Iterable[tuple[Path_, Any]]) -> Iterator[Problem]:
    first: dict[Any, Path_] = {}
    for path, name in named:
        if name in first:
            kind = "name of its own" if path[-1] == "name" else "recording listed once"
            yield source.problem(path, f"a {kind}; {source.where(first[name])} has it already")
        else:
            first[name] = path


def _names_of_nothing(source: Source) -> Iterator[Problem]:
    shafts = _shaft_names(source)
    bearings = [name for _, name in _named(source, ("drive", "bearings"))]
    points = [name for _, name in _named(source, ("points",))]
    asked: list[tuple[Path_, list[str], str]] = [(("drive", "input", "shaft"), shafts, "shaft")]
    for path, _ in source.items(("drive", "meshes")):
        asked += [((*path, side, "shaft"), shafts, "shaft") for side in ("pinion", "wheel")]
    for path, _ in source.items(("drive", "planetary_sets")):
        asked += [((*path, member, "shaft"), shafts, "shaft") for member in ("sun", "ring", "carrier")]
    for path, _ in source.items(("drive", "belts")):
        asked += [((*path, side, "shaft"), shafts, "shaft") for side in ("driver", "driven")]
    for path, _ in source.items(("drive", "ratios")):
        asked += [((*path, side), shafts, "shaft") for side in ("fast", "slow")]
    asked += [((*path, "carrier"), shafts, "shaft") for path, _ in source.items(("drive", "shafts"))]
    asked += [((*path, "shaft"), shafts, "shaft") for path, _ in source.items(("drive", "passing_parts"))]
    if source.value(("drive", "motor", "poles")) is not None:
        asked.append((("drive", "motor", "shaft"), shafts, "shaft"))
    for path, _ in source.items(("drive", "bearings")):
        asked += [((*path, key), shafts, "shaft") for key in ("shaft", "other_ring_shaft")]
    asked += [((*path, "bearing"), bearings, "bearing") for path, _ in source.items(("points",))]
    asked += [((*path, "point"), points, "point") for path, _ in source.items(("recordings",))]
    asked += [((*path, "point"), points, "point") for path, _ in source.items(("bus", "devices"))]
    asked += [((*path, "point"), points, "point") for path, _ in source.items(("inputs",))]
    faces = [name for _, name in _named(source, ("housing", "faces"))]
    for path, _ in source.items(("housing", "faces")):
        asked += [((*seat, "bearing"), bearings, "bearing") for seat, _ in source.items((*path, "seats"))]
    asked += [((*path, "face"), faces, "face") for path, _ in source.items(("housing", "ports"))]
    asked += [((*path, "face"), faces, "face") for path, _ in source.items(("kit", "brackets"))]
    asked += [(("kit", part, "face"), faces, "face") for part in ("enclosure", "cable_entry")]
    items = [name for _, name in _named(source, ("outage", "ask"))]
    for path, item in source.items(("outage", "ask")):
        after = item.get("after")
        asked += [((*path, "after", n), items, "item") for n in range(len(after) if isinstance(after, list) else 0)]
    brackets = [name for _, name in _named(source, ("kit", "brackets"))]
    asked += [(("kit", part, "bracket"), brackets, "bracket") for part in ("light", "enclosure")]
    asked.append((("kit", "probe", "port"), [name for _, name in _named(source, ("housing", "ports"))], "port"))
    if faces:  # without a drawing of the housing a face is only a word
        asked += [((*path, "face"), faces, "face") for path, _ in source.items(("points",))]
    for path, known, kind in asked:
        name = _text(source.value(path))
        if name and name not in known:
            there = f"the {kind}s are: {', '.join(dict.fromkeys(known))}" if known else f"the job lists no {kind}s"
            yield source.problem(path, nearest(name, known) + there, given=f'"{name}"')
    if not _text(source.value(("drive", "input", "shaft"))) and "input" not in shafts and source.items(("drive", "shafts")):
        there = f"needed: the shaft whose speed is known, one of: {', '.join(shafts)}"
        yield source.problem(("drive", "input", "shaft"), there, given="nothing")


def _same_shaft(source: Source) -> Iterator[Problem]:
    for path, _ in source.items(("drive", "meshes")):
        pinion, wheel = (_text(source.value((*path, side, "shaft"))) for side in ("pinion", "wheel"))
        if pinion and pinion == wheel:
            yield source.problem((*path, "wheel", "shaft"), "another shaft than the pinion's")
    for path, bearing in source.items(("drive", "bearings")):
        other = _text(bearing.get("other_ring_shaft"))
        if other and other == _text(bearing.get("shaft")):
            yield source.problem((*path, "other_ring_shaft"), "another shaft than the first ring's")


def _unjoined(source: Source) -> Iterator[Problem]:
    """Shafts that no mesh, and not the nameplate's ratio, joins to the shaft whose speed is known."""
    stated = _text(source.value(("drive", "input", "shaft"))) or "input"
    pairs = [
        {_text(source.value((*path, side, "shaft"))) for side in sides}
        for kind, sides in _JOINING.items()
        for path, _ in source.items(("drive", kind))
    ]
    pairs += [{_text(source.value((*path, side))) for side in ("fast", "slow")} for path, _ in source.items(("drive", "ratios"))]
    shafts = source.items(("drive", "shafts"))
    pairs += [{_text(shaft.get("name")), _text(shaft.get("carrier"))} for _, shaft in shafts if shaft.get("carrier")]
    if source.value(("drive", "nameplate", "ratio")) is not None:
        pairs.append({_text(shaft.get("name")) for _, shaft in shafts if shaft.get("end") in ("input", "output")})
    joined = {stated}
    for _ in pairs:
        for pair in pairs:
            if pair & joined:
                joined |= pair
    named = _named(source, ("drive", "shafts"))
    if any("" in pair for pair in pairs):
        return  # a mesh or an end that cannot be read has its own problem, and may be what joins them
    for path, name in named:
        if name not in joined:
            accepted = (
                f'joined to "{stated}" by a mesh, or by the nameplate\'s ratio between the shafts marked end: input and '
                "end: output; or left out"
            )
            yield source.problem(path, accepted)


def _pulleys(source: Source) -> Iterator[Problem]:
    """Belts with teeth are counted, those without are measured."""
    for path, belt in source.items(("drive", "belts")):
        toothed = belt.get("kind") in ("toothed belt", "chain")
        wanted, unfit = ("teeth", "diameter") if toothed else ("diameter", "teeth")
        for side in ("driver", "driven"):
            pulley = belt.get(side)
            if isinstance(pulley, dict) and pulley.get(wanted) in (None, "unknown"):
                yield source.problem((*path, side), f"the {wanted} of a {belt.get('kind')}'s pulleys", given=f"no {wanted}")
            if isinstance(pulley, dict) and pulley.get(unfit) is not None:
                yield source.problem((*path, side, unfit), f"{wanted}, for a {belt.get('kind')}")
        if belt.get("length" if toothed else "links") is not None:
            key = "links" if toothed else "length"
            yield source.problem((*path, "length" if toothed else "links"), f"{key}, for a {belt.get('kind')}")


def _bearings(source: Source) -> Iterator[Problem]:
    for path, item in source.items(("drive", "bearings")):
        yield from _shape(source, path, item)
        makes = source.items((*path, "candidates"))
        if len(makes) == 1:
            yield source.problem(
                (*path, "candidates"), "two makes or more; the geometry of the only one belongs to the bearing itself"
            )
        if makes and any(item.get(key) is not None for key in _GEOMETRY):
            yield source.problem((*path, "candidates"), "either a geometry of its own or candidates, not both")
        yield from _twice(source, _named(source, (*path, "candidates")))
        for here, make in makes:
            yield from _shape(source, here, make)
            if not _text(make.get("designation")) and all(make.get(key) is None for key in _GEOMETRY):
                yield source.problem(here, "a designation, a geometry or elements", given=f'"{_text(make.get("name"))}"')


def _shape(source: Source, path: Path_, item: dict[str, Any]) -> Iterator[Problem]:
    """A geometry that is not whole, or that cannot exist."""
    missing = [key for key in _GEOMETRY if item.get(key) is None]
    if 0 < len(missing) < len(_GEOMETRY) and missing != list(_GEOMETRY[1:]):
        accepted = f"geometry whole or not at all; missing: {', '.join(missing)}"
        if missing == ["contact_angle"]:
            accepted += " (0 deg for a deep groove or cylindrical roller bearing)"
        if "elements" not in missing:
            accepted += "; elements alone will do too"
        yield source.problem(path, accepted, given=f'"{_text(item.get("name"))}"')
    shape = read_as(BearingShape, {key: value for key, value in item.items() if key in BearingShape.model_fields})
    if shape is None:
        return  # the form has said what is wrong
    if shape.contact_angle is not None and not 0 <= shape.contact_angle < math.radians(89):
        yield source.problem((*path, "contact_angle"), "from 0 deg to below 89 deg")
    if not 0 <= shape.spread < 0.5:
        yield source.problem((*path, "spread"), "from 0 % to below 50 %")
    if shape.element_diameter is None or shape.pitch_diameter is None:
        return
    if shape.element_diameter >= shape.pitch_diameter:
        yield source.problem((*path, "element_diameter"), "less than the pitch diameter")
    elif shape.elements is not None:
        most = int(math.pi / math.asin(shape.element_diameter / shape.pitch_diameter) + 1e-9)
        if shape.elements > most:
            accepted = f"at most {most}: more do not fit round this pitch circle in one row"
            yield source.problem((*path, "elements"), accepted)


def _sensors(source: Source) -> Iterator[Problem]:
    for path, point in source.items(("points",)):
        sensor = read_as(SensorModel, point.get("sensor", {}))
        if sensor and sensor.lowest is not None and sensor.highest is not None and sensor.lowest >= sensor.highest:
            yield source.problem((*path, "sensor", "lowest"), "less than the highest frequency")


def _adhesive(source: Source) -> Iterator[Problem]:
    """An adhesive's sheet: full strength is that at 23 degC, so half of it is left only above; service from cold to hot."""
    path = ("kit", "adhesive")
    sheet = read_as(AdhesiveModel, source.value(path) or {})
    if sheet and sheet.half_at is not None and sheet.half_at <= REFERENCE:
        yield source.problem((*path, "half_at"), "above 23 °C, where its strength is whole")
    if sheet and sheet.coldest is not None and sheet.hottest is not None and sheet.coldest >= sheet.hottest:
        yield source.problem((*path, "coldest"), "less than the hottest")


def _overall_only(source: Source) -> Iterator[Problem]:
    """A point whose only device gives overall values cannot say that it sees waveforms."""
    devices: dict[str, set[str]] = {}
    for _, device in source.items(("bus", "devices")):
        devices.setdefault(_text(device.get("point")), set()).add(_text(device.get("profile")))
    for path, point in source.items(("points",)):
        sensor = read_as(SensorModel, point.get("sensor", {}))
        if sensor and sensor.kind != "overall" and devices.get(_text(point.get("name"))) == {"overall vibration"}:
            accepted = "overall: the device at this point gives one figure and no waveform, which coverage must know"
            yield source.problem((*path, "sensor", "kind"), accepted, given=sensor.kind)


def _windows(source: Source) -> Iterator[Problem]:
    """An outage of this century, whose windows follow one another; the shortest duration is no longer than the longest."""
    last: Window | None = None
    dated = [("outage", "date"), *((*path, "start") for path, _ in source.items(("outage", "windows")))]
    for path in dated:
        value = source.value(path)
        if value is not None and _text(str(value))[:2] != "20":
            yield source.problem(path, "a day of this century, e.g. 2026-09-10")
    for path, item in source.items(("outage", "windows")):
        model = read_as(WindowModel, item)
        if model is None:
            continue  # the form has said what is wrong
        here = outage_window(model)
        if last is not None and here.start < last.end:
            yield source.problem((*path, "start"), "a start after the window before has closed")
        last = here
    for path, item in source.items(("outage", "durations")):
        duration = read_as(DurationModel, item)
        if duration is not None and duration.shortest > duration.longest:
            yield source.problem((*path, "shortest"), "no more than the longest")
        if duration is not None and duration.longest > _LONGEST_WORK:
            yield source.problem((*path, "longest"), "30 d or less")


def _shaft_names(source: Source) -> list[str]:
    """The shafts of the job, those that `build` makes where it lists none, and the planets of its sets."""
    planets = [
        planet
        for path, name in _named(source, ("drive", "planetary_sets"))
        for planet in planet_names(name, paired=source.value((*path[:-1], "planet", "outer_teeth")) is not None)
    ]
    if source.value(("drive", "shafts")):
        return [name for _, name in _named(source, ("drive", "shafts"))] + planets
    stated = _text(source.value(("drive", "input", "shaft"))) or "input"
    plate = [source.value(("drive", "nameplate", key)) is not None for key in ("ratio", "input_speed", "output_speed")]
    if not (plate[0] or (plate[1] and plate[2])):
        return [stated]
    return [stated, "output" if stated != "output" else "far end"]


def planet_names(set_name: str, *, paired: bool) -> tuple[str, ...]:
    """What the planets of a set are called: bearings on their pins name them."""
    return (f"{set_name} planet", f"{set_name} outer planet") if paired else (f"{set_name} planet",)


def _named(source: Source, path: Path_) -> list[tuple[Path_, str]]:
    return [((*here, "name"), name) for here, item in source.items(path) if (name := _text(item.get("name")))]


def _text(value: Any) -> str:
    """A name as the form reads it; empty for what is no name."""
    return str(value).strip() if isinstance(value, str | int | float) and not isinstance(value, bool) else ""
