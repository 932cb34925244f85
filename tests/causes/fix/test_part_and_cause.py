"""Part-and-cause against part-only repairs, within units, against two reference libraries."""

import lifelines
import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar
from statsmodels.duration.hazard_regression import PHReg

from rca.causes.fix.part_and_cause import compare_repairs, stratified_ratio


def simulated(ratio, units=80, seed=3, lives=6):
    """Lives on very unequal units, each begun by one of both kinds of repair. Constructed."""
    rng = np.random.default_rng(seed)
    rows = []
    for unit in range(units):
        level, clock = rng.gamma(0.7, 1 / 0.7) + 0.05, 0.0
        for fitting in range(1, lives + 1):
            yes = rng.random() < 0.45
            rate = level * (ratio if yes else 1.0) / 400
            age = float(rng.exponential(1 / rate) ** 0.7 * 10)
            late = float(rng.uniform(0, 5)) if rng.random() < 0.2 else 0.0
            failed = clock + age < 6000
            age = min(age, 6000 - clock)
            if age > late:
                rows.append(
                    {
                        "unit": f"u{unit}",
                        "position": "",
                        "fitting": fitting,
                        "entry_days": late,
                        "age_days": age,
                        "failed": failed,
                        "mode": "leak" if rng.random() < 0.7 else "crack",
                        "cause_addressed": "yes" if yes else "no",
                    }
                )
            clock += age
            if not failed:
                break
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def table():
    return simulated(0.4)


def test_ratio_is_that_of_a_stratified_cox_model(table):
    """lifelines 0.30 CoxPHFitter(strata, entry_col) and statsmodels PHReg(strata, entry)."""
    ours = compare_repairs(table).within_units
    frame = table.assign(
        z=(table["cause_addressed"] == "yes").astype(float),
        d=table["failed"].astype(int),
        s=table["unit"].astype("category").cat.codes,
    )[["z", "d", "s", "entry_days", "age_days"]]
    cox = lifelines.CoxPHFitter().fit(frame, "age_days", "d", strata=["s"], entry_col="entry_days")
    assert np.log(ours.ratio) == pytest.approx(float(cox.params_["z"]), abs=2e-4)
    other = PHReg(
        frame["age_days"],
        frame[["z"]],
        status=frame["d"],
        strata=frame["s"],
        entry=frame["entry_days"],
        ties="breslow",
    ).fit()
    assert np.log(ours.ratio) == pytest.approx(float(other.params[0]), abs=1e-5)
    wald = np.exp(other.params[0] + np.array([-1.96, 1.96]) * other.bse[0])
    assert (ours.interval.lower, ours.interval.upper) == pytest.approx(wald, rel=0.05)


def test_limits_are_where_the_likelihood_has_fallen_by_1_92(table):
    """Profile of statsmodels' partial log likelihood at our limits."""
    ours = compare_repairs(table).within_units
    model = PHReg(
        table["age_days"],
        (table["cause_addressed"] == "yes").astype(float).to_frame(),
        status=table["failed"].astype(int),
        strata=table["unit"].to_numpy(),
        entry=table["entry_days"],
        ties="breslow",
    )
    top = -minimize_scalar(lambda b: -model.loglike(np.array([b]))).fun
    for limit in (ours.interval.lower, ours.interval.upper):
        assert top - model.loglike(np.array([np.log(limit)])) == pytest.approx(1.9207, abs=2e-3)


def test_counts_and_strata(table):
    found = compare_repairs(table)
    yes = table["cause_addressed"] == "yes"
    assert found.lives_with_cause == yes.sum()
    assert found.failures_part_only == table["failed"][~yes].sum()
    assert found.within_units.failures <= table["failed"].sum()
    assert "part and cause" in str(found)
    leaks = compare_repairs(table, mode="leak")
    assert leaks.failures_part_only == (table["failed"] & (table["mode"] == "leak"))[~yes].sum()


def test_within_units_is_not_fooled_by_bad_units():
    """No effect at all, but only bad units get the cause removed: crude says worse."""
    table = simulated(1.0, units=150, seed=5)
    failures = table.groupby("unit")["failed"].transform("sum")
    rng = np.random.default_rng(1)
    chance = np.where(failures >= 4, 0.6, 0.05)
    table["cause_addressed"] = np.where(rng.random(len(table)) < chance, "yes", "no")
    found = compare_repairs(table)
    crude = stratified_ratio(
        np.zeros(len(table), dtype=np.int64),
        treated=(table["cause_addressed"] == "yes").to_numpy(),
        entry=table["entry_days"].to_numpy(),
        age=table["age_days"].to_numpy(),
        failed=table["failed"].to_numpy(),
    )
    assert crude.interval.lower > 1.0
    assert found.within_units.interval.lower < 1.0 < found.within_units.interval.upper


def test_no_failure_on_one_side_gives_a_one_sided_limit():
    columns = {
        "stratum": np.array([0, 0, 1, 1, 2, 2]),
        "treated": np.array([True, False] * 3),
        "entry": np.zeros(6),
        "age": np.array([50.0, 10, 60, 12, 70, 9]),
    }
    none = stratified_ratio(**columns, failed=np.array([False, True] * 3))
    assert none.ratio == 0.0
    # by hand: three failures, each 1 of 2 at risk: -3 log(1 + r) = -1.9207
    assert none.interval.lower == 0.0
    assert none.interval.upper == pytest.approx(np.exp(1.9207 / 3) - 1, rel=1e-3)
    columns["age"] = np.array([10.0, 50, 12, 60, 9, 70])
    only = stratified_ratio(**columns, failed=np.array([True, False] * 3))
    assert only.ratio is None
    assert np.isinf(only.interval.upper)
    assert only.interval.lower == pytest.approx(1 / (np.exp(1.9207 / 3) - 1), rel=1e-3)


def test_nothing_to_compare_says_why():
    table = simulated(0.4, units=5).assign(cause_addressed="no")
    found = compare_repairs(table)
    assert found.within_units.ratio is None
    assert "both kinds" in str(found.within_units)
    unsaid = compare_repairs(table.assign(cause_addressed=""))
    assert unsaid.not_stated == len(table)
