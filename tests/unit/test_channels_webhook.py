"""Webhooks against a real receiver on the loopback: signatures, redirects, slow answers, changing DNS."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from alarms.channels.base import Deadline, TransportError, printable
from alarms.channels.webhook import HookMessage, post_webhook, signed_headers
from fleet.embedded.receivers import Answer, HookReceiver

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
OLD = "whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD"
ALLOWED = ["127.0.0.1"]


@pytest.fixture
def hooks() -> Iterator[HookReceiver]:
    with HookReceiver() as receiver:
        yield receiver


def message(url: str, *secrets: str) -> HookMessage:
    return HookMessage("msg_1", url, '{"type":"hold.opened.v1","data":{"unit":"HB-104 ä"}}', secrets or (SECRET,))


def failure(url: str, *, seconds: float = 5.0, allowed: list[str] = ALLOWED) -> TransportError:
    with pytest.raises(TransportError) as error:
        post_webhook(message(url), now=datetime.now(UTC), allowed_hosts=allowed, deadline=Deadline(seconds))
    return error.value


def test_the_signature_is_the_published_example_of_standard_webhooks() -> None:
    """Source: standard-webhooks README and the libraries' own tests (secret, id, timestamp, payload), from memory; the
    package computes the same value, which is what the assertion rests on."""
    text = '{"test": 2432232314}'
    known = HookMessage("msg_p5jXN8AQM9LWM0D4loKWxJek", "", text, (SECRET,))
    headers = signed_headers(known, now=datetime.fromtimestamp(1614265330, UTC))
    assert headers["webhook-timestamp"] == "1614265330"
    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_message_arrives_signed_and_whole(hooks: HookReceiver) -> None:
    assert post_webhook(message(hooks.url("/a?b=c")), now=datetime.now(UTC), allowed_hosts=ALLOWED) == "200"
    (received,) = hooks.requests
    assert received.path == "/a?b=c"
    assert received.headers["host"] == f"127.0.0.1:{hooks.port}"
    assert received.headers["content-type"] == "application/json"
    assert Webhook(SECRET).verify(received.body, dict(received.headers)) == json.loads(received.body)


def test_during_a_rotation_both_secrets_verify_and_no_other(hooks: HookReceiver) -> None:
    post_webhook(message(hooks.url(), SECRET, OLD), now=datetime.now(UTC), allowed_hosts=ALLOWED)
    (received,) = hooks.requests
    for secret in (SECRET, OLD):
        Webhook(secret).verify(received.body, dict(received.headers))
    with pytest.raises(WebhookVerificationError):
        Webhook("whsec_" + "A" * 32).verify(received.body, dict(received.headers))
    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(received.body.replace("HB-104", "HB-105"), dict(received.headers))


def test_redirects_are_not_followed(hooks: HookReceiver) -> None:
    hooks.answer = Answer(302, headers={"Location": hooks.url("/inside")})
    error = failure(hooks.url())
    assert (error.status, error.permanent) == ("302", False)
    assert [request.path for request in hooks.requests] == ["/hook"]


@pytest.mark.parametrize(
    ("status", "gone"),
    [(400, False), (401, False), (404, False), (410, True), (429, False), (500, False), (503, False)],
)
def test_only_gone_is_final(hooks: HookReceiver, status: int, gone: bool) -> None:
    hooks.answer = Answer(status, b"no\x1b[31m thanks\n")
    error = failure(hooks.url())
    assert (error.status, error.gone, error.permanent) == (str(status), gone, gone)
    assert "\x1b" not in error.detail


def test_a_receiver_that_hangs_or_drips_is_cut_off_and_the_outcome_is_uncertain(hooks: HookReceiver) -> None:
    for answer in (Answer(delay_s=5), Answer(drip_s=0.1)):
        hooks.answer = answer
        error = failure(hooks.url(), seconds=0.5)
        assert (error.status, error.permanent, error.uncertain) == ("timeout", False, True)


def test_only_the_beginning_of_a_huge_answer_is_read(hooks: HookReceiver) -> None:
    hooks.answer = Answer(500, b"x" * 3_000_000)
    assert len(failure(hooks.url()).detail) <= 200
    hooks.answer = Answer(200, b"x" * 3_000_000)
    assert post_webhook(message(hooks.url()), now=datetime.now(UTC), allowed_hosts=ALLOWED) == "200"


def test_a_closed_port_was_certainly_not_reached() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    error = failure(f"http://127.0.0.1:{port}/")
    assert (error.status, error.permanent, error.uncertain) == ("connection", False, False)


def test_a_private_receiver_is_refused_without_the_allow_list(hooks: HookReceiver) -> None:
    assert failure(hooks.url(), allowed=[]).status == "refused"
    assert failure(f"https://localhost:{hooks.port}/", allowed=[]).status == "refused"
    assert hooks.requests == []


def test_dns_that_changes_its_answer_gains_nothing(hooks: HookReceiver) -> None:
    """The first look-up is the only one: what it says is checked, and the connection goes there."""
    answers = [["127.0.0.1"], ["93.184.216.34"]]
    asked: list[str] = []

    def changing(host: str, port: int) -> list[str]:
        asked.append(host)
        return answers[len(asked) - 1]

    url = f"https://rebind.example:{hooks.port}/"
    with pytest.raises(TransportError, match="not a public address"):
        post_webhook(message(url), now=datetime.now(UTC), allowed_hosts=[], resolver=changing)
    assert asked == ["rebind.example"]
    assert hooks.requests == []


def test_the_connection_goes_to_the_checked_address_under_the_names_own_host(hooks: HookReceiver) -> None:
    asked: list[str] = []

    def once(host: str, port: int) -> list[str]:
        asked.append(host)
        assert len(asked) == 1, "a second look-up could answer otherwise"
        return ["127.0.0.1"]

    url = f"http://hooks.example:{hooks.port}/x"
    allowed = ["hooks.example"]
    assert post_webhook(message(url), now=datetime.now(UTC), allowed_hosts=allowed, resolver=once) == "200"
    assert hooks.requests[0].headers["host"] == f"hooks.example:{hooks.port}"


def test_no_proxy_of_the_environment_is_used(hooks: HookReceiver, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "HTTP_PROXY", "https_proxy", "all_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    assert post_webhook(message(hooks.url()), now=datetime.now(UTC), allowed_hosts=ALLOWED) == "200"


def test_what_a_stranger_sent_is_made_harmless_before_it_is_kept() -> None:
    assert printable("a\r\nb\x00\x1b[2J" + "c" * 500) == ("a b [2J" + "c" * 500)[:200]
