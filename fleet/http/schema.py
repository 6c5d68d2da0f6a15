"""The OpenAPI 3.1 document: what drf-spectacular cannot see is read from what our views declare.

Every operation names its problems, its preconditions and its idempotency header. Apps add the webhooks they
send to `WEBHOOKS` in their `AppConfig.ready()`.
"""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema as SpectacularSchema
from drf_spectacular.plumbing import ResolvedComponent, process_webhooks
from drf_spectacular.settings import spectacular_settings
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiWebhook
from rest_framework import serializers
from rest_framework.serializers import ListSerializer

from fleet.http import schema_fields as _registers_the_fields  # noqa: F401
from fleet.http.etag import etag_of
from fleet.http.idempotency import HEADER as IDEMPOTENCY_KEY
from fleet.http.problem_types import PROBLEMS
from fleet.http.serializers import StrictSerializer
from fleet.http.views import CommandView, for_method

WEBHOOKS: list[OpenApiWebhook] = []

_CHANGES = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class BearerScheme(OpenApiAuthenticationExtension):
    """How to authenticate."""

    target_class = "fleet.http.auth.TokenAuthentication"
    name = "bearer"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A token of a member. It names the fleet."}


class AutoSchema(SpectacularSchema):
    """Reads `problems`, `if_match`, `gives_etag`, `query_parameters`, `tag` and `@idempotent` off the
    views."""

    def get_tags(self) -> list[str]:
        tag = getattr(self.view, "tag", None)
        return [tag or type(self.view).__module__.split(".")[0]]

    def _insert_min_max(self, field: Any, content: Any) -> None:
        """The limits of plain integers of answers are the database's and differ between engines: they are left out."""
        if type(field) is not serializers.IntegerField:
            super()._insert_min_max(field, content)

    def _insert_field_validators(self, field: Any, schema: Any) -> None:
        super()._insert_field_validators(field, schema)
        if type(field) is serializers.IntegerField:
            schema.pop("maximum", None)
            if schema.get("minimum", 0) < 0:
                del schema["minimum"]

    def get_operation_id(self) -> str:
        """A name that views may fix: generated clients call their functions by it."""
        named: dict[str, str] = getattr(self.view, "operation_ids", {})
        return named.get(self.method) or super().get_operation_id()

    def get_request_serializer(self) -> Any:
        if isinstance(self.view, CommandView):
            return for_method(self.view.input_serializer, self.method)
        return super().get_request_serializer()

    def get_response_serializers(self) -> Any:
        if isinstance(self.view, CommandView) and getattr(self.view, "action", None) != "list":
            status = self.view.success_status.get(self.method, 200)
            return {status: for_method(self.view.output_serializer, self.method)}
        return super().get_response_serializers()

    def get_override_parameters(self) -> list[Any]:
        return [
            *super().get_override_parameters(),
            *self._query(),
            *self._request_headers(),
            *self._answer_headers(),
        ]

    def _query(self) -> list[OpenApiParameter]:
        if self.method != "GET":
            return []
        return [
            OpenApiParameter(name, _not_blank(declared["schema"]), description=declared.get("description", ""))
            for name, declared in getattr(self.view, "query_parameters", {}).items()
        ]

    def _request_headers(self) -> list[OpenApiParameter]:
        found: list[OpenApiParameter] = []
        if self.method in getattr(self.view, "if_match", ()):
            text = f"The ETag of the object as you read it, such as {etag_of(7)}. Stale: 412. Missing: 428."
            found.append(_header("If-Match", text, required=True))
        if self._gives_etag() and self.method == "GET":
            found.append(_header("If-None-Match", "Answer 304 if the ETag is still this one."))
        if self._is_idempotent():
            text = "1 to 255 visible ASCII characters. The same key with the same body replays the first answer."
            found.append(_header(IDEMPOTENCY_KEY, text, pattern=r"^[!-~]{1,255}$"))
        return found

    def _answer_headers(self) -> list[OpenApiParameter]:
        found: list[OpenApiParameter] = []
        if self._gives_etag():
            found.append(_header("ETag", "The revision of the object.", response=[200, 201]))
        if self._is_idempotent():
            text = "`true` where this is the remembered answer of an earlier call."
            found.append(_header("Idempotency-Replayed", text, response=[200, 201]))
        return found

    def _gives_etag(self) -> bool:
        return bool(getattr(self.view, "gives_etag", False)) and not self._is_list_view()

    def _is_idempotent(self) -> bool:
        handler = getattr(self.view, "action", None) or self.method.lower()
        return bool(getattr(getattr(self.view, handler, None), "idempotent", False))

    def _get_request_body(self, direction: Any = "request") -> Any:
        body = super()._get_request_body(direction)
        serializer = self.get_request_serializer() if body else None
        example = getattr(serializer, "example", None) or getattr(self.view, "body_example", None)
        if body and example is not None:
            for kind, content in body["content"].items():
                if "json" in kind:
                    content["example"] = example
        return body

    def _get_response_bodies(self, direction: Any = "response") -> Any:
        responses = super()._get_response_bodies(direction)
        if getattr(self.view, "roles", None) is None:  # a public page, or the mocked view of a webhook
            return responses
        if self._gives_etag() and self.method == "GET":
            responses["304"] = {"description": "The ETag of If-None-Match is still the newest."}
        by_status: dict[int, list[str]] = {}
        for code in self._problem_codes():
            by_status.setdefault(PROBLEMS[code].status, []).append(code)
        component = self._problem_component()
        for status, codes in sorted(by_status.items()):
            responses[str(status)] = _problem_response("; ".join(_named(code) for code in codes), component)
        responses["429"]["headers"] = _QUOTA_HEADERS
        responses["default"] = _problem_response("Any other refusal or failure", component)
        return responses

    def _problem_codes(self) -> list[str]:
        """The codes this operation can answer with, the usual ones derived from what the view declares."""
        codes = ["invalid-input", "not-acceptable", "rate-limited"]
        if not getattr(self.view, "public", False):
            codes += ["not-authenticated", "not-allowed"]
        if "{" in self.path:
            codes.append("not-found")
        if self.method in _CHANGES:
            codes += ["malformed-body", "too-large", "unsupported-media-type"]
        if self.method in _CHANGES or not hasattr(self.view, "action"):  # not the lists and details of a resource
            codes += getattr(self.view, "problems", ())
        if self.method in getattr(self.view, "if_match", ()):
            codes += ["stale-revision", "precondition-required"]
        if self._is_idempotent():
            codes.append("idempotency-key-reused")
        return list(dict.fromkeys(codes))

    def _problem_component(self) -> dict[str, str]:
        component = ResolvedComponent(
            name="Problem", type=ResolvedComponent.SCHEMA, object="problem", schema=_PROBLEM_SCHEMA
        )
        self.registry.register_on_missing(component)
        return component.ref

    def _map_serializer_field(self, field: Any, direction: Any, bypass_extensions: bool = False) -> Any:
        schema = super()._map_serializer_field(field, direction, bypass_extensions)
        if isinstance(field, ListSerializer) and direction == "request":
            for attribute, keyword in (("min_length", "minItems"), ("max_length", "maxItems")):
                if (limit := getattr(field, attribute)) is not None:
                    schema[keyword] = limit
        return schema

    def _map_basic_serializer(self, serializer: Any, direction: Any) -> Any:
        schema = super()._map_basic_serializer(serializer, direction)
        if direction == "request" and isinstance(serializer, StrictSerializer):
            schema["additionalProperties"] = False
        return schema


def _not_blank(schema: Mapping[str, Any]) -> dict[str, Any]:
    """A parameter's schema; an empty text is refused by every view, so the document says so."""
    return {"minLength": 1, **schema} if schema.get("type") == "string" else dict(schema)


def _header(name: str, description: str, **more: Any) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.STR, OpenApiParameter.HEADER, description=description, **more)


def _named(code: str) -> str:
    return f"{PROBLEMS[code].title} ([{code}]({PROBLEMS[code].uri}))"


def _problem_response(description: str, schema: dict[str, str]) -> dict[str, Any]:
    return {"description": description, "content": {"application/problem+json": {"schema": schema}}}


_QUOTA_HEADERS: dict[str, Any] = {
    "Retry-After": {"description": "Seconds to wait.", "schema": {"type": "integer", "minimum": 1}},
    "RateLimit": {
        "description": "What is left of the quota and seconds until it is whole again. In every answer to a token.",
        "schema": {"type": "string"},
        "example": '"calls";r=2998;t=1',
    },
    "RateLimit-Policy": {
        "description": "The quota and its window in seconds. In every answer to a token.",
        "schema": {"type": "string"},
        "example": '"calls";q=3000;w=60',
    },
}

_PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "description": "RFC 9457 problem details. Some types carry more members; their pages say which.",
    "required": ["type", "title", "status", "detail", "instance", "request_id"],
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "The page of this kind of problem.",
        },
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
        "request_id": {"type": ["string", "null"]},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "in", "code", "detail"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "JSON Pointer (RFC 6901) to the refused value.",
                    },
                    "in": {"type": "string", "enum": ["body", "query", "header"]},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}


def add_webhooks(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Post-processing hook: the `webhooks` section from what the apps registered, in order of their names."""
    registered = sorted(WEBHOOKS, key=lambda webhook: str(webhook.name))
    if registered:
        result["webhooks"] = process_webhooks(registered, generator.registry)
        result["components"] = generator.registry.build(spectacular_settings.APPEND_COMPONENTS)
    return result
