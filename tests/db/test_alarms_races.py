"""Two at once: batches of the same fault, and a signature against a new report. Real threads, own connections."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from alarms.models import Alarm, FaultEvent
from alarms.services.acts import AlarmStillReported, sign_off
from fleet.models import Fleet, Role
from tests import factories as f
from tests.db.conftest import in_threads, post

pytestmark = pytest.mark.django_db(transaction=True)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def fleet(transactional_db: None) -> Fleet:
    fleet = f.make_fleet("races", "Race Lines")
    f.make_unit(fleet)
    return fleet


def test_batches_that_raise_the_same_fault_at_once_open_one_record(fleet: Fleet, now: datetime) -> None:
    def send(index: int) -> None:
        same = f.fault(now - 9 * MINUTE, "belt", id_="same")
        answer = post(fleet, same, f.fault(now - index * MINUTE, "belt", id_=f"own-{index}"), now=now)
        assert answer.count("quarantined") == 0

    results = in_threads(*(lambda index=index: send(index) for index in range(4)))  # type: ignore[misc]
    assert results == [None] * 4
    alarm = Alarm.objects.across_fleets().get()
    assert (alarm.raised_at, alarm.last_event_at, alarm.state) == (now - 9 * MINUTE, now, "active")
    assert FaultEvent.objects.across_fleets().count() == 5


def test_a_signature_and_a_new_report_at_once_never_leave_a_reported_fault_closed(fleet: Fleet, now: datetime) -> None:
    """Whichever comes first: either the signature is refused, or the report opens a new record."""
    inspector = f.make_member(fleet, Role.INSPECTOR)
    post(fleet, f.fault(now - 9 * MINUTE, "belt"), f.fault(now - 8 * MINUTE, "belt", state="cleared"), now=now)
    first = Alarm.objects.across_fleets().get()
    signed, _ = in_threads(
        lambda: sign_off(first.pk, fleet=fleet, by=inspector, work_done="Belt replaced.", revision=None, now=now),
        lambda: post(fleet, f.fault(now - 7 * MINUTE, "belt"), now=now),
    )
    states = [alarm.state for alarm in Alarm.objects.across_fleets().order_by("id")]
    assert states == (["active"] if isinstance(signed, AlarmStillReported) else ["closed", "active"])
