"""What all channels share: how a failure is told, and how an attempt keeps its total time."""

from __future__ import annotations

import io
import socket
import time
from typing import Any

TOTAL_S = 20.0
"""Everything of one attempt together: look-up, connection, handshake, sending, answer."""
SHOWN_CHARS = 200


class TransportError(Exception):
    """An attempt that did not succeed.

    `permanent`: another attempt would fail the same way. `uncertain`: the message may have arrived all the same.
    `gone`: the receiver says that it wants nothing more on this route.
    """

    def __init__(
        self, detail: str, *, status: str = "", permanent: bool = False, uncertain: bool = False, gone: bool = False
    ) -> None:
        self.detail = printable(detail)
        self.status = status
        self.permanent = permanent or gone
        self.uncertain = uncertain
        self.gone = gone
        super().__init__(self.detail)


def printable(text: str) -> str:
    """What a stranger sent, short and harmless enough for a log line and a page."""
    kept = "".join(character if character.isprintable() else " " for character in text)
    return " ".join(kept.split())[:SHOWN_CHARS]


class Deadline:
    """The moment (monotonic clock) at which an attempt has taken too long."""

    def __init__(self, seconds: float = TOTAL_S) -> None:
        self._at = time.monotonic() + seconds

    def left_s(self) -> float:
        """Seconds left. *Raises* TimeoutError when there are none."""
        left = self._at - time.monotonic()
        if left <= 0:
            raise TimeoutError("the attempt took too long altogether")
        return left


class DeadlineReader(io.RawIOBase):
    """Reads a socket with whatever time is left, so that a sender of single slow bytes cannot hold on to us.

    A socket's own timeout counts anew with each byte; this one does not.
    """

    def __init__(self, sock: socket.socket, deadline: Deadline, *, longest_wait_s: float = TOTAL_S) -> None:
        self._sock = sock
        self._deadline = deadline
        self._longest_wait_s = longest_wait_s

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        self._sock.settimeout(min(self._deadline.left_s(), self._longest_wait_s))
        return self._sock.recv_into(buffer)
