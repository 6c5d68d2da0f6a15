"""Reads what `alarms.policy.decide` looks at: the notice, its subjects, the fleet's routes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count

from alarms.audience import RouteFacts
from alarms.ladder import Urgency
from alarms.models import Channel, Delivery, Kind, Notice, NoticeRoute, NoticeSubject, Tier
from alarms.notice_facts import NoticeFacts, SubjectFacts
from alarms.notices.subjects import is_heat_lost, trip_under_way
from alarms.quiet_hours import QuietHours
from fleet.models import Fleet

IMMEDIATE_WITHIN = timedelta(hours=1)
IMMEDIATE = (str(Urgency.NOW), str(Urgency.SOON))
STOP_CHECK = "alarms.stop_tier"


@dataclass(frozen=True, slots=True)
class Dossier:
    """A notice with all its rows, read under its lock."""

    notice: Notice
    fleet: Fleet
    subjects: tuple[NoticeSubject, ...]
    routes: tuple[NoticeRoute, ...]
    deliveries: tuple[Delivery, ...]

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.fleet.time_zone)

    def route(self, pk: int) -> NoticeRoute:
        return next(route for route in self.routes if route.pk == pk)


def dossier_of(notice: Notice) -> Dossier:
    """Everything about one notice: five statements."""
    fleet = Fleet.objects.select_related("policy").get(pk=notice.fleet_id)
    subjects = (
        NoticeSubject.objects.for_fleet(fleet)
        .filter(notice=notice)
        .select_related("hold__trip", "hold__released_by", "alarm__unit", "alarm__signed_by", "trip")
        .order_by("pk")
    )
    deliveries = Delivery.objects.for_fleet(fleet).filter(notice=notice).order_by("pk")
    return Dossier(notice, fleet, tuple(subjects), usable_routes(fleet), tuple(deliveries))


def usable_routes(fleet: Fleet) -> tuple[NoticeRoute, ...]:
    rows = NoticeRoute.objects.for_fleet(fleet).filter(state=NoticeRoute.State.ENABLED, member__is_active=True)
    return tuple(rows.order_by("position", "member_id", "pk"))


def notice_facts(dossier: Dossier) -> NoticeFacts:
    notice = dossier.notice
    present = [d for d in dossier.deliveries if d.round == notice.round and d.purpose != Delivery.Purpose.CLOSE]
    return NoticeFacts(
        urgency=Urgency(notice.urgency) if notice.urgency else None,
        step=notice.step,
        started_at=notice.started_at,
        stepped_at=notice.stepped_at,
        seen_at=notice.seen_at,
        told_trips=frozenset(s.trip_id for s in dossier.subjects if s.told_at and not s.ended_at and s.trip_id),
        tried=frozenset(d.route_id for d in present if d.route_id is not None),
        accepted=any(d.state == Delivery.State.SENT and d.route_id is not None for d in present),
        owner_told=any(d.route_id is None for d in present),
    )


def subject_facts(dossier: Dossier) -> list[SubjectFacts]:
    subjects = dossier.subjects
    on_trip = any(s.kind == Kind.ALARM for s in subjects) and trip_under_way(dossier.notice.unit_id) is not None
    return [_facts_of(subject, on_trip) for subject in subjects]


def _facts_of(subject: NoticeSubject, on_trip: bool) -> SubjectFacts:
    hold, alarm = subject.hold, subject.alarm
    stop = alarm.tier == Tier.STOP if alarm else any(c["check"] == STOP_CHECK for c in hold.causes) if hold else False
    return SubjectFacts(
        id=subject.pk,
        kind=subject.kind,
        opened_at=subject.opened_at,
        trip_id=subject.trip_id,
        depart_at=hold.trip.depart_at if hold else None,
        under_way=alarm is not None and on_trip,
        stop=stop,
        heat_lost=alarm is not None and is_heat_lost(alarm),
        clearing=hold is not None and hold.clear_since is not None,
        told=subject.told_at is not None,
        ended=subject.ended_at is not None,
        closure_told=subject.end_told_at is not None,
    )


def route_facts(dossier: Dossier, *, now: datetime) -> list[RouteFacts]:
    counts = immediate_counts({route.member_id for route in dossier.routes}, now=now)
    return [
        RouteFacts(
            id=route.pk,
            member_id=route.member_id,
            position=route.position,
            kinds=frozenset(route.kinds),
            quiet=QuietHours(route.quiet_from, route.quiet_until) if route.quiet_from and route.quiet_until else None,
            failing=route.failing_since is not None,
            # Machines read webhooks: a summary would take the single events away from them.
            immediate=counts.get(route.member_id, 0) if route.channel == Channel.EMAIL else 0,
        )
        for route in dossier.routes
    ]


def immediate_counts(member_ids: Collection[int], *, now: datetime) -> dict[int, int]:
    """Immediate mails to each person within the last hour; lines of a summary are no mails."""
    rows = (
        Delivery.objects.across_fleets()
        .filter(
            route__member_id__in=member_ids,
            channel=Channel.EMAIL,
            urgency__in=IMMEDIATE,
            summary__isnull=True,
            created_at__gt=now - IMMEDIATE_WITHIN,
        )
        .exclude(state=Delivery.State.CANCELLED)
        .values_list("route__member_id")
        .annotate(count=Count("pk"))
    )
    return dict(rows)


def got_the_first(dossier: Dossier, subject: NoticeSubject) -> set[int | None]:
    """Routes (None: the owner) that received, or may have received, a message about this subject."""
    S = Delivery.State
    return {
        delivery.route_id
        for delivery in dossier.deliveries
        if subject.pk in delivery.subjects
        and delivery.purpose != Delivery.Purpose.CLOSE
        and delivery.created_at >= subject.opened_at
        and (delivery.state in (S.SENT, S.LEASED) or delivery.uncertain or _in_summary(delivery))
    }


def _in_summary(delivery: Delivery) -> bool:
    return delivery.summary_id is not None and delivery.state == Delivery.State.QUEUED


def standing_of(subjects: Sequence[NoticeSubject]) -> list[NoticeSubject]:
    return [subject for subject in subjects if subject.ended_at is None]
