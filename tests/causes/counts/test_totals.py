"""Sums by part: what is known, what is unknown, and their order."""

import pytest

from rca.causes.counts.totals import known_costs, order_of_importance, totals_by_part
from tests.small_fleet import small_fleet

UNITS = "unit,in_service\nA,2024-01-01\nB,2024-01-01\nC,2024-01-01"
PARTS = """part,positions,fitted_to,safety_critical
pump,,all,no
hose,,all,no
brake pads,,all,yes"""
REPAIRS = """unit,date,part,action,reason,cost,downtime_hours
A,2024-02-01,pump,replaced,failure,500,2
B,2024-02-01,pump,replaced,failure,0,3
B,2024-03-01,pump,inspected,inspection,0,
A,2024-02-01,hose,replaced,failure,,40
C,2024-02-01,hose,replaced,failure,-20,1
C,2024-04-01,brake pads,replaced,failure,10,1"""


@pytest.fixture
def fleet(tmp_path):
    return small_fleet(tmp_path, units=UNITS, parts=PARTS, repairs=REPAIRS)


def test_a_zero_on_real_work_is_unknown_a_zero_on_an_inspection_and_a_credit_stay(fleet):
    costs = known_costs(fleet)
    assert costs.isna().tolist() == [False, True, False, True, False, False]


def test_sums_say_how_many_rows_they_rest_on(fleet):
    totals = totals_by_part(fleet, seed=0)
    pump, hose = totals["pump"], totals["hose"]
    assert (pump["cost"].value, pump["cost"].known, pump["cost"].rows) == (500.0, 2, 3)
    assert (hose["cost"].value, hose["cost"].known) == (-20.0, 1)
    assert hose["downtime"].value == 41.0
    assert pump["failures"].value == 2


def test_limits_hold_the_value_and_nothing_known_is_none(tmp_path):
    fleet = small_fleet(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-02-01,pump,replaced,failure",
    )  # fmt: skip
    totals = totals_by_part(fleet, seed=0)["pump"]
    assert totals["cost"] is None
    assert totals["failures"].interval.lower <= 1 <= totals["failures"].interval.upper


def test_doubling_every_cost_doubles_value_and_limits(fleet, tmp_path):
    doubled = REPAIRS.replace(",500,", ",1000,").replace(",-20,", ",-40,").replace(",10,", ",20,")
    other = small_fleet(tmp_path / "other", units=UNITS, parts=PARTS, repairs=doubled)
    for part in ("pump", "hose", "brake pads"):
        one = totals_by_part(fleet, seed=0)[part]["cost"]
        two = totals_by_part(other, seed=0)[part]["cost"]
        assert two.value == 2 * one.value
        assert two.interval.upper == pytest.approx(2 * one.interval.upper)


def test_safety_critical_parts_come_first_then_the_better_of_two_ranks(fleet):
    assert order_of_importance(fleet, totals_by_part(fleet, seed=0)) == [
        "brake pads", "pump", "hose",
    ]  # fmt: skip
