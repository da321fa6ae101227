"""The shape of the serial bus in job.yaml: its devices, and how it is wired."""

from typing import Literal

from pydantic import Field

from gearcase.install.bus_wiring import Screen
from gearcase.job.fields import (
    Address,
    Connection,
    Current,
    Length,
    Name,
    Part,
    PlainNumber,
    Registers,
    Resistance,
    Section,
    Stub,
    Time,
    Voltage,
    VoltageBetween,
)

__all__ = ["BiasModel", "BusModel", "ControllerModel", "DeviceModel", "SplitterModel", "TerminationModel"]


class DeviceModel(Section):
    """A device on the serial bus."""

    name: Name = Field(description="name of the device")
    address: Address = Field(description="unit address, 1 to 247")
    registers: Registers = Field(description="registers read at each poll, 1 to 125")
    run: Length = Field(description="length of the cable that brings the bus to it, e.g. 8 m")
    point: Name = Field("", description="the measuring point it serves")
    profile: Name = Field("", description="what its registers mean, e.g. three-axis vibration, or a profile of profiles/NAME.csv")
    stub: Stub | None = Field(None, description="its branch off the trunk, 0 m where the trunk loops through it")
    unit_load: PlainNumber | None = Field(None, description="its share of a unit load by its data sheet, e.g. 0.125")
    rise_time: Time | None = Field(
        None, description="of its driver's edge by its data sheet, e.g. 250 ns; left out it counts as fast"
    )
    isolated: bool | None = Field(None, description="true where its transceiver is isolated")
    ground_difference: VoltageBetween | None = Field(None, description="of its ground to the controller's at full load, e.g. 0.5 V")
    current: Current | None = Field(None, description="drawn from the supply of the bus, e.g. 40 mA; 0 A where it has its own")
    inrush: Current | None = Field(None, description="drawn when switched on, e.g. 0.5 A")
    least_volts: Voltage | None = Field(None, description="least volts it works at, e.g. 18 V")


class ControllerModel(Section):
    """What asks the devices."""

    name: Name = Field("controller", description="what it is called, e.g. edge computer")
    unit_load: PlainNumber = Field(1.0, description="its share of a unit load, e.g. 0.125")
    rise_time: Time | None = Field(None, description="of its driver's edge, e.g. 250 ns; left out it counts as fast")
    isolated: bool = Field(False, description="true where its transceiver is isolated")


class SplitterModel(Section):
    """A joint on the trunk."""

    name: Name = Field(description="what it is called")
    branches: list[Length] = Field(default_factory=list, description="a list of the branches' lengths, e.g. [0.3 m, 0.5 m]")


class TerminationModel(Section):
    """A resistor across the line."""

    at: Name = Field(description="where it sits: a device or the controller")
    resistance: Resistance = Field(description="e.g. 120 ohm")
    capacitor: bool = Field(False, description="true where a capacitor stands in series")


class BiasModel(Section):
    """Pull-up and pull-down."""

    at: Name = Field(description="where they sit: a device or the controller")
    supply: Voltage = Field(description="what they pull to, e.g. 5 V")
    each: Resistance = Field(description="of each, e.g. 620 ohm")


class BusModel(Section):
    """The serial bus."""

    baud: Literal[1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200] = Field(19200, description="baud, e.g. 19200")
    device_delay: Time | None = Field(None, description="how long a device takes to answer, e.g. 5 ms")
    connection: Connection | None = Field(
        None, description="how it is reached, e.g. tcp 192.0.2.10:502, rtu-over-tcp 192.0.2.10:4001 or serial /dev/ttyUSB0 8E1"
    )
    controller: ControllerModel = Field(
        default_factory=ControllerModel, description="what asks: name, unit_load, rise_time, isolated"
    )
    devices: list[DeviceModel] = Field(default_factory=list, description="a list of devices, each with address and registers")
    along: list[Name] = Field(
        default_factory=list, description="what the trunk passes, end to end; left out: the controller, then the devices as listed"
    )
    length: Length | None = Field(None, description="of the trunk, e.g. 60 m; left out: the sum of the runs")
    impedance: Resistance | None = Field(None, description="of the cable, e.g. 120 ohm")
    velocity: Part | None = Field(None, description="propagation along the cable over that of light, e.g. 66 %")
    splitters: list[SplitterModel] = Field(default_factory=list, description="a list of joints, each with its branches")
    terminations: list[TerminationModel] | None = Field(None, description="a list: what ends the line, each with at and resistance")
    bias: list[BiasModel] = Field(default_factory=list, description="a list of bias resistors, each with at, supply and each")
    screen: Literal[tuple(Screen)] | None = Field(None, description="where it is earthed: one end or both ends")  # type: ignore[valid-type]
    screen_bonds: list[Name] = Field(default_factory=list, description="a list of the places where it is earthed")
    spare_unit_loads: PlainNumber = Field(0.0, description="kept free for devices to come, e.g. 2")
