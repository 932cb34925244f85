"""The rows that a simulated workshop writes, and the faults of real records laid over them."""

from dataclasses import replace
from datetime import date
from functools import cache
from io import StringIO

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.errors import RcaError
from rca.records.columns import ACTIONS, REASONS
from rca.records.files import write_text
from rca.records.fleet import read_fleet
from rca.records.simulate import (
    CausePlan,
    FaultPlan,
    FixPlan,
    FleetPlan,
    LotPlan,
    ModePlan,
    PartPlan,
    RowPlan,
    SignPlan,
    SimulatedFleet,
    as_fleet,
    csv_texts,
    fleet_yaml,
    simulate,
    with_faults,
)

BEGIN, MIDDLE, END = date(2022, 1, 1), date(2024, 1, 1), date(2025, 12, 31)
PUMP = PartPlan(
    "feed pump",
    (
        ModePlan("leaks", 1.2, 30_000, ("wet floor",), ("seal worn",), ("pump and seal new",)),
        ModePlan("noisy", 2.0, 60_000, ("howls",), ("bearing worn",)),
    ),
    system="fuel", positions=("left", "right"), mended=0.3, planned_at=40_000, planned_kept=0.5,
    removals={"no fault found": 0.05, "accident": 0.05, "inspection": 0.05, "other": 0.05},
    tested_good=0.2, inspected_at_visits=0.4, fitted_known=0.5, mode_stated=0.8, cause_stated=0.3,
    lots=LotPlan(date(2021, 1, 1), 90, 20, recorded=0.9),
)  # fmt: skip
FILTER = PartPlan("fuel filter", (ModePlan("blocked", 1.0, 80_000),))
FLEET = FleetPlan(
    "test fleet", (PUMP, FILTER), units=40, records_begin=BEGIN, cutoff=END,
    first_in_service=date(2018, 1, 1), last_in_service=date(2025, 3, 1), visit_every_days=120,
)  # fmt: skip


@pytest.fixture(scope="module")
def fleet():
    """One fleet with every kind of row."""
    return simulate(FLEET, seed=1)


def test_rows_are_in_order_and_use_the_allowed_words(fleet) -> None:
    """Sorted by date; actions and reasons are those of the repairs table, all kinds occur."""
    repairs = fleet.repairs
    assert repairs["date"].is_monotonic_increasing
    assert set(repairs["reason"]) == set(REASONS) - {"recall"}
    assert set(repairs["action"]) == set(ACTIONS) - {"none"}
    assert set(repairs["position"]) == {"left", "right", ""}
    spans = fleet.units.set_index("unit")["in_service"]
    assert (repairs["date"] >= repairs["unit"].map(spans)).all()


def test_one_order_for_each_unit_and_day(fleet) -> None:
    """Rows of one unit on one day share an order, and no other rows do."""
    days = fleet.repairs.groupby("order")[["unit", "date"]].nunique()
    assert (days == 1).all().all()
    assert fleet.repairs.groupby(["unit", "date"])["order"].nunique().eq(1).all()


def test_meters_never_fall(fleet) -> None:
    """Readings and repairs of a unit together rise with the date."""
    both = pd.concat([fleet.readings, fleet.repairs[["unit", "date", "meter"]]])
    by_day = both.groupby(["unit", "date"])["meter"].agg(["min", "max"]).reset_index()
    earlier = by_day.groupby("unit")["max"].shift()
    assert (earlier.isna() | (by_day["min"] >= earlier)).all()


def test_every_life_that_ended_in_the_records_has_its_row(fleet) -> None:
    """Rows of replaced and mended parts are the true ends of lives, with date and reason."""
    true = fleet.truth.lives
    true = true[(true["reason"] != "") & (true["ended_on"] >= pd.Timestamp(BEGIN))]
    rows = fleet.repairs[fleet.repairs["action"] != "inspected"]
    key = ["unit", "part", "position", "date", "reason"]
    ends = true.rename(columns={"ended_on": "date"})[key].sort_values(key, ignore_index=True)
    pd.testing.assert_frame_equal(
        rows[key].sort_values(key, ignore_index=True), ends, check_dtype=False
    )


def test_words_fit_the_mode(fleet) -> None:
    """A leak is told in the words of leaks; a planned replacement tells no complaint."""
    pump = fleet.repairs[fleet.repairs["part"] == "feed pump"]
    leaks = pump[(pump["mode"] == "leaks") & (pump["action"] == "replaced")]
    words = leaks[["complaint", "cause", "correction"]].drop_duplicates()
    assert words.to_numpy().tolist() == [["wet floor", "seal worn", "pump and seal new"]]
    planned = pump[pump["reason"] == "planned"]
    assert planned["complaint"].eq("").all()
    assert planned["mode"].eq("").all()


@pytest.mark.parametrize(
    ("rows", "column", "share"),
    [
        ('reason == "failure"', "mode", 0.8),
        ('reason == "failure"', "cause_addressed", 0.3),
        ('action == "replaced"', "fitted_date", 0.5),
        ('action == "replaced"', "lot", 0.9),
    ],
)
def test_what_is_written_down_has_the_share_planned(fleet, rows, column, share) -> None:
    """Binomial, within 4 standard errors."""
    pump = fleet.repairs[fleet.repairs["part"] == "feed pump"].query(rows)
    said = (pump[column].notna() & pump[column].ne("")).mean()
    assert abs(said - share) < 4 * np.sqrt(share * (1 - share) / len(pump))


def test_the_fitted_date_is_the_true_one(fleet) -> None:
    """Where a removal states when the part had been fitted, date and meter are right."""
    rows = fleet.repairs.dropna(subset=["fitted_date"])
    true = fleet.truth.lives.rename(columns={"ended_on": "date"})
    both = rows.merge(true[true["renewed"]], on=["unit", "part", "position", "date"])
    assert len(both) >= len(rows) > 50
    ages = both["meter"] - both["fitted_meter"]
    right = (both["fitted_date"] == both["fitted_on"]) & ((ages - both["end_age"]).abs() <= 1)
    assert right.mean() > 0.99  # two lives that end on one day match crosswise


def test_tests_and_looks_leave_the_part_in_place(fleet) -> None:
    """Visits come every 120 days; tests without fault about 0.2 a year and position."""
    looks = fleet.repairs[fleet.repairs["reason"] == "inspection"].query('action == "inspected"')
    gaps = looks.groupby("unit")["date"].diff().dropna().dt.days
    assert (gaps % 120).isin([0, 1, 119]).all()
    tests = fleet.repairs.query('reason == "no fault found" and action == "inspected"')
    begin = fleet.units["in_service"].clip(lower=pd.Timestamp(BEGIN))
    expected = 0.2 * 2 * (pd.Timestamp(END) - begin).dt.days.sum() / 365.25
    assert abs(len(tests) - expected) < 4 * np.sqrt(expected)


def test_found_at_visits_means_repaired_at_visits() -> None:
    """Where all failures wait, every failure but a unit's last lies on a visit day."""
    part = replace(FILTER, found_at_visits=1.0, inspected_at_visits=1.0)
    fleet = simulate(replace(FLEET, parts=(part,)), seed=2)
    by_kind = dict(list(fleet.repairs.groupby("reason")))
    visits = set(zip(by_kind["inspection"]["unit"], by_kind["inspection"]["date"], strict=True))
    failed = by_kind["failure"]
    on_visit = [pair in visits for pair in zip(failed["unit"], failed["date"], strict=True)]
    assert np.mean(on_visit) > 0.95


SIGN = RowPlan("fuel filter", "cleaned", "failure", mode="blocked", fault_code="F7", cost=50)
CAUSE = CausePlan(
    "dirty tank", {"feed pump": 6.0}, (BEGIN, BEGIN), share=0.5, mode="leaks",
    signs=(SignPlan(SIGN, share=0.6, lag=(5.0, 30.0)),),
)  # fmt: skip


def test_signs_come_before_failures_under_the_cause() -> None:
    """About the share of such failures has a sign 5 to 30 days before; other units have none."""
    fleet = simulate(replace(FLEET, causes=(CAUSE,), units=200), seed=3)
    signs = fleet.repairs[fleet.repairs["fault_code"] == "F7"]
    failed = fleet.truth.lives.query('under == "dirty tank" and mode == "leaks"')
    assert set(signs["unit"]) <= set(fleet.truth.causes["unit"])
    share = len(signs) / len(failed)
    assert abs(share - 0.6) < 4 * np.sqrt(0.6 * 0.4 / len(failed))
    pairs = signs.merge(failed, on="unit")
    lag = (pairs["ended_on"] - pairs["date"]).dt.days
    followed = pairs[lag.between(0, 31)].groupby(["unit", "date"]).ngroups
    assert followed == signs.groupby(["unit", "date"]).ngroups


def test_signs_stop_with_the_fix_and_the_fix_leaves_its_row() -> None:
    """After a unit's fix no sign is left on it; the work itself is a row on that day."""
    work = RowPlan("fuel tank", "cleaned", "other", cause_addressed="yes", cost=80)
    fix = FixPlan("clean tank", "feed pump", MIDDLE, 0.5, over_days=10, mode="leaks",
                  cause="dirty tank", chosen_by="cause found", leaves=work)  # fmt: skip
    fleet = simulate(replace(FLEET, causes=(CAUSE,), fixes=(fix,), units=200), seed=4)
    fixed = fleet.fixes.set_index("unit")["date"]
    signs = fleet.repairs[fleet.repairs["fault_code"] == "F7"]
    assert (signs["date"] <= signs["unit"].map(fixed).fillna(pd.Timestamp(END))).all()
    rows = fleet.repairs[fleet.repairs["part"] == "fuel tank"].set_index("unit")["date"]
    assert rows.sort_index().equals(fixed.sort_index())


def test_an_effect_may_look_like_a_cause() -> None:
    """With a negative lag the sign comes after the failure that brought it about."""
    sign = SignPlan(SIGN, share=1.0, lag=(-20.0, -10.0))
    plan = replace(FLEET, causes=(replace(CAUSE, signs=(sign,)),))
    fleet = simulate(plan, seed=5)
    signs = fleet.repairs[fleet.repairs["fault_code"] == "F7"]
    pairs = signs.merge(fleet.truth.lives.query('mode == "leaks"'), on="unit")
    after = (pairs["date"] - pairs["ended_on"]).dt.days.between(9, 21)
    assert pairs[after].groupby(["unit", "date"]).ngroups == len(
        signs.drop_duplicates(["unit", "date"])
    )


def test_signs_at_begin_and_at_random() -> None:
    """Every spell leaves one on its first day; other units have the yearly rate of chance rows."""
    signs = (SignPlan(SIGN, at_begin=1.0), SignPlan(replace(SIGN, fault_code="F8"), per_year=0.5))
    plan = replace(FLEET, causes=(replace(CAUSE, begins=(MIDDLE, END), signs=signs),), units=150)
    fleet = simulate(plan, seed=6)
    begins = fleet.truth.causes.set_index("unit")["begins"].sort_index()
    first = (
        fleet.repairs[fleet.repairs["fault_code"] == "F7"].set_index("unit")["date"].sort_index()
    )
    assert first.index.equals(begins.index)
    assert ((first - begins).dt.days <= 1).all()
    chance = (fleet.repairs["fault_code"] == "F8").sum()
    begin = fleet.units["in_service"].clip(lower=pd.Timestamp(BEGIN))
    expected = 0.5 * (pd.Timestamp(END) - begin).dt.days.sum() / 365.25
    assert abs(chance - expected) < 4 * np.sqrt(expected)


# -- faults ----------------------------------------------------------------------------

ALL = FaultPlan(
    meters_run_back=5, meters_jump=2, odometers_replaced=3, duplicates=7, split_orders=6,
    part_case=5, part_spaces=4, part_words=3, blank_positions=8, missing_costs=9, zero_costs=4,
    missing_meters=6, late_dates=3, impossible_dates=2, words={"feed pump": ("lift pump",)},
)  # fmt: skip
COUNTS = {name: getattr(ALL, name) for name in FaultPlan.__dataclass_fields__ if name != "words"}


@pytest.fixture(scope="module")
def faulty(fleet):
    """The same fleet with faults of every kind."""
    return with_faults(fleet, ALL, seed=9)


def test_faults_are_counted_exactly(faulty, fleet) -> None:
    """Each kind as often as asked for; rows grow by the duplicates and the split orders only."""
    assert faulty.truth.fault_counts() == COUNTS
    assert len(faulty.repairs) == len(fleet.repairs) + 7 + 6
    assert len(faulty.readings) == len(fleet.readings)
    pd.testing.assert_frame_equal(faulty.units, fleet.units)


def test_the_list_of_faults_is_the_whole_difference(faulty, fleet) -> None:
    """Take back what is listed, and the clean table is there again."""
    faults = faulty.truth.faults.query('table == "repairs"')
    repairs = faulty.repairs.copy()
    for fault in faults[faults["column"] != ""].query('fault != "split_orders"').itertuples():
        dated = fault.column == "date"
        now, was = (str(one)[:10] if dated else one for one in (fault.now, fault.was))
        assert str(repairs.at[fault.row, fault.column]) == str(now)
        repairs.at[fault.row, fault.column] = was
    splits = faults.query('fault == "split_orders"')
    for fault in splits.itertuples():
        assert repairs.at[fault.row, "order"] == repairs.at[fault.row - 1, "order"]
        total = repairs.at[fault.row, "cost"] + repairs.at[fault.row - 1, "cost"]
        assert total == pytest.approx(fault.was)
        repairs.at[fault.row - 1, "cost"] = fault.was
    doubled = faults.query('fault == "duplicates"')
    for row in doubled["row"]:
        pd.testing.assert_series_equal(repairs.loc[row], repairs.loc[row - 1], check_names=False)
    extra = [*splits["row"], *doubled["row"]]
    whole = repairs.drop(index=extra).reset_index(drop=True)
    whole["date"] = pd.to_datetime(whole["date"])
    replaced = faulty.truth.faults.query('fault == "odometers_replaced"')["unit"]
    same = ~whole["unit"].isin(replaced)
    kept = whole[same].drop(columns="order").reset_index(drop=True)
    clean = fleet.repairs[same].drop(columns="order").reset_index(drop=True)
    pd.testing.assert_frame_equal(kept, clean, check_dtype=False)


def test_meter_faults_by_hand(faulty, fleet) -> None:
    """A reading that runs back lies below its neighbours; a replaced meter starts from 0."""
    faults = faulty.truth.faults
    meter, clean = faulty.readings["meter"], fleet.readings["meter"]
    for fault in faults.query('fault == "meters_run_back"').itertuples():
        assert meter[fault.row] < clean[fault.row - 1] <= clean[fault.row]
    for fault in faults.query('fault == "meters_jump"').itertuples():
        assert meter[fault.row] > 9 * clean[fault.row]
    for fault in faults.query('fault == "odometers_replaced"').itertuples():
        later = (faulty.readings["unit"] == fault.unit) & (faulty.readings.index >= fault.row)
        assert meter[fault.row] == 0
        assert (clean[later] - meter[later] == fault.was).all()
        mine = faulty.repairs["unit"] == fault.unit
        day = str(faulty.readings["date"][fault.row])[:10]
        late = mine & (faulty.repairs["date"].astype(str).str[:10] > day)
        assert (faulty.repairs.loc[late, "meter"].dropna() < 600_000).all()
    changed = (meter != clean) & ~faulty.readings["unit"].isin(
        faults.query('fault == "odometers_replaced"')["unit"]
    )
    assert changed.sum() == 5 + 2


def test_the_reader_sets_aside_what_it_must(faulty) -> None:
    """Row account: read = used + set aside, and set aside are the planted rows, kind by kind."""
    read = as_fleet(faulty)
    account = read.account("repairs")
    assert account.read == len(faulty.repairs)
    assert account.set_aside == 7 + 3 + 2
    rules = read.set_aside[read.set_aside["table"] == "repairs"]["rule"].value_counts()
    assert sorted(rules) == [2, 3, 7]


@cache
def _small_fleet() -> SimulatedFleet:
    return simulate(replace(FLEET, units=25), seed=8)


@given(
    st.fixed_dictionaries({name: st.integers(0, 6) for name in COUNTS if name != "part_words"}),
    st.integers(0, 1000),
)
@settings(max_examples=15, deadline=None, derandomize=True)
def test_any_mixture_of_faults_is_counted(counts: dict[str, int], seed: int) -> None:
    """Property: what is asked for is what is listed, and the rows add up."""
    clean = _small_fleet()
    faulty = with_faults(clean, FaultPlan(**counts), seed=seed)
    assert faulty.truth.fault_counts() == {name: n for name, n in counts.items() if n}
    grown = counts["duplicates"] + counts["split_orders"]
    assert len(faulty.repairs) == len(clean.repairs) + grown
    again = with_faults(clean, FaultPlan(**counts), seed=seed)
    pd.testing.assert_frame_equal(again.repairs, faulty.repairs)


def test_too_many_faults_are_refused(fleet) -> None:
    """The message says how many rows could bear the fault."""
    with pytest.raises(RcaError, match="blank_positions: 100000 rows wanted, only"):
        with_faults(fleet, FaultPlan(blank_positions=100_000), seed=1)
    with pytest.raises(RcaError, match="meters_run_back: 41 units wanted"):
        with_faults(fleet, FaultPlan(meters_run_back=41), seed=1)


def test_written_as_a_folder_and_read_again(fleet, tmp_path) -> None:
    """The texts make a fleet folder that the reader takes without a row set aside."""
    fix = FixPlan("clean tank", "feed pump", MIDDLE, 0.5, share=0.5, chosen_by="other")
    made = simulate(replace(FLEET, fixes=(fix,)), seed=1)
    for name, text in csv_texts(made).items():
        write_text(tmp_path / name, text)
    write_text(tmp_path / "fleet.yaml", fleet_yaml(made, more={"currency": "EUR"}))
    read = read_fleet(tmp_path)
    assert read.account("repairs").set_aside == 0
    assert read.account("repairs").used == len(made.repairs)
    assert read.settings.fixes["clean tank"].chosen_by == "other"
    back = pd.read_csv(StringIO(csv_texts(made)["repairs.csv"]), dtype=str, keep_default_na=False)
    assert list(back.columns) == list(made.repairs.columns)
    assert (pd.to_numeric(back["meter"]) == made.repairs["meter"]).all()
