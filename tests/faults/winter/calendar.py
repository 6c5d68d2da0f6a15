"""What the people of both carriers do, minute by minute: plan, inspect, load, leave, arrive, mend, take up quarantine.

What the first carrier's gate decides is what happens: a trip that left there leaves at the second one too (on a
release where its gate asks for one), so that both carriers have the same trips on the road.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any

from tests.faults.winter.carrier import Carrier, trip_body
from tests.faults.winter.knowledge import Knowledge
from tests.faults.winter.moments import Moments
from tests.faults.winter.radio import MINUTE_S, Winter

PLANNED_BEFORE_MIN = 8 * 60
LOADED_BEFORE_MIN = 4
RETRY_MIN = 20
GIVE_UP_MIN = 140
LATE_INSPECTION_MIN = 50
MENDING_EVERY_MIN = 60
TAKING_UP_EVERY_MIN = 6 * 60

Trip = dict[str, Any]
Act = Callable[[datetime], None]


class Calendar:
    """Acts by minute. `do(minute, now)` does those of one minute, in the order in which they were written."""

    def __init__(self, winter: Winter, rough: Carrier, calm: Carrier, knowledge: Knowledge) -> None:
        self.winter, self.rough, self.calm, self.knowledge = winter, rough, calm, knowledge
        self.moments = Moments(rough, calm, knowledge)
        self.acts: dict[int, list[Act]] = defaultdict(list)
        self.live: dict[str, Trip] = {}
        """Trips that are planned or on the road, by reference."""
        self.assigned: set[str] = set()
        self.left: set[str] = set()
        self.parted: set[str] = set()
        """Trips that the second carrier's gate did not let go although the first one's did."""
        late = {record["trip"]: record["late"] for record in winter.records("inspection")}
        for trip in winter.records("trip"):
            if self.minute(trip["deliver_at"]) * MINUTE_S < (len(winter.ambient_c) - 1) * 3600:
                self.write(trip, late=late[trip["reference"]])
        for minute in range(10, winter.end_s // MINUTE_S, MENDING_EVERY_MIN):
            self.acts[minute].append(self.mend)
        for minute in range(TAKING_UP_EVERY_MIN, winter.end_s // MINUTE_S, TAKING_UP_EVERY_MIN):
            self.acts[minute].append(self.take_up)

    def minute(self, text: str) -> int:
        return int((datetime.fromisoformat(text) - self.winter.start).total_seconds() // MINUTE_S)

    def write(self, trip: Trip, *, late: bool) -> None:
        """Puts one trip into the calendar."""
        loading, departs, delivers = (self.minute(trip[name]) for name in ("loading_at", "depart_at", "deliver_at"))
        inspects = departs + LATE_INSPECTION_MIN if late else max(loading - 60, 1)
        self.acts[max(loading - PLANNED_BEFORE_MIN, 1)].append(partial(self.plan, trip))
        self.acts[inspects].append(partial(self.inspect, trip["unit"]))
        self.acts[loading].append(partial(self.assign, trip))
        self.acts[max(departs - LOADED_BEFORE_MIN, loading + 1)].append(partial(self.load, trip))
        for minute in range(departs, departs + GIVE_UP_MIN, RETRY_MIN):
            self.acts[minute].append(partial(self.leave, trip, first=minute == departs))
        self.acts[departs + GIVE_UP_MIN].append(partial(self.give_up, trip))
        self.acts[max(delivers, departs + GIVE_UP_MIN + 1)].append(partial(self.deliver, trip))

    def do(self, minute: int, now: datetime) -> None:
        for act in self.acts.pop(minute, ()):
            act(now)

    def look(self, now: datetime) -> None:
        """Asks both carriers about every trip that is live at both."""
        for reference, trip in self.live.items():
            if reference not in self.parted:
                self.moments.at_hour(trip, now)

    # --- one act each --------------------------------------------------------------------------------------------

    def plan(self, trip: Trip, now: datetime) -> None:
        self.live[trip["reference"]] = trip
        for carrier in (self.rough, self.calm):
            carrier.plan(trip_body(trip, self.winter, now=now))

    def inspect(self, number: str, now: datetime) -> None:
        for carrier in (self.rough, self.calm):
            carrier.inspect(number, now)

    def load(self, trip: Trip, now: datetime) -> None:
        for carrier in (self.rough, self.calm):
            carrier.record_loading(trip)

    def assign(self, trip: Trip, now: datetime) -> None:
        if self.rough.assign(trip):
            self.assigned.add(trip["reference"])
            if not self.calm.assign(trip):
                self.calm.release(trip)
                self.calm.assign(trip)

    def leave(self, trip: Trip, now: datetime, *, first: bool) -> None:
        """A try to leave; from the second on the manager has released what can be released."""
        reference = trip["reference"]
        if reference in self.left:
            return
        self.moments.at_departure(trip, now)
        if not first:
            for carrier in (self.rough, self.calm):
                carrier.release(trip)
        if reference not in self.assigned:
            self.assign(trip, now)
        if reference not in self.assigned:
            self.rough.refusals.append((now, reference))
            return
        if not self.rough.depart(trip, now):
            return
        self.left.add(reference)
        if not self.leaves_calmly(trip, now):
            self.parted.add(reference)
            self.calm.inspected.pop(trip["unit"], None)

    def leaves_calmly(self, trip: Trip, now: datetime) -> bool:
        """The same at the other carrier."""
        for _ in range(2):
            if self.calm.assign(trip) and self.calm.depart(trip, now):
                return True
            self.calm.release(trip)
        return False

    def give_up(self, trip: Trip, now: datetime) -> None:
        reference = trip["reference"]
        if reference not in self.left:
            self.rough.end(trip, "cancel")
            del self.live[reference]
        if reference not in self.left or reference in self.parted:
            self.calm.end(trip, "cancel")

    def deliver(self, trip: Trip, now: datetime) -> None:
        reference = trip["reference"]
        if reference in self.left:
            self.rough.end(trip, "deliver")
            if reference in self.parted:
                self.calm.inspected.pop(trip["unit"], None)  # here it has not been out since
            else:
                self.calm.end(trip, "deliver")
            del self.live[reference]

    def mend(self, now: datetime) -> None:
        """Signs off what has come back; a stop voids the inspection before it, so the unit is looked at again."""
        for carrier in (self.rough, self.calm):
            for number in sorted(carrier.sign_off_stops()):
                carrier.inspect(number, now)

    def take_up(self, now: datetime) -> None:
        """What was ahead of the service's clock is no longer."""
        self.knowledge.learn("rough", self.rough.replay_quarantine(), now)

    def look_at_everything(self, now: datetime) -> None:
        """The last round: both carriers mend what can be mended and inspect every unit."""
        self.mend(now)
        for number in self.winter.numbers:
            self.inspect(number, now)
