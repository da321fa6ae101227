"""What is said of every open recording, beside what is documented of it: `python -m studies.recordings FOLDER`.

Prints the tables of docs/recordings.md. FOLDER holds the open data sets, one folder each; their terms are test use only and nothing
of them is shipped. Every record is judged under a neutral name from samples, sample rate and the speed that its description states;
what is documented is set beside the verdict afterwards.
"""

import argparse
import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import scipy.constants
import scipy.io
import scipy.stats
from numpy.typing import NDArray

from gearcase.findings import Level
from gearcase.job.build import Job, load
from gearcase.judge.changed import change, level
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.record.readers import read_recording
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording
from gearcase.signal.tachometer import read_pulses
from gearcase.stages import diagnose
from studies.bearing_lives import BEARINGS, DIRECTIONS, KELVIN, temperature, temperature_limit, watched

EXAMPLES = Path(__file__).parents[1] / "examples"
LOADS = (0, 20, 40, 60, 80)
MESH_HZ, UNEXPLAINED_HZ = 766.6, (594.9, 938.3, 1109.9)  # of the gear pair, its description


@dataclass(frozen=True)
class Row:
    """One record: what is documented of it, what was said, both figures; `right` is None where nothing could be right or wrong."""

    record: str
    documented: str
    said: str
    noise: float | None
    attribution: float | None
    right: bool | None


def bearings(folder: Path) -> Iterator[Row]:
    """Seeded bearing faults of two rigs: the right part and nothing else; healthy is clean."""
    job = load(EXAMPLES / "rig-mfpt")
    for path in sorted((folder / "mfpt_bearing").glob("*.mat")):
        held = scipy.io.loadmat(path, simplify_cells=True)["bearing"]
        fault = "outer_race" if path.name.startswith("Outer") else "inner_race"
        document = judged(job, held["gs"] * scipy.constants.g, float(held["sr"]), speed_hz=25.0)
        yield row(path.stem, document, ("test bearing", fault))
    job = load(EXAMPLES / "rig-cwru")
    faults = {"IR": "inner_race", "OR": "outer_race", "B0": "rolling_element"}
    for path in sorted((folder / "cwru_bearing").glob("*.mat")):
        for end, name in (("DE", "drive end"), ("FE", "fan end")):
            held = scipy.io.loadmat(path)
            samples = next(value for key, value in held.items() if key.endswith(f"_{end}_time"))
            document = judged(job, np.ravel(samples) * scipy.constants.g, 12000.0, point=name)
            seeded = "fan end bearing" if "_FE_" in path.name else "drive end bearing"
            fault = next((fault for short, fault in faults.items() if f"E_{short}" in path.name), "")
            yield row(f"{path.stem}, {name}", document, (seeded, fault) if fault else None)


def row(record: str, document: dict[str, Any], truth: tuple[str, str] | None) -> Row:
    """A row from a document: right where the truth is named and nothing else, or a healthy record is clean."""
    verdicts = document["verdicts"]
    named = [(verdict["component"], verdict["fault"]) for verdict in verdicts]
    if truth is None:
        right = document["clean"]
    elif named:
        right = named == [truth]
    else:
        right = None
    said = "; ".join(f"{fault.replace('_', ' ')} of {component}" for component, fault in named)
    return Row(
        record,
        f"{truth[1].replace('_', ' ')} of {truth[0]}" if truth else "healthy",
        said or ("clean" if document["clean"] else "cannot tell"),
        max((verdict["noise_false_alarm"] for verdict in verdicts), default=None),
        max((verdict["attribution_false_alarm"] for verdict in verdicts), default=None),
        right,
    )


def judged(
    job: Job, samples: NDArray[np.floating], rate_hz: float, *, point: str = "", speed_hz: float | None = None
) -> dict[str, Any]:
    """The document of one record under a neutral name."""
    record = np.ravel(samples).astype(np.float32)
    return diagnose.run(job, [Recording(record, rate_hz, "m/s2", speed_hz=speed_hz, point=point, name="record")]).document


def gear_pair(folder: Path) -> Iterator[Row]:
    """The gear pair, its fault state not documented: mesh found, and the lines at no place of its two shafts called unexplained."""
    job = load(EXAMPLES / "rig-gear-pair")
    for path in sorted((folder / "gear_pair_rig_2000rpm").glob("*.mat")):
        samples = next(value for key, value in scipy.io.loadmat(path).items() if key == "Data1")
        document = judged(job, samples, 25600.0, speed_hz=2000 / 60)
        speed_hz = document["recordings"][0]["speed_hz"]
        strange = [line["found_hz"] for line in document["unexplained"]]
        listed = [hz for hz in UNEXPLAINED_HZ if np.min(np.abs(np.subtract(strange, hz))) < 0.5]
        claims = [verdict["fault"] for verdict in document["verdicts"]]
        said = f"mesh {23 * speed_hz:.1f} Hz; unexplained: {', '.join(f'{hz:.1f}' for hz in sorted(strange))} Hz"
        right = abs(23 * speed_hz - MESH_HZ) < 0.1 and len(listed) >= 2
        yield Row(path.stem, "state not stated; mesh 766.6 Hz", said + "".join(f"; {fault}" for fault in claims), None, None, right)


def gearbox(folder: Path) -> Iterator[Row]:
    """Healthy and broken tooth at five loads, rates unknown: has the level changed at the same load, higher or lower? As a control
    the halves of each healthy record, between which nothing has.
    """
    names = ("a1", "a2", "a3", "a4")
    compared = 2 * len(LOADS) * len(names)
    for load_percent in LOADS:
        healthy, broken = (np.load(folder / "gearbox_healthy_broken_30hz" / f"{state}30hz{load_percent}.npz") for state in "hb")
        halves = {name: np.array_split(healthy[name], 2) for name in names}
        pairs = {
            "broken tooth": {name: (healthy[name], broken[name]) for name in names},
            "healthy, its halves": {name: (first, second) for name, (first, second) in halves.items()},
        }
        for documented, records in pairs.items():
            told = {name: change(level(before), level(now), compared=compared) for name, (before, now) in records.items()}
            said = ", ".join(f"{name} {one.level_db:+.1f} dB{' changed' if one.changed else ''}" for name, one in told.items())
            chance = max((one.chance for one in told.values() if one.changed), default=None)
            chance = None if chance is None else max(chance, VERIFIED_FLOOR)
            right = any(one.changed for one in told.values()) is (documented == "broken tooth")
            yield Row(f"load {load_percent} %", documented, said, chance, None, right)


def lives(folder: Path) -> Iterator[Row]:
    """Two bearing lives: the first sure warning and the probe of each; day by day in docs/forecast.md."""
    for bearing in BEARINGS:
        for direction in DIRECTIONS:
            found = watched(folder / "pronostia_bearing_life", bearing, direction)
            said = "no sure warning" if found.warned_day is None else f"first sure warning on day {found.warned_day}"
            yield Row(f"{bearing} {direction}", f"runs to failure, day {found.last_day}", said, None, None, None)
        probe, lag = temperature(folder / "pronostia_bearing_life", bearing)
        said = probe.says if lag is None else f"settles at {lag.end_k - KELVIN:.1f} °C, time constant {lag.time_constant_s:.0f} s"
        failed = bearing == "Bearing2_6"
        documented = "probe fails" if failed else "settles near 103.1 °C, about 1850 s"
        yield Row(f"{bearing} temperature", documented, said, None, None, probe.failed is failed)
        held = "probe fails" if failed else "runs at one speed and load"
        limit = temperature_limit(folder / "pronostia_bearing_life", bearing)
        yield Row(f"{bearing} temperature limits on speed, load, ambient", held, limit, None, None, None)


def tachometer(folder: Path) -> Iterator[Row]:
    """A high-speed shaft of nominally 30 Hz: pulses a turn."""
    for path in sorted((folder / "wind_turbine_hss_tach").glob("*.mat")):
        told = read_pulses(np.ravel(scipy.io.loadmat(path)["tach"]), about_hz=30.0)
        said = f"{told.mean_hz:.4f} Hz at {told.pulses_per_turn} pulses a turn"
        yield Row(path.stem, "about 30 Hz", said, None, None, told.pulses_per_turn == 2)


def sensor(folder: Path) -> Iterator[Row]:
    """A three-axis sensor with gravity, at rest and running: what may be judged, and how long gravity is."""
    path, rate_hz = folder / "mems_mpu6050_motor" / "motor_data_20241031_040618.csv", 62.745  # by its time stamps
    with path.open(encoding="utf-8", newline="") as stream:
        on = np.array([row["motor_state"] == "1" for row in csv.DictReader(stream)])
    axes = {axis: read_recording(path, unit="g", channel=f"acc_{axis}", rate_hz=rate_hz).samples for axis in "xyz"}
    for axis, samples in axes.items():
        found = {one.rule: one for one in judge_quality(samples[on], sample_rate_hz=rate_hz, unit="m/s2")}
        clipping = found.get("quality.clipping")
        unfit = clipping is not None and clipping.level is Level.BLOCKER
        said = f"cannot tell: {clipping.says}" if clipping and unfit else "may be judged"
        yield Row(f"{axis}, motor on", "samples cut at the range of 2 g", said, None, None, unfit)
    rest = np.flatnonzero(on)[0]
    gravity = float(np.linalg.norm([samples[:rest].mean() for samples in axes.values()])) / scipy.constants.g
    yield Row("at rest", "gravity, length 1.032 g", f"gravity, length {gravity:.3f} g", None, None, abs(gravity - 1.032) < 0.005)


SETS = {
    "Seeded bearing faults, two rigs": bearings,
    "Gear pair": gear_pair,
    "Gearbox, healthy and broken, rates unknown": gearbox,
    "Bearing lives, a minute for a day": lives,
    "Tachometer": tachometer,
    "Three-axis sensor": sensor,
}


def table(title: str, rows: list[Row]) -> str:
    """One set as Markdown, with how many are wrong and the upper 95 % bound (Clopper and Pearson)."""
    lines = [f"### {title}", "", "| record | documented | said | noise | attribution | |", "|---|---|---|---|---|---|"]
    for one in rows:
        figures = ["" if figure is None else f"{figure:.2g}" for figure in (one.noise, one.attribution)]
        verdict = {True: "right", False: "wrong", None: ""}[one.right]
        lines.append(f"| {' | '.join([one.record, one.documented, one.said, *figures, verdict])} |")
    right, wrong = (sum(one.right is answer for one in rows) for answer in (True, False))
    bound = 1.0 if wrong == len(rows) else float(scipy.stats.beta.ppf(0.95, wrong + 1, len(rows) - wrong))
    return "\n".join(
        [*lines, "", f"{right} of {len(rows)} right, {wrong} wrong (upper 95 % bound {bound:.2f}), the rest says nothing sure.", ""]
    )


def tables(folder: Path) -> str:
    """All sets as Markdown."""
    return "\n".join(table(title, list(rows(folder))) for title, rows in SETS.items())


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="of the open data sets")
    given = parser.parse_args()
    print(tables(given.folder))


if __name__ == "__main__":
    main()
