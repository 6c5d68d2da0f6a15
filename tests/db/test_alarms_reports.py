"""Fault events into alarm rows: identity, repeats, contradictions, latching, late reports, facts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from alarms import watchers as watching
from alarms.models import Alarm, FaultEvent
from alarms.services.acts import sign_off, void
from fleet.models import Fleet, Member, QuarantinedEvent, Role, UnitState
from tests import factories as f

Post = Callable[..., dict[str, Any]]
MINUTE = timedelta(minutes=1)


@pytest.fixture
def unit(tarn: Fleet) -> Any:
    return f.make_unit(tarn)


@pytest.fixture
def inspector(tarn: Fleet) -> Member:
    return f.make_member(tarn, Role.INSPECTOR)


@pytest.fixture
def told() -> Any:
    """What watchers were told: (code, change)."""
    heard: list[tuple[str, str]] = []

    def watch(alarm: Alarm, change: str, now: datetime) -> None:
        heard.append((alarm.code, str(change)))

    watching.watchers.append(watch)
    yield heard
    watching.watchers.remove(watch)


def alarms() -> list[Alarm]:
    return list(Alarm.objects.across_fleets().order_by("id"))


def facts() -> dict[str, Any]:
    return {name: entry[0] for name, entry in UnitState.objects.across_fleets().get().facts.items()}


def test_an_unknown_code_is_an_attend_alarm_marked_unmapped(
    unit: Any, post_events: Post, now: datetime, told: Any
) -> None:
    answer = post_events(f.fault(now, "coolant-hot-2"))
    assert answer["accepted"] == 1
    (alarm,) = alarms()
    assert (alarm.tier, alarm.unmapped, alarm.state, alarm.scheme) == ("attend", True, "active", "book")
    assert told == [("coolant-hot-2", "opened")]
    (listed,) = facts()["alarms.open"]
    assert (listed["id"], listed["code"], listed["unmapped"]) == (alarm.pk, "coolant-hot-2", True)
    assert facts()["alarms.open_count"] == 1


def test_the_same_event_twice_is_a_repeat_in_and_across_batches(unit: Any, post_events: Post, now: datetime) -> None:
    event = f.fault(now, "fan-stuck")
    assert post_events(event, event)["duplicate"] == 1
    assert post_events(event)["duplicate"] == 1
    assert FaultEvent.objects.across_fleets().count() == 1
    assert len(alarms()) == 1


def test_one_id_with_other_content_is_quarantined_and_makes_the_unit_unknown(
    unit: Any, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now, "fan-stuck", id_="a2"))
    answer = post_events(f.fault(now, "fan-slow", id_="a2"))
    assert (answer["quarantined"], answer["items"][0]["code"]) == (1, "contradiction")
    assert [alarm.code for alarm in alarms()] == ["fan-stuck"]
    assert facts()["fleet.quarantined_faults"] == 1


@pytest.mark.parametrize(
    "data",
    [
        {"state": "raised"},
        {"state": "raised", "code": "a", "spn": 110, "fmi": 0},
        {"state": "raised", "spn": 110},
        {"state": "raised", "spn": 524288, "fmi": 0},
        {"state": "raised", "spn": 110, "fmi": 32},
        {"state": "raised", "spn": True, "fmi": 0},
        {"state": "on", "code": "a"},
        {"state": "raised", "code": ""},
        {"state": "raised", "code": " a"},
        {"state": "raised", "code": "a\n"},
        {"state": "raised", "code": "a", "lamp": "red"},
        {"state": "raised", "code": "a", "occurrence": 128},
        {"state": "raised", "code": "x" * 65},
    ],
)
def test_a_fault_that_cannot_be_read_is_kept_in_quarantine(
    unit: Any, post_events: Post, now: datetime, data: dict[str, Any]
) -> None:
    answer = post_events(f.fault(now, "x") | {"data": data})
    assert answer["quarantined"] == 1
    assert answer["items"][0]["pointer"].startswith("/data")
    assert QuarantinedEvent.objects.across_fleets().get().unit_id == unit.pk
    assert alarms() == []


def test_nobody_may_speak_in_the_service_s_own_name(unit: Any, post_events: Post, now: datetime) -> None:
    answer = post_events(f.fault(now, "heat-lost", source="warmgate/rules"))
    assert answer["items"][0]["code"] == "reserved-source"


def test_an_open_pair_gets_its_tier_and_words_from_its_failure_mode(
    unit: Any, post_events: Post, now: datetime
) -> None:
    """FMI 0 is "above normal, most severe", 17 "below normal, least severe" and 5 an open circuit: J1939-73
    appendix A (copy at autoprogs.ru, read). That the first keeps a unit here is our own rule."""
    pairs = {(110, 0): "stop", (111, 17): "watch", (168, 5): "attend", (100, 18): "attend", (520123, 31): "attend"}
    post_events(
        *(
            f.fault(now, "x", id_=f"p{spn}") | {"data": {"state": "raised", "spn": spn, "fmi": fmi, "occurrence": 127}}
            for spn, fmi in pairs
        )
    )
    rows = {alarm.code: alarm for alarm in alarms()}
    assert {code: alarm.tier for code, alarm in rows.items()} == {
        f"spn{spn}-fmi{fmi}": tier for (spn, fmi), tier in pairs.items()
    }
    assert rows["spn110-fmi0"].meaning == "engine coolant temperature: far above the normal range"
    assert not rows["spn110-fmi0"].unmapped
    assert rows["spn520123-fmi31"].component == "parameter 520123"
    assert all(alarm.occurrence is None for alarm in rows.values())


def test_a_stop_alarm_latches_and_a_signature_closes_it(
    unit: Any, inspector: Member, tarn: Fleet, post_events: Post, now: datetime, told: Any
) -> None:
    stop = {"data": {"state": "raised", "spn": 110, "fmi": 0}}
    post_events(f.fault(now - 9 * MINUTE, "x", id_="1") | stop)
    post_events(f.fault(now - 8 * MINUTE, "x", id_="2") | {"data": {"state": "cleared", "spn": 110, "fmi": 0}})
    (alarm,) = alarms()
    assert (alarm.state, alarm.as_reported) == ("returned", False)
    assert facts()["alarms.last_stop_at"] == f.instant(now - 9 * MINUTE)
    assert facts().get("alarms.last_signed_at") is None
    sign_off(alarm.pk, fleet=tarn, by=inspector, work_done="Coolant topped up.", revision=1, now=now)
    (alarm,) = alarms()
    assert (alarm.state, alarm.signed_by, alarm.revision) == ("closed", inspector, 2)
    assert facts()["alarms.open"] == []
    assert facts()["alarms.last_signed_at"] == f.instant(now)
    assert told == [("spn110-fmi0", "opened"), ("spn110-fmi0", "returned"), ("spn110-fmi0", "closed")]


def test_a_repeat_after_closing_is_a_new_record_that_links_the_old_one(
    unit: Any, inspector: Member, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now - 9 * MINUTE, "belt"), f.fault(now - 8 * MINUTE, "belt", state="cleared"))
    first = alarms()[0]
    sign_off(first.pk, fleet=tarn, by=inspector, work_done="Belt replaced.", revision=None, now=now - 5 * MINUTE)
    post_events(f.fault(now, "belt"))
    old, new = alarms()
    assert (old.state, new.state, new.previous_id, new.repeat) == ("closed", "active", old.pk, 2)


def test_a_raise_from_before_the_signature_that_arrives_after_it_opens_the_alarm_again(
    unit: Any, inspector: Member, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now - 9 * MINUTE, "belt"), f.fault(now - 8 * MINUTE, "belt", state="cleared"))
    first = alarms()[0]
    sign_off(first.pk, fleet=tarn, by=inspector, work_done="Belt replaced.", revision=None, now=now - 2 * MINUTE)
    post_events(f.fault(now - 5 * MINUTE, "belt"))
    old, new = alarms()
    assert (old.state, old.raise_count, new.state, new.raised_at) == ("closed", 2, "active", now - 5 * MINUTE)
    # ... and when the clear that followed it arrives too, the signature was right after all.
    post_events(f.fault(now - 4 * MINUTE, "belt", state="cleared"))
    old, new = alarms()
    assert (old.state, old.as_reported, new.state, new.voided_by) == ("closed", False, "voided", None)
    assert facts()["alarms.open"] == []
    # The next time, the withdrawn record serves again.
    post_events(f.fault(now, "belt"))
    assert [alarm.state for alarm in alarms()] == ["closed", "active"]


def test_a_voided_alarm_is_silent_until_the_unit_raises_it_anew(
    unit: Any, tarn: Fleet, post_events: Post, now: datetime, told: Any
) -> None:
    manager = f.make_member(tarn, Role.MANAGER)
    post_events(f.fault(now - 9 * MINUTE, "ghost"))
    void(alarms()[0].pk, fleet=tarn, by=manager, reason="Test plug on the bench.", revision=None, now=now - 5 * MINUTE)
    post_events(f.fault(now - 7 * MINUTE, "ghost"))
    assert [alarm.state for alarm in alarms()] == ["voided"]
    post_events(f.fault(now - 1 * MINUTE, "ghost"))
    assert [alarm.state for alarm in alarms()] == ["voided", "active"]
    assert told[-2:] == [("ghost", "voided"), ("ghost", "opened")]


def test_a_clock_that_runs_ahead_does_not_open_what_was_just_signed(
    unit: Any, inspector: Member, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    post_events(f.fault(now + 4 * MINUTE, "belt"), f.fault(now + 5 * MINUTE, "belt", state="cleared"))
    sign_off(alarms()[0].pk, fleet=tarn, by=inspector, work_done="Belt replaced.", revision=None, now=now)
    post_events(f.fault(now + 3 * MINUTE, "belt", state="cleared"))
    assert [alarm.state for alarm in alarms()] == ["closed"]


def test_a_batch_of_many_faults_takes_as_many_statements_as_a_batch_of_few(
    tarn: Fleet, post_events: Post, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "watchers", [])
    numbers = [f.make_unit(tarn, f"HB-{index}").number for index in range(8)]

    def statements(events: list[dict[str, Any]]) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert post_events(*events)["accepted"] == len(events)
        return len(queries)

    few = statements([f.fault(now - 9 * MINUTE, "a", unit=number) for number in numbers[:2]])
    many = statements(
        [f.fault(now - 9 * MINUTE, f"b{index}", unit=number) for number in numbers[2:] for index in range(15)]
    )
    # SQLite inserts 90 rows of an alarm in three pieces, because a statement takes 1000 values.
    assert many <= few + 2


def test_a_watcher_that_fails_undoes_only_its_own_work(unit: Any, post_events: Post, now: datetime) -> None:
    def broken(alarm: Alarm, change: str, at: datetime) -> None:
        FaultEvent.objects.across_fleets().delete()
        raise RuntimeError("broken")

    watching.watchers.append(broken)
    try:
        answer = post_events(f.fault(now, "fan-stuck"))
    finally:
        watching.watchers.remove(broken)
    assert answer["accepted"] == 1
    assert (len(alarms()), FaultEvent.objects.across_fleets().count()) == (1, 1)


def test_with_more_open_alarms_than_are_listed_the_stop_tier_stays_listed(
    unit: Any, post_events: Post, now: datetime
) -> None:
    stop = f.fault(now - 60 * MINUTE, "x", id_="stop") | {"data": {"state": "raised", "spn": 110, "fmi": 0}}
    post_events(stop, *(f.fault(now - index * MINUTE, f"w{index}") for index in range(55)))
    listed = facts()["alarms.open"]
    assert (len(listed), facts()["alarms.open_count"]) == (50, 56)
    assert listed[-1]["code"] == "spn110-fmi0"
    assert [alarm["raised_at"] for alarm in listed] == sorted((alarm["raised_at"] for alarm in listed), reverse=True)


def test_another_fleet_s_unit_of_the_same_number_is_not_touched(
    unit: Any, other: Fleet, post_events: Post, now: datetime
) -> None:
    f.make_model(other)
    f.make_unit(other)
    post_events(f.fault(now, "fan-stuck"))
    assert [alarm.unit_id for alarm in alarms()] == [unit.pk]
