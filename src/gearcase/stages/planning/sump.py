"""The sump's temperature probe: which port, which thread it has, how far the probe goes in and what it must stay clear of."""

from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.fittings import Probe
from gearcase.install.housing import Port
from gearcase.install.pipe_threads import PipeThread, identify, mating, pipe_thread, port_ruling, tell_apart
from gearcase.install.sump import (
    clearance_ruling,
    floor_ruling,
    immersion,
    immersion_needed,
    immersion_ruling,
    tip_clearance,
)
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm, ruling_document, stated
from gearcase.worked import work

__all__ = ["sump"]

CALIPER_ERROR = 0.05e-3  # m, of a caliper on a thread's crests; common practice, no source
_WHERE = "sump sensor"
_WET = ("drain", "side")


def sump(job: Job, draft: Draft) -> dict[str, Any] | None:
    """The probe against its port; None where the kit has none."""
    probe = job.kit.probe
    if probe is None:
        return None
    port = next((port for port in job.housing.ports if port.name == probe.port), None)
    if port is None:
        draft.find(Level.CAUTION, "port", _WHERE, f"nobody has said which port it goes into; {_ports(job)}")
        return {"port": "", "kind": "", "thread_wanted": probe.thread, "candidates": [], "rulings": [], "working": []}
    _choice(job, port, draft)
    candidates = _thread(port, probe, draft)
    document: dict[str, Any] = {
        "port": port.name,
        "kind": port.kind,
        "face": port.face,
        "at_m": list(port.at),
        "thread_wanted": probe.thread,
        "candidates": [{"thread": one.name, "seals": one.seals, "source": one.source} for one in candidates or ()],
        "tell_apart": list(tell_apart(candidates or ())),
        **_room(port, probe, draft),
    }
    if not any(finding.where == _WHERE and finding.level is Level.BLOCKER for finding in draft.findings):
        _steps(port, probe, candidates or (), draft)
    return document


def _ports(job: Job) -> str:
    names = ", ".join(port.name for port in job.housing.ports)
    return f"name one of: {names}" if names else "list the ports of the housing: name, kind, face, what was gauged of the plug"


def _choice(job: Job, port: Port, draft: Draft) -> None:
    if port.kind == "drain":
        others = [one.name for one in job.housing.ports if one.kind == "side" and (one.below_minimum or 0) > 0]
        cure = f"take {others[0]}" if others else "prefer a side port below the minimum level where there is one"
        says = f"the drain collects sludge, and opening it is an oil change: {cure}, or keep draining through a tee"
        draft.find(Level.CAUTION, "drain", _WHERE, says)
    elif port.kind not in _WET:
        draft.find(Level.CAUTION, "port_kind", _WHERE, f"{port.name} is a {port.kind}: take a side port below the minimum level")


def _thread(port: Port, probe: Probe, draft: Draft) -> tuple[PipeThread, ...] | None:
    """Threads the port may have; None where nothing was gauged."""
    if port.pitch is None and port.angle is None and port.major_diameter is None:
        says = f"the thread of {port.name} is not gauged: pitch, angle and outside diameter of its plug, before anything is ordered"
        draft.find(Level.BLOCKER, "port_thread", _WHERE, says)
        return None
    try:
        candidates = identify(
            pitch=port.pitch,
            angle=port.angle,
            major_diameter=port.major_diameter,
            tapered=port.tapered,
            caliper_error=CALIPER_ERROR,
        )
    except OutOfRange as error:
        draft.find(
            Level.BLOCKER, "port_thread", _WHERE, f"the thread of {port.name} cannot be: {error.name} {error.value}: {error.rule}"
        )
        return None
    ruling = port_ruling(candidates)
    if not ruling.holds:
        may_be = ", ".join(one.name for one in candidates) or "no thread of the tables"
        draft.find(Level.BLOCKER, "port_thread", _WHERE, f"by what was gauged {port.name} may be {may_be}: {ruling.cure}")
        return candidates
    if not probe.thread:
        draft.find(Level.CAUTION, "probe_thread", _WHERE, f"the probe's thread is not given; {port.name} is {candidates[0].name}")
        return candidates
    try:
        meets = mating(pipe_thread(probe.thread), candidates[0])
    except OutOfRange as error:
        draft.find(Level.BLOCKER, "probe_thread", _WHERE, f"no pipe thread {probe.thread}: {error.rule}")
        return candidates
    if not meets.startswith("fits"):
        says = f"{probe.thread} in {port.name}, which is {candidates[0].name}: {meets}; order the probe with {candidates[0].name}"
        draft.find(Level.BLOCKER, "probe_thread", _WHERE, says)
    elif meets != "fits":
        draft.find(Level.CAUTION, "probe_thread", _WHERE, f"{probe.thread} in {candidates[0].name} {meets}")
    return candidates


def _room(port: Port, probe: Probe, draft: Draft) -> dict[str, Any]:
    """Immersion, floor and wheel, each with its ruling."""
    if probe.length is None:
        draft.find(Level.CAUTION, "probe_length", _WHERE, "the probe's length from the port's mouth is not given")
        return {"rulings": [], "working": []}
    rulings, working = [], []
    length = stated("length beyond the port's mouth", probe.length)
    clear = clearance_ruling(to_wheel=port.to_wheel, length=probe.length)
    rulings.append(clear)
    if port.to_wheel is None:
        says = f"nobody knows how far the wheel is behind {port.name}: {clear.cure}"
        draft.find(Level.BLOCKER, "tip_clearance", _WHERE, says)
    else:
        worked = work("probe's tip to the wheel", tip_clearance, to_wheel=stated("mouth to wheel", port.to_wheel), length=length)
        working.append(worked.as_dict())
        draft.rule(Level.BLOCKER, "tip_clearance", _WHERE, clear, worked)
    if port.below_minimum is None or probe.tip_diameter is None:
        says = f"depth of {port.name} below the minimum level or the tip's diameter is not given: nothing says that it reads oil"
        draft.find(Level.CAUTION, "immersion", _WHERE, says)
    else:
        below = stated("port below the minimum level", port.below_minimum)
        immersed = work("probe below the minimum level", immersion, length=length, below_minimum=below)
        needed = work("length wanted in the oil", immersion_needed, tip_diameter=stated("tip diameter", probe.tip_diameter))
        working += [immersed.as_dict(), needed.as_dict()]
        rulings.append(immersion_ruling(immersed=immersed.value, tip_diameter=probe.tip_diameter))
        draft.rule(Level.CAUTION, "immersion", _WHERE, rulings[-1], needed)
    if port.above_floor is None:
        draft.find(
            Level.CAUTION, "floor", _WHERE, f"height of {port.name} over the sump's floor is not given: sludge may cover the tip"
        )
    else:
        rulings.append(floor_ruling(above_floor=port.above_floor))
        draft.rule(Level.CAUTION, "floor", _WHERE, rulings[-1])
    return {"rulings": [ruling_document(one) for one in rulings], "working": working}


def _steps(port: Port, probe: Probe, candidates: tuple[PipeThread, ...], draft: Draft) -> None:
    seal = candidates[0].seals if candidates else "as its thread asks"
    length = mm(probe.length) if probe.length is not None else "as its sheet says"
    for what in (
        f"temperature probe, {probe.thread or 'thread as the port'}",
        "catch pan, rags, oil of the same grade for topping up",
    ):
        draft.take(what, _WHERE)
    draft.step(
        _WHERE,
        f"Drain below {port.name} (this is an oil change: oil of the same grade, filter, the old oil to its waste), take out its "
        "plug, gauge it once more; keep the port bagged while it is open.",
        "fit probe",
        tool="catch pan, leaf and form gauge, caliper",
        value=candidates[0].name if candidates else "",
    )
    draft.step(
        _WHERE,
        f"Measure through the port to the wheel, then screw the probe in; it seals {seal}. The tip must stay clear of "
        "the wheel: turn the drive by hand once, and stop at any touch, only where whoever holds the lock allows it and no load, "
        "belt or backstop holds it; else the measure alone decides.",
        "fit probe",
        tool="rod, spanner",
        value=f"{length} beyond the mouth",
        tolerance="25 mm or more from tip to wheel",
    )
    draft.step(
        _WHERE,
        "Fill to the mark, close all, wipe dry; look for leaks cold.",
        "fit probe",
        tool="torch",
        value="level at its mark",
    )
