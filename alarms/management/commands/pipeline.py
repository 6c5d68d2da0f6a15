"""manage.py pipeline: what is due, leased, failing, and how old; with --retry, tries again now."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from alarms.deliveries.selectors import failing_deliveries, pipeline_figures
from alarms.notices.services import retry_all
from fleet.clock import db_now, text_of


class Command(BaseCommand):
    help = "Shows what is due, leased and failing in the notice pipeline, and how old it is."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--retry", action="store_true", help="try everything that waits or was given up, now")

    def handle(self, *args: Any, **options: Any) -> None:
        now = db_now()
        if options["retry"]:
            self.stdout.write(f"{retry_all(now=now)} messages are due now.")
        figures = pipeline_figures(now=now)
        rows = (
            ("notices", "open", figures.notices_open, None),
            ("notices", "due", figures.notices_due, figures.oldest_notice_at),
            ("notices", "undeliverable", figures.notices_undeliverable, None),
            ("deliveries", "due", figures.deliveries_due, figures.oldest_delivery_at),
            ("deliveries", "leased", figures.deliveries_leased, None),
            ("deliveries", "waiting", figures.deliveries_waiting, None),
            ("deliveries", "failed", figures.deliveries_failed, None),
            ("routes", "failing", figures.routes_failing, None),
            ("routes", "disabled", figures.routes_disabled, None),
        )
        self.stdout.write(f"{'what':<11} {'state':<14} {'count':>7}  oldest")
        for what, state, count, at in rows:
            self.stdout.write(f"{what:<11} {state:<14} {count:>7}  {_age(at, now)}".rstrip())
        self._failing(now)

    def _failing(self, now: datetime) -> None:
        rows = failing_deliveries()
        if rows:
            self.stdout.write("\nFailing, newest first:")
        for row in rows:
            again = text_of(row.next_attempt_at) if row.state == row.State.RETRY_WAIT else "given up"
            self.stdout.write(
                f"  {row.pk} {row.fleet.slug} {row.channel} {row.address} attempts={row.attempts} next={again}: "
                f"{row.last_error}"
            )


def _age(at: datetime | None, now: datetime) -> str:
    return "" if at is None else f"{int((now - at) / timedelta(seconds=1))} s"
