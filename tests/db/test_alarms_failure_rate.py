"""The unit's own history moves its failure rate: faults that stopped the heat over the engine hours of its readings."""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.models import Fleet
from fleet.readiness.facts import UnitFacts
from fleet.trips.selectors import unit_of
from tests.db.conftest import post
from tests.factories import fault, make_unit, reading
from tests.notice_rows import stop_book
from thermal.adapter.inputs import failure_history


def history(fleet: Fleet) -> tuple[float, float]:
    unit = unit_of(fleet.pk, "HB-104")
    return failure_history(UnitFacts.from_rows(unit, unit.model, unit.state))


def test_without_engine_hours_the_prior_stands(tarn: Fleet, now: datetime) -> None:
    make_unit(tarn)
    post(tarn, fault(now, "coolant-hot-2"), now=now)
    assert history(tarn) == (1.0, 1500.0)


def test_stop_tier_faults_and_engine_hours_move_it(tarn: Fleet, now: datetime) -> None:
    """Prior Gamma(1, 1500 h); one stop-tier fault in 400 engine hours: Gamma(2, 1900 h). Other tiers do not count."""
    unit = make_unit(tarn)
    stop_book(tarn, unit, now)
    start = now - timedelta(days=30)
    post(tarn, reading(start, engine_hours_h=1000.0), reading(now, engine_hours_h=1400.0), now=now)
    assert history(tarn) == (1.0, 1900.0)
    hour = timedelta(hours=1)
    post(tarn, fault(now - 3 * hour, "coolant-hot-2"), fault(now - 2 * hour, "unheard-of"), now=now)
    assert history(tarn) == (2.0, 1900.0)
