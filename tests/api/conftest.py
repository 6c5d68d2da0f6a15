"""Who inspects what, for the tests of inspections over the API."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, Role, Unit
from tests import factories
from tests.conftest import Client


@pytest.fixture
def unit(tarn: Fleet) -> Unit:
    return factories.make_unit(tarn)


@pytest.fixture
def inspector(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.INSPECTOR)
