"""The demo's planted stories come out as planted, for seeds that nothing was tuned to."""

import importlib.util
from pathlib import Path

import pytest

from rca.causes.findings import find
from rca.causes.fix.words import Effect
from rca.records.fleet import read_fleet
from rca.records.simulate import csv_texts, simulate, with_faults

DEMO = Path(__file__).parent.parent / "data_demo"
SEEDS = (101, 202, 303)


def _script():
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module", params=SEEDS)
def story(request, tmp_path_factory):
    """Findings on a fleet of the demo's plan and record faults, made anew with another seed."""
    script = _script()
    fleet = with_faults(
        simulate(script.PLAN, seed=request.param), script.FAULTS, seed=request.param
    )  # fmt: skip
    folder = tmp_path_factory.mktemp("story")
    (folder / "fleet.yaml").write_text((DEMO / "fleet" / "fleet.yaml").read_text(encoding="utf-8"))
    for name, text in csv_texts(fleet).items():
        (folder / name).write_text(text, encoding="utf-8")
    return script, fleet, find(read_fleet(folder), month="2026-10")


def test_every_row_is_used_or_set_aside(story):
    _, fleet, found = story
    for account in found.fleet.accounts:
        assert account.read == len(fleet.tables[account.table])
        rows = found.fleet.set_aside
        rows = rows[rows["scope"].eq("row") & rows["table"].eq(account.table)]
        assert account.read == account.used + len(rows)


def test_the_honest_wear_out_part_wears_and_its_planned_shape_is_covered(story):
    """Planned: shape 4, scale 185 000 km, and a little spread between units and duties."""
    found = story[2].part("clutch")
    shape = found.limits("shape")
    assert shape.lower > 1
    assert shape.lower < 4.4
    assert shape.upper > 3.3


def test_the_random_part_is_random(story):
    """Planned: shape 1, scale 62 000 km."""
    found = story[2].part("hydraulic hose")
    shape = found.limits("shape")
    assert 0.8 < shape.lower < shape.upper < 1.25
    assert shape.lower < 1.05
    assert shape.upper > 0.95


def test_workmanship_brings_an_early_mode_beside_the_wearing_one(story):
    bearing = story[2].part("wheel bearing", "runs hot")
    assert bearing.limits("shape").upper < 1
    assert story[2].part("wheel bearing", "worn").limits("shape").lower > 1


def test_safety_critical_parts_stand_first(story):
    flags = [one.safety_critical for one in story[2].whole_parts]
    assert flags == sorted(flags, reverse=True)


def test_fixes_are_judged_as_planted(story):
    script, _, found = story
    verdicts = {one.plan.fix: one for one in found.fixes}
    assert verdicts[script.HOSE_FIX].effect in (Effect.SHOWN, Effect.TOO_EARLY)
    hose = verdicts[script.HOSE_FIX].ratio_interval
    assert hose.lower < 0.3, "the planned ratio is 0.15"
    assert hose.upper < 1
    assert verdicts[script.COOLANT_FIX].effect not in (Effect.SHOWN, Effect.BELOW_TARGET)
    assert verdicts[script.COOLANT_FIX].ratio_interval.upper > 0.8
    assert verdicts[script.INTAKE_FIX].effect in (Effect.TOO_EARLY, Effect.CANNOT_JUDGE)


def test_meters_that_were_replaced_run_on(story):
    """Each planted replacement is seen, or its unit had too few readings after it."""
    _, fleet, found = story
    planted = fleet.truth.faults
    units = set(planted.loc[planted["fault"].str.contains("replaced"), "unit"])
    seen = found.lives.meters.replaced
    assert len(units & seen) >= len(units) - 1
    assert len(seen - units) <= 1
