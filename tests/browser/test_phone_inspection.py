"""An inspection on a phone, item by item or the whole sheet: filed, refused, corrected."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Opened, Watch
from tests.browser.evening import PHONE, Evening
from tests.browser.walking import answer_all, begin, of_unit, read_last_report
from tests.waiting import wait_for


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
