"""Makes the pictures of the guides from the demo's invented evening:

    uv run python -m tests.browser.screenshots

Looks at the pages as people see them, writes docs/screenshots/*.png with few colours, so that they stay small.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.cold_trip import hold_of
from tests.browser.evening import Evening, sign_in, start_browser, told
from tests.flows.embedded import ROOT

FOLDER = ROOT / "docs" / "screenshots"
COLOURS = 64
DESK = {"width": 1100, "height": 760}
PHONE = {"width": 390, "height": 780}


def departures(page: Page) -> None:
    page.goto("/")


def trip(page: Page) -> None:
    page.goto("/trips/T-409/")


def unit(page: Page) -> None:
    page.goto("/units/HB-103/")


def calculator(page: Page) -> None:
    page.goto("/calculator/")


def phone_item(page: Page) -> None:
    page.goto("/inspections/walk/#unit=HB-107&sheet=pre-trip&at=3")
    expect(page.get_by_role("heading", level=1)).to_have_text("Battery and terminals")
    page.get_by_role("radio", name="sound").check()
    page.get_by_role("textbox", name="Battery voltage at rest").fill("12.7")


def phone_waiting(page: Page) -> None:
    page.goto("/inspections/walk/#unit=HB-107&sheet=post-trip&at=review")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Review")
    page.route("**/inspections/phone/pass/", lambda route: route.abort("failed"))
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("1 waiting to be sent")).to_be_visible()


SHOTS: dict[str, tuple[str, dict[str, int], Callable[[Page], None]]] = {
    "departures": ("manager", DESK, departures),
    "trip": ("manager", DESK, trip),
    "unit": ("manager", DESK, unit),
    "calculator": ("dispatcher", DESK, calculator),
    "phone-item": ("inspector", PHONE, phone_item),
    "phone-waiting": ("inspector", PHONE, phone_waiting),
}


def take(browser: Browser, evening: Evening, name: str) -> int:
    """Writes one picture; returns its size in bytes."""
    role, size, show = SHOTS[name]
    context = browser.new_context(base_url=evening.url, viewport=size, locale="en-GB", color_scheme="light")  # type: ignore[arg-type]
    page = context.new_page()
    sign_in(page, evening, role)
    show(page)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.wait_for_load_state("networkidle")
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS)
    path = FOLDER / f"{name}.png"
    image.save(path, optimize=True)
    context.close()
    return path.stat().st_size


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, told(Path(folder)) as evening, sync_playwright() as playwright:
        browser = start_browser(playwright)
        hold_of(evening.api("dispatcher"), "T-409", "HB-107")  # at the story's end nothing is blocked any more
        for name in SHOTS:
            print(f"{name}: {take(browser, evening, name) / 1000:.0f} kB")  # noqa: T201
        browser.close()


if __name__ == "__main__":
    main()
