"""Says how far a long command is: count, rate and time left on a terminal, nothing where nobody watches.

Ctrl-C ends the command with one sentence: how far it got, and what to run to go on.
"""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import IO, Any, Self

from django.core.management.base import CommandError
from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn, TimeRemainingColumn
from rich.text import Text

INTERRUPTED = 130
"""Exit status of a command that Ctrl-C ended: 128 + SIGINT, as shells have it."""


class Stopped(CommandError):
    """Somebody pressed Ctrl-C. The words say how far the command got and how to go on."""

    def __init__(self, words: str) -> None:
        super().__init__(words, returncode=INTERRUPTED)


class Watched:
    """The progress of one command; use it as a context manager around the work.

    `total` None: how much there is, is not known beforehand. `go_on`: the command that continues, or why it starts
    over. `skipped`: what an earlier run has done already; it counts, but not in the rate.
    """

    def __init__(
        self, what: str, *, total: int | None, go_on: str, skipped: int = 0, stream: IO[str] | None = None
    ) -> None:
        self.what, self.total, self.go_on = what, total, go_on
        self.count = self.skipped = skipped
        self.share: float | None = None
        self._begun = time.monotonic()
        console = Console(file=stream or sys.stderr, highlight=False)
        columns = (TextColumn("{task.description}"), BarColumn(bar_width=24), _Said(self), TimeRemainingColumn())
        self._bar = Progress(*columns, console=console, disable=not console.is_terminal, transient=True)
        self._task = self._bar.add_task(what, total=float(total) if total else None, completed=skipped)

    def step(self, count: int = 1) -> None:
        """So many more are done."""
        self.to(self.count + count)

    def to(self, count: int, *, share: float | None = None) -> None:
        """So many are done; `share` (0..1) where the whole is measured in something else than the count."""
        self.count, self.share = count, share
        if share is None:
            self._bar.update(self._task, completed=float(count))
        else:
            self._bar.update(self._task, total=1.0, completed=share)

    @property
    def rate_per_s(self) -> float:
        return (self.count - self.skipped) / max(time.monotonic() - self._begun, 1e-6)

    @property
    def so_far(self) -> str:
        """What is done, in words."""
        whole = f"{self.count} of {self.total} {self.what}" if self.total else f"{self.count} {self.what}"
        return whole if self.share is None else f"{whole}, {self.share:.0%}"

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: Any, trace: TracebackType | None) -> None:
        self._bar.stop()
        if kind is not None and issubclass(kind, KeyboardInterrupt):
            raise Stopped(f"Stopped after {self.so_far}. {self.go_on}") from None


class _Said(ProgressColumn):
    """Count and rate."""

    def __init__(self, watched: Watched) -> None:
        super().__init__()
        self.watched = watched

    def render(self, task: Task) -> Text:
        return Text(f"{self.watched.so_far}, {self.watched.rate_per_s:.0f}/s")
