"""From what a view raises to the document a caller reads."""

import inspect
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.db import OperationalError
from django.http import Http404
from rest_framework import exceptions as drf

from fleet import errors
from fleet.errors import FieldError, InvalidInput, WarmgateError
from fleet.http.pointers import field_errors, join
from fleet.http.problems import PROBLEMS, describe, problem_body

PAGES = Path(__file__).resolve().parents[2] / "docs" / "problems"


class Blocked(WarmgateError):
    code = "dispatch-blocked"


class Unlisted(WarmgateError):
    code = "no-such-row"


@pytest.mark.parametrize(
    ("raised", "code", "status"),
    [
        (Blocked("no"), "dispatch-blocked", 409),
        (InvalidInput(), "invalid-input", 400),
        (errors.NotFound(), "not-found", 404),
        (errors.Forbidden(), "not-allowed", 403),
        (errors.Conflict(), "conflict", 409),
        (errors.StaleRevision(), "stale-revision", 412),
        (errors.MissingPrecondition(), "precondition-required", 428),
        (errors.Unavailable(), "unavailable", 503),
        (drf.ValidationError("no"), "invalid-input", 400),
        (drf.ParseError(), "malformed-body", 400),
        (drf.NotAuthenticated(), "not-authenticated", 401),
        (drf.AuthenticationFailed("token of alice"), "not-authenticated", 401),
        (drf.PermissionDenied(), "not-allowed", 403),
        (PermissionDenied(), "not-allowed", 403),
        (Http404("Trip matching query"), "not-found", 404),
        (drf.NotFound(), "not-found", 404),
        (drf.MethodNotAllowed("PUT"), "method-not-allowed", 405),
        (drf.NotAcceptable(), "not-acceptable", 406),
        (drf.UnsupportedMediaType("text/plain"), "unsupported-media-type", 415),
        (drf.Throttled(wait=3), "rate-limited", 429),
        (SuspiciousOperation("path"), "bad-request", 400),
        (OperationalError("host db.internal"), "unavailable", 503),
        (ZeroDivisionError("secret"), "internal", 500),
        (Unlisted("secret"), "internal", 500),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else str(value),
)
def test_everything_that_can_be_raised_has_one_code_and_status(raised, code, status):
    found, detail, _, _ = describe(raised)
    assert (found, PROBLEMS[found].status) == (code, status)
    for secret in ("secret", "db.internal", "alice", "matching query"):
        assert secret not in detail


def test_a_problem_has_the_members_of_rfc_9457_and_the_errors_context():
    body = problem_body(
        "invalid-transition",
        "The trip is delivered.",
        instance="/api/v1/trips/T-1/depart/",
        errors=[FieldError("/state", "delivered", "It is over.")],
        context={"legal": []},
    )
    assert body == {
        "type": "/docs/problems/invalid-transition/",
        "title": "The trip cannot take this step now",
        "status": 409,
        "detail": "The trip is delivered.",
        "instance": "/api/v1/trips/T-1/depart/",
        "request_id": None,
        "errors": [{"pointer": "/state", "in": "body", "code": "delivered", "detail": "It is over."}],
        "legal": [],
    }


def test_an_errors_context_may_not_overwrite_the_members_of_a_problem():
    with pytest.raises(ValueError, match="status"):
        Blocked("no", status=200)


def test_nested_validation_errors_become_pointers_in_order():
    detail = drf.ValidationError(
        {
            "load": {"mass_kg": ["Too heavy."], "non_field_errors": ["Inconsistent."]},
            "stops": [{}, {"arrive_at": [drf.ErrorDetail("Too early.", code="too_early")]}],
            "ambient": {3: ["Gap."]},
            "a/b": ["x"],
        }
    ).detail
    assert [(error.pointer, error.code) for error in field_errors(detail)] == [
        ("/load/mass_kg", "invalid"),
        ("/load", "invalid"),
        ("/stops/1/arrive_at", "too-early"),
        ("/ambient/3", "invalid"),
        ("/a~1b", "invalid"),
    ]


def test_ten_thousand_wrong_items_are_told_about_a_hundred():
    detail = drf.ValidationError({"events": [{"id": ["Missing."]} for _ in range(10_000)]}).detail
    assert len(field_errors(detail)) == 100


# RFC 6901 section 5 lists these member names with their pointers.
@pytest.mark.parametrize(
    ("name", "pointer"), [("foo", "/foo"), ("", "/"), ("a/b", "/a~1b"), ("m~n", "/m~0n"), ("c%d", "/c%d")]
)
def test_pointers_are_escaped_as_rfc_6901_shows(name, pointer):
    assert join("", name) == pointer


def _error_classes():
    for package in ("fleet", "inspections", "alarms", "thermal"):
        for module in walk_packages(import_module(package).__path__, f"{package}."):
            if not {"migrations", "management", "wsgi"} & set(module.name.split(".")):
                import_module(module.name)
    pending = [WarmgateError]
    while pending:
        kind = pending.pop()
        pending += kind.__subclasses__()
        if kind.__module__.split(".")[0] != "tests" and kind is not WarmgateError:
            yield kind


def test_every_error_class_of_the_service_has_a_row_in_the_table():
    classes = list(_error_classes())
    assert len(classes) > 8
    missing = {f"{kind.__module__}.{kind.__name__}: {kind.code}" for kind in classes if kind.code not in PROBLEMS}
    assert missing == set()


def test_every_row_has_a_page_that_names_its_title_and_status_and_no_page_is_orphaned():
    assert {page.stem for page in PAGES.glob("*.md")} == {kind.slug for kind in PROBLEMS.values()}
    index = (PAGES.parent / "problems.md").read_text(encoding="utf-8")
    for code, kind in PROBLEMS.items():
        text = (PAGES / f"{kind.slug}.md").read_text(encoding="utf-8")
        assert text.startswith(f"# {kind.title}\n\n`{kind.uri}` · status {kind.status}\n"), code
        assert "## What to do" in text, code
        assert f"| [{code}](problems/{kind.slug}.md) | {kind.status} | {kind.title} |" in index


def test_errors_are_raised_with_a_sentence_or_have_one():
    for kind in vars(errors).values():
        if inspect.isclass(kind) and issubclass(kind, WarmgateError) and kind is not WarmgateError:
            assert kind().detail.endswith(".")
