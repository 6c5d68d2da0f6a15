"""The database of every tagged release comes up to date, answers, and goes back again with every row as it was.

`fixtures/upgrade/make` makes those databases. Nothing here names a migration: whatever came after a release has to be
reversible and may not touch what the release had written.
"""

from __future__ import annotations

import gzip
import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.flows.embedded import ROOT, environment
from tests.flows.stores import SqliteStore, Store, postgres_store, snapshot

VERDICTS = {"ready", "conditional", "blocked", "unknown"}
RELEASES = sorted((ROOT / "fixtures" / "upgrade").glob("*.sql.gz"))
QUESTION = """
from fleet.models import Trip
from fleet.readiness.service import readiness
answers = {t.reference: readiness(t.fleet_id, t.reference) for t in Trip.objects.across_fleets().order_by("pk")}
print("ANSWERS", __import__("json").dumps({name: [a["unit"], a["verdict"]] for name, a in answers.items()}))
"""
REPLACED = {"fleet_unitstate": {"values": "measured", "facts": "facts"}}
"""Documents of a release of which others have held a part since: what they held has to come back with them."""
IDS = [path.name.removesuffix(".sql.gz") for path in RELEASES]


@pytest.fixture(params=RELEASES, ids=IDS)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A database of the release, on the engine of this run."""
    release = SqliteStore(tmp_path / "warmgate.sqlite3")
    with closing(sqlite3.connect(release.path)) as connection:
        connection.executescript(gzip.decompress(request.param.read_bytes()).decode())
    server = os.environ.get("WARMGATE_DATABASE_URL", "")
    if not server.startswith("postgresql"):
        yield release
        return
    with postgres_store(server.rpartition("/")[0] + "/postgres", tmp_path) as there:
        go_forward(there, tmp_path)
        go_back(there, release.applied(), tmp_path)
        there.fill_from(release)
        yield there


def test_there_is_a_database_of_a_release() -> None:
    assert RELEASES


def test_a_database_of_that_release_is_upgraded_answers_and_goes_back(store: Store, tmp_path: Path) -> None:
    released, applied = store.columns(), store.applied()
    columns = {table: [n for n in names if n not in REPLACED.get(table, {})] for table, names in released.items()}
    before, replaced = snapshot(store, columns), replaced_values(store)
    assert any(rows for rows in replaced.values()), "nothing would be proved of the columns that were replaced"
    assert {table: len(before[table]) for table in ("fleet_trip", "fleet_unit", "fleet_hold")} == {
        "fleet_trip": 8, "fleet_unit": 8, "fleet_hold": 5,
    }  # fmt: skip

    go_forward(store, tmp_path)
    present = store.columns()
    kept = {table: [name for name in names if name in present[table]] for table, names in columns.items()}
    assert kept == columns, "a column of the release is gone: say in REPLACED what stands for it"
    assert all(new in present[table] for table, pairs in REPLACED.items() for new in pairs.values())
    assert snapshot(store, columns) == before
    answers = ask(store, tmp_path)
    assert len(answers) == 8
    assert all(unit.startswith("HB-") and verdict in VERDICTS for unit, verdict in answers.values()), answers
    assert "Every chain holds" in manage(tmp_path, store, "verify_audit")
    grown = snapshot(store, columns)  # the answers that were asked for are rows too

    go_back(store, applied, tmp_path)
    assert store.columns() == released
    assert snapshot(store, columns) == grown
    assert replaced_values(store) == replaced

    go_forward(store, tmp_path)
    assert snapshot(store, columns) == grown
    assert {name: unit for name, (unit, _) in ask(store, tmp_path).items()} == {
        name: unit for name, (unit, _) in answers.items()
    }
    assert "Every chain holds" in manage(tmp_path, store, "verify_audit")


def replaced_values(store: Store) -> dict[str, list[tuple[int, object]]]:
    """What the replaced columns hold, by unit and as documents: the text of a document may be written anew."""
    return {
        f"{table}.{name}": sorted(
            (
                (unit_id, json.loads(text) if isinstance(text, str) else text)
                for unit_id, text in store.rows(table, ("unit_id", name))
            ),
            key=lambda row: row[0],
        )
        for table, names in REPLACED.items()
        for name in names
    }


def go_forward(store: Store, folder: Path) -> None:
    manage(folder, store, "migrate", "--verbosity", "0")
    assert manage(folder, store, "migrate", "--plan").strip().endswith("No planned migration operations.")


def go_back(store: Store, to: dict[str, list[str]], folder: Path) -> None:
    """Takes every migration back that the release did not have."""
    new = {app: [name for name in names if name not in to.get(app, ())] for app, names in store.applied().items()}
    for app in sorted(app for app, names in new.items() if names):
        manage(folder, store, "migrate", app, to[app][-1] if app in to else "zero", "--verbosity", "0")
    assert {app: sorted(names) for app, names in store.applied().items()} == {
        app: sorted(names) for app, names in to.items()
    }


def ask(store: Store, folder: Path) -> dict[str, list[str]]:
    """What the service answers about each trip: unit and verdict."""
    told = manage(folder, store, "shell", "--no-imports", "--command", QUESTION)
    answers: dict[str, list[str]] = json.loads(told.split("ANSWERS ", 1)[1])
    return answers


def manage(folder: Path, store: Store, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words], env=environment(folder, **store.environment), cwd=ROOT,
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout
