"""The registers of alarms and notices for the host's operators."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.contrib import admin

from alarms.models import Alarm, CodeBook, CodeEntry, Delivery, FaultEvent, Kind, Notice, NoticeRoute
from alarms.notices import routes
from alarms.notices.serializers import RouteChange, RouteInput
from fleet.models import Member
from fleet.operators.registers import RecordRegister, ServicedForm, ServicedRegister


class RouteForm(ServicedForm):
    """Secrets are not shown: a webhook's is made by the service, and its owner gets a new one over the API."""

    serializers = (RouteInput, RouteChange)
    kinds = forms.MultipleChoiceField(choices=Kind.choices, widget=forms.CheckboxSelectMultiple)

    def typed(self) -> dict[str, Any]:
        said = super().typed()
        member, fleet = said.get("member"), self.cleaned_data.get("fleet")
        if member is not None:
            if fleet is not None and member.fleet_id != fleet.pk:
                self.add_error("member", "This member belongs to another fleet.")
            said["member"] = member.username
        if self.instance.pk is None:
            said.pop("state", None)
        return said


@admin.register(NoticeRoute)
class RouteRegister(ServicedRegister):
    form = RouteForm
    fields = (
        "fleet", "member", "channel", "address", "kinds", "position", "quiet_from", "quiet_until", "state",
        "disabled_reason", "failing_since", "seen_revision",
    )  # fmt: skip
    readonly_fields = ("disabled_reason", "failing_since")
    fixed = ("fleet", "member", "channel")
    list_display = ("address", "channel", "member", "position", "state", "failing_since")
    list_filter = ("channel", "state", "fleet")
    list_select_related = ("member",)
    search_fields = ("address", "member__username", "member__name")

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> NoticeRoute:
        return routes.create_route(obj.fleet, said, by=by, now=now)

    def change(
        self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
    ) -> NoticeRoute:
        return routes.change_route(obj.fleet, obj.pk, said, revision=revision, by=by, now=now)


@admin.register(CodeBook)
class CodeBookRegister(RecordRegister):
    list_display = ("unit_model", "version", "entry_count", "fleet", "imported_at", "imported_by")
    list_filter = ("fleet",)
    list_select_related = ("unit_model", "fleet", "imported_by")
    search_fields = ("unit_model__key", "note")


@admin.register(CodeEntry)
class CodeEntryRegister(RecordRegister):
    list_display = ("code", "tier", "component", "meaning", "book")
    list_filter = ("tier",)
    list_select_related = ("book",)
    search_fields = ("code", "component", "meaning")


@admin.register(Alarm)
class AlarmRegister(RecordRegister):
    list_display = ("unit", "code", "tier", "state", "raised_at", "signed_by")
    list_filter = ("tier", "state", "scheme", "fleet")
    list_select_related = ("unit", "signed_by")
    search_fields = ("unit__number", "code", "meaning")


@admin.register(FaultEvent)
class FaultEventRegister(RecordRegister):
    list_display = ("unit", "code", "state", "at", "source")
    list_filter = ("state", "scheme")
    list_select_related = ("unit",)
    search_fields = ("unit__number", "code", "event_id", "source")


@admin.register(Notice)
class NoticeRegister(RecordRegister):
    list_display = ("unit", "state", "urgency", "round", "opened_at", "seen_by", "closed_at")
    list_filter = ("state", "urgency", "fleet")
    list_select_related = ("unit", "seen_by")
    search_fields = ("unit__number",)


@admin.register(Delivery)
class DeliveryRegister(RecordRegister):
    list_display = ("created_at", "purpose", "channel", "address", "state", "attempts", "last_status")
    list_filter = ("state", "channel", "purpose", "fleet")
    search_fields = ("address", "message_id")
