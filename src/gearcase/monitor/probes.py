"""Whether temperature probes can be believed: what no drive can be is bad, and of a failed probe everything is."""

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from gearcase.judge.settling import COLDEST, HOTTEST, Probe, probe
from gearcase.record.store import Reading

__all__ = ["Probes"]

_EVERY, _LOOK_BACK = 60.0, 3600.0  # a reading a minute, of the last hour [s]


class Probes:
    """The last hour of every probe."""

    def __init__(self) -> None:
        self._rows: dict[str, deque[tuple[float, float]]] = {}
        self._said: dict[str, Probe] = {}

    def believe(self, readings: Iterable[Reading]) -> tuple[list[Reading], list[tuple[str, str]]]:
        """The readings, those that cannot be believed as bad; and what has changed of a probe: point, and what is to be said."""
        said, believed = [], []
        for one in readings:
            if one.quantity != "temperature" or one.quality != "good" or one.value is None:
                believed.append(one)
                continue
            before = self._said.get(one.point)
            found = self._look(one.point, one.time_s, one.value)
            if found.failed != (before is not None and before.failed):
                says = found.says if found.failed else "the probe reads possible temperatures again: prove it before it is trusted"
                said.append((one.point, says))
            bad = found.failed or not COLDEST <= one.value <= HOTTEST
            believed.append(replace(one, quality="bad") if bad else one)
        return believed, said

    def _look(self, point: str, time_s: float, value: float) -> Probe:
        rows = self._rows.setdefault(point, deque())
        if not rows or time_s - rows[-1][0] >= _EVERY:
            rows.append((time_s, value))
            while time_s - rows[0][0] > _LOOK_BACK:
                rows.popleft()
            moments, values = zip(*rows, strict=True)
            self._said[point] = probe(moments, values)
        return self._said[point]
