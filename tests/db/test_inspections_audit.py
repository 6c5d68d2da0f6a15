"""The audit chain: what it finds, and what it cannot find."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from fleet.models import AuditEntry
from fleet.records.audit import record_act
from fleet.records.seal import FIRST, SETTLE, seal_entries, verify_chain

pytestmark = pytest.mark.django_db


@pytest.fixture
def acts(tarn, other, now):
    """Five sealed acts of Tarn, and one of the other fleet between them."""
    for number in range(5):
        record_act(None, act=f"test.{number}", subject=tarn.policy, at=now, content={"litres": number * 1.0})
        if number == 2:
            record_act(None, act="test.other", subject=other.policy, at=now)
    assert seal_entries(now + SETTLE) == 6
    return AuditEntry.objects.for_fleet(tarn).order_by("seq")


def verify(*args: str) -> str:
    out = StringIO()
    call_command("verify_audit", *args, stdout=out)
    return out.getvalue()


def test_entries_are_numbered_per_fleet_without_gaps(acts, tarn, other):
    assert list(acts.values_list("seq", flat=True)) == [1, 2, 3, 4, 5]
    first, second = acts[0], acts[1]
    assert (first.prev_hash, second.prev_hash) == (FIRST, first.hash)
    assert AuditEntry.objects.for_fleet(other).get().seq == 1
    assert verify_chain(tarn.pk).faults == []


def test_sealing_again_changes_nothing_and_goes_on_from_the_head(acts, tarn, now):
    head = acts.last().hash
    assert seal_entries(now + SETTLE) == 0
    record_act(None, act="test.more", subject=tarn.policy, at=now)
    assert seal_entries(now + SETTLE) == 1
    assert (acts.last().seq, acts.last().prev_hash) == (6, head)


def test_entries_of_this_moment_wait_for_transactions_still_open(tarn, now):
    record_act(None, act="test.young", subject=tarn.policy, at=now)
    assert seal_entries(now + timedelta(seconds=1)) == 0
    assert verify_chain(tarn.pk).unsealed == 1


@pytest.mark.parametrize(
    "change",
    [
        {"content": {"litres": 99}},
        {"act": "test.nothing"},
        {"actor_name": "somebody else"},
        {"object_id": "7"},
        {"request_id": "x"},
    ],
)
def test_an_altered_row_is_found(acts, tarn, change):
    acts.filter(seq=3).update(**change)
    [fault] = verify_chain(tarn.pk).faults
    assert (fault.seq, fault.words) == (3, "was altered after it was sealed")
    with pytest.raises(CommandError, match="1 faults"):
        verify()


def test_an_altered_row_with_a_fresh_hash_is_found_at_the_next_one(acts, tarn):
    from fleet.records.seal import entry_hash

    row = acts.get(seq=3)
    row.content = {"litres": 99}
    row.hash = entry_hash(row)
    row.save()
    assert [(fault.seq, fault.words) for fault in verify_chain(tarn.pk).faults] == [
        (4, "does not follow the entry before it")
    ]


def test_a_row_removed_from_the_middle_is_found(acts, tarn):
    acts.filter(seq=2).delete()
    assert [fault.words for fault in verify_chain(tarn.pk).faults] == ["entries 2 to 2 are missing"]


def test_a_chain_does_not_show_that_its_end_was_cut_off_but_a_head_kept_elsewhere_does(acts, tarn):
    head = acts.last()
    kept = f"tarn:{head.seq}:{head.hash}"
    assert kept in verify("--head", kept)
    acts.filter(seq__gte=4).delete()
    assert verify_chain(tarn.pk).faults == []
    assert "Every chain holds" in verify()
    with pytest.raises(CommandError):
        verify("--head", kept)


def test_a_made_up_head_is_refused(acts):
    for text in ("tarn", "tarn:x:y", f"nobody:1:{FIRST}"):
        with pytest.raises(CommandError):
            verify("--head", text)
