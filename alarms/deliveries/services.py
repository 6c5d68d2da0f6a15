"""What people do with deliveries: they have one sent again."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from alarms.deliveries.queueing import KEPT
from alarms.models import Delivery, NoticeRoute
from fleet.bell import ring
from fleet.errors import Conflict, NotFound
from fleet.models import Member
from fleet.records.audit import record_act
from fleet.retry import on_conflict

S = Delivery.State


def redeliver(pk: int, *, fleet_id: int, by: Member, now: datetime) -> Delivery:
    """Sends a message again under its own id, whatever has changed since. *Raises* NotFound, Conflict.

    A receiver that had it already knows the id and drops it.
    """

    def work() -> Delivery:
        with transaction.atomic():
            rows = Delivery.objects.for_fleet(fleet_id).select_for_update(of=("self",))
            delivery: Delivery | None = rows.filter(pk=pk).first()
            if delivery is None:
                raise NotFound("There is no such delivery.")
            _refuse(delivery)
            delivery.state, delivery.by_hand = S.QUEUED, True
            delivery.next_attempt_at, delivery.not_after = now, now + KEPT
            delivery.attempts, delivery.last_error = 0, ""
            delivery.save()
            record_act(by, act="delivery.again", subject=delivery, at=now, content={"message_id": delivery.message_id})
            ring("alarms.deliver_due")
            return delivery

    return on_conflict(work)


def _refuse(delivery: Delivery) -> None:
    if delivery.summary_id is not None:
        raise Conflict("This message is a line of a summary; have the summary sent again.", summary=delivery.summary_id)
    if delivery.state in (S.QUEUED, S.LEASED):
        raise Conflict(f"The message is {delivery.state}: it is on its way.", state=str(delivery.state))
    route = delivery.route
    if route is not None and route.state != NoticeRoute.State.ENABLED:
        raise Conflict("The route is not in use; enable it first.", state=str(route.state))
