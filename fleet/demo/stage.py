"""What the acts of the story share: the scenario, the cast, and waiting for what the service does by itself."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from fleet.demo.founding import Cast
from fleet.demo.scenario import Scenario
from fleet.demo.teller import Teller
from fleet.embedded.inbox import receipts_in

T = TypeVar("T")
PATIENCE_S = 20.0
LOOK_S = 0.1
WORST_FIRST = ("block", "unknown", "concern", "pending", "pass")


class StoryStuck(RuntimeError):
    """Something the service should do by itself has not happened."""


class Interrupted(RuntimeError):
    """The person at the keyboard has had enough."""


@dataclass(slots=True)
class Stage:
    """One telling of the story."""

    scenario: Scenario
    cast: Cast
    teller: Teller
    pace_s: float
    stopping: threading.Event
    hook_url: str
    folder: Path | None
    """Where our own receivers keep what arrives; None when somebody else receives."""
    shown: set[int] = field(default_factory=set)
    """Deliveries the story has already shown."""

    def pause(self, share: float = 1.0) -> None:
        if self.stopping.wait(self.pace_s * share):
            raise Interrupted

    def until(self, what: str, look: Callable[[], T | None]) -> T:
        """The first true answer of *look*. *Raises* StoryStuck when there is none in time."""
        give_up_at = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up_at:
            if found := look():
                return found
            if self.stopping.wait(LOOK_S):
                raise Interrupted
        raise StoryStuck(f"Waited {PATIENCE_S:g} s in vain: {what}.")

    def post_reading(self, number: str, **changes: Any) -> None:
        """A reading of the unit, taken now."""
        self.cast.integrator.post("events/", [self.scenario.reading(number, datetime.now(UTC), **changes)])

    def post_fault(self, number: str, code: str, state: str) -> None:
        self.cast.integrator.post("events/", [self.scenario.fault(number, datetime.now(UTC), code, state)])

    def readiness(self, reference: str) -> dict[str, Any]:
        answer: dict[str, Any] = self.cast.dispatcher.get(f"trips/{reference}/readiness/")
        return answer

    def hold_of(self, reference: str, state: str) -> dict[str, Any] | None:
        """The newest hold of a trip, if it is in this state."""
        items = self.cast.manager.get(f"holds/?trip={reference}")["items"]
        return items[0] if items and items[0]["state"] == state else None

    def arrived(self, number: str, *, channel: str) -> tuple[str, str] | None:
        """Address and words of a message about a unit that was sent and that the story has not shown yet."""
        for delivery in self.cast.manager.get("deliveries/?state=sent&limit=50")["items"]:
            fresh = delivery["id"] not in self.shown and delivery["channel"] == channel
            if fresh and delivery["document"].get("unit") == number:
                self.shown.add(delivery["id"])
                return delivery["address"], self._words_of(delivery)
        return None

    def _words_of(self, delivery: dict[str, Any]) -> str:
        """The subject as the receiver has it; without a receiver of our own, what the service says it sent."""
        receipts = receipts_in(self.folder) if self.folder is not None else []
        for receipt in receipts:
            if delivery["message_id"] in receipt["id"]:
                return str(receipt["subject"])
        return f"{delivery['purpose']} {delivery['document']['unit']}, {delivery['urgency']} ({delivery['reason']})"


def first_reason(answer: dict[str, Any]) -> dict[str, Any] | None:
    """The finding to show first: of the worst outcome, one that says how much mends it if there is one; None when
    everything passes."""

    def order(finding: dict[str, Any]) -> tuple[int, bool]:
        measured = finding["remedy"] is not None and finding["remedy"]["amount"] is not None
        return WORST_FIRST.index(finding["outcome"]), not measured

    findings = sorted(answer["findings"], key=order)
    return findings[0] if findings and findings[0]["outcome"] != "pass" else None


def clock(at: datetime) -> str:
    """Time of day on this machine."""
    return at.astimezone().strftime("%H:%M")


def ago(**parts: float) -> datetime:
    return datetime.now(UTC) - timedelta(**parts)
