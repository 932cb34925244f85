"""A search over odd samples: no top is missed, and no refusal hides one."""

import math

import numpy as np
from hypothesis import given, settings

from rca.errors import NoFit
from rca.life.likelihood import WeibullLikelihood
from rca.life.peak import find_peak, halley_step
from rca.life.sample import Lives
from rca.life.weibull import WeibullFit, fit_weibull
from tests.life.odd_lives import odd_lives, plain_log_likelihood

SHAPES = np.exp(np.linspace(math.log(0.02), math.log(150.0), 60))
LEVELS = np.linspace(-8.0, 8.0, 65)


def grid_top(lives: Lives) -> tuple[float, float]:
    """Highest plain log-likelihood on a wide grid, and the shape there."""
    end = np.where(lives.running, lives.low, lives.high).max()
    shape, level = np.meshgrid(SHAPES, LEVELS, indexing="ij")
    value = plain_log_likelihood(lives, shape, end * np.exp(-level / shape))
    best = np.unravel_index(int(value.argmax()), value.shape)
    return float(value[best]), float(shape[best])


def at_edge(lives: Lives) -> float:
    """What the likelihood tends to as the shape grows: all failures at one age between the rest.

    The best over which share of the hazard lies at each age where that is possible.
    """
    ages = np.unique(np.concatenate([lives.low, lives.high[np.isfinite(lives.high)]]))
    shape, age, level = np.meshgrid(np.array([80.0, 150.0]), ages[ages > 0], LEVELS)
    return float(plain_log_likelihood(lives, shape, age * np.exp(-level / shape)).max())


def fit_or_refusal(lives: Lives) -> tuple[WeibullFit | None, NoFit]:
    """The fit, or None and why there is none."""
    try:
        return fit_weibull(lives), NoFit("")
    except NoFit as refusal:
        return None, refusal


@settings(max_examples=200)
@given(odd_lives())
def test_no_higher_point_is_found_and_no_top_is_refused(lives: Lives) -> None:
    """A fit is at least as likely as every grid point; a refusal comes where an edge is."""
    top, shape = grid_top(lives)
    fit, refusal = fit_or_refusal(lives)
    if fit is None:
        assert refusal.next_step
        at_end = shape < 0.15 or top <= at_edge(lives) + 0.15
        assert at_end or not lives.n_failed or "flat" in refusal.message
        return
    plain = plain_log_likelihood(lives, np.array(fit.shape), np.array(fit.scale))
    assert abs(fit.log_likelihood - plain) <= 1e-7 * (1 + abs(plain))
    assert fit.log_likelihood >= top - 1e-7 * (1 + abs(top))
    assert 0 < fit.shape < math.inf
    assert 0 < fit.scale < math.inf
    assert np.isfinite(fit.covariance).all()
    assert np.linalg.eigvalsh(fit.covariance).min() > 0
    for name in ("shape", "scale"):
        for method in ("likelihood", "wald"):
            interval = fit.interval(name, method=method)
            assert 0 <= interval.lower <= getattr(fit, name) <= interval.upper
            unbounded = interval.lower == 0 or interval.upper == math.inf
            assert method == "wald" or not unbounded or "limit" in interval.note


def test_halley_is_exact_for_ratios_of_lines() -> None:
    """With a single age, f = 1 / shape + mean log - x: one step leads to its root."""
    x = -0.4
    power = math.exp(2.0 * x)
    sums = [power * x**j for j in range(4)]
    slope, step = halley_step(2.0, x - 0.25, *sums)
    assert slope == 0.5 - 0.25
    assert 2.0 + step == 4.0


def test_peak_of_all_late_lives() -> None:
    """With everything watched late a top may still exist; then slopes vanish there."""
    lives = Lives.right_censored(
        [12.0, 15.0, 18.0, 19.0], [1, 0, 1, 1], entry=[10.0, 11.0, 13.0, 9.0]
    )
    peak = find_peak(WeibullLikelihood.of(lives))
    assert abs(peak.slopes.shape) < 1e-10
    assert abs(peak.slopes.level) < 1e-10
