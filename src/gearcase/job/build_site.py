"""From the document to the bus, power, the network sheet and the site's conditions."""

from collections.abc import Mapping

from gearcase.install.bus_wiring import Bias, Device, Splitter, Termination
from gearcase.install.housing import Bus, BusCable, BusDevice
from gearcase.install.network import Connection, Host, Network
from gearcase.install.profile import NO_PROFILE, Profile
from gearcase.install.site import Branch, Conditions, Entry, Neighbour, NetworkSheet, Power, Run
from gearcase.job.bus_schema import BusModel
from gearcase.job.power_schema import BranchModel, PowerModel
from gearcase.job.read import Source
from gearcase.job.site_schema import ConditionsModel, NetworkModel

__all__ = ["build_bus", "build_conditions", "build_network", "build_power"]

_FORM = {"AWG": "stranded", "mm2": "class 5"}  # of conductors whose form nobody has said: those that control cable has


def build_bus(source: Source, model: BusModel, profiles: Mapping[str, Profile]) -> Bus:
    """The serial bus."""
    devices = tuple(
        BusDevice(**device.model_dump(), form=profiles.get(device.profile, NO_PROFILE), where=source.where(("bus", "devices", n)))
        for n, device in enumerate(model.devices)
    )
    asks = model.controller
    return Bus(
        model.baud,
        model.device_delay or 0.0,
        devices,
        model.connection or "",
        _bus_cable(model),
        Device(asks.name, None, 0.0, asks.unit_load, asks.rise_time, isolated=asks.isolated),
    )


def _bus_cable(model: BusModel) -> BusCable:
    ends = None
    if model.terminations is not None:
        ends = tuple(Termination(end.at, end.resistance, end.capacitor) for end in model.terminations)
    return BusCable(
        along=tuple(model.along),
        length=model.length,
        impedance=model.impedance,
        velocity_fraction=model.velocity,
        splitters=tuple(Splitter(one.name, tuple(one.branches)) for one in model.splitters),
        terminations=ends,
        biases=tuple(Bias(bias.at, bias.supply, bias.each) for bias in model.bias),
        screen=model.screen,
        screen_bonds=tuple(model.screen_bonds),
        spare_unit_loads=model.spare_unit_loads,
    )


def build_conditions(model: ConditionsModel) -> Conditions:
    """The place."""
    return Conditions(
        **model.model_dump(exclude={"drilling_consent", "ambient"}),
        ambient=model.ambient,
        drilling_consent=model.drilling_consent or "",
    )


def build_power(model: PowerModel) -> Power:
    """What feeds the kit."""
    return Power(
        model.volts,
        model.rated,
        model.derating,
        model.peak,
        model.margin,
        model.wire or "",
        model.form or _form_of(model.wire),
        model.temperature,
        model.lead,
        tuple(Run(run.start, run.end, run.length, run.wire or "", run.form or _form_of(run.wire)) for run in model.runs),
        _branch(model.branch_circuit) if model.branch_circuit else None,
        tuple(Entry(entry.name, entry.kind, entry.size) for entry in model.entries),
        tuple(Neighbour(one.name, one.kind, one.parallel, one.distance) for one in model.neighbours),
    )


def _branch(model: BranchModel) -> Branch:
    return Branch(**model.model_dump(exclude={"form"}), form=model.form or _FORM[model.system])


def _form_of(wire: str | None) -> str:
    return _FORM["AWG" if wire and wire.endswith("AWG") else "mm2"] if wire else ""


def build_network(model: NetworkModel) -> NetworkSheet | None:
    """The network sheet, None where the job has none."""
    if not (model.subnet or model.hosts or model.connections):
        return None
    hosts = tuple(Host(host.name, host.address.strip(), host.owner) for host in model.hosts)
    connections = tuple(
        Connection(one.opened_by, one.towards, one.service, one.owner, one.approval, one.lead_time, one.port)
        for one in model.connections
    )
    return NetworkSheet(Network(model.subnet.strip(), model.gateway.strip(), hosts, connections), model.until_fitting)
