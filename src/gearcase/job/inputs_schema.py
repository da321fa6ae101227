"""The shape of what the plant tells in job.yaml: the inputs run, speed, load, direction and ambient, and the ways in.

What a source needs depends on what it is; that is checked by `inputs_checks`.
"""

from typing import Literal

from pydantic import Field

from gearcase.job.fields import (
    Ends,
    IpAddress,
    Name,
    Number,
    Port,
    RegisterAddress,
    Section,
    Time,
    Topic,
    VariableName,
    Velocity,
    Words,
)
from gearcase.job.secret_schema import LoginModel, by_file, by_variable

__all__ = ["HttpModel", "IncomingModel", "InputModel", "MqttModel"]


class InputModel(Section):
    """One source of one input of the plant. Of one kind, the first that is fresh counts."""

    name: Name = Field(description="name of the source")
    kind: Literal["run", "speed", "load", "direction", "ambient"] = Field(description="run, speed, load, direction or ambient")
    source: Literal["register", "analogue", "mqtt", "posted", "comb", "level", "stated"] = Field(
        description="register, analogue, mqtt, posted, comb (the lines of a recording), level (overall velocity) or stated"
    )
    age_limit: Time | None = Field(None, description="how old it may be, e.g. 30 s")
    device: Name = Field("", description="the device of the bus it is read from")
    quantity: Name = Field("", description="name of the register in that device's profile, e.g. speed")
    address: RegisterAddress | None = Field(None, description="address of a register that no profile has, counted from 0")
    function: Literal[3, 4] = Field(4, description="3 for holding registers, 4 for input registers")
    type: Literal["u16", "i16", "u32", "i32", "f32"] | None = Field(None, description="u16, i16, u32, i32 or f32")
    word_order: Literal["high word first", "low word first"] = Field(
        "high word first", description="of a type of two registers: high word first or low word first"
    )
    scale: Number = Field(1.0, description="by which the number read is multiplied, e.g. 0.1")
    unit: Words = Field("", description="of the number read, e.g. rpm, % or °C")
    bit: Literal[tuple(range(16))] | None = Field(  # type: ignore[valid-type]
        None, description="of a status word, 0 the lowest to 15: set means running, or reverse"
    )
    reads: Ends | None = Field(None, description="what an analogue register reads at both ends of its span, e.g. [4, 20]")
    means: list[Words] = Field(default_factory=list, description="what these ends mean, e.g. [0 rpm, 1800 rpm]")
    topic: Topic = Field("", description="MQTT topic without wildcards, e.g. plant/drive 7/speed")
    path: Name = Field("", description="where in a JSON message the value stands, e.g. data.speed; left out: it is the value")
    metric: Name = Field("", description="name of the metric, where the topic carries Sparkplug B")
    point: Name = Field("", description="the measuring point whose overall velocity tells")
    above: Velocity | None = Field(None, description="overall velocity above which the drive runs, e.g. 0.5 mm/s")
    value: Words = Field("", description="what is stated, e.g. 1485 rpm, 80 %, forward or 20 °C")


class MqttModel(LoginModel):
    """The plant's broker, as a listener."""

    host: Name = Field(description="name or address of the broker")
    port: Port | None = Field(None, description="its port; left out: 8883, without tls 1883")
    tls: bool = Field(True, description="true; false only for a broker on this machine")
    ca_file: Name = Field(
        "", description="certificate of who signed the broker's, from the job's folder; left out: those of the system"
    )
    readings: Topic = Field("", description="topic at which readings are sent to this drive")
    recordings: Topic = Field("", description="topic at which recordings are sent to this drive")


class HttpModel(Section):
    """Where readings and recordings may be posted."""

    address: IpAddress = Field("127.0.0.1", description="where it listens: 127.0.0.1 for this machine alone, or its own address")
    port: Port = Field(8070, description="port, 1 to 65535")
    token_file: Name = by_file("token")
    token_variable: VariableName = by_variable("token")
    certificate_file: Name = Field("", description="this machine's certificate; left out behind a proxy on this machine")
    key_file: Name = Field("", description="the certificate's key, readable by its owner alone")


class IncomingModel(Section):
    """The ways in for what is not on the bus."""

    mqtt: MqttModel | None = Field(
        None, description="host, port, tls, ca_file, user, password_file or password_variable, readings, recordings"
    )
    http: HttpModel | None = Field(None, description="address, port, token_file or token_variable, certificate_file, key_file")
    folder: Name = Field("", description="folder whose recordings are judged as they appear, from the job's folder")
    age_limit: Time | None = Field(None, description="how old a reading that came in may be to count in the light, e.g. 10 min")
