"""Parts needed: against closed forms, simulated fleets and its own past."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom

from rca.causes.fix.pieces import Pieces
from rca.causes.planning.forecast import back_test, forecast_parts
from rca.errors import NoAnswer
from tests.benchmarks.forecast_coverage import one_forecast
from tests.benchmarks.verdict_fleets import Cell, dated, simulate

DAY = pd.Timestamp("2024-01-01")
ORIGIN = np.datetime64("2024-01-01")


def few(failures, parts=40, days=400, renewed=None):
    """`failures` parts failed at days 60, 77, 94.. and were replaced, the rest run; constructed."""
    unit = [f"u{k}" for k in range(parts)] + [f"u{k}" for k in range(failures)]
    died = [60 + 17 * k for k in range(failures)]
    age = died + [days] * (parts - failures) + [days - day for day in died]
    failed = [k < failures for k in range(parts)] + [False] * failures
    return Pieces.from_arrays(
        unit,
        entry=np.zeros(parts + failures),
        age=np.array(age, float),
        begin=[ORIGIN - days] * parts + [ORIGIN - days + day for day in died],
        end=[ORIGIN - days + a for a in age[:parts]] + [ORIGIN] * failures,
        failed=failed,
        renewed=failed if renewed is None else renewed,
    )


def test_a_constant_rate_gives_the_negative_binomial():
    """Gamma rate (n + 1/2 failures) and Poisson failures mix to a negative binomial; scipy."""
    pieces = few(3)
    made = forecast_parts(pieces, as_of=DAY, draws=4000)
    assert made.curve == "constant rate"
    run = 40 * 400.0
    mean = 3.5 / run * 40 * 366
    year = made.within(12)
    assert year.expected == pytest.approx(mean, rel=0.05)
    exact = nbinom(3.5, 3.5 / (3.5 + mean))
    assert abs(year.upper95 - exact.ppf(0.975)) <= 2
    assert abs(year.lower95 - exact.ppf(0.025)) <= 1


def test_no_failure_yet_is_no_promise_of_none():
    made = forecast_parts(few(0), as_of=DAY)
    assert made.failures == 0
    assert made.within(12).lower95 == 0
    assert made.within(12).upper95 >= 1


def test_intervals_hold_what_then_happens():
    """Full table in tests/benchmarks/README.md; here 60 fleets, seeded, some 45 expected a year.

    At a true 92 % fewer than 51 of 60 inside the 95 % interval would be rare (1 in 30).
    """
    rng = np.random.default_rng(12)
    cell = Cell(units=150, failures=100, shape=1.6, spread=0.5)
    runs = np.array([one_forecast(cell, rng, draws=300)[-1] for _ in range(60)], dtype=float)
    assert runs[:, 0].mean() > 20
    assert runs[:, 2].sum() >= 52
    assert runs[:, 1].sum() >= 42
    assert runs[:, 3].mean() == pytest.approx(runs[:, 0].mean(), rel=0.1)


@pytest.fixture(scope="module")
def fleet():
    return dated(
        simulate(Cell(units=200, failures=120, shape=1.8), np.random.default_rng(3))[0], DAY
    )


def test_intervals_are_nested_and_grow_with_time(fleet):
    made = forecast_parts(fleet, as_of=DAY)
    assert [row.months for row in made.rows] == [1, 3, 12]
    for row in made.rows:
        assert row.lower95 <= row.lower80 <= row.expected <= row.upper80 <= row.upper95
    expected = [row.expected for row in made.rows]
    assert expected == sorted(expected)
    assert "parts in 12 months" in str(made)
    with pytest.raises(NoAnswer, match="no forecast was made for 2 months"):
        made.within(2)


def test_the_same_seed_gives_the_same_numbers_and_later_records_do_not_matter(fleet):
    one = forecast_parts(fleet, as_of=DAY, draws=300)
    cut = fleet.until(float((DAY - pd.Timestamp("1970-01-01")).days))
    two = forecast_parts(cut, as_of=DAY, draws=300)
    assert one == two
    assert forecast_parts(fleet, as_of=DAY, draws=300, seed=1) != one


def test_only_failures_that_take_a_part_count():
    """Half of the failures mended without a new part: half the parts."""
    whole = forecast_parts(few(4), as_of=DAY, draws=3000)
    mended = [k < 2 for k in range(40)] + [False] * 4
    half = forecast_parts(few(4, renewed=mended), as_of=DAY, draws=3000)
    assert half.renewing_share == 0.5
    assert half.within(12).expected == pytest.approx(whole.within(12).expected / 2, rel=0.15)


def test_months_that_differ_widen_the_interval(fleet):
    """The same failures gathered into every third month; the count a year stays."""
    calm = forecast_parts(fleet, as_of=DAY)
    month = 365.25 / 12
    shift = np.where(fleet.failed, np.floor(fleet.end / month) % 3 * month, 0.0)
    end = np.maximum(np.floor(fleet.end - shift), fleet.begin + 1)
    rough = Pieces(
        units=fleet.units,
        unit=fleet.unit,
        entry=fleet.entry,
        age=fleet.age,
        begin=fleet.begin,
        end=np.where(fleet.failed, end, fleet.end),
        failed=fleet.failed,
        running=fleet.running,
        renewed=fleet.renewed,
    )
    varied = forecast_parts(rough, as_of=DAY)
    assert varied.month_spread > calm.month_spread + 0.3
    wide = varied.within(1).upper95 - varied.within(1).lower95
    assert wide > calm.within(1).upper95 - calm.within(1).lower95


def test_back_test_lays_forecast_beside_fact(fleet):
    days = list(pd.date_range("2023-06-30", periods=4, freq="ME"))
    table = back_test(fleet, as_of=days, draws=300)
    assert len(table) == 8
    row = table.iloc[1]
    start = (row["as_of"] - pd.Timestamp("1970-01-01")).days
    stop = (row["as_of"] + pd.DateOffset(months=3) - pd.Timestamp("1970-01-01")).days
    counted = fleet.failed & (fleet.end > start) & (fleet.end <= stop)
    assert row["actual"] == counted.sum()
    assert row["inside95"] == (row["lower95"] <= row["actual"] <= row["upper95"])
    beyond = back_test(fleet, as_of=[pd.Timestamp("2025-12-15")], months=(1, 3), draws=300)
    assert beyond.empty or set(beyond["months"]) <= {1}


def test_nothing_in_service_is_said():
    pieces = few(3)
    with pytest.raises(NoAnswer, match="no part is in service on 2020-01-01"):
        forecast_parts(pieces, as_of=pd.Timestamp("2020-01-01"))
