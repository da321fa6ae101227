"""What the form of `notify:` cannot see: nobody who could be told, a person with no way or two, a password without a user."""

from collections.abc import Iterator
from urllib.parse import urlsplit

from gearcase.errors import Problem
from gearcase.job.notify_schema import MailModel, NotifyModel
from gearcase.job.publish_checks import this_machine
from gearcase.job.read import Source
from gearcase.job.schema import read_as
from gearcase.job.secret_checks import login_check, secret_check

__all__ = ["notify_check"]


def notify_check(source: Source) -> Iterator[Problem]:
    """Every problem between the parts of `notify:`."""
    model = read_as(NotifyModel, source.value(("notify",)))
    if source.value(("notify",)) is None or model is None:
        return
    if not model.people:
        yield source.problem(("notify", "people"), "a list of people, one at least", given="nobody")
    if model.mail is not None:
        yield from _mail(source, model.mail)
    hooks = {one.name for one in model.webhooks}
    for number, hook in enumerate(model.webhooks):
        yield from secret_check(source, ("notify", "webhooks", number), "secret")
        if not hook.url.startswith("https://") and not this_machine(urlsplit(hook.url).hostname or ""):
            yield source.problem(("notify", "webhooks", number, "url"), "https://; only this machine, 127.0.0.1, may do without")
    for number, person in enumerate(model.people):
        here = ("notify", "people", number)
        if bool(person.mail) == bool(person.webhook):
            yield source.problem(here, "mail or webhook, one of them", given=person.name)
        elif person.mail and model.mail is None:
            yield source.problem((*here, "mail"), "a mail server to send it by, at notify.mail")
        elif person.webhook and person.webhook not in hooks:
            yield source.problem((*here, "webhook"), f"one of: {', '.join(sorted(hooks)) or 'none is listed at notify.webhooks'}")
        if not person.of:
            yield source.problem((*here, "of"), "danger, abnormal or cannot tell, one at least", given="an empty list")
    if model.people and not any("danger" in person.of and person.after == 0 for person in model.people):
        yield source.problem(("notify", "people"), "somebody who is told of a danger at once", given="nobody")


def _mail(source: Source, mail: MailModel) -> Iterator[Problem]:
    here = ("notify", "mail")
    if mail.security == "none" and not this_machine(mail.host):
        yield source.problem((*here, "security"), "starttls or tls; only a server on this machine, 127.0.0.1, may do without")
    yield from login_check(source, here, mail)
