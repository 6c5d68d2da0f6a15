"""Starts the embedded service as a process of its own, as a newcomer would, and looks at what it left behind."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


def environment(folder: Path, **more: str) -> dict[str, str]:
    """The environment of a newcomer: none of ours, and a state folder of the test's own. Python keeps what it compiled:
    processes are started many times."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("WARMGATE_", "DJANGO_"))}
    own = {"WARMGATE_STATE_DIR": str(folder), "PYTHONUNBUFFERED": "1", "PYTHONDONTWRITEBYTECODE": ""}
    return clean | own | more


def manage(folder: Path, *words: str, **more: str) -> subprocess.Popen[str]:
    """`manage.py WORDS` in the background; its output goes to a file of the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f"{words[0]}.out").open("w") as out:
        return subprocess.Popen(
            [sys.executable, str(ROOT / "manage.py"), *words],
            env=environment(folder, **more), cwd=ROOT, stdout=out, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip


def output_of(folder: Path, word: str) -> str:
    return (folder / f"{word}.out").read_text()


def kill(process: subprocess.Popen[str]) -> None:
    """Ends a process as a power cut would."""
    process.send_signal(signal.SIGKILL)
    process.wait(10)


def stop(process: subprocess.Popen[str], number: int = signal.SIGTERM, *, within_s: float = 20) -> int:
    """Asks a process to end and returns its exit status."""
    process.send_signal(number)
    return process.wait(within_s)


@dataclass(frozen=True, slots=True)
class Database:
    """Reads the SQLite file of a running service, from outside."""

    path: Path

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with closing(sqlite3.connect(f"{self.path.as_uri()}?mode=ro", uri=True, timeout=10)) as connection:
            return connection.execute(sql, values).fetchall()

    def count(self, sql: str, *values: Any) -> int:
        return int(self.rows(sql, *values)[0][0])

    def due(self) -> int:
        """Everything that should have been done by now and is not."""
        now = datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S.%f")
        return (
            self.count("SELECT count(*) FROM fleet_trip WHERE assess_due_at <= ?", now)
            + self.count("SELECT count(*) FROM alarms_notice WHERE next_at <= ?", now)
            + self.count(
                "SELECT count(*) FROM alarms_delivery WHERE state = 'leased'"
                " OR (state IN ('queued', 'retry_wait') AND next_attempt_at <= ?)",
                now,
            )
        )


def quiet(database: Database) -> bool:
    """Whether nothing is due, three looks long."""
    for _ in range(3):
        if database.due():
            return False
        time.sleep(0.4)
    return True


def received(folder: Path) -> list[dict[str, Any]]:
    """What the receivers have written down, whole lines only."""
    path = folder / "received.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines() if line.endswith("}")] if path.exists() else []
