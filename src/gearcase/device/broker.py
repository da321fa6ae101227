"""How the plant's MQTT broker is reached: MQTT 5, the broker proved by its certificate, we by name and password."""

import logging
import ssl
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from gearcase.device.publish.secrets import password
from gearcase.errors import BadInput, Problem
from gearcase.job.build_publish import User

if TYPE_CHECKING:
    import aiomqtt

__all__ = ["Address", "broker_client"]

_PATIENCE = 10.0  # s for the broker to take a message
_KEEP_ALIVE = 30  # s, after one and a half of which the broker takes us for gone (MQTT 5.0, 3.1.2.10)
_LOGGER = logging.getLogger("gearcase.mqtt")
_LOGGER.setLevel(logging.CRITICAL)  # what it would say is said by our own words, once


class Address(Protocol):
    """Where a broker is and who logs in; `ca_file` None for the system's authorities, `user` None where nobody does."""

    @property
    def host(self) -> str: ...

    @property
    def port(self) -> int: ...

    @property
    def tls(self) -> bool: ...

    @property
    def ca_file(self) -> Path | None: ...

    @property
    def user(self) -> User | None: ...


def broker_client(
    to: Address, *, name: str, largest: int, properties: dict[str, int] | None = None, **session: Any
) -> "aiomqtt.Client":
    """A client that is not connected yet.

    Parameters
    ----------
    to : Address
    name : str
        Of this client at the broker.
    largest : int
        Bytes of a message to us; the broker keeps what is larger.
    properties : dict, optional
        More of what MQTT 5 lets a connection say, by the library's names.
    session
        What else the library's client takes.

    Raises
    ------
    BadInput
        The password or the authority's certificate cannot be read.
    """
    import aiomqtt
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    said = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    for key, value in {"MaximumPacketSize": largest, **(properties or {})}.items():
        setattr(said, key, value)
    return aiomqtt.Client(
        to.host,
        to.port,
        identifier=name,
        username=to.user.name if to.user else None,
        password=password(to.user.password) if to.user else None,
        protocol=aiomqtt.ProtocolVersion.V5,
        timeout=_PATIENCE,
        keepalive=_KEEP_ALIVE,
        logger=_LOGGER,
        properties=said,
        tls_context=_trusting(to.ca_file) if to.tls else None,
        **session,
    )


def _trusting(ca_file: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca_file)
    except OSError as error:
        raise BadInput(Problem(str(ca_file), "", error.strerror or "", "a certificate as PEM")) from None
