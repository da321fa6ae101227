"""The tasks of an outage, derived from the parts of a plan: what is done on the bench, locked out, running; what waits for what.

How long each takes is a range of common practice (`outage_tasks.csv`) unless the job gives one. Whatever is done on the standing
drive comes after the lock-out and before the release; what needs the drive to run comes after the restart.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gearcase.install.adhesives import adhesive
from gearcase.install.bonding import COLDEST, REFERENCE, cure_schedule
from gearcase.install.outage import Duration, durations
from gearcase.install.schedule import After, Machine, Task
from gearcase.job.build import Job
from gearcase.stages.bands import MOUNTS_BONDED
from gearcase.worked import Origin

__all__ = ["LOCK_OUT", "RELEASE", "Planned", "bench_tasks", "machine", "no_load", "outage_tasks"]

LOCK_OUT, RELEASE = "lock out and prove still", "release and hand back"
_GENERIC = "two-part methacrylate"  # where the kit does not say which adhesive
WARMED = 308.15  # K, 35 degC, inside the 15 to 40 degC of a bond; common practice, no source
_COOL = 313.15  # K, below it nothing has to cool before hands and adhesive; common practice, no source
_PAD = "adhesive pad"
_ZERO_C = 273.15


@dataclass(frozen=True)
class Planned:
    """A task with its kind, and how its duration is known."""

    task: Task
    kind: str
    origin: Origin
    source: str


class _Maker:
    """Tasks of one job, by its own durations where it gives some."""

    def __init__(self, job: Job) -> None:
        self.stated = dict(job.outage.stated)
        self.usual = durations()

    def make(self, kind: str, name: str, after: Iterable[After] = (), *, times: int = 1, at_rest: float = 0.0) -> Planned:
        usual = self.usual[kind]
        shortest, longest = (times * time for time in self.range_of(usual))
        task = Task(name, shortest, longest, usual.crew, usual.state, tuple(after), usual.beforehand, usual.optional, at_rest)
        origin, source = (Origin.ESTIMATED, "job.yaml outage.durations") if kind in self.stated else (Origin.ASSUMED, usual.source)
        return Planned(task, kind, origin, source)

    def range_of(self, usual: Duration) -> tuple[float, float]:
        return self.stated.get(usual.kind, (usual.shortest, usual.longest))


def bench_tasks(job: Job) -> tuple[Planned, ...]:
    """What is done on the bench before anybody travels, one after another."""
    devices = len(job.bus.devices)
    if not devices:
        return ()
    maker = _Maker(job)
    first = maker.make("address and label", "bench: address and label both ends of every device", times=devices)
    whole = maker.make("whole bus with the actual cables", "bench: the whole bus with the actual cables", [After(first.task.name)])
    return first, whole, maker.make("soak", "bench: soak of the whole bus", [After(whole.task.name)])


def machine(job: Job) -> Machine:
    """How long the machine takes to cool and to run again, to be locked out and to be released, at the longest."""
    maker = _Maker(job)
    hot = job.housing.surface_temperature
    cooling = 0.0 if hot is not None and hot <= _COOL else maker.range_of(maker.usual["cooling"])[1]
    return Machine(cooling, *(maker.range_of(maker.usual[kind])[1] for kind in ("restart", "lock-out", "release")))


def no_load(job: Job, bond: str) -> After:
    """How long a bond of the kit must be left alone: four fixture times at the metal's temperature; less on warmed metal."""
    glue = job.kit.adhesive or adhesive(_GENERIC)
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
    locked = maker.make("lock-out", LOCK_OUT)
    start = After(locked.task.name)
    ready: dict[str, tuple[After, ...]] = {}
    made: list[Planned] = [locked]
    for part in parts:
        tasks, ready[part["name"]] = _mounted(job, maker, part, start)
        made += tasks
    fitted = list(_fitted(job, maker, start))
    made += fitted
    devices = {device.name: device for device in job.bus.devices}
    routes = [
        maker.make("route", f"route cable to {row['device']}", _there(ready.get(devices[row["device"]].point, (start,))))
        for row in cables
    ]
    made += routes
    if routes:
        made += _wired(job, maker, [After(one.task.name) for one in (*routes, *fitted)], start, ready)
    if len(made) == 1:
        return ()
    left_alone = {one.task: one for after in ready.values() for one in after if one.wait}
    stopped = [left_alone.get(one.task.name, After(one.task.name)) for one in made]
    made.append(maker.make("release", RELEASE, stopped))
    if routes:
        lights = [device.name for device in job.bus.devices if device.profile == "stack light"]
        made += [maker.make("light test", f"test {name} in every state", [After(RELEASE)]) for name in lights]
        made.append(maker.make("controller test", "read the test registers back at the controller", [After(RELEASE)]))
    return tuple(made)


def _fitted(job: Job, maker: _Maker, start: After) -> Iterator[Planned]:
    """What goes on beside the sensors; a bracket is there before what it carries."""
    brackets = [maker.make("fit bracket", f"fit bracket: {one.name}", [start]) for one in job.kit.brackets]
    yield from brackets
    there = [start, *(After(one.task.name) for one in brackets)]
    yield from (maker.make("fit", f"fit {screw.name}", there) for screw in job.kit.screws)
    if job.kit.probe:
        yield maker.make("fit probe", "fit the sump's probe", [start])


def _mounted(job: Job, maker: _Maker, part: Mapping[str, Any], start: After) -> tuple[list[Planned], tuple[After, ...]]:
    """The tasks that put one sensor on, and what its cable waits for."""
    name, mount = part["name"], part["mount"]
    if mount == "stud":
        wall = maker.make("measure the wall", f"measure the wall at {name}", [start])
        hole = maker.make("drill and tap", f"drill and tap {name}", [After(wall.task.name), start])
        put = maker.make("mount", f"mount {name}", [After(hole.task.name)])
        return [wall, hole, put], (After(put.task.name),)
    if mount in MOUNTS_BONDED:
        left_alone = no_load(job, f"bond {name}")
        bond = maker.make("bond", left_alone.task, [start], at_rest=left_alone.wait)  # the drive shakes a bond once it runs
        if _PAD not in mount:
            return [bond], (left_alone,)
        put = maker.make("mount", f"mount {name}", [left_alone])
        return [bond, put], (After(put.task.name),)
    put = maker.make("mount", f"mount {name}", [start])
    return [put], (After(put.task.name),)


def _wired(job: Job, maker: _Maker, there: list[After], start: After, ready: Mapping[str, tuple[After, ...]]) -> Iterator[Planned]:
    """Wiring, mains, dead tests and tap tests."""
    tapped = list(dict.fromkeys(device.point for device in job.bus.devices if device.point in ready))
    cured = [one for point in tapped for one in ready[point] if one.wait]
    wire = maker.make("wire", "wire and label every device", [*there, *cured], times=len(job.bus.devices))
    mains = maker.make("mains", "connect the supply", [start])
    dead = maker.make("dead tests", "dead tests", [After(wire.task.name), After(mains.task.name)])
    yield from (wire, mains, dead)
    if tapped:
        yield maker.make("tap test", "poll every device; tap tests", [After(dead.task.name)], times=len(tapped))


def _there(ready: Iterable[After]) -> list[After]:
    """A cable is laid as soon as its sensor is in place: clips do not load a bond, its plug does."""
    return [After(one.task) for one in ready]
