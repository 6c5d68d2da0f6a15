"""Tokens over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import django_filters
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.filters import WordFilter
from fleet.http.throttle import address_of, allow_login
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import TokenCard
from fleet.tokens import service
from fleet.tokens.selectors import cards_seen_by
from fleet.tokens.serializers import LoginInput, NewTokenOutput, RotationInput, TokenOutput


class LoginView(CommandView):
    """Gives a member with a password a token. Ten tries in a quarter of an hour, then it says how long to wait."""

    tag = "tokens"
    authentication_classes = ()
    permission_classes = (AllowAny,)
    roles = "any"
    public = True
    input_serializer = LoginInput
    output_serializer = NewTokenOutput
    success_status = {"POST": 201}
    problems = ("login-refused",)

    def post(self, request: Request) -> Response:
        said = self.read(request)
        allow_login(username=said["username"], address=address_of(request))
        token, card = service.log_in(**said, now=db_now())
        return new_token(self, token, card)


class TokenFilters(django_filters.FilterSet):
    member = WordFilter(field_name="member__username")

    class Meta:
        model = TokenCard
        fields: tuple[str, ...] = ()


class TokenView(CommandView, ReadOnlyResource):
    """Tokens: your own; a manager's are those of the whole fleet. Deleting one ends it at once."""

    tag = "tokens"
    model = TokenCard
    roles = {"GET": "any", "DELETE": "any"}
    serializer_class = TokenOutput
    filterset_class = TokenFilters
    output_serializer = {"GET": TokenOutput}
    success_status = {"DELETE": 204}

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        return cards_seen_by(self.fleet, self.member)

    def destroy(self, request: Request, pk: int) -> Response:
        service.revoke_token(self.fleet, pk, by=self.member, now=db_now())
        return Response(status=204)


class RotateView(CommandView):
    """Gives a new token for the one that asks, which works on for the overlap. It takes no Idempotency-Key.

    An answer that gets lost is not remembered, because that would be keeping the token: ask again with the old one.
    """

    tag = "tokens"
    roles = {"POST": "any"}
    input_serializer = RotationInput
    output_serializer = NewTokenOutput
    success_status = {"POST": 201}
    problems = ("conflict",)

    def post(self, request: Request) -> Response:
        said = self.read(request)
        overlap = timedelta(minutes=said["overlap_min"])
        token, card = service.rotate_token(
            self.member, request.auth, overlap=overlap, name=said.get("name"), now=db_now()
        )
        return new_token(self, token, card)


def new_token(view: CommandView, token: str, card: TokenCard) -> Response:
    """The only answer a token is ever in; nothing on the way may keep it."""
    card.token_text = token  # type: ignore[attr-defined]
    response = view.answer(card)
    response["Cache-Control"] = "no-store"
    return response
