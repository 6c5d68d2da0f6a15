"""ETags, If-Match, cursors, ids and tokens: everything that arrives outside the body."""

import base64
import json

import pytest
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from fleet.errors import InvalidInput, MissingPrecondition, StaleRevision
from fleet.http.auth import allowed_roles
from fleet.http.etag import etag_of, not_modified, require_match, revision_answer
from fleet.http.pagination import Cursor
from fleet.http.parsers import require_utf8
from fleet.http.query import refuse_unknown_parameters
from fleet.models.members import Role


def request(method="get", path="/", **headers):
    return Request(getattr(APIRequestFactory(), method)(path, headers=headers))


@pytest.mark.parametrize("header", ['"7"', '"6", "7"', ' "7" ', '"7","8"', "*", 'W/"7", "7"'])
def test_if_match_passes_when_it_names_the_revision(header):
    require_match(request("patch", if_match=header), 7)


@pytest.mark.parametrize("header", ['"6"', 'W/"7"', '""', '"07"'])
def test_if_match_is_stale_when_it_names_another_or_a_weak_tag(header):
    with pytest.raises(StaleRevision) as refusal:
        require_match(request("patch", if_match=header), 7)
    assert refusal.value.context == {"current": '"7"'}


def test_a_change_without_if_match_is_missing_its_precondition():
    with pytest.raises(MissingPrecondition):
        require_match(request("patch"), 7)


@pytest.mark.parametrize("header", ["7", '"7', "'7'", '"7" "8"', '"7";', '"a"b"', '"7 "', ","])
def test_what_is_not_a_list_of_tags_is_refused_and_named(header):
    with pytest.raises(InvalidInput) as refusal:
        require_match(request("patch", if_match=header), 7)
    assert [(error.pointer, error.where) for error in refusal.value.errors] == [("/If-Match", "header")]


@pytest.mark.parametrize("header", ['"7"', 'W/"7"', "*", '"6", "7"'])
def test_a_read_of_the_same_revision_is_not_modified(header):
    answer = revision_answer(request(if_none_match=header), {"a": 1}, 7)
    assert (answer.status_code, answer.data, answer["ETag"]) == (304, None, '"7"')


def test_a_read_of_another_revision_is_answered_with_its_tag():
    answer = revision_answer(request(if_none_match='"6"'), {"a": 1}, 7)
    assert (answer.status_code, answer.data, answer["ETag"]) == (200, {"a": 1}, etag_of(7))
    assert not_modified(request(), 7) is None


@pytest.mark.parametrize("values", [(1,), (2**63 - 1, "2027-01-12T05:40:00+00:00"), ("é",)])
def test_a_cursor_reads_back_what_it_wrote(values):
    cursor = Cursor("onward", "newest", values)
    assert Cursor.decode(cursor.encode()) == cursor
    assert cursor.encode().isascii()


def _encoded(document):
    return base64.urlsafe_b64encode(json.dumps(document).encode()).decode()


@pytest.mark.parametrize(
    "text",
    [
        "x",
        "é",
        "!!!!",
        "AAAA",
        _encoded(5),
        _encoded({}),
        _encoded(["onward", "newest"]),
        _encoded(["sideways", "newest", [1]]),
        _encoded(["onward", "best", [1]]),
        _encoded(["onward", "newest", 1]),
        _encoded(["onward", "newest", [True]]),
        _encoded(["onward", "newest", [1.5]]),
        _encoded(["onward", "newest", [None]]),
        _encoded(["onward", "newest", [2**63]]),
        _encoded(["onward", "newest", [[1]]]),
        base64.urlsafe_b64encode(b"[" * 50_000).decode(),
    ],
)
def test_a_made_up_cursor_is_a_value_error_and_nothing_worse(text):
    with pytest.raises(ValueError, match=r"^not a cursor$"):
        Cursor.decode(text)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("?colour=red", "unknown-parameter"),
        ("?unit=a&unit=b", "repeated"),
        ("?unit=", "blank"),
        ("?unit=%00", "null-character"),
        ("?Unit=a", "unknown-parameter"),
        ("?unit[]=a", "unknown-parameter"),
    ],
)
def test_a_query_parameter_nobody_reads_is_refused_and_pointed_at(query, code):
    with pytest.raises(InvalidInput) as refusal:
        refuse_unknown_parameters(request(path=f"/{query}"), {"unit"})
    (error,) = refusal.value.errors
    assert (error.code, error.where) == (code, "query")


@pytest.mark.parametrize("media_type", ["application/json", "application/json; charset=UTF-8"])
def test_utf_8_is_the_charset_of_json(media_type):
    require_utf8(media_type)


@pytest.mark.parametrize("charset", ["utf-16", "latin-1", "utf-7", "cp037", ""])
def test_another_charset_is_unsupported(charset):
    with pytest.raises(UnsupportedMediaType):
        require_utf8(f"application/json; charset={charset}")


def test_a_view_names_its_roles_per_method():
    roles = {"GET": "any", "POST": {Role.DISPATCHER}}
    assert allowed_roles(roles, "HEAD") == "any"
    assert allowed_roles(roles, "POST") == {"dispatcher"}
    assert allowed_roles(roles, "DELETE") is None
    assert allowed_roles(roles, "OPTIONS") == "any"
    assert allowed_roles("any", "DELETE") == "any"
