"""What the receivers' files must say: of every refusal somebody was told, and nobody got too many mails."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from alarms.models import Delivery
from fleet.embedded.receivers import ReceivedMail
from tests.faults.receivers import Receivers
from tests.faults.winter.carrier import Carrier

TOLD_WITHIN_S = {"mail": 60.0, "webhook": 60.0, "summary": 16 * 60.0}
"""While no bell is heard the sweep of the test looks once a minute; the service's own looks every few seconds. For who
has had the hour's mails, a summary leaves once in each quarter of an hour and gathers for a minute."""
IMMEDIATE = ("now", "soon")
Row = dict[str, Any]
Word = tuple[float, bool, str]
"""When a message arrived, whether it says that the trip is held, and its kind."""


@dataclass(frozen=True, slots=True)
class Told:
    """How long after the refusal somebody had been told (0: before it), and by what."""

    after_s: float
    kind: str

    @property
    def in_time(self) -> bool:
        return self.after_s <= TOLD_WITHIN_S[self.kind]


class KeepingReceivers(Receivers):
    """Keeps the words of a mail too: a trip may stand in its lines only."""

    def _mail(self, mail: ReceivedMail) -> None:
        text = f"{mail.message['Subject']}\n{mail.text()}"
        self._keep("mail", str(mail.message["Message-ID"]), ", ".join(mail.recipients), text)


class Post:
    """All messages that arrived, each beside the row of the service that made it."""

    def __init__(self, receivers: Receivers) -> None:
        made = {row.message_id: row for row in Delivery.objects.across_fleets()}
        self.rows: list[Row] = []
        for row in receivers.rows():
            delivery = made[row["id"].strip("<>").split("@")[0]]
            kind = "summary" if delivery.purpose == Delivery.Purpose.SUMMARY else row["channel"]
            self.rows.append(row | {"made": delivery, "kind": kind})

    def of(self, carrier: Carrier) -> list[Row]:
        return [row for row in self.rows if row["made"].fleet_id == carrier.fleet.pk]

    def told(self, carrier: Carrier) -> dict[tuple[datetime, str], Told]:
        """Refusal (when, trip) to how somebody came to know of the trip's hold.

        To know means: the newest word that arrived about the trip is that it is held, not that its hold has ended.
        """
        words: dict[str, list[Word]] = defaultdict(list)
        for row in self.of(carrier):
            for reference, held in said_of_trips(row["made"]).items():
                if reference in row["text"]:
                    words[reference].append((row["at"], held, row["kind"]))
        return {(at, reference): told_of(words[reference], at) for at, reference in carrier.refusals}

    def most_immediate(self) -> dict[str, int]:
        """Mail address to the largest number of immediate mails within any hour; a summary is one mail of its own."""
        sent: dict[str, list[float]] = defaultdict(list)
        for row in self.rows:
            if row["channel"] == "mail" and row["made"].urgency in IMMEDIATE:
                sent[row["to"]].append(row["at"])
        return {
            to: max(sum(1 for other in moments if at <= other < at + 3600) for at in moments)
            for to, moments in sent.items()
        }

    def repeated(self) -> int:
        """Messages that arrived again under an id that was there before."""
        return len(self.rows) - len({row["id"] for row in self.rows})


def said_of_trips(made: Delivery) -> dict[str, bool]:
    """Trip to whether the message says that it is held (or else that its hold has ended)."""
    document, closing = made.document, made.purpose == Delivery.Purpose.CLOSE
    ended = {hold["trip"]: False for line in document.get("ended", ()) for hold in line["holds"]}
    return ended | {hold["trip"]: not closing for hold in document["holds"]}


def told_of(words: Sequence[Word], refused_at: datetime) -> Told:
    """How the hold was known at the refusal, or came to be known after it."""
    refused_s = refused_at.timestamp()
    before = [(held, kind) for at, held, kind in words if at <= refused_s]
    if before and before[-1][0]:
        return Told(0.0, before[-1][1])
    after = [Told(at - refused_s, kind) for at, held, kind in words if held and at > refused_s]
    return min(after, key=lambda told: told.after_s, default=Told(float("inf"), "mail"))
