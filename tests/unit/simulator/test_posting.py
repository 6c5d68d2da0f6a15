"""Posting: batches, pace, patience, resuming. Against a real HTTP server on loopback."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from fleet.simulator.errors import SimulatorError
from fleet.simulator.posting import Bookmark, PostingFailed, Progress, Target, post_lines

LINES = [json.dumps({"id": f"a{i}"}) for i in range(25)]


class Receiver(ThreadingHTTPServer):
    """An events endpoint that knows what it has seen; `script` holds failures to answer first."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.script: list[tuple[int, dict[str, str]]] = []
        self.seen: list[str] = []
        self.calls: list[dict[str, Any]] = []

    @property
    def url(self) -> str:
        """Where to post."""
        return f"http://127.0.0.1:{self.server_port}/api/v1/events/"


class Handler(BaseHTTPRequestHandler):
    """Answers a batch like the service does."""

    server: Receiver

    def do_POST(self) -> None:
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.calls.append({"headers": dict(self.headers), "size": len(body)})
        if self.server.script:
            status, headers = self.server.script.pop(0)
            self.answer(status, {"title": "not now"}, headers)
            return
        ids = [event["id"] for event in body]
        old = [i for i, name in enumerate(ids) if name in self.server.seen]
        items = [{"index": i, "id": ids[i], "status": "duplicate"} for i in old]
        bad = [i for i, name in enumerate(ids) if name == "a3" and i not in old]
        items += [{"index": i, "id": "a3", "status": "quarantined", "code": "unknown-unit"} for i in bad]
        late = [i for i, name in enumerate(ids) if name == "a4" and i not in old]
        items += [{"index": i, "id": "a4", "status": "late"} for i in late]
        self.server.seen += ids
        counts = {"duplicate": len(old), "quarantined": len(bad), "accepted": len(ids) - len(old) - len(bad)}
        self.answer(207, {"received": len(ids), **counts, "items": items}, {})

    def answer(self, status: int, body: dict[str, Any], headers: dict[str, str]) -> None:
        """Send a JSON answer."""
        raw = json.dumps(body).encode()
        self.send_response(status)
        for name, value in {"Content-Length": str(len(raw)), **headers}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(raw)

    def log_message(self, format: str, *args: Any) -> None:
        """Keep the test's output quiet."""


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """Return a running receiver."""
    server = Receiver()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def post(
    receiver: Receiver, *, state: Path | None = None, stream: str = "s", lines: list[str] | None = None, **kw: Any
) -> tuple[Progress, list[float]]:
    """Post the lines; return the progress and the pauses made."""
    pauses: list[float] = []
    progress = post_lines(
        LINES if lines is None else lines,
        target=Target(receiver.url, "secret", batch=10, **kw),
        bookmark=Bookmark(state, stream=stream),
        report=lambda _: None,
        clock=lambda: 0.0,
        sleep=pauses.append,
    )
    return progress, pauses


def test_batches_are_posted_with_the_token_and_answers_are_counted(receiver: Receiver) -> None:
    progress, _ = post(receiver)
    assert [call["size"] for call in receiver.calls] == [10, 10, 5]
    assert receiver.calls[0]["headers"]["Authorization"] == "Bearer secret"
    assert receiver.calls[0]["headers"]["Content-Type"] == "application/cloudevents-batch+json"
    assert progress.answers == {"accepted": 23, "late": 1, "quarantined": 1, "quarantined: unknown-unit": 1}
    assert progress.sent == 25


def test_posting_again_is_answered_as_duplicates(receiver: Receiver) -> None:
    post(receiver)
    progress, _ = post(receiver)
    assert progress.answers == {"duplicate": 25}


def test_a_passing_failure_is_waited_out_as_long_as_the_service_asks(receiver: Receiver) -> None:
    receiver.script = [(503, {}), (429, {"Retry-After": "7"})]
    progress, pauses = post(receiver)
    assert progress.sent == 25
    assert pauses == [1.0, 7.0]


def test_a_refusal_is_told_with_its_words(receiver: Receiver) -> None:
    receiver.script = [(401, {})]
    with pytest.raises(PostingFailed, match=r"401.*not now"):
        post(receiver)
    assert receiver.seen == []


def test_a_service_that_stays_down_is_given_up(receiver: Receiver) -> None:
    receiver.script = [(500, {})] * 6
    with pytest.raises(PostingFailed, match="gave up after 6"):
        post(receiver)


def test_a_resumed_run_goes_on_where_the_answers_stopped(receiver: Receiver, tmp_path: Path) -> None:
    state = tmp_path / "state.json"
    receiver.script = [(200, {})]  # the first answer is not the endpoint's
    with pytest.raises(PostingFailed, match="does not answer like"):
        post(receiver, state=state)
    post(receiver, state=state, lines=LINES[:20])
    progress, _ = post(receiver, state=state)
    assert progress.sent == 25
    assert receiver.seen == [f"a{i}" for i in range(25)]
    assert progress.answers["accepted"] == 23


def test_a_bookmark_of_another_stream_is_refused(receiver: Receiver, tmp_path: Path) -> None:
    state = tmp_path / "state.json"
    post(receiver, state=state)
    with pytest.raises(SimulatorError, match="other options"):
        post(receiver, state=state, stream="another")


def test_the_rate_is_kept(receiver: Receiver) -> None:
    _, pauses = post(receiver, rate_per_s=5.0)
    # The clock of this test stands still: after 10, 20 and 25 events it is 2, 4 and 5 s ahead.
    assert pauses == [2.0, 4.0, 5.0]


@pytest.mark.parametrize(
    "bad", [{"url": "ftp://x"}, {"batch": 0}, {"batch": 1001}, {"rate_per_s": 0.0}, {"rate_per_s": float("nan")}]
)
def test_an_impossible_target_is_refused(bad: dict[str, Any]) -> None:
    with pytest.raises(SimulatorError):
        Target(**{"url": "http://x", "token": "t", **bad})
