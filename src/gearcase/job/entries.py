"""What was built, as the person who built it writes it down: a list of entries in YAML, or answers to questions.

Quantities carry their unit and every error is said at once with its line, as in job.yaml. `Card` is what a plan lets entries speak
about: its points, its devices and the steps of its work card.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from gearcase.errors import BadInput, Problem
from gearcase.install.mounting import mount_names
from gearcase.job.fields import Address, At, Clock, Length, Mount, Name, Start, Temperature, Time, Torque, Words
from gearcase.job.read import Source, nearest, parse_text, read_text, validate_as

__all__ = ["Card", "Entered", "EntryModel", "ask_entries", "check_entry", "read_entries"]

_LISTED = "entries"
_LEAST_READINGS = 3


def _steps(value: object) -> list[int] | str:
    if value == "all":
        return "all"
    if isinstance(value, list) and all(isinstance(step, int) and not isinstance(step, bool) for step in value):
        return list(value)
    raise PydanticCustomError("accepted", "{rule}", {"rule": "numbers of the work card, e.g. [2, 3], or all"})


Steps = Annotated[
    list[int] | str,
    BeforeValidator(_steps),
    WithJsonSchema({"anyOf": [{"type": "array", "items": {"type": "integer"}}, {"const": "all"}]}),
]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid")


class ReadingsModel(_Part):
    """The wall as gauged at the spot; the least reading counts."""

    readings: list[Length] = Field(
        min_length=_LEAST_READINGS, description="three readings at the spot, e.g. [22.6 mm, 22.4 mm, 22.5 mm]"
    )
    gauge_error: Length | None = Field(None, description="error of the gauge, e.g. 0.3 mm")


class BondModel(_Part):
    """The bond as made."""

    metal_temperature: Temperature | None = Field(None, description="of the metal while bonding, not of the air, e.g. 18 °C")
    made: Start = Field("", description="when it was bonded, e.g. 2026-09-10T09:20")
    left: Time | None = Field(None, description="how long it was left to cure before load or baseline, e.g. 36 h")


class FittedDeviceModel(_Part):
    """The device on the bus that was connected."""

    name: Name = Field("", description="name of the device in the plan; that of the point where left out")
    address: Address | None = Field(None, description="unit address it was set to, 1 to 247")
    serial: Name = Field("", description="serial number on its label")


class EntryModel(_Part):
    """One entry: what was built at one point, or which steps of the work card were done."""

    point: Name = Field("", description="the measuring point; left out for a step or a device that belongs to none")
    by: Name = Field("", description="who did it; --by where left out")
    done: Start = Field("", description="when it was done, e.g. 2026-09-10T08:40; the time of entry where left out")
    mount: Mount | None = Field(None, description=f"the mount as built, one of: {', '.join(mount_names())}")
    face: Name = Field("", description="face as built, where it is not the planned one")
    clock: Clock | None = Field(None, description="hour of the sensor's mark as built, where it is not the planned one, e.g. 3")
    at: At | None = Field(None, description="place as built, from the face's lower left corner, e.g. [331 mm, 329 mm]")
    wall: ReadingsModel | None = Field(None, description="wall at the spot: readings, gauge_error")
    depth: Length | None = Field(None, description="drilled depth from the spot-face to the tip, e.g. 11.6 mm")
    torque: Torque | None = Field(None, description="torque of the stud or sensor, e.g. 4 N m")
    bond: BondModel | None = Field(None, description="the bond: metal_temperature, made, left")
    serial: Name = Field("", description="serial number on the sensor, in quotes")
    device: FittedDeviceModel | None = Field(None, description="the device on the bus: name, address, serial")
    photos: list[Name] = Field(default_factory=list, description="photo files, from the job's folder")
    steps: Steps = Field(
        default_factory=list, description="steps of the work card that are done, e.g. [2, 3], or all of the point and device"
    )
    because: Words = Field("", description="why it replaces an earlier entry, e.g. sensor swapped, the first was dead")


class EntriesModel(_Part):
    """A file of entries."""

    entries: list[EntryModel] = Field(description="a list of entries, each with a point or with steps")


@dataclass(frozen=True)
class Card:
    """What a plan lets entries speak about: points, device -> its point, and the work card's number -> where."""

    points: tuple[str, ...]
    devices: Mapping[str, str]
    steps: Mapping[int, str]


@dataclass(frozen=True)
class Entered:
    """An entry as given and as read: `given` the words, `model` the SI values; `steps` by number, `device` by name; its line."""

    given: dict[str, Any]
    model: EntryModel
    steps: tuple[int, ...]
    device: str
    where: str


def read_entries(path: Path, card: Card) -> tuple[Entered, ...]:
    """Read a file of entries.

    Raises
    ------
    BadInput
        No such file, or anything wrong with it: every problem with its line.
    """
    if not path.is_file():
        raise BadInput(Problem(str(path), "", "no such file", "a file that holds a list of entries"))
    return _checked(parse_text(read_text(path, path.name), name=path.name, listed=_LISTED), card)


def check_entry(given: dict[str, Any], card: Card) -> Entered:
    """One entry given as plain data.

    Raises
    ------
    BadInput
        With every problem found.
    """
    (entered,) = _checked(Source("", {_LISTED: [given]}, {}, name="entry"), card)
    return entered


def _checked(source: Source, card: Card) -> tuple[Entered, ...]:
    form, problems = validate_as(EntriesModel, source)
    if form is not None:
        problems += [problem for number, model in enumerate(form.entries) for problem in _names(source, number, model, card)]
    if problems or form is None:
        raise BadInput(sorted(problems, key=lambda problem: int(problem.where.rpartition(":")[2])))
    return tuple(
        Entered(
            source.data[_LISTED][number], model, _numbers(model, card), _device_of(model, card), source.where((_LISTED, number))
        )
        for number, model in enumerate(form.entries)
    )


def _names(source: Source, number: int, model: EntryModel, card: Card) -> Iterator[Problem]:
    """What an entry names that the plan does not have, and an entry that says nothing."""
    here = (_LISTED, number)
    said = model.model_fields_set - {"point", "by", "done", "because"}
    if not said:
        yield source.problem(
            here, "what was built or done: mount, wall, depth, serial, steps, ...", given="an entry that says nothing"
        )
    if model.point and model.point not in card.points:
        accepted = f"{nearest(model.point, card.points)}a point of the plan: {', '.join(card.points)}"
        yield source.problem((*here, "point"), accepted)
    homeless = sorted(said - {"steps", "device", "photos"})
    if not model.point and homeless:
        yield source.problem(here, f"point: the measuring point that {', '.join(homeless)} belongs to", given="no point")
    if model.wall and (model.wall.gauge_error or 0.0) >= min(model.wall.readings):
        yield source.problem((*here, "wall", "gauge_error"), "less than the least reading of the wall")
    if model.device is not None:
        yield from _device(source, number, model, card)
    if model.steps == "all" and not (model.point or model.device):
        yield source.problem((*here, "steps"), "all goes with a point or a device; elsewhere the numbers of the steps")
    for step in model.steps if isinstance(model.steps, list) else ():
        if step not in card.steps:
            accepted = f"numbers of the plan's work card, 1 to {max(card.steps, default=0)}"
            yield source.problem((*here, "steps"), accepted, given=str(step))
        elif model.point and card.steps[step] in card.points and card.steps[step] != model.point:
            own = ", ".join(str(n) for n, where in card.steps.items() if where == model.point)
            accepted = f"steps of {model.point}: {own}; step {step} belongs to {card.steps[step]}"
            yield source.problem((*here, "steps"), accepted, given=str(step))


def _device(source: Source, number: int, model: EntryModel, card: Card) -> Iterator[Problem]:
    device, here = model.device, (_LISTED, number, "device")
    own = [name for name, point in card.devices.items() if model.point and point == model.point]
    if device is None:
        return
    if not device.name and len(own) != 1:
        yield source.problem(here, f"name: one of the plan's devices: {', '.join(own or card.devices)}", given="no name")
    elif device.name and device.name not in card.devices:
        accepted = f"{nearest(device.name, list(card.devices))}a device of the plan: {', '.join(card.devices)}"
        yield source.problem((*here, "name"), accepted)
    elif device.name and model.point and card.devices[device.name] not in ("", model.point):
        yield source.problem((*here, "name"), f"a device of {model.point}; the plan has it at {card.devices[device.name]}")


def _numbers(model: EntryModel, card: Card) -> tuple[int, ...]:
    if isinstance(model.steps, list):
        return tuple(dict.fromkeys(model.steps))
    own = {model.point, _device_of(model, card)} - {""}
    return tuple(number for number, where in card.steps.items() if where in own)


def _device_of(model: EntryModel, card: Card) -> str:
    """The device an entry speaks of: as named, or the only one of its point."""
    if model.device is None:
        return ""
    return model.device.name or next(name for name, point in card.devices.items() if point == model.point)


_ALL, _STUD, _BOND = "", "stud", "adhesive"
_QUESTIONS: tuple[tuple[tuple[str, ...], str, str], ...] = (  # where the answer goes, the question, the mounts it is asked for
    (("mount",), "mount as built", _ALL),
    (("at",), "place on the face, from its lower left corner: across, up", _ALL),
    (("wall", "readings"), "wall: three readings", _STUD),
    (("wall", "gauge_error"), "wall: error of the gauge", _STUD),
    (("depth",), "drilled depth from the spot-face to the tip", _STUD),
    (("torque",), "torque of the stud", _STUD),
    (("bond", "metal_temperature"), "temperature of the metal while bonding", _BOND),
    (("bond", "made"), "when was it bonded", _BOND),
    (("bond", "left"), "how long was it left to cure", _BOND),
    (("serial",), "serial number on the sensor", _ALL),
    (("device", "address"), "address its device was set to", _ALL),
    (("device", "serial"), "serial number on its device", _ALL),
    (("photos",), "photo files, from the job's folder", _ALL),
    (("steps",), "steps of the work card that are done, numbers or all", _ALL),
    (("because",), "why this replaces an earlier entry", _ALL),
)
_LISTS = {"at", "readings", "photos", "steps"}
_WHOLE = {"address", "steps"}


def ask_entries(
    card: Card,
    mounts: Mapping[str, str],
    *,
    ask: Callable[[str], str],
    tell: Callable[[str], None],
    refuses: Callable[[Entered], Sequence[Problem]],
) -> Iterator[Entered]:
    """Ask for each point in turn, one question an item; an empty answer skips, a bad one is asked again with the rule.

    Parameters
    ----------
    card : Card
    mounts : mapping
        Point -> mount as planned, which decides what is asked.
    ask : callable
        Question -> answer. May raise EOFError: what was answered by then is the last entry.
    tell : callable
        Shows a line.
    refuses : callable
        What else may be wrong with an entry, e.g. a photo that is not there.
    """
    for point in card.points:
        tell(f"{point}: Enter skips a question")
        given: dict[str, Any] = {"point": point}
        ended = False
        for path, question, kind in _QUESTIONS:
            mount = str(given.get("mount") or mounts.get(point, ""))
            if kind not in mount or _is_not_asked(path, given, card):
                continue
            try:
                given = _answer(given, path, question, card, ask=ask, tell=tell, refuses=refuses)
            except EOFError:
                ended = True
                break
        if len(given) > 1:
            yield check_entry(given, card)
        if ended:
            return


def _is_not_asked(path: tuple[str, ...], given: dict[str, Any], card: Card) -> bool:
    if path == ("wall", "gauge_error"):
        return "wall" not in given
    if path[0] == "device":
        return list(card.devices.values()).count(given["point"]) != 1
    return path == ("because",) and len(given) == 1


def _answer(
    given: dict[str, Any],
    path: tuple[str, ...],
    question: str,
    card: Card,
    *,
    ask: Callable[[str], str],
    tell: Callable[[str], None],
    refuses: Callable[[Entered], Sequence[Problem]],
) -> dict[str, Any]:
    """The entry with one more answer, or as it was where the answer is empty."""
    while answer := ask(f"  {question}: ").strip():
        more = _with(given, path, _plain(path[-1], answer))
        try:
            wrong = refuses(check_entry(more, card))
        except BadInput as error:
            wrong = error.problems
        if not wrong:
            return more
        for problem in wrong:
            tell(f"    {problem.accepted}")
    return given


def _with(given: dict[str, Any], path: tuple[str, ...], value: Any) -> dict[str, Any]:
    if len(path) == 1:
        return {**given, path[0]: value}
    return {**given, path[0]: {**given.get(path[0], {}), path[1]: value}}


def _plain(key: str, answer: str) -> Any:
    """An answer as YAML would have given it: lists by their commas, whole numbers where one is meant."""
    parts = [part.strip() for part in answer.split(",")] if key in _LISTS and answer != "all" else [answer]
    plain = [int(part) if key in _WHOLE and part.isdecimal() and len(part) < 5 else part for part in parts]
    return plain if key in _LISTS and answer != "all" else plain[0]
