"""Repeat repairs against histories counted by hand."""

import math

import numpy as np
import pytest
from scipy.stats import binomtest

from rca.causes.counts.parts import fit_or_reason, sample_of
from rca.causes.counts.repeats import failures_of, repeat_events, repeat_rate
from rca.records.lives import build_lives
from tests.small_fleet import DEFAULT_YAML, small_fleet

UNITS = "unit,in_service\nA,2024-01-01\nB,2024-01-01"
PARTS = "part,positions,fitted_to\npump,,all"


def repeats(tmp_path, repairs, *, yaml=DEFAULT_YAML, **tables):
    fleet = small_fleet(tmp_path, yaml=yaml, units=UNITS, parts=PARTS, repairs=repairs, **tables)
    lives = build_lives(fleet)
    events = repeat_events(fleet, lives.meters, failures_of(fleet))
    return fleet, lives, events


def test_a_second_failure_within_the_window_is_a_repeat_and_the_last_window_is_not_complete(
    tmp_path,
):
    # Window 90 days, cut-off 31 Dec. 1 Feb: next failure 29 days later -> repeat. 1 Mar: none
    # within 90 days -> complete, no repeat. 1 Nov: window would end 30 Jan -> not complete.
    _, _, events = repeats(
        tmp_path,
        """unit,date,part,action,reason
           A,2024-02-01,pump,replaced,failure
           A,2024-03-01,pump,replaced,failure
           A,2024-11-01,pump,replaced,failure""",
    )
    assert events["complete"].tolist() == [True, True, False]
    assert events["repeat"].tolist() == [True, False, False]


def test_planned_work_other_units_other_positions_and_the_same_day_are_no_repeats(tmp_path):
    _, _, events = repeats(
        tmp_path,
        """unit,date,part,position,action,reason,order
           A,2024-02-01,pump,left,replaced,failure,1
           A,2024-02-01,pump,left,replaced,failure,2
           A,2024-02-20,pump,left,replaced,planned,3
           A,2024-02-20,pump,right,replaced,failure,4
           B,2024-02-20,pump,left,replaced,failure,5""",
    )
    assert len(events) == 3
    assert not events["repeat"].any()


def test_the_window_ends_by_distance_too_where_the_meter_is_known(tmp_path):
    # 100 km a day: 5 000 km are run in 50 days; a failure after 60 days is no repeat, and a
    # failure 60 days before the cut-off has a complete window.
    yaml = DEFAULT_YAML + "repeat_window: {days: 90, meter: 5000}\n"
    readings = "unit,date,meter\nA,2024-01-01,0\nA,2024-12-31,36500"
    _, _, events = repeats(
        tmp_path,
        """unit,date,part,action,reason
           A,2024-02-01,pump,replaced,failure
           A,2024-04-01,pump,replaced,failure
           A,2024-11-01,pump,replaced,failure""",
        yaml=yaml, readings=readings,
    )  # fmt: skip
    assert events["repeat"].tolist() == [False, False, False]
    assert events["complete"].tolist() == [True, True, True]
    assert events["window"].to_numpy() == pytest.approx([50, 50, 50])


def test_an_open_order_is_not_yet_a_failure(tmp_path):
    _, _, events = repeats(
        tmp_path,
        """unit,date,part,action,reason,closed
           A,2024-02-01,pump,replaced,failure,2024-02-03
           A,2024-03-01,pump,replaced,failure,""",
    )
    assert len(events) == 1


def rate_of(fleet, lives, events, *, rate_a_day=0.01):
    curve, _ = fit_or_reason(sample_of(lives.of("pump"), scale="days"))
    return repeat_rate(
        events, fleet=fleet, lives=lives, curve=curve, rate_a_day=rate_a_day, seed=1
    )  # fmt: skip


def test_limits_are_never_narrower_than_the_exact_binomial_ones(tmp_path):
    """Clopper-Pearson limits by scipy.stats.binomtest."""
    days = ["2024-01-20", "2024-02-01", "2024-03-20", "2024-07-01"]
    rows = "\n".join(f"{u},{d},pump,replaced,failure" for u in "AB" for d in days)
    found = rate_of(*repeats(tmp_path, f"unit,date,part,action,reason\n{rows}"))
    exact = binomtest(found.repeats, found.complete).proportion_ci(method="exact")
    assert (found.repeats, found.complete) == (4, 8)
    assert found.interval.lower <= exact.low + 1e-12
    assert found.interval.upper >= exact.high - 1e-12


def test_no_repeat_seen_does_not_mean_none_is_possible(tmp_path):
    """0 of 1: exact upper limit 1 - 0.025 = 0.975 (Clopper-Pearson, closed form)."""
    repairs = "unit,date,part,action,reason\nA,2024-02-01,pump,replaced,failure"
    found = rate_of(*repeats(tmp_path, repairs))
    assert found.value == 0
    assert found.interval.upper == pytest.approx(0.975)


def test_chance_of_a_constant_rate_is_the_exponential_law(tmp_path):
    """1 - exp(-rate x window): 8, 15, 28 % within 30 days at 1, 2, 4 failures a unit-year."""
    yaml = DEFAULT_YAML + "repeat_window: {days: 30, meter: null}\n"
    repairs = "unit,date,part,action,reason\nA,2024-02-01,pump,replaced,failure"
    fleet, lives, events = repeats(tmp_path, repairs, yaml=yaml)
    for per_year, chance in ((1, 0.08), (2, 0.15), (4, 0.28)):
        found = rate_of(fleet, lives, events, rate_a_day=per_year / 365.25)
        assert found.chance_constant == pytest.approx(chance, abs=0.005)


def test_chance_by_the_life_curve_is_its_share_failed_in_the_window(tmp_path):
    rows = [f"A,2024-{month:02d}-01,pump,replaced,failure" for month in range(2, 10)]
    fleet, lives, events = repeats(tmp_path, "unit,date,part,action,reason\n" + "\n".join(rows))
    curve, _ = fit_or_reason(sample_of(lives.of("pump"), scale="days"))
    found = rate_of(fleet, lives, events)
    assert curve is not None
    assert found.chance == pytest.approx(1 - float(curve.survival(90.0)), rel=1e-9)


def test_a_homogeneous_fleet_shows_no_repeats_beyond_chance():
    """Exponential lives have no memory: what comes back is what chance gives (own simulation)."""
    rng = np.random.default_rng(5)
    window, lives_seen = 90.0, rng.exponential(400.0, 4000)
    share = (lives_seen <= window).mean()
    assert share == pytest.approx(1 - math.exp(-window / 400.0), abs=0.02)
