"""The docs name what exists: files, commands, checks, thresholds and settings."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.core.management import get_commands
from django.urls import resolve

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

FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
RUN_BY = {
    "README.md": "tests/flows/test_flow_demo.py",
    "docs/quickstart.md": "tests/flows/test_flow_demo.py",
    "docs/integrator.md": "tests/flows/test_docs_integrator.py",
    "docs/simulator.md": "tests/flows/test_docs_simulator.py",
    "docs/webhooks.md": "tests/unit/test_notices_docs.py",
}
"""Pages with commands or code, and the test that runs every such block of them."""


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


def fences(path: Path) -> list[tuple[str, str]]:
    """Kind and text of each block of a page."""
    return FENCE.findall(path.read_text())


@pytest.mark.parametrize("path", PAGES_OF_MARKDOWN, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_block_that_can_run_is_run_and_any_other_says_what_it_is(path: Path) -> None:
    """`sh` and `python` are run by the test named above; `json` and `http` are checked here; `text` is to be read."""
    page = str(path.relative_to(ROOT))
    kinds = {kind for kind, _ in fences(path)}
    assert kinds <= {"sh", "python", "json", "http", "text"}
    assert bool(kinds & {"sh", "python"}) == (page in RUN_BY)
    if page in RUN_BY:
        assert path.name in (ROOT / RUN_BY[page]).read_text()


WITH_DOCUMENTS = [path for path in PAGES_OF_MARKDOWN if {"json", "http"} & {kind for kind, _ in fences(path)}]


@pytest.mark.parametrize("path", WITH_DOCUMENTS, ids=lambda path: path.name)
def test_a_document_of_a_page_is_one_and_a_request_would_be_understood(path: Path) -> None:
    for kind, text in fences(path):
        if kind == "json":
            json.loads(text)
        elif kind == "http":
            head, _, body = text.partition("\n\n")
            method, address = head.splitlines()[0].split(" ")
            view = resolve(address).func.cls  # type: ignore[attr-defined]
            said = view.input_serializer[method](data=json.loads(body))
            assert said.is_valid(), said.errors
