"""Who is calling, and whether the caller's role may do this. Fleets are never named by a request, only by a
token."""

import re
from collections.abc import Mapping
from hmac import compare_digest
from typing import Any, Literal

from django.core.exceptions import ImproperlyConfigured
from django.utils import timezone
from knox.crypto import hash_token
from knox.settings import CONSTANTS
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, MethodNotAllowed, NotAuthenticated
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from fleet.errors import Forbidden
from fleet.http.context import bind_member
from fleet.http.last_use import note_use
from fleet.http.token_query import tokens_with_key
from fleet.models.members import Fleet, Member

ANY: Literal["any"] = "any"
Roles = Mapping[str, "frozenset[str] | set[str] | Literal['any']"] | Literal["any"]

# Longer than any token we issue: nothing longer is hashed, and nothing unprintable reaches the database.
_VISIBLE = re.compile(r"[!-~]{1,256}")


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <token>` against the hashed tokens of django-rest-knox, in one statement.

    Knox's own class is not used: it deletes expired tokens while it authenticates (a write in every GET)
    and says which part of a token was wrong. Here every failure is the same 401.
    """

    def authenticate(self, request: Request) -> tuple[Member, Any] | None:
        parts = get_authorization_header(request).split()
        if not parts:
            return None  # No header: RoleAllowed answers with the same 401 unless the view is public.
        if len(parts) != 2 or parts[0].lower() != b"bearer":
            raise AuthenticationFailed
        member, token = self._find(parts[1])
        bind_member(member_id=member.pk, fleet_id=member.fleet_id)
        if (card := getattr(token, "card", None)) is not None:  # a token made past fleet.members has none
            note_use(card, now=timezone.now())
        return member, token

    def _find(self, raw: bytes) -> tuple[Any, Any]:
        text = raw.decode("latin-1")
        if not _VISIBLE.fullmatch(text):
            raise AuthenticationFailed
        digest = hash_token(text)
        for token in tokens_with_key(text[: CONSTANTS.TOKEN_KEY_LENGTH]):
            member = token.user
            expired = token.expiry is not None and token.expiry <= timezone.now()
            if not compare_digest(digest, token.digest) or expired:
                continue
            if member.is_active and member.fleet is not None:
                return member, token
        raise AuthenticationFailed

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="warmgate"'


class RoleAllowed(BasePermission):
    """Admits a member whose role the view names for this method.

    A view says `roles = "any"` (any member) or a role set per method, for example `roles = {"GET": "any",
    "POST": {Role.DISPATCHER}}`. HEAD counts as GET; OPTIONS is open to any member. A view that says nothing
    is a mistake and raises ImproperlyConfigured, so that it can never be open by accident.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        roles: Roles | None = getattr(view, "roles", None)
        if roles is None:
            raise ImproperlyConfigured(f"{type(view).__name__} does not say which roles it admits.")
        if not isinstance(request.user, Member):
            raise NotAuthenticated
        allowed = allowed_roles(roles, request.method or "GET")
        if allowed is None:
            raise MethodNotAllowed(request.method or "")
        if allowed != ANY and request.user.role not in allowed:
            names = ", ".join(sorted(str(role) for role in allowed))
            raise Forbidden(f"Your role is {request.user.role}; this needs one of: {names}.")
        return True


def allowed_roles(roles: Roles, method: str) -> "frozenset[str] | Literal['any'] | None":
    """The roles that may use `method`: a set, "any", or None where the view does not take the method at
    all."""
    if roles == ANY or method == "OPTIONS":
        return ANY
    named = roles.get("GET" if method == "HEAD" else method)
    if named is None or named == ANY:
        return named
    return frozenset(str(role) for role in named)


def member_of(request: Request) -> Member:
    """The member whose token came with the request; NotAuthenticated where there is none."""
    if not isinstance(request.user, Member):
        raise NotAuthenticated
    return request.user


def fleet_of(request: Request) -> Fleet:
    """The fleet of the caller's token, the only fleet a request can mean; NotAuthenticated where there is
    none."""
    fleet = member_of(request).fleet
    if fleet is None:
        raise NotAuthenticated
    return fleet
