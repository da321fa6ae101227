"""From the document to who is told."""

from dataclasses import dataclass, field
from pathlib import Path

from gearcase.job.notify_schema import MailModel, NotifyModel
from gearcase.judge.notices import Recipient, Rules

__all__ = ["Mail", "Notify", "Webhook", "build_notify"]


@dataclass(frozen=True)
class Mail:
    """The server that takes mail; `security` is starttls, tls or none, `ca_file` None for the system's, `password_file` None
    where it asks for no user.
    """

    host: str
    port: int
    security: str
    ca_file: Path | None
    sender: str
    user: str
    password_file: Path | None


@dataclass(frozen=True)
class Webhook:
    """A web address that takes messages, and the file that holds the secret both sides sign with; `ca_file` None for the
    system's.
    """

    name: str
    url: str
    ca_file: Path | None
    secret_file: Path


@dataclass(frozen=True)
class Notify:
    """Who is told, and how each is reached: name -> mail address, or name -> name of a webhook."""

    rules: Rules = field(default_factory=lambda: Rules(()))
    mail: Mail | None = None
    webhooks: tuple[Webhook, ...] = ()
    addresses: dict[str, str] = field(default_factory=dict)
    hooks: dict[str, str] = field(default_factory=dict)


def build_notify(folder: Path, model: NotifyModel) -> Notify:
    """Who is told; files from the job's folder."""
    people = tuple(Recipient(one.name, frozenset(one.of), one.after) for one in model.people)
    return Notify(
        Rules(people, model.again),
        _mail(folder, model.mail) if model.mail else None,
        tuple(Webhook(one.name, one.url, _file(folder, one.ca_file), folder / one.secret_file) for one in model.webhooks),
        {one.name: one.mail for one in model.people if one.mail},
        {one.name: one.webhook for one in model.people if one.webhook},
    )


def _mail(folder: Path, model: MailModel) -> Mail:
    files = _file(folder, model.ca_file), _file(folder, model.password_file)
    return Mail(model.host, model.port, model.security, files[0], model.sender, model.user, files[1])


def _file(folder: Path, name: str) -> Path | None:
    return folder / name if name else None
