"""How often each trouble came, each rule was used and each thing was compared: the row of docs/reliability.md."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from django.db import connection

from alarms.models import Alarm, FaultEvent, Scheme
from fleet.models import Hold, Reading
from tests.faults.report import Result
from tests.faults.winter.known import Comparison
from tests.faults.winter.life import Life
from tests.faults.winter.messages import Post

ON_THE_WAY = ("answers", "open holds", "standing notices")


class Tally:
    """Counts of the first carrier, by name. `missing()` says which are nought."""

    def __init__(self, life: Life, post: Post, comparison: Comparison) -> None:
        self.life, self.post, self.comparison = life, post, comparison
        self.of_events: dict[str, int] = self._of_events()
        self.of_trips: dict[str, int] = self._of_trips()
        self.of_work: dict[str, int] = self._of_work()
        self.of_moments: dict[str, int] = self._of_moments()

    def __str__(self) -> str:
        parts = (self.of_events, self.of_trips, self.of_work, self.of_moments, self.comparison.compared)
        found = [f"{kind}: {row}" for kind, rows in self.comparison.differing.items() for row in rows]
        moments = [f"on the way: {moment}" for moment in self.life.calendar.moments.differing]
        return "\n".join([*map(said, parts), f"left out: {said(self.comparison.left_out)}", *found, *moments])

    def missing(self) -> list[str]:
        """What did not come at all: a winter without it does not show what becomes of it.

        No trip needs to be live in the very end: answers, holds and notices are compared at moments on the way as well.
        """
        in_the_end = {kind: rows for kind, rows in self.comparison.compared.items() if kind not in ON_THE_WAY}
        counted = {**self.of_events, **self.of_trips, **self.of_work, **self.of_moments, **in_the_end}
        return [name for name, count in counted.items() if not count]

    def _of_events(self) -> dict[str, int]:
        rough = self.life.rough
        alarms = Alarm.objects.for_fleet(rough.fleet).exclude(scheme=Scheme.DERIVED)
        return {
            **self.life.winter.counts,
            "answered duplicate": rough.answers["duplicate"],
            "answered late": rough.answers["late"],
            "put into quarantine": rough.answers["quarantined"],
            "taken up from quarantine": rough.did["taken up from quarantine"],
            "alarm records": alarms.count(),
            "of them flapping": alarms.filter(raise_count__gt=1).count(),
            "stops signed off": rough.did["stops signed off"],
        }

    def _of_trips(self) -> dict[str, int]:
        rough = self.life.rough
        holds = Counter(Hold.objects.for_fleet(rough.fleet).values_list("state", flat=True))
        return {
            "trips that left": rough.did["left"],
            "of them on a release": rough.did["left on a release"],
            "departures refused": len(rough.refusals),
            "trips refused": len({reference for _, reference in rough.refusals}),
            "holds": sum(holds.values()),
            "holds lifted": holds[Hold.State.LIFTED],
            "holds released": holds[Hold.State.RELEASED],
        }

    def _of_work(self) -> dict[str, int]:
        worker, messages = self.life.worker, Counter(row["kind"] for row in self.post.of(self.life.rough))
        return {
            "tasks run for a bell": worker.heard.total(),
            "bells lost": worker.lost,
            "mails": messages["mail"],
            "webhooks": messages["webhook"],
            "summaries": messages["summary"],
        }

    def _of_moments(self) -> dict[str, int]:
        moments = self.life.calendar.moments
        verdicts = moments.departures + moments.hours
        return {
            "departures asked of both": moments.departures.total(),
            "hours asked of both": moments.hours.total(),
            "not asked, because they knew different things": moments.not_comparable,
            "let both pass": verdicts["ready"] + verdicts["conditional"],
            "stopped both": verdicts["blocked"] + verdicts["unknown"],
            "of them with a hold": moments.held,
        }

    def result(self) -> Result:
        """The row; what the page says below it is what `str()` says."""
        rough, winter = self.life.rough, self.life.winter
        reports = FaultEvent.objects.for_fleet(rough.fleet).exclude(scheme=Scheme.DERIVED)
        told = list(self.post.told(rough).values())
        moments, events = self.life.calendar.moments, self.of_events
        return Result(
            fault=f"{winter.trouble_s // 3600} h of a winter fleet, {connection.vendor}",
            times=1,
            accepted=len(self.life.knowledge.taken["rough"]),
            stored=Reading.objects.for_fleet(rough.fleet).count() + reports.count(),
            due=len(told),
            delivered=sum(one.in_time for one in told),
            duplicates=self.post.repeated(),
            longest_delay_s=max(one.after_s for one in told),
            note=(
                f"{len(winter.numbers)} units, {events['events']:,} events sent {events['sent']:,} times, "
                f"{self.of_trips['holds']} holds; {moments.departures.total() + moments.hours.total()} answers on the "
                f"way and {self.comparison.compared.total():,} rows in the end equal those of the same events in "
                "order; due: refused departures; delays by the moved clock"
            ),
        )


def said(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count:,} {name}" for name, count in counts.items())
