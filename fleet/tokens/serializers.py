"""Tokens on the wire. The token itself is in an answer once, when it is made."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from fleet.http.fields import InstantField, StrictCharField, StrictIntegerField
from fleet.http.serializers import StrictSerializer
from fleet.models import TokenCard
from fleet.models.members import Role

WEEK_MIN = 7 * 24 * 60


class LoginInput(StrictSerializer):
    """A member's name and password."""

    example = {"username": "northfell-manager", "password": "a long and private sentence", "name": "desk"}

    username = StrictCharField(max_length=150)
    password = StrictCharField(max_length=1024, trim_whitespace=False, write_only=True)
    name = StrictCharField(max_length=80, default="", allow_blank=True, help_text="What the token is for.")


class RotationInput(StrictSerializer):
    """How long the old token still works, so that every place that holds it can be told the new one."""

    example = {"overlap_min": 60, "name": "gateway of yard 3"}

    overlap_min = StrictIntegerField(min_value=0, max_value=WEEK_MIN, default=60)
    name = StrictCharField(max_length=80, required=False, allow_blank=True, help_text="Left out: as before.")


class TokenOutput(serializers.ModelSerializer):
    """What is known about a token. The token itself is not: only its hash is kept."""

    member = serializers.CharField(source="member.username")
    role = serializers.ChoiceField(source="member.role", choices=Role.choices)
    created_at = InstantField()
    expires_at = InstantField(source="token.expiry", allow_null=True)
    last_used_at = InstantField(allow_null=True, help_text="Within five minutes.")
    current = serializers.SerializerMethodField(help_text="Whether this is the token of this very request.")

    class Meta:
        model = TokenCard
        fields: tuple[str, ...] = (
            "id", "name", "member", "role", "origin", "created_at", "expires_at", "last_used_at", "current",
        )  # fmt: skip

    def get_current(self, card: TokenCard) -> bool:
        auth: Any = getattr(self.context.get("request"), "auth", None)
        return auth is not None and auth.pk == card.token_id


class NewTokenOutput(TokenOutput):
    """A token that was just made, shown this once."""

    token = serializers.CharField(source="token_text")

    class Meta(TokenOutput.Meta):
        fields = (*TokenOutput.Meta.fields, "token")
