"""A backup taken while rows are being written is restored and answers the same: the steps of docs/operations.md."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg
import pytest

from tests.flows.stores import PostgresStore, SqliteStore, Store, postgres_store, production, snapshot
from tests.flows.test_flow_upgrade import ask, go_forward, manage, store

__all__ = ["store"]
PAIR = timedelta(seconds=1)
READING = "INSERT INTO fleet_reading (unit_id, at, source_id, content_hash) VALUES "


def test_a_backup_taken_under_way_is_whole_and_answers_the_same(store: Store, tmp_path: Path) -> None:
    go_forward(store, tmp_path)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "belt.jpg").write_bytes(b"a picture of a belt")
    answers, columns = ask(store, tmp_path), store.columns()
    readings = columns.pop("fleet_reading")
    saved, elsewhere = tmp_path / "saved", tmp_path / "elsewhere"
    saved.mkdir()
    elsewhere.mkdir()

    before = len(store.rows("fleet_reading", readings))
    with written_to(store) as pairs:
        pairs(5)
        keep_database(store, saved)  # first the rows, then the files: a row's file is written before the row
        shutil.copytree(tmp_path / "photos", saved / "photos")
        pairs(5)
    with restored(store, saved, elsewhere) as copy:
        assert snapshot(copy, columns) == snapshot(store, columns)
        kept = len(copy.rows("fleet_reading", readings)) - before
        assert kept >= 10
        assert kept % 2 == 0, "half of a transaction is in the copy"
        assert kept < len(store.rows("fleet_reading", readings)) - before
        assert ask(copy, elsewhere) == answers
        assert "Every chain holds" in manage(elsewhere, copy, "verify_audit")
        assert (elsewhere / "photos" / "belt.jpg").read_bytes() == b"a picture of a belt"


def keep_database(store: Store, saved: Path) -> None:
    """The rows of one moment, while others write."""
    if isinstance(store, SqliteStore):
        with closing(sqlite3.connect(store.path)) as connection:
            connection.execute("VACUUM INTO ?", [str(saved / "warmgate.sqlite3")])
        return
    assert isinstance(store, PostgresStore)
    run("pg_dump", "--format=custom", "--no-owner", f"--file={saved / 'warmgate.dump'}", store.dsn)


@contextmanager
def restored(store: Store, saved: Path, elsewhere: Path) -> Iterator[Store]:
    """The copy, on another state folder and (PostgreSQL) in another database."""
    shutil.copytree(saved / "photos", elsewhere / "photos")
    if isinstance(store, SqliteStore):
        shutil.copy(saved / "warmgate.sqlite3", elsewhere / "warmgate.sqlite3")
        yield SqliteStore(elsewhere / "warmgate.sqlite3")
        return
    assert isinstance(store, PostgresStore)
    with postgres_store(store.dsn.rpartition("/")[0] + "/postgres", elsewhere) as empty:
        run("pg_restore", "--no-owner", "--exit-on-error", f"--dbname={empty.dsn}", str(saved / "warmgate.dump"))
        yield PostgresStore(empty.dsn, production(empty.dsn))


def run(tool: str, *words: str) -> None:
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed: PostgreSQL's own tools make and read its backups")
    done = subprocess.run([tool, *words], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr


@contextmanager
def written_to(store: Store) -> Iterator[Callable[[int], None]]:
    """Transactions of two readings each, one after the other, in a thread of their own.

    Gives a function that waits until so many more of them have committed.
    """
    stopping, counted = threading.Event(), threading.Semaphore(0)
    [[unit, source]] = store.rows("fleet_reading", ("unit_id", "source_id"))[:1]
    first = datetime(2026, 11, 1, tzinfo=UTC)

    def write() -> None:
        number = 0
        while not stopping.wait(0.01):
            write_pair(store, unit, source, first + number * 2 * PAIR)
            number += 1
            counted.release()

    def wait(count: int) -> None:
        for _ in range(count):
            assert counted.acquire(timeout=30), "nothing is being written"

    thread = threading.Thread(target=write, name="writer")
    thread.start()
    try:
        yield wait
    finally:
        stopping.set()
        thread.join(30)


def write_pair(store: Store, unit: int, source: int, at: datetime) -> None:
    """Two readings in one transaction."""
    times = [moment.strftime("%Y-%m-%d %H:%M:%S") for moment in (at, at + PAIR)]
    values = [value for moment in times for value in (unit, moment, source, 1)]
    if isinstance(store, SqliteStore):
        with closing(sqlite3.connect(store.path, timeout=30)) as connection, connection:
            connection.execute(READING + "(?, ?, ?, ?), (?, ?, ?, ?)", values)
        return
    assert isinstance(store, PostgresStore)
    with psycopg.connect(store.dsn) as connection:
        connection.execute((READING + "(%s, %s, %s, %s), (%s, %s, %s, %s)").encode(), values)
