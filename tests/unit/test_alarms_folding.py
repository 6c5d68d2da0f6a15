"""The fold of fault events: any order gives the same records, and what closed a record is never replayed away."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alarms.folding import Cut, Episode, Report, fold

T0 = datetime(2027, 1, 12, 5, 0, tzinfo=UTC)


def at(minute: float) -> datetime:
    return T0 + timedelta(minutes=minute)


def report(
    minute: float, raised: bool, *, id_: str = "", source: str = "g", text: str = "", occurrence: int | None = None
) -> Report:
    return Report(at(minute), source, id_ or f"e{minute}", raised, text, occurrence)


def raised(minute: float, **more: object) -> Report:
    return report(minute, True, **more)  # type: ignore[arg-type]


def cleared(minute: float, **more: object) -> Report:
    return report(minute, False, **more)  # type: ignore[arg-type]


def only(episodes: list[Episode | None]) -> Episode:
    found = [episode for episode in episodes if episode is not None]
    assert len(found) == 1
    return found[0]


def test_a_raise_opens_and_a_later_clear_returns_it() -> None:
    episode = only(fold([raised(0), cleared(11)]))
    assert (episode.raised_at, episode.returned_at, episode.as_reported) == (at(0), at(11), False)


def test_an_old_clear_never_clears_a_newer_raise() -> None:
    episode = only(fold([raised(10), cleared(5)]))
    assert episode.as_reported
    assert episode.returned_at is None


def test_a_clear_without_a_raise_is_no_record() -> None:
    assert fold([cleared(3), cleared(4)]) == [None]


def test_a_repeated_raise_is_the_same_raise_and_a_return_is_its_first_clear() -> None:
    episode = only(fold([raised(0), raised(2), cleared(5), cleared(9)]))
    assert episode.raise_count == 1
    assert episode.returned_at == at(5)
    assert episode.last_event_at == at(9)


def test_raised_anew_after_a_return_counts_and_is_reported_again() -> None:
    episode = only(fold([raised(0), cleared(5), raised(6)]))
    assert episode.raise_count == 2
    assert episode.as_reported
    assert episode.returned_at is None


def test_text_and_occurrence_are_those_of_the_newest_raise_that_has_them() -> None:
    episode = only(fold([raised(0, text="hot", occurrence=3), raised(1), cleared(2, text="cool", occurrence=9)]))
    assert (episode.text, episode.occurrence) == ("hot", 3)


def test_of_two_events_at_one_moment_the_larger_source_and_id_is_later() -> None:
    assert only(fold([raised(1, id_="b"), cleared(1, id_="a")])).as_reported
    assert not only(fold([raised(1, id_="a"), cleared(1, id_="b")])).as_reported
    assert not only(fold([raised(1, id_="z", source="a"), cleared(1, id_="a", source="b")])).as_reported


def test_a_raise_after_the_cut_is_a_new_record() -> None:
    first, second = fold([raised(0), cleared(5), raised(60)], [Cut(at(30))])
    assert first is not None
    assert not first.as_reported
    assert second is not None
    assert second.raised_at == at(60)


def test_a_report_from_before_the_cut_that_arrives_late_is_counted_into_the_closed_record() -> None:
    first, second = fold([raised(0), cleared(5), raised(6), cleared(7)], [Cut(at(30))])
    assert first is not None
    assert first.raise_count == 2
    assert second is None


def test_a_fault_that_was_still_reported_at_the_cut_goes_on_in_a_new_record() -> None:
    """A late raise shows that the unit was reporting it when the person signed: nobody is told it is over."""
    first, second = fold([raised(0), cleared(5), raised(20), raised(25), cleared(40)], [Cut(at(30))])
    assert first is not None
    assert first.as_reported
    assert second is not None
    assert (second.raised_at, second.returned_at) == (at(20), at(40))


def test_a_void_does_not_carry_what_it_was_made_about() -> None:
    reports = [raised(0), raised(10)]
    assert fold(reports, [Cut(at(20), carries=False)])[1] is None
    again = fold([*reports, raised(21)], [Cut(at(20), carries=False)])[1]
    assert again is not None
    assert again.raised_at == at(21)


def test_what_is_carried_through_two_cuts_keeps_the_moment_it_was_raised() -> None:
    *_, last = fold([raised(0)], [Cut(at(10)), Cut(at(20))])
    assert last is not None
    assert last.raised_at == at(0)


def test_cuts_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="time order"):
        fold([], [Cut(at(2)), Cut(at(1))])


def test_every_order_of_five_reports_gives_the_same_records() -> None:
    reports = [raised(0), cleared(5), raised(5, id_="z"), cleared(12), raised(40)]
    cuts = [Cut(at(10)), Cut(at(30), carries=False)]
    expected = fold(reports, cuts)
    for order in itertools.permutations(reports):
        assert fold(order, cuts) == expected


@given(
    st.lists(st.tuples(st.integers(0, 60), st.booleans()), max_size=20),
    st.lists(st.tuples(st.integers(0, 60), st.booleans()), max_size=4),
    st.randoms(use_true_random=False),
)
def test_no_order_matters_and_the_newest_report_decides(
    reports: list[tuple[int, bool]], cuts: list[tuple[int, bool]], random: object
) -> None:
    stored = [report(minute, up, id_=f"{index:02}") for index, (minute, up) in enumerate(reports)]
    marks = [Cut(at(minute), carries=carries) for minute, carries in sorted(cuts, key=lambda cut: cut[0])]
    expected = fold(stored, marks)
    shuffled = list(stored)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert fold(shuffled, marks) == expected
    assert len(expected) == len(marks) + 1
    if stored and (not marks or max(stored).at > marks[-1].at) and max(stored).raised:
        assert expected[-1] is not None
        assert expected[-1].as_reported
