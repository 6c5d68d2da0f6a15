"""An inspection that is signed without a connection waits on the phone, and is filed once, by the one who signed it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from playwright.sync_api import Route, expect

from tests.browser.conftest import Opened, Watch
from tests.browser.evening import PHONE, Evening, sign_in
from tests.browser.walking import answer_all, begin, is_kept, kept_by_worker, of_unit, open_list, read_last_report

NO_NETWORK = r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"


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
    open_list(page)
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
    open_list(page)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/**")
    assert not is_kept(page)
    sign_in(page, evening, "manager")
    open_list(page)
    page.context.set_offline(True)
    page.goto("/inspections/walk/")
    expect(page.get_by_text("No connection.")).to_be_visible()
    expect(page.locator(".who")).to_contain_text("manager")


def test_a_slow_phone_has_nothing_kept_of_whoever_has_signed_out(as_: Opened, evening: Evening) -> None:
    """The page is left no sooner than it has removed what was kept."""
    page = as_(None, size=PHONE)
    sign_in(page, evening, "inspector")
    open_list(page)
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 20})
    page.get_by_role("button", name="Sign out").dblclick()
    page.wait_for_url("**/sign-in/**")
    assert not is_kept(page)


def test_a_page_that_was_on_its_way_when_somebody_signed_out_is_not_kept(as_: Opened, evening: Evening) -> None:
    page = as_(None, size=PHONE)
    sign_in(page, evening, "inspector")
    open_list(page)
    on_its_way: list[Route] = []

    def hold(route: Route) -> None:
        on_its_way.append(route)

    page.context.route("**/inspections/walk/", hold)
    with page.context.expect_event("request", lambda request: request.url.endswith("/inspections/walk/")):
        page.evaluate("navigator.serviceWorker.ready.then((found) => found.active.postMessage('keep'))")
    button = page.get_by_role("button", name="Sign out")
    button.click()
    expect(button).to_be_disabled()  # the session lasts until what is on its way has been kept, and removed
    (route,) = on_its_way
    route.continue_()
    page.wait_for_url("**/sign-in/**")
    assert not is_kept(page)
