"""The Weibull likelihood against a plain one, and its slopes against differences."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.life.likelihood import WeibullLikelihood
from rca.life.sample import Lives
from tests.life.odd_lives import drawn_lives, odd_lives, plain_log_likelihood

points = st.tuples(st.floats(0.2, 6.0), st.floats(-3.0, 2.0))


@given(odd_lives(), points)
def test_value_equals_the_plain_likelihood(lives: Lives, point: tuple[float, float]) -> None:
    """Sorted by kind or life by life: the same number."""
    shape, level = point
    likelihood = WeibullLikelihood.of(lives)
    scale = likelihood.reference * math.exp(-level / shape)
    plain = float(plain_log_likelihood(lives, np.array(shape), np.array(scale)))
    assert likelihood.at(shape, level).value == pytest.approx(plain, rel=1e-9, abs=1e-9)


@given(odd_lives(), points)
def test_slopes_equal_differences(lives: Lives, point: tuple[float, float]) -> None:
    """First derivatives against the value, second ones against the first, by central steps."""
    shape, level = point
    at, step = WeibullLikelihood.of(lives).at, 1e-5
    here = at(shape, level)
    by_shape = [at(shape + sign * step, level) for sign in (-1, 1)]
    by_level = [at(shape, level + sign * step) for sign in (-1, 1)]
    differences = [
        (by_shape[1].value - by_shape[0].value) / (2 * step),
        (by_level[1].value - by_level[0].value) / (2 * step),
        (by_shape[1].shape - by_shape[0].shape) / (2 * step),
        (by_shape[1].level - by_shape[0].level) / (2 * step),
        (by_level[1].level - by_level[0].level) / (2 * step),
    ]
    np.testing.assert_allclose(here[1:], differences, rtol=2e-5, atol=2e-4)


@given(odd_lives())
def test_counts_of_kinds(lives: Lives) -> None:
    """Failures and suspensions are those of the lives."""
    likelihood = WeibullLikelihood.of(lives)
    assert likelihood.n_failed == lives.n_failed
    assert likelihood.n_running == lives.n_running
    assert likelihood.all_exact == bool((lives.exact | lives.running).all())


def test_short_way_equals_the_long_way() -> None:
    """Lives watched from new take a shorter way; an entry next to 0 sends them the long way."""
    lives = drawn_lives(np.random.default_rng(1), 5000)
    late = Lives.between(lives.low, lives.high, entry=np.full(5000, 1e-12))
    short, long = WeibullLikelihood.of(lives), WeibullLikelihood.of(late)
    assert short.weight is None
    assert long.late
    np.testing.assert_allclose(short.at(1.4, 0.3), long.at(1.4, 0.3), rtol=1e-10)


def test_sums_over_many_blocks() -> None:
    """Sums do not depend on how rows are cut into blocks; every so-maniest row is a part."""
    lives = drawn_lives(np.random.default_rng(2), 100_000)
    likelihood = WeibullLikelihood.of(lives)
    power = np.exp(1.3 * likelihood.x)
    np.testing.assert_allclose(
        likelihood.sums(1.3),
        [(power * likelihood.x**j).sum() for j in range(4)],
        rtol=1e-12,
    )
    np.testing.assert_allclose(likelihood.sums(1.3, every=10).s0, power[::10].sum(), rtol=1e-12)
    assert likelihood.sum_log == pytest.approx(likelihood.x[lives.exact].sum())


def test_moved_sums() -> None:
    """A small step by Taylor's series equals sums at the new shape."""
    likelihood = WeibullLikelihood.of(drawn_lives(np.random.default_rng(3), 200, late=True))
    np.testing.assert_allclose(
        likelihood.sums(1.5).moved(1e-4)[:3], likelihood.sums(1.5001)[:3], rtol=1e-7
    )


def test_narrow_interval_is_an_exact_age() -> None:
    """An interval of a billionth of the age adds the density times its width."""
    low, width = 500.0, 5e-7
    narrow = WeibullLikelihood.of(Lives.between([low, 800.0], [low + width, np.inf]))
    exact = WeibullLikelihood.of(Lives.right_censored([low, 800.0], [1, 0]))
    shift = math.log(width)
    assert narrow.at(2.0, 0.1).value == pytest.approx(exact.at(2.0, 0.1).value + shift, rel=1e-6)
    np.testing.assert_allclose(narrow.at(2.0, 0.1)[1:], exact.at(2.0, 0.1)[1:], rtol=1e-6)
