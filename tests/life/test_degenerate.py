"""A search over tiny and odd samples: an answer makes sense, or the refusal says why."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.errors import NoAnswer, RcaError
from rca.life.histories import Histories
from rca.life.logrank import log_rank
from rca.life.mixed import bend, mixed_lots, mixed_modes
from rca.life.powerlaw import fit_power_law
from rca.life.rates import dispersion
from rca.life.recurrence import mean_cumulative
from rca.life.regression import proportional_hazards
from rca.life.sample import Lives
from rca.life.shrinkage import funnel, shrink
from rca.life.trend import mean_time_between, trend_tests
from tests.life.engines import whole_day_histories

many = settings(max_examples=250)

tiny_lives = st.lists(
    st.tuples(
        st.sampled_from([0.0, 0.0, 1.0, 2.0, 5.0]),
        st.sampled_from([0.5, 1.0, 1.0, 3.0, 1e4]),
        st.booleans(),
        st.integers(0, 1),
        st.integers(0, 2),
    ),
    min_size=1,
    max_size=7,
)


def _lives(rows: list) -> tuple[Lives, np.ndarray, np.ndarray]:
    entry, run, failed, first, second = np.array(rows).T
    lives = Lives.right_censored(entry + run, failed, entry=entry)
    return lives, first.astype(int), second.astype(int)


@many
@given(tiny_lives)
def test_hazard_ratios(rows: list) -> None:
    """A ratio is finite, its error positive, and no coefficient nearby is likelier."""
    lives, first, second = _lives(rows)
    try:
        fit = proportional_hazards(lives, {"first": first, "second": second})
    except RcaError:
        return
    for name in ("first", "second"):
        ratio = fit.ratio(name)
        assert 0 < ratio.lower < ratio.value < ratio.upper < math.inf
        assert 0 <= ratio.p_value <= 1
    assert np.abs(fit.coefficient).max() < 30
    assert fit.log_likelihood >= fit.null_log_likelihood - 1e-9


@many
@given(tiny_lives)
def test_comparisons_of_lives(rows: list) -> None:
    """Log-rank, bend and mixed fits: numbers that are numbers, p between 0 and 1."""
    lives, first, second = _lives(rows)
    for call in (
        lambda: log_rank(lives, second),
        lambda: log_rank(lives, second, strata=first),
        lambda: mixed_lots(lives, second),
        lambda: mixed_modes(lives, second),
    ):
        try:
            found = call()
        except RcaError:
            continue
        assert found.degrees >= 1
        assert 0 <= found.chi_square < math.inf
        assert 0 <= found.p_value <= 1
    try:
        assert math.isfinite(bend(lives).z)
    except RcaError:
        return


@many
@given(whole_day_histories())
def test_trend_and_rates_of_histories(histories: Histories) -> None:
    """Trend, power law and mean time: limits enclose the value, whatever was watched."""
    for call in (trend_tests, fit_power_law, mean_time_between):
        try:
            found = call(histories)
        except RcaError:
            continue
        if call is trend_tests:
            assert math.isfinite(found.laplace)
            assert math.isfinite(found.chi_square)
            assert 0 <= found.chi_square_p <= 1
        elif call is fit_power_law:
            with pytest.raises(NoAnswer, match="spread tells too little"):
                found.interval(method="units")
            for method in ("likelihood", "wald"):
                interval = found.interval(method=method)
                assert interval.lower <= found.shape <= interval.upper
                age = float(histories.end.max())
                rate = found.rate_interval(age, method=method)
                assert rate.lower <= found.rate(age) <= rate.upper
        elif found.count:
            assert found.lower < found.value < found.upper


@many
@given(whole_day_histories(costs=True))
def test_mean_cumulative(histories: Histories) -> None:
    """Every limit is on its side of the value or unknown, and answers follow the columns."""
    curve = mean_cumulative(histories)
    known = ~np.isnan(curve.standard_error)
    assert (curve.lower[known] <= curve.value[known] + 1e-12).all()
    assert (curve.value[known] <= curve.upper[known] + 1e-12).all()
    assert (curve.at_risk > 0).all()
    assert curve.at(curve.end).at_risk > 0


@many
@given(
    st.lists(
        st.tuples(st.sampled_from([0, 0, 1, 2, 500]), st.sampled_from([1e-6, 0.1, 1.0, 2.0, 1e5])),
        min_size=1,
        max_size=8,
    )
)
def test_ratios_of_units(rows: list) -> None:
    """Shrunk ratios, funnels and dispersion of counts far from what was expected."""
    observed, expected = np.array(rows).T
    try:
        shrunk = shrink(observed, expected)
    except RcaError:
        assert observed.sum() == 0 or len(observed) < 2
        return
    assert np.isfinite(shrunk.upper).all()
    assert (shrunk.lower >= 0).all()
    assert (shrunk.lower <= shrunk.ratio).all()
    assert (shrunk.ratio <= shrunk.upper).all()
    worst = shrunk.worst(share=0.5)
    assert 0 <= worst.lower <= worst.upper < math.inf
    assert 0 <= worst.expected_next < math.inf
    limits = funnel(observed, expected, variance=shrunk.variance)
    assert ((limits.p_value >= 0) & (limits.p_value <= 1)).all()
    if observed.sum() >= 2:
        assert 0 <= dispersion(observed, expected).p_value <= 1


def test_the_search_meets_both_answers_and_refusals() -> None:
    """The odd samples above are not all refused: a few written out."""
    lives, first, _ = _lives([(0, 1, 1, 0, 0), (0, 3, 1, 1, 0), (0, 0.5, 1, 1, 0), (0, 5, 0, 0, 0)])
    assert proportional_hazards(lives, {"first": first}).ratio("first").value > 0
    with pytest.raises(RcaError):
        proportional_hazards(lives, {"first": lives.low})
