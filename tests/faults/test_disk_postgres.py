"""The disk under PostgreSQL fills: first tables cannot grow, then its log cannot, and then it stops."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import psycopg
import pytest

from tests.faults.disk import SmallDisk, small_disk
from tests.faults.ground import Broker, Postgres, folder
from tests.faults.processes import Service
from tests.faults.receivers import Receivers
from tests.faults.report import Result
from tests.faults.stage import Stage, now_s
from tests.faults.yard import STORAGE_FULL, Yard
from tests.waiting import wait_for

MIB = 256
UNITS = 4
SEGMENTS = 40
"""More segments of its log than it keeps ready."""


@dataclass(slots=True)
class Place:
    service: Service
    postgres: Postgres
    disk: SmallDisk
    yard: Yard

    def count(self, sql: str) -> int:
        with psycopg.connect(self.postgres.server_dsn("small"), autocommit=True) as connection:
            row = connection.execute(sql.encode()).fetchone()
        assert row is not None
        return int(row[0])

    def stored(self) -> dict[str, int]:
        return {
            "readings": self.count("SELECT count(*) FROM fleet_reading") - UNITS,
            "inspections": self.count("SELECT count(*) FROM inspections_inspection WHERE state = 'signed'"),
            "photos": self.count("SELECT count(*) FROM inspections_photo"),
        }

    def photo_files(self) -> int:
        return sum(path.is_file() for path in (self.service.folder / "state" / "photos").rglob("*"))

    def up(self) -> bool:
        try:
            return self.count("SELECT 1") == 1
        except psycopg.OperationalError:
            return False

    def assert_whole(self) -> None:
        assert self.stored() == self.yard.taken
        assert self.photo_files() == self.yard.taken["photos"]

    def works_again(self) -> float:
        begun = now_s()
        wait_for("it to take everything again", self.yard.send_again, within_s=60)
        assert self.yard.inspect()
        assert self.yard.photograph()
        return now_s() - begun


@pytest.fixture
def small(broker: Broker, receivers: Receivers) -> Iterator[Place]:
    """Web and sweep on a PostgreSQL whose folder is a small disk; photos lie elsewhere."""
    with folder() as own, small_disk(own / "disk", mib=MIB) as disk:
        postgres = Postgres(disk.folder)
        postgres.start()
        service = Service(own, Stage.settings(postgres.make_database("small"), broker.url, receivers))
        try:
            service.migrate()
            yard = Yard(service.web_port, service.found(prefix="pgdisk", units=UNITS)[0])
            service.start_web()
            service.start_sweep()
            assert yard.post_readings(4)
            assert yard.inspect()
            assert yard.photograph()
            yield Place(service, postgres, disk, yard)
        finally:
            service.stop()
            if postgres.running():
                postgres.stop("immediate")


def test_postgresql_on_a_full_disk_refuses_then_stops_and_keeps_what_was_taken(small: Place) -> None:
    small.disk.fill()
    small.yard.fill_with_readings()
    small.yard.fill_with_inspections()
    small.yard.fill_with_photos()
    assert set(small.yard.refused) == STORAGE_FULL
    refused = small.yard.refused.total()
    assert set(small.yard.reads().values()) == {200}
    small.assert_whole()
    small.disk.make_room()
    tables_s = small.works_again()
    small.assert_whole()
    Result(
        "disk of PostgreSQL full: tables cannot grow", 1, sum(small.yard.taken.values()), sum(small.stored().values()),
        longest_delay_s=tables_s,
        note=f"{refused} requests answered 507, reads 200; the delay is from the room to all taken, without restart",
    ).save("45-disk-postgres")  # fmt: skip


def test_postgresql_that_cannot_write_its_log_stops_and_comes_back_when_it_is_started(small: Place) -> None:
    small.disk.fill()
    wait_for("PostgreSQL to stop for want of room", lambda: not _write_log(small), within_s=60)
    refused = small.yard.post_readings(1), small.yard.photograph()
    alive = small.service.ask("/livez")[0], small.service.ask("/readyz")[0]
    small.disk.make_room()
    by_itself = small.up()
    if not by_itself:
        small.postgres.start()
    back_s = small.works_again()
    note = (
        f"it stops, requests are 503; {'it' if by_itself else 'started by hand it'} recovers; nothing of ours restarted"
    )
    Result(
        "disk of PostgreSQL full: its log cannot grow", 1, sum(small.yard.taken.values()),
        sum(small.stored().values()), longest_delay_s=back_s, note=note,
    ).save("46-disk-postgres-log")  # fmt: skip
    assert refused == (False, False)
    assert set(small.yard.refused) <= {f"{what}: 503 unavailable, again in 5 s" for what in ("readings", "photos")}
    assert alive == (200, 503)
    assert small.service.alive() == ["sweep", "web"]
    small.assert_whole()


def _write_log(small: Place) -> bool:
    """Asks for the next segment of the log; whether the server is still there afterwards."""
    try:
        small.postgres.execute("SELECT pg_switch_wal() FROM pg_logical_emit_message(false, 'x', 'x')", database="small")
    except psycopg.Error:
        return small.up()
    return True
