"""Two carriers live through the same winter, minute by minute."""

from __future__ import annotations

from datetime import timedelta

from tests.faults.receivers import Receivers
from tests.faults.winter.calendar import Calendar
from tests.faults.winter.carrier import found_carrier
from tests.faults.winter.clock import MovedClock
from tests.faults.winter.knowledge import Knowledge
from tests.faults.winter.radio import AHEAD_S, MINUTE_S, Winter
from tests.faults.winter.worker import Worker

SWEPT_AFTER_S = 30
LOOK_EVERY_MIN = 60
SETTLES_MIN = 10
"""Until what was taken up has been assessed, and stops that are over are seen to be."""
RESTS_MIN = 40
"""After the last event the pipeline comes to rest: holds lift after five minutes, alarms close after thirty."""


class Life:
    """The two carriers, the clock, and who works for them."""

    def __init__(self, winter: Winter, clock: MovedClock, receivers: Receivers) -> None:
        self.winter, self.clock = winter, clock
        hours = winter.end_s / 3600 + 24
        self.rough = found_carrier("rough", winter, hook=receivers.hooks.url("/rough"), hours=hours)
        self.calm = found_carrier("calm", winter, hook=receivers.hooks.url("/calm"), hours=hours)
        self.knowledge = Knowledge(winter)
        self.calendar = Calendar(winter, self.rough, self.calm, self.knowledge)
        self.worker = Worker(clock)
        self.minute = 0

    def live(self) -> None:
        """The whole time, until every event is there, what was put aside is taken up, and the pipeline rests."""
        with self.worker.employed():
            while self.minute < self.winter.end_s // MINUTE_S or self.winter.rough or self.winter.calm:
                self.pass_minute()
            self.rest(AHEAD_S // MINUTE_S)
            self.calendar.take_up(self.clock.now)
            self.rest(SETTLES_MIN)
            self.calendar.look_at_everything(self.clock.now)
            self.rest(RESTS_MIN)

    def rest(self, minutes: int) -> None:
        for _ in range(minutes):
            self.pass_minute()

    def pass_minute(self) -> None:
        """Events arrive, people act, tasks run as soon as they are rung for, the sweep looks."""
        self.minute += 1
        minute, now = self.minute, self.winter.at(self.minute * MINUTE_S)
        self.clock.move_to(now)
        for name, carrier, arrivals in (
            ("rough", self.rough, self.winter.rough),
            ("calm", self.calm, self.winter.calm),
        ):
            self.knowledge.learn(name, carrier.send(arrivals.pop(minute, [])), now)
        self.worker.work()
        self.calendar.do(minute, now)
        self.worker.work()
        self.clock.move_to(now + timedelta(seconds=SWEPT_AFTER_S))
        self.worker.sweep()
        self.worker.work()
        if minute % LOOK_EVERY_MIN == 0:
            self.calendar.look(now)
