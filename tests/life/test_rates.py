"""Rates and their ratio against R, scipy and statsmodels, and the laws that tie them together."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, chi2, false_discovery_control
from statsmodels.stats.rates import confint_poisson_2indep, test_poisson_2indep

from rca.errors import NoFit, RcaError
from rca.life.rates import dispersion, rate, rate_limits, rate_ratio, ratio_limits
from tests.life.engines import peers_as_met

# Imported names must not be collected as tests of ours.
poisson_2indep_test = test_poisson_2indep
del test_poisson_2indep


def test_fifteen_in_400() -> None:
    """S24: READ in the test suite of statsmodels 0.15.0 (from another R package)."""
    found = rate(15, 400)
    assert found.value == pytest.approx(0.0375, abs=1e-12)
    printed = (0.0209884653319583, 0.0618505471787146)
    assert (found.lower, found.upper) == pytest.approx(printed, rel=1e-9)
    assert str(found) == "0.0375 per unit of exposure (0.02099 to 0.06185 (95%)), 15 in 400"


def test_two_failures_in_800_hours() -> None:
    """S19: the limits of the rate are those of the mean time turned over; example from MEMORY."""
    found = rate(2, 800, confidence=0.9, unit_of_exposure="h")
    assert 1 / found.upper == pytest.approx(127.06896827442834, rel=1e-8)
    assert 1 / found.lower == pytest.approx(2251.228610625704, rel=1e-8)
    assert str(found).endswith("2 in 800 h")


@pytest.mark.parametrize(
    ("confidence", "hours"),
    [(0.9, 434.2944819032519), (0.95, 333.80820069533405), (0.6, 1091.3566679372916)],
)
def test_zero_failures_in_1000_hours(confidence: float, hours: float) -> None:
    """S20: one-sided, T / -ln alpha. READ garbled in the e-Handbook, 8.4.5.1; the rest MEMORY."""
    found = rate(0, 1000, confidence=confidence, side="upper")
    assert found.lower == found.value == 0
    assert 1 / found.upper == pytest.approx(hours, rel=1e-10)


@given(st.integers(0, 500), st.floats(0.001, 1e6), st.floats(0.5, 0.999))
def test_limits_are_chi_square_quantiles(count: int, exposure: float, confidence: float) -> None:
    """Lower chi2(alpha/2, 2x)/2T, upper chi2(1-alpha/2, 2x+2)/2T, by scipy."""
    tail = (1 - confidence) / 2
    lower, upper = rate_limits(count, exposure, confidence=confidence)
    expected = chi2.ppf(tail, 2 * count) / 2 / exposure if count else 0.0
    assert lower == pytest.approx(expected, rel=1e-9)
    assert upper == pytest.approx(chi2.isf(tail, 2 * count + 2) / 2 / exposure, rel=1e-9)


def test_ratio_of_two_rates() -> None:
    """S23: 11 in 800 against 21 in 3011, COMPUTED with R 4.2.2 (example of its poisson.test)."""
    found = rate_ratio(11, 800, 21, 3011)
    assert found.value == pytest.approx(1.9714880952381, rel=1e-10)
    expected = (0.858426403391639, 4.27726594365407)
    assert (found.lower, found.upper) == pytest.approx(expected, rel=1e-7)
    assert found.p_value == pytest.approx(0.112017319575399, rel=1e-8)
    assert "p = 0.112 against 1; 11 in 800 against 21 in 3011" in str(found)


def test_peers_print_another_p() -> None:
    """S23, a trap: the minimum-likelihood p 0.0797 of R, scipy and statsmodels can contradict."""
    peer = binomtest(11, 32, 800 / 3811).pvalue
    assert peer == pytest.approx(0.0796686330333295, rel=1e-8)
    other = poisson_2indep_test(11, 800, 21, 3011, method="exact-cond").pvalue
    assert other == pytest.approx(peer, rel=1e-8)
    found = rate_ratio(11, 800, 21, 3011, confidence=0.90)
    assert peer < 0.10 < found.p_value
    assert found.lower < 1 < found.upper


@given(
    st.integers(0, 60),
    st.floats(0.01, 1e4),
    st.integers(0, 60),
    st.floats(0.01, 1e4),
    st.floats(0.6, 0.99),
)
def test_interval_and_p_agree(x: int, s: float, y: int, t: float, confidence: float) -> None:
    """The p-value lies below 1 - confidence exactly where 1 lies outside the interval."""
    found = rate_ratio(x, s, y, t, confidence=confidence)
    if abs(found.p_value - (1 - confidence)) > 1e-9:
        outside = not found.lower <= 1 <= found.upper
        assert outside == (found.p_value < 1 - confidence)
    assert found.lower < found.upper
    if x + y:
        assert found.lower <= found.value <= found.upper


@given(st.integers(0, 40), st.integers(0, 40), st.floats(0.1, 10))
def test_ratio_turned_over(x: int, y: int, scale: float) -> None:
    """Swapping the groups turns the ratio and its limits over and leaves p."""
    one, other = rate_ratio(x, scale, y, 1.0), rate_ratio(y, 1.0, x, scale)
    assert one.p_value == pytest.approx(other.p_value, rel=1e-9)
    assert one.lower == pytest.approx(1 / other.upper if math.isfinite(other.upper) else 0)
    upper = 1 / other.lower if other.lower else math.inf
    assert one.upper == pytest.approx(upper)


@given(st.integers(0, 30), st.integers(0, 30), st.floats(0.1, 10), st.floats(0.2, 5))
def test_ratio_p_is_the_doubled_binomial_tail(x: int, y: int, s: float, null: float) -> None:
    """Against any ratio: twice the smaller binomial tail, by scipy."""
    share = null * s / (null * s + 1)
    if x + y == 0:
        expected = 1.0
    else:
        tails = [
            binomtest(x, x + y, share, alternative=side).pvalue for side in ("less", "greater")
        ]
        expected = min(1.0, 2 * min(tails))
    assert rate_ratio(x, s, y, 1.0, null=null).p_value == pytest.approx(expected, rel=1e-8)


@peers_as_met
def test_a_peer_collapses_at_zero() -> None:
    """A trap: statsmodels' default interval of 0 in 12000 against 5 in 15000 has no width."""
    lower, upper = confint_poisson_2indep(0, 12000, 5, 15000)
    assert (lower, upper) == pytest.approx((0.96036, 0.96036), abs=5e-6)


def test_zero_count() -> None:
    """None against five: exact limits 0 to 1.36410, COMPUTED (Clopper-Pearson turned)."""
    found = rate_ratio(0, 12000, 5, 15000)
    assert (found.value, found.lower) == (0, 0)
    assert found.upper == pytest.approx(1.36410, abs=5e-6)
    assert math.isinf(rate_ratio(5, 1, 0, 1).value)
    nothing = rate_ratio(0, 1, 0, 1)
    assert math.isnan(nothing.value)
    assert (nothing.lower, nothing.upper, nothing.p_value) == (0, math.inf, 1)
    assert nothing.interval.note == "no event in either group"


def test_many_ratios_at_once() -> None:
    """Columns give what single calls give."""
    x, s, y, t = [0, 3, 7], [1.0, 2.0, 3.0], [4, 0, 7], [5.0, 6.0, 7.0]
    lower, upper = ratio_limits(x, s, y, t)
    single = [rate_ratio(*row) for row in zip(x, s, y, t, strict=True)]
    np.testing.assert_allclose(lower, [one.lower for one in single])
    np.testing.assert_allclose(upper, [one.upper for one in single])


@pytest.mark.parametrize("mean", [0.2, 1.0, 20.0])
def test_dispersion_error_rate(mean: float) -> None:
    """Units alike with unequal exposure: 5 % are called unequal, far below one event a unit too."""
    rng = np.random.default_rng(3)
    p_values = []
    for _ in range(1500):
        expected = rng.uniform(0.1, 2, 60) * mean
        counts = rng.poisson(expected)
        p_values.append(dispersion(counts, 7 * expected).p_value if counts.sum() > 1 else 1.0)
    assert 0.035 <= np.mean(np.array(p_values) <= 0.05) <= 0.07


def test_dispersion_moments() -> None:
    """The exact mean and variance of the index by enumeration: 3 events on 3 units."""
    weights = np.array([0.2, 0.3, 0.5])
    mean = second = 0.0
    for a in range(4):
        for b in range(4 - a):
            counts = np.array([a, b, 3 - a - b])
            ways = math.factorial(3) / np.prod([math.factorial(k) for k in counts])
            chance = ways * np.prod(weights**counts)
            index = dispersion(counts, weights).index
            mean, second = mean + chance * index, second + chance * index**2
    n, total = 3, 3
    exact = 2 / (n - 1) + ((1 / weights).sum() - n**2 - 2 * n + 2) / (total * (n - 1) ** 2)
    assert mean == pytest.approx(1, abs=1e-12)
    assert second - mean**2 == pytest.approx(exact, abs=1e-12)


def test_dispersion_finds_the_spread() -> None:
    """True variance 0.5 between units comes back on average, and is seen."""
    rng = np.random.default_rng(9)
    found = []
    for _ in range(300):
        expected = rng.uniform(0.5, 3, 200)
        found.append(dispersion(rng.poisson(expected * rng.gamma(2, 0.5, 200)), expected))
    assert np.mean([one.variance for one in found]) == pytest.approx(0.5, abs=0.04)
    assert np.mean([one.p_value <= 0.05 for one in found]) > 0.99
    assert "over 200 units" in str(found[0])


def test_benjamini_hochberg_is_scipy() -> None:
    """S25: Benjamini and Hochberg (1995), READ in the docstring of scipy 1.17.1; no own code."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
    p += [0.324, 0.4262, 0.5719, 0.6528, 0.759, 1.0]
    printed = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645]
    printed += [0.0765, 0.486, 0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0]
    adjusted = false_discovery_control(p)
    np.testing.assert_allclose(adjusted, printed, atol=6e-9)
    assert (adjusted <= 0.05).sum() == 4
    assert (np.array(p) <= 0.05 / 15).sum() == 3


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rate(-1, 5), "whole number"),
        (lambda: rate(2.5, 5), "whole number"),
        (lambda: rate(1, 0), "exposure must be above 0"),
        (lambda: rate(1, math.nan), "exposure must be above 0"),
        (lambda: rate(1, 5, confidence=95), "confidence must lie"),
        (lambda: rate_ratio(1, 1, 1, 0), "exposure must be above 0"),
        (lambda: rate_ratio(1, 1, 1, 1, null=0), "null must be above 0"),
        (lambda: dispersion([1, 2], [1, 2, 3]), "shape"),
        (lambda: dispersion([1], [1]), "say nothing"),
        (lambda: dispersion([1, 0], [1, 1]), "say nothing"),
    ],
)
def test_refusals(call: object, message: str) -> None:
    """Wrong input gets one clear error."""
    with pytest.raises((RcaError, NoFit), match=message):
        call()
