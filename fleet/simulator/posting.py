"""Sends event lines to the service: batches, a steady rate, patience with failures, a place to resume from.

Uses the standard library only. The answer of every batch is counted by status, never ignored.
"""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from fleet.simulator.errors import SimulatorError

CONTENT_TYPE = "application/cloudevents-batch+json"
LARGEST_BATCH = 1000
TIMEOUT_S = 60.0
ATTEMPTS = 6
FIRST_PAUSE_S = 1.0
PASSING = frozenset({408, 425, 429, 500, 502, 503, 504})


class PostingFailed(SimulatorError):
    """The service refused a batch, or could not be reached again and again."""

    code = "simulator-posting"


@dataclass(slots=True)
class Progress:
    """What has been sent so far and what was answered; `sent` counts events of the stream, resumed ones included."""

    sent: int = 0
    batches: int = 0
    answers: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Target:
    """Where to post: the events endpoint and the token of an integrator."""

    url: str
    token: str
    batch: int = 500
    rate_per_s: float | None = None

    def __post_init__(self) -> None:
        if not self.url.startswith(("http://", "https://")):
            raise SimulatorError(f"post: {self.url} is not an http or https address")
        if not 1 <= self.batch <= LARGEST_BATCH:
            raise SimulatorError(f"batch: {self.batch} is outside 1..{LARGEST_BATCH}")
        if self.rate_per_s is not None and not self.rate_per_s > 0:
            raise SimulatorError(f"rate: {self.rate_per_s} events per second is not a rate")


class Bookmark:
    """A state file: how many events of which stream have been answered."""

    def __init__(self, path: Path | None, *, stream: str) -> None:
        self.path, self.stream = path, stream

    def read(self) -> Progress:
        """Return the progress so far; zero without a file.

        Raises
        ------
        SimulatorError
            When the file belongs to another stream: its count would skip the wrong events.
        """
        if self.path is None or not self.path.exists():
            return Progress()
        state = json.loads(self.path.read_text(encoding="utf-8"))
        if state["stream"] != self.stream:
            raise SimulatorError(f"resume: {self.path} belongs to a stream with other options")
        return Progress(state["sent"], state["batches"], Counter(state["answers"]))

    def write(self, progress: Progress) -> None:
        """Keep the progress; the file is replaced in one step, so a crash leaves the old or the new one."""
        if self.path is None:
            return
        state = {
            "stream": self.stream,
            "sent": progress.sent,
            "batches": progress.batches,
            "answers": dict(progress.answers),
        }
        fresh = self.path.with_name(self.path.name + ".new")
        fresh.write_text(json.dumps(state, indent=1), encoding="utf-8")
        fresh.replace(self.path)


def post_lines(
    lines: Iterable[str],
    *,
    target: Target,
    bookmark: Bookmark,
    report: Callable[[Progress], None],
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Progress:
    """Post every line that has not been answered yet; return the counts.

    `report` is called after each batch. A batch sent twice after a crash is answered as duplicates: events
    carry their own identity.
    """
    progress = bookmark.read()
    begun, before = clock(), progress.sent
    for batch in batches(islice(iter(lines), progress.sent, None), target.batch):
        answer = post_batch(batch, target=target, sleep=sleep)
        progress.answers.update(statuses(answer, len(batch)))
        progress.sent += len(batch)
        progress.batches += 1
        bookmark.write(progress)
        report(progress)
        if target.rate_per_s is not None:
            ahead_s = (progress.sent - before) / target.rate_per_s - (clock() - begun)
            if ahead_s > 0:
                sleep(ahead_s)
    return progress


def batches(lines: Iterator[str], size: int) -> Iterator[list[str]]:
    """Yield lists of at most `size` lines."""
    while batch := list(islice(lines, size)):
        yield batch


def post_batch(batch: list[str], *, target: Target, sleep: Callable[[float], None]) -> dict[str, Any]:
    """Return the service's answer to one batch; tries again while the failure is a passing one.

    Raises
    ------
    PostingFailed
        On a refusal that will not pass (with the answer's text), or after six attempts.
    """
    body = ("[" + ",".join(batch) + "]").encode("utf-8")
    headers = {"Authorization": f"Bearer {target.token}", "Content-Type": CONTENT_TYPE}
    pause_s, trouble = FIRST_PAUSE_S, ""
    for attempt in range(ATTEMPTS):
        if attempt:
            sleep(pause_s)
            pause_s *= 2
        request = urllib.request.Request(target.url, data=body, headers=headers, method="POST")
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as response:
                return read_answer(response.read())
        except urllib.error.HTTPError as error:
            trouble = f"{error.code}: {error.read(2000).decode('utf-8', 'replace')}"
            if error.code not in PASSING:
                raise PostingFailed(f"refused with {trouble}") from None
            pause_s = wished_pause_s(error.headers.get("Retry-After"), pause_s)
        except (urllib.error.URLError, TimeoutError, ConnectionError) as error:
            trouble = str(error)
    raise PostingFailed(f"gave up after {ATTEMPTS} attempts: {trouble}")


def wished_pause_s(header: str | None, otherwise: float) -> float:
    """Return the pause a service asks for in whole seconds, at most a minute, or our own."""
    return min(float(header), 60.0) if header is not None and header.isdigit() else otherwise


def read_answer(raw: bytes) -> dict[str, Any]:
    """Return the answer of the events endpoint, or raise when it is something else (a proxy's page, say)."""
    try:
        answer = json.loads(raw)
        total = answer["accepted"] + answer["duplicate"] + answer["quarantined"]
    except (ValueError, KeyError, TypeError):
        raise PostingFailed("the address does not answer like the events endpoint") from None
    if total != answer["received"]:
        raise PostingFailed(f"the counts do not add up: {answer}")
    return dict(answer)


def statuses(answer: dict[str, Any], sent: int) -> Counter[str]:
    """Return how many events got which status; late ones are accepted ones that are older than the state."""
    if answer["received"] != sent:
        raise PostingFailed(f"{sent} events sent, {answer['received']} received")
    items = answer.get("items", [])
    late = sum(1 for item in items if item["status"] == "late")
    counts = Counter(
        accepted=answer["accepted"] - late,
        late=late,
        duplicate=answer["duplicate"],
        quarantined=answer["quarantined"],
    )
    # Why something was quarantined matters more than that it was.
    counts.update(f"quarantined: {item.get('code', 'no code')}" for item in items if item["status"] == "quarantined")
    return +counts
