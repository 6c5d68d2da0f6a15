"""Prints the story: a heading per act, a few lines under it, tables at the end. Plain text when there is no screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

VERDICT_STYLE = {"ready": "bold green", "conditional": "bold yellow", "blocked": "bold red", "unknown": "bold magenta"}
WIDEST = 112
WITHOUT_SCREEN = 104
LONGEST = 140


class Teller:
    """Where the story is told."""

    def __init__(self) -> None:
        screen = Console(highlight=False)
        width = min(screen.width, WIDEST) if screen.is_terminal else WITHOUT_SCREEN
        self.console = Console(highlight=False, width=width)

    def title(self, words: str, below: str) -> None:
        self.console.print()
        self.console.print(Text(words, style="bold"))
        self.console.print(Text(below, style="dim"))

    def act(self, number: int, words: str) -> None:
        self.console.print()
        self.console.print(Text.assemble((f"{number}  ", "dim"), (words, "bold")))

    def line(self, who: str, words: str) -> None:
        """Who did what."""
        self._row(who, Text(words))

    def verdict(self, who: str, verdict: str, words: str) -> None:
        """What the service answered."""
        self._row(who, Text.assemble((verdict, VERDICT_STYLE.get(verdict, "bold")), "  ", shortened(words)))

    def message(self, channel: str, to: str, words: str, after_s: float) -> None:
        """A message that arrived."""
        self._row(channel, Text.assemble((words, "cyan"), (f"  to {to} after {after_s:.1f} s", "dim")))

    def remedy(self, words: str) -> None:
        self._row("", Text.assemble(("what would mend it: ", "dim"), shortened(words)))

    def note(self, words: str) -> None:
        self.console.print(Padding(Text(words, style="dim"), (0, 0, 0, 3)))

    def table(self, title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """A table of one line per row; the last column is cut where the screen ends."""
        lines = [tuple(columns), *(tuple(row) for row in rows)]
        widths = [max(len(line[index]) for line in lines) for index in range(len(columns) - 1)]
        room = self.console.width - 3 - sum(width + 2 for width in widths)
        if title:
            self.console.print()
            self.console.print(Text(title, style="bold"))
        for number, line in enumerate(lines):
            text = Text("   ")
            for cell, width in zip(line, widths, strict=False):
                text.append(cell.ljust(width + 2), style="dim" if number == 0 else VERDICT_STYLE.get(cell, ""))
            text.append(cut(line[-1], room), style="dim" if number == 0 else "")
            self.console.print(text, soft_wrap=True)

    def commands(self, title: str, lines: Sequence[tuple[str, str]]) -> None:
        """Commands to paste: never wrapped, so that they stay whole."""
        self.console.print()
        self.console.print(Text(title, style="bold"))
        for words, command in lines:
            self.console.print(Text(f"   # {words}", style="dim"), soft_wrap=True)
            self.console.print(Text(f"   {command}"), soft_wrap=True)

    def _row(self, who: str, words: Text) -> None:
        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(width=9, no_wrap=True, style="bold")
        grid.add_column()
        grid.add_row(who, words)
        self.console.print(Padding(grid, (0, 0, 0, 3)))


def shortened(words: str, longest: int = LONGEST) -> str:
    """*words*, or as many of its sentences as fit, or its beginning."""
    if len(words) <= longest:
        return words
    end = words.rfind(". ", 0, longest)
    return words[: end + 1] if end > longest // 3 else cut(words, longest)


def cut(words: str, longest: int) -> str:
    return words if len(words) <= longest else words[: max(longest - 1, 1)].rstrip() + "…"
