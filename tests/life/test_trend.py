"""Tests of trend and the mean time between failures against handbook numbers and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from scipy.stats import kendalltau

from rca.errors import NoAnswer, NoFit
from rca.life.histories import Histories
from rca.life.trend import Trend, mean_time_between, trend_tests
from tests.life.engines import ONE_SYSTEM, one_system, valve_seats, whole_day_histories


def test_one_system() -> None:
    """S18: chi-square 37.23 on 20 degrees, Laplace -1.327; they disagree, both are told.

    The 2 r degrees were READ on a NIST page, the two formulas are from MEMORY, the numbers
    COMPUTED with scipy 1.17.1. Negative z and a large chi-square both mean improvement.
    """
    trend = trend_tests(one_system())
    assert trend.chi_square == pytest.approx(37.228081483483166, rel=1e-9)
    assert trend.degrees == 20
    assert trend.chi_square_p == pytest.approx(0.021972714231593304, rel=1e-7)
    assert trend.laplace == pytest.approx(-1.3269491826491824, rel=1e-9)
    assert trend.laplace_p == pytest.approx(0.1845254933674657, rel=1e-7)
    assert math.isnan(trend.laplace_units_p)
    assert trend.direction() == "falling"
    assert trend.direction(level=0.04) == "none shown"
    assert "Laplace z -1.33" in str(trend)
    assert "chi-square 37.2 on 20" in str(trend)


def test_valve_seats_pooled() -> None:
    """S33: pooled over 41 engines with different ends, COMPUTED with scipy 1.17.1."""
    trend = trend_tests(valve_seats())
    assert trend.laplace == pytest.approx(2.3786927752070945, rel=1e-7)
    assert trend.chi_square == pytest.approx(66.14835372785504, rel=1e-7)
    assert trend.degrees == 96
    assert trend.chi_square_p == pytest.approx(0.017304801087676427, rel=1e-5)
    assert trend.direction() == "rising"


def test_reverse_arrangements_are_in_scipy() -> None:
    """S18: 33 of 45 gaps in pairs grow; that test of one system is Kendall's tau: no own code.

    The rule was READ on a NIST page (Dataplot); possible r (r - 1) / 2, expected half of them.
    """
    gaps = np.diff((0, *ONE_SYSTEM))
    tau = kendalltau(np.arange(10), gaps).statistic
    # One pair of gaps is equal (35 h): 44 pairs differ, tau = (growing - falling) / root(44 * 45).
    assert (44 + tau * math.sqrt(44 * 45)) / 2 == pytest.approx(33)


def test_failure_terminated() -> None:
    """Watching that ended with a failure: 2 (r - 1) degrees, that failure in neither sum.

    Form from MEMORY (MIL-HDBK-189); the first two terms written out.
    """
    histories = Histories.of([1], [0], [9], event_unit=[1] * 3, event_age=[2, 5, 9])
    trend = trend_tests(histories, ends_at_failure=True)
    assert trend.degrees == 4
    assert trend.chi_square == pytest.approx(2 * (math.log(9 / 2) + math.log(9 / 5)))
    assert trend.laplace == pytest.approx((7 - 9) / (9 * math.sqrt(2 / 12)))


@given(whole_day_histories())
def test_gaps_are_left_out(histories: Histories) -> None:
    """A unit's stretches laid end to end give the same tests: only watched time counts."""
    offset, unit_run = np.zeros(len(histories.start)), {}
    for row, unit in enumerate(histories.stretch_unit):
        offset[row] = unit_run.get(unit, 0.0)
        unit_run[unit] = offset[row] + histories.end[row] - histories.start[row]
    stretch = histories.event_stretch
    closed = Histories.of(
        list(unit_run),
        [0.0] * len(unit_run),
        list(unit_run.values()),
        event_unit=histories.event_unit,
        event_age=histories.event_age - histories.start[stretch] + offset[stretch],
    )
    try:
        trend = trend_tests(histories)
    except NoFit:
        with pytest.raises(NoFit):
            trend_tests(closed)
        return
    assert trend_tests(closed).laplace == pytest.approx(trend.laplace)
    assert trend_tests(closed).chi_square == pytest.approx(trend.chi_square)


def _simulated(rng: np.random.Generator, *, shape: float, variance: float, burst: int) -> Histories:
    """60 units with rates of their own; events may come in bursts within a fiftieth of the age."""
    n = 60
    start, end = rng.uniform(0, 0.3, n), rng.uniform(0.5, 1.5, n)
    spread = rng.gamma(1 / variance, variance, n)
    counts = rng.poisson(3 / burst * spread * (end - start))
    unit = np.repeat(np.arange(n), counts)
    share = rng.uniform(size=len(unit)) ** (1 / shape)
    age = start[unit] + share * (end - start)[unit]
    more = rng.poisson(burst - 1, len(unit))
    followers = np.repeat(age, more) + rng.uniform(0, 0.02, more.sum())
    again = np.repeat(unit, more)
    age = np.concatenate((age, np.minimum(followers, end[again])))
    unit = np.concatenate((unit, again))
    return Histories.of(np.arange(n), start, end, event_unit=unit, event_age=age)


def _shares(shape: float, burst: int, runs: int = 400) -> tuple[Trend, ...]:
    rng = np.random.default_rng(5)
    return tuple(
        trend_tests(_simulated(rng, shape=shape, variance=1.0, burst=burst)) for _ in range(runs)
    )


def test_error_rate_without_trend() -> None:
    """Units with very different constant rates: each test errs 5 times in 100, the rule no more."""
    trends = _shares(1.0, 1)
    for column in ("laplace_p", "chi_square_p", "laplace_units_p", "chi_square_units_p"):
        share = np.mean([getattr(trend, column) <= 0.05 for trend in trends])
        assert 0.025 <= share <= 0.085, column
    assert np.mean([trend.direction() != "none shown" for trend in trends]) <= 0.065


def test_bursts_are_not_taken_for_a_trend() -> None:
    """Events in bursts of four, no trend: the Poisson tests err far too often, not the rule."""
    trends = _shares(1.0, 4)
    assert np.mean([trend.laplace_p <= 0.05 for trend in trends]) > 0.2
    assert np.mean([trend.direction() != "none shown" for trend in trends]) <= 0.08


def test_finds_a_trend() -> None:
    """A rate that rises with the power 1.8 of age is found, and called rising."""
    trends = _shares(1.8, 1)
    assert np.mean([trend.direction() == "rising" for trend in trends]) > 0.9


def test_two_failures_in_800_hours() -> None:
    """S19: 90 % limits 127.07 and 2251.2 h.

    The formula was READ on a NIST/SEMATECH e-Handbook page (8.4.5.1), the example is from MEMORY.
    """
    histories = Histories.of([1], [0], [800], event_unit=[1, 1], event_age=[200, 600])
    mean = mean_time_between(histories, confidence=0.9)
    assert mean.value == pytest.approx(400)
    assert mean.lower == pytest.approx(127.06896827442834, rel=1e-8)
    assert mean.upper == pytest.approx(2251.228610625704, rel=1e-8)
    assert mean.statement.startswith("trend: none shown")


def test_under_trend_refused_or_labelled() -> None:
    """A mean time under trend is refused; as a label, it says that it is not the present one."""
    with pytest.raises(NoAnswer, match="would mislead: trend: rising"):
        mean_time_between(valve_seats())
    labelled = mean_time_between(valve_seats(), under_trend="label")
    assert labelled.value == pytest.approx(25363 / 48)
    assert "NOT the present value" in str(labelled)
    assert mean_time_between(valve_seats(), level=0.001).trend is not None


def test_without_failures_the_mean_time_is_unknown() -> None:
    """S20: no failure in 1000 h, the lower one-sided 97.5 % limit is T / -ln 0.025."""
    histories = Histories.of([1], [0], [1000], event_unit=[], event_age=[], unit_of_age="h")
    mean = mean_time_between(histories)
    assert math.isnan(mean.value)
    assert mean.lower == pytest.approx(1000 / -math.log(0.025), rel=1e-12)
    assert math.isinf(mean.upper)
    assert str(mean) == (
        "mean time between failures unknown h (271.1 to no upper limit, 95%), 0 failures in 1000; "
        "no trend can be tested on 0 events"
    )


def test_refusals() -> None:
    """One event shows no trend; units never watched for any time have no mean time."""
    with pytest.raises(NoFit, match="1 events"):
        trend_tests(Histories.of([1], [0], [9], event_unit=[1], event_age=[4]))
    with pytest.raises(NoAnswer, match="no time at all"):
        mean_time_between(Histories.of([1], [3], [3], event_unit=[], event_age=[]))


def test_an_event_at_the_first_moment_is_finite() -> None:
    """Its logarithm takes half the shortest watched time of the others."""
    histories = Histories.of([1], [5], [15], event_unit=[1] * 3, event_age=[5, 7, 13])
    trend = trend_tests(histories)
    assert trend.chi_square == pytest.approx(2 * sum(math.log(10 / w) for w in (1, 2, 8)))
