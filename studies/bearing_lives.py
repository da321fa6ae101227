"""Warning and forecast on two open bearing lives, day by day: `python -m studies.bearing_lives FOLDER`.

FEMTO-ST, PRONOSTIA platform, IEEE PHM 2012 data challenge (P. Nectoux et al.); test use only. The lives lasted hours: a minute of
the test stands for a day of a drive, and its mean is that day's reading. Rules were fixed before these files were read: limits of
`judge.limits.one_week` on snapshots 11 to 110 of each direction, the warning when 3 of 4 readings are over yellow, and each day
what `gearcase trend` would tell from the readings up to it of when the level reaches danger, as a spall of maturity 2.
"""

import argparse
import csv
import functools
import itertools
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.limits import DAY, day_one_temperature, one_week
from gearcase.judge.settling import Probe, Settling, probe, settling
from gearcase.judge.warming import DrivingHistory, fit_warming
from gearcase.stages.trend import Ahead, Series, told

BEARINGS = ("Bearing1_7", "Bearing2_6")
DIRECTIONS = ("h", "v")
SNAPSHOTS = 6  # a minute: one every 10 s
SETTLING = slice(2, 92)  # 90 minutes from the third reading on: the first two were taken before the probe's 43 K step
KELVIN = 273.15
SPEED_HZ = {"Bearing1_7": 30.0, "Bearing2_6": 27.5}  # its description; load constant, what is around it not recorded


@dataclass(frozen=True)
class Watched:
    """One direction of one life; days count from 0, None where it never happened. `forecasts` as in ``trend/1``, one a day."""

    yellow: float
    danger: float
    warned_day: int | None
    danger_day: int | None
    last_day: int
    forecasts: tuple[dict[str, Any], ...]


def columns(path: Path) -> dict[str, NDArray[np.float64]]:
    """Columns of a table with a heading."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


@functools.cache
def watched(folder: Path, bearing: str, direction: str) -> Watched:
    """Limits, warning and daily forecasts."""
    rms = columns(folder / f"{bearing}_trend.csv")[f"rms_{direction}_g"]
    limit = one_week(rms[10:110], point=bearing, quantity="acceleration", unit="g", runs=1, role="study", now=0.0)
    assert limit.yellow is not None and limit.danger is not None
    daily = rms[: len(rms) // SNAPSHOTS * SNAPSHOTS].reshape(-1, SNAPSHOTS).mean(axis=1)
    over = daily > limit.yellow.value
    warned = [day for day in range(3, len(daily)) if over[day - 3 : day + 1].sum() >= 3]
    danger = np.flatnonzero(daily >= limit.danger.value)
    days = np.arange(len(daily)) * DAY
    ahead = Ahead(limit.danger.value, "danger", "spall", 2)
    so_far = (
        Series(bearing, "acceleration", "g", "", "", days[: day + 1], daily[: day + 1], None, ahead) for day in range(len(daily))
    )
    forecasts = tuple(told(series, [])["forecast"] for series in so_far)
    return Watched(
        limit.yellow.value,
        limit.danger.value,
        warned[0] if warned else None,
        int(danger[0]) if len(danger) else None,
        len(daily) - 1,
        forecasts,
    )


def temperature(folder: Path, bearing: str) -> tuple[Probe, Settling | None]:
    """What is said of the probe; and the lag of the first 90 minutes, where the probe can be believed."""
    table = columns(folder / f"{bearing}_temperature.csv")
    time_s, warm = table["t_s"], table["mean_C"] + KELVIN
    said = probe(time_s, warm)
    return said, None if said.failed else settling(time_s[SETTLING], warm[SETTLING])


def temperature_limit(folder: Path, bearing: str) -> str:
    """What limits on speed, load and ambient say of the real hours of a life, and what holds without them."""
    if temperature(folder, bearing)[0].failed:
        return "no limit: the probe has failed"
    table = columns(folder / f"{bearing}_temperature.csv")
    time_s, warm = table["t_s"], table["mean_C"] + KELVIN
    on = np.ones(time_s.size)
    history = DrivingHistory(time_s, on, SPEED_HZ[bearing] * on, on, None, "")
    model = fit_warming(history, warm, judged=on == 1)
    fixed = day_one_temperature(ambient_k=None, point=bearing, role="study", now=0.0)
    assert fixed.yellow is not None and fixed.danger is not None
    over = [f"{name} from minute {int(np.argmax(warm > line.value)) + 1}" if np.any(warm > line.value) else f"{name} never"
            for name, line in (("yellow", fixed.yellow), ("danger", fixed.danger))]  # fmt: skip
    hours = (time_s[-1] - time_s[0]) / 3600
    told = f"usual {model.level - KELVIN:.1f} °C" if model else f"no limit from {hours:.1f} h: a day without interruption is wanted"
    return f"{told}; over the fixed {', '.join(over)} on"


def cases(found: Watched) -> list[str]:
    """Lines of the table: what was said from when to when, and what happened; every date by itself."""
    lines = []
    for answer, group in itertools.groupby(range(len(found.forecasts)), key=lambda day: found.forecasts[day]["answer"]):
        days = list(group)
        if answer != "date":
            lines.append(f"day {days[0]} to {days[-1]}: {answer}")
            continue
        for day in days:
            said = found.forecasts[day]
            early, late = (datetime.fromisoformat(said[name]).timestamp() / DAY for name in ("earliest", "latest"))
            happened = "never reached" if found.danger_day is None else f"reached on day {found.danger_day}"
            hit = found.danger_day is not None and early <= found.danger_day <= late
            lines.append(f"day {day}: day {early:.1f} to {late:.1f}, {said['law']}; {happened}: {'inside' if hit else 'outside'}")
    return lines


def main() -> None:
    """Print the cases."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="with BEARING_trend.csv and BEARING_temperature.csv")
    given = parser.parse_args()
    for bearing in BEARINGS:
        for direction in DIRECTIONS:
            found = watched(given.folder, bearing, direction)
            print(f"{bearing} {direction}: yellow {found.yellow:.3f} g, danger {found.danger:.3f} g, last day {found.last_day}")
            print(f"  first sure warning on day {found.warned_day}, danger reached on day {found.danger_day}")
            for line in cases(found):
                print(f"  {line}")
        said, lag = temperature(given.folder, bearing)
        print(f"{bearing} temperature: {said.says}")
        print(f"  limits on speed, load and ambient: {temperature_limit(given.folder, bearing)}")
        if lag:
            print(
                f"  from {lag.start_k - KELVIN:.1f} to {lag.end_k - KELVIN:.1f} °C, time constant {lag.time_constant_s:.0f} s, ",
                end="",
            )
            print(f"rms {lag.rms_k:.2f} K, settled after {lag.settled_after_s / 60:.0f} min")


if __name__ == "__main__":
    main()
