"""TLS of both channels against real servers: the certificate must name the host, whatever address it resolved to.

`tests/tls/` holds a certificate for `hooks.example` and `localhost`, made for these tests only.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pytest_django import Settings

from alarms.channels.base import Deadline, TransportError
from alarms.channels.email import Mail, send_mail
from alarms.channels.webhook import HookMessage, post_webhook
from fleet.embedded.receivers import HookReceiver, Mailbox
from tests.receivers import SMTP

TLS = Path(__file__).parents[1] / "tls"
CERTIFICATE, KEY = str(TLS / "certificate.pem"), str(TLS / "key.pem")


@pytest.fixture
def served() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(CERTIFICATE, KEY)
    return context


@pytest.fixture
def trusting() -> ssl.SSLContext:
    """The service's own settings, and trust in the tests' certificate."""
    return ssl.create_default_context(cafile=CERTIFICATE)


@pytest.fixture
def hooks(served: ssl.SSLContext) -> Iterator[HookReceiver]:
    with HookReceiver(tls=served) as receiver:
        yield receiver


def post(hooks: HookReceiver, host: str, trusting: ssl.SSLContext | None) -> str:
    message = HookMessage("msg_1", f"https://{host}:{hooks.port}/hook", "{}", ("whsec_" + "QUJD" * 8,))
    return post_webhook(
        message,
        now=datetime.now(UTC),
        allowed_hosts=[host],
        resolver=lambda name, port: ["127.0.0.1"],
        tls=trusting,
        deadline=Deadline(5),
    )


def test_the_handshake_names_the_host_and_not_the_address(hooks: HookReceiver, trusting: ssl.SSLContext) -> None:
    assert post(hooks, "hooks.example", trusting) == "200"
    assert hooks.requests[0].headers["host"] == f"hooks.example:{hooks.port}"


def test_a_certificate_of_another_name_is_refused(hooks: HookReceiver, trusting: ssl.SSLContext) -> None:
    with pytest.raises(TransportError) as error:
        post(hooks, "elsewhere.example", trusting)
    assert (error.value.status, error.value.permanent, error.value.uncertain) == ("tls", False, False)
    assert hooks.requests == []


def test_a_certificate_that_nobody_vouches_for_is_refused(hooks: HookReceiver) -> None:
    with pytest.raises(TransportError) as error:
        post(hooks, "hooks.example", None)
    assert error.value.status == "tls"
    assert hooks.requests == []


MAIL = Mail("msg_7", "manager@tarn.example", "Blocked", "Text", "<p>Text</p>")


def test_mail_goes_over_starttls_and_the_total_time_still_holds(
    served: ssl.SSLContext, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Mailbox(tls=served) as box:
        settings.EMAIL_BACKEND, settings.EMAIL_HOST, settings.EMAIL_PORT = SMTP, "localhost", box.port
        settings.EMAIL_USE_TLS = True
        with pytest.raises(TransportError):
            send_mail(MAIL)
        assert box.mails == [], "nobody vouches for the certificate"
        monkeypatch.setenv("SSL_CERT_FILE", CERTIFICATE)
        assert send_mail(MAIL) == "accepted"
        assert len(box.mails) == 1
