"""The chance of a verdict, told beforehand, against closed forms and what then comes."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom

from rca.causes.fix.baseline import fit_baseline
from rca.causes.fix.outlook import Coming, outlook_from_now, plan_outlook
from rca.causes.fix.replay import follow_rule, replay
from rca.causes.fix.verdict import judge
from rca.causes.fix.words import Effect
from rca.errors import NoAnswer
from tests.benchmarks.verdict_characteristics import LOOKS
from tests.benchmarks.verdict_fleets import Cell, dated, simulate
from tests.causes.fix.test_verdict import FIX, MONTHS, PLAN, WORKS, fleet


@pytest.fixture(scope="module")
def working():
    return fleet(WORKS)


def one_look(**more):
    """One month ahead that would bring 6 failures; at most 4 in all show it, 12 rule it out."""
    given = {
        "months": pd.DatetimeIndex(["2024-07-31"]), "expected": np.array([10.0]),
        "monthly": np.array([6.0]), "most": np.array([4]), "fewest": np.array([12]), "worth": 9.0,
        "seen": 2, "so_far": 4.0, "target": 0.5,
    }  # fmt: skip
    return Coming(**{**given, **more})


@pytest.mark.parametrize("ratio", [0.3, 1.0])
def test_what_was_seen_and_the_worth_mix_to_the_negative_binomial(ratio):
    """Gamma(worth + seen) over worth + ratio x expected and Poisson failures: scipy's nbinom."""
    shown, missed = one_look().chances(np.array([ratio]), draws=40_000, seed=3)
    more = nbinom(9 + 2, (9 + ratio * 4) / (9 + ratio * (4 + 6)))
    assert shown[0, 0] == pytest.approx(more.cdf(4 - 2), abs=0.01)
    assert missed[0, 0] == pytest.approx(more.sf(12 - 2 - 1), abs=0.01)


def test_a_fix_under_way_is_told_the_chance_that_then_comes_true():
    """20 fleets that truly leave 0.3, looked at after 6 months where no verdict is out."""
    cell = Cell(units=120, shape=1.2, failures=60, applied="half", ratio=0.3)
    rng = np.random.default_rng(4)
    said, came = [], []
    for _ in range(20):
        pieces, fix_day = simulate(cell, rng)
        known = dated(pieces, FIX)
        applied = pd.DataFrame({"unit": pieces.units[np.isfinite(fix_day)], "date": FIX})
        looks = pd.date_range("2024-01-31", periods=18, freq="ME")
        now = judge(known, applied, PLAN, looks=looks[:6])
        if now.effect is not Effect.TOO_EARLY:
            continue
        outlook = outlook_from_now(now, months=(12,), ratios=(0.3,), draws=300)
        said.append(outlook.chance(0.3, 12))
        later = judge(known, applied, PLAN, looks=looks)
        came.append(later.shown_month is not None)
    assert len(said) > 10
    assert np.mean(said) == pytest.approx(np.mean(came), abs=0.2)


def test_it_says_how_many_months_and_failures_would_decide(working):
    pieces, applied = working
    looks = pd.date_range("2024-01-31", "2024-03-31", freq="ME")
    now = judge(pieces, applied, PLAN, looks=looks)
    assert now.effect is Effect.TOO_EARLY
    outlook = outlook_from_now(now, draws=200)
    assert outlook.first_month == now.earliest_month
    assert outlook.failure_free_months == len(pd.date_range(looks[-1], now.earliest_month,
                                                            freq="ME")) - 1  # fmt: skip
    ahead = now.ahead.set_index("month")
    for row in outlook.deciding.itertuples():
        assert row.at_most == ahead.loc[row.month, "most_to_show"] - now.observed
        assert row.from_on == ahead.loc[row.month, "fewest_to_miss"] - now.observed
        assert row.at_most < row.from_on
    assert outlook.chance(0.15, 12) <= outlook.chance(0.15, 24)
    assert outlook.chance(1.0, 24) < outlook.chance(0.5, 24) < outlook.chance(0.15, 24)


def test_nothing_is_foretold_once_the_verdict_is_out(working):
    pieces, applied = working
    shown = judge(pieces, applied, PLAN, looks=MONTHS)
    with pytest.raises(NoAnswer, match="nothing is open: effect shown"):
        outlook_from_now(shown)
    unjudged = judge(pieces, applied, PLAN, looks=MONTHS, reasons=["coding changed"])
    with pytest.raises(NoAnswer, match="nothing is open"):
        outlook_from_now(unjudged)


def test_outlook_tells_the_chance_that_then_comes_true():
    """The chance said at registration against what happens in fleets from the same cell."""
    cell = Cell(units=120, shape=1.2, failures=60, applied="half", ratio=0.3)
    rng = np.random.default_rng(2)
    said, came = [], []
    for _ in range(30):
        pieces, fix_day = simulate(cell, rng)
        known = dated(pieces, FIX)
        outlook = plan_outlook(
            known,
            list(pieces.units[np.isfinite(fix_day)]),
            PLAN,
            start=FIX,
            ratios=(0.3, 1.0),
            draws=300,
        )
        said.append([outlook.chance(0.3, 12), outlook.chance(0.3, 24), outlook.chance(1.0, 24)])
        baseline = fit_baseline(pieces.until(0.0))
        course = follow_rule(replay(baseline, pieces, fix_day=fix_day, looks=LOOKS), target=0.5)
        at = course.shown_at
        came.append([at is not None and at < 12, at is not None and at < 24])
    said, came = np.mean(said, axis=0), np.mean(came, axis=0)
    assert said[0] == pytest.approx(came[0], abs=0.17)
    assert said[1] == pytest.approx(came[1], abs=0.17)
    assert said[2] < 0.05
    assert said[0] < said[1]


def test_outlook_says_its_numbers_and_refuses_without_failures(working):
    pieces, applied = working
    outlook = plan_outlook(pieces, list(applied["unit"]), PLAN, start=FIX, renewed=True, draws=200)
    old = plan_outlook(pieces, list(applied["unit"]), PLAN, start=FIX, draws=200)
    assert outlook.chances["expected"].iloc[0] < old.chances["expected"].iloc[0]
    assert "chance that the effect is shown within 12 months" in str(outlook)
    assert (outlook.chances["shown"] + outlook.chances["missed"] <= 1).all()
    with pytest.raises(NoAnswer, match="no chance was computed"):
        outlook.chance(0.9, 12)
    with pytest.raises(NoAnswer, match="failures so far"):
        plan_outlook(
            pieces, list(applied["unit"]), PLAN, start=pd.Timestamp("2021-01-20"), draws=10
        )
