"""What is planted comes out: shapes, factors, fixes, lots and workmanship, by simple counting.

Most fleets here age in days with shape 1, so that the failures expected in any span are days
divided by scale: every ratio can be checked by hand. Limits are 4 standard errors of a count.
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullFitter

from rca.errors import RcaError
from rca.records.lives import build_lives
from rca.records.simulate import (
    AttributePlan,
    CausePlan,
    FixPlan,
    FleetPlan,
    LotPlan,
    ModelPlan,
    ModePlan,
    PartPlan,
    RecallPlan,
    WorkmanshipPlan,
    as_fleet,
    csv_texts,
    simulate,
)

BEGIN, MIDDLE, END = date(2022, 1, 1), date(2024, 1, 1), date(2025, 12, 31)
RANDOM = PartPlan("pump", (ModePlan("fails", 1.0, 400.0),), scale_on="days")
FLEET = FleetPlan(
    "test fleet", (RANDOM,), units=300, records_begin=BEGIN, cutoff=END,
    first_in_service=BEGIN, last_in_service=BEGIN,
)  # fmt: skip


def old_fleet(*parts: PartPlan, **changes) -> FleetPlan:
    """Build a fleet whose units are up to ten years older than the records."""
    return replace(FLEET, parts=parts, first_in_service=date(2012, 1, 1),
                   last_in_service=date(2025, 6, 30), **changes)  # fmt: skip


def counted(lives: pd.DataFrame, first: date, last: date, units=None) -> tuple[int, float]:
    """Failures on the days from first to last, and the part-days in between (all positions)."""
    low, high = pd.Timestamp(first), pd.Timestamp(last) + pd.Timedelta(days=1)
    rows = lives if units is None else lives[lives["unit"].isin(units)]
    begun = rows["ended_on"] - pd.to_timedelta(rows["end_age"] - rows["begin_age"], unit="D")
    days = (rows["ended_on"].clip(upper=high) - begun.clip(lower=low)).dt.days.clip(lower=0).sum()
    failed = rows["failed"] & (rows["ended_on"] >= low) & (rows["ended_on"] < high)
    return int(failed.sum()), float(days)


def agrees(found: tuple[int, float], *, per_day: float) -> bool:
    """Tell whether a count lies within 4 standard errors of what the rate makes expected."""
    expected = found[1] * per_day
    return abs(found[0] - expected) < 4 * np.sqrt(expected)


# -- the law of the lives --------------------------------------------------------------


@pytest.mark.parametrize("scale_on", ["meter", "days"])
@pytest.mark.parametrize("shape", [0.7, 1.0, 3.0])
def test_true_shape_and_scale_are_recovered(scale_on: str, shape: float) -> None:
    """lifelines' Weibull fit of the lives, mends as late entry, holds the plan's values.

    Planned replacements, mends without renewal and removals of good parts are all at work.
    """
    scale = 50_000.0 if scale_on == "meter" else 500.0
    part = PartPlan(
        "pump", (ModePlan("worn", shape, scale),), scale_on=scale_on, mended=0.2,
        planned_at=1.2 * scale, planned_kept=0.5, removals={"accident": 0.1},
    )  # fmt: skip
    lives = simulate(old_fleet(part, season=0.4), seed=2).truth.lives
    fit = WeibullFitter().fit(lives["end_age"], lives["failed"], entry=lives["begin_age"])
    errors = fit.summary["se(coef)"]
    assert abs(fit.rho_ - shape) < 4 * errors["rho_"]
    assert abs(fit.lambda_ - scale) < 4 * errors["lambda_"]
    assert lives["failed"].sum() > 800


def test_failures_agree_with_the_hazard_run_for_each_of_two_modes() -> None:
    """Sum over lives of (age / scale) ** shape, late entry taken off, is the count expected."""
    modes = (ModePlan("worn", 2.5, 60_000), ModePlan("leaks", 0.8, 90_000))
    lives = simulate(old_fleet(PartPlan("pump", modes)), seed=3).truth.lives
    for mode in modes:
        ages = lives[["begin_age", "end_age"]] / mode.scale
        run = (ages["end_age"] ** mode.shape - ages["begin_age"] ** mode.shape).sum()
        assert abs((lives["mode"] == mode.name).sum() - run) < 4 * np.sqrt(run)


def test_lives_follow_each_other_without_gap() -> None:
    """On every unit and position the first life begins new, and each next where one ended."""
    part = replace(RANDOM, positions=("left", "right"), mended=0.3)
    lives = simulate(replace(FLEET, parts=(part,), units=20), seed=4).truth.lives
    for _, slot in lives.groupby(["unit", "position"]):
        assert slot["begin_age"].iloc[0] == 0
        assert slot["reason"].eq("").sum() == 1
        assert slot["reason"].iloc[-1] == ""
        expected = np.where(slot["renewed"], 0.0, slot["end_age"])[:-1]
        assert np.allclose(slot["begin_age"].iloc[1:], expected)
        assert (slot["fitting"].diff().dropna() == slot["renewed"].iloc[:-1].to_numpy()).all()


def test_spread_between_units_has_the_variance_planned() -> None:
    """The lasting factors are gamma with mean 1; counts by unit spread accordingly."""
    part = replace(RANDOM, spread=0.5, modes=(ModePlan("fails", 1.0, 100.0),))
    fleet = simulate(replace(FLEET, parts=(part,), units=800), seed=5)
    factors = fleet.truth.factors["pump"]
    assert abs(factors.mean() - 1) < 4 * np.sqrt(0.5 / 800)
    assert 0.38 < factors.var() < 0.62
    observed = fleet.truth.lives.groupby("unit")["failed"].sum()
    expected = fleet.truth.lives.groupby("unit")["end_age"].sum() / 100.0
    spread = ((observed - expected) ** 2 - observed).sum() / (expected**2).sum()
    assert 0.35 < spread < 0.65


def test_levels_of_attributes_have_their_factor() -> None:
    """Units of depot North fail 3 times as often; a duty fixed to depots shows with it."""
    duty = AttributePlan("duty", {"light": 1}, by_depot={"North": {"hard": 1}}, use={"hard": 2})
    part = replace(RANDOM, effects={"depot": {"North": 3.0}})
    fleet = simulate(replace(FLEET, parts=(part,), attributes=(duty,)), seed=6)
    units = fleet.units.set_index("unit")
    assert (units["duty"].eq("hard") == units["depot"].eq("North")).all()
    for north, factor in ((True, 3.0), (False, 1.0)):
        mine = units.index[units["depot"].eq("North") == north]
        assert agrees(counted(fleet.truth.lives, BEGIN, END, mine), per_day=factor / 400)
    use = fleet.readings.groupby("unit")["meter"].max()
    ratio = use[units["duty"] == "hard"].mean() / use[units["duty"] == "light"].mean()
    assert ratio == pytest.approx(2.0, rel=0.1)


def test_a_seasonal_part_fails_most_in_its_month() -> None:
    """With a swing of 80 % around July, July has about 9 times the failures of January."""
    part = replace(RANDOM, season=0.8, season_peak=7)
    lives = simulate(replace(FLEET, parts=(part,), units=1500), seed=7).truth.lives
    by_month = lives[lives["failed"]].groupby(lives["ended_on"].dt.month).size()
    assert agrees((int(by_month[7]), 1500 * 4 * 31.0), per_day=1.8 / 400)
    assert agrees((int(by_month[1]), 1500 * 4 * 31.0), per_day=0.21 / 400)


# -- causes ----------------------------------------------------------------------------


def test_a_cause_multiplies_the_rate_of_its_units_from_its_day() -> None:
    """Exactly the share asked for carries it; factor 5 from that day on, 1 elsewhere."""
    cause = CausePlan("bad supply", {"pump": 5.0}, (MIDDLE, MIDDLE), share=0.3)
    fleet = simulate(replace(FLEET, causes=(cause,)), seed=8)
    lives, carrying = fleet.truth.lives, fleet.truth.causes["unit"]
    others = set(fleet.units["unit"]) - set(carrying)
    assert len(carrying) == 90
    after = date(2024, 1, 2)
    assert agrees(counted(lives, BEGIN, date(2023, 12, 31), carrying), per_day=1 / 400)
    assert agrees(counted(lives, after, END, carrying), per_day=5 / 400)
    assert agrees(counted(lives, BEGIN, END, others), per_day=1 / 400)


def test_a_cause_may_hit_one_mode_only() -> None:
    """The mode not named keeps its rate."""
    part = replace(RANDOM, modes=(ModePlan("leaks", 1, 400), ModePlan("seizes", 1, 400)))
    cause = CausePlan("hot", {"pump": 4.0}, (BEGIN, BEGIN), mode="leaks")
    lives = simulate(replace(FLEET, parts=(part,), causes=(cause,)), seed=9).truth.lives
    days = lives["end_age"].sum()
    assert agrees((int((lives["mode"] == "leaks").sum()), days), per_day=4 / 400)
    assert agrees((int((lives["mode"] == "seizes").sum()), days), per_day=1 / 400)


def test_two_causes_that_need_each_other_act_only_together() -> None:
    """AND: on units with one of them alone the rate stays what it was."""
    causes = (
        CausePlan("worn mount", {}, (BEGIN, BEGIN), share=0.5),
        CausePlan("long hose", {"pump": 6.0}, (BEGIN, BEGIN), share=0.5, needs="worn mount"),
    )
    fleet = simulate(replace(FLEET, causes=causes), seed=10)
    carrying = fleet.truth.causes.groupby("cause")["unit"].agg(set)
    both = carrying["worn mount"] & carrying["long hose"]
    assert 40 < len(both) < 110
    lives = fleet.truth.lives
    assert agrees(counted(lives, date(2022, 1, 2), END, both), per_day=6 / 400)
    assert agrees(counted(lives, BEGIN, END, set(lives["unit"]) - both), per_day=1 / 400)


def test_spells_come_and_go() -> None:
    """Spells of 30 days every 90 cover a quarter of the time and raise the rate eightfold."""
    cause = CausePlan("hard work", {"pump": 8.0}, (BEGIN, BEGIN), lasts_days=30, every_days=90)
    fleet = simulate(replace(FLEET, causes=(cause,)), seed=11)
    spells = fleet.truth.causes
    inside = (spells["ends"].clip(upper=pd.Timestamp(END)) - spells["begins"]).dt.days.sum()
    days = fleet.truth.lives["end_age"].sum()
    assert inside / days == pytest.approx(0.25, abs=0.03)
    under = fleet.truth.lives[fleet.truth.lives["failed"]]["under"].eq("hard work").sum()
    assert agrees((int(under), float(inside)), per_day=8 / 400)


def test_a_repair_that_finds_the_cause_removes_it() -> None:
    """After the repair that addressed it no failure of that unit lies under the cause."""
    cause = CausePlan("bad supply", {"pump": 6.0}, (BEGIN, BEGIN), found_at_repair=0.4)
    fleet = simulate(replace(FLEET, causes=(cause,)), seed=12)
    repairs = fleet.repairs
    found = (
        repairs[repairs["cause_addressed"] == "yes"].groupby("unit")["date"].agg(["size", "min"])
    )
    assert found["size"].max() == 1
    assert len(found) > 250
    lives = fleet.truth.lives[fleet.truth.lives["unit"].isin(found.index)]
    failed = lives[lives["failed"] & (lives["ended_on"] > pd.Timestamp(BEGIN))]
    late = failed["ended_on"] > failed["unit"].map(found["min"])
    assert not failed.loc[late, "under"].any()
    assert failed.loc[~late, "under"].eq("bad supply").all()
    gone = (pd.Timestamp(END) - found["min"]).dt.days.sum()
    assert agrees((int(late.sum()), float(gone)), per_day=1 / 400)


# -- fixes -----------------------------------------------------------------------------


@pytest.mark.parametrize("ratio", [0.0, 0.25, 1.0])
def test_a_fix_lowers_the_rate_by_its_ratio_from_the_next_day(ratio: float) -> None:
    """Before it 1 / scale, after it ratio / scale, and again 1 / scale after a relapse."""
    relapse = date(2025, 3, 1)
    fix = FixPlan("filter", "pump", MIDDLE, ratio, share=0.5, chosen_by="other", until=relapse)
    fleet = simulate(replace(FLEET, fixes=(fix,), units=600), seed=13)
    treated = fleet.truth.fixes
    assert len(treated) == 300
    assert (treated["date"] == pd.Timestamp(MIDDLE)).all()
    lives = fleet.truth.lives
    units = treated["unit"]
    assert agrees(counted(lives, BEGIN, MIDDLE, units), per_day=1 / 400)
    after = counted(lives, date(2024, 1, 2), date(2025, 2, 28), units)
    assert agrees(after, per_day=ratio / 400) or after[0] == ratio == 0
    assert agrees(counted(lives, relapse, END, units), per_day=1 / 400)
    others = set(lives["unit"]) - set(units)
    assert agrees(counted(lives, date(2024, 1, 2), END, others), per_day=1 / 400)


def test_the_worst_units_are_those_with_most_failures_in_the_records_then() -> None:
    """No unit left out had more failures on record, before the fix, than a chosen one."""
    fix = FixPlan("filter", "pump", MIDDLE, 1.0, share=0.1, chosen_by="most failures")
    fleet = simulate(old_fleet(RANDOM, fixes=(fix,)), seed=14)
    known = fleet.repairs[fleet.repairs["date"] < pd.Timestamp(MIDDLE)]
    units = fleet.units[fleet.units["in_service"] <= pd.Timestamp(MIDDLE)]["unit"]
    counts = known.groupby("unit").size().reindex(units, fill_value=0)
    chosen = counts.index.isin(fleet.fixes["unit"])
    assert chosen.sum() == round(0.1 * len(units))
    assert counts[chosen].min() >= counts[~chosen].max()


def test_units_where_the_cause_was_found_carry_it_on_that_day() -> None:
    """Cause found: only carriers, the share asked for; their fixes are spread over the weeks."""
    cause = CausePlan("bad supply", {"pump": 3.0}, (BEGIN, END), share=0.6)
    fix = FixPlan("hose", "pump", MIDDLE, 0.3, over_days=40, share=0.5, cause="bad supply",
                  chosen_by="cause found")  # fmt: skip
    fleet = simulate(replace(FLEET, causes=(cause,), fixes=(fix,)), seed=15)
    begins = fleet.truth.causes.set_index("unit")["begins"]
    carrying = begins[begins < pd.Timestamp(MIDDLE)].index
    assert len(fleet.fixes) == round(0.5 * len(carrying))
    assert set(fleet.fixes["unit"]) <= set(carrying)
    days = (fleet.fixes["date"] - pd.Timestamp(MIDDLE)).dt.days
    assert days.min() >= 0
    assert 30 < days.max() <= 40


def test_a_fix_with_refit_renews_the_part_on_its_day() -> None:
    """Every treated unit has a row of a part replaced, reason other, on the day of its fix."""
    fix = FixPlan("new kind", "pump", MIDDLE, 0.5, over_days=20, refit=True)
    fleet = simulate(replace(FLEET, fixes=(fix,), units=40), seed=16)
    rows = fleet.repairs[fleet.repairs["reason"] == "other"].set_index("unit")["date"]
    assert rows.sort_index().equals(
        fleet.fixes.set_index("unit")["date"].rename("date").sort_index()
    )


# -- lots, workmanship, planned work, recalls -------------------------------------------


def test_a_bad_lot_fails_by_its_factor() -> None:
    """Lives of the bad lot fail 6 times as often as those of the others."""
    lots = LotPlan(BEGIN, 100, 14, bad=(4,), factor=6.0, carried_over=0.3)
    lives = simulate(replace(FLEET, parts=(replace(RANDOM, lots=lots),)), seed=17).truth.lives
    bad = lives["lot"] == "L04"
    assert agrees((int(lives[bad]["failed"].sum()), lives[bad]["end_age"].sum()), per_day=6 / 400)
    good = lives[~bad]
    assert agrees((int(good["failed"].sum()), good["end_age"].sum()), per_day=1 / 400)
    assert lives[lives["fitting"] == 0]["lot"].eq("").all()
    fitted = lives[bad]["fitted_on"]
    assert fitted.min() >= pd.Timestamp(BEGIN) + pd.Timedelta(days=300)
    assert fitted.max() < pd.Timestamp(BEGIN) + pd.Timedelta(days=500)


def test_mixed_lots_do_not_follow_the_calendar() -> None:
    """Every lot is fitted in the first and in the last year."""
    lots = LotPlan(BEGIN, 1, 4, mixed=True)
    lives = simulate(replace(FLEET, parts=(replace(RANDOM, lots=lots),)), seed=18).truth.lives
    seen = lives[lives["lot"] != ""].groupby("lot")["fitted_on"].agg(["min", "max"])
    assert len(seen) == 4
    assert (seen["max"] - seen["min"]).dt.days.min() > 1000


def test_bad_workmanship_raises_early_failures_of_lives_begun_there() -> None:
    """Factor 5 up to 60 days on later lives at North; first lives and other depots are ordinary."""
    careless = WorkmanshipPlan('depot = "North"', factor=5.0, until=60)
    part = replace(RANDOM, workmanship=careless)
    fleet = simulate(replace(FLEET, parts=(part,), units=600), seed=19)
    lives = fleet.truth.lives.merge(fleet.units[["unit", "depot"]])
    botched = (lives["depot"] == "North") & (lives["fitting"] > 0)
    young = lives["failed"] & (lives["end_age"] <= 60)
    days = lives["end_age"].clip(upper=60)
    assert agrees((int(young[botched].sum()), days[botched].sum()), per_day=5 / 400)
    assert agrees((int(young[~botched].sum()), days[~botched].sum()), per_day=1 / 400)
    old_days = (lives["end_age"] - 60).clip(lower=0)
    old = lives["failed"] & ~young
    assert agrees((int(old[botched].sum()), old_days[botched].sum()), per_day=1 / 400)


def test_bad_workmanship_may_bring_a_mode_of_its_own() -> None:
    """The early mode strikes a share of the lives begun at North, and nothing else."""
    careless = WorkmanshipPlan('depot = "North"', share=0.5, early=ModePlan("hot", 1.0, 100.0))
    fleet = simulate(replace(FLEET, parts=(replace(RANDOM, workmanship=careless),)), seed=20)
    lives = fleet.truth.lives.merge(fleet.units[["unit", "depot"]])
    hot = lives[lives["mode"] == "hot"]
    assert len(hot) > 100
    assert (hot["depot"] == "North").all()
    assert (hot["fitting"] > 0).all()
    botched = lives[(lives["depot"] == "North") & (lives["fitting"] > 0)]
    first_month = (botched["end_age"] > 30) | botched["failed"]
    share = (
        botched[first_month]["mode"].eq("hot") & (botched[first_month]["end_age"] <= 30)
    ).mean()
    # half of them botched; of those the hot mode comes first within 30 days, against 1 / 400
    expected = 0.5 * (1 / 100) / (1 / 100 + 1 / 400) * (1 - np.exp(-30 * (1 / 100 + 1 / 400)))
    assert abs(share - expected) < 4 * np.sqrt(expected / first_month.sum())


def test_planned_replacement_comes_at_its_age_or_not_at_all() -> None:
    """Removals for plan lie within 15 % of the age planned; about the share kept reaches it."""
    part = replace(RANDOM, modes=(ModePlan("worn", 4.0, 900.0),), planned_at=300, planned_kept=0.6)
    lives = simulate(replace(FLEET, parts=(part,)), seed=21).truth.lives
    planned = lives[lives["reason"] == "planned"]["end_age"]
    assert planned.between(0.85 * 300, 1.15 * 300).all()
    beyond = (lives["end_age"] > 345).sum()
    assert len(planned) / (len(planned) + beyond) == pytest.approx(0.6, abs=0.05)


def test_a_recall_takes_every_part_of_the_lot_then_in_service() -> None:
    """After the campaign no life of the recalled lot goes on; all others are left alone."""
    lots = LotPlan(BEGIN, 200, 7, bad=(2,), factor=1.0)
    recall = RecallPlan(MIDDLE, over_days=30, lot=2)
    fleet = simulate(replace(FLEET, parts=(replace(RANDOM, lots=lots, recall=recall),)), seed=22)
    lives = fleet.truth.lives
    recalled = lives[lives["reason"] == "recall"]
    assert len(recalled) > 20
    assert recalled["lot"].eq("L02").all()
    assert lives[lives["lot"] == "L02"]["ended_on"].max() <= pd.Timestamp(2024, 1, 31)


# -- the fleet -------------------------------------------------------------------------


def test_records_are_cut_where_they_begin_and_history_is_not() -> None:
    """Lives run from the in-service day; the tables begin with the records."""
    fleet = simulate(old_fleet(RANDOM), seed=23)
    assert fleet.repairs["date"].min() >= pd.Timestamp(BEGIN)
    assert fleet.readings["date"].min() >= pd.Timestamp(BEGIN)
    assert fleet.truth.lives["ended_on"].min() < pd.Timestamp(2014, 1, 1)
    ended = fleet.truth.lives[fleet.truth.lives["reason"] != ""]
    assert len(fleet.repairs) == (ended["ended_on"] >= pd.Timestamp(BEGIN)).sum()


def test_retired_units_end_on_their_day() -> None:
    """Nothing happens after retirement; about the planned share retires each year."""
    fleet = simulate(old_fleet(RANDOM, retired_per_year=0.1, units=800), seed=24)
    retired = fleet.units.set_index("unit")["retired"].dropna()
    assert 150 < len(retired) < 330
    last = fleet.repairs.groupby("unit")["date"].max().reindex(retired.index)
    assert (last.isna() | (last <= retired)).all()
    assert fleet.readings.groupby("unit")["date"].max().reindex(retired.index).le(retired).all()


def test_parts_are_fitted_where_the_condition_says() -> None:
    """A part fitted to tankers has no lives elsewhere."""
    models = (ModelPlan("T", 1, prefix="TK", attributes={"body": "tanker"}),
              ModelPlan("S", 1, prefix="SW", attributes={"body": "sweeper"}))  # fmt: skip
    part = replace(RANDOM, fitted_to='body = "tanker"')
    fleet = simulate(replace(FLEET, parts=(part,), models=models), seed=25)
    assert fleet.truth.lives["unit"].str.startswith("TK-").all()
    assert fleet.truth.lives["unit"].nunique() == fleet.units["body"].eq("tanker").sum()


def test_the_reader_and_the_lives_find_the_simulated_lives_again() -> None:
    """Where all units are watched from new, `build_lives` gives the true lives, day by day."""
    part = replace(RANDOM, positions=("left", "right"), mended=0.2,
                   removals={"accident": 0.1}, modes=(ModePlan("worn", 1.5, 400.0),))  # fmt: skip
    fleet = simulate(replace(FLEET, parts=(part,), units=60), seed=26)
    found, true = build_lives(as_fleet(fleet)).rows, fleet.truth.lives
    assert len(found) == pytest.approx(len(true), rel=0.01)  # two repairs a day count as one
    key = ["unit", "position", "end"]
    both = found.merge(true.assign(end=true["ended_on"].astype(found["end"].dtype)), on=key)
    assert len(both) > 0.98 * len(found)
    assert (both["failed_x"] == both["failed_y"]).mean() > 0.99
    assert (both["age_days"] - both["end_age"]).abs().quantile(0.99) <= 1.0


# -- the same bytes, and refusals --------------------------------------------------------


def test_same_seed_same_bytes_and_another_seed_others() -> None:
    """All tables as text, twice from one seed and once from another."""
    plan = old_fleet(RANDOM, units=25)
    first, again, other = (csv_texts(simulate(plan, seed=seed)) for seed in (1, 1, 2))
    assert first == again
    assert all(first[name] != other[name] for name in ("repairs.csv", "units.csv", "readings.csv"))


def test_a_further_part_leaves_the_others_as_they_were() -> None:
    """Streams are known by name, so lives of one part do not hang on which others there are."""
    alone = simulate(replace(FLEET, units=30), seed=3).truth.lives
    more = simulate(replace(FLEET, units=30, parts=(replace(RANDOM, name="a"), RANDOM)), seed=3)
    lives = more.truth.lives
    pd.testing.assert_frame_equal(lives[lives["part"] == "pump"].reset_index(drop=True), alone)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"units": 0}, "at least one unit"),
        ({"records_begin": END}, "before cutoff"),
        ({"last_in_service": date(2027, 1, 1)}, "must follow each other"),
        ({"parts": (RANDOM, RANDOM)}, "named twice"),
        ({"parts": (replace(RANDOM, modes=()),)}, "at least one failure mode"),
        ({"parts": (replace(RANDOM, modes=(ModePlan("a", 0, 1),)),)}, "above 0"),
        ({"parts": (replace(RANDOM, removals={"rust": 1}),)}, "'rust' is not known"),
        ({"parts": (replace(RANDOM, mends=("kicked",)),)}, "'kicked' is not known"),
        ({"parts": (replace(RANDOM, effects={"colour": {"red": 2}}),)}, "'colour' is not known"),
        ({"parts": (replace(RANDOM, lots=LotPlan(BEGIN, 90, 3, bad=(4,))),)}, "from 1 to 3"),
        ({"causes": (CausePlan("c", {"valve": 2}, (BEGIN, END)),)}, "'valve' is not known"),
        ({"causes": (CausePlan("c", {"pump": 2}, (BEGIN, END), mode="x"),)}, "'x' is not known"),
        ({"fixes": (FixPlan("f", "pump", MIDDLE, 0.5, chosen_by="cause found"),)}, "which cause"),
        ({"fixes": (FixPlan("f", "pump", MIDDLE, -1),)}, "0 or more"),
    ],
)  # fmt: skip
def test_plans_that_contradict_themselves_are_refused(changes, says: str) -> None:
    """One clear message, before anything is simulated."""
    with pytest.raises(RcaError, match=says):
        replace(FLEET, **changes)


def test_a_fleet_says_what_is_inside() -> None:
    """The text names units, rows and failures as they are."""
    fleet = simulate(replace(FLEET, units=5), seed=1)
    failures = fleet.repairs["reason"].eq("failure").sum()
    assert f"5 units, 1 parts, {len(fleet.repairs)} repair rows of which {failures}" in str(fleet)
