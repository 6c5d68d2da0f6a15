"""JSON bodies, read strictly: what two readers could understand differently is refused instead of guessed.

Refused: bodies over the size limit, other charsets than UTF-8, a byte order mark, duplicate keys, NaN and
Infinity, numbers no float can hold, nesting deeper than 16, U+0000, lone surrogates, and anything but an
object at the top (an array where the view sets `accepts_list = True`).
"""

import json
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import IO, Any, NoReturn

from django.conf import settings
from django.utils.http import parse_header_parameters
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.parsers import BaseParser

from fleet.errors import FieldError, InvalidInput, WarmgateError
from fleet.http.pointers import MAX_REPORTED, join

MAX_DEPTH = 16
UTF8_BOM = b"\xef\xbb\xbf"

# Decoded UTF-8 holds no surrogates and JSON no raw control characters: both can only come from escapes, so
# a text without these escapes needs no look at its strings.
_HOSTILE_ESCAPE = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")


class MalformedBody(WarmgateError):
    """The body is not a JSON document this service reads."""

    code = "malformed-body"


class TooLarge(WarmgateError):
    """The body is longer than the service reads."""

    code = "too-large"


class StrictJSONParser(BaseParser):
    """The default parser of every view."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        require_utf8(media_type or self.media_type)
        context = parser_context or {}
        document = read_json(read_limited(stream, context.get("request")))
        if isinstance(document, dict) or (
            isinstance(document, list) and getattr(context.get("view"), "accepts_list", False)
        ):
            return document
        raise InvalidInput.at("", "not-an-object", "The body must be a JSON object.")


def require_utf8(media_type: str) -> None:
    """Refuse a Content-Type that names another charset than UTF-8 (RFC 8259 section 8.1)."""
    _, parameters = parse_header_parameters(media_type)
    charset = parameters.get("charset", "utf-8")
    if str(charset).strip("\"'").lower() not in {"utf-8", "utf8"}:
        raise UnsupportedMediaType(media_type, "JSON is read as UTF-8 only.")


def read_limited(stream: IO[bytes], request: Any = None) -> bytes:
    """The whole body, or TooLarge without having read more than the limit."""
    limit: int = settings.MAX_BODY_BYTES
    declared = str(request.META.get("CONTENT_LENGTH") or "0") if request is not None else "0"
    if declared.isdecimal() and int(declared) > limit:
        _refuse_length(limit)
    body = stream.read(limit + 1)
    if len(body) > limit:
        _refuse_length(limit)
    return body


def _refuse_length(limit: int) -> NoReturn:
    raise TooLarge(f"The body may have {limit} bytes at most.", limit_bytes=limit)


def read_json(body: bytes) -> Any:
    """Decode `body`; MalformedBody where it is not JSON, InvalidInput where a value in it is refused."""
    if body.startswith(UTF8_BOM):
        raise MalformedBody("The body starts with a byte order mark; send plain UTF-8.")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise MalformedBody(f"The body is not UTF-8: byte {error.start} cannot be read.") from error
    try:
        document = json.loads(text, object_pairs_hook=_object_without_twins, parse_constant=_refuse_constant)
    except RecursionError as error:
        raise MalformedBody(f"The body is nested deeper than {MAX_DEPTH}.") from error
    except json.JSONDecodeError as error:
        raise MalformedBody(f"Line {error.lineno}, column {error.colno}: {error.msg}.") from error
    except ValueError as error:  # an integer with thousands of digits
        raise MalformedBody("A number in the body is too long.") from error
    if _HOSTILE_ESCAPE.search(text) or not _is_plain(document):
        refuse_hostile_values(document)
    return document


def _object_without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        twin, _ = Counter(name for name, _ in pairs).most_common(1)[0]
        raise MalformedBody(f"The member {twin[:80]!a} occurs twice in one object.")
    return result


def _refuse_constant(name: str) -> NoReturn:
    raise MalformedBody(f"{name} is not JSON (RFC 8259 section 6).")


def _is_plain(document: Any) -> bool:
    """Whether the document is shallow and its numbers are finite: the quick look that nearly every body
    passes."""
    level, depth = [document], 0
    while level:
        depth += 1
        below: list[Any] = []
        for value in level:
            if isinstance(value, float):
                if not math.isfinite(value):
                    return False
            elif isinstance(value, dict):
                below.extend(value.values())
            elif isinstance(value, list):
                below.extend(value)
        # Scalars of the deepest container make one level more than there are containers.
        if depth > MAX_DEPTH and any(isinstance(value, dict | list) for value in level):
            return False
        level = below
    return True


def refuse_hostile_values(document: Any) -> None:
    """Raise InvalidInput for values that JSON can spell and nothing behind it can hold, MalformedBody for
    depth."""
    errors: list[FieldError] = []
    for error in _hostile(document, "", 1):
        errors.append(error)
        if len(errors) == MAX_REPORTED:
            break
    if errors:
        raise InvalidInput(errors=errors)


def _hostile(value: Any, pointer: str, depth: int) -> Iterator[FieldError]:
    if isinstance(value, str):
        if fault := text_fault(value):
            yield FieldError(pointer, *fault)
    elif isinstance(value, float):
        if not math.isfinite(value):
            yield FieldError(pointer, "not-finite", "The number is too large.")
    elif isinstance(value, dict | list):
        if depth > MAX_DEPTH:
            raise MalformedBody(f"The body is nested deeper than {MAX_DEPTH}.")
        if isinstance(value, dict):
            for name, member in value.items():
                if fault := text_fault(name):
                    yield FieldError(pointer, fault[0], f"A member name: {fault[1]}")
                else:
                    yield from _hostile(member, join(pointer, name), depth + 1)
        else:
            for index, item in enumerate(value):
                yield from _hostile(item, join(pointer, index), depth + 1)


def text_fault(text: str) -> tuple[str, str] | None:
    """The code and sentence for a string no database or log can hold, or None."""
    if "\x00" in text:
        return "null-character", "U+0000 is not allowed in text."
    # isascii is a flag on the string object, so ordinary text pays nothing for this test.
    if not text.isascii() and any("\ud800" <= character <= "\udfff" for character in text):
        return "lone-surrogate", "Half of a surrogate pair is not a character."
    return None
