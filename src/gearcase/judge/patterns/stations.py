"""What was measured at the bearings of a shaft, direction by direction, and signs that several patterns share.

A station is a measuring point with the directions of the latest file that holds those wanted. Axial channels are taken to point
one way along the shaft.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.judge.patterns.observed import Observed, at_one_time, matched
from gearcase.judge.patterns.signs import Role, Sign
from gearcase.judge.patterns.tones import Tone, Tones
from gearcase.judge.zones import applicable

__all__ = ["AS_HIGH_AGAIN", "RADIAL", "RUNNING", "SHOWS_STANDING", "Measured", "Station", "elsewhere"]

RADIAL = ("horizontal", "vertical")
RUNNING = ("", "steady", "unloaded")  # states in which a shaft turns evenly and is coupled
SHOWS_STANDING = "shows with this drive standing"  # a sign of every pattern of shafts
LARGE = "zone C or grown by 6 dB"  # the needed sign of `Measured.large`
_REACHES = 0.25  # of the line here, that a neighbour's shows at another point; common practice, no source
_EXACT = 5e-4  # spread of a ratio up to which a line is looked for at one place: as far as the speed itself may move
GROWN_DB = 6.0  # growth at matched state that is worth a look; handbooks of vibration diagnosis, from memory
AS_HIGH_AGAIN = 0.5  # a line at least half as high under other circumstances is the same line; common practice, no source


@dataclass(frozen=True)
class Station:
    """A measuring point of a bearing: `tones` by direction; `group` is the same for stations sampled together."""

    point: str
    bearing: str
    tones: Mapping[str, Tones]
    group: int

    def turning(self, direction: str, order: float) -> Tone | None:
        """The line at an order [-] in one direction; None where that direction was not measured."""
        return self.tones[direction].turning(order) if direction in self.tones else None

    def velocity(self, direction: str, order: float) -> float:
        """Of the line at an order [-] in one direction; 0 where it was not measured. [m/s]"""
        tone = self.turning(direction, order)
        return tone.velocity if tone else 0.0

    def radial(self, order: float) -> float:
        """The larger of the two radial velocities at an order [-]. [m/s]"""
        return max(self.velocity(direction, order) for direction in RADIAL)


class Measured:
    """All records of a job, by shaft, point and direction, oldest first.

    `orders` are of the shafts whose speed follows exactly from the reference shaft's, `loose` the spreads of the others. [-]
    `zone_c` is where zone C of ISO 10816-3 begins, None where the drive's power or support is not known. [m/s]
    """

    def __init__(self, drive: Drive, observed: Sequence[Observed]) -> None:
        self.drive = drive
        self.lines = expected_lines(drive)
        self.records = tuple(Tones(one, self.lines) for one in observed)
        carried = {shaft.name for shaft in drive.shafts if shaft.carrier}
        turning = {name: known for name, known in shaft_orders(drive).items() if known.order and name not in carried}
        self.orders = {name: abs(known.order) for name, known in turning.items() if known.spread <= _EXACT}
        self.loose = {name: known.spread for name, known in turning.items() if known.spread > _EXACT}
        self._tones = {id(tones.observed): tones for tones in self.records}
        self._groups = at_one_time(one for one in observed if one.recording.taken.state in RUNNING)
        acceptance = applicable(power=drive.ratings.power, speed_hz=drive.speed_hz, support=drive.ratings.support)
        self.zone_c = acceptance.tables[0].boundaries[1] if acceptance.judged else None

    def at(self, point: str, direction: str, states: Iterable[str]) -> tuple[Tones, ...]:
        """Records of a point in a direction and certain states, oldest first."""
        wanted = tuple(states)
        return tuple(
            tones
            for tones in self.records
            if tones.observed.recording.point == point
            and tones.observed.recording.taken.direction == direction
            and tones.observed.recording.taken.state in wanted
        )

    def alike(self, shaft: str) -> frozenset[str]:
        """Shafts that turn as fast as this one, itself among them: their lines cannot be told apart."""
        return frozenset(name for name, order in self.orders.items() if abs(order - self.orders[shaft]) <= 1e-9)

    def stations(self, shaft: str, *, directions: Iterable[str] = ()) -> tuple[Station, ...]:
        """Points at bearings of a shaft, of each the latest records that hold these directions, sampled together."""
        bearings = {b.name for b in self.drive.bearings if shaft in (b.inner_shaft, b.outer_shaft)}
        wanted = set(directions)
        found: dict[str, Station] = {}
        for number, group in enumerate(self._groups):
            by_point: dict[str, dict[str, Observed]] = {}
            for one in group:
                if one.component in bearings and one.recording.taken.direction:
                    by_point.setdefault(one.recording.point, {})[one.recording.taken.direction] = one
            for point, rows in by_point.items():
                if wanted <= rows.keys():
                    tones = {direction: self._tones[id(one)] for direction, one in rows.items()}
                    found[point] = Station(point, next(iter(rows.values())).component, tones, number)
        return tuple(found.values())

    def large(self, station: Station, orders: Sequence[float]) -> tuple[Sign, float | None]:
        """Whether lines at these orders [-] are more than a sound drive shows, in the direction where they are highest, and by how
        much they have grown at matched state. [dB]
        """
        heights = {direction: _together(tones, orders) for direction, tones in station.tones.items()}
        direction = max(heights, key=lambda one: heights[one])
        tones, velocity = station.tones[direction], heights[direction]
        growth = self._growth(tones, orders, velocity)
        says = f"{1000 * velocity:.2g} mm/s RMS {direction} at {station.point}"
        if growth is not None:
            says += f", {growth:+.1f} dB over the first record at this speed and load"
        if self.zone_c is not None:
            says += f"; zone C begins at {1000 * self.zone_c:.2g} mm/s (ISO 10816-3, a stand-in for gear drives)"
        zone = None if self.zone_c is None else velocity > self.zone_c
        grown = None if growth is None else growth >= GROWN_DB
        seen = True if zone or grown else None if zone is None and grown is None else False
        if seen is None:
            says += (
                "; whether that is much needs the rated power and support, or an earlier record at the same speed and stated load"
            )
        chances = [tone.chance for order in orders if (tone := tones.turning(order))]
        return Sign(Role.NEEDED, LARGE, seen, says, min(chances, default=1.0)), growth

    def standing(self, station: Station, direction: str, tone: Tone) -> Sign:
        """Whether a line is there with this drive standing, here or where else that was recorded: then it is a neighbour's.

        Elsewhere it has to be a good part of what it is there while this drive runs, and of what it is here.
        """
        name = SHOWS_STANDING
        here = station.tones[direction]
        reach = here.reach_hz(tone.hz)
        found: list[tuple[float, bool, str]] = []  # height, whether it is a neighbour's, where
        for still in self.records:
            recording = still.observed.recording
            then = still.at(tone.hz, reach) if recording.taken.state == "standing" else None
            if then is None:
                continue
            if (recording.point, recording.taken.direction) == (station.point, direction):
                found.append((then.velocity, then.velocity >= AS_HIGH_AGAIN * tone.velocity, station.point))
            elif then.shows and then.velocity >= _REACHES * tone.velocity:
                rows = self.at(recording.point, recording.taken.direction, RUNNING)
                running = rows[-1].at(tone.hz, reach) if rows else None
                if running and then.velocity >= AS_HIGH_AGAIN * running.velocity:
                    found.append((then.velocity, True, recording.point))
        if not found:
            once = 1 / here.neighbour_share(tone)
            says = "needs a record with this drive standing and the neighbours running"
            return Sign(
                Role.AGAINST, name, None, f"{says}: one within 2 % of its speed stands as near to the line once in {once:.0f}"
            )
        height, seen, where = max(found, key=lambda one: (one[1], one[0]))
        says = f"{1000 * height:.2g} mm/s at {tone.hz:.2f} Hz at {where} with this drive standing"
        return Sign(Role.AGAINST, name, seen, says)

    def compared(
        self, station: Station, direction: str, order: float, wanted: Callable[[Observed, Observed], bool]
    ) -> tuple[float, Observed] | None:
        """The line at an order [-] in another record of this point and direction, over its height in the latest; the last that is
        wanted, of (other, latest). None where there is none. [-]
        """
        here = station.tones[direction]
        now = here.turning(order)
        for tones in reversed(self.records):
            one, latest = tones.observed, here.observed
            same = (one.recording.point, one.recording.taken.direction) == (station.point, direction)
            if tones is here or not same or not wanted(one, latest):
                continue
            then = tones.turning(order)
            if then and now and now.velocity:
                return max(then.velocity, then.floor) / now.velocity, one
        return None

    def _growth(self, tones: Tones, orders: Sequence[float], velocity: float) -> float | None:
        first = next((one for one in self.records if one is not tones and matched(one.observed, tones.observed)), None)
        if first is None or not velocity or self.records.index(first) > self.records.index(tones):
            return None
        return float(20 * np.log10(velocity / max(_together(first, orders), _floor(first, orders))))


def elsewhere(decoys: float, rivals: Mapping[str, bool]) -> float:
    """Chance that what shows belongs elsewhere: the decoys' share [-], or that of the rivals, each as likely as the pattern itself,
    which no sign has told apart. [-]

    >>> elsewhere(0.01, {"bent shaft": True, "resonance": False})
    0.5
    """
    left = sum(not told_apart for told_apart in rivals.values())
    return max(decoys, left / (left + 1))


def _together(tones: Tones, orders: Sequence[float]) -> float:
    found = [tone for order in orders if (tone := tones.turning(order))]
    return float(np.sqrt(sum(tone.velocity**2 for tone in found if tone.shows)))


def _floor(tones: Tones, orders: Sequence[float]) -> float:
    found = [tone for order in orders if (tone := tones.turning(order))]
    return float(np.sqrt(sum(tone.floor**2 for tone in found))) or 1e-12
