"""The tasks of an outage, derived from the parts of a plan: what is done on the bench, locked out, running; what waits for what.

Each is of a kind of `outage_tasks.csv` at a place; the steps of the work card name the same two, so that card and schedule hold the
same work (`card`).
How long each takes is a range of common practice (`outage_tasks.csv`) unless the job gives one. Whatever is done on the standing
drive comes after the lock-out and before the release; what needs the drive to run comes after the restart.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gearcase.install.adhesives import adhesive
from gearcase.install.bonding import COLDEST, REFERENCE, cure_schedule
from gearcase.install.outage import Work, kinds_of_work
from gearcase.install.schedule import After, Machine, Task
from gearcase.job.build import Job
from gearcase.stages.bands import MOUNTS_BONDED, USUAL
from gearcase.stages.planning.lists import materials
from gearcase.worked import Origin

__all__ = ["LOCK_OUT", "RELEASE", "Planned", "bench_tasks", "machine", "no_load", "outage_tasks"]

LOCK_OUT, RELEASE = (kinds_of_work()[kind].name for kind in ("lock-out", "release"))
WARMED = 308.15  # K, 35 degC, inside the 15 to 40 degC of a bond; common practice, no source
_COOL = 313.15  # K, below it nothing has to cool before hands and adhesive; common practice, no source
_PAD = "adhesive pad"
_BOX, _LIGHT, _PROBE = "hang enclosure", "fix light", "fit probe"
_ZERO_C = 273.15


@dataclass(frozen=True)
class Planned:
    """A task with its kind and where it is, empty for one that is everywhere, and how its duration is known."""

    task: Task
    kind: str
    where: str
    origin: Origin
    source: str


class _Maker:
    """Tasks of one job, by its own durations where it gives some."""

    def __init__(self, job: Job) -> None:
        self.stated = dict(job.outage.stated)
        self.usual = kinds_of_work()

    def make(self, kind: str, where: str = "", after: Iterable[After] = (), *, times: int = 1, at_rest: float = 0.0) -> Planned:
        usual = self.usual[kind]
        shortest, longest = (times * time for time in self.range_of(usual))
        name = usual.name.format(where=where)
        task = Task(name, shortest, longest, usual.crew, usual.state, tuple(after), usual.beforehand, usual.optional, at_rest)
        origin, source = (Origin.ESTIMATED, "job.yaml outage.durations") if kind in self.stated else (Origin.ASSUMED, usual.source)
        return Planned(task, kind, where, origin, source)

    def range_of(self, usual: Work) -> tuple[float, float]:
        return self.stated.get(usual.kind, (usual.shortest, usual.longest))


def bench_tasks(job: Job, prepared: int) -> tuple[Planned, ...]:
    """What is done on the bench before anybody travels, one after another.

    Parameters
    ----------
    job : Job
    prepared : int
        Plates, boxes and feet to be drilled there.
    """
    maker = _Maker(job)
    made: list[Planned] = []

    def then(kind: str, where: str = "", *, times: int = 1) -> None:
        made.append(maker.make(kind, where, [After(made[-1].task.name)] if made else [], times=times))

    for material, _ in materials(job.kit):
        then("cut", material)
    if prepared:
        then("prepare", times=prepared)
    if job.bus.devices:
        then("address and label", times=len(job.bus.devices))
        then("whole bus with the actual cables")
        then("soak")
    return tuple(made)


def machine(job: Job) -> Machine:
    """How long the machine takes to cool and to run again, to be locked out and to be released, at the longest."""
    maker = _Maker(job)
    hot = job.housing.surface_temperature
    cooling = 0.0 if hot is not None and hot <= _COOL else maker.range_of(maker.usual["cooling"])[1]
    return Machine(cooling, *(maker.range_of(maker.usual[kind])[1] for kind in ("restart", "lock-out", "release")))


def no_load(job: Job, bond: str) -> After:
    """How long a bond of the kit must be left alone: four fixture times at the metal's temperature; less on warmed metal."""
    glue = job.kit.adhesive or adhesive(USUAL)
    metal = REFERENCE if job.kit.metal_temperature is None else max(job.kit.metal_temperature, COLDEST)  # colder is a blocker
    times = {"open_time": glue.open_time, "fixture_time": glue.fixture_time, "full_time": glue.full_time}
    wait, warmed = (cure_schedule(**times, metal_temperature=kelvin).no_load_until for kelvin in (metal, max(metal, WARMED)))
    way = f"hold the metal at {WARMED - _ZERO_C:.0f} °C"
    return After(bond, wait, "four fixture times without load", warmed if warmed < wait else None, way)


def outage_tasks(job: Job, parts: list[dict[str, Any]], cables: list[dict[str, Any]]) -> tuple[Planned, ...]:
    """What is done in the outage.

    Parameters
    ----------
    job : Job
    parts, cables : list of dict
        Of the plan in the making.
    """
    maker = _Maker(job)
    locked = maker.make("lock-out")
    start = After(locked.task.name)
    ready: dict[str, tuple[After, ...]] = {}
    made: list[Planned] = [locked]
    for part in parts:
        tasks, ready[part["name"]] = _mounted(job, maker, part, start)
        made += tasks
    fitted = list(_fitted(job, maker, start))
    made += fitted
    routes = [maker.make("route", row["device"], _there(_reached(job, row["device"], ready, fitted) or (start,))) for row in cables]
    made += routes
    if routes or _from_the_mains(job):
        made += _supplied(job, maker, start, fitted)
    if routes:
        made += _wired(job, maker, [After(one.task.name) for one in (*routes, *fitted)], made[-1], ready)
    if len(made) == 1:
        return ()
    left_alone = {one.task: one for after in ready.values() for one in after if one.wait}
    stopped = [left_alone.get(one.task.name, After(one.task.name)) for one in made]
    made.append(maker.make("release", after=stopped))
    if routes:
        lights = [device.name for device in job.bus.devices if device.profile == "stack light"]
        made += [maker.make("light test", name, [After(RELEASE)]) for name in lights]
        made.append(maker.make("controller test", after=[After(RELEASE)]))
    made.append(maker.make("first look", after=[After(RELEASE)]))
    return tuple(made)


def _reached(job: Job, name: str, ready: Mapping[str, tuple[After, ...]], fitted: Iterable[Planned]) -> tuple[After, ...]:
    """What must be there before a device's cable can be laid: its sensor, light or probe."""
    device = next(one for one in job.bus.devices if one.name == name)
    kind = {"stack light": _LIGHT, "temperature converter": _PROBE}.get(device.profile)
    return ready.get(device.point, ()) or tuple(After(one.task.name) for one in fitted if one.kind == kind)


def _fitted(job: Job, maker: _Maker, start: After) -> Iterator[Planned]:
    """What goes on beside the sensors; a bracket is there before what it carries."""
    kit = job.kit
    brackets = {one.name: maker.make("fit bracket", one.name, [start]) for one in kit.brackets}
    yield from brackets.values()
    every = [start, *(After(one.task.name) for one in brackets.values())]

    def on(bracket: str) -> list[After]:
        return [start, After(brackets[bracket].task.name)] if bracket in brackets else every

    feet = [maker.make("fit", screw.name, every) for screw in kit.screws]
    yield from feet
    if kit.enclosure:
        yield maker.make(_BOX, "edge enclosure", on(kit.enclosure.bracket))
    if kit.light:
        yield maker.make(_LIGHT, "stack light", [*on(kit.light.bracket), *(After(one.task.name) for one in feet)])
    if kit.probe:
        yield maker.make(_PROBE, "sump sensor", [start])


def _mounted(job: Job, maker: _Maker, part: Mapping[str, Any], start: After) -> tuple[list[Planned], tuple[After, ...]]:
    """The tasks that put one sensor on, and what its cable waits for."""
    name, mount = part["name"], part["mount"]
    if mount == "stud":
        wall = maker.make("measure the wall", name, [start])
        hole = maker.make("drill and tap", name, [After(wall.task.name), start])
        put = maker.make("mount", name, [After(hole.task.name)])
        return [wall, hole, put], (After(put.task.name),)
    if mount in MOUNTS_BONDED:
        left_alone = no_load(job, maker.usual["bond"].name.format(where=name))
        bond = maker.make("bond", name, [start], at_rest=left_alone.wait)  # the drive shakes a bond once it runs
        if _PAD not in mount:
            return [bond], (left_alone,)
        put = maker.make("mount", name, [left_alone])
        return [bond, put], (After(put.task.name),)
    put = maker.make("mount", name, [start])
    return [put], (After(put.task.name),)


def _from_the_mains(job: Job) -> bool:
    return bool(job.power.branch or _has_conduit(job))


def _has_conduit(job: Job) -> bool:
    branch = job.power.branch
    entries = any(entry.kind == "conduit" for entry in job.power.entries)
    return bool(job.kit.conduit or (branch and branch.conduit) or entries)


def _supplied(job: Job, maker: _Maker, start: After, fitted: Iterable[Planned]) -> Iterator[Planned]:
    """The supply, last: it comes into an enclosure that hangs, through a conduit that is there."""
    waits = [start, *(After(one.task.name) for one in fitted if one.kind == _BOX)]
    if _has_conduit(job):
        pipe = maker.make("conduit", after=waits)
        yield pipe
        waits = [start, After(pipe.task.name)]
    yield maker.make("mains", after=waits)


def _wired(
    job: Job, maker: _Maker, there: list[After], mains: Planned, ready: Mapping[str, tuple[After, ...]]
) -> Iterator[Planned]:
    """Wiring, dead tests and tap tests."""
    tapped = list(dict.fromkeys(device.point for device in job.bus.devices if device.point in ready))
    cured = [one for point in tapped for one in ready[point] if one.wait]
    wire = maker.make("wire", after=[*there, *cured], times=len(job.bus.devices))
    dead = maker.make("dead tests", after=[After(wire.task.name), After(mains.task.name)])
    yield from (wire, dead, maker.make("tap test", after=[After(dead.task.name)], times=max(1, len(tapped))))


def _there(ready: Iterable[After]) -> list[After]:
    """A cable is laid as soon as its sensor is in place: clips do not load a bond, its plug does."""
    return [After(one.task) for one in ready]
