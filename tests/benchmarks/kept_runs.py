"""The newest run on each kind of machine, kept for the page: seconds differ from machine to machine."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.benchmarks.rows import Row, table_of

KEPT = Path(__file__).with_name("runs.json")
YARDSTICK = "bare authenticated view, median"
"""A row that says how fast a machine is."""


def keep(rows: Sequence[Row], *, processor: str, run: str) -> None:
    """Puts this run in the place of the last one on such a processor."""
    kept = {"processor": processor, "run": run, "rows": [asdict(row) for row in rows]}
    runs = [*_others(processor), kept]
    KEPT.write_text(json.dumps(runs, indent=1, ensure_ascii=False) + "\n")


def section(rows: Sequence[Row], *, processor: str) -> str:
    """The part of the page about runs on other machines; empty where there are none."""
    parts = []
    for other in _others(processor):
        there = [Row(**row) for row in other["rows"]]
        ours, theirs = _yardstick(rows), _yardstick(there)
        said = (
            f"{other['run']} With the code of that day. The bare view took {theirs:.2f} ms there and {ours:.2f} ms"
            " here: seconds and rates of the two machines differ by about as much, ratios need not."
        )
        parts.append(f"\n## Another machine\n\n{said}\n\n{table_of(there)}\n")
    return "".join(parts)


def _yardstick(rows: Sequence[Row]) -> float:
    return next(row.value for row in rows if row.name == YARDSTICK)


def _others(processor: str) -> list[dict[str, Any]]:
    runs: list[dict[str, Any]] = json.loads(KEPT.read_text()) if KEPT.exists() else []
    return [run for run in runs if run["processor"] != processor]
