"""The webhooks this app sends, for the OpenAPI document."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiWebhook, extend_schema
from rest_framework import serializers

from fleet.http.schema import WEBHOOKS

HOOKS = (
    ("hold.opened.v1", "A trip may not leave."),
    ("hold.changed.v1", "The hold stands with other causes, or nobody has seen its notice yet."),
    ("hold.ended.v1", "The hold was lifted, released or has ended. Sent once to whoever was told that it opened."),
    ("alarm.stop.v1", "A stop-tier alarm: `change` says whether it was raised, still stands or has ended."),
    ("alarm.heat_lost.v1", "Under way, no heat reaches the box. `change` as above."),
    ("alarm.attend.v1", "Under way, something needs attention. `change` as above."),
    ("route.test.v1", "Somebody tests the route."),
)


class HookCause(serializers.Serializer):
    key = serializers.CharField()
    check = serializers.CharField()
    outcome = serializers.CharField()
    message = serializers.CharField()
    remedy = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField()


class HookHold(serializers.Serializer):
    id = serializers.IntegerField()
    trip = serializers.CharField()
    state = serializers.ChoiceField(choices=["open", "lifted", "released", "ended"])
    verdict = serializers.ChoiceField(choices=["blocked", "unknown"])
    opened_at = serializers.DateTimeField()
    departs_at = serializers.DateTimeField()
    causes = HookCause(many=True)
    reopened = serializers.IntegerField()
    close_reason = serializers.CharField(allow_blank=True)
    released_by = serializers.CharField(allow_blank=True)
    release_reason = serializers.CharField(allow_blank=True)
    link = serializers.URLField()


class HookAlarm(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField()
    scheme = serializers.ChoiceField(choices=["book", "j1939", "derived"])
    tier = serializers.ChoiceField(choices=["watch", "attend", "stop"])
    kind = serializers.ChoiceField(choices=["stop", "heat_lost", "attend"])
    state = serializers.ChoiceField(choices=["active", "returned", "closed", "voided"])
    component = serializers.CharField()
    meaning = serializers.CharField()
    what_to_do = serializers.CharField(allow_blank=True)
    raised_at = serializers.DateTimeField()
    repeat = serializers.IntegerField()
    trip = serializers.CharField(allow_null=True)
    time_to_damage = serializers.CharField(allow_blank=True)
    damage_after_h = serializers.FloatField(allow_null=True)
    signed_by = serializers.CharField(allow_blank=True)
    work_done = serializers.CharField(allow_blank=True)
    link = serializers.CharField(allow_blank=True)


class _HookShared(serializers.Serializer):
    notice = serializers.IntegerField()
    unit = serializers.CharField()
    urgency = serializers.ChoiceField(choices=["planned", "soon", "now"])
    reason = serializers.CharField()
    change = serializers.ChoiceField(choices=["opened", "changed", "ended"])
    caution = serializers.CharField()


class HookHoldData(_HookShared):
    hold = HookHold()


class HookAlarmData(_HookShared):
    alarm = HookAlarm()


class HookTestData(serializers.Serializer):
    fleet = serializers.CharField()
    route = serializers.IntegerField()
    asked_by = serializers.CharField()


class HoldHook(serializers.Serializer):
    type = serializers.CharField()
    timestamp = serializers.DateTimeField()
    data = HookHoldData()  # type: ignore[assignment]


class AlarmHook(serializers.Serializer):
    type = serializers.CharField()
    timestamp = serializers.DateTimeField()
    data = HookAlarmData()  # type: ignore[assignment]


class TestHook(serializers.Serializer):
    type = serializers.CharField()
    timestamp = serializers.DateTimeField()
    data = HookTestData()  # type: ignore[assignment]


BODIES = {"hold": HoldHook, "alarm": AlarmHook, "route": TestHook}


def register_webhooks() -> None:
    """Adds them to the document once."""
    known = {str(webhook.name) for webhook in WEBHOOKS}
    for name, words in HOOKS:
        if name not in known:
            body = BODIES[name.split(".", maxsplit=1)[0]]
            describe = extend_schema(
                summary=words,
                description="Signed as Standard Webhooks; see docs/webhooks.md. Answer 2xx; 410 disables the route.",
                request=body,
                responses={"2XX": None, "410": None},
            )
            WEBHOOKS.append(OpenApiWebhook(name=name, decorator=describe))
