"""Every status a caller can meet is a problem document, and none of them says more than it should."""

import json
import logging

import pytest
from django.test import override_settings
from django.utils import timezone
from django.utils.encoding import escape_uri_path
from knox.models import get_token_model
from rest_framework.test import APIClient

from fleet.http.problems import PROBLEMS
from fleet.models import Fleet, Member, Role

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.api.http_routes")]


@pytest.fixture
def carrier():
    return Fleet.objects.create(name="Vinterby Carriers", slug="vinterby", owner_email="owner@example.invalid")


@pytest.fixture
def dispatcher(carrier):
    return Member.objects.create(username="dispatcher", fleet=carrier, role=Role.DISPATCHER)


@pytest.fixture
def token(dispatcher):
    return get_token_model().objects.create(user=dispatcher)


@pytest.fixture
def api(token):
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token[1]}")
    return client


@pytest.fixture
def stranger():
    return APIClient(raise_request_exception=False)


def problem(answer, code):
    """Assert that `answer` is a whole problem of this code, and return its body."""
    assert answer["Content-Type"] == "application/problem+json"
    body = json.loads(answer.content)
    kind = PROBLEMS[code]
    assert (answer.status_code, body["status"]) == (kind.status, kind.status)
    assert (body["type"], body["title"]) == (f"/docs/problems/{kind.slug}/", kind.title)
    assert body["detail"]
    assert body["instance"] == escape_uri_path(answer.wsgi_request.path)
    assert body["request_id"] == answer["X-Request-ID"]
    text = answer.content.decode()
    assert "Traceback" not in text
    assert "hunter2" not in text
    return body


def test_an_unknown_route_is_a_404_problem_that_lists_no_routes(api, stranger):
    for client in (api, stranger):
        body = problem(client.get("/api/v1/nothing/"), "not-found")
        assert "echo" not in json.dumps(body)


def test_an_unknown_object_is_a_404_problem(api):
    problem(api.post("/trips/T-1/depart/"), "not-found")
    problem(api.get("/notes/123456/"), "not-found")
    problem(api.get(f"/notes/{2**80}/"), "not-found")
    problem(api.get("/notes/abc/"), "not-found")
    problem(api.post("/trips/T%00/depart/"), "not-found")
    problem(api.get("/notes/%00/"), "not-found")


def test_a_wrong_method_is_a_405_problem_with_allow(api, stranger):
    answer = api.delete("/echo/")
    problem(answer, "method-not-allowed")
    assert {"POST", "PUT"} <= set(answer["Allow"].split(", "))
    problem(api.post("/notes/", {}), "method-not-allowed")
    problem(api.patch("/echo/?unknown=1", {"unknown": 1}), "method-not-allowed")
    problem(api.generic("TRACE", "/versioned/?unknown=1"), "method-not-allowed")
    answer = stranger.post("/livez")
    problem(answer, "method-not-allowed")
    assert answer["Allow"] == "GET, HEAD"


def test_a_role_that_may_not_is_a_403_problem_that_names_who_may(api, dispatcher):
    Member.objects.filter(pk=dispatcher.pk).update(role=Role.INSPECTOR)
    body = problem(api.post("/notes/write/", {"text": "x"}), "not-allowed")
    assert "inspector" in body["detail"]
    assert "dispatcher" in body["detail"]


def bad_tokens(token, dispatcher):
    row, text = token
    yield "no header", {}
    yield "other scheme", {"HTTP_AUTHORIZATION": f"Token {text}"}
    yield "no token", {"HTTP_AUTHORIZATION": "Bearer"}
    yield "two tokens", {"HTTP_AUTHORIZATION": f"Bearer {text} {text}"}
    yield "unknown", {"HTTP_AUTHORIZATION": "Bearer " + "0" * 64}
    yield "right key, wrong rest", {"HTTP_AUTHORIZATION": f"Bearer {text[:-1]}x"}
    yield "not ASCII", {"HTTP_AUTHORIZATION": "Bearer é"}
    yield "with U+0000", {"HTTP_AUTHORIZATION": f"Bearer {text[:20]}\x00{text[21:]}"}
    yield "endless", {"HTTP_AUTHORIZATION": "Bearer " + "a" * 4000}
    good = {"HTTP_AUTHORIZATION": f"Bearer {text}"}
    Member.objects.filter(pk=dispatcher.pk).update(is_active=False)
    yield "inactive member", good
    Member.objects.filter(pk=dispatcher.pk).update(is_active=True, fleet=None)
    yield "no fleet", good
    Member.objects.filter(pk=dispatcher.pk).update(fleet=dispatcher.fleet)
    get_token_model().objects.filter(pk=row.pk).update(expiry=timezone.now())
    yield "expired", good
    row.delete()
    yield "revoked", good


def test_every_bad_token_is_the_same_401(token, dispatcher, stranger):
    seen = set()
    for name, headers in bad_tokens(token, dispatcher):
        answer = stranger.get("/versioned/", **headers)
        body = problem(answer, "not-authenticated")
        assert answer["WWW-Authenticate"] == 'Bearer realm="warmgate"', name
        seen.add((body["detail"], answer["WWW-Authenticate"]))
    assert len(seen) == 1


def test_an_expired_token_is_not_deleted_by_a_read(token, stranger):
    row, text = token
    get_token_model().objects.update(expiry=timezone.now())
    stranger.get("/versioned/", HTTP_AUTHORIZATION=f"Bearer {text}")
    assert get_token_model().objects.filter(pk=row.pk).exists()


def test_a_token_costs_one_statement(api, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert api.get("/versioned/").status_code == 200


def test_a_view_that_does_not_say_its_roles_fails_and_opens_for_nobody(api, stranger):
    problem(api.get("/roleless/"), "internal")
    problem(stranger.get("/roleless/"), "internal")


def test_a_public_view_still_knows_no_fleet_without_a_token(stranger, api, carrier):
    problem(stranger.get("/public/"), "not-authenticated")
    assert api.get("/public/").json() == {"fleet": carrier.pk}


@pytest.mark.parametrize("path", ["/failing/", "/crash/"])
@pytest.mark.parametrize("debug", [False, True])
def test_a_crash_is_a_500_problem_that_says_nothing_of_its_cause(api, path, debug):
    with override_settings(DEBUG=debug and path == "/failing/"):
        problem(api.get(path), "internal")


def test_a_database_that_is_away_is_a_503_problem_with_retry_after(api):
    answer = api.get("/failing/?how=database")
    assert "secret.internal" not in json.dumps(problem(answer, "unavailable"))
    assert int(answer["Retry-After"]) > 0


def test_a_host_we_do_not_serve_is_a_400_problem(api):
    with override_settings(ALLOWED_HOSTS=["testserver"]):
        problem(api.get("/notes/", HTTP_HOST="evil.example"), "bad-request")


@pytest.mark.parametrize(
    ("content_type", "code"),
    [
        ("", "unsupported-media-type"),
        ("text/plain", "unsupported-media-type"),
        ("application/x-www-form-urlencoded", "unsupported-media-type"),
        ("multipart/form-data; boundary=x", "unsupported-media-type"),
        ("application/xml", "unsupported-media-type"),
        ("application/json; charset=utf-16", "unsupported-media-type"),
        ("application/json; charset=utf-7", "unsupported-media-type"),
        ("application/jsonp", "unsupported-media-type"),
    ],
)
def test_another_media_type_is_a_415_problem(api, content_type, code):
    problem(api.generic("POST", "/echo/", b'{"text": "x"}', content_type=content_type), code)


@pytest.mark.parametrize("accept", ["text/html", "application/xml", "image/*"])
def test_an_answer_nobody_here_gives_is_a_406_problem(api, accept):
    problem(api.get("/versioned/", HTTP_ACCEPT=accept), "not-acceptable")


def test_a_body_over_a_mebibyte_is_a_413_problem(api):
    big = b'{"text": "' + b"x" * 1_048_576 + b'"}'
    body = problem(api.generic("POST", "/echo/", big, content_type="application/json"), "too-large")
    assert body["limit_bytes"] == 1_048_576
    fits = b'{"text": "x"' + b" " * 1_000_000 + b"}"
    assert api.generic("POST", "/echo/", fits, content_type="application/json").status_code == 200


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b"{", "malformed-body"),
        (b'{"text": "a", "text": "b"}', "malformed-body"),
        (b'{"text": NaN}', "malformed-body"),
        (b"[" * 1000, "malformed-body"),
        (b"[]", "invalid-input"),
        (b'"x"', "invalid-input"),
        (b"null", "invalid-input"),
        (b'{"text": "\\u0000"}', "invalid-input"),
        (b'{"text": "x", "air_c": 1e400}', "invalid-input"),
        (b"", "invalid-input"),
        (b"{}", "invalid-input"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_a_bad_body_is_a_400_problem(api, body, code):
    problem(api.generic("POST", "/echo/", body, content_type="application/json"), code)


def test_a_refused_value_is_pointed_at(api):
    body = problem(api.post("/echo/", {"text": 5, "air": 1, "air_c": -91}), "invalid-input")
    found = {(error["in"], error["pointer"], error["code"]) for error in body["errors"]}
    assert found == {
        ("body", "/text", "not-text"),
        ("body", "/air", "unknown-member"),
        ("body", "/air_c", "too-small"),
    }


def test_an_empty_form_is_an_empty_body_and_is_not_read_by_a_forms_rules(api):
    answer = api.generic("POST", "/echo/", b"", content_type="application/x-www-form-urlencoded")
    body = problem(answer, "invalid-input")
    assert [(error["pointer"], error["code"]) for error in body["errors"]] == [("/text", "required")]


def test_a_path_is_written_as_a_uri_in_the_problem(api):
    assert problem(api.get("/nowhere/é%20%00/"), "not-found")["instance"] == "/nowhere/%C3%A9%20%00/"


def test_a_command_without_input_takes_no_body(api):
    body = problem(api.post("/trips/T-1/depart/", {"force": True}), "invalid-input")
    assert [error["pointer"] for error in body["errors"]] == ["/force"]


def test_an_unknown_query_parameter_is_refused_after_the_token_is_known(api, stranger):
    body = problem(api.get("/versioned/?unti=HB-104"), "invalid-input")
    assert [(error["in"], error["pointer"]) for error in body["errors"]] == [("query", "/unti")]
    problem(stranger.get("/versioned/?unti=HB-104"), "not-authenticated")
    assert api.get("/versioned/?unit=HB-104").status_code == 200


def test_head_and_options_are_sane(api, stranger):
    head = api.head("/versioned/")
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", '"7"')
    options = api.options("/echo/")
    assert options.status_code == 200
    assert "POST" in options["Allow"]
    problem(stranger.options("/echo/"), "not-authenticated")


def test_preconditions_over_http(api):
    read = api.get("/versioned/")
    assert (read.status_code, read["ETag"]) == (200, '"7"')
    assert api.get("/versioned/", HTTP_IF_NONE_MATCH='"7"').status_code == 304
    problem(api.patch("/versioned/", {"text": "x"}), "precondition-required")
    stale = problem(api.patch("/versioned/", {"text": "x"}, HTTP_IF_MATCH='"6"'), "stale-revision")
    assert stale["current"] == '"7"'
    changed = api.patch("/versioned/", {"text": "x"}, HTTP_IF_MATCH='"7"')
    assert (changed.status_code, changed["ETag"]) == (200, '"8"')


def test_a_sane_request_id_is_kept_and_another_is_replaced(api):
    assert api.get("/versioned/", HTTP_X_REQUEST_ID="gw-42_a.b")["X-Request-ID"] == "gw-42_a.b"
    for bad in ("", "x" * 65, "a b", "a\tb", '{"a":1}', "é"):
        given = api.get("/versioned/", HTTP_X_REQUEST_ID=bad)["X-Request-ID"]
        assert given != bad
        assert len(given) == 32


def test_answers_carry_the_headers_that_protect_browsers(api, stranger):
    answer = api.get("/versioned/")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"
    assert answer["Cache-Control"] == "private, no-cache"
    assert api.post("/echo/", {"text": "x"})["Cache-Control"] == "no-store"
    page = stranger.get("/api/docs/")
    assert "script-src 'self';" in page["Content-Security-Policy"]


def test_each_request_is_one_log_line_with_its_numbers_and_no_secret(api, token, dispatcher, caplog):
    caplog.set_level(logging.INFO, logger="warmgate.requests")
    api.post("/echo/", {"text": "confidential"}, HTTP_X_REQUEST_ID="log-1")
    (record,) = [record for record in caplog.records if record.name == "warmgate.requests"]
    assert record.fields["route"] == "/echo/"
    assert record.fields["status"] == 200
    assert record.fields["sql_count"] == 1
    assert record.fields["duration_ms"] > 0
    text = json.dumps(record.__dict__, default=str)
    assert "confidential" not in text
    assert token[1] not in text


def test_the_page_of_every_problem_type_is_served(stranger):
    for kind in PROBLEMS.values():
        page = stranger.get(kind.uri)
        assert page.status_code == 200
        assert page["Content-Type"].startswith("text/markdown")
        assert page.content.decode().startswith(f"# {kind.title}")
    problem(stranger.get("/docs/problems/no-such/"), "not-found")
    problem(stranger.get("/docs/problems/..%2f..%2fsettings/"), "not-found")
