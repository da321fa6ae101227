"""From the document to who is told."""

from dataclasses import dataclass, field
from pathlib import Path

from gearcase.job.build_publish import User, user_of
from gearcase.job.notify_schema import MailModel, NotifyModel
from gearcase.job.secret_schema import Secret, secret_of
from gearcase.judge.notices import Recipient, Rules

__all__ = ["Mail", "Notify", "Webhook", "build_notify"]


@dataclass(frozen=True)
class Mail:
    """The server that takes mail; `security` is starttls, tls or none, `ca_file` None for the system's, `user` None where it
    asks for none.
    """

    host: str
    port: int
    security: str
    ca_file: Path | None
    sender: str
    user: User | None


@dataclass(frozen=True)
class Webhook:
    """A web address that takes messages, and where the secret is that both sides sign with; `ca_file` None for the
    system's.
    """

    name: str
    url: str
    ca_file: Path | None
    secret: Secret


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
        tuple(
            Webhook(one.name, one.url, _file(folder, one.ca_file), secret_of(folder, one.secret_file, one.secret_variable))
            for one in model.webhooks
        ),
        {one.name: one.mail for one in model.people if one.mail},
        {one.name: one.webhook for one in model.people if one.webhook},
    )


def _mail(folder: Path, model: MailModel) -> Mail:
    return Mail(model.host, model.port, model.security, _file(folder, model.ca_file), model.sender, user_of(folder, model))


def _file(folder: Path, name: str) -> Path | None:
    return folder / name if name else None
