"""Reads to its end what a request sent and the answer did not need, or says that the connection ends.

granian closes a connection on which something was left unread and does not say so. Whoever keeps connections then loses
the next request on it, and whoever is still sending may lose the answer (overloaded, rate-limited, not authenticated):
docs/decisions.md has the count. At most a few threads read, so that many slow senders cannot take them all.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from typing import Any

from django.conf import settings

READERS = 2
"""Threads of a process that read off at once; with those of fleet.http.overload fewer than it has."""
PIECE_BYTES = 65_536


class ReadOff:
    """A WSGI application around another one."""

    def __init__(self, application: Callable[..., Iterable[bytes]]) -> None:
        self._application = application
        self._readers = threading.BoundedSemaphore(READERS)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if not _sends(environ):
            return self._application(environ, start_response)

        def start(status: str, headers: list[tuple[str, str]], *error: Any) -> Any:
            if status >= "4" and not self._read(environ["wsgi.input"]):
                headers = [*headers, ("Connection", "close")]
            return start_response(status, headers, *error)

        return self._application(environ, start)

    def _read(self, body: Any) -> bool:
        """Whether nothing is left."""
        if not self._readers.acquire(blocking=False):
            return False
        try:
            left = settings.MAX_BODY_BYTES
            while left > 0 and (piece := body.read(PIECE_BYTES)):
                left -= len(piece)
            return left > 0
        finally:
            self._readers.release()


def _sends(environ: dict[str, Any]) -> bool:
    """Whether a body comes while the request is already at work; a server that waits for it hands over a file."""
    comes = environ.get("CONTENT_LENGTH") not in (None, "", "0") or "HTTP_TRANSFER_ENCODING" in environ
    return comes and not hasattr(environ["wsgi.input"], "seek")
