"""Likelihood-ratio limits by their definition, and what is said where a limit does not exist."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from scipy.optimize import minimize_scalar

from rca.errors import NoFit, RcaError
from rca.life.sample import Lives
from rca.life.weibull import WeibullFit, fit_weibull
from tests.life.odd_lives import drawn_lives, odd_lives, plain_log_likelihood
from tests.published import GENFAN, cracks, late_entry_150, right_censored

HALF_CHI_SQUARE = 1.9207294103470614  # chi-square, 1 degree of freedom, 95 %, halved


def fall_at_life(lives: Lives, fit: WeibullFit, share: float, age: float) -> float:
    """Fall of the plain log-likelihood where `share` has failed by `age`, the shape at its best."""
    hazard = -math.log1p(-share)

    def minus(log_shape: float) -> float:
        shape = math.exp(log_shape)
        return -float(plain_log_likelihood(lives, np.array(shape), age * hazard ** (-1 / shape)))

    near = math.log(fit.shape)
    best = min(
        (
            minimize_scalar(minus, bounds=(near + a, near + a + 2), method="bounded")
            for a in (-4, -2, -1, 0, 2)
        ),
        key=lambda found: found.fun,
    )
    return fit.log_likelihood + best.fun


@pytest.mark.parametrize("share", [0.01, 0.1, 1 - math.exp(-1), 0.99])
@pytest.mark.parametrize(
    "lives", [right_censored(GENFAN), late_entry_150(), cracks()], ids=["fans", "late", "cracks"]
)
def test_limits_of_a_life_lie_where_the_likelihood_has_fallen(lives: Lives, share: float) -> None:
    """At both limits the profile, found here by brute force, lies 1.9207 below the top."""
    fit = fit_weibull(lives)
    interval = fit.life_interval(share)
    for limit in (interval.lower, interval.upper):
        assert fall_at_life(lives, fit, share, limit) == pytest.approx(HALF_CHI_SQUARE, abs=1e-5)


@settings(max_examples=60)
@given(odd_lives())
def test_limits_of_odd_samples_lie_there_too(lives: Lives) -> None:
    """The same for tiny samples of every kind, wherever a limit exists."""
    try:
        fit = fit_weibull(lives)
    except NoFit:
        return
    if not 0.1 < fit.shape < 20:
        return
    interval = fit.interval("scale")
    for limit in (interval.lower, interval.upper):
        if 1e-6 * fit.scale < limit < 1e6 * fit.scale:
            fall = fall_at_life(lives, fit, 1 - math.exp(-1), limit)
            assert fall == pytest.approx(HALF_CHI_SQUARE, abs=2e-3)


@pytest.mark.parametrize("method", ["likelihood", "wald"])
def test_survival_and_life_intervals_are_the_same_band(method: str) -> None:
    """By likelihood the limit of survival at the limit of a life is that share: one band."""
    fit = fit_weibull(late_entry_150())
    life = fit.life_interval(0.2, method=method)
    if method == "likelihood":
        assert fit.survival_interval(life.lower).lower == pytest.approx(0.8, abs=1e-8)
        assert fit.survival_interval(life.upper).upper == pytest.approx(0.8, abs=1e-8)
    survival = fit.survival_interval(3000.0, method=method)
    assert 0 < survival.lower < fit.survival(3000.0) < survival.upper < 1


def test_wald_of_survival_on_the_log_of_the_hazard() -> None:
    """At the scale ln H is 0 and its standard error is shape times that of the log scale."""
    fit = fit_weibull(right_censored(GENFAN))
    half = 1.959963984540054 * fit.shape * math.sqrt(fit.covariance[1, 1])
    interval = fit.survival_interval(fit.scale, method="wald")
    assert interval.lower == pytest.approx(math.exp(-math.exp(half)))
    assert interval.upper == pytest.approx(math.exp(-math.exp(-half)))


def test_wider_confidence_holds_narrower() -> None:
    """99 % holds 95 % holds 50 %."""
    fit = fit_weibull(right_censored(GENFAN))
    for method in ("likelihood", "wald"):
        wide, usual, narrow = (
            fit.life_interval(0.1, confidence=level, method=method) for level in (0.99, 0.95, 0.5)
        )
        assert wide.lower < usual.lower < narrow.lower < fit.life(0.1)
        assert fit.life(0.1) < narrow.upper < usual.upper < wide.upper


def test_known_shape_by_likelihood() -> None:
    """With the shape known, r (d - ln d - 1) = 1.9207 at d = (scale / limit) ** shape.

    It follows from the closed form of the likelihood in the scale.
    """
    fit = fit_weibull(right_censored(GENFAN), shape=1.5)
    interval = fit.interval("scale")
    for limit in (interval.lower, interval.upper):
        d = (fit.scale / limit) ** 1.5
        assert 12 * (d - math.log(d) - 1) == pytest.approx(HALF_CHI_SQUARE, abs=1e-8)
    life = fit.life_interval(0.1)
    ratio = fit.life(0.1) / fit.scale
    np.testing.assert_allclose(
        [life.lower, life.upper], [ratio * interval.lower, ratio * interval.upper], rtol=1e-9
    )
    survival = fit.survival_interval(5000.0)
    assert survival.lower == pytest.approx(math.exp(-((5000.0 / interval.lower) ** 1.5)))


def test_late_entry_alone_leaves_the_shape_without_lower_limit() -> None:
    """Lives that all entered late allow any shape down to 0, and any early life: said so."""
    lives = Lives.right_censored(
        [12.0, 15.0, 18.0, 19.0], [1, 0, 1, 1], entry=[10.0, 11.0, 13.0, 9.0]
    )
    fit = fit_weibull(lives)
    shape, life = fit.interval("shape"), fit.life_interval(0.01)
    assert shape.lower == 0
    assert "no lower limit: the records allow any shape down to 0" in shape.note
    assert fit.shape < shape.upper < math.inf
    assert life.lower == 0
    assert "do not show how early" in life.note
    assert "no lower limit" not in fit.interval("shape", method="wald").note


def test_looks_at_one_time_leave_lives_unbounded() -> None:
    """Parts looked at once each, most failed late: no upper limit is shown for a large share."""
    lives = Lives.between([0.0, 4.0, 0.0, 8.0], [4.0, math.inf, 8.0, math.inf], count=[3, 9, 4, 8])
    fit = fit_weibull(lives)
    interval = fit.life_interval(0.9)
    assert interval.upper == math.inf
    assert "do not show that this share ever fails" in interval.note


def test_every_interval_of_a_large_sample() -> None:
    """With 100 000 lives the limits close in on the truth, and likelihood and Wald agree."""
    fit = fit_weibull(drawn_lives(np.random.default_rng(4), 100_000, late=True))
    by_likelihood, by_wald = fit.interval("shape"), fit.interval("shape", method="wald")
    assert by_likelihood.lower < 1.7 < by_likelihood.upper
    assert by_likelihood.lower == pytest.approx(by_wald.lower, rel=1e-4)
    assert by_likelihood.upper == pytest.approx(by_wald.upper, rel=1e-4)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda fit: fit.interval("beta"), '"shape" or "scale"'),
        (lambda fit: fit.interval("shape", confidence=95), "between 0 and 1"),
        (lambda fit: fit.interval("scale", method="exact"), '"likelihood", "wald"'),
        (lambda fit: fit.life_interval(10), "between 0 and 1"),
        (lambda fit: fit.survival_interval(0.0), "above 0"),
        (lambda fit: fit.interval("scale", method="chi-square"), "needs a known shape"),
    ],
)
def test_wrong_questions(call, why: str) -> None:
    """A wrong argument names what is allowed."""
    with pytest.raises(RcaError, match=why):
        call(fit_weibull(right_censored(GENFAN)))


def test_few_failures_tell_what_the_limits_cover() -> None:
    """Below 8 failures (20 where every life failed) the measured coverage stands in the note."""
    ages = np.arange(1.0, 8.0)
    five = fit_weibull(Lives.right_censored(ages, ages < 6))
    assert "covered 93 % in simulation" in five.interval("shape").note
    assert "covered 85 % in simulation" in five.interval("shape", method="wald").note
    all_failed = fit_weibull(Lives.right_censored(ages, ages > 0))
    assert "covered 91 %" in all_failed.life_interval(0.1).note
    assert fit_weibull(right_censored(GENFAN)).interval("shape").note == ""
    assert fit_weibull(Lives.right_censored(ages, ages < 6), shape=2).interval("scale").note == ""
