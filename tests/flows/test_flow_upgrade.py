"""The database of every tagged release is brought up to date, and still answers. `fixtures/upgrade/make` makes them."""

from __future__ import annotations

import gzip
import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.flows.embedded import ROOT, Database, environment

VERDICTS = {"ready", "conditional", "blocked", "unknown"}
RELEASES = sorted((ROOT / "fixtures" / "upgrade").glob("*.sql.gz"))
QUESTION = """
from fleet.models import Trip
from fleet.readiness.service import readiness
answers = {t.reference: readiness(t.fleet_id, t.reference) for t in Trip.objects.across_fleets().order_by("pk")}
print("ANSWERS", __import__("json").dumps({name: [a["unit"], a["verdict"]] for name, a in answers.items()}))
"""


def test_there_is_a_database_of_a_release() -> None:
    assert RELEASES


@pytest.mark.parametrize("release", RELEASES, ids=lambda path: path.name.removesuffix(".sql.gz"))
def test_a_database_of_that_release_is_upgraded_and_answers(release: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "warmgate.sqlite3")) as connection:
        connection.executescript(gzip.decompress(release.read_bytes()).decode())
    before = Database(tmp_path / "warmgate.sqlite3")
    kept = {
        table: before.count(f"SELECT count(*) FROM {table}") for table in ("fleet_trip", "fleet_unit", "fleet_hold")
    }
    manage(tmp_path, "migrate", "--verbosity", "0")
    assert manage(tmp_path, "migrate", "--plan").strip().endswith("No planned migration operations.")
    told = manage(tmp_path, "shell", "--no-imports", "--command", QUESTION)
    answers = json.loads(told.split("ANSWERS ", 1)[1])
    assert len(answers) == kept["fleet_trip"] == 8
    assert all(unit.startswith("HB-") and verdict in VERDICTS for unit, verdict in answers.values()), answers
    assert {table: before.count(f"SELECT count(*) FROM {table}") for table in kept} == kept
    assert "Every chain holds" in manage(tmp_path, "verify_audit")


def manage(folder: Path, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words], env=environment(folder), cwd=ROOT, capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout
