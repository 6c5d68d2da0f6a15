"""ETags from revisions, and the preconditions of RFC 9110 section 13 on them.

The tag is the row's `revision` in quotes, a strong tag. `If-Match: *` is accepted and means "whatever is
there now": a caller who writes it has said so. Weak tags never match (RFC 9110 section 13.1.1 asks for the
strong comparison), so `W/"7"` is answered as stale.

`require_match` compares with the row as it was read. The service that writes must still hold the row's lock
or update `WHERE revision = …`, otherwise two callers with the same tag both pass.
"""

import re
from typing import Any

from django.http import HttpResponseBase
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.errors import InvalidInput, MissingPrecondition, StaleRevision

_TAG = re.compile(r'\s*(W/)?("[\x21\x23-\x7e\x80-\xff]*")\s*')


def etag_of(revision: int) -> str:
    """The strong entity tag of a revision."""
    return f'"{revision}"'


def set_etag(response: HttpResponseBase, revision: int) -> None:
    """Put the tag of `revision` on an answer."""
    response["ETag"] = etag_of(revision)


def require_match(request: Request, revision: int) -> None:
    """Pass if If-Match covers `revision`; MissingPrecondition (428) without it, StaleRevision (412)
    otherwise."""
    header = request.headers.get("If-Match")
    if header is None:
        raise MissingPrecondition
    if header.strip() == "*":
        return
    if (False, etag_of(revision)) not in _tags(header, "If-Match"):
        raise StaleRevision(current=etag_of(revision))


def expected_revision(request: Request, revision: int) -> int | None:
    """The revision the caller read, checked now and once more under the lock. None when it wrote `*`."""
    require_match(request, revision)
    return None if request.headers["If-Match"].strip() == "*" else revision


def not_modified(request: Request, revision: int) -> Response | None:
    """A 304 if If-None-Match covers `revision` (weak comparison), None if the caller needs the whole
    answer."""
    header = request.headers.get("If-None-Match")
    if header is None:
        return None
    tag = etag_of(revision)
    if header.strip() != "*" and tag not in {opaque for _, opaque in _tags(header, "If-None-Match")}:
        return None
    response = Response(status=304)
    set_etag(response, revision)
    return response


def revision_answer(request: Request, data: Any, revision: int, *, status: int = 200) -> Response:
    """`data` with its tag, or the 304 that a GET asked for."""
    if request.method in {"GET", "HEAD"} and (unchanged := not_modified(request, revision)) is not None:
        return unchanged
    response = Response(data, status=status)
    set_etag(response, revision)
    return response


def _tags(header: str, name: str) -> list[tuple[bool, str]]:
    """Every (weak, opaque) tag of a list header; InvalidInput where the header is not such a list."""
    tags: list[tuple[bool, str]] = []
    position = 0
    while position < len(header):
        match = _TAG.match(header, position)
        if match is None or (match.end() < len(header) and header[match.end()] != ","):
            raise InvalidInput.at(f"/{name}", "not-an-etag", f'{name} takes tags such as "7".', where="header")
        tags.append((match.group(1) is not None, match.group(2)))
        position = match.end() + 1
    return tags
