"""Mail against a real SMTP server on the loopback: what is permanent, what is tried again, what takes too long.

Reply classes: RFC 5321 section 4.2.1 (4yz transient, 5yz permanent). Auto-Submitted: RFC 3834.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from pytest_django import Settings

from alarms.channels.base import Deadline, TransportError
from alarms.channels.email import Mail, send_mail
from fleet.embedded.receivers import Mailbox
from tests.receivers import SMTP, mailbox

__all__ = ["mailbox"]
MAIL = Mail("msg_7", "manager@tarn.example", "Blocked: HB-104\r\nBcc: x@y.example", "Text ä", "<p>Text</p>", "notice-3")


def failure(*, seconds: float = 5.0) -> TransportError:
    with pytest.raises(TransportError) as error:
        send_mail(MAIL, deadline=Deadline(seconds))
    return error.value


def test_a_mail_arrives_with_both_bodies_and_a_stable_id(mailbox: Mailbox) -> None:
    assert send_mail(MAIL) == "accepted"
    assert send_mail(MAIL) == "accepted"
    first, again = mailbox.mails
    assert first.message["Message-ID"] == again.message["Message-ID"] == "<msg_7@example.invalid>"
    assert first.message["References"] == "<notice-3@example.invalid>"
    assert first.message["Auto-Submitted"] == "auto-generated"
    assert first.text().strip() == "Text ä"
    assert "<p>Text</p>" in first.text("html")
    assert first.recipients == ("manager@tarn.example",)


def test_a_subject_cannot_add_headers(mailbox: Mailbox) -> None:
    send_mail(MAIL)
    (mail,) = mailbox.mails
    assert mail.message["Subject"] == "Blocked: HB-104 Bcc: x@y.example"
    assert mail.message["Bcc"] is None


@pytest.mark.parametrize(
    ("reply", "permanent"),
    [("550 no such user", True), ("554 refused", True), ("451 later", False), ("452 full", False)],
)
def test_5xx_is_permanent_and_4xx_is_tried_again(mailbox: Mailbox, reply: str, permanent: bool) -> None:
    for where in ("refuse_recipient", "refuse_data"):
        setattr(mailbox, where, reply)
        error = failure()
        assert (error.status, error.permanent, error.uncertain) == (reply[:3], permanent, False)
        setattr(mailbox, where, "")
    assert mailbox.mails == []


@contextmanager
def raw_server(settings: Settings, talk: Callable[[socket.socket], None]) -> Iterator[None]:
    """A server that says what *talk* says, and nothing else."""
    server = socket.socket()
    server.bind(("127.0.0.1", 0))
    server.listen()
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = SMTP, "127.0.0.1"
    settings.EMAIL_PORT = server.getsockname()[1]

    def serve() -> None:
        try:
            client, _ = server.accept()
            with client:
                talk(client)
        except OSError:
            pass  # the sender has gone, or the test is over

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield
    finally:
        server.close()
        thread.join(10)


def test_a_server_that_says_nothing_is_cut_off(settings: Settings) -> None:
    done = threading.Event()
    with raw_server(settings, lambda client: done.wait(10) and None):
        error = failure(seconds=0.3)
        done.set()
    assert (error.status, error.permanent) == ("timeout", False)


def test_a_server_that_drips_single_bytes_is_cut_off(settings: Settings) -> None:
    done = threading.Event()

    def drip(client: socket.socket) -> None:
        for _ in range(200):
            client.sendall(b"2")
            if done.wait(0.05):
                return

    with raw_server(settings, drip):
        error = failure(seconds=0.4)
        done.set()
    assert (error.status, error.permanent) == ("timeout", False)


def test_a_dropped_connection_may_have_taken_the_mail(settings: Settings) -> None:
    with raw_server(settings, lambda client: client.sendall(b"220 hello\r\n")):
        error = failure()
    assert (error.permanent, error.uncertain) == (False, True)


def test_no_server_is_tried_again(settings: Settings) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        settings.EMAIL_BACKEND, settings.EMAIL_HOST = SMTP, "127.0.0.1"
        settings.EMAIL_PORT = probe.getsockname()[1]
    error = failure()
    assert (error.status, error.permanent, error.uncertain) == ("connection", False, False)
