"""From the document to the housing, the points and the kit."""

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

from gearcase.install.adhesives import Adhesive, adhesive
from gearcase.install.cautions import Part
from gearcase.install.fittings import Bracket, Enclosure, Light, Probe
from gearcase.install.housing import (
    Cable,
    CableEntry,
    Face,
    Hole,
    Housing,
    KeepOut,
    Kit,
    Port,
    Region,
    Screw,
    Seat,
    ThreadedHole,
    Wall,
    within,
)
from gearcase.install.lengths import SAW_KERF, Lengths, Piece, Stock
from gearcase.install.points import Point, Sensor
from gearcase.job.housing_schema import FaceModel, HousingModel, PortModel, WallModel
from gearcase.job.kit_schema import AdhesiveModel, HoleModel, KitModel, LengthsModel, PartModel, PointModel
from gearcase.job.read import Source
from gearcase.units import INCH, parse_thread
from gearcase.worked import Origin

__all__ = ["build_housing", "build_kit", "build_point"]

_HEAD = 1.6  # across the head of a plug or its spanner, in diameters of its thread; common practice, no source
_ASSUMED_HEAD = 0.050  # m, where nobody has gauged it; common practice, no source
_OF_ADHESIVE = {field.name for field in fields(Adhesive)}


def build_point(source: Source, index: int, model: PointModel) -> Point:
    """A measuring point."""
    sensor = model.sensor
    return Point(
        name=model.name,
        sensor=Sensor(
            sensor.kind,
            sensor.lowest,
            sensor.highest,
            sensor.axes,
            sensor.mass,
            sensor.range,
            sensor.base,
            sensor.hottest,
            sensor.resonance,
            sensor.torque_least,
            sensor.torque_most,
        ),
        mount=model.mount or "",
        bearing=model.bearing,
        face=model.face,
        direction=model.direction or "",
        at=model.at,
        wall=_wall(model.wall) if model.wall else None,
        hole=_hole(model.hole) if model.hole else None,
        where=source.where(("points", index)),
        clock=model.clock,
        dynamic_mass=model.dynamic_mass,
        bond_line=model.bond_line,
    )


def _hole(model: HoleModel) -> Hole:
    return Hole(model.thread, model.full_thread, model.spot_face or 0.0, model.tap)


def build_housing(source: Source, model: HousingModel) -> Housing:
    """The housing with its faces and ports."""
    faces = tuple(
        Face(
            face.name,
            face.size,
            (*_keep_outs(face), *_plugs(face, model.ports)),
            face.outward or "",
            tuple(Region(r.name, r.kind, r.at, r.size, _wall(r.wall) if r.wall else None, r.temperature) for r in face.regions),
            tuple(Seat(seat.bearing, seat.at, seat.diameter, seat.load) for seat in face.seats),
            tuple(
                ThreadedHole(hole.name, hole.at, parse_thread(hole.thread).major_diameter, hole.thread, hole.function)
                for hole in face.threaded_holes
            ),
        )
        for face in model.faces
    )
    ports = tuple(_port(port, source.where(("housing", "ports", n))) for n, port in enumerate(model.ports))
    return Housing(model.material or "", model.surface_temperature, faces, model.kind or "", ports)


def _keep_outs(face: FaceModel) -> tuple[KeepOut, ...]:
    return tuple(KeepOut(p.name, p.at, p.size, p.kind, p.from_converter, p.length) for p in face.keep_outs)


def _plugs(face: FaceModel, ports: Sequence[PortModel]) -> Iterator[KeepOut]:
    """The ports of a face that its keep-outs do not cover: nothing may stand on a plug, listed twice or not."""
    listed = _keep_outs(face)
    for port in ports:
        if port.face == face.name and not any(part.kind == "port" and within(port.at, part.at, part.size) for part in listed):
            across = _HEAD * port.major_diameter if port.major_diameter else _ASSUMED_HEAD
            yield KeepOut(port.name, port.at, (across, across), "port")


def _port(model: PortModel, where: str) -> Port:
    pitch = model.pitch if model.threads_per_inch is None else INCH / model.threads_per_inch
    room = (model.below_minimum, model.above_floor, model.to_wheel)
    return Port(model.name, model.kind, model.face, model.at, pitch, model.angle, model.major_diameter, *room, where, model.tapered)


def _wall(model: WallModel) -> Wall:
    sample = (model.sample.caliper, model.sample.reading) if model.sample else None
    least = min(model.readings) if model.readings else model.thickness or 0.0  # `housing_check` refuses a wall of neither
    origin = Origin.MEASURED if model.readings else model.origin
    return Wall(least, model.gauge_error or 0.0, origin, tuple(model.readings), model.velocity_set, sample)


def build_kit(source: Source, model: KitModel) -> Kit:
    """What is brought along."""
    light, box, probe, entry = model.light, model.enclosure, model.probe, model.cable_entry
    return Kit(
        tuple(Cable(c.name, c.length, c.wire or "", c.outside_diameter) for c in model.cables),
        model.adhesive_cure,
        model.metal_temperature,
        tuple(Screw(screw.name, screw.size, screw.fit) for screw in model.screws),
        parts=tuple(_part(part) for part in model.parts),
        adhesive=_adhesive(model.adhesive, model.adhesive_cure) if model.adhesive else None,
        modulus=model.adhesive.modulus if model.adhesive else None,
        air_temperature=model.air_temperature,
        humidity=model.humidity,
        brackets=tuple(
            Bracket(
                name=one.name,
                face=one.face,
                holes=tuple(one.holes),
                at=tuple(one.at),
                thread=one.thread or "",
                grade=one.grade or "",
                full_thread=one.full_thread,
                mass=one.mass,
                thickness=one.thickness,
                where=source.where(("kit", "brackets", n)),
            )
            for n, one in enumerate(model.brackets)
        ),
        light=Light(light.height, light.seen_from, light.bracket) if light else None,
        enclosure=Enclosure(box.size, box.pattern, box.screw or "", box.mass, box.face, box.at, box.bracket) if box else None,
        probe=Probe(probe.port, probe.thread, probe.length, probe.tip_diameter) if probe else None,
        strut=_lengths(model.strut) if model.strut else None,
        conduit=_lengths(model.conduit) if model.conduit else None,
        cable_entry=CableEntry(entry.face, entry.at, entry.beyond or 0.0) if entry else None,
    )


def _adhesive(model: AdhesiveModel, full_cure: float | None) -> Adhesive:
    """The generic adhesive with what its own sheet says put over it; `full_cure` is the kit's, where the sheet's is not given."""
    sheet: dict[str, Any] = {key: value for key, value in model.model_dump().items() if value is not None and key in _OF_ADHESIVE}
    full = model.full_cure if model.full_cure is not None else full_cure
    if full is not None:
        sheet["full_time"] = full
    return replace(adhesive(model.kind), **sheet)


def _part(model: PartModel) -> Part:
    coldest, hottest = (None, None) if model.temperature is None else (model.temperature.low, model.temperature.high)
    return Part(model.name, model.ingress, coldest, hottest, tuple(model.certificates), model.on_housing)


def _lengths(model: LengthsModel) -> Lengths:
    """Pieces one by one; two entries of one stock count together, as many as wanted if one of them says so."""
    pieces = tuple(Piece(piece.name, piece.length) for piece in model.pieces for _ in range(piece.count))
    stocks: dict[tuple[str, float], int | None] = {}
    for one in model.stock:
        named = one.name or f"{1000 * one.length:.6g} mm", one.length
        before = stocks.get(named, 0)
        stocks[named] = None if before is None or one.available is None else before + one.available
    kerf = SAW_KERF if model.kerf is None else model.kerf
    return Lengths(pieces, tuple(Stock(name, length, count) for (name, length), count in stocks.items()), kerf)
