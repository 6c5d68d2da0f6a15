"""Idempotency-Key: a POST that may be repeated without repeating its effect.

The key's row is written in the transaction of the effect. A second call with the same key waits for the
first (on PostgreSQL at the unique constraint, on SQLite at the write lock) and then replays its answer.
Only answers below 400 are remembered: a refusal rolls everything back, the key included, so the corrected
request may use the same key. The key is optional; without it a repeated POST is a new one. Keys are
forgotten after 32 days: longer than the oldest record that is taken (31 days), so that a phone that comes back
late cannot file an inspection twice.
"""

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import wraps
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpResponse, HttpResponseBase
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.errors import InvalidInput, Unavailable, WarmgateError
from fleet.http.auth import fleet_of, member_of
from fleet.http.renderers import dump_json
from fleet.models import Fleet, Member
from fleet.models.idempotency import IdempotencyKey

HEADER = "Idempotency-Key"
KEPT = timedelta(days=32)
_KEY = re.compile(r"[\x21-\x7e]{1,255}")
_KEPT_HEADERS = ("Location", "ETag")
_CLAIM_ATTEMPTS = 3

Handler = Callable[..., HttpResponseBase]


class IdempotencyKeyReused(WarmgateError):
    """The key already stands for another request."""

    code = "idempotency-key-reused"
    default_detail = "This Idempotency-Key was used for another request. Use a new key for a new request."


class _NotRemembered(Exception):  # carries an answer out of the transaction; no error
    def __init__(self, response: HttpResponseBase) -> None:
        self.response = response


def idempotent(handler: Handler) -> Handler:
    """Decorate the `post` of a view: honours Idempotency-Key and runs the handler in a transaction with
    it."""

    @wraps(handler)
    def wrapped(view: Any, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        key = request.headers.get(HEADER)
        if key is None:
            return handler(view, request, *args, **kwargs)
        if not _KEY.fullmatch(key):
            detail = "The key must have 1 to 255 visible ASCII characters and no spaces."
            raise InvalidInput.at(f"/{HEADER}", "not-a-key", detail, where="header")
        try:
            with transaction.atomic():
                row = _claim(request, key, now=timezone.now())
                if row.status is not None:
                    return _replay(row)
                response = handler(view, request, *args, **kwargs)
                if response.status_code >= 400:
                    raise _NotRemembered(response)
                _remember(row, response)
                return response
        except _NotRemembered as refusal:
            return refusal.response

    wrapped.idempotent = True  # type: ignore[attr-defined]  # the schema documents the header from this mark
    return wrapped


def forget_expired_keys(*, now: datetime) -> int:
    """Delete keys older than they are kept and return how many there were. Safe to run at any time, repeatedly."""
    deleted, _ = IdempotencyKey.objects.across_fleets().filter(created_at__lt=now - KEPT).delete()
    return deleted


def _claim(request: Request, key: str, *, now: datetime) -> IdempotencyKey:
    """The row of this key: a new one without an answer, or the committed one of an earlier call."""
    asked = {"route": f"{request.method} {request.path}"[:255], "body_hash": body_hash(request.data)}
    return _claimed(fleet_of(request), member_of(request), key, asked, now)


def _claimed(fleet: Fleet, member: Member, key: str, asked: Mapping[str, str], now: datetime) -> IdempotencyKey:
    for _ in range(_CLAIM_ATTEMPTS):
        try:
            with transaction.atomic():
                return IdempotencyKey.objects.create(fleet=fleet, member=member, key=key, created_at=now, **asked)
        except IntegrityError:
            row = IdempotencyKey.objects.for_fleet(fleet).filter(member=member, key=key).first()
        if row is None:
            continue  # It was forgotten between our two statements.
        if row.created_at < now - KEPT:
            row.delete()
            continue
        if (row.route, row.body_hash) != (asked["route"], asked["body_hash"]):
            raise IdempotencyKeyReused
        return row
    raise Unavailable("The Idempotency-Key is being used by other requests. Repeat the request.")


def run_once(
    effect: Callable[[], str], *, key: str, route: str, fleet: Fleet, member: Member, now: datetime
) -> tuple[str, bool]:
    """Runs the effect of a form at most once per *key*. Returns where it led, and whether it ran now.

    *effect* returns the address of what it made. A refusal (an exception) leaves the key free.
    """
    with transaction.atomic():
        row = _claimed(fleet, member, key, {"route": route[:255], "body_hash": body_hash(key)}, now)
        if row.status is not None:
            return str(row.headers["Location"]), False
        row.status, row.headers = 303, {"Location": effect()}
        row.save(update_fields=["status", "headers"])
        return row.headers["Location"], True


def body_hash(data: Any) -> str:
    """SHA-256 of the body's meaning: blanks and the order of members do not matter, every value does."""
    if isinstance(data, bytes):
        return hashlib.sha256(data).hexdigest()
    canonical = json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def _remember(row: IdempotencyKey, response: HttpResponseBase) -> None:
    if not isinstance(response, Response):
        raise TypeError("an idempotent handler answers with a Response of the framework")
    row.status = response.status_code
    row.response = b"" if response.data is None else dump_json(response.data)
    row.headers = {name: response[name] for name in _KEPT_HEADERS if response.has_header(name)}
    row.save(update_fields=["status", "response", "headers"])


def _replay(row: IdempotencyKey) -> HttpResponse:
    headers = {**row.headers, "Idempotency-Replayed": "true"}
    return HttpResponse(bytes(row.response), status=row.status, content_type="application/json", headers=headers)
