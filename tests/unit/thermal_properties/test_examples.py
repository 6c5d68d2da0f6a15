"""The worked example in every docstring gives the number it prints."""

import doctest

import pytest

from alarms import j1939
from thermal import atp, battery, certificate, commodities, coolant, diesel, door, food, goods


@pytest.mark.parametrize(
    "module",
    [atp, battery, certificate, commodities, coolant, diesel, door, food, goods, j1939],
    ids=lambda module: module.__name__,
)
def test_the_examples_in_the_docstrings_hold(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
