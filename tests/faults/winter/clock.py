"""A clock that the test moves: this process's, and on PostgreSQL what the server's `clock_timestamp()` says.

The service keeps asking its usual clocks; nothing in it knows of this. On PostgreSQL a function of the same name stands
before the server's own in the search path of this one connection and says what the test told it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import time_machine
from django.db import connection

from fleet.clock import db_now

FUNCTION = """
CREATE OR REPLACE FUNCTION public.clock_timestamp() RETURNS timestamptz LANGUAGE sql VOLATILE AS
$$ SELECT current_setting('warmgate_tests.now')::timestamptz $$
"""


@dataclass(slots=True)
class MovedClock:
    """Stands still until it is told the time."""

    traveller: Any
    now: datetime

    def move_to(self, at: datetime) -> None:
        """Never backwards: somebody may have slept past that time."""
        self.now = max(self.now, at)
        self.traveller.move_to(self.now)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT set_config('warmgate_tests.now', %s, false)", [self.now.isoformat()])

    def sleep(self, seconds: float) -> None:
        """What a process that sleeps sees: it is later."""
        self.move_to(self.now + timedelta(seconds=seconds))


@contextmanager
def moved_clock(start: datetime) -> Iterator[MovedClock]:
    """The clock, standing at *start*; on leaving all clocks go their own way again."""
    with time_machine.travel(start, tick=False) as traveller:
        clock = MovedClock(traveller, start)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(FUNCTION)
                cursor.execute("SET search_path = public, pg_catalog")
        clock.move_to(start)
        assert db_now() == start, "the service does not see the clock of the test"
        try:
            yield clock
        finally:
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("RESET search_path")
                    cursor.execute("DROP FUNCTION public.clock_timestamp()")
