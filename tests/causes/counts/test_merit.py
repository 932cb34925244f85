"""Figures of merit: hand-worked sums, exact limits, and a change that is one."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.counts.merit import DOWN, SAME, UNSAID, UP, figures_of_merit
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.life.rates import rate
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from tests.little_fleet import change, little_fleet, read
from tests.small_fleet import small_fleet


def merits_of(fleet, month):
    lives = build_lives(fleet)
    events = repeat_events(fleet, lives.meters, failures_of(fleet))
    found = figures_of_merit(fleet, lives, events, month=month, seed=0)
    return {one.name: one for one in found}, events


def test_hand_worked_month(tmp_path):
    """Two units run 1 000 km in December; one failure, one planned job, one without fault."""
    fleet = small_fleet(
        tmp_path,
        units="unit,in_service,retired\nA,2024-01-01,\nB,2024-01-01,",
        readings="unit,date,meter\nA,2024-01-01,0\nA,2024-12-31,12000\nB,2024-01-01,0\n"
        "B,2024-12-31,12000",
        repairs="unit,date,part,action,reason,cause,cost,downtime_hours\n"
        "A,2024-12-10,pump,replaced,failure,dry,100,5\n"
        "B,2024-12-11,pump,replaced,planned,,50,1\n"
        "B,2024-12-12,pump,replaced,no fault found,,10,1",
    )
    found, _ = merits_of(fleet, "2024-12")
    km = 2 * 12000 / 365 * 31
    between = found["Mean running between failures"].month
    assert between.of == pytest.approx(km, rel=0.01)
    assert (between.value, between.count) == (pytest.approx(between.of), 1)
    exact = rate(1, between.of).interval
    assert between.interval.lower <= 1 / exact.upper
    assert between.interval.upper >= 1 / exact.lower
    cost = found["Cost of repairs per 1,000 km"].month
    assert cost.value == pytest.approx(160 / between.of * 1000)
    assert found["Downtime of a unit in 30 days"].month.value == pytest.approx(7 / 62 * 30)
    assert found["Planned share of removals and repairs"].month.value == 0.5
    assert found["No fault found"].month.value == 0.5
    assert found["Failures with their cause stated"].month.value == 1.0
    assert found["Repairs that came back"].month is None, "its window is not complete yet"
    assert found["Repairs that came back"].changed == UNSAID


def test_no_failure_gives_a_lower_limit_only(tmp_path):
    """2 km / chi2 at no failure: the lower limit is distance / 3.69 (Garwood; Poisson at 95 %)."""
    fleet = small_fleet(
        tmp_path,
        units="unit,in_service,retired\nA,2024-01-01,",
        readings="unit,date,meter\nA,2024-01-01,0\nA,2024-12-31,12000",
        repairs="unit,date,part,action,reason\nA,2024-03-10,pump,replaced,failure",
    )
    month = merits_of(fleet, "2024-12")[0]["Mean running between failures"].month
    assert np.isinf(month.value)
    assert month.interval.lower == pytest.approx(month.of / 3.689, rel=1e-3)
    assert np.isinf(month.interval.upper)


def test_months_add_up_to_the_year_and_to_the_rows(tmp_path):
    folder = little_fleet(tmp_path)
    found, events = merits_of(read_fleet(folder), "2026-03")
    rows = pd.read_csv(folder / "repairs.csv")
    rows = rows[rows["date"].between("2025-04-01", "2026-03-31")]
    year = found["Mean running between failures"].year
    assert year.count == (rows["reason"] == "failure").sum()
    assert found["Cost of repairs per 1,000 km"].year.count == pytest.approx(rows["cost"].sum())
    settled = found["Repairs that came back"].year
    assert settled.count == events[events["day"] >= 20179]["repeat"].sum()


def test_costs_that_are_mostly_blank_are_not_told(tmp_path):
    folder = little_fleet(tmp_path)
    rows = [
        {**row, "cost": "" if place % 2 else row["cost"]}
        for place, row in enumerate(read(folder / "repairs.csv"))
    ]
    change(folder / "repairs.csv", rows)
    cost = merits_of(read_fleet(folder), "2026-03")[0]["Cost of repairs per 1,000 km"]
    assert cost.month is None
    assert "blank" in cost.why_null


@pytest.mark.parametrize(("times", "said"), [(6, UP), (1, SAME)])
def test_a_month_that_differs_is_called_so(tmp_path, times, said):
    """A last month with six times the rows; unchanged, nothing is said."""
    folder = little_fleet(tmp_path)
    rows = read(folder / "repairs.csv")
    last = [row for row in rows if row["date"] >= "2026-03-01"]
    more = [
        {**row, "order": f"{row['order']}-{copy}", "part": f"{row['part']}", "position": str(copy)}
        for row in last
        for copy in range(times - 1)
    ]
    change(folder / "repairs.csv", [{**row, "position": ""} for row in rows] + more)
    found, _ = merits_of(read_fleet(folder), "2026-03")
    assert found["Cost of repairs per 1,000 km"].changed == said
    expected = DOWN if times > 1 else SAME
    assert found["Mean running between failures"].changed == expected
