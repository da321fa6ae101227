"""All families of patterns, looked through together."""

from collections.abc import Callable, Sequence

from gearcase.drive.train import Drive
from gearcase.judge.patterns import background, backstop, electrical, fluting, gears, lubrication, resonance, sensors, shafts
from gearcase.judge.patterns.observed import Observed, Recorded
from gearcase.judge.patterns.signs import Weighed

__all__ = ["FAMILIES", "Family", "examine"]

Family = Callable[[Drive, Sequence[Observed]], tuple[Weighed, ...]]

FAMILIES: tuple[Family, ...] = (
    gears.examine,
    shafts.examine,
    resonance.examine,
    electrical.examine,
    lubrication.examine,
    fluting.examine,
    backstop.examine,
    background.examine,
)


def examine(drive: Drive, records: Sequence[Recorded]) -> tuple[Weighed, ...]:
    """What every pattern of every family says of these records together, given in order of time."""
    observed = tuple(one for one in records if isinstance(one, Observed))
    return (*(weighed for family in FAMILIES for weighed in family(drive, observed)), *sensors.examine(records))
