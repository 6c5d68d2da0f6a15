"""The calculator's page: works without scripts, in the reader's units, and says what it does not take."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from django.test import Client

from fleet.models import Fleet, Role
from fleet.models.members import Scale, Volume
from tests import factories
from thermal.adapter.pages.inputs import METRIC, preset_links, read, shown

pytestmark = pytest.mark.django_db
URL = "/calculator/"


@pytest.fixture
def browser(tarn: Fleet) -> Client:
    factories.potato()
    client = Client()
    client.force_login(factories.make_member(tarn, Role.DISPATCHER))
    return client


def text(client: Client, query: str = "", **headers: str) -> str:
    response = client.get(f"{URL}?{query}", **headers)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_a_plain_form_gets_words_a_chart_a_table_and_the_cautions(browser: Client) -> None:
    page = text(browser, f"u={METRIC}&ambient=-30&hours=24")
    for words in ("kW needed", "If the heat stops at departure", "chart.svg?", "The same in numbers", "Cautions",
                  "not a certificate", "<button class=\"main\">Calculate"):  # fmt: skip
        assert words in page, words


@pytest.mark.parametrize(("words", "query"), preset_links())
def test_every_preset_has_an_answer(browser: Client, words: str, query: str) -> None:
    page = text(browser, query)
    assert "<h2>Answer</h2>" in page
    assert 'role="alert"' not in page


def test_a_reader_of_fahrenheit_and_gallons_writes_and_reads_them(browser: Client, tarn: Fleet) -> None:
    tarn.members.update(scale=Scale.FAHRENHEIT, volume=Volume.GALLONS)
    page = text(browser, "u=f-gal&ambient=-22&set_point=45&fuel=40")
    assert 'name="ambient" inputmode="decimal" value="-22"' in page
    assert "at −22 °F outside" in page
    assert "gal" in page


def test_units_travel_with_the_form() -> None:
    values, wrong = read({"u": "f-gal", "ambient": "-22", "fuel": "40"})
    assert wrong == {}
    assert values["ambient"] == pytest.approx(-30.0)
    assert values["fuel"] == pytest.approx(151.4, abs=0.1)
    assert shown(values["ambient"], "degC", "f-gal") == pytest.approx(-22.0)


@pytest.mark.parametrize("query", ["ambient=cold", "mass=nan", "hours=9999", "k=inf", "k=-1"])
def test_what_is_no_number_or_out_of_range_is_said_beside_its_field(browser: Client, query: str) -> None:
    page = text(browser, query)
    assert 'aria-invalid="true"' in page
    assert "<h2>Answer</h2>" not in page
    assert browser.get(f"{URL}chart.svg?{query}").status_code == 400


def test_goods_that_nobody_knows_are_refused_in_words(browser: Client) -> None:
    assert "No commodity has this key." in text(browser, "goods=moon-cheese")


def test_a_script_gets_the_answer_only(browser: Client) -> None:
    page = text(browser, "ambient=-20", HTTP_HX_REQUEST="true")
    assert "<html" not in page
    assert "<h2>Answer</h2>" in page


def test_the_chart_counts_hours_from_departure(browser: Client) -> None:
    response = browser.get(f"{URL}chart.svg?ambient=-35&hours=24&look=dark")
    assert response["Content-Type"] == "image/svg+xml"
    drawn = {element.text for element in ElementTree.fromstring(response.content).iter() if element.text}
    assert {"0", "12", "24"} <= drawn


def test_a_stranger_signs_in_first() -> None:
    assert Client().get(URL).status_code == 302
