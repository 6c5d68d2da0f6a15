"""Prints the story: a heading per act, a few lines under it, tables at the end. Plain text when there is no screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

VERDICT_STYLE = {"ready": "bold green", "conditional": "bold yellow", "blocked": "bold red", "unknown": "bold magenta"}
WIDEST = 110
WITHOUT_SCREEN = 100


class Teller:
    """Where the story is told."""

    def __init__(self, console: Console | None = None) -> None:
        plain = Console(highlight=False)
        width = min(plain.width, WIDEST) if plain.is_terminal else WITHOUT_SCREEN
        self.console = console or Console(highlight=False, width=width)

    def title(self, words: str, below: str) -> None:
        self.console.print()
        self.console.print(f"[bold]{escape(words)}[/bold]")
        self.console.print(escape(below), style="dim")

    def act(self, number: int, words: str) -> None:
        self.console.print()
        self.console.print(Text.assemble((f"{number}  ", "dim"), (words, "bold")))

    def line(self, who: str, words: str) -> None:
        """Who did what."""
        self._row(who, Text(words))

    def verdict(self, who: str, verdict: str, words: str) -> None:
        """What the service answered."""
        self._row(who, Text.assemble((verdict, VERDICT_STYLE.get(verdict, "bold")), "  ", words))

    def message(self, channel: str, to: str, words: str) -> None:
        """A message that arrived."""
        self._row(channel, Text.assemble((words, "cyan"), (f"  → {to}", "dim")))

    def remedy(self, words: str) -> None:
        self._row("", Text.assemble(("remedy  ", "dim"), words))

    def note(self, words: str) -> None:
        self.console.print(Padding(Text(words, style="dim"), (0, 0, 0, 3)))

    def table(self, title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        table = Table(
            title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0)
        )
        for index, name in enumerate(columns):
            table.add_column(name, header_style="dim", no_wrap=index < len(columns) - 1)
        for row in rows:
            table.add_row(*(Text(cell, style=VERDICT_STYLE.get(cell, "")) for cell in row))
        self.console.print()
        self.console.print(table)

    def _row(self, who: str, words: Text) -> None:
        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(width=9, no_wrap=True, style="bold")
        grid.add_column()
        grid.add_row(who, words)
        self.console.print(Padding(grid, (0, 0, 0, 3)))
