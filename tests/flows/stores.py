"""A database of a release as rows that can be compared: a SQLite file, or a PostgreSQL database filled from one."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import psycopg
from psycopg import sql

Rows = list[tuple[Any, ...]]
NOT_OURS = ("django_", "auth_", "sqlite_", "fleet_reading_")
"""Django's own book-keeping, and the partitions of the readings (the table itself is looked at)."""


class Store(Protocol):
    environment: dict[str, str]
    """What makes the service use it."""

    def columns(self) -> dict[str, list[str]]:
        """Table to its columns, our tables only."""

    def rows(self, table: str, columns: Iterable[str]) -> Rows: ...

    def applied(self) -> dict[str, list[str]]:
        """App to its applied migrations, in order."""


def ours(table: str) -> bool:
    return not table.startswith(NOT_OURS)


def grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


def snapshot(store: Store, columns: Mapping[str, list[str]]) -> dict[str, Rows]:
    """Table to its rows, in an order of their own, of those columns."""
    return {table: sorted(store.rows(table, names), key=repr) for table, names in columns.items()}


@dataclass(frozen=True, slots=True)
class SqliteStore:
    path: Path
    environment: dict[str, str] = field(default_factory=dict)

    def ask(self, text: str) -> Rows:
        with closing(sqlite3.connect(self.path)) as connection:
            return connection.execute(text).fetchall()

    def columns(self) -> dict[str, list[str]]:
        # table_xinfo: also generated columns.
        return grouped(
            (table, name)
            for table, name in self.ask(
                "SELECT t.name, c.name FROM sqlite_master t JOIN pragma_table_xinfo(t.name) c"
                " WHERE t.type = 'table' ORDER BY t.name, c.name"
            )
            if ours(table)
        )

    def rows(self, table: str, columns: Iterable[str]) -> Rows:
        named = ", ".join(f'"{name}"' for name in columns)
        return self.ask(f'SELECT {named} FROM "{table}"')

    def applied(self) -> dict[str, list[str]]:
        return grouped((app, name) for app, name in self.ask("SELECT app, name FROM django_migrations ORDER BY id"))


@dataclass(frozen=True, slots=True)
class PostgresStore:
    dsn: str
    environment: dict[str, str]

    def ask(self, text: str | sql.Composed) -> Rows:
        with psycopg.connect(self.dsn, autocommit=True) as connection:
            return connection.execute(text.encode() if isinstance(text, str) else text).fetchall()

    def columns(self) -> dict[str, list[str]]:
        return grouped(
            (table, name)
            for table, name in self.ask(
                "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = 'public'"
                " ORDER BY table_name, column_name"
            )
            if ours(table)
        )

    def rows(self, table: str, columns: Iterable[str]) -> Rows:
        named = sql.SQL(", ").join(map(sql.Identifier, columns))
        return self.ask(sql.SQL("SELECT {} FROM {}").format(named, sql.Identifier(table)))

    def applied(self) -> dict[str, list[str]]:
        return grouped((app, name) for app, name in self.ask("SELECT app, name FROM django_migrations ORDER BY id"))

    def fill_from(self, release: SqliteStore) -> None:
        """Puts the release's rows into tables of the same schema, whatever `migrate` has put there before."""
        kinds = self._kinds()
        with psycopg.connect(self.dsn) as connection:
            connection.execute("SET session_replication_role = replica")  # rows in any order of tables
            for table in release.columns():
                names = [name for name in release.columns()[table] if name in kinds[table]]
                connection.execute(sql.SQL("TRUNCATE {} CASCADE").format(sql.Identifier(table)))
            for table in release.columns():
                names = [name for name in release.columns()[table] if name in kinds[table]]
                places = sql.SQL(", ").join(sql.SQL("%s::" + kinds[table][name]) for name in names)  # type: ignore[arg-type]
                insert = sql.SQL("INSERT INTO {} ({}) VALUES ({})").format(
                    sql.Identifier(table), sql.SQL(", ").join(map(sql.Identifier, names)), places
                )
                for row in release.rows(table, names):
                    connection.execute(insert, [None if value is None else str(value) for value in row])
            self._move_sequences(connection)

    def _kinds(self) -> dict[str, dict[str, str]]:
        """Table to its writable columns and their types."""
        found: dict[str, dict[str, str]] = {}
        for table, name, kind in self.ask(
            "SELECT table_name, column_name, udt_name FROM information_schema.columns"
            " WHERE table_schema = 'public' AND is_generated = 'NEVER'"
        ):
            found.setdefault(table, {})[name] = kind
        return found

    def _move_sequences(self, connection: psycopg.Connection[Any]) -> None:
        for table, name in self.ask(
            "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = 'public'"
            " AND is_identity = 'YES'"
        ):
            connection.execute(
                sql.SQL("SELECT setval(pg_get_serial_sequence({}, {}), (SELECT coalesce(max({}), 1) FROM {}))").format(
                    sql.Literal(table), sql.Literal(name), sql.Identifier(name), sql.Identifier(table)
                )
            )


@contextmanager
def postgres_store(server_dsn: str, folder: Path) -> Iterator[PostgresStore]:
    """An empty database of its own on that server, dropped at the end."""
    name = f"wg_test_{secrets.token_hex(4)}"
    with psycopg.connect(server_dsn, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    base = server_dsn.rpartition("/")[0]
    try:
        yield PostgresStore(f"{base}/{name}", production(f"{base}/{name}"))
    finally:
        with psycopg.connect(server_dsn, autocommit=True) as connection:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def production(dsn: str) -> dict[str, str]:
    """What the production rules ask for."""
    return {
        "WARMGATE_DATABASE_URL": dsn,
        "WARMGATE_BROKER_URL": "redis://127.0.0.1:6379/9",
        "WARMGATE_BELL": "off",
        "WARMGATE_SECRET_KEY": "tests-only-" + "0123456789abcdef" * 4,
        "WARMGATE_ALLOWED_HOSTS": "127.0.0.1",
        "WARMGATE_TLS": "0",
    }
