"""What fleet itself asks of the sweep: assess what is due, find flat sensors, seal the audit chain, forget old keys."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.contrib.sessions.models import Session

from fleet.bell import ASSESS_TASK, drop_unheard
from fleet.http.idempotency import forget_expired_keys
from fleet.models import Trip
from fleet.partitions import delete_readings_before, drop_partitions_before, ensure_partitions, next_month
from fleet.readiness.service import LEASE, LIVE
from fleet.records.seal import seal_entries
from fleet.sweep import ASSESS, Chore
from fleet.tasks import assess_all_due
from fleet.tokens.service import forget_expired_tokens
from fleet.units.flat_sensors import find_flat_sensors

HOUR_S = 3600.0


def assess(now: datetime) -> int:
    return assess_all_due(woken_by="sweep")


def take_back_trips(now: datetime) -> int:
    """Claimed trips fall due again when their lease ends; this makes them due now, and a few others a little early."""
    claimed = Trip.objects.across_fleets().filter(state__in=LIVE, assess_due_at__gt=now, assess_due_at__lte=now + LEASE)
    return claimed.update(assess_due_at=now)


def seal_audit(now: datetime) -> int:
    return seal_entries(now)


def forget_keys(now: datetime) -> int:
    return forget_expired_keys(now=now)


def forget_tokens(now: datetime) -> int:
    return forget_expired_tokens(now=now)


def flat_sensors(now: datetime) -> int:
    return find_flat_sensors(now)


def forget_sessions(now: datetime) -> int:
    """Sessions of the pages that have run out."""
    deleted, _ = Session.objects.filter(expire_date__lt=now).delete()
    return deleted


def drop_bells(now: datetime) -> int:
    return drop_unheard()


def make_partitions(now: datetime) -> int:
    return len(ensure_partitions(now=now))


def drop_old_readings(now: datetime) -> int:
    """Readings are kept for whole months (WARMGATE_READINGS_KEEP_MONTHS); older months go."""
    oldest_kept = next_month(now, -settings.READINGS_KEEP_MONTHS)
    return len(drop_partitions_before(oldest_kept)) + delete_readings_before(oldest_kept)


CHORES = (
    Chore("fleet.assess", assess, lane=ASSESS, task=ASSESS_TASK, alone=take_back_trips),
    Chore("fleet.drop_bells", drop_bells, every_s=60),
    Chore("fleet.flat_sensors", flat_sensors, every_s=600),
    Chore("fleet.forget_keys", forget_keys, every_s=HOUR_S),
    Chore("fleet.forget_tokens", forget_tokens, every_s=HOUR_S),
    Chore("fleet.forget_sessions", forget_sessions, every_s=HOUR_S),
    Chore("fleet.drop_old_readings", drop_old_readings, every_s=24 * HOUR_S),
    Chore("fleet.make_partitions", make_partitions, every_s=6 * HOUR_S),
    Chore("fleet.seal_audit", seal_audit, every_s=15),
)
