"""Takes the next step of each notice that is due: asks the policy, writes the messages, sets the next look.

One notice at a time, in its own transaction, claimed by its row's lock: two workers never take the same step.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import connection, transaction

from alarms.audience import RouteFacts
from alarms.deliveries.queueing import (
    Recipient,
    cancel_waiting,
    hurry_lanes,
    open_summary,
    owner_of,
    queue,
    recipient_of,
    supersede,
)
from alarms.ladder import Urgency
from alarms.models import Channel, Delivery, Notice, NoticeSubject
from alarms.notices.facts import (
    Dossier,
    dossier_of,
    got_the_first,
    notice_facts,
    route_facts,
    standing_of,
    subject_facts,
)
from alarms.notices.messages import notice_document
from alarms.policy import Decision, Reason, decide
from fleet.models import Unit
from fleet.policy import Policy
from fleet.retry import on_conflict

logger = logging.getLogger(__name__)
BROKEN_RETRY = timedelta(minutes=1)
S = Notice.State


def step_due(*, now: datetime, limit: int = 200) -> int:
    """Takes every step that is due, at most *limit*, and returns how many looks it took."""
    for done in range(limit):
        if not step_one(now=now):
            return done
    return limit


def step_one(*, now: datetime) -> bool:
    """Looks at the notice that has been due longest; False when none is due (or another worker has it)."""
    claimed: list[int] = []
    lanes: set[str] = set()

    def work() -> bool:
        with transaction.atomic():
            notice = _claim(now)
            if notice is None:
                return False
            claimed[:] = [notice.pk]
            with transaction.atomic():
                lanes.update(_take(notice, now))
            return True

    try:
        found = on_conflict(work)
    except Exception:
        if not claimed:
            raise
        logger.exception("Notice %s could not be looked at", claimed[0])
        rows = Notice.objects.across_fleets().filter(pk=claimed[0]).exclude(state=S.CLOSED)
        rows.update(next_at=now + BROKEN_RETRY)
        return True
    if lanes:
        hurry_lanes(lanes, now=now)
    return found


def _claim(now: datetime) -> Notice | None:
    rows = Notice.objects.across_fleets().filter(next_at__lte=now).order_by("next_at", "pk")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True, of=("self",))
    notice: Notice | None = rows.first()
    return notice


def _take(notice: Notice, now: datetime) -> set[str]:
    """Decides and carries out; returns the lanes that have a new message."""
    dossier = dossier_of(notice)
    routes = route_facts(dossier, now=now)
    decision = decide(
        notice_facts(dossier),
        subject_facts(dossier),
        routes,
        limit=int(Policy(dossier.fleet.policy.overrides).immediate_per_hour),
        zone=dossier.zone,
        now=now,
    )
    if decision.reason is Reason.CLOSED:
        lanes = _close(dossier, decision, routes, now)
    else:
        _move(dossier, decision, now)
        lanes = _tell(dossier, decision, now) if decision.sends else set()
    notice.reason, notice.decided_at = str(decision.reason), now
    notice.save()
    return lanes


def _move(dossier: Dossier, decision: Decision, now: datetime) -> None:
    """The notice's own columns after a decision."""
    notice = dossier.notice
    restarts = decision.restart and decision.sends
    if restarts:
        notice.round += 1
        notice.started_at = now
        notice.seen_at = notice.seen_by = None
        notice.state = S.PENDING
    if restarts or decision.step != notice.step:
        notice.step, notice.stepped_at = decision.step, now
    if decision.urgency is not None:
        notice.urgency = str(decision.urgency)
    if decision.owner:
        notice.state = S.UNDELIVERABLE
        logger.error("No channel takes notice %s of fleet %s: its owner is told", notice.pk, notice.fleet_id)
    notice.next_at = decision.next_at


def _tell(dossier: Dossier, decision: Decision, now: datetime) -> set[str]:
    """Writes one message for each route of the decision; on a webhook one for each subject."""
    lanes = set()
    standing = standing_of(dossier.subjects)
    for route_id in decision.routes:
        route = dossier.route(route_id)
        wanted = [subject for subject in standing if subject.kind in route.kinds]
        recipient = recipient_of(route)
        supersede(dossier.notice, recipient, [subject.pk for subject in wanted])
        _queue_all(dossier, recipient, wanted, decision, now, summarised=route_id in decision.summarised)
        lanes.add(recipient.lane)
    if decision.owner:
        recipient = owner_of(dossier.fleet)
        supersede(dossier.notice, recipient, [subject.pk for subject in standing])
        _queue_all(dossier, recipient, standing, decision, now, summarised=False)
        lanes.add(recipient.lane)
    untold = [subject.pk for subject in standing if subject.told_at is None]
    NoticeSubject.objects.for_fleet(dossier.fleet).filter(pk__in=untold).update(told_at=now)
    return lanes


def _queue_all(
    dossier: Dossier,
    recipient: Recipient,
    subjects: list[NoticeSubject],
    decision: Decision,
    now: datetime,
    *,
    summarised: bool,
) -> None:
    notice = dossier.notice
    closing = decision.reason is Reason.CLOSED
    purpose = Delivery.Purpose.CLOSE if closing else Delivery.Purpose.TELL
    if recipient.route_id is None and not closing:
        purpose = Delivery.Purpose.OWNER
    summary = open_summary(recipient, now=now) if summarised else None
    groups = [[subject] for subject in subjects] if recipient.channel == Channel.WEBHOOK else [subjects]
    for group in groups:
        about = group[0].pk if recipient.channel == Channel.WEBHOOK or closing else "all"
        document = notice_document(
            notice, _unit(dossier), group, reason=str(decision.reason), urgency=notice.urgency, zone=dossier.zone
        )
        document["change"] = "ended" if closing else "opened" if _first_for(dossier, recipient, group) else "changed"
        queue(
            recipient,
            purpose=purpose,
            dedupe_key=f"notice:{notice.pk}:{notice.round}:{notice.step}:{purpose}:{recipient.lane}:{about}",
            document=document,
            notice=notice,
            subjects=[subject.pk for subject in group],
            reason=decision.reason,
            urgency=notice.urgency,
            summary=summary,
            not_before=_quiet_end(dossier, recipient, now) if closing else None,
            now=now,
        )


def _first_for(dossier: Dossier, recipient: Recipient, group: list[NoticeSubject]) -> bool:
    """Whether this lane has not been sent anything about these subjects yet."""
    return all(recipient.route_id not in got_the_first(dossier, subject) for subject in group)


def _unit(dossier: Dossier) -> Unit:
    unit: Unit = Unit.objects.for_fleet(dossier.fleet).get(pk=dossier.notice.unit_id)
    return unit


def _quiet_end(dossier: Dossier, recipient: Recipient, now: datetime) -> datetime | None:
    """The end of a matter that was only `planned` wakes nobody either."""
    if recipient.route_id is None or dossier.notice.urgency != Urgency.PLANNED:
        return None
    facts = next(route for route in route_facts(dossier, now=now) if route.id == recipient.route_id)
    return facts.quiet_until(now, zone=dossier.zone)


def _close(dossier: Dossier, decision: Decision, routes: Iterable[RouteFacts], now: datetime) -> set[str]:
    """Tells the end of subjects, once, to everyone who got the first; closes a notice that has nothing left."""
    notice = dossier.notice
    closing = [subject for subject in dossier.subjects if subject.pk in decision.closing]
    limit = int(Policy(dossier.fleet.policy.overrides).immediate_per_hour)
    over = {route.id for route in routes if route.immediate >= limit}
    got = {subject.pk: got_the_first(dossier, subject) for subject in closing}
    lanes = set()
    recipients = [recipient_of(route) for route in dossier.routes] + [owner_of(dossier.fleet)]
    if not standing_of(dossier.subjects):
        cancel_waiting(notice, why="the notice has closed")
    for recipient in recipients:
        group = [subject for subject in closing if recipient.route_id in got[subject.pk]]
        if group:
            summarised = recipient.route_id in over and notice.urgency != Urgency.PLANNED
            _queue_all(dossier, recipient, group, decision, now, summarised=summarised)
            lanes.add(recipient.lane)
    rows = NoticeSubject.objects.for_fleet(dossier.fleet).filter(pk__in=[subject.pk for subject in closing])
    rows.update(end_told_at=now)
    notice.next_at = decision.next_at
    if decision.next_at is None:
        notice.state, notice.closed_at = S.CLOSED, now
    return lanes
