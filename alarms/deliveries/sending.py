"""The work of the deliver queue: steps what is due, then sends one message after the other, outside any transaction."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings

from alarms.channels.addresses import Resolver, system_resolver
from alarms.channels.base import TransportError
from alarms.channels.email import send_mail
from alarms.channels.webhook import post_webhook
from alarms.deliveries.claims import Claim, claim_one, mark_failed, mark_sent
from alarms.deliveries.queueing import unfinished_of_route
from alarms.models import Channel
from alarms.notices.rendering import hook_message, mail_of
from alarms.notices.routes import disable_gone_route
from alarms.notices.stepping import step_due
from alarms.notices.subjects import look_again

logger = logging.getLogger(__name__)
BUDGET_S = 30.0
"""No further message is begun after this; with the 20 s of the last one a task stays under the lease of 60 s."""


@dataclass(slots=True)
class Delivered:
    """What one call did."""

    steps: int = 0
    sent: int = 0
    failed: int = 0
    finished: bool = True
    """Nothing due was left behind."""


def deliver_due(
    *, clock: Callable[[], datetime], budget_s: float = BUDGET_S, resolver: Resolver = system_resolver
) -> Delivered:
    """Takes every due step and sends every due message, one at a time, until nothing is due or time is up."""
    done = Delivered()
    until = time.monotonic() + budget_s
    while time.monotonic() < until:
        done.steps += step_due(now=clock())
        claim = claim_one(now=clock())
        if claim is None:
            return done
        if deliver(claim, clock=clock, resolver=resolver):
            done.sent += 1
        else:
            done.failed += 1
    done.finished = False
    return done


def deliver(claim: Claim, *, clock: Callable[[], datetime], resolver: Resolver = system_resolver) -> bool:
    """One attempt: sends, then writes down what became of it. True when the channel took it."""
    try:
        status = attempt(claim, now=clock(), resolver=resolver)
    except TransportError as error:
        _failed(claim, error, now=clock())
        return False
    except Exception as error:
        logger.exception("Delivery %s could not be attempted", claim.delivery.pk)
        _failed(claim, TransportError(f"{type(error).__name__}: {error}", status="error"), now=clock())
        return False
    mark_sent(claim, status=status, now=clock())
    return True


def attempt(claim: Claim, *, now: datetime, resolver: Resolver = system_resolver) -> str:
    """Sends the message and returns the channel's answer. Touches no row. *Raises* TransportError."""
    delivery = claim.delivery
    if delivery.channel == Channel.EMAIL:
        return send_mail(mail_of(delivery))
    message = hook_message(delivery, now=now)
    return post_webhook(message, now=now, allowed_hosts=settings.WEBHOOK_ALLOWED_HOSTS, resolver=resolver)


def _failed(claim: Claim, error: TransportError, *, now: datetime) -> None:
    delivery = claim.delivery
    logger.warning("Delivery %s by %s failed: %s", delivery.pk, delivery.channel, error.detail)
    if not mark_failed(claim, error, now=now) or delivery.route_id is None:
        return
    if error.gone:
        disable_gone_route(delivery.route_id, fleet_id=delivery.fleet_id, now=now)
    # Whoever waits for this route may take the next channel at once.
    waiting = unfinished_of_route(delivery.route_id)
    look_again(sorted({*waiting, *([delivery.notice_id] if delivery.notice_id else [])}), now=now)
