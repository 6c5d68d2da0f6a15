"""Turns the nested error dictionaries of Django REST Framework into flat entries with JSON Pointers (RFC
6901)."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rest_framework.exceptions import ErrorDetail
from rest_framework.settings import api_settings

from fleet.errors import FieldError, Place

MAX_REPORTED = 100
"""A body with ten thousand wrong items is told about the first hundred."""


def escape(token: object) -> str:
    """One reference token of a pointer: `~` and `/` are written as `~0` and `~1` (RFC 6901 section 3)."""
    return str(token).replace("~", "~0").replace("/", "~1")


def join(pointer: str, *tokens: object) -> str:
    """`pointer` extended by member names or array indices."""
    return pointer + "".join(f"/{escape(token)}" for token in tokens)


def field_errors(detail: Any, *, where: Place = "body") -> list[FieldError]:
    """Every message in a ValidationError's `detail`, in order, at most `MAX_REPORTED` of them."""
    found: list[FieldError] = []
    for error in _walk(detail, "", where):
        found.append(error)
        if len(found) == MAX_REPORTED:
            break
    return found


def _walk(detail: Any, pointer: str, where: Place) -> Iterator[FieldError]:
    if isinstance(detail, Mapping):
        for key, value in detail.items():
            at = pointer if key == api_settings.NON_FIELD_ERRORS_KEY else join(pointer, key)
            yield from _walk(value, at, where)
    elif isinstance(detail, Sequence) and not isinstance(detail, str):
        for index, value in enumerate(detail):
            # A list of messages belongs to one place; a list of structures has one entry per array item.
            at = pointer if isinstance(value, str) else join(pointer, index)
            yield from _walk(value, at, where)
    else:
        code = getattr(detail, "code", None) if isinstance(detail, ErrorDetail) else None
        yield FieldError(pointer, str(code or "invalid").replace("_", "-"), str(detail), where)
