"""Ages of parts fitted before the records, against closed forms and simulated renewals."""

import numpy as np
import pytest

from rca.causes.planning.money import expected_failures
from rca.causes.planning.unknown_age import LIKELY, likely_ages, renewal_function


def weibull(shape, scale=1.0):
    return lambda age: (np.maximum(age, 0.0) / scale) ** shape


def test_renewals_are_those_of_the_renewal_equation():
    """Shape 1 gives M(t) = t; shape 2.5 as `expected_failures`, itself checked on Xie (1989)."""
    times, renewed = renewal_function(weibull(1.0), 3.0)
    assert renewed == pytest.approx(times, abs=0.01)
    times, renewed = renewal_function(weibull(2.5), 3.0)
    assert renewed == pytest.approx(expected_failures(2.5, times), abs=0.005)


def test_a_part_that_never_ends_is_the_original():
    ages = likely_ages(np.array([500.0]), np.array([100.0]), lambda age: 1e-9 * np.asarray(age))
    assert ages.shape == (1, LIKELY)
    assert ages == pytest.approx(600.0)


def test_at_random_the_age_is_what_was_run_since_and_an_exponential():
    """Shape 1, long before the records: age beyond W is exponential (memoryless)."""
    ages = likely_ages(np.array([50.0]), np.array([0.7]), weibull(1.0))[0]
    asked = (np.arange(LIKELY) + 0.5) / LIKELY
    # grid cells of 50 / 60 blur the youngest ages
    assert ages - 0.7 == pytest.approx(-np.log1p(-asked), abs=0.5)
    assert ages.min() >= 0.7


def test_simulated_renewals_have_these_ages():
    """Wear-out 3, T = 2.2, W = 0.6 scales: 40 000 histories, those not renewed in W kept."""
    rng = np.random.default_rng(3)
    size, before, watched = 40_000, 2.2, 0.6
    fitted, end = np.zeros(size), rng.weibull(3.0, size)
    while (on := end < before).any():
        fitted[on], end[on] = end[on], end[on] + rng.weibull(3.0, on.sum())
    kept = end > before + watched
    true = np.sort(before + watched - fitted[kept])
    asked = (np.arange(LIKELY) + 0.5) / LIKELY
    found = likely_ages(np.array([before]), np.array([watched]), weibull(3.0))[0]
    assert found == pytest.approx(np.quantile(true, asked), abs=0.06)
