"""The base of every request body: unknown members are refused, and only strict fields may be declared."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django.core.exceptions import ImproperlyConfigured
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleet.http.pointers import MAX_REPORTED

# Fields of the framework that coerce. They are fine in answers, where we write the values ourselves.
_LAX = (
    serializers.BooleanField,
    serializers.CharField,
    serializers.ChoiceField,
    serializers.DateField,
    serializers.DateTimeField,
    serializers.DecimalField,
    serializers.DurationField,
    serializers.FloatField,
    serializers.IntegerField,
    serializers.TimeField,
)


class StrictSerializer(serializers.Serializer):
    """A request body, or a part of one. Use plain serializers for answers.

    Members that are not declared are refused with a pointer to each, and so are read-only ones. Declaring a
    lax field for input raises ImproperlyConfigured when the class is made, not when the first caller trips
    over it.

    `example` is a whole body as the OpenAPI document shows it.
    """

    example: ClassVar[Mapping[str, Any] | None] = None

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        for name, field in cls._declared_fields.items():
            if not field.read_only and _is_lax(field):
                kind = type(field).__name__
                raise ImproperlyConfigured(f"{cls.__name__}.{name}: {kind} coerces; use fleet.http.fields.")

    def to_internal_value(self, data: Any) -> Any:
        refused = self._refused_members(data) if isinstance(data, Mapping) else {}
        try:
            value = self._with_defaults(super().to_internal_value(data))
        except ValidationError as error:
            if isinstance(error.detail, dict):
                raise ValidationError({**error.detail, **refused}) from error
            raise
        if refused:
            raise ValidationError(refused)
        return value

    def _refused_members(self, data: Mapping[str, Any]) -> dict[str, list[ErrorDetail]]:
        refused: dict[str, list[ErrorDetail]] = {}
        fields = self.fields
        for name in data:
            if len(refused) == MAX_REPORTED:
                break
            if name not in fields:
                refused[name] = [ErrorDetail("There is no such member.", code="unknown-member")]
            elif fields[name].read_only:
                refused[name] = [ErrorDetail("This member is set by the service.", code="read-only")]
        if self._is_whole_part():
            for name, field in fields.items():
                if field.required and not field.read_only and name not in data:
                    refused[name] = [ErrorDetail("This field is required.", code="required")]
        return refused

    def _is_whole_part(self) -> bool:
        """Whether this is a part of a partial change. Such a change replaces its parts as a whole.

        The framework would treat the part as partial too: it would neither ask for its required members nor
        fill in its defaults, and `validate` would meet a document that no other request can produce.
        """
        return self.parent is not None and bool(getattr(self.root, "partial", False))

    def _with_defaults(self, value: dict[str, Any]) -> dict[str, Any]:
        if self._is_whole_part():
            for name, field in self.fields.items():
                target = field.source or name
                if field.default is not serializers.empty and not field.read_only and target not in value:
                    value[target] = field.default() if callable(field.default) else field.default
        return value


def many(child: type[serializers.Serializer[Any]], **options: Any) -> Any:
    """A list of `child`, with the options of both (`min_length`, `max_length`, `required` …)."""
    return child(many=True, **options)


def _is_lax(field: serializers.Field) -> bool:
    child = getattr(field, "child", None)
    if child is not None:
        return _is_lax(child)
    return isinstance(field, _LAX) and type(field).__module__.startswith("rest_framework.")
