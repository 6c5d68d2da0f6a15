"""A real browser in front of the real service: the demo's evening, served by `manage.py demo` on a free port.

Each page is watched: a line of error in its console, a refusal by the Content-Security-Policy or an exception of a
script fails the test that caused it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Playwright, expect, sync_playwright

from tests.browser.evening import DESK, Evening, sign_in, start_browser, told

expect.set_options(timeout=10_000)


@pytest.fixture(scope="session")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Evening]:
    with told(tmp_path_factory.mktemp("evening")) as running:
        yield running


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    chromium = start_browser(playwright)
    yield chromium
    chromium.close()


@dataclass(slots=True)
class Watch:
    """What pages of one test have complained about."""

    lines: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)

    def allow(self, pattern: str) -> None:
        """A complaint that the test means to cause."""
        self.expected.append(pattern)

    def on(self, page: Page) -> None:
        def line(message: ConsoleMessage) -> None:
            if message.type == "error" or "Content Security Policy" in message.text:
                self.lines.append(f"{message.text} ({message.location.get('url', '')})")

        page.on("console", line)
        page.on("pageerror", lambda error: self.lines.append(f"exception: {error}"))

    def complaints(self) -> list[str]:
        return [line for line in self.lines if not any(re.search(pattern, line) for pattern in self.expected)]


@pytest.fixture
def watch() -> Iterator[Watch]:
    made = Watch()
    yield made
    assert made.complaints() == []


Opened = Callable[..., Page]


@pytest.fixture(scope="session")
def sessions() -> dict[str, Any]:
    """Cookies by role, so that each role signs in once."""
    return {}


@pytest.fixture
def as_(browser: Browser, evening: Evening, sessions: dict[str, Any], watch: Watch) -> Iterator[Opened]:
    """`as_("inspector")`: a page of a new browser profile, signed in; more words go to the profile."""
    contexts: list[BrowserContext] = []

    def open_(role: str | None, *, size: dict[str, int] = DESK, **profile: Any) -> Page:
        state = _signed_in(browser, evening, sessions, role) if role else None
        context = browser.new_context(
            base_url=evening.url,
            viewport=size,
            storage_state=state,
            locale="en-GB",
            **profile,  # type: ignore[arg-type]
        )
        context.set_default_timeout(10_000)
        contexts.append(context)
        page = context.new_page()
        watch.on(page)
        return page

    yield open_
    for context in contexts:
        context.close()


def _signed_in(browser: Browser, evening: Evening, sessions: dict[str, Any], role: str) -> Any:
    if role not in sessions:
        context = browser.new_context(base_url=evening.url)
        sign_in(context.new_page(), evening, role)
        sessions[role] = context.storage_state()
        context.close()
    return sessions[role]


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """A photo as a phone takes it: large."""
    from PIL import Image

    path = tmp_path / "belt.jpg"
    Image.effect_mandelbrot((4000, 3000), (-2, -1.5, 1, 1.5), 40).convert("RGB").save(path, "JPEG", quality=92)
    return path
