"""Filters from an allow-list (django-filter), read as strictly as bodies are."""

from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework.request import Request

from fleet.errors import FieldError, InvalidInput
from fleet.http.fields import parse_instant
from fleet.http.pointers import join
from fleet.http.query import refuse_unknown_parameters


class StrictFilterBackend(DjangoFilterBackend):
    """Applies a view's `filterset_class`; refuses parameters that no filter, page or view knows."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        refuse_unknown_parameters(request, accepted_parameters(view))
        if not is_list(view):
            return queryset
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        if not filterset.is_valid():
            raise InvalidInput(errors=_form_errors(filterset.errors))
        return filterset.qs


def is_list(view: Any) -> bool:
    """Whether this call of the view answers with a page of rows."""
    action = getattr(view, "action", None)
    return action == "list" if action is not None else bool(getattr(view, "answers_list", False))


def accepted_parameters(view: Any) -> frozenset[str]:
    """Every query parameter this call may carry: the view's own, and on lists its filters and its paging."""
    accepted = frozenset(getattr(view, "query_parameters", ()))
    if is_list(view):
        filterset_class = getattr(view, "filterset_class", None)
        if filterset_class is not None:
            accepted |= filterset_class.base_filters.keys()
        accepted |= getattr(getattr(view, "pagination_class", None), "query_parameters", frozenset())
    return accepted


def _form_errors(errors: Any) -> list[FieldError]:
    return [
        FieldError(join("", name), (error.code or "invalid").replace("_", "-"), " ".join(error.messages), "query")
        for name, found in errors.as_data().items()
        for error in found
    ]


class _InstantFormField(forms.Field):
    default_error_messages = {"not-an-instant": "Send a time with its offset: 2027-01-12T05:40:00Z."}

    def to_python(self, value: str | None) -> Any:
        if not value:
            return None
        instant = parse_instant(value)
        if instant is None:
            raise forms.ValidationError(self.error_messages["not-an-instant"], code="not-an-instant")
        return instant


class _FlagFormField(forms.Field):
    default_error_messages = {"not-a-boolean": "Send true or false."}

    def to_python(self, value: str | None) -> bool | None:
        if not value:
            return None
        if value not in ("true", "false"):
            raise forms.ValidationError(self.error_messages["not-a-boolean"], code="not-a-boolean")
        return value == "true"


class _IdFormField(forms.Field):
    default_error_messages = {"not-an-id": "Send a positive whole number."}

    def to_python(self, value: str | None) -> int | None:
        if not value:
            return None
        if not (value.isascii() and value.isdecimal() and len(value) <= 18):
            raise forms.ValidationError(self.error_messages["not-an-id"], code="not-an-id")
        return int(value)


@extend_schema_field(OpenApiTypes.DATETIME)
class InstantFilter(django_filters.Filter):
    """A moment in RFC 3339 with its offset."""

    field_class = _InstantFormField


@extend_schema_field(OpenApiTypes.BOOL)
class FlagFilter(django_filters.Filter):
    """`true` or `false`."""

    field_class = _FlagFormField


@extend_schema_field(OpenApiTypes.INT64)
class IdFilter(django_filters.Filter):
    """A row's number."""

    field_class = _IdFormField


@extend_schema_field({"type": "string", "minLength": 1, "maxLength": 255})
class WordFilter(django_filters.CharFilter):
    """Text that must match exactly, 255 characters at most."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, max_length=kwargs.pop("max_length", 255), strip=False, **kwargs)
