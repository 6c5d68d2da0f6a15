"""The embedded service as a process, on a folder of its own, and the questions asked of its file from outside."""

from __future__ import annotations

import json
import sqlite3
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.processes import Service
from tests.faults.receivers import Receivers
from tests.faults.stage import Scene
from tests.waiting import wait_for


@dataclass(slots=True)
class Embedded:
    service: Service
    receivers: Receivers

    @classmethod
    def at(cls, folder: Path, receivers: Receivers) -> Embedded:
        settings = {
            "WARMGATE_SMTP_HOST": "127.0.0.1",
            "WARMGATE_SMTP_PORT": str(receivers.mailbox.port),
        }
        return cls(Service(folder, settings), receivers)

    @property
    def file(self) -> Path:
        return self.service.folder / "state" / "warmgate.sqlite3"

    def start(self, *, wait: bool = True, **more: str) -> None:
        port = str(self.service.web_port)
        self.service.start("serve", sys.executable, "manage.py", "serve", "--port", port, **more)
        if wait:
            self.wait_ready()

    def wait_ready(self) -> None:
        wait_for("the service", lambda: self.service.ask("/readyz")[0] == 200, within_s=60)

    def kill(self) -> None:
        self.service.kill("serve")

    def scene(self, prefix: str, *, fleets: int = 1, units: int = 8) -> Scene:
        return Scene(self.service.found(prefix=prefix, fleets=fleets, units=units))

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with closing(sqlite3.connect(f"{self.file.as_uri()}?mode=ro", uri=True, timeout=10)) as connection:
            return connection.execute(sql, values).fetchall()

    def count(self, sql: str, *values: Any) -> int:
        return int(self.rows(sql, *values)[0][0])

    def stored(self, scene: Scene) -> int:
        """Readings of all units, without the one of each that the scene began with."""
        found = self.count(
            "SELECT count(*) FROM fleet_reading r JOIN fleet_unit u ON u.id = r.unit_id"
            " WHERE u.number IN (SELECT value FROM json_each(?))",
            json.dumps(scene.units),
        )
        return found - len(scene.units)

    def sound(self) -> bool:
        """SQLite's own look at the whole file."""
        return self.rows("PRAGMA integrity_check") == [("ok",)]
