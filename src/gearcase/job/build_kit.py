"""From the document to the housing, the points, the kit and the bus."""

from gearcase.install.housing import (
    Bus,
    BusDevice,
    Cable,
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
)
from gearcase.install.lengths import SAW_KERF, Lengths, Piece, Stock
from gearcase.install.points import Point, Sensor
from gearcase.job.housing_schema import HousingModel, PortModel, WallModel
from gearcase.job.kit_schema import BusModel, HoleModel, KitModel, LengthsModel, PointModel
from gearcase.job.read import Source
from gearcase.units import INCH, parse_thread

__all__ = ["build_bus", "build_housing", "build_kit", "build_point"]


def build_point(source: Source, index: int, model: PointModel) -> Point:
    """A measuring point."""
    sensor = model.sensor
    return Point(
        name=model.name,
        sensor=Sensor(
            sensor.kind, sensor.lowest, sensor.highest, sensor.axes, sensor.mass, sensor.range, sensor.base, sensor.hottest
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
    )


def _hole(model: HoleModel) -> Hole:
    return Hole(model.thread, model.full_thread, model.spot_face or 0.0, model.tap)


def build_housing(source: Source, model: HousingModel) -> Housing:
    """The housing with its faces and ports."""
    faces = tuple(
        Face(
            face.name,
            face.size,
            tuple(KeepOut(part.name, part.at, part.size, part.kind) for part in face.keep_outs),
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


def _port(model: PortModel, where: str) -> Port:
    pitch = model.pitch if model.threads_per_inch is None else INCH / model.threads_per_inch
    room = (model.below_minimum, model.above_floor, model.to_wheel)
    return Port(model.name, model.kind, model.face, model.at, pitch, model.angle, model.major_diameter, *room, where=where)


def _wall(model: WallModel) -> Wall:
    return Wall(model.thickness, model.gauge_error or 0.0, model.origin)


def build_kit(model: KitModel) -> Kit:
    """What is brought along."""
    return Kit(
        tuple(Cable(c.name, c.length, c.wire or "") for c in model.cables),
        model.adhesive_cure,
        model.metal_temperature,
        tuple(Screw(screw.name, screw.size, screw.fit) for screw in model.screws),
        strut=_lengths(model.strut) if model.strut else None,
        conduit=_lengths(model.conduit) if model.conduit else None,
    )


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


def build_bus(source: Source, model: BusModel) -> Bus:
    """The serial bus."""
    devices = tuple(
        BusDevice(d.name, d.address, d.registers, d.run, d.point, source.where(("bus", "devices", n)), d.profile or "")
        for n, d in enumerate(model.devices)
    )
    return Bus(model.baud, model.device_delay or 0.0, devices, model.connection or "")
