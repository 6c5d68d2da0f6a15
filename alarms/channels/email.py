"""Sends one mail through Django's mail backend, within a total time; tells what is permanent from what is not."""

from __future__ import annotations

import io
import smtplib
import socket
from dataclasses import dataclass
from email.mime.image import MIMEImage
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.smtp import EmailBackend

from alarms.channels.base import Deadline, DeadlineReader, TransportError

STEP_S = 10.0
"""Longest wait for one reply of the mail server."""
CHART_ID = "chart"
DJANGO_SMTP = "django.core.mail.backends.smtp.EmailBackend"


@dataclass(frozen=True, slots=True)
class Mail:
    """A mail as it goes out; `message_id` and `thread` are bare ids, the same on every attempt."""

    message_id: str
    to: str
    subject: str
    text: str
    html: str
    thread: str = ""
    image: bytes = b""
    """A PNG that the HTML shows as `cid:chart`; empty: none."""


def send_mail(mail: Mail, *, deadline: Deadline | None = None) -> str:
    """Sends the mail and returns "accepted". *Raises* TransportError; 5xx replies are permanent."""
    deadline = deadline or Deadline()
    try:
        connection = _connection(deadline)
        _message(mail, connection).send(fail_silently=False)
    except smtplib.SMTPRecipientsRefused as error:
        code, reply = next(iter(error.recipients.values()))
        raise _refused(code, reply) from error
    except smtplib.SMTPAuthenticationError as error:
        # Our own password, not the recipient: the operator mends it, and the message is still wanted.
        raise TransportError(f"The mail server refuses our login: {error.smtp_code}", status="login") from error
    except smtplib.SMTPResponseException as error:
        raise _refused(error.smtp_code, error.smtp_error) from error
    except TimeoutError as error:
        raise TransportError("The mail server took too long.", status="timeout", uncertain=True) from error
    except (OSError, smtplib.SMTPException) as error:
        uncertain = isinstance(error, smtplib.SMTPServerDisconnected)
        raise TransportError(f"{type(error).__name__}: {error}", status="connection", uncertain=uncertain) from error
    return "accepted"


def _refused(code: int, reply: bytes | str) -> TransportError:
    words = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply
    return TransportError(f"{code} {words}", status=str(code), permanent=500 <= code < 600)


def _message(mail: Mail, connection: Any) -> EmailMultiAlternatives:
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "warmgate.invalid"
    headers = {
        "Message-ID": f"<{mail.message_id}@{domain}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834: no vacation replies, please
        "X-Auto-Response-Suppress": "All",
    }
    if mail.thread:
        headers["References"] = f"<{mail.thread}@{domain}>"
    message = EmailMultiAlternatives(
        " ".join(mail.subject.split()), mail.text, to=[mail.to], headers=headers, connection=connection
    )
    message.attach_alternative(mail.html, "text/html")
    if mail.image:
        # RFC 2387: the picture belongs to the HTML, it is no attachment.
        message.mixed_subtype = "related"  # type: ignore[attr-defined]
        message.attach(_inline(mail.image))
    return message


def _inline(image: bytes) -> MIMEImage:
    """The picture of the HTML body, which names it by its id (RFC 2392)."""
    part = MIMEImage(image, "png")
    part["Content-ID"] = f"<{CHART_ID}>"
    part["Content-Disposition"] = 'inline; filename="chart.png"'
    return part


def _connection(deadline: Deadline) -> Any:
    """The configured backend; Django's own SMTP one with our total time added."""
    if settings.EMAIL_BACKEND == DJANGO_SMTP:
        return _DeadlineBackend(deadline, timeout=min(settings.EMAIL_TIMEOUT or STEP_S, STEP_S))
    return get_connection(timeout=STEP_S)


class _DeadlineBackend(EmailBackend):
    """Django's SMTP backend over connections that keep a total time."""

    def __init__(self, deadline: Deadline, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._deadline = deadline

    @property
    def connection_class(self) -> Any:
        kind = _TimedSMTPoverTLS if self.use_ssl else _TimedSMTP
        return lambda *args, **kwargs: kind(*args, deadline=self._deadline, **kwargs)


class _Timed(smtplib.SMTP):
    """Every reply is read, and every command sent, with the time that is left."""

    def __init__(self, *args: Any, deadline: Deadline, **kwargs: Any) -> None:
        self._deadline = deadline
        super().__init__(*args, **kwargs)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        # A name with several dead addresses must not use up the lease of the message.
        sock: socket.socket = super()._get_socket(host, port, min(timeout, self._deadline.left_s() / 2))  # type: ignore[misc]
        return sock

    def getreply(self) -> tuple[int, bytes]:
        if self.file is None and self.sock is not None:
            self.file = io.BufferedReader(DeadlineReader(self.sock, self._deadline, longest_wait_s=STEP_S))
        try:
            return super().getreply()
        except smtplib.SMTPServerDisconnected as error:
            self._deadline.left_s()  # smtplib reports a timeout as a lost connection
            raise error

    def send(self, s: Any) -> None:
        if self.sock is not None:
            self.sock.settimeout(min(self._deadline.left_s(), STEP_S))
        super().send(s)


class _TimedSMTP(_Timed):
    """Plain, or upgraded by STARTTLS."""


class _TimedSMTPoverTLS(_Timed, smtplib.SMTP_SSL):
    """TLS from the first byte."""
