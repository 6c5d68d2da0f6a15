"""Readings per second: over HTTP, by psycopg alone, and by the framework's own serializer, interleaved in one run."""

from __future__ import annotations

import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from itertools import count
from typing import Any

import orjson
import psycopg

from fleet.stamps import stamp
from tests.benchmarks import raw_writer
from tests.benchmarks.ground import ROOT, Ground
from tests.benchmarks.yard import OF_EACH, SENDERS, Client, Yard, number_of, reading

BATCH = OF_EACH
BATCHES = 240
"""Per round, shared by the senders or the raw connections: rounds of a second or more."""
PLAIN_BATCHES = 2
_turns = count()


@dataclass(frozen=True, slots=True)
class Rates:
    """Rows per second, one value per round."""

    http: list[float]
    with_units: list[float]
    """The same, one value of each reading with a unit of its own: such readings are read and folded one by one."""
    raw: list[float]
    plain: list[float]

    @property
    def over_raw(self) -> float:
        return statistics.median(h / r for h, r in zip(self.http, self.raw, strict=True))

    @property
    def with_units_over_raw(self) -> float:
        return statistics.median(h / r for h, r in zip(self.with_units, self.raw, strict=True))

    @property
    def over_plain(self) -> float:
        return statistics.median(self.http) / statistics.median(self.plain)


def measure_ingest(ground: Ground, yard: Yard, *, rounds: int) -> Rates:
    with psycopg.connect(ground.dsn, autocommit=True) as connection:
        connection.execute(raw_writer.TABLES)
        connection.execute("ANALYZE")
    rates = Rates([], [], [], [])
    to = (ground.web_port, yard.sending.integrator, yard.now)
    for _ in range(2):  # every thread of the web processes has a connection, whose statements are planned a few times
        over_http(*to)
    for turn in range(rounds):
        rates.raw.append(by_psycopg(ground, yard, turn))
        rates.http.append(over_http(*to))
        rates.with_units.append(over_http(*to, batches=BATCHES // 4, ambient_c={"value": 14, "unit": "degF"}))
        rates.plain.append(by_serializer(ground, yard, turn))
    return rates


def over_http(port: int, token: str, now: datetime, *, batches: int = BATCHES, **said: Any) -> float:
    """Rows per second through `POST /api/v1/events/`, all of them new, later than *now*; *said* changes what each says.

    Each sender has a connection, and connections are not spread evenly over the web processes. So a round ends when so
    many batches are stored, whoever sent them: while some senders had nothing left, less than the service would work.
    """
    # Each batch is newer than those before it, as of units that report: the state of every unit moves, as raw moves it.
    shares = [_bodies(now, sender, batches // 2, said) for sender in range(SENDERS)]
    turns, lock = iter(range(batches)), threading.Lock()

    def post(client: Client, share: Sequence[bytes]) -> None:
        for body in share:
            with lock:
                if next(turns, None) is None:
                    return
            client.send("POST", "/api/v1/events/", body, status=207)

    clients = [Client(port, token) for _ in shares]
    return batches * BATCH / together([partial(post, c, s) for c, s in zip(clients, shares, strict=True)])


def _bodies(now: datetime, sender: int, count: int, said: Mapping[str, Any]) -> list[bytes]:
    """One reading of each of the sender's units, again and again; only their time moves, which is fixed in width."""
    first = now + timedelta(microseconds=1)
    units = [number_of(sender * OF_EACH + i) for i in range(BATCH)]
    body = orjson.dumps([reading(unit, first, id_=f"{unit}-{stamp(first)}", **said) for unit in units])
    old = stamp(first).encode()
    times = (now + next(_turns) * timedelta(milliseconds=20) for _ in range(count))
    return [body.replace(old, stamp(at).encode()) for at in times]


def together(calls: Sequence[Callable[[], None]]) -> float:
    """Seconds until all calls, each in a thread, are done. *Raises* what the first of them raised."""
    failed: list[Exception] = []

    def run(call: Callable[[], None]) -> None:
        try:
            call()
        except Exception as error:  # noqa: BLE001 - raised again below
            failed.append(error)

    threads = [threading.Thread(target=run, args=(call,)) for call in calls]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]
    return time.perf_counter() - begun


def by_psycopg(ground: Ground, yard: Yard, turn: int) -> float:
    """Rows per second of two processes with one connection each."""
    half, ids = BATCHES // 2, yard.sending.unit_ids
    middle = len(ids) // 2
    sides = ((ids[0], ids[middle - 1]), (ids[middle], ids[-1]))
    writers = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.raw_writer", ground.dsn]
            + [str(value) for value in (first, last, yard.sending.source_id, turn, half, BATCH)],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for first, last in sides
    ]  # fmt: skip
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline().strip() == "ready"
    answers = []
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()
    for writer in writers:
        answers.append(float(writer.communicate(timeout=120)[0]))
    return 2 * half * BATCH / max(answers)


def by_serializer(ground: Ground, yard: Yard, turn: int) -> float:
    """Rows per second of `ModelSerializer(many=True)`, two clients."""
    clients = [Client(ground.web_port, yard.integrator) for _ in range(2)]
    start = yard.now - timedelta(days=400 + turn)
    values = dict(zip((*raw_writer.FLOATS, *raw_writer.FLAGS), raw_writer.VALUES, strict=True))
    bodies = [
        orjson.dumps(
            [
                {"unit": unit_id, "at": start + timedelta(seconds=b), "source": yard.source_id, "content_hash": b}
                | values
                for unit_id in yard.unit_ids[:BATCH]
            ]
        )
        for b in range(PLAIN_BATCHES)
    ]

    def post(client: Client, body: bytes) -> None:
        client.send("POST", "/bench/plain-readings/", body, status=201)

    calls = [partial(post, clients[b % 2], body) for b, body in enumerate(bodies)]
    return PLAIN_BATCHES * BATCH / together(calls)
