"""The shape of how the plant is told, in job.yaml: each face it may have. Passwords are never in the job, see `secret_schema`."""

from pydantic import Field

from gearcase.job.fields import IpAddress, Name, Port, Section, TopicPart, VariableName
from gearcase.job.secret_schema import LoginModel, by_file, by_variable

__all__ = ["ModbusFaceModel", "MqttFaceModel", "OpcUaFaceModel", "PublishModel", "UserModel"]

_LISTENS = "where it listens: 127.0.0.1 for this machine alone, the edge computer's own address, or 0.0.0.0 for all of its networks"


class ModbusFaceModel(Section):
    """The plant's Modbus TCP server."""

    address: IpAddress = Field("127.0.0.1", description=_LISTENS)
    port: Port = Field(502, description="port, 1 to 65535; below 1024 the service must be allowed to")
    acknowledge_from: list[IpAddress] = Field(
        default_factory=list,
        description="a list of addresses that may acknowledge alarms, e.g. [192.0.2.10]; left out: the plant only reads",
    )


class UserModel(Section):
    """Somebody who may read."""

    name: Name = Field(description="name of the user")
    password_file: Name = by_file("password")
    password_variable: VariableName = by_variable("password")


class OpcUaFaceModel(Section):
    """The plant's OPC UA server, signed and encrypted."""

    address: IpAddress = Field("127.0.0.1", description=_LISTENS)
    port: Port = Field(4840, description="port, 1 to 65535")
    users: list[UserModel] = Field(
        min_length=1, description="a list of users, one at least, each with name and password_file or password_variable"
    )


class MqttFaceModel(LoginModel):
    """The broker that takes Sparkplug B."""

    host: Name = Field(description="name or address of the broker")
    port: Port = Field(8883, description="port, 1 to 65535")
    tls: bool = Field(True, description="true; false only for a broker on this machine")
    ca_file: Name = Field(
        "", description="certificate of who signed the broker's, from the job's folder; left out: those of the system"
    )
    group: TopicPart = Field(description="Sparkplug group, without / + and #")
    node: TopicPart = Field(description="Sparkplug edge node, a name that no other has in the group, without / + and #")
    device: TopicPart | None = Field(None, description="Sparkplug device, without / + and #; left out: the drive's tag")
    primary_host: TopicPart | None = Field(None, description="host that must be online before anything is told, without / + and #")


class PublishModel(Section):
    """How the plant is told."""

    modbus: ModbusFaceModel | None = Field(None, description="address, port, acknowledge_from")
    opcua: OpcUaFaceModel | None = Field(None, description="address, port, users")
    mqtt: MqttFaceModel | None = Field(
        None, description="host, port, tls, ca_file, group, node, device, primary_host, user, password_file or password_variable"
    )
