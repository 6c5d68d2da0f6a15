"""The small chart in a mail: the forecast of the trip it is about, when there is one. Never what stops a mail."""

from __future__ import annotations

import logging

from alarms.metrics import MAIL_CHARTS
from alarms.models import Delivery
from fleet.charts.paper import Paper, Size
from fleet.charts.registry import FORECAST, trip_charts
from fleet.clock import db_now
from fleet.models import Fleet, Trip
from fleet.models.members import Scale, Volume
from fleet.pages.reader import zone_named
from fleet.readiness.selectors import trips_with_units

logger = logging.getLogger(__name__)
LARGEST = 150_000
"""Bytes. A mail with more is put aside by some servers and slow on a telephone (choice)."""
TOLD = (Delivery.Purpose.TELL, Delivery.Purpose.OWNER)


def chart_of(delivery: Delivery) -> bytes:
    """A PNG of the first trip that the message is about; empty where there is none, it is too large, or it failed."""
    reference = _trip_of(delivery)
    if reference is None:
        return b""
    try:
        image = _drawn(delivery, reference)
    except Exception:
        logger.exception("The chart of delivery %s failed; the mail goes without", delivery.pk)
        MAIL_CHARTS.labels(outcome="failed").inc()
        return b""
    if len(image) > LARGEST:
        MAIL_CHARTS.labels(outcome="too_large").inc()
        return b""
    MAIL_CHARTS.labels(outcome="drawn" if image else "nothing_to_show").inc()
    return image


def _trip_of(delivery: Delivery) -> str | None:
    if delivery.purpose not in TOLD:
        return None
    subjects = [*delivery.document.get("holds", ()), *delivery.document.get("alarms", ())]
    return next((subject["trip"] for subject in subjects if subject.get("trip")), None)


def _drawn(delivery: Delivery, reference: str) -> bytes:
    """The forecast in the fleet's zone and, for a member, in the units they have chosen."""
    chart = trip_charts.get(FORECAST)
    found = Trip.objects.for_fleet(delivery.fleet_id).filter(reference=reference).values_list("pk", flat=True).first()
    if chart is None or found is None:
        return b""
    trip = trips_with_units([found])[0]
    if trip.unit_id is None:
        return b""
    picture = chart.picture(trip, db_now())
    if not picture.shows_anything:
        return b""
    from fleet.charts.draw import png  # the drawing library is heavy, and not every process sends mail

    zone = zone_named(Fleet.objects.get(pk=delivery.fleet_id).time_zone)
    reader = delivery.route.member if delivery.route is not None else None
    paper = Paper(
        size=Size.MAIL,
        zone=zone,
        fahrenheit=reader is not None and reader.scale == Scale.FAHRENHEIT,
        gallons=reader is not None and reader.volume == Volume.GALLONS,
    )
    return png(picture, paper)
