"""The statistics of calibration against published numbers, and the score against a few hundred simulated trips."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.simulator.drawing import draw_cases
from thermal.adapter.calibration import outcomes, predicted_chances, reliability


def test_brier_score_of_the_documented_example() -> None:
    """scikit-learn 1.9.1, docstring of brier_score_loss: y 0 1 1 0, p .1 .9 .8 .3 gives 0.0375."""
    result = reliability(np.array([0.1, 0.9, 0.8, 0.3]), np.array([0.0, 1.0, 1.0, 0.0]))
    assert result.brier == pytest.approx(0.0375, abs=1e-12)


def test_always_saying_the_base_rate_has_no_skill() -> None:
    """Arithmetic: the reference of the skill score is the base rate itself."""
    y = np.array([1.0] * 70 + [0.0] * 30)
    result = reliability(np.full(100, 0.7), y)
    assert result.skill == pytest.approx(0.0, abs=1e-12)
    assert result.brier == pytest.approx(0.21, abs=1e-12)
    assert result.calibration_error == pytest.approx(0.0, abs=1e-12)


def test_a_chance_that_is_too_high_everywhere_shows_as_error_and_z() -> None:
    """Arithmetic: 0.9 said, 0.7 true, n = 100: error 0.2, z = -20 / sqrt(100 * 0.09) = -6.67."""
    result = reliability(np.full(100, 0.9), np.array([1.0] * 70 + [0.0] * 30))
    assert result.calibration_error == pytest.approx(0.2)
    assert result.z_total == pytest.approx(-20 / 3, abs=1e-9)


@pytest.mark.parametrize("bad", [([], []), ([0.5], [1.0, 0.0])])
def test_vectors_that_do_not_match_are_refused(bad: tuple[list[float], list[float]]) -> None:
    with pytest.raises(ValueError, match="same length"):
        reliability(np.array(bad[0]), np.array(bad[1]))


def test_the_score_keeps_its_word_on_trips_simulated_without_its_code() -> None:
    """400 worlds of the resolved-cycle simulator (seed not used while the model was built).

    The bounds are four standard deviations of the total and three times the calibration error of the whole run
    in docs/calibration.md: a broken score fails, an unlucky draw does not.
    """
    requests = draw_cases(91, 400)
    result = reliability(predicted_chances(requests), outcomes(requests, seed=91))
    assert abs(result.z_total) < 4
    assert result.calibration_error < 0.05
    assert result.skill > 0.4
