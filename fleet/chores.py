"""What fleet itself asks of the sweep: assess what is due, seal the audit chain, forget old keys, make partitions."""

from __future__ import annotations

from datetime import datetime

from fleet.http.idempotency import forget_expired_keys
from fleet.partitions import ensure_partitions
from fleet.records.seal import seal_entries
from fleet.sweep import Chore
from fleet.tasks import assess_all_due

HOUR_S = 3600.0


def assess(now: datetime) -> int:
    return assess_all_due(woken_by="sweep")


def seal_audit(now: datetime) -> int:
    return seal_entries(now)


def forget_keys(now: datetime) -> int:
    return forget_expired_keys(now=now)


def make_partitions(now: datetime) -> int:
    return len(ensure_partitions(now=now))


CHORES = (
    Chore("fleet.assess", assess),
    Chore("fleet.forget_keys", forget_keys, every_s=HOUR_S),
    Chore("fleet.make_partitions", make_partitions, every_s=6 * HOUR_S),
    Chore("fleet.seal_audit", seal_audit, every_s=15),
)
