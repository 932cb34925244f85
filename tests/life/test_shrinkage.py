"""Shrunk ratios, regression to the mean and funnels: exact cases, laws and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import gamma, nbinom, poisson

from rca.errors import NoFit, RcaError
from rca.life.shrinkage import funnel, shrink


def _fleet(rng: np.random.Generator, n: int, mean: float, variance: float) -> tuple:
    expected = rng.uniform(0.5, 1.5, n) * mean
    true = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
    return true, rng.poisson(true * expected), expected


def test_against_the_integral() -> None:
    """The shrunk ratio is the posterior mean: written out as an integral over spread and ratio.

    One gamma-Poisson law, its level near its likeliest for each spread; the level's own
    uncertainty moves only the limits. Independent of the sums in the code.
    """
    observed, expected = np.array([0, 1, 1, 2, 3, 9]), np.array([1.0, 2, 0.5, 2, 2, 3])

    step = 0.01
    levels = np.exp(np.arange(-2, 2, step))[:, None]

    def at_shrinkage(share: float) -> tuple[float, np.ndarray]:
        spread = (1 - share) / (share * observed.mean())
        size = 1 / spread
        chance = nbinom.logpmf(observed, size, size / (size + levels * expected))
        likelihood = chance.sum(axis=1)
        place = int(likelihood.argmax())
        curvature = -np.diff(likelihood, 2)[place - 1] / step**2
        ratio = (size + observed) / (size / levels[place] + expected)
        return np.exp(likelihood[place]) / np.sqrt(curvature), ratio

    shares = (np.arange(60) + 0.5) / 60
    weights, ratios = zip(*[at_shrinkage(share) for share in shares], strict=True)
    mean = np.average(ratios, axis=0, weights=weights)
    np.testing.assert_allclose(shrink(observed, expected).ratio, mean, rtol=5e-3)


def test_each_ratio_lies_between_its_own_and_the_level() -> None:
    """Shrinkage draws toward the level, the more the less is expected of a unit."""
    true, observed, expected = _fleet(np.random.default_rng(1), 200, 3, 0.5)
    shrunk = shrink(observed, expected)
    raw = observed / expected
    toward = (shrunk.ratio - raw) * (shrunk.level - raw)
    assert (toward > 0).all()
    assert np.abs(shrunk.ratio - true).mean() < np.abs(raw - true).mean()
    large = shrink(np.append(observed, [4, 40]), np.append(expected, [2, 20])).ratio
    assert abs(large[-1] - 2) < abs(large[-2] - 2)


@given(st.floats(0.01, 100))
def test_another_scale_of_expected(factor: float) -> None:
    """Expected counts in another measure: ratios scale, the spread and the worst do not."""
    _, observed, expected = _fleet(np.random.default_rng(2), 40, 2, 0.5)
    one, other = shrink(observed, expected), shrink(observed, factor * expected)
    np.testing.assert_allclose(other.ratio * factor, one.ratio, rtol=1e-8)
    np.testing.assert_allclose(other.upper * factor, one.upper, rtol=1e-8)
    assert other.variance == pytest.approx(one.variance, rel=1e-8)
    assert other.worst().expected_next == pytest.approx(one.worst().expected_next, rel=1e-8)


@pytest.mark.parametrize(
    ("n", "mean", "variance", "least"),
    [(12, 3, 0.5, 0.88), (50, 1, 0.0, 0.97), (50, 3, 0.3, 0.92), (200, 0.5, 1.0, 0.92)],
)
def test_limits_cover(n: int, mean: float, variance: float, least: float) -> None:
    """95 % limits over all units, and the number that the worst tenth has next: a small run."""
    rng = np.random.default_rng(17)
    covered, predicted, runs = [], [], 150
    for _ in range(runs):
        true, observed, expected = _fleet(rng, n, mean, variance)
        if not observed.sum():
            continue
        shrunk = shrink(observed, expected)
        covered.append(((shrunk.lower <= true) & (true <= shrunk.upper)).mean())
        worst = shrunk.worst()
        following = rng.poisson((true * expected)[worst.units]).sum()
        predicted.append(worst.lower <= following <= worst.upper)
    assert np.mean(covered) >= least
    assert np.mean(predicted) >= 0.90


def test_the_worst_tenth_improves_by_itself() -> None:
    """Gamma-Poisson fleets: the fall foretold is the fall that comes, nothing being done.

    Where units are alike the fall is largest, all of it chance. Each fleet is simulated on.
    """
    rng = np.random.default_rng(23)
    for variance, mean in ((0.5, 2.0), (1.0, 1.0), (0.0, 2.0)):
        before = foretold = after = 0.0
        for _ in range(60):
            true, observed, expected = _fleet(rng, 300, mean, variance)
            worst = shrink(observed, expected).worst()
            before += worst.observed
            foretold += worst.expected_next
            after += (true * expected)[worst.units].sum()
        assert foretold / before == pytest.approx(after / before, abs=0.06)
        assert 1 - after / before > 0.25


def test_worst_names_the_units_with_the_highest_ratios() -> None:
    """The chosen places, their events, and a sentence that a manager can read."""
    observed = np.array([0, 9, 1, 2, 0, 1, 0, 1, 12, 1])
    expected = np.array([1.0, 1, 1, 1, 1, 1, 1, 1, 2, 1])
    worst = shrink(observed, expected).worst(share=0.2)
    assert set(worst.units) == {1, 8}
    assert worst.observed == 21
    assert 0 < worst.fall < 1
    assert str(worst).startswith("the worst 2 units had 21 events and would have")


def test_poisson_funnel_is_exact() -> None:
    """Each side holds at most 2.5 %, and one count less would hold more (scipy's law)."""
    expected = np.array([0.3, 1, 4.7, 30, 400])
    found = funnel(np.zeros(5, dtype=int), expected)
    upper, lower = np.round(found.upper * expected), np.round(found.lower * expected)
    assert (poisson.sf(upper, expected) <= 0.025).all()
    assert (poisson.sf(upper - 1, expected) > 0.025).all()
    assert (poisson.cdf(lower - 1, expected) <= 0.025).all()
    np.testing.assert_array_equal(found.below, [False, False, True, True, True])


@pytest.mark.parametrize("variance", [0.0, 0.4])
def test_funnel_error_rate(variance: float) -> None:
    """Units of ordinary spread stand outside at most 5 %; against Poisson limits many more do."""
    true, observed, expected = _fleet(np.random.default_rng(6), 20_000, 10, variance)
    assert len(true) == 20_000
    found = funnel(observed, expected, variance=variance)
    outside = (found.above | found.below).mean()
    assert 0.02 <= outside <= 0.053
    np.testing.assert_array_equal(found.p_value <= 0.05, found.above | found.below)
    if variance:
        naive = funnel(observed, expected)
        assert (naive.above | naive.below).mean() > 0.3


def test_mixed_count_is_negative_binomial() -> None:
    """The funnel's law with spread: a Poisson count mixed over a gamma ratio, by integration."""
    mean, variance = 3.0, 0.7
    chance = quad(
        lambda m: poisson.sf(8, mean * m) * gamma.pdf(m, 1 / variance, scale=variance), 0, 50
    )[0]
    p_value = funnel([9], [mean], variance=variance).p_value[0]
    assert p_value == pytest.approx(2 * chance, rel=1e-6)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: shrink([0, 0], [1, 1]), "nothing to compare"),
        (lambda: shrink([3], [1]), "nothing to compare"),
        (lambda: shrink([1, 2], [1, 0]), "above 0"),
        (lambda: shrink([1, 2], [1, 1]).worst(share=0), "share must lie"),
        (lambda: funnel([1], [1], variance=-1), "out of range"),
    ],
)
def test_refusals(call: object, message: str) -> None:
    """Wrong input gets one clear error."""
    with pytest.raises((RcaError, NoFit), match=message):
        call()


def test_prints_what_is_inside() -> None:
    """Units, events, level, spread and range of ratios."""
    assert str(shrink([0, 1, 5], [1.0, 1.0, 1.0])).startswith("3 units, 6 events: level ")
