"""Who is told on which channel: routes are made, changed, removed, tested and given new secrets here."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction

from alarms.channels.addresses import AddressRefused, target_of
from alarms.deliveries.queueing import TEST_KEPT, new_message_id, owner_of, queue, recipient_of
from alarms.models import WAITING, Channel, Delivery, Notice, NoticeRoute
from alarms.notices.subjects import look_again
from fleet.bell import DELIVER_TASK, ring
from fleet.errors import Conflict, InvalidInput, NotFound, StaleRevision
from fleet.models import Fleet, Member
from fleet.records.audit import record_act
from fleet.retry import on_conflict

BOTH_SECRETS_FOR = timedelta(hours=24)
"""After a rotation messages are signed with both secrets for so long."""
PLAIN = ("kinds", "position", "quiet_from", "quiet_until")
State = NoticeRoute.State


def new_secret() -> str:
    """A Standard Webhooks secret of 32 random bytes."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()


def route_of(fleet_id: int, pk: int) -> NoticeRoute:
    """*Raises* NotFound. Removed routes are not found."""
    rows = NoticeRoute.objects.for_fleet(fleet_id).select_related("member").exclude(state=State.REMOVED)
    route: NoticeRoute | None = rows.filter(pk=pk).first()
    if route is None:
        raise NotFound("There is no such notice route.")
    return route


def create_route(fleet: Fleet, plan: Mapping[str, Any], *, by: Member, now: datetime) -> NoticeRoute:
    """A new route. A webhook's secret is on the answer's `secret` and nowhere else again. *Raises* InvalidInput,
    Conflict."""
    member = _member(fleet, plan["member"])
    channel = plan["channel"]
    address = _address(channel, plan.get("address") or (member.email if channel == Channel.EMAIL else ""))
    route = NoticeRoute(
        fleet=fleet,
        member=member,
        channel=channel,
        address=address,
        secret=new_secret() if channel == Channel.WEBHOOK else "",
        created_at=now,
        **{name: plan[name] for name in PLAIN if name in plan},
    )
    _check_quiet(route)
    with transaction.atomic():
        _save_once(route)
        record_act(by, act="route.created", subject=route, at=now, content=_summary(route))
        _tell_open_notices(fleet.pk, now)
    return route


def change_route(
    fleet: Fleet, pk: int, changes: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
) -> NoticeRoute:
    """Changes a route; enabling a disabled one clears why it was disabled."""

    def work() -> NoticeRoute:
        with transaction.atomic():
            route = _locked(fleet.pk, pk, revision)
            for name in PLAIN:
                if name in changes:
                    setattr(route, name, changes[name])
            if "address" in changes:
                route.address = _address(route.channel, changes["address"])
                _readdress(route)
            if changes.get("state", route.state) != route.state:
                route.state = changes["state"]
                route.disabled_reason = "" if route.state == State.ENABLED else f"disabled by {by}"
            if route.state == State.ENABLED:
                route.failing_since = None
            _check_quiet(route)
            route.revision += 1
            _save_once(route)
            record_act(by, act="route.changed", subject=route, at=now, content=_summary(route))
            _tell_open_notices(fleet.pk, now)
            return route

    return on_conflict(work)


def remove_route(fleet: Fleet, pk: int, *, revision: int | None, by: Member, now: datetime) -> None:
    """Takes a route out of use. Its row stays: deliveries refer to it."""

    def work() -> None:
        with transaction.atomic():
            route = _locked(fleet.pk, pk, revision)
            route.state = State.REMOVED
            route.secret, route.previous_secret, route.previous_secret_until = "", "", None
            route.revision += 1
            route.save()
            record_act(by, act="route.removed", subject=route, at=now, content=_summary(route))
            _tell_open_notices(fleet.pk, now)

    on_conflict(work)


def rotate_secret(fleet: Fleet, pk: int, *, revision: int | None, by: Member, now: datetime) -> NoticeRoute:
    """A new secret for a webhook; for a day messages are signed with both. *Raises* Conflict for a mail route."""

    def work() -> NoticeRoute:
        with transaction.atomic():
            route = _locked(fleet.pk, pk, revision)
            if route.channel != Channel.WEBHOOK:
                raise Conflict("Only a webhook route has a secret.")
            route.previous_secret, route.previous_secret_until = route.secret, now + BOTH_SECRETS_FOR
            route.secret = new_secret()
            route.revision += 1
            route.save()
            record_act(by, act="route.secret_rotated", subject=route, at=now, content=_summary(route))
            return route

    return on_conflict(work)


def send_test(fleet: Fleet, pk: int, *, by: Member, now: datetime) -> Delivery:
    """Sends a test message through the real pipeline. *Raises* Conflict when the route is disabled."""
    route = route_of(fleet.pk, pk)
    if route.state != State.ENABLED:
        raise Conflict("The route is disabled; enable it, then test it.", state=str(route.state))
    with transaction.atomic():
        delivery = queue(
            recipient_of(route),
            purpose=Delivery.Purpose.TEST,
            dedupe_key=f"test:{route.pk}:{new_message_id()}",
            document={"fleet": fleet.name, "route": route.pk, "asked_by": str(by)},
            kept=TEST_KEPT,
            now=now,
        )
        record_act(by, act="route.tested", subject=route, at=now, content=_summary(route))
        ring(DELIVER_TASK)
    return delivery


def disable_gone_route(pk: int, *, fleet_id: int, now: datetime) -> None:
    """The receiver answered 410: the route is disabled, and the fleet's owner is told by mail."""

    def work() -> None:
        with transaction.atomic():
            route = NoticeRoute.objects.for_fleet(fleet_id).select_related("member").select_for_update().get(pk=pk)
            if route.state != State.ENABLED:
                return
            route.state, route.disabled_reason = State.DISABLED, "the receiver answered 410 Gone"
            route.revision += 1
            route.save()
            record_act(None, act="route.disabled", subject=route, at=now, content=_summary(route))
            fleet = Fleet.objects.get(pk=fleet_id)
            others = NoticeRoute.objects.for_fleet(fleet).filter(state=State.ENABLED, member__is_active=True)
            document = {
                "about": "route_disabled", "route": route.pk, "channel": str(route.channel), "address": route.address,
                "member": str(route.member), "detail": route.disabled_reason, "last": not others.exists(),
            }  # fmt: skip
            queue(
                owner_of(fleet),
                purpose=Delivery.Purpose.OWNER,
                dedupe_key=f"route-disabled:{route.pk}:{route.revision}",
                document=document,
                now=now,
            )

    on_conflict(work)


def _locked(fleet_id: int, pk: int, revision: int | None) -> NoticeRoute:
    route_of(fleet_id, pk)
    rows = NoticeRoute.objects.for_fleet(fleet_id).select_for_update(of=("self",)).select_related("member")
    route: NoticeRoute = rows.get(pk=pk)
    if revision is not None and route.revision != revision:
        raise StaleRevision(current=f'"{route.revision}"')
    return route


def _member(fleet: Fleet, username: str) -> Member:
    member = Member.objects.filter(fleet=fleet, username=username, is_active=True).first()
    if member is None:
        raise InvalidInput.at("/member", "unknown-member-name", "There is no active member of this user name.")
    return member


def _address(channel: str, address: str) -> str:
    """The address if its channel can use it. *Raises* InvalidInput."""
    if channel == Channel.EMAIL:
        try:
            validate_email(address)
        except ValidationError as error:
            raise InvalidInput.at("/address", "not-an-address", "Send a mail address.") from error
        return address
    try:
        target_of(address, allowed_hosts=settings.WEBHOOK_ALLOWED_HOSTS)
    except AddressRefused as error:
        raise InvalidInput.at("/address", "address-refused", error.detail) from error
    return address


def _readdress(route: NoticeRoute) -> None:
    """What still waits goes to the new address: the old one was probably the reason."""
    waiting = Delivery.objects.for_fleet(route.fleet_id).filter(route=route, state__in=WAITING)
    waiting.update(address=route.address)


def _check_quiet(route: NoticeRoute) -> None:
    if (route.quiet_from is None) != (route.quiet_until is None):
        raise InvalidInput.at("/quiet_until", "incomplete", "Quiet hours need both ends.")
    if route.quiet_from is not None and route.quiet_from == route.quiet_until:
        raise InvalidInput.at("/quiet_until", "empty", "Quiet hours must not begin and end at the same time.")


def _save_once(route: NoticeRoute) -> None:
    try:
        with transaction.atomic():
            route.save()
    except IntegrityError as error:
        raise Conflict("This member already has a route to this address.") from error


def _tell_open_notices(fleet_id: int, now: datetime) -> None:
    """Open notices are looked at again: a new route may reach somebody where nobody was reachable."""
    undeliverable = Notice.objects.for_fleet(fleet_id).filter(state=Notice.State.UNDELIVERABLE)
    if look_again(sorted(undeliverable.values_list("pk", flat=True)), now=now):
        ring(DELIVER_TASK)


def _summary(route: NoticeRoute) -> dict[str, Any]:
    return {
        "member": str(route.member), "channel": str(route.channel), "address": route.address, "kinds": route.kinds,
        "position": route.position, "state": str(route.state),
    }  # fmt: skip
