"""Past forecasts laid beside what then came."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.planning.back_test import back_test
from tests.benchmarks.forecast_fleets import Kept, kept_fleet
from tests.benchmarks.verdict_fleets import Cell, dated, simulate

DAY = pd.Timestamp("2024-01-01")


@pytest.fixture(scope="module")
def fleet():
    cell = Cell(units=200, failures=120, shape=1.8)
    return dated(simulate(cell, np.random.default_rng(3))[0], DAY)


def test_back_test_lays_forecast_beside_fact(fleet):
    days = list(pd.date_range("2023-06-30", periods=4, freq="ME"))
    table = back_test(fleet, as_of=days, draws=300)
    assert len(table) == 16
    assert set(table["what"]) == {"failures", "new parts"}
    row = table[(table["months"] == 3) & (table["what"] == "failures")].iloc[0]
    start = (row["as_of"] - pd.Timestamp("1970-01-01")).days
    stop = (row["as_of"] + pd.DateOffset(months=3) - pd.Timestamp("1970-01-01")).days
    counted = fleet.failed & (fleet.end > start) & (fleet.end <= stop)
    assert row["actual"] == counted.sum()
    assert row["inside95"] == (row["lower95"] <= row["actual"] <= row["upper95"])
    beyond = back_test(fleet, as_of=[pd.Timestamp("2025-12-15")], months=(1, 3), draws=300)
    assert beyond.empty or set(beyond["months"]) <= {1}


def test_parts_of_unknown_age_count_on_both_sides():
    cell = Kept(units=100, shape=3.0, planned=0.7, kept=0.6, scale=900.0, unknown=True)
    known, unknown = kept_fleet(cell, np.random.default_rng(2), DAY)
    day = pd.Timestamp("2023-06-30")
    table = back_test(known, as_of=[day], unknown=unknown, months=(3,), draws=300)
    start = (day - pd.Timestamp("1970-01-01")).days
    stop = (day + pd.DateOffset(months=3) - pd.Timestamp("1970-01-01")).days
    ends = [one.end[one.renewed] for one in (known, unknown)]
    came = sum(int(((end > start) & (end <= stop)).sum()) for end in ends)
    assert came > len(known.end[known.renewed & (known.end > start) & (known.end <= stop)])
    assert table.loc[table["what"] == "new parts", "actual"].item() == came
