"""What the faults did, as rows of files, and the table of docs/reliability.md made from those files.

One row is one file `<folder>/<name>.json`; other runs (tests/winter) leave theirs in the same folder. Rows stand in
order of their file's name. `uv run python -m tests.faults.report` writes the page again without running anything.
"""

from __future__ import annotations

import json
import math
import os
import platform
import re
import subprocess
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
RESULTS = Path(__file__).with_name("results")
PAGE = ROOT / "docs" / "reliability.md"
BEGIN, END = "<!-- begin: written by the run -->", "<!-- end: written by the run -->"
HEADINGS = ("fault", "times", "accepted", "stored", "due", "delivered", "duplicates", "longest delay", "note")


@dataclass(frozen=True, slots=True)
class Result:
    """One fault and what became of what was sent meanwhile. None: this fault does not touch it.

    `accepted`: items the service answered for; `stored`: of them, those found afterwards. `due`: notices that had to
    be told; `delivered`: of them, those in the receivers' files. `duplicates`: messages that arrived more than once.
    `longest_delay_s`: the longest time from the event (or from the end of the fault, if the note says so) to the
    message or the stored row.
    """

    fault: str
    times: int
    accepted: int | None = None
    stored: int | None = None
    due: int | None = None
    delivered: int | None = None
    duplicates: int | None = None
    longest_delay_s: float | None = None
    note: str = ""

    def save(self, name: str, folder: Path | None = None) -> None:
        """Writes the row to the folder of the run (FAULTS_RESULTS; nothing is written without one)."""
        where = folder or os.environ.get("FAULTS_RESULTS")
        if where:
            row = asdict(self) | {"run_on": f"{datetime.now(UTC):%Y-%m-%d}"}
            path = Path(where) / f"{name}.json"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(json.dumps(row, indent=1) + "\n")


def rows_of(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(path.read_text()) for path in sorted(folder.glob("*.json"))]


def cells_of(row: dict[str, Any]) -> list[str]:
    """A row as it stands in the table. Counts are exact; a delay is never shown shorter than it was."""
    counts = [row.get(name) for name in ("times", "accepted", "stored", "due", "delivered", "duplicates")]
    delay_s = row.get("longest_delay_s")
    delay = "–" if delay_s is None else f"{math.ceil(delay_s * 10) / 10:,.1f} s"
    shown = ["–" if count is None else f"{count:,}" for count in counts]
    return [row["fault"], *shown, delay, str(row.get("note", "")).replace("|", "/")]


def table_of(rows: list[dict[str, Any]]) -> str:
    lines = ["| " + " | ".join(HEADINGS) + " |", "|---|" + "---:|" * 7 + "---|"]
    return "\n".join([*lines, *("| " + " | ".join(cells_of(row)) + " |" for row in rows)])


def machine() -> str:
    """What the figures were measured on, without a name of it."""
    memory_gib = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (
        f"{os.cpu_count()} shared cores, {memory_gib:.0f} GiB, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}, {_version('postgres')}, {_version('redis-server')}; everything on "
        "loopback, PostgreSQL with `fsync` as it ships."
    )


def _version(tool: str) -> str:
    from tests.faults.ground import tool_path

    said = subprocess.run([tool_path(tool), "--version"], capture_output=True, text=True, check=True).stdout
    number = re.search(r"\d+(\.\d+)+", said)
    return f"{'PostgreSQL' if tool == 'postgres' else 'Redis'} {number.group() if number else said.strip()}"


def write_page(folder: Path = RESULTS, page: Path = PAGE) -> None:
    """Puts the table between the two marks of the page; what people wrote around it stays."""
    rows = rows_of(folder)
    days = sorted({row["run_on"] for row in rows if "run_on" in row})
    when = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else "never"
    text = page.read_text()
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    made = f"{BEGIN}\n\nRun on {when}: {machine()}\n\n{table_of(rows)}\n\n{END}"
    page.write_text(before + made + after)


if __name__ == "__main__":
    write_page()
