"""The shape of job.yaml.

Every field's description is what the JSON Schema shows in an editor and what an error says would be accepted.
"""

from typing import Any, Literal, TypeVar

from pydantic import BaseModel, Field, ValidationError

from gearcase.job.bus_schema import BusModel
from gearcase.job.drive_schema import DriveModel
from gearcase.job.fields import Extra, Frequency, Name, SampleUnit, Section, Speed, Start, Temperature
from gearcase.job.housing_schema import HousingModel
from gearcase.job.inputs_schema import IncomingModel, InputModel
from gearcase.job.kit_schema import KitModel, PointModel
from gearcase.job.notify_schema import NotifyModel
from gearcase.job.outage_schema import OutageModel
from gearcase.job.power_schema import PowerModel
from gearcase.job.publish_schema import PublishModel
from gearcase.job.retention_schema import RetentionModel
from gearcase.job.site_schema import NetworkModel, SiteModel
from gearcase.signal.recording import STATES

__all__ = ["JobModel", "RecordingModel", "json_schema", "read_as"]

Model = TypeVar("Model", bound=BaseModel)


class RecordingModel(Section):
    """A recording to be judged."""

    file: Name = Field(description="file, from the job's folder")
    point: Name = Field("", description="measuring point of the job where it was taken")
    channel: Name = Field("", description="which channel of the file")
    rate: Frequency | None = Field(None, description="sample rate, where the file does not say, e.g. 25.6 kHz")
    unit: SampleUnit = Field("", description="unit of the samples, where the file does not say, e.g. m/s2 or g")
    speed: Speed | None = Field(None, description="speed of the input while recording, e.g. 1478 rpm")
    tachometer: Name = Field("", description="channel of the same file with the pulses of the input: their times, or the signal")
    start: Start = Field("", description="when it was taken, e.g. 2026-03-02T10:00")
    direction: Literal["horizontal", "vertical", "axial"] | None = Field(None, description="one of: horizontal, vertical, axial")
    state: Literal["steady", "unloaded", "uncoupled", "starting", "run-up", "coast-down", "overrunning", "standing"] | None = Field(
        None, description=f"one of: {', '.join(STATES)}"
    )
    load: Extra | None = Field(None, description="load while recording, of the rated load, e.g. 80 %")
    oil_temperature: Temperature | None = Field(None, description="of the oil while recording, e.g. 60 °C")


class JobModel(Section):
    """A job: one drive to be fitted, proved and watched."""

    job: Literal[1] = Field(description="1, the version of this form")
    title: Name = Field("", description="what people call the job")
    site: SiteModel = Field(default_factory=SiteModel, description="where the drive stands, and its conditions")
    drive: DriveModel = Field(description="what turns")
    points: list[PointModel] = Field(default_factory=list, description="a list of measuring points")
    inputs: list[InputModel] = Field(
        default_factory=list, description="a list: where run, speed, load, direction and ambient come from, in order"
    )
    incoming: IncomingModel = Field(default_factory=IncomingModel, description="mqtt, http, folder, age_limit")
    recordings: list[RecordingModel] = Field(default_factory=list, description="a list of recordings to be judged")
    housing: HousingModel = Field(default_factory=HousingModel, description="material, surface_temperature, faces")
    kit: KitModel = Field(default_factory=KitModel, description="cables, adhesive, brackets, light, enclosure, probe")
    bus: BusModel = Field(default_factory=BusModel, description="baud, device_delay, devices")
    outage: OutageModel = Field(default_factory=OutageModel, description="date, windows, crew, ask, isolation, durations")
    power: PowerModel = Field(
        default_factory=PowerModel, description="the dc supply and its line, branch_circuit, entries, neighbours"
    )
    network: NetworkModel = Field(default_factory=NetworkModel, description="subnet, gateway, hosts, connections")
    notify: NotifyModel = Field(default_factory=NotifyModel, description="who is told: mail, webhooks, people, again")
    store: Name = Field("", description="the address of a PostgreSQL database, without password, e.g. postgresql://host/name")
    retention: RetentionModel = Field(default_factory=RetentionModel, description="how long what is read is kept: whole, minutes")
    publish: PublishModel = Field(default_factory=PublishModel, description="how the plant is told: modbus, opcua, mqtt")


def read_as(model: type[Model], data: Any) -> Model | None:
    """One part of a job by its form, None where the form refuses it."""
    try:
        return model.model_validate(data)
    except ValidationError:
        return None


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of job.yaml, for editors."""
    schema = JobModel.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "job.yaml"}
