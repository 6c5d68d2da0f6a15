"""The disk under the embedded service fills to its last byte, and there is room again while the service runs."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from tests.faults.disk import SmallDisk, small_disk
from tests.faults.embedded import Embedded
from tests.faults.ground import folder
from tests.faults.receivers import Receivers
from tests.faults.report import Result
from tests.faults.sender import blocking
from tests.faults.stage import Scene, longest, now_s
from tests.faults.yard import STORAGE_FULL, Yard
from tests.waiting import wait_for

UNITS, BLOCKED = 4, 2
MIB = 8
LEASE_S = 60
"""A message that was claimed when there was room for the claim and none for its result is due again after this."""


@dataclass(slots=True)
class Place:
    embedded: Embedded
    disk: SmallDisk
    scene: Scene
    yard: Yard

    @property
    def blocked(self) -> list[str]:
        return self.scene.units[:BLOCKED]

    def photo_files(self) -> list[str]:
        """What the files of photos are, by their content."""
        found = (path for path in (self.disk.folder / "photos").rglob("*") if path.is_file())
        return sorted(hashlib.sha256(path.read_bytes()).hexdigest() for path in found)

    def photo_rows(self) -> list[str]:
        return sorted(row[0] for row in self.embedded.rows("SELECT sha256 FROM inspections_photo"))

    def stored(self) -> dict[str, int]:
        """What is found of what the yard counts."""
        signed = "SELECT count(*) FROM inspections_inspection WHERE state = 'signed'"
        return {
            "readings": self.embedded.stored(self.scene),
            "inspections": self.embedded.count(signed),
            "photos": len(self.photo_rows()),
        }

    def assert_whole(self) -> None:
        """Nothing half-written and nothing lost: rows, files, the database's own look at itself."""
        assert self.stored() == self.yard.taken
        assert self.photo_files() == self.photo_rows()
        assert self.embedded.sound()

    def assert_reads(self) -> None:
        assert set(self.yard.reads().values()) == {200}
        assert self.embedded.service.ask("/readyz")[0] == 200

    def works_again(self) -> float:
        """Seconds until everything of each kind is taken, what was refused as well."""
        begun = now_s()
        wait_for("it to take everything again", self.yard.send_again, within_s=30)
        assert self.yard.inspect()
        assert self.yard.photograph()
        return now_s() - begun

    def save(self, fault: str, name: str, note: str, *, due: int | None = None, since: float = 0.0) -> None:
        receivers, taken = self.embedded.receivers, sum(self.yard.taken.values())
        told = receivers.told(self.blocked)
        Result(
            fault, 1, taken, sum(self.stored().values()), due, None if due is None else len(told),
            None if due is None else receivers.repeats(self.blocked), longest(told, since) if due else since, note,
        ).save(name)  # fmt: skip


@pytest.fixture
def small(receivers: Receivers) -> Iterator[Place]:
    """The embedded service with its state on a small disk, running, and something taken of each kind."""
    receivers.take_all()
    with folder() as own, small_disk(own / "state", mib=MIB) as disk:
        embedded = Embedded.at(own, receivers)
        embedded.service.migrate()
        scene = embedded.scene(f"disk{time.monotonic_ns()}x", units=UNITS)
        try:
            embedded.start()
            assessed = "SELECT count(DISTINCT trip_id) FROM fleet_assessment"
            wait_for("the first assessments", lambda: embedded.count(assessed) >= UNITS, within_s=60)
            yard = Yard(embedded.service.web_port, scene.fleets[0])
            assert yard.post_readings(4)
            assert yard.inspect()
            assert yard.photograph()
            yield Place(embedded, disk, scene, yard)
        finally:
            embedded.service.stop()
            receivers.take_all()


@pytest.mark.short
def test_on_a_full_disk_it_refuses_by_name_and_goes_on_reading(small: Place) -> None:
    """Somebody else's file takes the last byte; what the database has room for in its own files is still taken."""
    small.disk.fill()
    small.yard.fill_with_readings()
    assert not small.yard.inspect()
    assert not small.yard.photograph()
    assert set(small.yard.refused) == STORAGE_FULL
    refused = small.yard.refused.total()
    small.assert_reads()
    small.assert_whole()
    small.disk.make_room()
    back_s = small.works_again()
    note = (
        f"{refused} requests answered 507, reads 200; the delay is from the room to everything taken, without restart"
    )
    small.save("disk of the embedded service full", "42-disk-full", note, since=back_s)
    small.assert_whole()


def test_readings_and_photos_fill_it_themselves_and_leave_no_halves(small: Place) -> None:
    small.yard.fill_with_photos()
    small.yard.fill_with_readings()
    assert not small.yard.inspect()
    small.yard.fill_with_photos()
    assert set(small.yard.refused) == STORAGE_FULL
    small.assert_reads()
    small.assert_whole()
    photos = small.yard.taken["photos"]
    small.disk.grow(mib=3 * MIB)
    back_s = small.works_again()
    note = f"{photos} photos and the readings filled it; every file whole; the delay is from more room to all taken"
    small.save("disk filled by photos and readings", "43-disk-filled", note, since=back_s)
    small.assert_whole()


def test_what_was_due_goes_out_once_there_is_room(small: Place) -> None:
    """The mail server drops what comes, so that messages wait for their next try while the disk fills."""
    receivers = small.embedded.receivers
    receivers.mailbox.mood = "drop_before"
    assert small.yard.post_events([blocking(unit, datetime.now(UTC)) for unit in small.blocked])
    tried = "SELECT count(*) FROM alarms_delivery WHERE attempts > 0"
    wait_for("a first try", lambda: small.embedded.count(tried) > 0, within_s=30)
    small.disk.fill()
    small.yard.fill_with_readings()
    receivers.take_all()
    time.sleep(LEASE_S / 2)  # whatever is sent now is sent on a full disk
    while_full = len(receivers.told(small.blocked))
    small.assert_reads()
    small.disk.make_room()
    room_at = now_s()

    def all_told() -> bool:
        return len(receivers.told(small.blocked)) == BLOCKED

    wait_for("the messages", all_told, within_s=2 * LEASE_S)
    small.works_again()
    note = f"{while_full} of them while it was full; the delay is from the room; what was claimed waits for its lease"
    small.save("disk full while messages are due", "44-disk-due", note, due=BLOCKED, since=room_at)
    small.assert_whole()
