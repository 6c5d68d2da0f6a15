"""An inspection on a phone, as tests walk it."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.evening import Evening

# The message that each page of the inspections sends (choose.js), with a limit, because `evaluate` has none.
ASK_TO_KEEP = """async () => {
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  return new Promise((said, failed) => {
    port1.onmessage = (event) => said(event.data);
    setTimeout(failed, 10000, "the worker does not answer");
    active.postMessage("keep", [port2]);
  });
}"""


def begin(page: Page, unit: str, sheet: str = "pre-trip") -> None:
    page.goto("/inspections/")
    form = page.get_by_role("region", name="Begin an inspection")
    form.get_by_label("Unit").fill(unit)
    form.get_by_label("Sheet").select_option(sheet)
    page.get_by_role("button", name="Item by item").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(unit)


def read_last_report(page: Page) -> None:
    box = page.get_by_label("I have read the last report")
    if box.count():
        box.check()


def answer_all(page: Page, outcome: str = "sound", *, skip: frozenset[str] = frozenset()) -> None:
    """Through every item from where the page stands, to the review."""
    page.get_by_role("button", name="Start with the first item").click()
    for _ in range(60):
        label = page.get_by_role("heading", level=1).inner_text()
        if label not in skip:
            page.get_by_role("radio", name=outcome, exact=True).check()
        if page.get_by_role("button", name="To the review").count():
            break
        page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="To the review").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Review")


def kept_by_worker(page: Page) -> None:
    """Asks the worker to keep the page that walks a sheet; returns when it says that it has.

    Not `wait_for_function`: it takes a promise for a true value and waits for nothing."""
    assert page.evaluate(ASK_TO_KEEP)


def open_list(page: Page) -> None:
    """The list of inspections, once it says that all it takes along is on the device."""
    page.goto("/inspections/")
    expect(page.locator("#kept")).to_contain_text("On this device")


def is_kept(page: Page) -> bool:
    return bool(page.evaluate("caches.match('/inspections/walk/').then(Boolean)"))


def of_unit(evening: Evening, unit: str) -> list[dict[str, Any]]:
    return list(evening.api("inspector").get(f"inspections/?unit={unit}&state=signed")["items"])
