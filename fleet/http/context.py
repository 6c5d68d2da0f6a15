"""What is known about the request in progress: its id, and the member and fleet once a token is accepted.

Held in a context variable so that log lines and problems far from the view can name the request without
being handed it. Outside a request (workers, commands) the context is empty.
"""

import re
import uuid
from collections.abc import Mapping
from contextvars import ContextVar, Token
from dataclasses import dataclass

_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")


@dataclass(slots=True)
class RequestContext:
    """Mutable on purpose: authentication fills in who is calling after the request was numbered."""

    request_id: str
    member_id: int | None = None
    fleet_id: int | None = None
    rate_headers: Mapping[str, str] | None = None


_current: ContextVar[RequestContext | None] = ContextVar("warmgate_request", default=None)


def request_id_from(offered: str) -> str:
    """The id that the caller offers, if it may stand in our log; else one of our own."""
    return offered if _SANE_ID.fullmatch(offered) else uuid.uuid4().hex


def begin(request_id: str) -> Token[RequestContext | None]:
    """Start a request; give the token to `end`."""
    return _current.set(RequestContext(request_id))


def end(token: Token[RequestContext | None]) -> None:
    """Forget the request that `begin` started."""
    _current.reset(token)


def current() -> RequestContext | None:
    """The request in progress, or None outside of one."""
    return _current.get()


def current_request_id() -> str | None:
    """The id of the request in progress, or None outside of one."""
    context = _current.get()
    return context.request_id if context else None


def bind_member(*, member_id: int, fleet_id: int) -> None:
    """Record who is calling. Outside a request there is nothing to record it in, and that is fine."""
    context = _current.get()
    if context is not None:
        context.member_id, context.fleet_id = member_id, fleet_id


def bind_rate(headers: Mapping[str, str]) -> None:
    """Record what the answer says of the caller's quota, whatever the answer will be."""
    context = _current.get()
    if context is not None:
        context.rate_headers = headers
