"""Which parts of a drive the given points can see, and why not the others.

A part is *seen* when a point in a direct path (its own bearing housing, or a bearing of its own shaft for gears and
shafts) shows its lines at true amplitude and, for bearings, reaches the envelope band; *seen weakly* through a longer
path or in a band where lines are only detectable; *blind* otherwise. "No fault seen" means no more than this table.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from gearcase.drive.bearings import Bearing
from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.install.mounting import Sight
from gearcase.install.points import Point

__all__ = ["ENVELOPE_BAND_HZ", "Coverage", "coverage"]

ENVELOPE_BAND_HZ = 5000.0  # impacts ring housing resonances from about here up; common practice, no source
_GRADES = ("seen", "seen weakly", "blind")


@dataclass(frozen=True)
class Coverage:
    """How well one part is seen: `grade` is seen, seen weakly or blind; `point` is the best point or empty."""

    component: str
    kind: str
    grade: str
    why: str
    point: str


def coverage(
    drive: Drive,
    points: Iterable[Point],
    lines: Iterable[Line],
    *,
    bands: Mapping[str, Sight | None],
    lowest_speed_hz: float,
    highest_speed_hz: float,
) -> tuple[Coverage, ...]:
    """One row for each shaft, mesh and bearing of the drive, by its best point.

    Parameters
    ----------
    drive : Drive
    points : iterable of Point
    lines : iterable of Line
        As `drive.lines.expected_lines` gives them.
    bands : mapping
        What each point sees on the running drive, by its name; None while its mount or sensor is not known.
    lowest_speed_hz, highest_speed_hz : float
        Speed range of the reference shaft. [Hz]
    """
    listed = tuple(points)
    by_part: dict[str, list[Line]] = {}
    for line in lines:
        if line.kind in ("hunting_tooth", "assembly_phase", "sideband", "cage", "member_tooth", "planet_pass"):
            continue  # they ride on lines judged here already
        by_part.setdefault(line.component, []).append(line)
    shown = {mesh.group for mesh in drive.meshes if mesh.group and mesh.name in by_part}  # a set's meshes at one rate are one line
    parts = [
        *((shaft.name, "shaft") for shaft in drive.shafts if not shaft.held),
        *((mesh.name, "mesh") for mesh in drive.meshes if mesh.name in by_part or mesh.group not in shown),
        *((bearing.name, "bearing") for bearing in drive.bearings),
    ]
    speeds = (lowest_speed_hz, highest_speed_hz)
    seen = tuple((point, bands[point.name]) for point in listed)
    return tuple(_best(name, kind, drive, seen, by_part.get(name, []), speeds) for name, kind in parts)


def _best(
    name: str,
    kind: str,
    drive: Drive,
    points: tuple[tuple[Point, Sight | None], ...],
    lines: list[Line],
    speeds: tuple[float, float],
) -> Coverage:
    if not lines:
        return Coverage(name, kind, "blind", "its lines are unknown: see what is still unknown", "")
    if not points:
        return Coverage(name, kind, "blind", "no measuring point is given", "")
    nearest_first = sorted(points, key=lambda pair: not _direct(name, kind, drive, pair[0]))
    judged = [_judge(name, kind, drive, point, band, lines, speeds) for point, band in nearest_first]
    return min(judged, key=lambda row: _GRADES.index(row.grade))


def _judge(
    name: str, kind: str, drive: Drive, point: Point, band: Sight | None, lines: list[Line], speeds: tuple[float, float]
) -> Coverage:
    if band is None:
        lacking = "its mount" if not point.mount else "its sensor's highest frequency"
        return Coverage(name, kind, "blind", f"nobody has said {lacking} at {point.name}", point.name)
    seen, reason = _band(kind, lines, band, *speeds)
    direct = _direct(name, kind, drive, point)
    if point.sensor.kind == "overall" and seen != "blind":
        return Coverage(
            name,
            kind,
            "seen weakly",
            f"{point.name} gives one overall figure: it cannot tell this part from another",
            point.name,
        )
    if seen == "seen" and not direct:
        return Coverage(name, kind, "seen weakly", f"only through the housing from {point.name}", point.name)
    path = "direct path" if direct else "through the housing"
    return Coverage(name, kind, seen, f"{reason}, {path} to {point.name}", point.name)


def _band(kind: str, lines: list[Line], band: Sight, low: float, high: float) -> tuple[str, str]:
    lowest = min(line.hz(low) for line in lines)
    highest = max(line.hz(high) for line in lines)
    if highest < band.lowest_hz:
        return "blind", f"all its lines lie below the {band.lowest_hz:.3g} Hz where the sensor begins"
    if lowest > band.detectable_hz:
        return "blind", f"all its lines lie above the {band.detectable_hz:.5g} Hz that the mount passes"
    notes = []
    if lowest < band.lowest_hz:
        notes.append(f"its lowest line, {lowest:.3g} Hz, lies below the {band.lowest_hz:.3g} Hz where the sensor begins")
    if highest > band.true_hz:
        notes.append(f"lines above {band.true_hz:.5g} Hz are detectable at best ({band.limited_by})")
    if kind == "bearing" and band.detectable_hz < ENVELOPE_BAND_HZ:
        notes.append(
            f"early faults ring above {ENVELOPE_BAND_HZ:.0f} Hz and this ends at {band.detectable_hz:.5g} Hz ({band.limited_by})"
        )
    if notes:
        return "seen weakly", "; ".join(notes)
    return "seen", "all its lines lie in the true band"


def _direct(name: str, kind: str, drive: Drive, point: Point) -> bool:
    under = next((bearing for bearing in drive.bearings if bearing.name == point.bearing), None)
    if under is None:
        return False
    if kind == "bearing":
        return under.name == name
    shafts = _shafts_of(under)
    if kind == "shaft":
        return name in shafts
    mesh = next(mesh for mesh in drive.meshes if mesh.name == name)
    return bool({mesh.pinion_shaft, mesh.wheel_shaft} & shafts)


def _shafts_of(bearing: Bearing) -> set[str]:
    return {shaft for shaft in (bearing.inner_shaft, bearing.outer_shaft) if shaft is not None}
