"""Age replacement, cost rates and part-or-cause, against printed and independent values."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import gamma

from rca.causes.planning.money import age_replacement, cost_rate, expected_failures, part_or_cause
from rca.errors import NoAnswer, RcaError
from rca.life.sample import Interval


def test_best_age_is_that_of_the_barlow_proschan_criterion():
    """Shape 2.5, scale 1000, costs 1 and 5: R 4.2.2 integrate/uniroot on the criterion (computed
    with that program; Barlow & Proschan 1965 from memory)."""
    found = age_replacement(2.5, 1000, shape_lower=1.8, planned_cost=1, failure_cost=5)
    assert found.age == pytest.approx(493.046957596632, rel=1e-5)
    assert found.cost_rate == pytest.approx(0.00346204273878926, rel=1e-7)
    assert found.run_to_failure_rate == pytest.approx(0.00563530248993014, rel=1e-8)
    # first-order condition: at the optimum the cost rate is (cf - cp) h(T)
    hazard = 2.5 / 1000 * (found.age / 1000) ** 1.5
    assert found.cost_rate == pytest.approx(4 * hazard, rel=1e-6)
    assert found.saving == pytest.approx(1 - 0.00346204273878926 / 0.00563530248993014, rel=1e-6)


@pytest.mark.parametrize(("shape", "planned", "failure"), [(1.5, 1.0, 8.0), (4.0, 3.0, 5.0)])
def test_no_other_age_costs_less_by_direct_integration(shape, planned, failure):
    """Cost rate by scipy's quadrature of the survival function."""
    found = age_replacement(
        shape, 200.0, shape_lower=1.2, planned_cost=planned, failure_cost=failure
    )

    def rate(age):
        alive = quad(lambda t: np.exp(-((t / 200.0) ** shape)), 0, age)[0]
        died = 1 - np.exp(-((age / 200.0) ** shape))
        return (planned * (1 - died) + failure * died) / alive

    assert rate(found.age) == pytest.approx(found.cost_rate, rel=1e-8)
    for factor in (0.8, 0.97, 1.03, 1.25):
        assert rate(found.age * factor) > found.cost_rate
    assert rate(found.flat_from) == pytest.approx(1.05 * found.cost_rate, rel=5e-3)
    if np.isfinite(found.flat_to):
        assert rate(found.flat_to) == pytest.approx(1.05 * found.cost_rate, rel=5e-3)


def test_limits_of_the_best_age_follow_the_possible_curves():
    rng = np.random.default_rng(3)
    curves = np.column_stack([rng.normal(2.5, 0.2, 400), rng.normal(1000, 30, 400)])
    found = age_replacement(
        2.5, 1000, shape_lower=1.8, planned_cost=1, failure_cost=5, possible=curves
    )
    assert found.age_interval.lower < found.age < found.age_interval.upper
    some = age_replacement(
        curves[0, 0], curves[0, 1], shape_lower=1.8, planned_cost=1, failure_cost=5
    )
    assert found.age_interval.lower * 0.9 < some.age < found.age_interval.upper * 1.1


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"shape_lower": 0.97}, "may be as low as 0.97"),
        ({"planned_cost": None}, "is unknown"),
        ({"failure_cost": float("nan")}, "is unknown"),
        ({"planned_cost": 5.0}, "costs no more"),
    ],
)
def test_no_age_is_named_without_wear_or_costs(change, why):
    given = {"shape_lower": 1.8, "planned_cost": 1.0, "failure_cost": 5.0} | change
    with pytest.raises(NoAnswer, match=why):
        age_replacement(2.5, 1000, **given)


def test_expected_failures_of_a_constant_rate_are_time_over_scale():
    assert expected_failures(1.0, [0.0, 0.2, 1.0, 4.0]) == pytest.approx([0, 0.2, 1, 4], abs=1e-5)


def test_expected_failures_against_simulated_renewals():
    """200 000 renewal histories, shape 2.5, seeded."""
    rng = np.random.default_rng(1)
    times, count = rng.weibull(2.5, 200_000), np.zeros((3, 200_000))
    while (times <= 3.0).any():
        for row, horizon in enumerate((0.5, 1.0, 3.0)):
            count[row] += times <= horizon
        times = times + rng.weibull(2.5, 200_000)
    assert expected_failures(2.5, [0.5, 1.0, 3.0]) == pytest.approx(count.mean(axis=1), abs=0.005)


def test_expected_failures_far_out_follow_the_renewal_theorem():
    """M(t) -> t / mu + (cv^2 - 1) / 2 (renewal theorem; textbook, from memory)."""
    shape = 1.7
    mean = gamma(1 + 1 / shape)
    squared = gamma(1 + 2 / shape) / mean**2 - 1
    assert expected_failures(shape, [12.0])[0] == pytest.approx(
        12 / mean + (squared - 1) / 2, abs=2e-3
    )


def test_cost_rate_is_cost_over_running_and_its_limits_cover():
    """Constructed: cost 50 a failure at one in 100 run; the limits hold 0.5 in 95 of 100."""
    rng, inside = np.random.default_rng(4), 0
    for seed in range(200):
        run = pd.Series(rng.uniform(500, 1500, 60), index=[f"u{k}" for k in range(60)])
        count = rng.poisson(run / 100)
        unit = np.repeat(run.index.to_numpy(dtype=object), count)
        found = cost_rate(unit, np.full(len(unit), 50.0), run=run, draws=400, seed=seed)
        assert found.value == pytest.approx(50 * count.sum() / run.sum())
        inside += found.interval.lower <= 0.5 <= found.interval.upper
    assert 180 <= inside <= 199


def test_unknown_costs_are_not_zero():
    run = pd.Series({"a": 100.0, "b": 300.0})
    unit = ["a", "b", "b", "b", "b", "b"]
    found = cost_rate(unit, [10, 20, 30, 20, 20, np.nan], run=run)
    assert found.value == pytest.approx((100 + 20) / 400)
    assert found.unknown == 1
    assert "1 of unknown cost" in str(found)
    with pytest.raises(NoAnswer, match="2 of 6 rows is unknown"):
        cost_rate(unit, [10, 20, 30, 20, np.nan, np.nan], run=run)
    with pytest.raises(NoAnswer, match="nothing was run"):
        cost_rate([], [], run=run * 0)
    with pytest.raises(RcaError, match="unit c"):
        cost_rate(["c"], [1.0], run=run)


def test_part_or_cause_of_a_constant_rate_by_hand():
    """Rate 1 / 1000 over 2000: 2 failures, 0.5 at ratio 1/4; 400 each, cause 150."""
    found = part_or_cause(
        1.0,
        1000.0,
        ratio=0.25,
        ratio_interval=Interval(0.1, 0.5),
        failure_cost=400.0,
        cause_cost=150.0,
        horizon=2000.0,
    )
    assert found.failures_part_only == pytest.approx(2.0, abs=1e-5)
    assert found.failures_with_cause == pytest.approx(0.5, abs=1e-5)
    assert found.cost_part_only == pytest.approx(1200.0, abs=0.01)
    assert found.cost_with_cause == pytest.approx(750.0, abs=0.01)
    assert found.saving == pytest.approx(450.0, abs=0.01)
    assert found.saving_interval.lower == pytest.approx(400 * 1.0 - 150, abs=0.01)
    assert found.saving_interval.upper == pytest.approx(400 * 1.8 - 150, abs=0.01)
    assert found.worth_at_most == pytest.approx(600.0, abs=0.01)
    assert found.pays_from == pytest.approx(500.0, abs=5.0)  # 0.75 t / 1000 x 400 = 150


def test_a_cause_too_dear_never_pays_and_an_open_limit_stays_open():
    given = {"ratio": 0.5, "failure_cost": 100.0, "horizon": 1000.0}
    dear = part_or_cause(2.0, 1000.0, ratio_interval=Interval(0.0, 1.2), cause_cost=500.0, **given)
    assert np.isinf(dear.pays_from)
    assert dear.saving < 0
    assert dear.failures_with_cause_interval.lower == pytest.approx(0.0, abs=1e-9)
    assert dear.failures_with_cause_interval.upper > dear.failures_part_only
    with pytest.raises(RcaError, match="above 0"):
        part_or_cause(2.0, 1000.0, ratio_interval=Interval(0.0, 1.2), cause_cost=-1.0, **given)
