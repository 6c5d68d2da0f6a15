"""How the strict fields look in the OpenAPI document. Imported by `fleet.http.schema`, which registers
them."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.plumbing import ResolvedComponent

from fleet.http.fields import FiniteFloatField, QuantityField


class BooleanFieldSchema(OpenApiSerializerFieldExtension):
    """A boolean."""

    target_class = "fleet.http.fields.StrictBooleanField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return {"type": "boolean"}


class IntegerFieldSchema(OpenApiSerializerFieldExtension):
    """An integer with its limits."""

    target_class = "fleet.http.fields.StrictIntegerField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.target.min_value, "maximum": self.target.max_value}


class FloatFieldSchema(OpenApiSerializerFieldExtension):
    """A number with its limits."""

    target_class = "fleet.http.fields.FiniteFloatField"
    priority = -1

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return limited_number(self.target)


class InstantFieldSchema(OpenApiSerializerFieldExtension):
    """A date-time."""

    target_class = "fleet.http.fields.InstantField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return {"type": "string", "format": "date-time"}


class DateFieldSchema(OpenApiSerializerFieldExtension):
    """A date."""

    target_class = "fleet.http.fields.StrictDateField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        return {"type": "string", "format": "date"}


class QuantityFieldSchema(OpenApiSerializerFieldExtension):
    """In requests a number in our unit, or a value with one of the allowed units; in answers a number."""

    target_class = "fleet.http.fields.QuantityField"

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        if direction == "response":
            return {"type": "number"}
        dimension = "".join(part.title() for part in self.target.unit.split("_"))
        # A component of its own: as an inline enum every dimension's `unit` would ask for a name.
        names = _component(auto_schema, f"Unit{dimension}", {"type": "string", "enum": list(self.target.names)})
        quantity = _component(auto_schema, f"Quantity{dimension}", quantity_schema(self.target, names))
        return {"oneOf": [limited_number(self.target), quantity]}


def _component(auto_schema: Any, name: str, schema: dict[str, Any]) -> dict[str, str]:
    component = ResolvedComponent(name=name, type=ResolvedComponent.SCHEMA, object=name, schema=schema)
    auto_schema.registry.register_on_missing(component)
    reference: dict[str, str] = component.ref
    return reference


def limited_number(field: FiniteFloatField) -> dict[str, Any]:
    """The number itself, with the limits of the field."""
    low = "exclusiveMinimum" if field.exclusive_min else "minimum"
    return {"type": "number", low: field.min_value, "maximum": field.max_value}


def quantity_schema(field: QuantityField, names: dict[str, str]) -> dict[str, Any]:
    """A value with its unit: the closed list of the field's dimension."""
    return {
        "type": "object",
        "description": f"A value with its unit, converted to {field.names[0]} when it arrives.",
        "required": ["value", "unit"],
        "additionalProperties": False,
        "properties": {
            "value": {"type": "number"},
            "unit": names,
        },
    }
