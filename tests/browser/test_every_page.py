"""What holds for every page: accessible, light and dark; on a narrow screen; without scripts; under its policy."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opened, Watch
from tests.browser.evening import DESK, PHONE, Evening

Address = Callable[[Evening], str]


def newest_inspection(evening: Evening) -> str:
    return f"/inspections/{evening.api('manager').get('inspections/?unit=HB-103')['items'][0]['id']}/"


def newest_alarm(evening: Evening) -> str:
    return f"/alarms/{evening.api('manager').get('alarms/')['items'][0]['id']}/"


def newest_hold(evening: Evening) -> str:
    return f"/holds/{evening.api('manager').get('holds/')['items'][0]['id']}/release/"


def fixed(path: str) -> Address:
    return lambda evening: path


PAGES: dict[str, tuple[str | None, Address]] = {
    "sign-in": (None, fixed("/sign-in/")),
    "departures": ("manager", fixed("/")),
    "departures-narrowed": ("manager", fixed("/?verdict=blocked&day=today")),
    "trip-ready": ("manager", fixed("/trips/T-401/")),
    "trip-left": ("manager", fixed("/trips/T-402/")),
    "trip-blocked": ("manager", fixed("/trips/T-404/")),
    "release": ("manager", newest_hold),
    "units": ("manager", fixed("/units/")),
    "unit": ("manager", fixed("/units/HB-102/")),
    "alarm": ("manager", newest_alarm),
    "preferences": ("manager", fixed("/preferences/")),
    "calculator": ("dispatcher", fixed("/calculator/")),
    "inspections": ("inspector", fixed("/inspections/")),
    "inspections-to-read": ("dispatcher", fixed("/inspections/")),
    "inspection": ("manager", newest_inspection),
    "sheet": ("inspector", fixed("/inspections/fill/HB-101/pre-trip/")),
    "walk-before": ("inspector", fixed("/inspections/walk/#unit=HB-103&sheet=pre-trip")),
    "walk-item": ("inspector", fixed("/inspections/walk/#unit=HB-103&sheet=pre-trip&at=0")),
    "walk-review": ("inspector", fixed("/inspections/walk/#unit=HB-103&sheet=pre-trip&at=review")),
    "walk-choose": ("inspector", fixed("/inspections/walk/")),
    "operator": ("operator", fixed("/admin/")),
    "operator-list": ("operator", fixed("/admin/fleet/unit/")),
    "operator-form": ("operator", fixed("/admin/fleet/unit/1/change/")),
    "nothing-here": ("manager", fixed("/no-such-page/")),
}
WALKS = {name for name in PAGES if name.startswith("walk")}


@pytest.fixture(params=sorted(PAGES))
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


PICKERS = "operator-form"
"""Django's pickers place themselves from their script, which shows as style attributes and is no inline style."""


def expected(watch: Watch, name: str) -> None:
    if name == "nothing-here":
        watch.allow("status of 404")


def opened(page: Page, name: str, evening: Evening, watch: Watch) -> None:
    expected(watch, name)
    page.goto(PAGES[name][1](evening))
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    if name in WALKS:
        expect(page.get_by_text("Opening the sheet")).to_have_count(0)


def serious(page: Page) -> list[str]:
    """What axe-core calls serious or critical, with the elements it means."""
    found = Axe().run(page, options={"preload": False}).response["violations"]
    return [
        f"{one['id']}: {one['help']} {[node['target'] for node in one['nodes']][:5]}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


# The pages of the framework's admin fade from one colour to the other.
COLOURS_SETTLED = """async () => {
    await new Promise((seen) => requestAnimationFrame(() => requestAnimationFrame(seen)));
    await Promise.all(document.getAnimations().map((one) => one.finished));
}"""


def test_a_page_is_accessible_by_day_and_by_night(as_: Opened, name: str, evening: Evening, watch: Watch) -> None:
    page = as_(PAGES[name][0], size=DESK, color_scheme="light", reduced_motion="reduce")
    opened(page, name, evening, watch)
    assert serious(page) == []
    page.emulate_media(color_scheme="dark")
    page.evaluate(COLOURS_SETTLED)
    assert serious(page) == [], "dark"


def test_a_page_fits_a_narrow_screen(as_: Opened, name: str, evening: Evening, watch: Watch) -> None:
    page = as_(PAGES[name][0], size=PHONE)
    opened(page, name, evening, watch)
    wide = page.evaluate(
        "[...document.querySelectorAll('main *')].filter((one) => one.getBoundingClientRect().right > innerWidth + 1"
        " && one.checkVisibility()).slice(0, 5).map((one) => one.outerHTML.slice(0, 80))"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], wide
    assert serious(page) == []


def test_a_page_works_without_scripts(as_: Opened, name: str, evening: Evening, watch: Watch) -> None:
    page = as_(PAGES[name][0], java_script_enabled=False)
    expected(watch, name)
    answer = page.goto(PAGES[name][1](evening))
    assert answer is not None
    assert answer.status == (404 if name == "nothing-here" else 200)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    if name in WALKS:
        expect(page.get_by_role("link", name="fill the whole sheet on one page")).to_be_visible()


def test_the_policy_of_a_page_forbids_what_is_inline_and_what_is_elsewhere(
    as_: Opened, name: str, evening: Evening, watch: Watch
) -> None:
    page = as_(PAGES[name][0])
    expected(watch, name)
    answer = page.goto(PAGES[name][1](evening))
    assert answer is not None
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    inline = page.locator(
        "script:not([src]), [onclick]" if name == PICKERS else "[style], script:not([src]), [onclick]"
    )
    assert inline.count() == 0
