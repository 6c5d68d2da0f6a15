"""What is known of goods, over HTTP."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from fleet.models import Commodity, Fleet
from tests.conftest import Client

pytestmark = pytest.mark.django_db
URL = "/api/v1/commodities/"


@pytest.fixture
def boss(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn)


def test_every_row_names_its_source_and_its_limits_agree(boss: APIClient) -> None:
    rows = boss.get(f"{URL}?limit=200").json()["items"]
    assert len(rows) > 20
    for row in rows:
        assert row["source"], row["key"]
        assert row["hazard"] in ("none", "must_state", "refused")
        if row["hazard"] != "refused" and not row["no_heat_needed"]:
            assert row["damage_c"] == max(limit for limit in (row["freezes_c"], row["chill_c"]) if limit is not None)
            assert row["low_c"] is None or row["low_c"] >= row["damage_c"]
            assert row["high_c"] is None or row["high_c"] > row["damage_c"]


def test_a_fleets_own_row_hides_the_built_in_one_of_its_key(boss: APIClient, tarn: Fleet) -> None:
    built_in = boss.get(f"{URL}potato/").json()
    assert built_in["own"] is False
    Commodity.objects.create(fleet=tarn, key="potato", name="Our potato", freezes_c=-0.7, low_c=5.0, source="ours")
    mine = boss.get(f"{URL}potato/").json()
    assert (mine["own"], mine["name"], mine["damage_c"]) == (True, "Our potato", -0.7)
    keys = [row["key"] for row in boss.get(f"{URL}?limit=200").json()["items"]]
    assert keys.count("potato") == 1


def test_the_table_is_read_only_and_unknown_keys_are_404(boss: APIClient) -> None:
    assert boss.get(f"{URL}moon-rock/").status_code == 404
    for method in ("post", "put", "patch", "delete"):
        response = getattr(boss, method)(f"{URL}potato/", {}, format="json")
        assert (response.status_code, response["Allow"]) == (405, "GET, HEAD, OPTIONS")
