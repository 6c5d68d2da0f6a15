"""Run as a process of its own: offers batches of events over raw sockets and prints what became of each.

Bodies are one template with a number and a time put in, so that offering costs next to nothing of the processors that
the service has to share with us. With a rate it is open-loop: a batch is due at its moment, whether or not earlier ones
are answered. At most so many connections are open; what finds none free goes out late, which is counted. Without a rate
each connection sends the next batch as soon as it is answered. `numbers` are batches to be delivered: sent again, after
the time they were told, until they are taken.
"""

from __future__ import annotations

import json
import selectors
import socket
import sys
import time
from collections import deque
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any

HOST = "127.0.0.1"
NUMBER, MOMENT = b"########", b"@" * 23
LAST_ANSWERS_S = 30.0
LATE_S = 0.1
SHED = frozenset({429, 503})


@dataclass(frozen=True, slots=True)
class Plan:
    """`fleets`: token and units of each. `start_s`: the Unix time of batch 0; each batch is 1 ms after the last."""

    port: int
    fleets: list[dict[str, Any]]
    event: dict[str, Any]
    start_s: float
    connections: int
    rounds: int = 5
    """Readings of each unit in a batch."""
    seconds: float = 0.0
    rate: float | None = None
    first: int = 0
    numbers: list[int] | None = None


@dataclass(slots=True)
class Record:
    """What was answered, by the numbers of the batches."""

    offered: int = 0
    late: int = 0
    seconds: float = 0.0
    taken: dict[int, int] = field(default_factory=dict)
    """Items that the service said it has stored."""
    refused: list[int] = field(default_factory=list)
    unanswered: list[int] = field(default_factory=list)
    statuses: dict[int, int] = field(default_factory=dict)
    without_retry_after: int = 0
    taken_ms: list[float] = field(default_factory=list)
    refused_ms: list[float] = field(default_factory=list)
    cpu_s: float = 0.0


class Bodies:
    """The request of every number: the fleets in turn, each event with a time and an id of its own."""

    def __init__(self, plan: Plan) -> None:
        self._start_s = plan.start_s
        self._templates = [_template(plan, fleet) for fleet in plan.fleets]

    def request(self, number: int) -> bytes:
        head, body = self._templates[number % len(self._templates)]
        at = datetime.fromtimestamp(self._start_s + number / 1000, UTC)
        moment = at.isoformat(timespec="milliseconds")[: len(MOMENT)].encode()
        return head + body.replace(NUMBER, b"%08d" % number).replace(MOMENT, moment)


def _template(plan: Plan, fleet: dict[str, Any]) -> tuple[bytes, bytes]:
    events = [
        plan.event
        | {"id": f"f-{unit}-{NUMBER.decode()}-{turn}", "time": f"{MOMENT.decode()}{turn:03d}Z", "subject": unit}
        for turn in range(plan.rounds)
        for unit in fleet["units"]
    ]
    body = json.dumps(events, separators=(",", ":")).encode()
    head = (
        f"POST /api/v1/events/ HTTP/1.1\r\nHost: {HOST}:{plan.port}\r\nAuthorization: Bearer {fleet['integrator']}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode(), body


class Connection:
    """One connection with at most one batch on it."""

    def __init__(self, port: int, selector: selectors.BaseSelector) -> None:
        self._port, self._selector = port, selector
        self._socket: socket.socket | None = None
        self._out, self._in = memoryview(b""), bytearray()
        self.number: int | None = None
        self.begun = 0.0

    def send(self, number: int, request: bytes) -> None:
        self.number, self.begun = number, time.monotonic()
        self._out, self._in = memoryview(request), bytearray()
        if self._socket is None:
            self._socket = socket.create_connection((HOST, self._port), timeout=10)
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._socket.setblocking(False)
            self._selector.register(self._socket, selectors.EVENT_READ, self)
        self.work(selectors.EVENT_WRITE)

    def work(self, ready: int) -> tuple[int, bytes, bytes] | None:
        """Sends and reads what goes; the answer (status, head, body) once it is whole. *Raises* OSError."""
        assert self._socket is not None
        if ready & selectors.EVENT_WRITE and self._out:
            try:
                self._out = self._out[self._socket.send(self._out) :]
            except BlockingIOError:
                pass
            except (BrokenPipeError, ConnectionResetError):
                self._out = memoryview(b"")  # whoever answers before it has read may still have answered
            events = selectors.EVENT_READ | (selectors.EVENT_WRITE if self._out else 0)
            self._selector.modify(self._socket, events, self)
        if ready & selectors.EVENT_READ:
            piece = self._socket.recv(65536)
            if not piece:
                raise ConnectionResetError
            self._in += piece
        return self._whole()

    def _whole(self) -> tuple[int, bytes, bytes] | None:
        head, end, body = bytes(self._in).partition(b"\r\n\r\n")
        if not end:
            return None
        head = head.lower()
        length = int(head.partition(b"content-length:")[2].partition(b"\r\n")[0])
        if len(body) < length:
            return None
        if b"\r\nconnection: close" in head or self._out:
            self.close()
        return int(head[9:12]), head, body

    def close(self) -> None:
        if self._socket is not None:
            self._selector.unregister(self._socket)
            self._socket.close()
            self._socket = None


class Flood:
    def __init__(self, plan: Plan) -> None:
        self.plan, self.record, self._bodies = plan, Record(), Bodies(plan)
        self._selector = selectors.DefaultSelector()
        self._free = [Connection(plan.port, self._selector) for _ in range(plan.connections)]
        self._busy: set[Connection] = set()
        self._again = deque((0.0, number) for number in plan.numbers or ())

    def run(self) -> Record:
        begun = time.monotonic()
        while self._more(time.monotonic() - begun):
            while self._free and (number := self._next(time.monotonic() - begun)) is not None:
                self._offer(number)
            self._answers(0.001)
        self.record.seconds = time.monotonic() - begun
        until = time.monotonic() + LAST_ANSWERS_S
        while self._busy and time.monotonic() < until:
            self._answers(0.1)
        self.record.unanswered += [one.number for one in self._busy if one.number is not None]
        self.record.cpu_s = time.process_time()
        return self.record

    def _more(self, passed_s: float) -> bool:
        if self.plan.numbers is not None:
            return bool(self._again or self._busy)
        return passed_s < self.plan.seconds

    def _next(self, passed_s: float) -> int | None:
        """The number of the batch that is due now, if one is."""
        if self.plan.numbers is not None:
            return self._again.popleft()[1] if self._again and self._again[0][0] <= time.monotonic() else None
        number = self.record.offered
        if self.plan.rate is not None:
            if number >= self.plan.rate * passed_s:
                return None
            self.record.late += passed_s - number / self.plan.rate > LATE_S
        return self.plan.first + number

    def _offer(self, number: int) -> None:
        connection = self._free.pop(0)
        self.record.offered += 1
        self._busy.add(connection)
        try:
            connection.send(number, self._bodies.request(number))
        except OSError:
            self._broken(connection)

    def _answers(self, wait_s: float) -> None:
        for key, ready in self._selector.select(wait_s):
            connection: Connection = key.data
            try:
                answer = connection.work(ready)
            except OSError:
                self._broken(connection)
                continue
            if answer is not None and connection in self._busy:
                self._note(connection, *answer)

    def _note(self, connection: Connection, status: int, head: bytes, body: bytes) -> None:
        number = self._take_back(connection)
        took_ms = (time.monotonic() - connection.begun) * 1000
        self._count(status)
        if status == 207:
            said = json.loads(body)
            self.record.taken[number] = said["accepted"] + said["duplicate"]
            self.record.taken_ms.append(took_ms)
            return
        wait = head.partition(b"\r\nretry-after:")[2].partition(b"\r\n")[0].strip()
        self.record.without_retry_after += not (status in SHED and wait.isdigit() and int(wait) > 0)
        self.record.refused_ms.append(took_ms)
        if self.plan.numbers is None:
            self.record.refused.append(number)
        else:
            self._again.append((time.monotonic() + float(wait or 1), number))

    def _broken(self, connection: Connection) -> None:
        connection.close()
        if connection in self._busy:
            self._count(0)
            number = self._take_back(connection)
            if self.plan.numbers is None:
                self.record.unanswered.append(number)
            else:
                self._again.append((time.monotonic() + 1, number))

    def _count(self, status: int) -> None:
        self.record.statuses[status] = self.record.statuses.get(status, 0) + 1

    def _take_back(self, connection: Connection) -> int:
        assert connection.number is not None
        number, connection.number = connection.number, None
        self._busy.discard(connection)
        self._free.append(connection)
        return number


if __name__ == "__main__":
    sys.stdout.write(json.dumps(asdict(Flood(Plan(**json.loads(sys.stdin.read()))).run())))
