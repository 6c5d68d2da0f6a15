"""The life of a defect as a fold: every order of arrival ends in the same defects."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.defects import Looked, Mended, fold

NOON = datetime(2027, 1, 12, 12, tzinfo=UTC)


def looked(minute: int, outcome: str, *, blocks: bool = True, id_: int = 0) -> Looked:
    return Looked(NOON + timedelta(minutes=minute), id_ or minute, outcome, blocks)


def mended(minute: int) -> Mended:
    return Mended(NOON + timedelta(minutes=minute), minute)


@pytest.mark.parametrize(
    ("events", "states"),
    [
        ([], []),
        ([looked(1, "sound"), looked(2, "wear"), looked(3, "not_seen")], []),
        ([looked(1, "defect")], ["open"]),
        ([looked(1, "defect"), looked(2, "sound")], ["open"]),
        ([looked(1, "defect", blocks=False), looked(2, "sound")], ["closed"]),
        ([looked(1, "defect", blocks=False), looked(2, "wear")], ["open"]),
        ([looked(1, "defect"), mended(2)], ["repaired"]),
        ([looked(1, "defect"), mended(2), looked(3, "not_seen")], ["repaired"]),
        ([looked(1, "defect"), mended(2), looked(3, "sound")], ["closed"]),
        ([looked(1, "defect"), mended(2), looked(3, "wear")], ["closed"]),
        ([looked(1, "defect"), mended(2), looked(3, "defect")], ["open"]),
        ([looked(1, "defect"), mended(2), looked(3, "sound"), looked(4, "defect")], ["closed", "open"]),
        ([looked(1, "defect"), looked(2, "sound"), mended(3)], ["repaired"]),
        ([mended(1), looked(2, "defect")], ["open"]),
        ([looked(1, "defect"), mended(1), looked(1, "sound", id_=9)], ["closed"]),
    ],
)
def test_a_defect_closes_only_when_it_was_signed_for_and_then_seen_in_order(events, states):
    assert [str(episode.state) for episode in fold(events)] == states


def test_a_defect_that_once_blocked_blocks_until_it_is_closed():
    [episode] = fold([looked(1, "defect", blocks=False), looked(2, "defect"), looked(3, "sound")])
    assert (episode.blocks, str(episode.state), episode.opened_by, episode.seen_at) == (
        True, "open", 1, NOON + timedelta(minutes=2),
    )  # fmt: skip


EVENTS = st.lists(
    st.one_of(
        st.builds(looked, st.integers(0, 20), st.sampled_from(["sound", "wear", "defect", "not_seen"])),
        st.builds(mended, st.integers(0, 20)),
    ),
    max_size=12,
    unique_by=lambda event: (type(event), event.id),
)


@given(EVENTS, st.randoms(use_true_random=False))
def test_the_order_of_arrival_does_not_matter(events, random):
    shuffled = list(events)
    random.shuffle(shuffled)
    assert fold(shuffled) == fold(events)


@given(EVENTS)
def test_nothing_but_a_signature_and_a_later_look_closes_a_blocking_defect(events):
    for episode in fold(events):
        if str(episode.state) == "closed":
            assert episode.repaired_at is not None
            assert episode.closed_at is not None
            assert episode.opened_at <= episode.repaired_at <= episode.closed_at
