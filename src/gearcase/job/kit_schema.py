"""The shape of what is fitted in job.yaml: points and sensors, housing, kit, bus."""

from typing import Literal

from pydantic import Field

from gearcase.install.mounting import mount_names
from gearcase.job.fields import (
    Acceleration,
    Address,
    At,
    Clock,
    Connection,
    Count,
    Frequency,
    Length,
    Mass,
    Mount,
    Name,
    ProfileName,
    Registers,
    ScrewSize,
    Section,
    Temperature,
    Thread,
    Time,
    WireSize,
)
from gearcase.job.housing_schema import WallModel

__all__ = [
    "BusModel",
    "CableModel",
    "DeviceModel",
    "HoleModel",
    "KitModel",
    "LengthsModel",
    "PieceModel",
    "PointModel",
    "ScrewModel",
    "SensorModel",
    "StockModel",
]


class SensorModel(Section):
    """A vibration sensor, from its data sheet."""

    kind: Literal["waveform", "overall"] = Field("waveform", description="waveform (samples) or overall (one figure)")
    lowest: Frequency | None = Field(None, description="lowest frequency it shows, e.g. 2 Hz")
    highest: Frequency | None = Field(None, description="highest frequency it shows, e.g. 10 kHz")
    axes: Literal[1, 3] = Field(1, description="1 or 3")
    mass: Mass | None = Field(None, description="mass, e.g. 80 g")
    range: Acceleration | None = Field(None, description="range, e.g. 50 g")
    base: Length | None = Field(None, description="diameter of its base or pad, e.g. 25 mm")
    hottest: Temperature | None = Field(None, description="hottest surface it stands, e.g. 85 °C")


class HoleModel(Section):
    """A tapped blind hole for a stud."""

    thread: Thread = Field(description="thread, e.g. 1/4-28 or M6")
    full_thread: Length = Field(description="length of full thread, e.g. 6.35 mm")
    spot_face: Length | None = Field(None, description="depth of the spot-face, e.g. 1 mm")
    tap: Literal["plug", "bottoming"] = Field("plug", description="plug or bottoming")


class PointModel(Section):
    """A measuring point."""

    name: Name = Field(description="name of the point")
    sensor: SensorModel = Field(default_factory=SensorModel, description="the sensor, from its data sheet")
    mount: Mount | None = Field(None, description=f"one of: {', '.join(mount_names())}")
    bearing: Name = Field("", description="name of the bearing whose housing it stands on")
    face: Name = Field("", description="face of the housing, e.g. top")
    direction: Literal["radial", "axial"] | None = Field(None, description="radial or axial")
    at: At | None = Field(None, description="place on the face from its lower left corner, e.g. [120 mm, 80 mm]")
    clock: Clock | None = Field(None, description="where the sensor's mark points, seen from outside, in hours, e.g. 12")
    wall: WallModel | None = Field(None, description="wall at this spot: thickness, gauge_error, origin")
    hole: HoleModel | None = Field(None, description="tapped hole for a stud: thread, full_thread, spot_face, tap")


class CableModel(Section):
    """A cable of the kit."""

    name: Name = Field(description="name of the cable")
    length: Length = Field(description="its length, e.g. 10 m")
    wire: WireSize | None = Field(None, description="size of its conductors, e.g. 22 AWG or 0.34 mm2")


class ScrewModel(Section):
    """Screws that pass through a part of the kit."""

    name: Name = Field(description="the part they hold, e.g. foot of the stack light")
    size: ScrewSize = Field(description="size of the screw, e.g. M8 or 1/4")
    fit: Literal["close", "normal", "loose"] = Field("normal", description="close, normal or loose")


class PieceModel(Section):
    """Pieces to be cut, all of one length."""

    name: Name = Field(description="what it becomes, e.g. post of the light")
    length: Length = Field(description="its length, e.g. 600 mm")
    count: Count = Field(1, description="how many, e.g. 2")


class StockModel(Section):
    """A length that can be had."""

    length: Length = Field(description="its length, e.g. 3048 mm or 10 ft")
    name: Name = Field("", description="what it is called, e.g. offcut in the shop; its length by default")
    available: Count | None = Field(None, description="how many there are, e.g. 1; left out for as many as wanted")


class LengthsModel(Section):
    """Pieces of one material, the stock they are cut from, and the saw's kerf."""

    pieces: list[PieceModel] = Field(default_factory=list, description="a list of pieces, each with name and length")
    stock: list[StockModel] = Field(default_factory=list, description="a list of lengths that can be had")
    kerf: Length | None = Field(None, description="what the saw takes at each cut, e.g. 3 mm")


class KitModel(Section):
    """What is brought along."""

    cables: list[CableModel] = Field(default_factory=list, description="a list of cables, each with name and length")
    adhesive_cure: Time | None = Field(None, description="full cure of the adhesive at 23 °C by its data sheet, e.g. 24 h")
    metal_temperature: Temperature | None = Field(None, description="of the metal while bonding, e.g. 18 °C")
    screws: list[ScrewModel] = Field(
        default_factory=list, description="a list of screws that pass through, each with name and size"
    )
    strut: LengthsModel | None = Field(None, description="strut channel to be cut: pieces, stock, kerf")
    conduit: LengthsModel | None = Field(None, description="conduit to be cut: pieces, stock, kerf")


class DeviceModel(Section):
    """A device on the serial bus."""

    name: Name = Field(description="name of the device")
    address: Address = Field(description="unit address, 1 to 247")
    registers: Registers = Field(description="registers read at each poll, 1 to 125")
    run: Length = Field(description="length of its cable run, e.g. 8 m")
    point: Name = Field("", description="the measuring point it serves")
    profile: ProfileName | None = Field(None, description="what its registers mean, e.g. three-axis vibration")


class BusModel(Section):
    """The serial bus."""

    baud: Literal[1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200] = Field(19200, description="baud, e.g. 19200")
    device_delay: Time | None = Field(None, description="how long a device takes to answer, e.g. 5 ms")
    connection: Connection | None = Field(None, description="how it is reached, e.g. tcp 192.0.2.10:502 or serial /dev/ttyUSB0")
    devices: list[DeviceModel] = Field(default_factory=list, description="a list of devices, each with address and registers")
