"""Many ids as one parameter of a statement: a text that the database takes apart. As parameters of their own, two
thousand ids cost the client more than the rows they find."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

import numpy as np
from django.db import connection

from fleet.arrays import Bigints

AMONG: Mapping[str, str] = {
    # A query of its own, so that the text is taken apart once and not for every row.
    "postgresql": "= ANY ((SELECT string_to_array(%s, ',')::bigint[])::bigint[])",
    "sqlite": "IN (SELECT value FROM json_each('[' || %s || ']'))",
}
"""By vendor, what follows a column to say that it is one of the ids of a text that `listed` made."""
HASHED: Mapping[str, str] = {**AMONG, "postgresql": "IN (SELECT unnest(%s))"}
"""The same for ids that `to_hash` made, where many rows are compared with many ids: a subquery is hashed, once; an
array would be gone through for every row."""
FEW = 50
"""So many ids are better parameters of their own: the planner looks at each."""


def listed(ids: Iterable[int]) -> str:
    """Ids with commas between."""
    return ",".join(map(str, ids))


def to_hash(ids: Collection[int]) -> Any:
    """Ids as a parameter of the connection's database, for HASHED."""
    if connection.vendor == "postgresql":
        return Bigints(np.fromiter(ids, dtype=np.int64, count=len(ids)))
    return listed(ids)
