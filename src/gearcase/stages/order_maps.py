"""Orders over the time of one record, at the speed within it as far as that can be told: by the marks of a tachometer, else by the
phase of a mesh line, or in a run-up or coast-down by the way its lines go; else, and saying so, at one speed for the whole record.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.judge.patterns.angular import mesh_rates, mesh_turning
from gearcase.judge.patterns.observed import Observed, Recorded
from gearcase.judge.patterns.runs import RUNS, turning_in_run
from gearcase.signal.recording import Recording
from gearcase.signal.synchronous import Turning, turning_from_marks
from gearcase.stages.pictured import highest_order, order_map

__all__ = ["OrderMap", "mapped"]


@dataclass(frozen=True)
class OrderMap:
    """Orders over the time of a record.

    Attributes
    ----------
    columns : dict of ndarray
        As `stages.pictured.order_map`; none of a record too short for two stretches.
    own_speed : bool
        Whether each stretch is read at the speed it had.
    says : str
        At which speeds, and what told them or why nothing did.
    """

    columns: dict[str, NDArray[np.floating]]
    own_speed: bool
    says: str


def mapped(drive: Drive, lines: tuple[Line, ...], recorded: Recorded, *, speed_hz: float) -> OrderMap:
    """The order map of a record.

    Parameters
    ----------
    drive : Drive
    lines : sequence of Line
        Its lines, which are to be seen.
    recorded : Recorded
        `Observed` where its meshes may tell the angle.
    speed_hz : float
        Of the reference shaft, on average. [Hz]
    """
    recording, highest, why = recorded.recording, highest_order(lines), []
    for turning, says in _told(drive, lines, recorded):
        if turning is None:
            why.append(says)
            continue
        try:
            columns = order_map(recording, turning, highest)
        except OutOfRange as reason:
            why.append(f"{says}: {reason}")
            continue
        if columns:
            return OrderMap(columns, own_speed=True, says=f"each stretch at its own speed, told by {says}")
        why.append(f"{says}: too few turns")
    says = f"at {60 * speed_hz:.5g} rpm for the whole record, since its own speed is not told ({'; '.join(why)})"
    return OrderMap(order_map(recording, _steady(recording, speed_hz), highest), own_speed=False, says=says)


def _told(drive: Drive, lines: tuple[Line, ...], recorded: Recorded) -> Iterator[tuple[Turning | None, str]]:
    """Turnings with what tells them, the surest first; None with why it does not."""
    marks = recorded.recording.marks_s
    if marks.size:
        try:
            yield turning_from_marks(marks), "its tachometer"
        except OutOfRange as reason:
            yield None, f"its tachometer: {reason}"
    else:
        yield None, "no tachometer was recorded with it" if not recorded.recording.tachometer else "its pulses are not counted"
    if not marks.size and recorded.recording.taken.state in RUNS:
        along = turning_in_run(drive, lines, recorded.recording)
        yield (None, along) if isinstance(along, str) else (along, "the way its lines go")
        return
    if not isinstance(recorded, Observed):
        yield None, "its speed is not known"
        return
    found = mesh_turning(mesh_rates(drive), recorded)
    if isinstance(found, str):
        yield None, found
    else:
        turning, line = found
        yield turning, f"the phase of {line}"


def _steady(recording: Recording, speed_hz: float) -> Turning:
    at_s = np.linspace(0, (recording.samples.size - 1) / recording.sample_rate_hz, 4)
    return Turning(at_s, speed_hz * at_s)
