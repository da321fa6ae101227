"""The last of every value, as all faces show it: in the plant's unit, grown stale where nothing new has come."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from gearcase.device.publish.values import PlantValue, Published, Quality

__all__ = ["Latest", "Told"]


@dataclass(frozen=True)
class Told:
    """A value as the plant is told it: in its unit, None where the quality is bad; Unix time [s]."""

    value: float | None
    quality: Quality
    time_s: float


_NOTHING = Told(None, "bad", 0.0)


class Latest:
    """The last of every value.

    Parameters
    ----------
    values : iterable of PlantValue
    clock : callable
        Unix time, the same that `Published.time_s` is of. [s]
    """

    def __init__(self, values: Iterable[PlantValue], clock: Callable[[], float]) -> None:
        self.values = {one.name: one for one in values}
        self.clock = clock
        self._last: dict[str, Told] = {}

    def take(self, given: Mapping[str, Published]) -> None:
        """Keep what is given; a name that is no value of this job is passed over."""
        for name, one in given.items():
            if name in self.values:
                self._last[name] = Told(*self.values[name].shown(one), one.time_s)

    def of(self, name: str) -> Told:
        """What stands of a value now: bad before there was one; stale when its time is too long ago, or to come."""
        last = self._last.get(name, _NOTHING)
        if last.quality == "good" and abs(self.clock() - last.time_s) >= self.values[name].stale_after:
            return Told(last.value, "stale", last.time_s)
        return last
