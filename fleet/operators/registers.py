"""The two kinds of registers: configuration, which is changed through services, and records, which are only read."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any, ClassVar

from django import forms
from django.contrib import messages
from django.contrib.admin import ModelAdmin
from django.core.exceptions import ValidationError
from django.db.models import Model, QuerySet
from django.forms.models import construct_instance
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from rest_framework.exceptions import ValidationError as Refused
from rest_framework.serializers import BaseSerializer

from fleet.clock import db_now
from fleet.errors import WarmgateError
from fleet.http.pointers import field_errors
from fleet.models import Member
from fleet.models.scope import ScopedQuerySet
from fleet.operators.site import is_operator


def every_row(model: type[Model]) -> QuerySet[Any]:
    """All rows of a model: operators look after every fleet of their host, and a query has to say so."""
    rows = model._default_manager.all()
    return rows.across_fleets() if isinstance(rows, ScopedQuerySet) else rows


class Register(ModelAdmin):
    """What every register of the operators has in common. Nothing is ever deleted here."""

    for_operators = True
    show_full_result_count = False
    list_per_page = 50
    list_max_show_all = 200

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        rows = every_row(self.model)
        ordering = self.get_ordering(request)
        return rows.order_by(*ordering) if ordering else rows

    def formfield_for_foreignkey(self, db_field: Any, request: HttpRequest | None, **kwargs: Any) -> Any:
        kwargs.setdefault("queryset", every_row(db_field.remote_field.model))
        return super().formfield_for_foreignkey(db_field, request, **kwargs)  # type: ignore[arg-type]

    def has_module_permission(self, request: HttpRequest) -> bool:
        return is_operator(request.user)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return is_operator(request.user)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return is_operator(request.user)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return is_operator(request.user)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class RecordRegister(Register):
    """Records: found and read, never added, changed or deleted."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class ServicedForm(forms.ModelForm):
    """Asks the API's own serializer about what was typed, and remembers which revision the operator looked at."""

    seen_revision = forms.IntegerField(required=False, widget=forms.HiddenInput)
    serializers: ClassVar[tuple[type[BaseSerializer], type[BaseSerializer]] | None] = None
    """For a new row, and for a change of one."""
    said: Mapping[str, Any]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is not None:
            self.fields["seen_revision"].initial = getattr(self.instance, "revision", None)

    def _post_clean(self) -> None:
        """Rows of a fleet are told apart by the service, which knows the fleet and says what is wrong in words: here
        only their values are looked at."""
        if not isinstance(self._meta.model._default_manager.all(), ScopedQuerySet):
            super()._post_clean()  # type: ignore[misc]
            return
        self.instance = construct_instance(self, self.instance, self._meta.fields, self._meta.exclude)
        try:
            self.instance.clean_fields(exclude=self._get_validation_exclusions())  # type: ignore[attr-defined]
        except ValidationError as refused:
            self._update_errors(refused)  # type: ignore[attr-defined]

    def typed(self) -> dict[str, Any]:
        """What to give the service: everything for a new row, what has changed for a known one."""
        new = self.instance.pk is None
        names = [name for name in self.cleaned_data if name != "seen_revision" and (new or name in self.changed_data)]
        values = {name: on_the_wire(self.cleaned_data[name]) for name in names}
        return {name: value for name, value in values.items() if not new or value not in (None, "")}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        self.said = self.typed()
        if self.serializers is None or self.errors:
            return cleaned
        new = self.instance.pk is None
        body = {name: value for name, value in self.said.items() if name != "fleet"}
        serializer = self.serializers[0 if new else 1](data=body, partial=not new)
        try:
            serializer.is_valid(raise_exception=True)
        except Refused as refused:
            for error in field_errors(refused.detail):
                name = error.pointer.strip("/").partition("/")[0]
                self.add_error(name if name in self.fields else None, error.detail)
        else:
            self.said = serializer.validated_data
        return cleaned


def on_the_wire(value: Any) -> Any:
    """A form's value as a body of the API has it."""
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    return value


class ServicedRegister(Register):
    """Configuration: a service writes it, moves the versions it moves for everybody, and records who did it."""

    form = ServicedForm
    fixed: ClassVar[tuple[str, ...]] = ()
    """What a row keeps for life once it is made."""

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        always = tuple(super().get_readonly_fields(request, obj))
        return always if obj is None else always + self.fixed

    def changeform_view(
        self,
        request: HttpRequest,
        object_id: str | None = None,
        form_url: str = "",
        extra_context: dict[str, Any] | None = None,
    ) -> HttpResponse:
        try:
            return super().changeform_view(request, object_id, form_url, extra_context)
        except WarmgateError as error:
            words = [error.detail, *(f"{entry.pointer}: {entry.detail}" for entry in error.errors)]
            messages.error(request, " ".join(words))
            return redirect(request.get_full_path())

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        by, now = operator_of(request), db_now()
        if change:
            revision = form.cleaned_data.get("seen_revision")
            stored = self.change(obj, form.said, revision=revision, by=by, now=now)
        else:
            stored = self.create(obj, form.said, by=by, now=now)
        obj.__dict__.update(stored.__dict__)

    def create(self, obj: Any, said: Mapping[str, Any], *, by: Member, now: datetime) -> Any:
        """The service that makes a row."""
        raise NotImplementedError

    def change(self, obj: Any, said: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime) -> Any:
        """The service that changes one."""
        raise NotImplementedError


def operator_of(request: HttpRequest) -> Member:
    """The operator who acts; the site has let nobody else in."""
    member = request.user
    assert isinstance(member, Member)
    return member
