"""Sizes and times of demonstrations against the usual tables and the exact laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, binom, hypergeom, poisson

from rca.errors import RcaError
from rca.life.demonstration import (
    expected_needed,
    failures_needed,
    reliability_shown,
    share_affected_at_most,
    time_to_demonstrate,
    units_to_demonstrate,
    units_to_inspect,
)


@pytest.mark.parametrize(
    ("reliability", "confidence", "units"),
    [
        (0.9, 0.9, 22),
        (0.9, 0.95, 29),
        (0.95, 0.9, 45),
        (0.95, 0.95, 59),
        (0.99, 0.9, 230),
        (0.99, 0.95, 299),
        (0.8, 0.9, 11),
    ],
)
def test_success_run(reliability: float, confidence: float, units: int) -> None:
    """S21: n = ln(1-C) / ln R, rounded up; common formula, numbers COMPUTED (scipy binom)."""
    assert units_to_demonstrate(reliability, confidence=confidence) == units


@pytest.mark.parametrize(("allowed", "units"), [(0, 22), (1, 38), (2, 52), (3, 65)])
def test_failures_allowed(allowed: int, units: int) -> None:
    """R = C = 0.90 with 1, 2, 3 failures allowed: 38, 52, 65 (binomial, COMPUTED)."""
    assert units_to_demonstrate(0.9, failures_allowed=allowed) == units


@given(st.floats(0.5, 0.999), st.floats(0.5, 0.99), st.integers(0, 5))
def test_size_is_the_smallest(reliability: float, confidence: float, allowed: int) -> None:
    """By scipy: so many units suffice, one fewer do not; the limit shown then reaches the claim."""
    units = units_to_demonstrate(reliability, confidence=confidence, failures_allowed=allowed)
    risk = 1 - confidence
    assert binom.cdf(allowed, units, 1 - reliability) <= risk * (1 + 1e-9)
    assert binom.cdf(allowed, units - 1, 1 - reliability) > risk * (1 - 1e-9)
    shown = reliability_shown(units, failures=allowed, confidence=confidence)
    assert shown >= reliability - 1e-9


def test_zero_failure_weibull() -> None:
    """S22: shape 2, 10 units, R = C = 0.9 at 1000: 1478.32 each; closed form, common practice."""
    time = time_to_demonstrate(1000, 0.9, units=10, shape=2, confidence=0.9)
    assert time == pytest.approx(1478.3215254734955, rel=1e-10)
    assert units_to_demonstrate(0.9, shape=2, times_life=1) == 22
    assert units_to_demonstrate(0.9, shape=2, times_life=time / 1000 * (1 + 1e-9)) == 10


@given(st.floats(0.5, 5), st.floats(1.0, 4), st.integers(1, 50))
def test_longer_runs_for_fewer_units(shape: float, times: float, units: int) -> None:
    """Testing k times longer divides the units by k^shape (COMPUTED)."""
    once = time_to_demonstrate(100, 0.95, units=units, shape=shape)
    spread = time_to_demonstrate(100, 0.95, units=units * 7, shape=shape)
    assert once / spread == pytest.approx(7 ** (1 / shape), rel=1e-9)
    needed = units_to_demonstrate(0.95, shape=shape, times_life=times)
    exact = math.log(0.1) / (times**shape * math.log(0.95))
    assert needed == max(1, math.ceil(exact - 1e-9))


def test_zero_means_something_from_three_on() -> None:
    """-ln 0.05 = 2.996 expected before zero failures mean anything at 95 % ("rule of three")."""
    assert expected_needed() == pytest.approx(-math.log(0.05), rel=1e-12)
    for allowed in range(5):
        expected = expected_needed(allowed, confidence=0.9)
        assert poisson.cdf(allowed, expected) == pytest.approx(0.1, rel=1e-9)
    assert reliability_shown(1000, confidence=0.95) == pytest.approx(1 - 3 / 1000, abs=1e-5)
    assert reliability_shown(3, failures=3) == 0


@pytest.mark.parametrize(
    ("ratio", "even", "quarter"), [(0.5, 52, 69), (1 / 3, 21, 27), (0.25, 13, 18), (0.2, 10, 13)]
)
def test_failures_needed(ratio: float, even: int, quarter: int) -> None:
    """Schoenfeld's size, one-sided 5 %, power 80 %, equal arms and a quarter treated (COMPUTED)."""
    # The table rounds to the nearest; a plan rounds up.
    assert failures_needed(ratio) in (even, even + 1)
    assert failures_needed(ratio, share=0.25) in (quarter, quarter + 1)
    assert failures_needed(ratio) == failures_needed(1 / ratio)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: units_to_demonstrate(1.0), "reliability must lie"),
        (lambda: units_to_demonstrate(0.9, confidence=90), "confidence must lie"),
        (lambda: units_to_demonstrate(0.9, failures_allowed=-1), "must be whole"),
        (lambda: units_to_demonstrate(0.9, times_life=1e-9, shape=3), "units would be needed"),
        (lambda: time_to_demonstrate(0, 0.9, units=3, shape=1), "life must be above 0"),
        (lambda: reliability_shown(3, failures=4), "cannot be"),
        (lambda: failures_needed(1), "no difference"),
    ],
)
def test_refusals(call: object, message: str) -> None:
    """Wrong input gets one clear error."""
    with pytest.raises(RcaError, match=message):
        call()


def test_a_clean_sample_of_a_large_population_is_the_success_run():
    """59 for 5 % and 29 for 10 % at 95 %: the binomial success run (common tables, from memory)."""
    assert units_to_inspect(1_000_000, 0.05) == 59
    assert units_to_inspect(1_000_000, 0.10) == 29
    assert units_to_inspect(1_000_000, 0.10, confidence=0.9) == 22


@given(st.integers(1, 400), st.sampled_from([0.01, 0.05, 0.1, 0.3]))
def test_a_clean_sample_is_the_smallest_by_the_hypergeometric(population, share):
    """Against scipy: so many are enough, one fewer is not."""
    size = units_to_inspect(population, share)
    affected = int(np.floor(share * population)) + 1
    assert hypergeom.pmf(0, population, affected, size) <= 0.05 + 1e-12
    assert hypergeom.pmf(0, population, affected, size - 1) > 0.05
    limit = share_affected_at_most(size, population=population)
    assert limit <= share


def test_the_share_affected_is_bounded_from_any_sample():
    """All inspected: what was found; a large population: Clopper and Pearson (1934)."""
    assert share_affected_at_most(40, affected=3, population=40) == pytest.approx(3 / 40)
    wide = share_affected_at_most(50, affected=2, population=100_000)
    assert wide == pytest.approx(beta.ppf(0.95, 3, 48), abs=2e-4)
    with pytest.raises(RcaError, match="cannot be"):
        share_affected_at_most(3, affected=4, population=10)
    with pytest.raises(RcaError, match="no unit"):
        units_to_inspect(0, 0.1)
