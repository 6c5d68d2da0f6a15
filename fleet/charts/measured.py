"""Readings of one unit as arrays: one statement, in order of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from fleet.charts.picture import Array, Line, Role, Span
from fleet.charts.thin import gap_s
from fleet.models import Reading

MOST_READINGS = 100_000
"""Of one chart: two months of a reading a minute. The newest are kept, and the chart says so."""


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings of a span: `at_s` (n,) seconds since 1970, `fields` name → (n,) values, NaN where not measured."""

    at_s: Array
    fields: dict[str, Array]
    cut: bool = False

    def series(self, name: str) -> tuple[Array, Array]:
        """Moments and values at which the field was measured."""
        known = np.isfinite(self.fields[name])
        return self.at_s[known], self.fields[name][known]

    def line(self, name: str, words: str, role: Role) -> Line | None:
        """The field as a measured line; None when it never was."""
        at_s, values = self.series(name)
        return Line(words, role, at_s, values, measured=True) if len(at_s) else None

    def spans(self, name: str, *, kind: str, words: str) -> tuple[Span, ...]:
        """When a flag was true: from each reading that says so until the next that does not, or until silence."""
        at_s, values = self.series(name)
        longest_s = gap_s(at_s)
        found: list[Span] = []
        since: float | None = None
        for i, at in enumerate(at_s.tolist()):
            silent = i > 0 and at - at_s[i - 1] > longest_s
            if since is not None and (silent or not values[i]):
                found.append(Span(kind, words, since, float(at_s[i - 1]) if silent else at))
                since = None
            if since is None and values[i]:
                since = at
        if since is not None:
            found.append(Span(kind, words, since, float(at_s[-1])))
        return tuple(found)


def measured_of(unit_id: int, *, since: datetime, until: datetime, names: Sequence[str]) -> Measured:
    """Readings of a unit in [since, until)."""
    rows = Reading.objects.across_fleets().filter(unit_id=unit_id, at__gte=since, at__lt=until)
    newest = rows.order_by("-at", "-source_id").values_list("at", *names)[: MOST_READINGS + 1]
    values = [(row[0].timestamp(), *row[1:]) for row in newest]
    cut = len(values) > MOST_READINGS
    table = np.array(values[:MOST_READINGS][::-1], dtype=np.float64).reshape(-1, len(names) + 1)
    return Measured(table[:, 0], {name: table[:, i] for i, name in enumerate(names, start=1)}, cut)
