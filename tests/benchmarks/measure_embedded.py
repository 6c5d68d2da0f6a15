"""Readings per second of the embedded service and of sqlite3 alone, interleaved, in a process of its own.

The process is started as `python -m tests.benchmarks.measure_embedded`. It says where it listens, and for each line it
reads how many rows a second sqlite3 alone stores.
"""

from __future__ import annotations

import json
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.benchmarks.ground import HOST, ROOT
from tests.benchmarks.measure_ingest import BATCH, over_http
from tests.benchmarks.raw_writer import FLAGS, FLOATS, NAMES, VALUES

BATCHES = 60


@dataclass(frozen=True, slots=True)
class Embedded:
    """Rows per second, one value per round."""

    http: list[float]
    alone: list[float]

    @property
    def over_alone(self) -> float:
        return statistics.median(h / a for h, a in zip(self.http, self.alone, strict=True))


def measure_embedded(*, rounds: int) -> Embedded:
    with tempfile.TemporaryDirectory(prefix="warmgate-bench-") as folder:
        environment = {name: value for name, value in os.environ.items() if not name.startswith("WARMGATE_")} | {
            "DJANGO_SETTINGS_MODULE": "tests.benchmarks.settings",
            "WARMGATE_STATE_DIR": folder,
            "WARMGATE_ALLOWED_HOSTS": HOST,
            "WARMGATE_BELL": "off",
            "WARMGATE_LOG_LEVEL": "WARNING",
        }
        service = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.measure_embedded"],
            cwd=ROOT, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert service.stdin is not None
        assert service.stdout is not None
        try:
            said = json.loads(service.stdout.readline())
            to = (said["port"], said["token"], datetime.fromisoformat(said["now"]))
            http, alone = [], []
            over_http(*to, batches=BATCHES)
            for _ in range(rounds):
                http.append(over_http(*to, batches=BATCHES))
                service.stdin.write("alone\n")
                service.stdin.flush()
                alone.append(float(service.stdout.readline()))
        finally:
            service.stdin.close()
            service.wait(30)
    return Embedded(http, alone)


def main() -> None:
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", interactive=False, verbosity=0)
    from django.conf import settings

    from fleet.embedded.web import Web
    from fleet.wsgi import application
    from tests.benchmarks.yard import make_yard

    yard = make_yard()
    web = Web(application, host=HOST, port=0, take_next=False)
    web.start()
    alone = Alone(Path(settings.STATE_DIR) / "alone.sqlite3", settings.SQLITE_OPTIONS, yard.sending.unit_ids)
    say(json.dumps({"port": web.port, "now": yard.now.isoformat(), "token": yard.sending.integrator}))
    for _ in sys.stdin:
        say(f"{alone.rows_per_second():.1f}")
    web.stop()


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


class Alone:
    """The same rows by sqlite3: one insert and one upsert of the newest for each, many at a time."""

    def __init__(self, path: Path, options: dict[str, Any], unit_ids: list[int]) -> None:
        self._unit_ids, self._at = unit_ids, 0
        self._connection = sqlite3.connect(path, isolation_level=None)
        self._connection.executescript(options["init_command"])
        values = (*FLOATS, *FLAGS)
        self._connection.executescript(
            f"CREATE TABLE reading ({', '.join(NAMES)}, PRIMARY KEY (unit_id, at, source_id));"
            f"CREATE TABLE state (unit_id INTEGER PRIMARY KEY, at, {', '.join(values)});"
        )
        marks = ", ".join("?" * len(NAMES))
        self._insert = f"INSERT OR IGNORE INTO reading ({', '.join(NAMES)}) VALUES ({marks})"
        self._upsert = (
            f"INSERT INTO state (unit_id, at, {', '.join(values)}) VALUES ({', '.join('?' * (len(values) + 2))})"
            " ON CONFLICT (unit_id) DO UPDATE SET "
            + ", ".join(f"{name} = excluded.{name}" for name in ("at", *values))
            + " WHERE excluded.at > at"
        )

    def rows_per_second(self) -> float:
        begun = time.perf_counter()
        for batch in range(BATCHES):
            self._at += 1
            first = batch * BATCH % len(self._unit_ids)
            units = self._unit_ids[first : first + BATCH]
            at = f"2027-01-01 00:00:00.{self._at:06d}"
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(self._insert, [(unit, at, 1, self._at, *VALUES) for unit in units])
            self._connection.executemany(self._upsert, [(unit, at, *VALUES) for unit in units])
            self._connection.execute("COMMIT")
        return BATCHES * BATCH / (time.perf_counter() - begun)


if __name__ == "__main__":
    main()
