"""Later lives against first ones: a hand-worked unit, fairness under spread, and real effects."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.pattern.later_lives import _due_by_own_past, compare_later_lives
from rca.causes.pattern.models import UnitsFit, Weibull, units_fit
from rca.causes.pattern.part_lives import PartLives
from rca.life.weibull import fit_weibull
from tests.benchmarks.pattern_fleets import Case, make_lives


def lives_of(rows: pd.DataFrame) -> PartLives:
    return PartLives.of(rows, scale="days", units=None, depot="depot")


def test_own_past_of_a_hand_worked_unit():
    """Spread 0.5, exponential: due (2 + N) log((2 + H + e) / (2 + H)).

    Ages 100, 300, 200 of mean 200, so hazards e = 0.5, 1.5, 1 at level 1 after N = 0, 1, 2
    failures and H = 0, 0.5, 2.
    """
    rows = pd.DataFrame(
        {
            "unit": "A",
            "position": "",
            "fitting": [0, 1, 2],
            "piece": 0,
            "begin": pd.to_datetime(["2022-01-01", "2022-04-11", "2023-02-05"]),
            "end": pd.to_datetime(["2022-04-11", "2023-02-05", "2023-08-24"]),
            "entry_days": 0.0,
            "age_days": [100.0, 300.0, 200.0],
            "failed": [True, True, False],
            "lot": "",
        }
    )
    fit = UnitsFit(spread=0.5, later_factor=1.0, shape=1.0, level=1.0)
    due = [2 * np.log(2.5 / 2), 3 * np.log(4 / 2.5), 4 * np.log(5 / 4)]
    assert _due_by_own_past(lives_of(rows), fit) == pytest.approx(due)
    later = compare_later_lives(lives_of(rows), fit)
    assert later is not None
    assert later.ratio == pytest.approx((1 / (due[1] + due[2])) / (1 / due[0]))
    assert later.expected == pytest.approx((due[1] + due[2]) / due[0])


@pytest.mark.parametrize(("spread", "truth"), [(0.06, "random"), (1.0, "spread")])
def test_mere_spread_does_not_make_later_lives_look_short(spread, truth):
    """The mean of log ratios over ten fleets of about 150 failures lies near 0, spread or not.

    Without each unit's own past the same fleets of spread 1 give a ratio of about 2.
    """
    logs, naive = [], []
    for number in range(10):
        rows, _ = make_lives(Case(truth, 150, spread=spread), np.random.default_rng([4, number]))
        lives = lives_of(rows)
        base = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
        later = compare_later_lives(lives, units_fit(base))
        assert later is not None
        logs.append(np.log(later.ratio))
        seen = [lives.failed[part].sum() for part in (lives.later, ~lives.later)]
        due = [base.expected[part].sum() for part in (lives.later, ~lives.later)]
        naive.append(np.log(seen[0] / due[0] * due[1] / seen[1]))
    assert abs(np.mean(logs)) < 0.25
    if spread == 1.0:
        assert np.mean(naive) > np.mean(logs) + 0.3


def test_truly_short_later_lives_are_seen():
    """Later lives at one depot of five fail 6 times as often: above 1 over the fleet."""
    above = 0
    for number in range(4):
        rows, _ = make_lives(Case("later", 150), np.random.default_rng([9, number]))
        lives = lives_of(rows)
        later = compare_later_lives(
            lives, units_fit(Weibull(lives, shape=fit_weibull(lives.sample()).shape))
        )
        assert later is not None
        above += later.ratio > 1
    assert above >= 3


def test_no_later_life_gives_no_ratio():
    """All pieces are first lives."""
    rows, _ = make_lives(Case("random", 50), np.random.default_rng(1))
    first = rows[rows["fitting"] == 0]
    lives = lives_of(first)
    fit = UnitsFit(spread=0.1, later_factor=1.0, shape=1.0, level=1.0)
    assert compare_later_lives(lives, fit) is None
