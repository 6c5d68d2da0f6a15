"""The chart in a mail: there when the trip has a forecast, bounded, and never what stops the mail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from prometheus_client import REGISTRY

from alarms.notices import charts
from fleet.charts import registry as chart_registry
from fleet.charts.registry import FORECAST
from fleet.embedded.receivers import Mailbox
from fleet.models import Fleet, Role, Trip
from fleet.registry import Registry
from tests import factories
from tests.conftest import Client
from tests.notice_rows import held, run
from tests.receivers import mailbox, route_to

__all__ = ["mailbox"]
pytestmark = pytest.mark.django_db(transaction=True)


def count(outcome: str) -> float:
    return REGISTRY.get_sample_value("warmgate_mail_charts_total", {"outcome": outcome}) or 0.0


@pytest.fixture
def told(tarn: Fleet, now: datetime, client_of: Client) -> Callable[[], int]:
    """A held trip with a load and a forecast, and somebody who is told by mail."""
    factories.potato()
    factories.make_unit(tarn)
    body = factories.trip_body(now, reference="T-9")
    assert client_of(tarn, Role.DISPATCHER).post("/api/v1/trips/", body, format="json").status_code == 201
    like = Trip.objects.for_fleet(tarn).get(reference="T-9")
    route_to(tarn, "manager@tarn.example", now=now)
    hold = held(tarn, now)
    rows = Trip.objects.for_fleet(tarn).filter(pk=hold.trip_id)
    rows.update(loads=like.loads, stops=like.stops, ambient=like.ambient, arrive_at=like.arrive_at)
    return lambda: run(now)


def parts(mailbox: Mailbox) -> list[Any]:
    return list(mailbox.mails[0].message.walk())


def test_a_mail_about_a_held_trip_shows_its_forecast_inline(told: Callable[[], int], mailbox: Mailbox) -> None:
    assert told() == 1
    (image,) = [part for part in parts(mailbox) if part.get_content_type() == "image/png"]
    assert image["Content-ID"] == "<chart>"
    data = image.get_payload(decode=True)
    assert data.startswith(b"\x89PNG")
    assert len(data) <= charts.LARGEST
    assert "cid:chart" in mailbox.mails[0].text("html")
    assert parts(mailbox)[0].get_content_type() == "multipart/related"
    assert "Fuel is short by 23 L." in mailbox.mails[0].text()


def _without_image(mailbox: Mailbox) -> None:
    assert [part for part in parts(mailbox) if part.get_content_maintype() == "image"] == []
    assert "cid:" not in mailbox.mails[0].text("html")
    assert "Fuel is short by 23 L." in mailbox.mails[0].text()


def test_a_chart_that_fails_is_counted_and_the_mail_goes_without(
    told: Callable[[], int], mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(trip: Trip, now: datetime) -> Any:
        raise RuntimeError("no picture today")

    other: Registry[Any] = Registry("charts of a trip")
    other.add(replace(chart_registry.trip_charts[FORECAST], picture=broken))
    monkeypatch.setattr(charts, "trip_charts", other)
    before = count("failed")
    assert told() == 1
    assert count("failed") == before + 1
    _without_image(mailbox)


def test_a_chart_that_is_too_large_is_left_out(
    told: Callable[[], int], mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(charts, "LARGEST", 1000)
    before = count("too_large")
    assert told() == 1
    assert count("too_large") == before + 1
    _without_image(mailbox)
