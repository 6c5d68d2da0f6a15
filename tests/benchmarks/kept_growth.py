"""Growth to ten million readings: measured by a run of its own, kept with its date for the pages of later runs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from tests.benchmarks.measure_growth import Point
from tests.benchmarks.rows import Row, at_most, table_of

KEPT = Path(__file__).with_name("growth.json")
FLAT = 1.2
"""A cost that is this many times that of the smallest history has grown."""


def rows_of_growth(points: Sequence[Point]) -> list[Row]:
    first, rows = points[0], []
    for point in points[1:]:
        size = f"at {point.readings:.0e} ÷ at {first.readings:.0e} readings"
        rows.append(at_most(f"time per ingested row {size}", first.ingest_rows_s / point.ingest_rows_s, FLAT))
        rows.append(at_most(f"GET readiness {size}", point.readiness_s / first.readiness_s, FLAT))
    return rows


def keep(points: Sequence[Point], *, machine: str, now: datetime) -> None:
    found = {
        "date": f"{now.astimezone(UTC):%Y-%m-%d}",
        "machine": machine,
        "points": [asdict(point) for point in points],
    }
    KEPT.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n")


def kept_points() -> list[Point]:
    """What the last such run measured; empty while there was none."""
    return [Point(**point) for point in json.loads(KEPT.read_text())["points"]] if KEPT.exists() else []


def section() -> str:
    """The part of the page about ten million readings; empty while nobody has measured them."""
    if not KEPT.exists():
        return ""
    found = json.loads(KEPT.read_text())
    said = f"{found['date']}, {found['machine']}. Measured by `--large`, a run of its own."
    return f"\n## Ten million readings\n\n{said}\n\n{table_of(rows_of_growth(kept_points()))}\n"
