"""The demo's evening as a running service, and a browser in front of it: for the tests and for the screenshots."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page, Playwright, expect

from tests.browser.calls import Api
from tests.flows.embedded import kill, manage, output_of
from tests.waiting import wait_for

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
SERVING = re.compile(r"Serving at (http://127\.0\.0\.1:\d+)")
EXPORT = re.compile(r"export (\w+)=(.*)")
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}


@dataclass(frozen=True, slots=True)
class Evening:
    """The service with the story told: its address, and who can sign in or call."""

    url: str
    known: dict[str, str]

    def api(self, role: str) -> Api:
        return Api(self.url, self.known[role.upper()])


@contextmanager
def told(folder: Path) -> Iterator[Evening]:
    """Plays the story in *folder* and serves until the block ends."""
    process = manage(folder, "demo", "--port", "0", "--pace", "0", WARMGATE_LOGIN_TRIES="1000")
    try:
        found = wait_for("the story", lambda: SERVING.search(output_of(folder, "demo")), within_s=180, look_every_s=0.3)
        known = dict(EXPORT.findall((folder / "demo.env").read_text()))
        yield Evening(found.group(1), known | _operator(folder))
    finally:
        kill(process)


def _operator(folder: Path) -> dict[str, str]:
    """An operator of the host, made as docs/operations.md says."""
    known = {"OPERATOR_NAME": "operator", "OPERATOR_PASSWORD": secrets.token_urlsafe(12)}
    words = ("createsuperuser", "--noinput", "--username", "operator", "--email", "operator@host.invalid")
    process = manage(folder, *words, DJANGO_SUPERUSER_PASSWORD=known["OPERATOR_PASSWORD"])
    assert process.wait(60) == 0, output_of(folder, "createsuperuser")
    return known


def start_browser(playwright: Playwright) -> Browser:
    """The browser of the distribution (CHROMIUM names another)."""
    return playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])


def sign_in(page: Page, evening: Evening, role: str) -> None:
    """Types name and password as a person does."""
    if "/sign-in/" not in page.url:
        page.goto(f"{evening.url}/sign-in/")
    page.get_by_label("Name").fill(evening.known[f"{role.upper()}_NAME"])
    page.get_by_label("Password").fill(evening.known[f"{role.upper()}_PASSWORD"])
    page.get_by_role("button", name="Sign in").click()
    expect(page).not_to_have_url(re.compile("/sign-in/"))
