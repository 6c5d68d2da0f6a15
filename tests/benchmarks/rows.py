"""One line of what a run found, with the target it has to meet, and many of them as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One line: what was measured, the number, its unit, and the target it has to meet ("" when there is none)."""

    name: str
    value: float
    unit: str
    target: str = ""
    meets: bool | None = None

    def cells(self) -> tuple[str, str, str, str]:
        said = "" if self.meets is None else "yes" if self.meets else "**no**"
        digits = 0 if self.value >= 1000 else 1 if self.value >= 100 else 3 if self.value < 10 else 2
        return self.name, f"{self.value:,.{digits}f} {self.unit}".strip(), self.target, said


def at_least(name: str, value: float, limit: float, unit: str = "×") -> Row:
    return Row(name, value, unit, f"≥ {limit:g}", value >= limit)


def at_most(name: str, value: float, limit: float, unit: str = "×") -> Row:
    return Row(name, value, unit, f"≤ {limit:g}", value <= limit)


def table_of(rows: Sequence[Row]) -> str:
    head = ("measured", "value", "target", "met")
    lines = [head, ("---", "--:", "---", "---"), *(row.cells() for row in rows)]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)
