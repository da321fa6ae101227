"""From the document to how the plant is told."""

import re
from dataclasses import dataclass
from pathlib import Path

from gearcase.job.publish_schema import MqttFaceModel, OpcUaFaceModel, PublishModel
from gearcase.job.secret_schema import LoginModel, Secret, secret_of

__all__ = ["ModbusFace", "MqttFace", "OpcUaFace", "Publish", "User", "build_publish", "user_of"]


@dataclass(frozen=True)
class User:
    """Somebody who logs in, and where the password is."""

    name: str
    password: Secret


@dataclass(frozen=True)
class ModbusFace:
    """A Modbus TCP server; `acknowledge_from` is empty where the plant only reads."""

    address: str
    port: int
    acknowledge_from: tuple[str, ...]


@dataclass(frozen=True)
class OpcUaFace:
    """An OPC UA server."""

    address: str
    port: int
    users: tuple[User, ...]


@dataclass(frozen=True)
class MqttFace:
    """A broker, and what the drive is called there; `ca_file` None for the system's, `primary_host` empty where none is waited
    for.
    """

    host: str
    port: int
    tls: bool
    ca_file: Path | None
    group: str
    node: str
    device: str
    primary_host: str
    user: User | None


@dataclass(frozen=True)
class Publish:
    """How the plant is told; None for each face the job does not name, and what the drive is called there."""

    modbus: ModbusFace | None = None
    opcua: OpcUaFace | None = None
    mqtt: MqttFace | None = None
    device: str = ""


def build_publish(folder: Path, model: PublishModel, *, tag: str) -> Publish:
    """How the plant is told; files from the job's folder, and `tag` for a device that the job does not name."""
    modbus, opcua, mqtt = model.modbus, model.opcua, model.mqtt
    device = (mqtt.device if mqtt else None) or re.sub(r"[/+#]", "-", tag)
    return Publish(
        ModbusFace(modbus.address, modbus.port, tuple(modbus.acknowledge_from)) if modbus else None,
        _opcua(folder, opcua) if opcua else None,
        _mqtt(folder, mqtt, device) if mqtt else None,
        device,
    )


def _opcua(folder: Path, model: OpcUaFaceModel) -> OpcUaFace:
    return OpcUaFace(
        model.address,
        model.port,
        tuple(User(one.name, secret_of(folder, one.password_file, one.password_variable)) for one in model.users),
    )


def user_of(folder: Path, model: LoginModel) -> User | None:
    """Who logs in; None where nobody does."""
    return User(model.user, secret_of(folder, model.password_file, model.password_variable)) if model.user else None


def _mqtt(folder: Path, model: MqttFaceModel, device: str) -> MqttFace:
    return MqttFace(
        model.host,
        model.port,
        model.tls,
        folder / model.ca_file if model.ca_file else None,
        model.group,
        model.node,
        device,
        model.primary_host or "",
        user_of(folder, model),
    )
