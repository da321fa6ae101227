"""The shape of power in job.yaml: the dc supply and its line, the branch circuit, entries of boxes, power cables nearby."""

from typing import Literal

from pydantic import Field

from gearcase.job.fields import Bends, Count, Current, Extra, Length, Name, Part, Section, Stub, Temperature, Voltage, WireSize

__all__ = ["BranchModel", "EntryModel", "NeighbourModel", "PowerModel", "RunModel"]

_FORMS = Literal["solid", "stranded", "class 2", "class 5"]
_FORM_WORDS = "of the conductors: solid or stranded (AWG), class 2 or class 5 (mm2)"


class RunModel(Section):
    """A run of the supply line."""

    start: Name = Field(description="where it begins: supply, or the end of another run")
    end: Name = Field(description="where it ends: a device of the bus, or a joint")
    length: Length = Field(description="its length, e.g. 12 m")
    wire: WireSize | None = Field(None, description="size of its conductors, e.g. 18 AWG or 1 mm2")
    form: _FORMS | None = Field(None, description=_FORM_WORDS)


class BranchModel(Section):
    """The circuit wanted from a panel, for the licensed electrician."""

    volts: Voltage = Field(description="of the mains, e.g. 120 V")
    length: Length = Field(description="one way from the panel, e.g. 25 m")
    load: Current | None = Field(None, description="continuous load, e.g. 2 A; left out it is worked out from the dc supply")
    feeder_drop: Extra = Field(0.0, description="share of the volts already lost at the panel, e.g. 1 %")
    system: Literal["AWG", "mm2"] = Field("AWG", description="AWG or mm2")
    form: _FORMS | None = Field(None, description=_FORM_WORDS)
    conduit: Name = Field("", description="type of conduit, e.g. EMT; left out where there is none")
    wires: Count = Field(3, description="wires in the conduit, e.g. 3")
    bends: Bends = Field(0.0, description="sum of its bends, e.g. 270 deg")


class EntryModel(Section):
    """A hole in a box."""

    name: Name = Field(description="what enters where, e.g. bus cable into the enclosure")
    kind: Literal["conduit", "gland", "connector"] = Field(description="conduit, gland or connector")
    size: Name = Field(description="its size, e.g. 1/2 for conduit, M20x1.5 for a gland, M12 for a connector")


class NeighbourModel(Section):
    """A power cable that the signal cables follow."""

    name: Name = Field(description="which, e.g. motor cable of the conveyor")
    kind: Name = Field(description="mains power or converter motor cable")
    parallel: Length = Field(description="how far they run side by side, e.g. 4 m")
    distance: Stub | None = Field(None, description="how far apart, e.g. 0.5 m")


class PowerModel(Section):
    """What feeds the kit."""

    volts: Voltage | None = Field(None, description="of the dc supply, e.g. 24 V")
    rated: Current | None = Field(None, description="rated current of the supply, e.g. 5 A")
    derating: Part | None = Field(None, description="share of it left at the temperature of the cabinet, e.g. 90 %")
    peak: Current | None = Field(None, description="what it gives for the time of an inrush, e.g. 7.5 A")
    margin: Extra | None = Field(None, description="margin wanted on its current, e.g. 25 %")
    wire: WireSize | None = Field(None, description="size of the supply line's conductors, e.g. 18 AWG or 1 mm2")
    form: _FORMS | None = Field(None, description=_FORM_WORDS)
    temperature: Temperature | None = Field(None, description="of the conductors in service, e.g. 60 °C")
    lead: Stub = Field(0.0, description="cable from the supply to where the bus begins, e.g. 2 m")
    runs: list[RunModel] = Field(default_factory=list, description="a list of runs, where the line does not follow the bus")
    branch_circuit: BranchModel | None = Field(None, description="the circuit from a panel: volts, length, load, conduit")
    entries: list[EntryModel] = Field(default_factory=list, description="a list of holes in boxes, each with kind and size")
    neighbours: list[NeighbourModel] = Field(
        default_factory=list, description="a list of power cables nearby, each with its distance"
    )
