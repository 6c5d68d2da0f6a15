"""What a request sent and nobody needed is read off, within bounds, and else the connection is said to end."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest

from fleet.http.unread import ReadOff


class Stream:
    """A body that still comes in while the request is at work; it cannot be wound back."""

    def __init__(self, size: int) -> None:
        self.left, self.asked = size, 0

    def read(self, size: int) -> bytes:
        self.asked += 1
        piece = min(size, self.left)
        self.left -= piece
        return b"x" * piece


def answered(status: str, environ: dict[str, Any], application: Any = None) -> dict[str, str]:
    """The headers of the answer."""
    headers: dict[str, str] = {}

    def refuse(environ: dict[str, Any], start_response: Any) -> list[bytes]:
        start_response(status, [("Retry-After", "2")])
        return [b""]

    wrapped = application or ReadOff(refuse)
    wrapped(environ, lambda status, fields, *error: headers.update(fields))
    return headers


@pytest.mark.parametrize("extra", [{"CONTENT_LENGTH": "300000"}, {"HTTP_TRANSFER_ENCODING": "chunked"}])
def test_the_body_of_what_is_refused_is_read_to_its_end(extra: dict[str, str]) -> None:
    body = Stream(300_000)
    assert answered("503 Service Unavailable", {"wsgi.input": body} | extra) == {"Retry-After": "2"}
    assert body.left == 0


def test_a_body_beyond_what_the_service_reads_ends_the_connection_instead(settings: Any) -> None:
    body = Stream(settings.MAX_BODY_BYTES * 8)
    assert answered("413 Too Large", {"wsgi.input": body, "CONTENT_LENGTH": str(body.left)})["Connection"] == "close"
    assert body.left > settings.MAX_BODY_BYTES * 6


def test_what_was_taken_was_read_and_is_left_alone() -> None:
    body = Stream(10)
    assert "Connection" not in answered("207 Multi-Status", {"wsgi.input": body, "CONTENT_LENGTH": "10"})
    assert body.asked == 0


def test_a_server_that_has_the_whole_body_needs_nothing() -> None:
    body = BytesIO(b"whole")
    assert "Connection" not in answered("503 Service Unavailable", {"wsgi.input": body, "CONTENT_LENGTH": "5"})
    assert body.tell() == 0


def test_slow_senders_take_two_threads_and_no_more() -> None:
    """While two are being read off, a third hears at once that its connection ends."""
    inner: list[dict[str, str]] = []

    class Slow(Stream):
        def __init__(self, then: Any) -> None:
            super().__init__(1)
            self._then = then

        def read(self, size: int) -> bytes:
            if self.left:
                self._then()
            return super().read(size)

    def refuse(environ: dict[str, Any], start_response: Any) -> list[bytes]:
        start_response("503 Service Unavailable", [])
        return []

    application = ReadOff(refuse)

    def ask(body: Any) -> None:
        inner.append(answered("", {"wsgi.input": body, "CONTENT_LENGTH": "1"}, application))

    third = Stream(1)
    ask(Slow(lambda: ask(Slow(lambda: ask(third)))))
    assert inner == [{"Connection": "close"}, {}, {}]
    assert third.asked == 0
