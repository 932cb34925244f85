"""Lognormal fits against lifelines, scipy and the laws of scale and count."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st
from lifelines import LogNormalFitter
from scipy.special import log_ndtr
from scipy.stats import norm

from rca.errors import NoFit, RcaError
from rca.life.lognormal import LognormalFit, fit_lognormal
from rca.life.sample import Lives
from tests.life.odd_lives import drawn_lives, odd_lives
from tests.published import (
    GENFAN,
    LECTURE_20,
    NIST_WEIBULL_20,
    aircondit,
    cracks,
    late_entry_150,
    right_censored,
)

SAMPLES = {
    "NIST": right_censored(NIST_WEIBULL_20),
    "fans": right_censored(GENFAN),
    "lecture": right_censored(LECTURE_20),
    "cracks": cracks(),
    "late": late_entry_150(),
    "complete": aircondit(),
}


def plain_log_likelihood(lives: Lives, mean: float, spread: float) -> float:
    """Lognormal log-likelihood written down life by life; Q is the normal upper tail."""

    def log_q(age: float) -> float:
        return float(log_ndtr((mean - math.log(age)) / spread)) if age else 0.0

    total = 0.0
    for low, high, entry, count in zip(
        lives.low, lives.high, lives.entry, lives.count, strict=True
    ):
        survived = max(low, entry)
        if low == high:
            term = norm.logpdf(math.log(low), mean, spread) - math.log(low)
        elif high == math.inf:
            term = log_q(low)
        elif survived == 0:
            term = float(log_ndtr((math.log(high) - mean) / spread))
        else:
            term = log_q(survived) + math.log(-math.expm1(log_q(high) - log_q(survived)))
        total += count * (term - log_q(entry))
    return total


@pytest.mark.parametrize("lives", SAMPLES.values(), ids=SAMPLES.keys())
def test_against_lifelines(lives: Lives) -> None:
    """lifelines finds the same curve to its own tolerance, and never a more likely one."""
    fit = fit_lognormal(lives)
    peer = LogNormalFitter()
    if lives.exact.any():
        entry = lives.entry if lives.entry.any() else None
        peer.fit(lives.low, lives.exact, entry=entry)
    else:
        peer.fit_interval_censoring(lives.low, lives.high, weights=lives.count)
    assert fit.median == pytest.approx(math.exp(peer.mu_), rel=1e-4)
    assert fit.spread == pytest.approx(peer.sigma_, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(peer.log_likelihood_, abs=1e-6)
    assert fit.log_likelihood >= peer.log_likelihood_ - 1e-9
    assert fit.aic == pytest.approx(4 - 2 * fit.log_likelihood)


def test_complete_sample_is_mean_and_spread_of_logs() -> None:
    """Identity: without censoring ML is the mean and the standard deviation (over n) of ln age."""
    lives = aircondit()
    fit = fit_lognormal(lives)
    assert fit.median == pytest.approx(math.exp(np.log(lives.low).mean()), rel=1e-12)
    assert fit.spread == pytest.approx(np.log(lives.low).std(), rel=1e-12)


@settings(max_examples=50)
@given(odd_lives(), st.floats(0.1, 10.0))
def test_odd_samples(lives: Lives, factor: float) -> None:
    """The value is the plain likelihood, no neighbour is higher, and ages may be rescaled."""
    try:
        fit = fit_lognormal(lives)
    except NoFit:
        reject()
    assume(0.02 < fit.spread < 20 and 1e-6 < fit.median < 1e6)
    mean = math.log(fit.median)
    plain = plain_log_likelihood(lives, mean, fit.spread)
    assert fit.log_likelihood == pytest.approx(plain, rel=1e-6, abs=1e-6)
    for by_mean, by_spread in ((1e-2, 1), (-1e-2, 1), (0, 1.01), (0, 0.99)):
        near = plain_log_likelihood(lives, mean + by_mean * fit.spread, fit.spread * by_spread)
        assert near <= fit.log_likelihood + 1e-7 * (1 + abs(plain))
    longer = fit_lognormal(
        Lives.between(
            factor * lives.low, factor * lives.high, entry=factor * lives.entry, count=lives.count
        )
    )
    assert longer.median == pytest.approx(factor * fit.median, rel=1e-4)
    assert longer.spread == pytest.approx(fit.spread, rel=1e-4)


def test_curve_identities() -> None:
    """Half have failed by the median; lives, survival and hazard belong together."""
    fit = fit_lognormal(late_entry_150())
    assert fit.life(0.5) == pytest.approx(fit.median)
    assert fit.survival(0.0) == 1
    assert fit.survival(fit.life(0.1)) == pytest.approx(0.9)
    assert fit.cumulative_hazard(fit.life(0.1)) == pytest.approx(-math.log(0.9))
    assert str(fit).startswith("Lognormal, 47 failed, 103 suspended: median 4063 h")
    with pytest.raises(RcaError, match="between 0 and 1"):
        fit.life(1.0)


def test_large_sample_finds_the_truth() -> None:
    """50 000 lives, staggered censoring: median and spread within four standard errors."""
    rng = np.random.default_rng(8)
    life, end = 1000 * np.exp(0.6 * rng.normal(size=50_000)), rng.uniform(0, 2000, 50_000)
    fit = fit_lognormal(Lives.right_censored(np.minimum(life, end), life <= end))
    assert fit.median == pytest.approx(1000, rel=0.02)
    assert fit.spread == pytest.approx(0.6, rel=0.02)


@pytest.mark.parametrize(
    ("lives", "why"),
    [
        (Lives.right_censored([5.0, 9.0], [0, 0]), "no life failed"),
        (Lives.right_censored([5.0, 3.0], [1, 0]), "nothing ran beyond"),
        (Lives.between([0.0, 8.0], [4.0, math.inf], count=[5, 5]), "spread without end"),
    ],
)
def test_refusals(lives: Lives, why: str) -> None:
    """Where no maximum exists the refusal says why."""
    with pytest.raises(NoFit, match=why):
        fit_lognormal(lives)


def test_result_is_frozen() -> None:
    """A fit cannot be changed."""
    fit = fit_lognormal(drawn_lives(np.random.default_rng(1), 50))
    assert isinstance(fit, LognormalFit)
    with pytest.raises(AttributeError):
        fit.median = 1.0  # type: ignore[misc]
