"""API1:2023, broken object level authorization: ids say nothing, and guessing them leads nowhere.

The walk over every route with the ids of another fleet is tests/api/test_isolation.py.
"""

from __future__ import annotations

from datetime import datetime

import pytest

from fleet.models import Fleet, FleetRow, Role, Unit, UnscopedQuery
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db


def test_counting_ids_up_finds_only_ones_own(tarn: Fleet, other: Fleet, client_of: Client, now: datetime) -> None:
    clients = {fleet: client_of(fleet, Role.MANAGER) for fleet in (tarn, other)}
    for fleet, client in clients.items():
        factories.make_unit(fleet)
        client.get("/api/v1/tokens/")
    ids = {fleet: {item["id"] for item in client.get("/api/v1/tokens/").json()["items"]}
           for fleet, client in clients.items()}  # fmt: skip
    both = ids[tarn] | ids[other]
    reached = {
        pk for pk in range(min(both), max(both) + 50) if clients[tarn].get(f"/api/v1/tokens/{pk}/").status_code == 200
    }
    assert reached == ids[tarn]


def test_the_same_number_is_another_unit_in_another_fleet(tarn: Fleet, other: Fleet, client_of: Client) -> None:
    ours, theirs = factories.make_unit(tarn), factories.make_unit(other)
    answer = client_of(tarn).patch(
        "/api/v1/units/HB-104/", {"service": "out_of_service"}, format="json", HTTP_IF_MATCH="*"
    )
    assert answer.status_code == 200
    states = [Unit.objects.across_fleets().get(pk=unit.pk).service for unit in (ours, theirs)]
    assert states == ["out_of_service", "in_service"]


def test_a_query_that_forgets_the_fleet_fails_instead_of_answering(tarn: Fleet) -> None:
    factories.make_unit(tarn)
    models = [model for model in FleetRow.__subclasses__() if not model._meta.abstract]
    assert len(models) > 10
    for model in models:
        with pytest.raises(UnscopedQuery):
            list(model.objects.all())
