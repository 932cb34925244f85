"""The demo fleet: its tables come from its script, and its stories show by simple counting."""

import importlib.util
import re
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from lifelines import WeibullFitter

from rca.records.files import read_yaml
from rca.records.fleet import read_fleet
from rca.records.simulate import csv_texts, simulate

DEMO = Path(__file__).parent.parent / "data_demo"
BEGIN, END = pd.Timestamp("2022-11-01"), pd.Timestamp("2026-10-31")


def _script():
    """Load data_demo/make_demo.py, which is no part of the package."""
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def script():
    """The script, with its plan."""
    return _script()


@pytest.fixture(scope="module")
def made(script):
    """The fleet as the script makes it, truth and all."""
    return script.make_demo()


@pytest.fixture(scope="module")
def clean(script):
    """The same fleet without record faults."""
    return simulate(script.PLAN, seed=script.SEED)


@pytest.fixture(scope="module")
def repairs():
    """The rows of the file, cells as a spreadsheet would show them; bad dates become blank."""
    table = pd.read_csv(DEMO / "fleet" / "repairs.csv", keep_default_na=False)
    table["date"] = pd.to_datetime(table["date"], errors="coerce")
    table["part"] = table["part"].str.split().str.join(" ").str.lower()
    return table


@pytest.fixture(scope="module")
def units():
    """The units table."""
    table = pd.read_csv(DEMO / "fleet" / "units.csv", parse_dates=["in_service", "retired"])
    return table.set_index("unit")


@pytest.fixture(scope="module")
def fixes():
    """The fixes table."""
    return pd.read_csv(DEMO / "fleet" / "fixes.csv", parse_dates=["date"])


def failures(repairs: pd.DataFrame, part: str, mode: str) -> pd.DataFrame:
    """Rows of failures of a part in a mode."""
    return repairs[(repairs["part"] == part) & (repairs["mode"] == mode)
                   & (repairs["reason"] == "failure")]  # fmt: skip


def unit_years(units: pd.DataFrame, names, first, last) -> float:
    """Years that these units were in service between two days."""
    mine = units.loc[list(names)]
    end = mine["retired"].fillna(END).clip(upper=pd.Timestamp(last))
    days = (end - mine["in_service"].clip(lower=pd.Timestamp(first))).dt.days.clip(lower=0)
    return float(days.sum()) / 365.25


def test_the_tables_are_those_of_the_script(made) -> None:
    """Byte for byte."""
    for name, text in csv_texts(made).items():
        assert (DEMO / "fleet" / name).read_bytes() == text.encode(), name


def test_size_and_sorts(repairs, units, made) -> None:
    """About 250 units, three depots, some 20 parts, more than 10 000 rows, CSV under 2 MB."""
    assert len(units) == 250
    assert units["depot"].nunique() == 3
    assert 20 <= len(made.parts) <= 25
    assert 10_000 < len(repairs) < 12_000
    assert (DEMO / "fleet" / "repairs.csv").stat().st_size < 2_000_000
    assert {"failure", "planned", "inspection", "recall", "accident", "no fault found"} <= set(
        repairs["reason"]
    )
    systems = set(made.parts["system"])
    assert systems == {"cooling", "fuel", "air", "hydraulics", "drivetrain", "wheels", "brakes",
                       "suspension", "pumps"}  # fmt: skip


def test_the_kit_reads_it_and_sets_aside_what_was_planted(made) -> None:
    """Rows read = used + set aside; set aside are duplicates and dates, no more."""
    fleet = read_fleet(DEMO / "fleet")
    account = fleet.account("repairs")
    counts = made.truth.fault_counts()
    assert account.read == len(made.repairs)
    assert account.set_aside == (
        counts["duplicates"] + counts["late_dates"] + counts["impossible_dates"]
    )
    known = set(made.parts["part"])
    assert set(fleet.repairs["part"].astype(str)) == known
    assert not fleet.blocked


def test_fleet_yaml_agrees_with_the_plan(script) -> None:
    """Dates, units of measure, fixes and the other names of parts are those of the plan."""
    stated, plan = read_yaml(DEMO / "fleet" / "fleet.yaml"), script.PLAN
    assert (stated["name"], stated["meter_unit"]) == (plan.name, plan.meter_unit)
    assert stated["records_begin"] == plan.records_begin.isoformat()
    assert stated["cutoff"] == plan.cutoff.isoformat()
    words = {other: part for part, others in script.FAULTS.words.items() for other in others}
    assert dict(stated["tables"]["repairs"]["values"]["part"]) == words
    assert set(stated["fixes"]) == {fix.name for fix in plan.fixes}
    for fix in plan.fixes:
        told = stated["fixes"][fix.name]
        assert (told["part"], told["mode"]) == (fix.part, fix.mode)
        assert (told["kind"], told["chosen_by"]) == (fix.kind, fix.chosen_by)
        assert date.fromisoformat(told["registered"]) < fix.start


def test_the_readme_counts_the_faults_as_planted(made) -> None:
    """Each row of its table of faults says what the truth says."""
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    told = {name: int(count) for name, count in re.findall(r"^\| (\w+) \| (\d+) \|", text, re.M)}
    assert told == made.truth.fault_counts()


def test_story_a_the_fix_of_the_cause_worked(repairs, units, fixes) -> None:
    """Pump failures per unit-year fall to less than half on treated units, not on the others."""
    pump = failures(repairs, "hydraulic pump", "loses pressure")
    fixed = fixes[fixes["fix"] == "oil-resistant suction hose"].set_index("unit")
    assert len(fixed) == 43
    assert fixed["date"].between("2025-02-28", "2025-06-30").all()  # 16 to 20 months before the end
    mine = pump[pump["unit"].isin(fixed.index)]
    after = mine["date"] > mine["unit"].map(fixed["date"])
    spans = (("2023-10-01", "2025-04-07"), ("2025-06-01", END))
    before_rate, after_rate = (
        count / unit_years(units, fixed.index, *span)
        for count, span in zip(
            ((mine["date"].between(*spans[0]) & ~after).sum(), after.sum()), spans, strict=True
        )
    )
    assert after_rate < 0.4 * before_rate
    others = units.index[(units["hydraulics"] == "yes") & ~units.index.isin(fixed.index)]
    rates = [
        pump[pump["unit"].isin(others)]["date"].between(*span).sum()
        / unit_years(units, others, *span)
        for span in spans
    ]
    assert rates[1] > 0.7 * rates[0]
    read = fixed[["reading_before", "reading"]].dropna()
    assert len(read) > 35
    assert (read["reading_before"] > 0.22).all()
    assert (read["reading"] < 0.18).all()


def test_story_a_strainers_block_before_the_pump_fails(repairs, fixes) -> None:
    """Strainer rows within 90 days before a pump failure outnumber those within 90 days after."""
    pump = failures(repairs, "hydraulic pump", "loses pressure")
    pump = pump[pump["date"] < "2025-04-08"].reset_index()
    strainer = failures(repairs, "hydraulic suction strainer", "blocked")
    pairs = pump.merge(strainer[["unit", "date"]], on="unit", suffixes=("", "_strainer"))
    lag = (pairs["date"] - pairs["date_strainer"]).dt.days
    before = pairs[lag.between(1, 90)]["index"].nunique()
    after = pairs[lag.between(-90, -1)]["index"].nunique()
    assert before > 3 * after
    assert before > 25
    assert repairs["fault_code"].isin(["", "HY214"]).all()


def test_story_b_looks_halved_though_nothing_was_changed(repairs, units, fixes, clean) -> None:
    """The worst units improve by themselves; against the true hazard the ratio is 1."""
    leaks = failures(repairs, "coolant pump", "leaks")
    fixed = fixes[fixes["fix"] == "stronger coolant additive"].set_index("unit")["date"]
    mine = leaks[leaks["unit"].isin(fixed.index)]
    before = mine["date"].between("2023-10-07", "2024-10-06").sum()
    after = (mine["date"] > mine["unit"].map(fixed)).sum()
    ratio = (after / unit_years(units, fixed.index, "2024-11-01", END)) / (
        before / unit_years(units, fixed.index, "2023-10-07", "2024-10-06")
    )
    assert ratio < 0.7
    assert clean.truth.fixes.query('fix == "stronger coolant additive"')["ratio"].eq(1.0).all()
    by_model = leaks["unit"].map(units["model"]).value_counts()
    rate = {
        name: count / unit_years(units, units.index[units["model"] == name], BEGIN, END)
        for name, count in by_model.items()
    }
    assert rate["Orrund U12"] > 1.5 * rate["Quessel S8"]


def test_story_c_lies_two_months_before_the_cut_off(repairs, units, fixes) -> None:
    """All units of the model, at the end of August 2026; hardly a failure could have come."""
    fixed = fixes[fixes["fix"] == "wider compressor intake line"].set_index("unit")["date"]
    assert (END - fixed.max()).days < 70
    there = units[(units["model"] == "Ulvarn T30") & units["retired"].isna()]
    assert set(fixed.index) == set(there.index)
    coked = failures(repairs, "air compressor", "carbon in outlet")
    assert (coked["date"] > coked["unit"].map(fixed)).sum() <= 3


def test_story_d_one_lot_fails(clean) -> None:
    """Failures per kilometre of lot AS-04 are at least four times those of the other lots."""
    lives = clean.truth.lives.query('part == "air spring" and lot != ""')
    rate = lives.groupby(lives["lot"] == "AS-04")[["failed", "end_age"]].sum()
    per_km = rate["failed"] / rate["end_age"]
    assert per_km[True] > 4 * per_km[False]
    assert rate["failed"][True] >= 25


def test_story_e_bearings_fitted_at_one_depot_fail_early(repairs, units) -> None:
    """Of bearings replaced, the share replaced again within a year is ten times as high there."""
    rows = repairs[(repairs["part"] == "wheel bearing") & (repairs["action"] == "replaced")]
    rows = rows[rows["position"] != ""].drop_duplicates(["unit", "position", "date"])
    rows = rows.sort_values("date").assign(depot=rows["unit"].map(units["depot"]))
    gap = (rows.groupby(["unit", "position"])["date"].shift(-1) - rows["date"]).dt.days
    again = (gap <= 365).groupby(rows["depot"]).mean()
    assert again["Hill Road"] > 10 * again.drop("Hill Road").max()
    hot = failures(repairs, "wheel bearing", "runs hot")
    assert set(hot["unit"].map(units["depot"])) == {"Hill Road"}


def test_stories_f_and_g_wear_and_chance(clean) -> None:
    """lifelines on the true lives: the clutch wears out, the hydraulic hose fails at random."""
    lives = clean.truth.lives

    def shape_limits(part: str) -> tuple[float, float]:
        mine = lives[lives["part"] == part]
        fit = WeibullFitter().fit(mine["end_age"], mine["failed"], entry=mine["begin_age"])
        return tuple(fit.summary.loc["rho_", ["coef lower 95%", "coef upper 95%"]])

    assert shape_limits("clutch")[0] > 3
    low, high = shape_limits("hydraulic hose")
    assert low < 1.0 < high
    costs = clean.parts.set_index("part").loc["clutch"]
    assert costs["failure_cost"] > 3 * costs["planned_cost"]


def test_the_readme_tells_the_counts_of_the_clean_tables(clean) -> None:
    """Counts in the scenarios are computed again from the rows, with all modes stated or not."""
    said = " ".join((DEMO / "README.md").read_text(encoding="utf-8").split())
    units, rows, lives = clean.units.set_index("unit"), clean.repairs, clean.truth.lives
    pump = failures(rows, "hydraulic pump", "loses pressure")
    carriers = clean.truth.causes["unit"]
    fixed = clean.fixes.query('fix == "oil-resistant suction hose"').set_index("unit")["date"]
    others = units.index[(units["hydraulics"] == "yes") & ~units.index.isin(carriers)]
    span = ("2023-10-01", "2025-04-06")
    for names, verb in ((carriers, "failures in"), (others, "in")):
        count = (pump["unit"].isin(names) & pump["date"].between(*span)).sum()
        assert f": {count} {verb} {unit_years(units, names, *span):.0f}" in said
    after = (pump["date"] > pump["unit"].map(fixed)).sum()
    assert (
        f"after the fix: {after} in {unit_years(units, fixed.index, '2025-06-03', END):.0f}" in said
    )
    lot = lives.query('part == "air spring" and lot == "AS-04"')
    assert f"{len(lot)} springs of the lot are on record, {lot['failed'].sum()} have failed" in said
    later = lives.query('part == "wheel bearing" and fitting > 0 and fitted_on >= @BEGIN')
    there = later["unit"].map(units["depot"]) == "Hill Road"
    early = later["failed"] & ((later["ended_on"] - later["fitted_on"]).dt.days <= 365)
    assert f"Of {there.sum()} bearings fitted at Hill Road" in said
    assert f"{early[there].sum()} failed within a year, of {(~there).sum()}" in said
    assert f"at the other depots {early[~there].sum()}." in said


def test_nothing_from_fields_the_demo_keeps_away_from() -> None:
    """No closures, cabin controls or body electrics, in no text of the demo."""
    away = re.compile(
        r"\b(doors?|windows?|locks?|latch(es)?|hatch(es)?|seats?|switch(es)?|mirrors?|wipers?|"
        r"horns?|headlights?|lamps?|dashboards?|handles?|hinges?)\b",
        re.I,
    )
    texts = [*DEMO.glob("*.*"), *(DEMO / "fleet").glob("**/*.*")]
    for path in (one for one in texts if one.suffix != ".png"):
        found = away.search(path.read_text(encoding="utf-8"))
        assert found is None, f"{path.name}: {found.group()}"


def test_it_says_that_it_is_invented() -> None:
    """README, fleet.yaml and the fleet's own name mark it so."""
    for name in ("README.md", "fleet/fleet.yaml"):
        assert "invented" in (DEMO / name).read_text(encoding="utf-8")
    assert "(invented)" in read_fleet(DEMO / "fleet").name
