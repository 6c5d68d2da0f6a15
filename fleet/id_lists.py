"""Many ids as one parameter of a statement: a text that the database takes apart. As parameters of their own, two
thousand ids cost the client more than the rows they find."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

AMONG: Mapping[str, str] = {
    # A query of its own, so that the text is taken apart once and not for every row.
    "postgresql": "= ANY ((SELECT string_to_array(%s, ',')::bigint[])::bigint[])",
    "sqlite": "IN (SELECT value FROM json_each('[' || %s || ']'))",
}
"""By vendor, what follows a column to say that it is one of the ids of a text that `listed` made."""
FEW = 50
"""So many ids are better parameters of their own: the planner looks at each."""


def listed(ids: Iterable[int]) -> str:
    """Ids with commas between."""
    return ",".join(map(str, ids))
