"""A message to a person or to a control room, by mail or web hook: one try, which either arrived or says why not.

Mail is RFC 5322 over SMTP, STARTTLS by RFC 3207, marked as made by a machine (RFC 3834). A web hook is a POST of JSON, signed as
the Standard Webhooks specification lays down: HMAC-SHA256 over ``id.timestamp.body``. A message keeps its id however often it is
tried, so that who receives it twice can tell.
"""

import asyncio
import base64
import hashlib
import hmac
import json
import smtplib
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from typing import Any, Protocol

from gearcase.device.publish.secrets import password
from gearcase.errors import BadInput, GearcaseError
from gearcase.job.build_notify import Mail, Webhook

__all__ = ["Message", "NotSent", "Sender", "by_mail", "by_webhook", "signature"]

_LONGEST = 20.0  # s for one step of a mail server, and for a web hook


class NotSent(GearcaseError):
    """It did not arrive; says why, without any secret."""


@dataclass(frozen=True)
class Message:
    """A message: an id that stays, Unix time [s], one line of subject, the text, and the same as plain data."""

    id: str
    time_s: float
    subject: str
    text: str
    data: Mapping[str, Any]


class Sender(Protocol):
    """Sends one message."""

    async def __call__(self, message: Message) -> None:
        """Send it once.

        Raises
        ------
        NotSent
        """


def by_mail(mail: Mail, address: str) -> Sender:
    """A sender to a mail address."""

    async def send(message: Message) -> None:
        try:
            await asyncio.to_thread(_mail, mail, address, message)
        except (OSError, smtplib.SMTPException, BadInput) as error:
            raise NotSent(f"mail server {mail.host}: {_words(error)}") from None

    return send


def by_webhook(hook: Webhook) -> Sender:
    """A sender to a web address."""

    async def send(message: Message) -> None:
        import httpx

        try:
            secret = password(hook.secret)
            body = json.dumps({"id": message.id, **message.data}, ensure_ascii=False).encode()
            headers = {
                "content-type": "application/json",
                "webhook-id": message.id,
                "webhook-timestamp": f"{message.time_s:.0f}",
                "webhook-signature": signature(secret, message.id, f"{message.time_s:.0f}", body),
            }
            trusted = ssl.create_default_context(cafile=hook.ca_file)
            async with httpx.AsyncClient(verify=trusted, timeout=_LONGEST, follow_redirects=False) as client:
                answer = await client.post(hook.url, content=body, headers=headers)
        except (httpx.HTTPError, httpx.InvalidURL, OSError, ValueError, BadInput) as error:
            raise NotSent(f"web hook {hook.name}: {_words(error)}") from None
        if not answer.is_success:
            raise NotSent(f"web hook {hook.name}: answered {answer.status_code}")

    return send


def signature(secret: str, id: str, timestamp: str, body: bytes) -> str:
    """The signature of a web hook's message. A secret that begins with ``whsec_`` is base64, any other is taken as it stands.

    Examples
    --------
    The worked example of the Standard Webhooks specification:

    >>> signature("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", "1614265330",
    ...           b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    key = base64.b64decode(secret.removeprefix("whsec_")) if secret.startswith("whsec_") else secret.encode()
    digest = hmac.new(key, f"{id}.{timestamp}.".encode() + body, hashlib.sha256).digest()
    return f"v1,{base64.b64encode(digest).decode()}"


def _mail(mail: Mail, address: str, message: Message) -> None:
    made = EmailMessage()
    made["From"], made["To"], made["Subject"] = mail.sender, address, " ".join(message.subject.split())
    made["Date"] = format_datetime(datetime.fromtimestamp(message.time_s, UTC))
    made["Message-ID"] = f"<{message.id}@{mail.sender.partition('@')[2]}>"
    made["Auto-Submitted"] = "auto-generated"
    made.set_content(message.text)
    secret = password(mail.user.password) if mail.user else ""
    context = ssl.create_default_context(cafile=mail.ca_file)
    if mail.security == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(mail.host, mail.port, timeout=_LONGEST, context=context)
    else:
        server = smtplib.SMTP(mail.host, mail.port, timeout=_LONGEST)
    with server:
        if mail.security == "starttls":
            server.starttls(context=context)
        if mail.user:
            server.login(mail.user.name, secret)
        server.send_message(made)


def _words(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        told = error.smtp_error.decode(errors="replace") if isinstance(error.smtp_error, bytes) else str(error.smtp_error)
        return f"{error.smtp_code} {' '.join(told.split())}"
    return " ".join(str(error).split()) or type(error).__name__
