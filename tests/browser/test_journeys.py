"""A working day in a browser: sign in, departures, a trip and its release, seen, a unit, preferences, the keyboard."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.cold_trip import hold_of
from tests.browser.conftest import Opened, Watch
from tests.browser.evening import PHONE, Evening, sign_in
from tests.waiting import wait_for


def cancel(evening: Evening, reference: str) -> None:
    desk = evening.api("dispatcher")
    if desk.get(f"trips/{reference}/")["state"] == "planned":
        desk.post(f"trips/{reference}/cancel/", {"reason": "the end of a test"}, **{"If-Match": "*"})


@pytest.fixture
def held(evening: Evening) -> Iterator[Callable[[str, str], int]]:
    """`held("T-901", "HB-107")`: files such a trip and waits for its hold. Cancelled afterwards: the next test's trip
    of the unit would overlap it."""
    made: list[str] = []

    def file(reference: str, unit: str) -> int:
        made.append(reference)
        return hold_of(evening.api("dispatcher"), reference, unit)

    yield file
    for reference in made:
        cancel(evening, reference)


def test_a_stranger_signs_in_and_comes_back_to_where_he_was_going(as_: Opened, evening: Evening, watch: Watch) -> None:
    watch.allow("status of 422")
    page = as_(None)
    page.goto("/units/HB-102/")
    expect(page).to_have_url(re.compile("/sign-in/"))
    page.get_by_label("Name").fill(evening.known["MANAGER_NAME"])
    page.get_by_label("Password").fill("not this one")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("do not fit together")
    sign_in(page, evening, "manager")
    expect(page).to_have_url(re.compile("/units/HB-102/$"))
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/**")  # it leaves once what was kept is gone, a moment after the click
    page.goto("/units/HB-102/")
    expect(page).to_have_url(re.compile("/sign-in/"))


def test_departures_are_narrowed_without_a_reload_and_follow_what_happens(
    as_: Opened, evening: Evening, held: Callable[[str, str], int]
) -> None:
    held("T-901", "HB-107")
    page = as_("dispatcher")
    page.goto("/")
    page.evaluate("window.sameDocument = true")
    page.get_by_label("Trip or unit").fill("T-901")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#board tbody tr")).to_have_count(1)
    expect(page.locator("#board")).to_contain_text("blocked")
    assert "q=T-901" in page.url
    cancel(evening, "T-901")
    expect(page.get_by_text("No departure fits what you asked for.")).to_be_visible(timeout=25_000)
    assert page.evaluate("window.sameDocument") is True
    page.get_by_label("Trip or unit").fill("")
    page.get_by_label("Answer").select_option("ready")
    expect(page.locator("#board .tag-blocked")).to_have_count(0)


def test_a_manager_releases_a_trip_with_a_reason_and_a_confirmation(
    as_: Opened, evening: Evening, held: Callable[[str, str], int]
) -> None:
    hold = held("T-902", "HB-107")
    page = as_("manager")
    page.goto("/")
    page.get_by_role("link", name="T-902").click()
    expect(page.get_by_role("heading", name="T-902")).to_be_visible()
    expect(page.get_by_text("Stops the departure")).to_be_visible()
    page.get_by_role("link", name="Release this trip").click()
    release = page.get_by_role("button", name="Release T-902")
    page.get_by_label("Why may it leave?").fill("The load was changed to dry goods by telephone.")
    release.click()  # without the tick the browser itself stops it
    expect(page).to_have_url(re.compile("/release/$"))
    page.get_by_label("I have read every cause above").check()
    release.click()
    expect(page).to_have_url(re.compile("/trips/T-902/$"))
    row = evening.api("manager").get(f"holds/{hold}/")
    assert (row["state"], row["release_reason"]) == ("released", "The load was changed to dry goods by telephone.")


def test_a_release_needs_no_scripts(as_: Opened, evening: Evening, held: Callable[[str, str], int]) -> None:
    hold = held("T-905", "HB-107")
    page = as_("manager", java_script_enabled=False)
    page.goto("/trips/T-905/")
    page.get_by_role("link", name="Release this trip").click()
    page.get_by_label("Why may it leave?").fill("The customer takes the risk, in writing.")
    page.get_by_label("I have read every cause above").check()
    page.get_by_role("button", name="Release T-905").click()
    expect(page).to_have_url(re.compile("/trips/T-905/$"))
    assert evening.api("manager").get(f"holds/{hold}/")["state"] == "released"


def test_a_dispatcher_is_not_offered_a_release_and_cannot_take_it(
    as_: Opened, evening: Evening, watch: Watch, held: Callable[[str, str], int]
) -> None:
    watch.allow("status of 403")
    hold = held("T-903", "HB-107")
    page = as_("dispatcher")
    page.goto("/trips/T-903/")
    assert page.get_by_role("link", name="Release this trip").count() == 0
    expect(page.get_by_text("A manager can release this trip")).to_be_visible()
    answer = page.goto(f"/holds/{hold}/release/")
    assert answer is not None
    assert answer.status == 403


def test_a_notice_is_marked_seen_and_says_by_whom(
    as_: Opened, evening: Evening, held: Callable[[str, str], int]
) -> None:
    held("T-904", "HB-107")
    page = as_("manager")

    def offered() -> bool:
        page.goto("/trips/T-904/")
        return page.get_by_role("button", name="I have seen this").count() > 0

    wait_for("a notice of the hold", offered, within_s=30, look_every_s=1)
    page.get_by_role("button", name="I have seen this").first.click()
    expect(page).to_have_url(re.compile("/trips/T-904/"))
    notices = evening.api("manager").get("notices/")["items"]
    assert any(notice["seen_at"] for notice in notices)


def test_a_unit_shows_its_state_its_alarms_and_its_inspections(as_: Opened) -> None:
    page = as_("dispatcher")
    page.goto("/units/")
    page.get_by_role("link", name="HB-103").first.click()
    expect(page.get_by_role("heading", level=1, name="HB-103")).to_be_visible()
    expect(page.get_by_role("heading", name="Inspections")).to_be_visible()
    expect(page.locator("#inspections-latest .tag").first).to_be_visible()


def test_the_calculator_answers_while_a_slider_moves_and_keeps_its_address(as_: Opened) -> None:
    page = as_("dispatcher")
    page.goto("/calculator/?outside=-30")
    answer = page.get_by_role("region", name="Answer").locator("p").first
    before = answer.inner_text()
    page.evaluate("window.sameDocument = true")
    slider = page.get_by_role("slider", name="Heat output")
    slider.focus()
    slider.press("Home")
    expect(page.get_by_role("textbox", name="Heat output")).to_have_value("1")
    expect(page).to_have_url(re.compile(r"output=1(&|$)"))
    expect(answer).not_to_have_text(before)
    assert page.evaluate("window.sameDocument"), "the answer is swapped in, the page stays"
    page.goto(page.url)
    expect(page.get_by_role("textbox", name="Heat output")).to_have_value("1")


def test_a_reader_of_fahrenheit_finds_no_celsius(as_: Opened) -> None:
    page = as_("manager")
    page.goto("/preferences/")
    page.get_by_label("°F").check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved.")).to_be_visible()
    try:
        for path in ("/", "/trips/T-404/", "/units/HB-104/", "/inspections/"):
            page.goto(path)
            text = page.locator("main").inner_text()
            text = text.replace("2-8 °C medicine", "").replace("15-25 °C medicine", "")  # names of goods
            assert "°C" not in text, path
        page.goto("/trips/T-404/")
        expect(page.locator("main")).to_contain_text("°F")
    finally:
        page.goto("/preferences/")
        page.get_by_label("°C").check()
        page.get_by_role("button", name="Save").click()


def focused(page: Page) -> str:
    return str(page.evaluate("(document.activeElement.innerText || document.activeElement.name || '').trim()"))


def tab_to(page: Page, name: str, *, most: int = 80) -> None:
    """Presses Tab until the element of this text or field name has the focus."""
    for _ in range(most):
        if focused(page).startswith(name):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{name!r} cannot be reached with the Tab key")


def test_the_keyboard_alone_leads_from_signing_in_to_why_a_trip_is_blocked(as_: Opened, evening: Evening) -> None:
    page = as_(None)
    page.goto("/")
    tab_to(page, "username")
    page.keyboard.type(evening.known["MANAGER_NAME"])
    tab_to(page, "password")
    page.keyboard.type(evening.known["MANAGER_PASSWORD"])
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Departures")).to_be_visible()
    page.keyboard.press("Tab")
    assert focused(page) == "Skip to the content"
    page.keyboard.press("Enter")
    tab_to(page, "T-404")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none"
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1, name="T-404")).to_be_visible()


def test_the_keyboard_alone_answers_items_of_an_inspection(as_: Opened) -> None:
    page = as_("inspector", size=PHONE)
    page.goto("/inspections/walk/#unit=HB-102&sheet=pre-trip")
    expect(page.get_by_role("heading", level=1)).to_contain_text("HB-102")
    tab_to(page, "Start with the first item")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Fuel")
    tab_to(page, "outcome")
    page.keyboard.press("Space")
    expect(page.get_by_role("radio", name="sound")).to_be_checked()
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("radio", name="wear")).to_be_checked()
    tab_to(page, "Next")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Engine oil")
