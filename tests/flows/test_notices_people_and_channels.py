"""Who is told when nobody answers, when channels fail, when sensors flap, and when too much happens at once."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from django.db.models import Count
from pytest_django import Settings

from alarms.deliveries.selectors import next_due_at
from alarms.models import Channel, Delivery, Notice, NoticeRoute, Tier
from alarms.notices.listener import alarm_changed, hold_changed
from alarms.watchers import AlarmChange
from fleet.embedded.receivers import Answer, HookReceiver, Mailbox
from fleet.holds import HoldChange
from fleet.models import Fleet, Hold, Role, Trip
from tests.notice_rows import HOUR, MIN, a_trip, a_unit, an_alarm, cause, end, held, run
from tests.receivers import hooks, mailbox, member_of, route_to, subjects_of, verified

__all__ = ["hooks", "mailbox"]
SECOND = timedelta(seconds=1)


def notice() -> Notice:
    found: Notice = Notice.objects.across_fleets().order_by("-pk")[0]
    return found


def live_through(now: datetime, *, minutes: int, mailbox: Mailbox) -> list[tuple[int, tuple[str, ...]]]:
    """Runs the worker each minute; (minute, recipients) of each mail in the order it came."""
    came: list[tuple[int, tuple[str, ...]]] = []
    for minute in range(minutes + 1):
        before = len(mailbox.mails)
        run(now + minute * MIN)
        came += [(minute, mail.recipients) for mail in mailbox.mails[before:]]
    return came


def test_three_people_are_told_in_turn_at_the_right_minutes(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    for position, role in enumerate((Role.MANAGER, Role.DISPATCHER, Role.INSPECTOR), start=1):
        route_to(tarn, f"{position}@tarn.example", now=now, role=role, position=position)
    route_to(tarn, "1b@tarn.example", now=now, position=1)
    held(tarn, now)
    came = live_through(now, minutes=36, mailbox=mailbox)
    everyone = ["1@tarn.example", "1b@tarn.example", "2@tarn.example", "3@tarn.example"]
    assert came[:3] == [(0, ("1@tarn.example",)), (5, ("1b@tarn.example",)), (10, ("2@tarn.example",))]
    assert sorted(came[3:7]) == [(20, (name,)) for name in everyone]
    assert sorted(came[7:]) == [(35, (name,)) for name in everyone]


def test_two_faults_at_once_are_one_mail(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hold = held(tarn, now, leaves_in=6 * HOUR)
    hold.causes = [*hold.causes, cause("thermal.battery", message="The battery may not crank.")]
    hold.save()
    hold_changed(hold, HoldChange.CHANGED, now + 5 * SECOND)
    an_alarm(tarn, now + 10 * SECOND)
    run(now + 31 * SECOND)
    (mail,) = mailbox.mails
    for words in ("Fuel is short", "may not crank", "Coolant far too hot"):
        assert words in mail.text()
    an_alarm(tarn, now + 40 * SECOND, code="belt-torn-1")
    run(now + 2 * MIN)
    assert len(mailbox.mails) == 1, "another cause of the same trip adds a line and waits for the next step"
    run(now + 46 * MIN)
    assert "belt-torn-1" in mailbox.mails[-1].text()


def test_another_trip_of_the_unit_is_news(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    held(tarn, now)
    run(now)
    held(tarn, now + MIN, leaves_in=20 * HOUR, reference="T-2")
    run(now + MIN)
    assert len(mailbox.mails) == 1
    run(now + 3 * MIN + SECOND)
    assert len(mailbox.mails) == 2
    assert "T-2" in mailbox.mails[1].text()
    assert notice().reason == "new_cause"


def test_a_departure_that_comes_closer_is_told_again_unless_seen(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    held(tarn, now, leaves_in=13 * HOUR)
    run(now + 2 * MIN)
    assert next_due_at(now=now) == now + HOUR
    run(now + HOUR)
    assert (notice().urgency, notice().reason, len(mailbox.mails)) == ("soon", "more_urgent", 2)
    Trip.objects.across_fleets().update(depart_at=now + 3 * HOUR, loading_at=now + 2 * HOUR)
    run(now + HOUR + MIN)
    assert len(mailbox.mails) == 2, "the notice was not due; the stored answer of the trip makes it so"
    from alarms.notices.subjects import follow_departures

    follow_departures([Trip.objects.across_fleets().get()], now=now + HOUR + MIN)
    run(now + HOUR + MIN)
    assert (notice().urgency, len(mailbox.mails)) == ("now", 3)


def test_a_channel_that_cannot_be_reached_hands_over_at_once(
    tarn: Fleet, now: datetime, mailbox: Mailbox, settings: Settings
) -> None:
    settings.WEBHOOK_ALLOWED_HOSTS = ["127.0.0.1"]
    route_to(tarn, "http://127.0.0.1:9/dead", now=now, channel=Channel.WEBHOOK)
    route_to(tarn, "2@tarn.example", now=now, role=Role.DISPATCHER, position=2)
    held(tarn, now)
    run(now)
    assert mailbox.mails == []
    run(now + 5 * SECOND)
    assert subjects_of(mailbox, "2@tarn.example") != []
    assert (notice().state, notice().reason) == ("sent", "next_step")
    assert NoticeRoute.objects.across_fleets().get(channel="webhook").failing_since == now + 5 * SECOND


def test_when_everything_fails_the_owner_is_told_until_a_channel_works(
    tarn: Fleet, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    hooks.answer = Answer(500)
    route = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    held(tarn, now)
    run(now)
    run(now + 5 * SECOND)
    assert notice().state == "undeliverable"
    assert len(subjects_of(mailbox, "owner@tarn.example")) == 1
    assert "comes to you as the fleet's owner" in mailbox.mails[0].text()
    hooks.answer = Answer(200)
    run(now + 40 * SECOND)
    assert notice().state == "sent"
    route.refresh_from_db()
    assert route.failing_since is None


def test_a_fleet_without_routes_tells_its_owner(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    hold = held(tarn, now)
    run(now)
    assert len(subjects_of(mailbox, "owner@tarn.example")) == 1
    assert notice().state == "undeliverable"
    end(hold, now + MIN)
    run(now + MIN)
    assert len(subjects_of(mailbox, "owner@tarn.example")) == 2
    assert notice().state == "closed"


def test_a_flapping_hold_is_told_open_closed_open_and_nothing_more(
    tarn: Fleet, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hook = route_to(tarn, hooks.url(), now=now, role=Role.DISPATCHER, channel=Channel.WEBHOOK)
    hold = held(tarn, now)
    run(now)
    end(hold, now + 11 * MIN)
    hold.state = Hold.State.OPEN
    hold.save()
    hold_changed(hold, HoldChange.CHANGED, now + 11 * MIN + SECOND)
    run(now + 11 * MIN + 2 * SECOND)
    types = [verified(request, hook.secret)["type"] for request in hooks.requests]
    assert types == ["hold.opened.v1", "hold.changed.v1"], "nobody heard of an end in between"
    end(hold, now + 12 * MIN)
    run(now + 12 * MIN)
    hold.state = Hold.State.OPEN
    hold.save()
    hold_changed(hold, HoldChange.CHANGED, now + 13 * MIN)
    run(now + 13 * MIN)
    types = [verified(request, hook.secret)["type"] for request in hooks.requests]
    assert types[2:] == ["hold.ended.v1", "hold.opened.v1"]


def test_a_release_closes_and_a_new_fault_opens_anew(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hold = held(tarn, now)
    run(now)
    hold.released_by, hold.release_reason = member_of(tarn), "The load is dry goods after all."
    end(hold, now + MIN, state=Hold.State.RELEASED, reason="released")
    run(now + MIN)
    assert mailbox.mails[1].message["Subject"].startswith("Hold released: HB-104")
    assert "dry goods after all" in mailbox.mails[1].text()
    fresh = Hold.objects.create(
        fleet=tarn, trip=hold.trip, unit=hold.unit, causes=[cause("thermal.range")], opened_at=now, changed_at=now
    )
    hold_changed(fresh, HoldChange.OPENED, now + 2 * MIN)
    run(now + 2 * MIN)
    assert mailbox.mails[2].message["Subject"].startswith("Blocked: HB-104")
    assert Notice.objects.across_fleets().count() == 2


def test_nobody_hears_the_end_of_what_nobody_heard_of(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hold = held(tarn, now, leaves_in=6 * HOUR)
    end(hold, now + 10 * SECOND)
    run(now + MIN)
    assert mailbox.mails == []
    assert notice().state == "closed"


def test_under_way_heat_lost_is_told_with_the_time_to_damage(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    unit = a_unit(tarn)
    a_trip(tarn, now - HOUR, assigned_unit=unit, state=Trip.State.UNDER_WAY, departed_at=now - HOUR)
    an_alarm(
        tarn, now, code="heat-lost", scheme="derived", tier=Tier.ATTEND, damage_after_h=2.6,
        damage_at=now + 2.6 * HOUR, damage_limit_c=-0.6,
    )  # fmt: skip
    run(now)
    (mail,) = mailbox.mails
    assert mail.message["Subject"].startswith("Heat lost: HB-104, under way on T-1")
    assert "edge of the load reaches −0.6 °C at about" in mail.text()
    assert "(2.6 h)" in mail.text()


def test_watch_alarms_tell_nobody_and_attend_alarms_only_under_way(tarn: Fleet, now: datetime) -> None:
    an_alarm(tarn, now, tier=Tier.WATCH, code="filter-old-1")
    alarm = an_alarm(tarn, now, tier=Tier.ATTEND, code="door-switch-1")
    assert not Notice.objects.across_fleets().exists()
    alarm.tier = Tier.STOP
    alarm.save()
    alarm_changed(alarm, AlarmChange.TIER_CHANGED, now)
    assert Notice.objects.across_fleets().count() == 1


def test_more_than_ten_immediate_mails_an_hour_become_one_summary_of_every_hold(
    tarn: Fleet, now: datetime, mailbox: Mailbox
) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    holds = [held(tarn, now, reference=f"T-{index}", number=f"HB-{index}") for index in range(15)]
    run(now)
    assert len(mailbox.mails) == 10
    run(now + 61 * SECOND)
    (summary,) = mailbox.mails[10:]
    assert summary.message["Subject"] == "Summary: 15 held departures, 0 alarms"
    for index in range(15):
        assert f"T-{index}," in summary.text()
    states = Delivery.objects.across_fleets().values_list("purpose", "state").annotate(Count("pk")).order_by("purpose")
    assert list(states) == [("summary", "sent", 1), ("tell", "sent", 15)]
    for hold in holds:
        end(hold, now + 3 * MIN)
    run(now + 3 * MIN)
    assert len(mailbox.mails) == 11, "the ends gather too"
    run(now + 20 * MIN)
    assert len(mailbox.mails) == 12
    assert mailbox.mails[11].text().count("The hold is lifted") == 15


def test_quiet_hours_put_off_what_is_only_planned(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    at = now.replace(year=2027, month=1, day=12, hour=21, minute=0, second=0)  # 23:00 in Helsinki
    route_to(tarn, "1@tarn.example", now=at, quiet_from=time(22), quiet_until=time(6))
    hold = held(tarn, at, leaves_in=20 * HOUR)
    run(at + 3 * MIN)
    assert (mailbox.mails, notice().reason) == ([], "quiet_hours")
    assert notice().next_at == at + 7 * HOUR  # 06:00 in Helsinki, before the departure is near
    run(at + 7 * HOUR)
    assert len(mailbox.mails) == 1
    end(hold, at + 7 * HOUR + MIN)
    run(at + 7 * HOUR + MIN)
    assert len(mailbox.mails) == 2
