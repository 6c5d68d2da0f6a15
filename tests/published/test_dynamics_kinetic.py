"""Mean kinetic temperature against numbers that others published."""

import numpy as np
import pytest

from thermal import OutOfRange
from thermal.kinetic import HEAT_OF_ACTIVATION_K, mean_kinetic_c, spans_h


def test_a_published_worked_value():
    """github.com/zelti/mkt (an aggregate function for PostgreSQL), readme: 2, 2, 5, 8, 8, 8, 8 °C give 6.25 °C."""
    assert round(mean_kinetic_c(np.array([2.0, 2, 5, 8, 8, 8, 8])), 2) == 6.25


def test_the_constants_are_those_of_the_pharmacopoeia():
    """USP 29 <1160>: dH 83.144 kJ/mol, R 8.3144e-3 kJ/(mol K); their ratio is the round 10 000 K."""
    assert pytest.approx(10_000.0) == HEAT_OF_ACTIVATION_K


def test_it_is_never_below_the_mean_and_equal_for_a_steady_record():
    """ICH Q1A(R2), glossary: the mean kinetic temperature is higher than the arithmetic mean."""
    swinging = np.array([15.0, 25.0, 30.0, 20.0])
    assert mean_kinetic_c(swinging) > swinging.mean()
    assert mean_kinetic_c(np.full(5, 21.5)) == pytest.approx(21.5, abs=1e-9)


def test_a_temperature_that_lasted_longer_weighs_more():
    pair = np.array([5.0, 25.0])
    assert mean_kinetic_c(pair, np.array([3.0, 1.0])) == pytest.approx(mean_kinetic_c(np.array([5.0, 5, 5, 25])))
    assert mean_kinetic_c(pair, np.array([0.0, 2.0])) == pytest.approx(25.0)


def test_a_silence_stands_for_nothing():
    spans = spans_h(np.array([0.0, 1.0, 2.0, 10.0]), longest_h=1.0)
    assert spans == pytest.approx([0.5, 1.0, 1.0, 0.5])


@pytest.mark.parametrize("bad", [[], [200.0], [float("nan")]])
def test_what_is_no_temperature_is_refused(bad):
    with pytest.raises(OutOfRange):
        mean_kinetic_c(np.array(bad))
