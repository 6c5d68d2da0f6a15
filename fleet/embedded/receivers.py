"""A mailbox and a webhook receiver on the loopback: what the demo shows its messages in, and what tests send to.

Both are real servers that speak SMTP and HTTP. Their behaviour can be changed while they run: refuse, hang, drip.
"""

from __future__ import annotations

import contextlib
import socket
import ssl
import sys
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default as modern
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, Self

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import Envelope, Session

HOST = "127.0.0.1"
WAIT_S = 10.0


@dataclass(frozen=True, slots=True)
class ReceivedMail:
    """One mail as the server took it."""

    sender: str
    recipients: tuple[str, ...]
    message: EmailMessage

    def text(self, subtype: str = "plain") -> str:
        """The body of this kind; empty when the mail has none."""
        part = self.message.get_body((subtype,))
        return str(part.get_content()) if part is not None else ""


class Mailbox:
    """An SMTP server that keeps what it is given.

    `refuse_recipient` and `refuse_data`: a reply such as "550 no such user" instead of taking the mail.
    """

    def __init__(
        self,
        *,
        port: int = 0,
        host: str = HOST,
        on_mail: Callable[[ReceivedMail], None] | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self.mails: list[ReceivedMail] = []
        self.refuse_recipient = ""
        self.refuse_data = ""
        self._on_mail = on_mail
        self._controller = Controller(
            self, hostname=host, port=port or free_port(), tls_context=tls, require_starttls=tls is not None
        )

    @property
    def port(self) -> int:
        return int(self._controller.port)

    def __enter__(self) -> Self:
        self._controller.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._controller.stop()

    async def handle_RCPT(  # noqa: N802 - the name that aiosmtpd calls
        self, server: Any, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.refuse_recipient:
            return self.refuse_recipient
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Session, envelope: Envelope) -> str:  # noqa: N802
        if self.refuse_data:
            return self.refuse_data
        content = envelope.content if isinstance(envelope.content, bytes) else str(envelope.content).encode()
        message = message_from_bytes(content, policy=modern)
        assert isinstance(message, EmailMessage)
        mail = ReceivedMail(envelope.mail_from or "", tuple(envelope.rcpt_tos), message)
        self.mails.append(mail)
        if self._on_mail is not None:
            self._on_mail(mail)
        return "250 OK"


@dataclass(frozen=True, slots=True)
class ReceivedHook:
    """One request as the receiver read it."""

    path: str
    headers: Mapping[str, str]
    body: str


@dataclass(slots=True)
class Answer:
    """How the receiver answers: after `delay_s`, and with `drip_s` between single bytes of the answer."""

    status: int = 200
    body: bytes = b"{}"
    headers: dict[str, str] = field(default_factory=dict)
    delay_s: float = 0.0
    drip_s: float = 0.0


class _Server(ThreadingHTTPServer):
    """One thread for each request; a sender that breaks off is no news."""

    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


class HookReceiver:
    """An HTTP server that keeps the requests it is sent and answers as `answer` says at that moment."""

    def __init__(
        self,
        *,
        port: int = 0,
        host: str = HOST,
        on_hook: Callable[[ReceivedHook], None] | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self.requests: list[ReceivedHook] = []
        self.answer = Answer()
        self.stopping = threading.Event()
        self._on_hook = on_hook
        self._server = _Server((host, port), _handler_for(self))
        if tls is not None:
            # The handshake happens in the thread of the request: a client that breaks it off costs nobody else.
            self._server.socket = tls.wrap_socket(self._server.socket, server_side=True, do_handshake_on_connect=False)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), name="hooks", daemon=True)

    @property
    def port(self) -> int:
        return int(self._server.server_address[1])

    def url(self, path: str = "/hook") -> str:
        return f"http://{HOST}:{self.port}{path}"

    def take(self, received: ReceivedHook) -> Answer:
        """Keeps one request and says how to answer it."""
        self.requests.append(received)
        if self._on_hook is not None:
            self._on_hook(received)
        return self.answer

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.stopping.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(WAIT_S)


def _handler_for(receiver: HookReceiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", "0"))
            body = self.rfile.read(length).decode()
            headers = {name.lower(): value for name, value in self.headers.items()}
            answer = receiver.take(ReceivedHook(self.path, headers, body))
            if receiver.stopping.wait(answer.delay_s):
                return
            with contextlib.suppress(OSError):  # the sender did not wait
                self._reply(answer)

        def _reply(self, answer: Answer) -> None:
            lines = [f"HTTP/1.1 {answer.status} Answer", f"Content-Length: {len(answer.body)}", "Connection: close"]
            lines += [f"{name}: {value}" for name, value in answer.headers.items()]
            data = "\r\n".join([*lines, "", ""]).encode() + answer.body
            if not answer.drip_s:
                self.wfile.write(data)
                return
            for index in range(len(data)):
                self.wfile.write(data[index : index + 1])
                if receiver.stopping.wait(answer.drip_s):
                    return

        def log_message(self, format: str, *args: Any) -> None:
            """Nothing: `on_hook` shows what came."""

    return Handler


def free_port() -> int:
    """A port of the loopback that nobody listened on a moment ago."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def wait_for(condition: Callable[[], bool], *, within_s: float = WAIT_S) -> bool:
    """Whether *condition* became true in time."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if condition():
            return True
        time.sleep(0.02)
    return condition()
