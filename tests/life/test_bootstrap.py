"""Resampling of units: seeds, executors, and what it is for."""

from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest

from rca.errors import NoAnswer, NoFit, RcaError
from rca.life import bootstrap
from rca.life.bootstrap import bootstrap_weibull, draw_counts, resample_units
from rca.life.sample import Lives
from rca.life.weibull import fit_weibull
from tests.life.odd_lives import drawn_lives
from tests.published import GENFAN, cracks, right_censored


def mean_index(counts: np.ndarray) -> np.ndarray:
    """Mean number of the drawn units: a statistic whose law is known."""
    return counts @ np.arange(counts.shape[1])[:, None] / counts.shape[1]


def test_counts_are_draws_with_replacement() -> None:
    """Rows sum to the number of units, and each count has mean 1 and variance 1 - 1 / n."""
    counts = draw_counts(40, 5000, np.random.default_rng(1))
    assert counts.shape == (5000, 40)
    assert (counts.sum(axis=1) == 40).all()
    assert counts.mean(axis=0) == pytest.approx(np.ones(40), abs=0.07)
    assert counts.var() == pytest.approx(1 - 1 / 40, rel=0.02)


def test_spread_of_a_mean() -> None:
    """The mean of resamples has the standard error of a mean, over n and not n - 1."""
    draws = resample_units(mean_index, 60, draws=4000, seed=3)
    assert draws.shape == (4000, 1)
    assert draws.std() == pytest.approx(np.arange(60).std() / np.sqrt(60), rel=0.03)


def test_same_seed_same_numbers_whoever_computes(monkeypatch) -> None:
    """Here, in threads and in processes the answer is bit for bit the same."""
    monkeypatch.setattr(bootstrap, "_BATCH_CELLS", 4000)  # several batches
    lives = drawn_lives(np.random.default_rng(2), 80, late=True)
    unit = np.arange(80) // 4
    alone = bootstrap_weibull(lives, unit, draws=900, seed=7)
    for pool in (ThreadPoolExecutor(2), ProcessPoolExecutor(2)):
        with pool as executor:
            other = bootstrap_weibull(lives, unit, draws=900, seed=7, executor=executor)
        assert np.array_equal(alone.shape, other.shape)
        assert np.array_equal(alone.scale, other.scale)
    assert not np.array_equal(alone.shape, bootstrap_weibull(lives, unit, draws=900, seed=8).shape)


@pytest.mark.parametrize(("n", "late"), [(500, False), (60, True), (14, False)])
def test_fast_refits_are_the_exact_ones(n: int, late: bool) -> None:
    """From sums at 20 shapes or by fits of weighted lives: the same to 1e-6."""
    lives = drawn_lives(np.random.default_rng(n), n, late=late)
    unit = np.arange(n) // 2
    fast = bootstrap._refit_fast(fit_weibull(lives), lives, unit)
    counts = draw_counts(unit.max() + 1, 200, np.random.default_rng(9))
    np.testing.assert_allclose(fast(counts), fast.exact(counts), rtol=1e-6)


def test_units_that_share_their_fate_widen_the_interval() -> None:
    """Every life twice on one unit: by unit the interval is that of half as many lives."""
    lives = drawn_lives(np.random.default_rng(6), 300, censored=0.3)
    twice = Lives.between(np.tile(lives.low, 2), np.tile(lives.high, 2))
    unit = np.tile(np.arange(300), 2)
    by_unit = bootstrap_weibull(twice, unit, seed=1).interval("shape")
    once = fit_weibull(lives).interval("shape")
    as_if_apart = fit_weibull(twice).interval("shape")
    width = by_unit.upper - by_unit.lower
    assert width == pytest.approx(once.upper - once.lower, rel=0.15)
    assert width > 1.2 * (as_if_apart.upper - as_if_apart.lower)
    assert by_unit.method == "bootstrap by unit"


def test_intervals_of_lives() -> None:
    """The interval of the 63.2 % life is that of the scale; B10 lies in its own."""
    lives = right_censored(GENFAN)
    found = bootstrap_weibull(lives, np.arange(70), draws=400)
    scale, life = found.interval("scale"), found.life_interval(1 - np.exp(-1))
    assert (scale.lower, scale.upper) == pytest.approx((life.lower, life.upper))
    b10 = found.life_interval(0.1, confidence=0.9)
    assert b10.lower < found.fit.life(0.1) < b10.upper
    assert str(found).startswith("400 resamples of 70 units: shape 1.058")


def test_interval_censored_lives_are_refitted_one_by_one() -> None:
    """Slow but the same idea; the fitted shape lies inside."""
    lives = cracks()
    spread = Lives.between(
        np.repeat(lives.low, lives.count.astype(int)),
        np.repeat(lives.high, lives.count.astype(int)),
    )
    found = bootstrap_weibull(spread, np.arange(len(spread)), draws=40)
    assert np.isfinite(found.shape).all()
    interval = found.interval("shape", confidence=0.9)
    assert interval.lower < found.fit.shape < interval.upper


def test_too_few_failures_are_no_interval() -> None:
    """Where many resamples have no fit there is no interval, and the reason is told."""
    lives = Lives.right_censored([5.0, 8.0, 9.0, 9.0, 9.0], [1, 0, 0, 0, 0])
    found = bootstrap_weibull(lives, np.arange(5), draws=300)
    with pytest.raises(NoAnswer, match="of 300 resamples could be fitted"):
        found.interval("shape")
    few = drawn_lives(np.random.default_rng(13), 14, censored=0.75)
    some = bootstrap_weibull(few, np.arange(14), draws=500)
    without = int(np.isnan(some.shape).sum())
    assert 0 < without < 50
    assert f"{without} of 500 resamples had no fit" in some.interval("shape").note


def test_refusals() -> None:
    """One unit, no fit, a column of another length, a misspelt parameter."""
    lives = right_censored(GENFAN)
    with pytest.raises(NoAnswer, match="at least 2 units"):
        bootstrap_weibull(lives, np.zeros(70))
    with pytest.raises(NoFit, match="none of the 2 lives"):
        bootstrap_weibull(Lives.right_censored([1.0, 2.0], [0, 0]), [0, 1])
    with pytest.raises(RcaError, match="unit has shape"):
        bootstrap_weibull(lives, [1, 2])
    found = bootstrap_weibull(lives, np.arange(70), draws=50)
    with pytest.raises(RcaError, match='"shape" or "scale"'):
        found.interval("B10")
    with pytest.raises(RcaError, match="between 0 and 1"):
        found.interval("shape", confidence=2)
