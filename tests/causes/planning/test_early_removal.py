"""The habit of taking parts off before they fail, by hand and by simulation."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.fix.pieces import ONCE, Pieces
from rca.causes.planning.early_removal import removal_habit

LAST = np.datetime64("2024-01-01")
DAY = float((pd.Timestamp(LAST) - pd.Timestamp("1970-01-01")).days)


def watched(ages, *, renewed, failed=None, ago=0):
    """Parts watched from new, that ended so many days ago."""
    ages = np.asarray(ages, float)
    end = LAST - np.broadcast_to(np.asarray(ago, int), ages.shape).astype("timedelta64[D]")
    failed = np.zeros(len(ages), bool) if failed is None else np.asarray(failed)
    return Pieces.from_arrays(
        [f"u{k}" for k in range(len(ages))],
        entry=np.zeros(len(ages)),
        age=ages,
        begin=end - ages.astype("timedelta64[D]"),
        end=end,
        failed=failed,
        running=~np.asarray(renewed),
        renewed=renewed,
    )


def test_rate_is_removals_over_what_was_run_at_risk():
    """Two removals at 100 and 200, one part still running at 300, one failed at 150; by hand:
    from 100 to 200 0 + 100 + 100 + 50 = 250 run, so 2 / 250; beyond, half a removal in 100."""
    habit = removal_habit(
        watched([100, 200, 300, 150], renewed=[True, True, False, True],
                failed=[False, False, False, True]),
        day=DAY,
    )  # fmt: skip
    assert habit.total == 2
    assert habit.rate == pytest.approx([2 / 250, 0.5 / 100])
    assert habit.expected(np.array([0.0]), np.array([100.0])) == pytest.approx(0.0, abs=1e-6)
    assert habit.expected(np.array([50.0]), np.array([170.0])) == pytest.approx(70 * 2 / 250)
    assert "2 parts taken off" in str(habit)


def test_all_removals_are_explained_by_the_rates():
    """Removals expected over all that was run are those seen: the estimate's score is 0."""
    rng = np.random.default_rng(1)
    ages = 400 + 40 * rng.normal(size=200)
    pieces = watched(ages.round(), renewed=np.ones(200, bool), ago=rng.integers(0, 150, 200))
    habit = removal_habit(pieces, day=DAY)
    assert len(habit.begin) > 8
    assert habit.expected(pieces.entry, pieces.age).sum() == pytest.approx(200)
    drawn = habit.drawn(4000, rng)
    assert drawn.mean(axis=0) == pytest.approx(habit.rate, rel=0.1)


def test_only_the_last_two_years_count_where_they_hold_enough():
    old = np.full(40, 1000)
    new = np.concatenate([np.zeros(25, int), np.full(15, 1000)])
    early = np.ones(40, bool)
    assert removal_habit(watched(np.full(40, 50), renewed=early, ago=old), day=DAY).total == 40
    assert removal_habit(watched(np.full(40, 50), renewed=early, ago=new), day=DAY).total == 25


def test_a_recall_is_no_habit():
    rows = pd.DataFrame(
        {
            "unit": ["a", "b"], "entry_days": [0.0, 0.0], "age_days": [90.0, 90.0],
            "begin": [LAST - 90, LAST - 90], "end": [LAST, LAST], "failed": [False, False],
            "ended_by": ["planned", ONCE], "renewed": [True, True],
        }
    )  # fmt: skip
    assert Pieces.from_rows(rows).early.tolist() == [True, False]
