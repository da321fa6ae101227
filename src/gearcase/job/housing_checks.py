"""What the form of job.yaml cannot see of the housing: walls that contradict themselves, and what lies off the face it belongs to.

A face is the rectangle round all of it, so that its regions, seats, holes and ports lie on it whole. What must be kept clear may
stand beyond it, as a coupling beside a face does.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import BaseModel

from gearcase.errors import Problem
from gearcase.install.housing import Place
from gearcase.job.fields import At, Length, Size
from gearcase.job.housing_schema import WallModel
from gearcase.job.read import Path_, Source
from gearcase.job.schema import read_as

__all__ = ["housing_check"]

_TAPE = 1e-3  # m, what a tape is read to; common practice, no source
_SHOWN = 0.05e-3  # m, half of the last digit a gauge shows; common practice, no source


class _Sized(BaseModel):
    size: Size


class _Lying(BaseModel):
    """Where something lies and how far it reaches, by its size or its diameter; a place alone is a point."""

    at: At
    size: Size | None = None
    diameter: Length | None = None


def housing_check(source: Source) -> Iterator[Problem]:
    """Every problem of the housing and of the walls at the points."""
    faces = source.items(("housing", "faces"))
    regions = [region for face, _ in faces for region in source.items((*face, "regions"))]
    yield from _walls(source, (*source.items(("points",)), *regions))
    sizes: dict[Any, Place] = {}
    for path, face in faces:
        sized = read_as(_Sized, face)
        if sized is None:
            continue  # the form has said what is wrong
        sizes[face.get("name")] = sized.size
        for kind in ("regions", "seats", "threaded_holes"):
            for here, item in source.items((*path, kind)):
                yield from _off(source, here, item, f"face {face.get('name')}", sized.size)
    for here, port in source.items(("housing", "ports")):
        if port.get("face") in sizes:
            yield from _off(source, here, port, f"face {port['face']}", sizes[port["face"]])


def _walls(source: Source, owners: Iterable[tuple[Path_, dict[str, Any]]]) -> Iterator[Problem]:
    for path, owner in owners:
        if not isinstance(owner.get("wall"), dict):
            continue
        wall = read_as(WallModel, owner["wall"])
        if wall is None:
            continue  # the form has said what is wrong
        if wall.thickness is None and not wall.readings:
            yield source.problem((*path, "wall"), "its thickness or its readings", given="neither")
        if wall.thickness is not None and wall.readings and abs(wall.thickness - min(wall.readings)) > _SHOWN:
            least = f"{1000 * min(wall.readings):.4g} mm"
            accepted = f"the least of its readings, {least}, or nothing: a hole counts on the readings, corrected for the metal"
            yield source.problem((*path, "wall", "thickness"), accepted)


def _off(source: Source, path: Path_, item: dict[str, Any], on: str, face: Place) -> Iterator[Problem]:
    lying = read_as(_Lying, item)
    if lying is None:
        return  # the form has said what is wrong
    reach = lying.size or (lying.diameter or 0.0,) * 2
    for place, side, whole, low, high in zip(lying.at, reach, face, ("left", "lower"), ("right", "upper"), strict=True):
        for beyond, edge in ((side / 2 - place, low), (place + side / 2 - whole, high)):
            if beyond > _TAPE:
                size = " by ".join(f"{1000 * one:.4g} mm" for one in face)
                accepted = f"a place on {on}, which is {size}: it reaches {1000 * beyond:.4g} mm beyond its {edge} edge"
                yield source.problem((*path, "at"), accepted)
