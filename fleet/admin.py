"""Fleet's registers for the host's operators."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.auth.password_validation import validate_password
from django.http import HttpRequest

from fleet import members
from fleet.models import (
    Assessment,
    AuditEntry,
    Commodity,
    Fleet,
    Hold,
    Member,
    PolicyRow,
    QuarantinedEvent,
    Source,
    TokenCard,
    Trip,
    Unit,
    UnitModel,
)
from fleet.operators.registers import RecordRegister, ServicedForm, ServicedRegister
from fleet.pages.account import zone_names
from fleet.units import service as units
from fleet.units.design import DESIGN_NAMES
from fleet.units.serializers import PolicyInput, UnitChange, UnitInput, UnitModelChange, UnitModelInput


class FleetForm(ServicedForm):
    time_zone = forms.ChoiceField(choices=[(name, name) for name in zone_names()])


@admin.register(Fleet)
class FleetRegister(ServicedRegister):
    form = FleetForm
    fields = ("name", "slug", "time_zone", "owner_email", "seen_revision")
    fixed = ("slug",)
    list_display = ("name", "slug", "time_zone", "owner_email", "created_at")
    search_fields = ("name", "slug", "owner_email")

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> Fleet:
        return members.found_fleet(**said)

    def change(self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime) -> Fleet:
        return members.change_fleet(obj.pk, said, by=by, now=now)


class MemberForm(ServicedForm):
    new_password = forms.CharField(
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Empty: as it was. People sign in to pages with it; machines carry tokens.",
    )

    def clean_new_password(self) -> str:
        password: str = self.cleaned_data["new_password"]
        if password:
            validate_password(password, self.instance)
        return password


@admin.register(Member)
class MemberRegister(ServicedRegister):
    """People and machines. A member never moves to another fleet: what was signed stays where it was signed."""

    form = MemberForm
    fields = ("fleet", "username", "name", "role", "email", "is_active", "new_password", "seen_revision")
    fixed = ("fleet", "username")
    list_display = ("username", "name", "fleet", "role", "is_active", "last_login")
    list_filter = ("role", "is_active", "fleet")
    list_select_related = ("fleet",)
    search_fields = ("username", "name", "email")

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Operators are made and ended by commands on the host, not by each other."""
        return super().has_change_permission(request, obj) and (obj is None or obj.fleet_id is not None)

    def get_form(self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any) -> Any:
        form = super().get_form(request, obj, change, **kwargs)
        if "fleet" in form.base_fields:
            form.base_fields["fleet"].required = True
        return form

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> Member:
        return members.admit_by(by, said, now=now)

    def change(self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime) -> Member:
        return members.change_member(obj.pk, said, by=by, now=now)


class UnitModelForm(ServicedForm):
    serializers = (UnitModelInput, UnitModelChange)


@admin.register(UnitModel)
class UnitModelRegister(ServicedRegister):
    form = UnitModelForm
    fields = ("fleet", "key", "name", *DESIGN_NAMES, "version", "seen_revision")
    readonly_fields = ("version",)
    fixed = ("fleet", "key")
    list_display = ("key", "name", "fleet", "heater_output_kw", "version")
    list_filter = ("fleet",)
    list_select_related = ("fleet",)
    search_fields = ("key", "name")

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> UnitModel:
        return units.create_unit_model(obj.fleet, said, by=by, now=now)

    def change(
        self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
    ) -> UnitModel:
        return units.change_unit_model(obj.fleet, obj.key, said, revision=revision, by=by, now=now)


class UnitForm(ServicedForm):
    serializers = (UnitInput, UnitChange)

    def typed(self) -> dict[str, Any]:
        said = super().typed()
        if "model" in said:
            model, fleet = said["model"], self.cleaned_data.get("fleet") or self.instance.fleet
            if model.fleet_id != fleet.pk:
                self.add_error("model", "This model belongs to another fleet.")
            said["model"] = model.key
        return said


@admin.register(Unit)
class UnitRegister(ServicedRegister):
    form = UnitForm
    fields = (
        "fleet", "number", "model", "service", "built_on", "k_test_w_m2k", "k_tested_on", "serviced_at_h",
        "serviced_on", "seen_revision",
    )  # fmt: skip
    fixed = ("fleet", "number")
    list_display = ("number", "fleet", "model", "service", "built_on")
    list_filter = ("service", "fleet")
    list_select_related = ("fleet", "model")
    search_fields = ("number",)

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> Unit:
        return units.create_unit(obj.fleet, said, by=by, now=now)

    def change(self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime) -> Unit:
        return units.change_unit(obj.fleet, obj.number, said, revision=revision, by=by, now=now)


class PolicyForm(ServicedForm):
    serializers = (PolicyInput, PolicyInput)
    overrides = forms.JSONField(required=False, help_text="Thresholds and values; what is not named has its default.")

    def typed(self) -> dict[str, Any]:
        """Every override that was changed; one that was taken out goes back to its default."""
        before, after = self.initial.get("overrides") or {}, self.cleaned_data.get("overrides") or {}
        if not isinstance(after, dict):
            self.add_error("overrides", "Write thresholds and their values, as in docs/policy.md.")
            return {}
        return {name: after.get(name) for name in before.keys() | after.keys() if before.get(name) != after.get(name)}


@admin.register(PolicyRow)
class PolicyRegister(ServicedRegister):
    form = PolicyForm
    fields = ("fleet", "overrides", "version", "seen_revision")
    readonly_fields = ("fleet", "version")
    list_display = ("fleet", "overrides", "version", "changed_at")
    list_select_related = ("fleet",)
    search_fields = ("fleet__name",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False  # a fleet is founded with its policy

    def change(
        self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
    ) -> PolicyRow:
        return units.change_policy(obj.fleet, said, revision=revision, by=by, now=now)


@admin.register(Commodity)
class CommodityRegister(RecordRegister):
    list_display = ("key", "name", "fleet", "freezes_c", "low_c", "high_c", "hazard")
    list_filter = ("hazard", "no_heat_needed", "fleet")
    list_select_related = ("fleet",)
    search_fields = ("key", "name", "source")


@admin.register(Trip)
class TripRegister(RecordRegister):
    list_display = ("reference", "fleet", "state", "planned_unit", "assigned_unit", "depart_at")
    list_filter = ("state", "fleet")
    list_select_related = ("fleet", "planned_unit", "assigned_unit")
    search_fields = ("reference",)


@admin.register(Assessment)
class AssessmentRegister(RecordRegister):
    list_display = ("trip", "unit", "verdict", "score", "trigger", "computed_at")
    list_filter = ("verdict", "trigger")
    list_select_related = ("trip", "unit")
    search_fields = ("trip__reference", "unit__number")


@admin.register(Hold)
class HoldRegister(RecordRegister):
    list_display = ("trip", "unit", "state", "opened_at", "closed_at", "released_by")
    list_filter = ("state", "fleet")
    list_select_related = ("trip", "unit", "released_by")
    search_fields = ("trip__reference", "unit__number")


@admin.register(AuditEntry)
class AuditRegister(RecordRegister):
    list_display = ("at", "fleet", "actor_name", "act", "object_type", "object_id", "seq")
    list_filter = ("fleet",)
    list_select_related = ("fleet",)
    search_fields = ("actor_name", "act", "object_type", "object_id", "request_id")


@admin.register(QuarantinedEvent)
class QuarantineRegister(RecordRegister):
    list_display = ("received_at", "fleet", "source", "subject", "code", "state")
    list_filter = ("state", "code", "fleet")
    list_select_related = ("fleet",)
    search_fields = ("source", "event_id", "subject")


@admin.register(Source)
class SourceRegister(RecordRegister):
    list_display = ("name", "fleet", "first_seen_at")
    list_select_related = ("fleet",)
    search_fields = ("name",)


@admin.register(TokenCard)
class TokenRegister(RecordRegister):
    fields = ("member", "name", "origin", "life_s", "created_at", "last_used_at")
    list_display = ("member", "name", "origin", "created_at", "last_used_at")
    list_filter = ("origin", "fleet")
    list_select_related = ("member",)
    search_fields = ("member__username", "name")
