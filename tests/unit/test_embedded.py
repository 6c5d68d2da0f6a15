"""The embedded service's manners at the start: taken ports, taken folders, and whose data the demo may wipe."""

from __future__ import annotations

import json
import socket
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from fleet.demo.client import Api
from fleet.demo.state import start_over, write_shell_file
from fleet.demo.teller import shortened
from fleet.embedded.errors import CannotStart
from fleet.embedded.inbox import Inbox, Receipt, receipts_in
from fleet.embedded.lock import StateLock
from fleet.embedded.web import Web


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield int(listener.getsockname()[1])


def hello(environ: object, start_response: object) -> list[bytes]:
    start_response("200 OK", [("Content-Type", "application/json")])  # type: ignore[operator]
    return [b'{"hello": "there"}']


def test_a_port_asked_for_and_taken_is_named_in_the_refusal(taken_port: int) -> None:
    with pytest.raises(CannotStart, match=f"Port {taken_port} of 127.0.0.1 is taken"):
        Web(hello, host="127.0.0.1", port=taken_port, take_next=False)


def test_a_usual_port_that_is_taken_gives_way_to_a_later_one(taken_port: int) -> None:
    web = Web(hello, host="127.0.0.1", port=taken_port, take_next=True)
    web.start()
    try:
        assert taken_port < web.port <= taken_port + 20
        assert Api(web.url, "token").get("") == {"hello": "there"}
    finally:
        assert web.stop()


def test_a_stopped_web_server_has_freed_its_port() -> None:
    web = Web(hello, host="127.0.0.1", port=0, take_next=False)
    web.start()
    assert web.stop()
    Web(hello, host="127.0.0.1", port=web.port, take_next=False)._server.close()


def test_a_state_folder_serves_one_process_at_a_time(tmp_path: Path) -> None:
    first, second = StateLock(tmp_path), StateLock(tmp_path)
    first.take()
    with pytest.raises(CannotStart, match="Another process"):
        second.take()
    first.free()
    second.take()
    assert second.held
    second.free()


def database_with(folder: Path, *slugs: str) -> Path:
    path = folder / "warmgate.sqlite3"
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE fleet_fleet (slug text)")
        connection.executemany("INSERT INTO fleet_fleet VALUES (?)", [(slug,) for slug in slugs])
    return path


def test_the_demo_wipes_what_a_demo_made(tmp_path: Path) -> None:
    database = database_with(tmp_path, "northfell")
    (tmp_path / "demo.json").write_text(json.dumps({"fleets": ["northfell"]}))
    (tmp_path / "received.jsonl").write_text("{}\n")
    (tmp_path / "secret_key").write_text("kept")
    start_over(tmp_path, database=database, slug="northfell")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo.json", "secret_key"]


def test_the_demo_touches_nothing_where_a_fleet_is_that_it_did_not_make(tmp_path: Path) -> None:
    database = database_with(tmp_path, "northfell", "tarn")
    (tmp_path / "demo.json").write_text(json.dumps({"fleets": ["northfell"]}))
    before = database.read_bytes()
    with pytest.raises(CannotStart, match="holds the fleet tarn, which the demo did not make"):
        start_over(tmp_path, database=database, slug="northfell")
    assert database.read_bytes() == before


def test_the_demo_does_not_wipe_a_file_that_is_no_database(tmp_path: Path) -> None:
    database = tmp_path / "warmgate.sqlite3"
    database.write_text("a letter to somebody\n" * 100)
    with pytest.raises(CannotStart, match="is not a database"):
        start_over(tmp_path, database=database, slug="northfell")
    assert database.exists()


def test_tokens_for_the_shell_are_the_owners_to_read(tmp_path: Path) -> None:
    people = {"manager": ("tarn-manager", "a-password")}
    path = write_shell_file(tmp_path, url="http://127.0.0.1:1", tokens={"manager": "abc"}, people=people)
    assert path.read_text().split("export ")[1:] == [
        "URL=http://127.0.0.1:1\n", "MANAGER=abc\n", "MANAGER_NAME=tarn-manager\n", "MANAGER_PASSWORD=a-password\n",
    ]  # fmt: skip
    assert path.stat().st_mode & 0o077 == 0


def test_a_message_that_comes_again_is_kept_and_marked(tmp_path: Path) -> None:
    shown: list[Receipt] = []
    inbox = Inbox(tmp_path, on_receipt=shown.append)
    for _ in range(2):
        inbox._keep("webhook", "msg_1", "/planning", "hold.opened.v1", "{}")
    assert [receipt["repeat"] for receipt in receipts_in(tmp_path)] == [False, True]
    after_a_restart = Inbox(tmp_path, on_receipt=shown.append)
    after_a_restart._keep("webhook", "msg_1", "/planning", "hold.opened.v1", "{}")
    assert shown[-1].repeat


def test_a_line_that_a_kill_cut_short_does_not_hide_the_others(tmp_path: Path) -> None:
    (tmp_path / "received.jsonl").write_text('{"id": "msg_1"}\n{"id": "ms')
    assert receipts_in(tmp_path) == [{"id": "msg_1"}]


def test_receivers_are_found_again_where_they_were(tmp_path: Path, taken_port: int) -> None:
    first = Inbox(tmp_path, on_receipt=lambda receipt: None).start()
    ports = (first.mail_port, first.hook_port)
    first.stop()
    second = Inbox(tmp_path, on_receipt=lambda receipt: None).start()
    assert (second.mail_port, second.hook_port) == ports
    second.stop()
    (tmp_path / "receivers.json").write_text(json.dumps({"mail": taken_port, "webhook": ports[1]}))
    with pytest.raises(CannotStart, match=f"Port {taken_port} .* where the mail receiver was before, is taken"):
        Inbox(tmp_path, on_receipt=lambda receipt: None).start()


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("Short.", "Short."),
        ("One sentence. " + "a" * 40, "One sentence."),
        ("b" * 40, "b" * 29 + "…"),
    ],
)
def test_long_words_end_at_a_sentence_if_one_fits(words: str, expected: str) -> None:
    assert shortened(words, 30) == expected
