"""The one family of errors that services raise and that the HTTP layer answers as problems.

Each app subclasses `WarmgateError` beside the function that raises it, with a class-level `code`. The table
`fleet.http.problems.PROBLEMS` maps every code to a status and a title; nothing else knows about HTTP.
"""

import errno
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

Place = Literal["body", "query", "header"]

# What the operating system calls a full disk, a spent quota and a file at its limit.
FULL_ERRNO = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
# What PostgreSQL calls it (disk_full).
FULL_SQLSTATE = "53100"

# Members that RFC 9457 and our contract give a meaning: an error's context must not overwrite them.
RESERVED_MEMBERS = frozenset({"type", "title", "status", "detail", "instance", "request_id", "errors"})


@dataclass(frozen=True, slots=True)
class FieldError:
    """One refused value: an RFC 6901 JSON Pointer into the part of the request named by `where`."""

    pointer: str
    code: str
    detail: str
    where: Place = "body"


class WarmgateError(Exception):
    """A refusal with a stable code, a sentence for a person and facts for a machine.

    `context` becomes extra members of the problem document (`findings`, `holds`, `legal` …). A number given
    as `retry_after_s` is also sent as the Retry-After header.
    """

    code: ClassVar[str] = "internal"
    default_detail: ClassVar[str] = ""

    def __init__(self, detail: str = "", *, errors: Sequence[FieldError] = (), **context: Any) -> None:
        clash = RESERVED_MEMBERS & context.keys()
        if clash:
            raise ValueError(f"context may not overwrite the problem members {sorted(clash)}")
        self.detail = detail or self.default_detail
        self.errors = tuple(errors)
        self.context = context
        super().__init__(self.detail or self.code)


class InvalidInput(WarmgateError):
    """The request was understood as a document, and at least one value in it is refused."""

    code = "invalid-input"
    default_detail = "The request was refused. Each entry of errors points at one value."

    @classmethod
    def at(cls, pointer: str, code: str, detail: str, *, where: Place = "body") -> "InvalidInput":
        """The common case: one value is wrong."""
        return cls(detail, errors=[FieldError(pointer, code, detail, where)])


class NotFound(WarmgateError):
    """No such object in the caller's fleet (another fleet's object looks exactly the same)."""

    code = "not-found"
    default_detail = "There is no such object in your fleet."


class Forbidden(WarmgateError):
    """The caller is known, and the caller's role may not do this."""

    code = "not-allowed"
    default_detail = "Your role may not do this."


class Conflict(WarmgateError):
    """The request is sound, and the present state of the object does not permit it."""

    code = "conflict"
    default_detail = "The present state of the object does not permit this."


class StaleRevision(WarmgateError):
    """If-Match names a revision that is no longer the newest."""

    code = "stale-revision"
    default_detail = "The object has changed since you read it. Read it again, then repeat the change."


class MissingPrecondition(WarmgateError):
    """A change that needs If-Match came without it."""

    code = "precondition-required"
    default_detail = "Send If-Match with the ETag of the object you are changing."


class StorageFull(WarmgateError):
    """There is no room left to store something; nothing of it was."""

    code = "storage-full"
    default_detail = "There is no room left to store this. Nothing was stored. Repeat the request when there is."


def is_storage_full(error: Exception) -> bool:
    """Whether a disk (of the database or of ours), a quota or a file limit is what stopped the work."""
    if isinstance(error, OSError):
        return error.errno in FULL_ERRNO
    cause = error.__cause__
    full_sqlite = isinstance(cause, sqlite3.Error) and getattr(cause, "sqlite_errorcode", 0) == sqlite3.SQLITE_FULL
    return full_sqlite or getattr(cause, "sqlstate", None) == FULL_SQLSTATE


class Unavailable(WarmgateError):
    """Something this service stands on does not answer; the same request may succeed later."""

    code = "unavailable"
    default_detail = "The service cannot answer at this moment. Repeat the request later."
