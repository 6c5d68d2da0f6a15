"""What the stored reports of one fault say, as a pure function: any order of arrival gives the same answer.

A fault's identity is (unit, scheme, code). Its reports are put in order of (event time, source, event id) and cut
into episodes by what closed them: a signature, a void, or the quiet after a return. Each episode is one record. What
closed a record is never replayed away: a report that comes to light later and belongs before the cut is counted into
the closed record, and when it shows that the unit was still reporting the fault at the cut, a new episode begins
with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise


@dataclass(frozen=True, slots=True, order=True)
class Report:
    """One fault event. The first three fields are its place in the order."""

    at: datetime
    source: str
    event_id: str
    raised: bool
    text: str = ""
    occurrence: int | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """What closed a record: reports up to *at* are its own.

    *carries*: a fault still reported at the cut goes on in a new record. A void does not carry: a person said that
    this report is not real, so it takes a new one to raise it.
    """

    at: datetime
    carries: bool = True


@dataclass(frozen=True, slots=True)
class Episode:
    """The event-derived columns of one record."""

    raised_at: datetime
    returned_at: datetime | None
    """First `cleared` after the last raise; None while the unit reports the fault."""
    last_event_at: datetime
    as_reported: bool
    raise_count: int
    """How often it was raised anew: reports that only repeat a raise do not count."""
    text: str
    occurrence: int | None


def fold(reports: Iterable[Report], cuts: Sequence[Cut] = ()) -> list[Episode | None]:
    """One episode per cut and, last, the open one; None where nothing was raised.

    *cuts* are in time order. *Raises* ValueError when they are not.
    """
    if any(later.at < earlier.at for earlier, later in pairwise(cuts)):
        raise ValueError("The cuts of a fault must be in time order.")
    rest = sorted(reports)
    episodes: list[Episode | None] = []
    carried: list[Report] = []
    for cut in cuts:
        own = carried + [report for report in rest if report.at <= cut.at]
        rest = [report for report in rest if report.at > cut.at]
        episodes.append(_episode(own))
        carried = _still_raised(own) if cut.carries else []
    episodes.append(_episode(carried + rest))
    return episodes


def _still_raised(own: Sequence[Report]) -> list[Report]:
    """The report that raised what is still raised at the end of *own*, if it is."""
    if not own or not own[-1].raised:
        return []
    first = len(own) - 1
    while first > 0 and own[first - 1].raised:
        first -= 1
    return [own[first]]


def _episode(own: Sequence[Report]) -> Episode | None:
    start = next((index for index, report in enumerate(own) if report.raised), None)
    if start is None:
        return None
    own = own[start:]
    returned_at: datetime | None = None
    raise_count, raised = 0, False
    for report in own:
        if report.raised and not raised:
            raise_count += 1
            returned_at = None
        elif raised and not report.raised:
            returned_at = report.at
        raised = report.raised
    raises = [report for report in own if report.raised]
    return Episode(
        raised_at=own[0].at,
        returned_at=returned_at,
        last_event_at=own[-1].at,
        as_reported=raised,
        raise_count=raise_count,
        text=next((report.text for report in reversed(raises) if report.text), ""),
        occurrence=next((report.occurrence for report in reversed(raises) if report.occurrence is not None), None),
    )
