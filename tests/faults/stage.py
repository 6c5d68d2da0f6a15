"""The running service with everything that can be broken about it, and the questions asked of it from outside."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, ClassVar

import psycopg

from tests.faults.ground import Broker, Postgres
from tests.faults.processes import Service
from tests.faults.receivers import Receivers
from tests.faults.sender import Sender
from tests.waiting import wait_for

PROCESSES = ("web", "worker-assess", "worker-deliver", "sweep")


@dataclass(frozen=True, slots=True)
class Scene:
    """Fleets made for one fault."""

    fleets: list[dict[str, Any]]

    @property
    def units(self) -> list[str]:
        return [number for fleet in self.fleets for number in fleet["units"]]

    @property
    def apart(self) -> list[Scene]:
        """One scene for each of its fleets."""
        return [Scene([fleet]) for fleet in self.fleets]

    def senders(self, port: int) -> list[Sender]:
        return [Sender(port, fleet["integrator"]) for fleet in self.fleets]


@dataclass(slots=True)
class Stage:
    service: Service
    postgres: Postgres
    broker: Broker
    receivers: Receivers
    database: str
    LOST_HOST: ClassVar[str] = "lost.invalid"
    """A host that a webhook may reach and that no resolver knows (RFC 6761)."""

    @staticmethod
    def settings(dsn: str, broker_url: str, receivers: Receivers) -> dict[str, str]:
        host = "127.0.0.1"
        return {
            "WARMGATE_DATABASE_URL": dsn,
            "WARMGATE_BROKER_URL": broker_url,
            "WARMGATE_SMTP_HOST": host,
            "WARMGATE_SMTP_PORT": str(receivers.mailbox.port),
            "WARMGATE_WEBHOOK_ALLOWED_HOSTS": f"{host}:{receivers.hooks.port},{Stage.LOST_HOST}",
        }

    def scene(self, prefix: str, **wanted: Any) -> Scene:
        """New fleets whose units have trips that leave within two hours and that nothing blocks yet.

        *wanted*: fleets, units (of each), hook (URL), mail (tests/faults/found.py).
        """
        scene = Scene(self.service.found(prefix=prefix, **wanted))
        wait_for("the first assessments", lambda: self.assessed(scene) == len(scene.units), within_s=60)
        return scene

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with psycopg.connect(self.postgres.server_dsn(self.database), autocommit=True) as connection:
            return connection.execute(sql.encode(), values or None).fetchall()

    def change(self, sql: str, *values: Any) -> None:
        self.postgres.execute(sql, *values, database=self.database)

    def count(self, sql: str, *values: Any) -> int:
        return int(self.rows(sql, *values)[0][0])

    def assessed(self, scene: Scene) -> int:
        return self.count(
            "SELECT count(DISTINCT a.trip_id) FROM fleet_assessment a JOIN fleet_unit u ON u.id = a.unit_id"
            " WHERE u.number = ANY(%s)",
            scene.units,
        )

    def stored(self, scene: Scene) -> int:
        """Readings of these fleets' units, without the one of each that the scene began with."""
        found = self.count(
            "SELECT count(*) FROM fleet_reading r JOIN fleet_unit u ON u.id = r.unit_id WHERE u.number = ANY(%s)",
            scene.units,
        )
        return found - len(scene.units)

    def mend(self) -> None:
        """Starts whatever is not running."""
        if not self.postgres.running():
            self.postgres.start()
        if not self.broker.answers():
            self.broker.kill()
            self.broker.start()
        for name in PROCESSES:
            process = self.service.running.get(name)
            if process is not None and process.poll() is None:
                continue
            self.service.running.pop(name, None)
            if name == "web":
                self.service.start_web()
            elif name == "sweep":
                self.service.start_sweep()
            else:
                self.service.start_worker(name.removeprefix("worker-"))

    def worker_ready(self, queue: str) -> bool:
        """Whether the newest start of this worker has found the broker."""
        return " ready." in self.service.logged(f"worker-{queue}").rpartition("[config]")[2]

    @staticmethod
    def in_background(work: Callable[[], Any]) -> Future[Any]:
        """The result of *work*, which runs in a thread of its own."""
        future: Future[Any] = Future()

        def run() -> None:
            try:
                future.set_result(work())
            except BaseException as error:  # noqa: BLE001 - carried to whoever asks for the result
                future.set_exception(error)

        threading.Thread(target=run, daemon=True).start()
        return future

    @contextmanager
    def locked(self, table: str, where: str, *values: Any) -> Iterator[psycopg.Connection[Any]]:
        """Rows held by somebody else's transaction: whoever needs them stops in the middle of its own."""
        with psycopg.connect(self.postgres.server_dsn(self.database)) as connection:
            connection.execute(f"SELECT 1 FROM {table} WHERE {where} FOR UPDATE".encode(), values or None)
            yield connection

    def waiting(self, *, longer_than_s: float = 0.0) -> int:
        """Transactions of the service that wait for a row, in a statement that began so long ago.

        A batch of events gives up its first try at once where somebody holds one of its units, and waits in its second.
        """
        return self.count(
            "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'"
            f" AND clock_timestamp() - query_start >= interval '{longer_than_s} s'"
        )

    def all_told(self, scene: Scene, *, within_s: float) -> dict[str, float]:
        """When each unit of the scene was first told of, once all were."""

        def look() -> dict[str, float] | None:
            told = self.receivers.told(scene.units)
            return told if len(told) == len(scene.units) else None

        told: dict[str, float] = wait_for(
            f"messages about {len(scene.units)} units", look, within_s=within_s, look_every_s=0.1
        )
        return told

    def quiet(self, scene: Scene, *, within_s: float = 30) -> None:
        """Waits until nothing of the scene's messages is on its way any more."""
        units = scene.units
        wait_for(
            "no message on its way",
            lambda: (
                not self.count(
                    "SELECT count(*) FROM alarms_delivery d JOIN alarms_notice n ON n.id = d.notice_id"
                    " JOIN fleet_unit u ON u.id = n.unit_id WHERE u.number = ANY(%s)"
                    " AND d.state IN ('leased', 'queued', 'retry_wait')"
                    " AND d.next_attempt_at < now() + interval '1 min'",
                    units,
                )
            ),
            within_s=within_s,
            look_every_s=0.2,
        )


def longest(told: dict[str, float], since: float | dict[str, float]) -> float:
    """The longest time from the event to the message [s]."""
    return max(at - (since[unit] if isinstance(since, dict) else since) for unit, at in told.items())


def now_s() -> float:
    return time.time()
