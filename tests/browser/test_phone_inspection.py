"""An inspection on a phone, item by item: with a connection, without one, and when the service says no."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opened, Watch
from tests.browser.evening import PHONE, Evening, sign_in
from tests.flows.embedded import wait_for

NO_NETWORK = r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"


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
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("caches.match('/inspections/walk/').then(Boolean)")


def of_unit(evening: Evening, unit: str) -> list[dict[str, Any]]:
    return list(evening.api("inspector").get(f"inspections/?unit={unit}&state=signed")["items"])


def test_a_sheet_is_walked_item_by_item_and_filed(as_: Opened, evening: Evening, picture: Path) -> None:
    page = as_("inspector", size=PHONE, has_touch=True)
    api, before = evening.api("inspector"), len(of_unit(evening, "HB-107"))
    begin(page, "HB-107")
    read_last_report(page)
    page.get_by_role("button", name="Start with the first item").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Fuel")
    expect(page.get_by_text("Refuel with the unit off.")).to_be_visible()
    page.get_by_role("radio", name="sound").check()
    page.get_by_role("textbox", name="Fuel by dipstick").fill("4000")
    expect(page.get_by_text("is outside")).to_be_visible()
    page.get_by_role("textbox", name="Fuel by dipstick").fill("60,5")
    expect(page.get_by_text("is outside")).to_have_count(0)
    drafts = "inspections/?unit=HB-107&state=draft"
    wait_for("the service to know that the unit is being inspected", lambda: api.get(drafts)["items"], within_s=10)
    page.get_by_role("button", name="Back").click()
    answer_all(page, skip=frozenset({"Belts"}))
    page.get_by_role("link", name="Belts").click()
    page.get_by_role("radio", name="wear").check()
    page.get_by_label("Note").fill("Shiny on one side.")
    page.get_by_label("Take a photo").set_input_files(picture)
    expect(page.get_by_alt_text("Photo 1 of Belts")).to_be_visible()
    page.get_by_role("button", name="All items").click()
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("Filed: Pre-trip inspection of HB-107")).to_be_visible()
    wait_for("no draft to be left", lambda: not api.get(drafts)["items"], within_s=10)
    filed = of_unit(evening, "HB-107")
    assert len(filed) == before + 1
    record = evening.api("inspector").get(f"inspections/{filed[0]['id']}/")
    seen = {one["item"]: one for one in record["observations"]}
    assert (record["result"], seen["fuel"]["values"]) == ("fit", {"fuel_dip_l": 60.5})
    assert (seen["belt"]["outcome"], seen["belt"]["note"], len(seen["belt"]["photos"])) == (
        "wear",
        "Shiny on one side.",
        1,
    )
    photo = evening.api("inspector").get(f"photos/{seen['belt']['photos'][0]}/")
    assert max(photo["width_px"], photo["height_px"]) == 1600
    assert record["signatures"][0]["device_at"] is not None
    page.get_by_role("link", name="See it").click()
    expect(page.get_by_alt_text("Photo 1 of Belts")).to_be_visible()
    with page.expect_response("**/pdf/") as pdf:
        page.evaluate("fetch(document.querySelector('a[href$=\"/pdf/\"]').href)")
    assert pdf.value.headers["content-type"] == "application/pdf"


def test_what_is_signed_without_a_connection_is_filed_once_when_it_is_back(
    as_: Opened, evening: Evening, watch: Watch, picture: Path
) -> None:
    watch.allow(NO_NETWORK)
    page = as_("inspector", size=PHONE)
    before = len(of_unit(evening, "HB-108"))
    begin(page, "HB-108")
    kept_by_worker(page)
    read_last_report(page)
    page.context.set_offline(True)
    answer_all(page)
    page.get_by_role("link", name="Belts").click()
    page.get_by_label("Take a photo").set_input_files(picture)
    expect(page.get_by_alt_text("Photo 1 of Belts")).to_be_visible()
    page.reload()  # still without a connection: the shell and the draft come from the device
    expect(page.get_by_role("heading", level=1)).to_have_text("Belts")
    expect(page.get_by_alt_text("Photo 1 of Belts")).to_be_visible()
    page.get_by_role("button", name="All items").click()
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("1 waiting to be sent")).to_be_visible()
    address = page.url
    page.close()  # closing loses nothing
    again = page.context.new_page()
    watch.on(again)
    again.goto(address.split("#")[0])
    expect(again.get_by_text("1 waiting to be sent")).to_be_visible()
    assert len(of_unit(evening, "HB-108")) == before
    again.context.set_offline(False)
    expect(again.get_by_text("Filed: Pre-trip inspection of HB-108")).to_be_visible(timeout=20_000)
    assert len(of_unit(evening, "HB-108")) == before + 1


def test_a_unit_nobody_planned_for_can_be_inspected_without_a_connection(
    as_: Opened, evening: Evening, watch: Watch
) -> None:
    watch.allow(NO_NETWORK)
    page = as_("inspector", size=PHONE)
    page.goto("/inspections/")
    expect(page.locator("#kept")).to_contain_text("On this device")
    kept_by_worker(page)
    page.context.set_offline(True)
    page.goto("/inspections/")  # the kept shell stands in
    expect(page.get_by_text("No connection.")).to_be_visible()
    page.get_by_label("Unit").fill("HB-108")
    page.get_by_label("Sheet").select_option("seasonal")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_text("are not on this device")).to_be_visible()
    page.get_by_role("button", name="Start with the first item").click()
    page.get_by_role("radio", name="not seen").check()
    page.get_by_role("button", name="All items").click()
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("1 waiting to be sent")).to_be_visible()
    page.context.set_offline(False)
    expect(page.get_by_text("Filed: Seasonal service inspection of HB-108")).to_be_visible(timeout=20_000)
    assert of_unit(evening, "HB-108")[0]["result"] == "incomplete"


def test_an_answer_that_was_lost_on_the_way_files_nothing_twice(as_: Opened, evening: Evening, watch: Watch) -> None:
    """The service files, the network drops before the phone hears of it, the phone sends again."""
    watch.allow(NO_NETWORK)
    page = as_("inspector", size=PHONE)
    before = len(of_unit(evening, "HB-106"))
    lost: list[int] = []

    def lose_the_answer(route: Any) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort("failed")

    page.route("**/inspections/phone/send/", lose_the_answer)
    begin(page, "HB-106", "post-trip")
    answer_all(page)
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("Filed: Post-trip report of HB-106")).to_be_visible(timeout=30_000)
    assert lost == [201]
    assert len(of_unit(evening, "HB-106")) == before + 1


def test_a_refusal_is_shown_kept_and_can_be_corrected(as_: Opened, evening: Evening, watch: Watch) -> None:
    watch.allow("status of 409")
    page = as_("inspector", size=PHONE)
    begin(page, "HB-105")
    read_last_report(page)
    answer_all(page)
    # Meanwhile somebody else files a newer report, which the signer has not read.
    newest = of_unit(evening, "HB-105")
    evening.api("manager").post("inspections/", {
        "sheet": "post-trip", "unit": "HB-105", "signature": {},
        "observations": [{"item": "drains", "outcome": "wear", "note": "leaves"}],
    })  # fmt: skip
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("was refused")
    page.reload()
    expect(page.get_by_role("alert")).to_contain_text("was refused")
    assert len(of_unit(evening, "HB-105")) == len(newest) + 1
    page.get_by_role("button", name="Open and correct").click()
    expect(page.get_by_text("leaves")).to_be_visible()
    read_last_report(page)
    page.get_by_role("button", name="To the review").click()
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("Filed: Pre-trip inspection of HB-105")).to_be_visible()
    assert len(of_unit(evening, "HB-105")) == len(newest) + 2


def test_a_session_that_ends_meanwhile_keeps_the_queue(as_: Opened, evening: Evening, watch: Watch) -> None:
    watch.allow("status of 401")
    page = as_("inspector", size=PHONE)
    begin(page, "HB-104", "post-trip")
    kept_by_worker(page)
    answer_all(page)
    page.context.clear_cookies()
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("You are signed out.")).to_be_visible()
    page.get_by_role("link", name="Sign in").click()
    sign_in(page, evening, "inspector")
    expect(page.get_by_text("Filed: Post-trip report of HB-104")).to_be_visible()


def test_nobody_sends_what_another_person_signed(as_: Opened, evening: Evening, watch: Watch) -> None:
    watch.allow(f"{NO_NETWORK}|status of 401")
    page = as_("inspector", size=PHONE)
    before = len(of_unit(evening, "HB-101"))
    begin(page, "HB-101", "post-trip")
    kept_by_worker(page)
    page.context.set_offline(True)
    answer_all(page)
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("1 waiting to be sent")).to_be_visible()
    page.context.clear_cookies()
    page.context.set_offline(False)
    sign_in(page, evening, "manager")
    page.goto("/inspections/")
    expect(page.get_by_text("It is sent when")).to_be_visible()
    assert len(of_unit(evening, "HB-101")) == before


def test_signing_out_warns_of_what_waits(as_: Opened, evening: Evening, watch: Watch) -> None:
    watch.allow(NO_NETWORK)
    page = as_("inspector", size=PHONE)
    begin(page, "HB-101", "post-trip")
    page.route("**/inspections/phone/pass/", lambda route: route.abort("failed"))
    answer_all(page)
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("1 waiting to be sent")).to_be_visible()
    asked: list[str] = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.get_by_role("button", name="Sign out").click()
    assert "1 signed inspection has not been sent" in asked[0]
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def test_signing_out_takes_the_kept_page_away_and_signing_in_brings_the_next_persons(
    as_: Opened, evening: Evening, watch: Watch
) -> None:
    watch.allow(NO_NETWORK)
    page = as_(None, size=PHONE)
    sign_in(page, evening, "inspector")
    page.goto("/inspections/")
    kept_by_worker(page)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/**")
    page.wait_for_function("caches.match('/inspections/walk/').then((found) => !found)")
    sign_in(page, evening, "manager")
    page.goto("/inspections/")
    kept_by_worker(page)
    page.context.set_offline(True)
    page.goto("/inspections/walk/")
    expect(page.get_by_text("No connection.")).to_be_visible()
    expect(page.locator(".who")).to_contain_text("manager")


def test_every_target_of_an_item_is_large_enough_for_a_glove(as_: Opened) -> None:
    page = as_("inspector", size=PHONE)
    begin(page, "HB-107")
    page.get_by_role("button", name="Start with the first item").click()
    expect(page.locator("#walk .outcome").first).to_be_visible()
    for target in page.locator(
        "#walk :is(button, .outcome, .photo, input:not([type=radio], [type=file]), select)"
    ).all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 44, target.inner_text()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_whole_sheet_can_be_filed_without_scripts(
    as_: Opened, evening: Evening, picture: Path, watch: Watch
) -> None:
    watch.allow("status of 422")
    page = as_("inspector", size=PHONE, java_script_enabled=False)
    before = len(of_unit(evening, "HB-107"))
    page.goto("/inspections/")
    form = page.get_by_role("region", name="Begin an inspection")
    form.get_by_label("Unit").fill("HB-107")
    page.get_by_role("button", name="The whole sheet on one page").click()
    # `all()` does not wait: the last thing of the page says that the whole of it has come.
    expect(page.get_by_role("button", name="Sign and file")).to_be_visible()
    for radio in page.get_by_role("radio", name="sound").all():
        radio.check()
    belts = page.get_by_role("group", name="Belts")
    belts.get_by_role("radio", name="defect").check()
    belts.get_by_label("Photos").set_input_files(picture)
    read_last_report(page)
    page.get_by_role("button", name="Sign and file").click()
    expect(page.get_by_role("alert")).to_contain_text("Not filed.")
    expect(belts).to_contain_text("Say what the defect is.")
    belts.get_by_label("Note").fill("Two ribs missing.")
    belts.get_by_label("Photos").set_input_files(picture)
    read_last_report(page)
    page.get_by_role("button", name="Sign and file").click()
    expect(page.get_by_text("Signed and filed.")).to_be_visible()
    assert len(of_unit(evening, "HB-107")) == before + 1
    expect(page.locator(".tag-unfit")).to_be_visible()
    page.get_by_text("Sign a repair").click()
    page.get_by_label("What was done").fill("New belt, tension set.")
    page.get_by_role("button", name="Sign as").click()
    page.get_by_text("Look again and sign").click()
    page.get_by_role("radio", name="sound").check()
    page.get_by_role("button", name="Sign as").click()
    expect(page.get_by_text("The second look is signed.")).to_be_visible()
    defects = evening.api("inspector").get("defects/?unit=HB-107&item=belt")["items"]
    assert defects[0]["state"] == "closed"


@pytest.mark.parametrize("role", ["dispatcher"])
def test_who_may_not_inspect_is_offered_nothing_to_sign(as_: Opened, role: str, watch: Watch) -> None:
    watch.allow("status of 403")
    page = as_(role)
    page.goto("/inspections/")
    expect(page.get_by_role("heading", name="Filed")).to_be_visible()
    assert page.get_by_role("button", name="Item by item").count() == 0
    assert page.goto("/inspections/walk/").status == 403  # type: ignore[union-attr]
