"""The docs name what exists: files, commands, checks, thresholds and settings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.management import get_commands

from fleet.management.commands.describe import PAGES

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
GENERATED = {"checks": "readiness-checks.md", "policy": "policy.md", "fields": "reading-fields.md"}
PAGES_OF_MARKDOWN = sorted([*DOCS.rglob("*.md"), ROOT / "README.md", ROOT / "DEVELOPERS.md"])
# `fleet/ingest/service.py` or `tests/flows/` in backticks: a path of this repository.
PATH = re.compile(
    r"`((?:fleet|inspections|alarms|thermal|tests|fixtures|docs|\.ci)/[\w./-]*[\w/])(?:::?[\w.]+(?:\(\))?)?`"
)
COMMAND = re.compile(r"manage\.py ([a-z_]+)")
LINK = re.compile(r"\]\((?!https?:|#|mailto:)([^)#]+)")


@pytest.mark.parametrize("page", sorted(GENERATED))
def test_a_reference_page_equals_what_the_code_says(page: str) -> None:
    assert (DOCS / GENERATED[page]).read_text() == PAGES[page]()


@pytest.mark.parametrize("path", PAGES_OF_MARKDOWN, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_page_names_only_files_commands_and_links_that_exist(path: Path) -> None:
    text = path.read_text()
    missing = [name for name in PATH.findall(text) if not (ROOT / name).exists()]
    missing += [name for name in COMMAND.findall(text) if name not in get_commands()]
    missing += [link for link in LINK.findall(text) if not (path.parent / link).exists()]
    assert missing == []


def test_every_page_is_reached_from_the_index() -> None:
    index = (DOCS / "index.md").read_text()
    pages = {path.name for path in DOCS.glob("*.md")} - {"index.md"}
    assert sorted(name for name in pages if f"({name})" not in index) == []
