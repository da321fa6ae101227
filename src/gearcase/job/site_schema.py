"""The shape of what surrounds the drive in job.yaml: the site and its conditions, the network sheet."""

from typing import Literal

from pydantic import Field

from gearcase.install.network import Approval
from gearcase.install.site import CONSENT
from gearcase.job.fields import AmbientRange, Length, Name, Port, Section, Time, Words

__all__ = ["ConditionsModel", "ConnectionModel", "HostModel", "NetworkModel", "SiteModel"]


class ConditionsModel(Section):
    """What the place asks of parts and people."""

    area: Name = Field("", description="area class as the owner states it, e.g. zone 2 IIB T3; or unclassified")
    ambient: AmbientRange | None = Field(None, description="coldest and hottest air of the year, e.g. -15 to 40 °C")
    ingress: Name = Field("", description="ingress code that parts must have there, e.g. IP66")
    wash_down: bool | None = Field(None, description="true where the place is hosed down")
    incline: bool | None = Field(None, description="true where the load can run back")
    backstop: bool | None = Field(None, description="true where a backstop holds the load")
    counterweight: bool | None = Field(None, description="true where a counterweight or take-up hangs")
    painted: bool | None = Field(None, description="true where the housing is painted")
    working_height: Length | None = Field(None, description="height of the work above the floor, e.g. 2.4 m")
    drilling_consent: Literal[CONSENT] | None = Field(  # type: ignore[valid-type]
        None, description=f"the owner's consent to drill the drive, one of: {', '.join(CONSENT)}"
    )
    drilling_consent_by: Name = Field("", description="who gave it")
    certificate_consent: Name = Field(
        "", description="who says, in a classified area, that drilling leaves the certificate of the drive whole"
    )


class SiteModel(Section):
    """Where the drive stands."""

    name: Name = Field("", description="name of the site")
    drive_tag: Name = Field("", description="tag of the drive on site")
    owner: Name = Field("", description="who owns the drive and may approve work on it")
    notes: Words = Field("", description="anything a visitor must know")
    conditions: ConditionsModel = Field(
        default_factory=ConditionsModel, description="area, ambient, ingress and what is true there"
    )


class HostModel(Section):
    """Something with an address of its own."""

    name: Name = Field(description="what it is, e.g. edge computer")
    address: Words = Field("", description="its fixed address, e.g. 192.0.2.20; left out until somebody has given it")
    owner: Name = Field("", description="who may change it")


class ConnectionModel(Section):
    """Who opens a connection to whom, what for, and how far its approval is."""

    opened_by: Name = Field(description="the host that opens it")
    towards: Name = Field(description="the host that answers")
    service: Name = Field(description="what it is for, e.g. Modbus TCP, MQTT over TLS, NTP")
    port: Port | None = Field(None, description="port, where it is not the registered one: 1 to 65535")
    owner: Name = Field("", description="who approves it")
    approval: Literal[tuple(Approval)] = Field(  # type: ignore[valid-type]
        Approval.NOT_ASKED, description=f"one of: {', '.join(Approval)}"
    )
    lead_time: Time | None = Field(None, description="from being asked to it working, e.g. 21 d")


class NetworkModel(Section):
    """The network sheet."""

    subnet: Words = Field("", description="as written, e.g. 192.0.2.0/24")
    gateway: Words = Field("", description="its address, e.g. 192.0.2.1; left out where nothing leaves the subnet")
    until_fitting: Time | None = Field(None, description="time left until the fitting, e.g. 30 d")
    hosts: list[HostModel] = Field(default_factory=list, description="a list of hosts, each with name, address and owner")
    connections: list[ConnectionModel] = Field(
        default_factory=list, description="a list of connections, each with opened_by, towards, service, owner, approval, lead_time"
    )
