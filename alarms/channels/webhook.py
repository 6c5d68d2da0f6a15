"""Posts one signed message to a webhook: to the checked address, without redirects, within a total time.

Signing follows Standard Webhooks (headers webhook-id, webhook-timestamp, webhook-signature) by its own package.
"""

from __future__ import annotations

import http.client
import io
import socket
import ssl
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from standardwebhooks import Webhook

from alarms.channels.addresses import Resolver, Target, checked_addresses, system_resolver, target_of
from alarms.channels.base import Deadline, DeadlineReader, TransportError

MAX_ANSWER = 4096
USER_AGENT = "warmgate-webhook/1"


@dataclass(frozen=True, slots=True)
class HookMessage:
    """A message as it goes out: the body is the same text on every attempt, and so is the id."""

    message_id: str
    url: str
    body: str
    secrets: tuple[str, ...]
    """The route's secret, and the one before it while that still counts."""


def signed_headers(message: HookMessage, *, now: datetime) -> dict[str, str]:
    """The Standard Webhooks headers, one signature for each secret."""
    at = now.astimezone(UTC)
    signatures = [Webhook(secret).sign(message.message_id, at, message.body) for secret in message.secrets]
    return {
        "webhook-id": message.message_id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }


def post_webhook(
    message: HookMessage,
    *,
    now: datetime,
    allowed_hosts: Collection[str],
    resolver: Resolver = system_resolver,
    tls: ssl.SSLContext | None = None,
    deadline: Deadline | None = None,
) -> str:
    """Posts the message and returns the status. *Raises* TransportError, AddressRefused."""
    deadline = deadline or Deadline()
    target = target_of(message.url, allowed_hosts=allowed_hosts)
    sock: socket.socket | None = None
    sent = False
    try:
        addresses = checked_addresses(target, resolver=resolver, within_s=deadline.left_s())
        sock = _connect(target, addresses, tls, deadline)
        connection = _Connection(target, sock, deadline)
        sent = True
        connection.request("POST", target.path, message.body.encode(), _headers(target, message, now))
        return _read_answer(connection)
    except TransportError:
        raise
    except ssl.SSLCertVerificationError as error:
        raise TransportError(f"The certificate is not valid: {error.verify_message}", status="tls") from error
    except TimeoutError as error:
        raise TransportError("No answer in time.", status="timeout", uncertain=sent) from error
    except (OSError, http.client.HTTPException) as error:
        raise TransportError(f"{type(error).__name__}: {error}", status="connection", uncertain=sent) from error
    finally:
        if sock is not None:
            sock.close()


def _headers(target: Target, message: HookMessage, now: datetime) -> dict[str, str]:
    return {
        "Host": target.host_header,
        "Content-Type": "application/json",
        "User-Agent": USER_AGENT,
        "Accept": "application/json",
        "Accept-Encoding": "identity",
        "Connection": "close",
    } | signed_headers(message, now=now)


def _connect(target: Target, addresses: Sequence[str], tls: ssl.SSLContext | None, deadline: Deadline) -> socket.socket:
    """A connection to the first of the checked addresses that answers; TLS names the host, not the address."""
    failure: OSError = OSError("no address")
    for address in addresses:
        try:
            sock = socket.create_connection((address, target.port), timeout=deadline.left_s() / 2)
        except OSError as error:
            failure = error
            continue
        if target.scheme == "http":
            return sock
        try:
            sock.settimeout(deadline.left_s())
            context = tls or ssl.create_default_context()
            return context.wrap_socket(sock, server_hostname=target.host)
        except BaseException:
            sock.close()
            raise
    raise failure


class _TimedSocket:
    """What http.client needs of a socket, every operation within the time that is left."""

    def __init__(self, sock: socket.socket, deadline: Deadline) -> None:
        self._sock = sock
        self._deadline = deadline

    def sendall(self, data: Any) -> None:
        self._sock.settimeout(self._deadline.left_s())
        self._sock.sendall(data)

    def makefile(self, mode: str = "rb", *args: Any, **kwargs: Any) -> io.BufferedReader:
        return io.BufferedReader(DeadlineReader(self._sock, self._deadline))

    def close(self) -> None:
        """The socket is closed by whoever opened it."""


class _Connection(http.client.HTTPConnection):
    """An HTTP connection over a socket that is already there. It knows no proxy and never connects by itself."""

    auto_open = 0

    def __init__(self, target: Target, sock: socket.socket, deadline: Deadline) -> None:
        super().__init__(target.host, target.port)
        self.sock: Any = _TimedSocket(sock, deadline)


def _read_answer(connection: _Connection) -> str:
    """The status of a 2xx answer. *Raises* TransportError for any other."""
    answer = connection.getresponse()
    try:
        text = answer.read(MAX_ANSWER).decode("utf-8", "replace")
    finally:
        answer.close()
    status = str(answer.status)
    if 200 <= answer.status < 300:
        return status
    if answer.status == 410:
        raise TransportError("The receiver says that it is gone for good.", status=status, gone=True)
    if 300 <= answer.status < 400:
        raise TransportError("Redirects are not followed.", status=status)
    raise TransportError(f"Answered {status}: {text}", status=status)
