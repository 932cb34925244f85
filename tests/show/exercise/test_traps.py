"""Every trap does what its sentence says, by simple counting in the records or the truth."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from rca.records.simulate import simulate
from rca.records.simulate.draws import Draws
from rca.show.exercise.later_records import month_end_after
from rca.show.exercise.past import make_past
from rca.show.exercise.planting import fix_day, plan_of, seen_until, with_repair
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.setting import draw_setting
from rca.show.exercise.traps import TRAPS, fits


def setting(kind: str, *traps: str, level: str = "middle", seed: int = 1):
    return draw_setting(Draws(seed, "setting"), level=level, kind=kind, traps=traps)


def failures(past, part: str) -> pd.DataFrame:
    rows = past.fleet.repairs
    return rows[(rows["part"] == part) & (rows["reason"] == "failure")]


def test_every_trap_fits_some_kind_and_every_kind_some_trap():
    assert all(any(fits(trap, kind) for kind in SUSPECTS) for trap in TRAPS)
    assert all(sum(fits(trap, kind) for trap in TRAPS) >= 5 for kind in SUSPECTS)


def test_survivors_missing_leaves_only_units_with_a_replacement():
    one = setting("control", "survivors missing")
    past = make_past(one, seed=3)
    listed = set(past.fleet.units["unit"])
    assert len(listed) < one.units
    rows = past.fleet.repairs
    replaced = rows[(rows["part"] == one.scenario.part) & (rows["action"] == "replaced")]
    assert listed == set(replaced["unit"])
    assert set(past.fleet.readings["unit"]) <= listed


def test_mixed_modes_have_opposite_shapes():
    past = make_past(setting("age", "mixed modes"), seed=3)
    shapes = [mode.shape for mode in past.fleet.plan.parts[0].modes]
    assert shapes[0] > 1 > shapes[1]
    counts = failures(past, past.fleet.plan.parts[0].name)["mode"].value_counts()
    assert (counts[[mode.name for mode in past.fleet.plan.parts[0].modes]] >= 10).all()


def test_replaced_odometers_fall_back():
    past = make_past(setting("duty", "odometer replaced"), seed=3)
    fell = past.fleet.readings.groupby("unit")["meter"].apply(lambda one: (one.diff() < 0).any())
    assert set(fell[fell].index) == set(past.meter_lost)
    assert len(past.meter_lost) >= 5


def test_age_unknown_puts_many_units_before_the_records():
    one = setting("supply", "age unknown")
    for traps, share in ((("age unknown",), 0.5), ((), 0.0)):
        past = make_past(replace(one, traps=traps), seed=3)
        older = (past.fleet.units["in_service"] < pd.Timestamp(one.records_begin)).mean()
        assert older == pytest.approx(share, abs=0.5) if share else older == 0
        assert older >= share


def test_good_parts_returned_stand_beside_the_failures():
    one = setting("lot", "good parts returned")
    rows = make_past(one, seed=3).fleet.repairs
    mine = rows[(rows["part"] == one.scenario.part) & (rows["action"] == "replaced")]
    assert (mine["reason"] == "no fault found").sum() >= 10


def test_confounded_depot_has_most_of_the_heavy_duty():
    one = setting("fitting", "confounded")
    units = make_past(one, seed=3).fleet.units
    heavy = (units["duty"] == one.scenario.duty[1]).groupby(units["depot"]).mean()
    assert heavy[one.depot] > 0.55
    assert heavy.drop(one.depot).max() < 0.4


def test_two_causes_do_harm_only_together():
    """Failures a unit on units with both, with one, with none; over five fleets."""
    one = setting("supply", "two causes")
    counts: dict[int, list[int]] = {0: [], 1: [], 2: []}
    for seed in range(5):
        past = make_past(one, seed=seed)
        held = past.fleet.truth.causes.groupby("unit")["cause"].nunique()
        per_unit = failures(past, one.scenario.part)["unit"].value_counts()
        for unit in past.fleet.units["unit"]:
            counts[int(held.get(unit, 0))].append(int(per_unit.get(unit, 0)))
    means = {number: np.mean(values) for number, values in counts.items()}
    assert means[2] > 2 * means[1]
    assert means[1] == pytest.approx(means[0], rel=0.4)


def test_the_worst_units_improve_by_themselves():
    """Repairs of no effect on the units with most failures: the plain count falls all the same."""
    before, after = 0, 0
    for kind, seed in itertools.product(("supply", "control", "fitting"), range(5)):
        one = setting(kind, "picked worst", seed=seed)
        fleet = simulate(with_repair(plan_of(one), 0, setting=one), seed=seed)
        treated = fleet.truth.fixes.query("fix == 'repair 1'")["unit"]
        rows = fleet.repairs[fleet.repairs["unit"].isin(treated)]
        rows = rows[rows["reason"] == "failure"]
        day, last = pd.Timestamp(fix_day(one, 1)), pd.Timestamp(seen_until(one, 1))
        span = last - day
        before += int(((rows["date"] > day - span) & (rows["date"] <= day)).sum())
        after += int(((rows["date"] > day) & (rows["date"] <= last)).sum())
    assert before > 150
    assert after < 0.85 * before


def test_an_effect_comes_after_the_failures():
    one = setting("lot", "effect")
    past = make_past(one, seed=3)
    days = {"before": 0, "after": 0}
    signs = past.fleet.repairs[past.fleet.repairs["part"] == one.effect_part]
    by_unit = dict(list(signs.groupby("unit")["date"]))
    for row in failures(past, one.scenario.part).itertuples():
        apart = (by_unit.get(row.unit, pd.Series(dtype="datetime64[ns]")) - row.date).dt.days
        days["before"] += int(((apart < 0) & (apart >= -45)).any())
        days["after"] += int(((apart > 0) & (apart <= 45)).any())
    assert days["after"] > 2 * days["before"]


@pytest.mark.parametrize(
    ("day", "months", "end"),
    [("2015-12-31", 1, "2016-01-31"), ("2016-01-31", 1, "2016-02-29"),
     ("2015-12-31", 14, "2017-02-28"), ("2016-02-29", 0, "2016-02-29")],
)  # fmt: skip
def test_months_end_where_the_calendar_says(day, months, end):
    from datetime import date

    assert month_end_after(date.fromisoformat(day), months).isoformat() == end
