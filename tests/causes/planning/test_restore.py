"""Restore or replace: spells by hand, the renewal equation, ratios, and break-even."""

import math

import numpy as np
import pandas as pd
import pytest

from rca.causes.case.entries import Costs
from rca.causes.counts.spells import (
    Spells,
    expected_failures,
    mean_until,
    resampled_means,
    spells_after_work,
)
from rca.causes.planning.restore import (
    break_even_horizon,
    break_even_share,
    compare_restored,
    ways_to_go_on,
)
from rca.errors import NoAnswer


def spells(
    age: np.ndarray, *, action: str = "replaced", failed: bool | np.ndarray = True, units: int = 40,
    cause: str = "", name: str = "u",
) -> pd.DataFrame:  # fmt: skip
    n = len(age)
    return pd.DataFrame(
        {
            "unit": [f"{name}{k % units}" for k in range(n)],
            "action": action,
            "cause_addressed": cause,
            "entry": 0.0,
            "age": age,
            "failed": failed,
        }
    )


def test_spells_begin_at_the_work_by_hand() -> None:
    """First life (no work), mended at 100, running to 160; then a new part, failed at 50 days.

    Spells: repaired (0 to 60, failed), replaced (0 to 50, failed).
    """
    rows = pd.DataFrame(
        {
            "unit": "A", "part": "pump", "position": "", "fitting": [0, 0, 1], "piece": [0, 1, 0],
            "entry_days": [0.0, 100.0, 0.0], "age_days": [100.0, 160.0, 50.0],
            "entry_meter": [0.0, 9000.0, 0.0], "age_meter": [9000.0, 12_000.0, 4000.0],
            "failed": [True, True, True], "begun_by": ["", "", "replaced"],
            "cause_addressed": ["", "", "no"], "row": [0, 1, 2],
        }
    )  # fmt: skip
    repairs = pd.DataFrame(
        {"action": ["repaired", "replaced", "replaced"], "cause_addressed": ["yes", "no", ""]}
    )
    found = spells_after_work(rows, repairs)
    assert found[["action", "cause_addressed", "entry", "age", "failed"]].to_numpy().tolist() == [
        ["repaired", "yes", 0.0, 60.0, True], ["replaced", "no", 0.0, 50.0, True]
    ]  # fmt: skip
    meter = spells_after_work(rows, repairs, scale="meter")
    assert meter["age"].tolist() == [3000.0, 4000.0]


def test_constant_rate_renews_at_that_rate() -> None:
    """Exponential spells of mean 100: 3 failures in 300 (renewal theory, exact M(t) = t / mean)."""
    ages = np.random.default_rng(1).exponential(100, 20_000)
    assert expected_failures(Spells.of(spells(ages)), 300.0) == pytest.approx(3.0, rel=0.02)


def test_fixed_life_renews_on_the_dot() -> None:
    """Every spell fails at 100 +- 1: 2 failures within 250 (identity)."""
    ages = np.random.default_rng(2).uniform(99, 101, 500)
    found = expected_failures(Spells.of(spells(np.append(ages, 260.0), failed=True)), 250.0)
    assert found == pytest.approx(2.0, abs=0.02)


def test_renewals_agree_with_simulation() -> None:
    """Weibull spells of shape 2: the equation against 20 000 simulated histories."""
    generator = np.random.default_rng(3)
    ages = 100 * generator.weibull(2, 8000)
    horizon = 180.0
    times = np.cumsum(100 * generator.weibull(2, (20_000, 12)), axis=1)
    simulated = float((times <= horizon).sum(axis=1).mean())
    assert expected_failures(Spells.of(spells(ages)), horizon) == pytest.approx(simulated, rel=0.02)


def test_mean_until_a_horizon_by_hand() -> None:
    """Failures at 10 and 30, one running at 40: S = 1, 2/3, 1/3; area to 40 is 10 + 40/3 + 10/3."""
    frame = spells(np.array([10.0, 30.0, 40.0]), failed=np.array([True, True, False]))
    assert mean_until(Spells.of(frame), 40.0) == pytest.approx(10 + 40 / 3 + 10 / 3)
    with pytest.raises(NoAnswer, match="followed to 50"):
        mean_until(Spells.of(frame), 50.0)


def test_many_resamples_at_once_give_what_each_alone_gives() -> None:
    """With late entry, ties, and resamples in which no spell reaches the horizon."""
    rng = np.random.default_rng(3)
    entry = np.round(rng.uniform(0, 40, 60)) * (rng.random(60) < 0.4)
    age = entry + np.round(rng.exponential(80, 60)) + 1
    unit = rng.integers(0, 12, 60).astype(str)
    some = Spells(entry, age, rng.random(60) < 0.6, unit, np.ones(60))
    times = rng.poisson(0.7, (50, 60))
    horizon = float(np.sort(age)[-4])
    found = resampled_means(some, horizon, times)
    lost = 0
    for row, value in zip(times, found, strict=True):
        try:
            assert value == pytest.approx(mean_until(some.drawn(row), horizon), rel=1e-12)
        except NoAnswer:
            lost += 1
            assert np.isnan(value)
    assert 0 < lost < 50


def test_restored_parts_that_last_half_as_long_are_found_so() -> None:
    """Exponential means 100 and 200 to a horizon of 400: restricted means 98.2 and 172.9.

    The mean until h of an exponential of mean m is m (1 - exp(-h / m)): their ratio is 0.568;
    the ratio of rates inside units is 2.
    """
    generator = np.random.default_rng(4)
    both = pd.concat(
        [
            spells(generator.exponential(100, 800), action="repaired"),
            spells(generator.exponential(200, 800)),
        ]
    )
    found = compare_restored(both, horizon=400.0, resamples=200)
    exact = 100 * (1 - math.exp(-4)) / (200 * (1 - math.exp(-2)))
    assert found.ratio == pytest.approx(exact, rel=0.1)
    assert found.interval.lower < exact < found.interval.upper
    assert found.rate_ratio.ratio == pytest.approx(2.0, rel=0.15)
    assert (found.restored.spells, found.new.units) == (800, 40)


def test_interval_covers_the_ratio_it_estimates() -> None:
    """30 simulated fleets with a true ratio of 1: at least 24 intervals hold it (95 % nominal)."""
    generator = np.random.default_rng(5)
    held = 0
    for _ in range(30):
        both = pd.concat(
            [
                spells(generator.exponential(100, 60), action="repaired"),
                spells(generator.exponential(100, 60)),
            ]
        )
        found = compare_restored(both, horizon=150.0, resamples=100, seed=6)
        held += found.interval.lower <= 1 <= found.interval.upper
    assert held >= 24


def test_too_few_failures_are_refused_by_name() -> None:
    """Two failures bound nothing: the answer says how many there are."""
    few = spells(np.array([10.0, 20.0]), action="repaired")
    with pytest.raises(NoAnswer, match="2 failures in 2 spells"):
        compare_restored(pd.concat([few, spells(np.arange(1.0, 50.0))]))


def test_ways_to_go_on_cost_what_they_should() -> None:
    """Constant rates: restore 100, new 200, cause left 50, cause gone 400; horizon 300 (by hand).

    Failures 3, 1.5, 6, 0.75; costs 60 + 3 (60 + 90), 150 + 1.5 (150 + 90), and so on.
    """
    generator = np.random.default_rng(7)
    draw = generator.exponential
    both = pd.concat(
        [
            spells(draw(100, 4000), action="repaired"),
            spells(draw(200, 4000)),
            spells(draw(50, 4000), cause="no"),
            spells(draw(400, 4000), cause="yes"),
        ]
    )
    costs = Costs(restored_part=60, new_part=150, each_failure=90, cause_removed=100)
    ways, missing = ways_to_go_on(both, costs, horizon=300.0, resamples=60)
    found = {one.name: one for one in ways}
    assert missing == ()
    assert found["restore each time"].cost == pytest.approx(60 + 3 * 150, rel=0.05)
    assert found["replace, cause left in place"].cost == pytest.approx(150 + 6 * 240, rel=0.05)
    gone = found["replace, cause removed"]
    assert gone.cost == pytest.approx(250 + 0.75 * 240, rel=0.05)
    assert gone.failures_interval.lower < 0.75 < gone.failures_interval.upper
    assert ways[0].name == "replace, cause removed"


def test_ways_that_cannot_be_computed_say_why() -> None:
    """A cost not stated, or too few spells: in words, one line each."""
    ways, missing = ways_to_go_on(
        spells(np.random.default_rng(8).exponential(100, 300)),
        Costs(new_part=10, each_failure=5), horizon=100.0, resamples=60,
    )  # fmt: skip
    assert [one.name for one in ways] == ["replace each time"]
    assert [line.split(":")[0] for line in missing] == [
        "restore each time", "replace, cause left in place", "replace, cause removed"
    ]  # fmt: skip


def test_break_even_of_a_single_case_by_hand() -> None:
    """Restored 60, new 150, each failure 90: it must last (60 + 90) / (150 + 90) = 62.5 %."""
    assert break_even_share(Costs(60, 150, 90)) == pytest.approx(0.625)
    assert break_even_share(Costs(60, 150)) is None


def test_removing_the_cause_pays_after_a_time_by_hand() -> None:
    """240 a failure, every 10 months or every 40: 18 a month are saved, 265 pay in 14.7."""
    costs = Costs(new_part=150, each_failure=90, cause_removed=265,
                  life_with_cause=10, life_without_cause=40)  # fmt: skip
    assert break_even_horizon(costs) == pytest.approx(265 / (240 * (1 / 10 - 1 / 40)))
    worse = Costs(new_part=150, each_failure=90, cause_removed=265, life_with_cause=40,
                  life_without_cause=10)  # fmt: skip
    assert break_even_horizon(worse) == math.inf
    assert break_even_horizon(Costs(new_part=150)) is None
