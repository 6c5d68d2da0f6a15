"""Who is slowed down, and how the answer says so: the fields of draft-ietf-httpapi-ratelimit-headers, and Retry-After.

Every token has three quotas. A view says with `quota` which of them its requests take from:

- `calls`: anything else;
- `events`: batches of events, so that a gateway that catches up does not lose its other calls;
- `acts`: what people sign and what must be heard at once (seen, sign-off, release, repair). A client that floods the
  service with calls still has all of these.

Where Redis counts and does not answer, requests are let pass and counted in `warmgate_rate_total`. Log-ins are then
counted in the process instead: nobody guesses passwords while Redis is away.
"""

from __future__ import annotations

import hashlib
from math import ceil
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from fleet.bell import Breaker
from fleet.http.context import bind_rate
from fleet.http.quota import ProcessCounter, Quota, QuotaUnknown, Taken, counter_at
from fleet.metrics import RATE

MINUTE_S = 60
LOGIN_WINDOW_S = 15 * MINUTE_S
FROM_ANYWHERE = 6
FROM_ONE_ADDRESS = 30
PAUSE_S = 5.0

breaker = Breaker()
_own = ProcessCounter()


def quota_named(name: str) -> Quota:
    """A quota of tokens, as the settings have it now."""
    limits = {
        "calls": settings.RATE_CALLS_PER_MIN,
        "events": settings.RATE_EVENTS_PER_MIN,
        "acts": settings.RATE_ACTS_PER_MIN,
    }
    return Quota(name, limits[name], MINUTE_S)


class TokenThrottle(BaseThrottle):
    """Takes one request from the quota of the caller's token that the view names; public views have none."""

    def __init__(self) -> None:
        self._wait_s = 0.0

    def allow_request(self, request: Request, view: Any) -> bool:
        if request.auth is None:
            return True
        named = getattr(view, "quota", "calls")
        quota = quota_named(named if isinstance(named, str) else named.get(request.method, "calls"))
        taken = _take(f"{quota.name}:{request.auth.pk[:32]}", quota)
        if taken is None:
            return True
        bind_rate(rate_fields(quota, taken))
        self._wait_s = taken.retry_after_s
        return taken.allowed

    def wait(self) -> float:
        return self._wait_s


def rate_fields(quota: Quota, taken: Taken) -> dict[str, str]:
    """The two fields of the draft: the policy as it is, and what is left of it."""
    return {
        "RateLimit-Policy": f'"{quota.name}";q={quota.limit};w={quota.window_s}',
        "RateLimit": f'"{quota.name}";r={taken.remaining};t={ceil(taken.reset_s)}',
    }


def _take(key: str, quota: Quota) -> Taken | None:
    """What the quota says, or None where nobody can be asked."""
    if not breaker.closed():
        RATE.labels(quota.name, "unchecked").inc()
        return None
    try:
        taken = counter_at(settings.RATE_URL).take(key, quota)
    except QuotaUnknown:
        breaker.trip(PAUSE_S)
        RATE.labels(quota.name, "unchecked").inc()
        return None
    if not taken.allowed:
        RATE.labels(quota.name, "refused").inc()
    return taken


def allow_login(*, username: str, address: str) -> None:
    """Takes one log-in of this name and from this address. *Raises* Throttled, with the wait, where one is too many.

    Names are hashed: what somebody typed into the name field may be a password.
    """
    tries, name = settings.LOGIN_TRIES, hashlib.sha256(username.casefold().encode()).hexdigest()[:32]
    keys = {
        f"login:{name}:{address}": Quota("login", tries, LOGIN_WINDOW_S),
        f"login:{name}": Quota("login-name", tries * FROM_ANYWHERE, LOGIN_WINDOW_S),
        f"login::{address}": Quota("login-address", tries * FROM_ONE_ADDRESS, LOGIN_WINDOW_S),
    }
    for key, quota in keys.items():
        taken = _take(key, quota) or _own.take(key, quota)
        if not taken.allowed:
            raise Throttled(wait=taken.retry_after_s)


def address_of(request: Request | HttpRequest) -> str:
    """Where a request comes from. Behind a proxy that is what the proxy itself wrote last."""
    forwarded = str(request.META.get("HTTP_X_FORWARDED_FOR", ""))
    if settings.BEHIND_PROXY and forwarded:
        return forwarded.rsplit(",", maxsplit=1)[-1].strip()[:64]
    return str(request.META.get("REMOTE_ADDR", ""))[:64]
