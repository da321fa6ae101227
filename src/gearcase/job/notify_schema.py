"""The shape of who is told, in job.yaml: by mail or web hook, of what, and in which order. Passwords are never in the job, see
`secret_schema`.
"""

from typing import Literal, get_args

from pydantic import Field

from gearcase.job.fields import MailAddress, Name, Port, Section, Time, TimeFromNow, VariableName, WebAddress
from gearcase.job.secret_schema import LoginModel, by_file, by_variable

__all__ = ["MailModel", "NotifyModel", "PersonModel", "WebhookModel"]

Told = Literal["danger", "abnormal", "cannot tell"]
_ALL: tuple[Told, ...] = get_args(Told)


class MailModel(LoginModel):
    """The server that takes mail (SMTP)."""

    host: Name = Field(description="name or address of the mail server")
    port: Port = Field(587, description="port, 1 to 65535")
    security: Literal["starttls", "tls", "none"] = Field(
        "starttls", description="starttls, tls, or none for a server on this machine alone"
    )
    ca_file: Name = Field(
        "", description="certificate of who signed the server's, from the job's folder; left out: those of the system"
    )
    sender: MailAddress = Field(description="address the mail comes from, e.g. gearcase@plant.example")


class WebhookModel(Section):
    """A web address that takes messages."""

    name: Name = Field(description="what people call it")
    url: WebAddress = Field(description="where it is posted, e.g. https://control.example/drives")
    ca_file: Name = Field(
        "", description="certificate of who signed the server's, from the job's folder; left out: those of the system"
    )
    secret_file: Name = by_file("secret")
    secret_variable: VariableName = by_variable("secret")


class PersonModel(Section):
    """Somebody to be told."""

    name: Name = Field(description="who it is")
    mail: MailAddress | None = Field(None, description="address, e.g. shift@plant.example")
    webhook: Name = Field("", description="name of one of the webhooks")
    of: list[Told] = Field(default_factory=lambda: list(_ALL), description="a list of: danger, abnormal, cannot tell")
    after: TimeFromNow = Field(0.0, description="told only when nobody has acknowledged for so long, e.g. 30 min")


class NotifyModel(Section):
    """Who is told."""

    mail: MailModel | None = Field(None, description="host, port, security, sender, user, password_file or password_variable")
    webhooks: list[WebhookModel] = Field(
        default_factory=list, description="a list, each with name, url, secret_file or secret_variable: both sides sign with it"
    )
    people: list[PersonModel] = Field(default_factory=list, description="a list, each with name, mail or webhook, of, after")
    again: Time = Field(1800.0, description="so often a danger is told until it is acknowledged, e.g. 30 min")
