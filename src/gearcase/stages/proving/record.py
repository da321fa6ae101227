"""Proving a sensor's record, the drive running: is it fit to be judged, and do the meshes stand where the model has them?

A mesh is looked for within 2 % of its place by the speed that the drive's inputs give; of those seen, each must stand within 0.2 %.
A tooth counted wrong moves its mesh by more than that band, and then no line is there.
"""

from collections.abc import Iterable

import numpy as np

from gearcase.device.records import take_records
from gearcase.drive.lines import expected_lines
from gearcase.findings import Level
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import certain_lines, transform
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["record", "record_at_load"]

_SEARCHED, _WITHIN = 0.02, 0.002  # of its place; the latter the trade's criterion, common practice, no source
_CERTAIN = 30.0  # of a line's power over the floor, which noise reaches once in 1e13 bins


async def record_at_load(proving: Proving, one: Device) -> Row:
    """Quality of its record while the converter and the currents in the ground do their worst."""
    if says := await proving.below_full_load():
        return left_open(says)
    return await record(proving, one)


async def record(proving: Proving, one: Device) -> Row:
    """Quality of its records, of every form and axis, and the meshes in them against the model."""
    running = await proving.running()
    if not running:
        return left_open("the drive stands, or nobody says that it runs: its record is proved while it runs, at a steady speed")
    taken = [
        recording
        for form in one.device.form.records
        for recording in await take_records(proving.bus, one.device, form, speed_hz=running["speed"], start="")
    ]
    found = [
        finding
        for recording in taken
        for finding in judge_quality(
            np.asarray(recording.samples, dtype=np.float64), sample_rate_hz=recording.sample_rate_hz, unit=recording.unit
        )
    ]
    if blockers := [finding.says for finding in found if finding.level is Level.BLOCKER]:
        return failed("not fit to be judged", "; ".join(dict.fromkeys(blockers)))
    off = _meshes(proving, taken, running["speed"])
    measured = "; ".join(f"{mesh} {_off_words(share)}" for mesh, share in off.items())
    notes = "; ".join(dict.fromkeys(finding.rule.partition(".")[2] for finding in found))
    if not off:
        says = (
            "no mesh stands where the model has it: look at tooth counts and speed; or the load is too small, prove it at full load"
        )
        return failed("no mesh seen", says)
    wrong = {mesh: share for mesh, share in off.items() if abs(share) > _WITHIN}
    if wrong:
        says = "speed input, sample rate or tooth count is wrong: all meshes alike, the speed or the rate; one alone, its teeth"
        return failed(measured, says)
    return passed(f"{measured}; quality sound{f' but for {notes}' if notes else ''}")


def _off_words(share: float) -> str:
    """How far off the model, to a hundredth of a per cent."""
    return "on its place by the model" if abs(share) < 5e-5 else f"{100 * share:+.2f} % off the model"


def _meshes(proving: Proving, taken: Iterable[Recording], speed_hz: float) -> dict[str, float]:
    """How far each mesh that is seen stands from its place by the model, relative to it; where several records see it, the one in
    which it stands out most.
    """
    orders = {
        line.component: line.order for line in expected_lines(proving.job.drive) if line.kind == "mesh" and line.harmonic == 1
    }
    seen: dict[str, tuple[float, float]] = {}
    for recording in taken:
        spectrum = transform(np.asarray(recording.samples, dtype=np.float64), sample_rate_hz=recording.sample_rate_hz)
        lines = certain_lines(spectrum.strength, bin_hz=spectrum.bin_hz, least=_CERTAIN)
        for mesh, order in orders.items():
            place = order * speed_hz
            near = np.flatnonzero(np.abs(lines.hz / place - 1) <= _SEARCHED)
            if near.size:
                strongest = near[np.argmax(lines.strength[near])]
                stands = float(lines.strength[strongest]), float(lines.hz[strongest] / place - 1)
                seen[mesh] = max(seen.get(mesh, stands), stands)
    return {mesh: off for mesh, (_, off) in seen.items()}
