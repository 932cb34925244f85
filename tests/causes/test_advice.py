"""The five lines and the next steps, word by word where a wrong word would cost."""

from types import SimpleNamespace

import pandas as pd
import pytest

from rca.causes.advice import five_lines, next_steps, rising_parts
from rca.causes.backlog import Backlog
from rca.causes.findings import open_findings
from rca.causes.fix.verdict import FixPlan, Verdict
from rca.causes.fix.words import CauseAnswer, Effect
from rca.life.trend import Trend
from tests.little_fleet import change, little_fleet, read


def trend(p, *, rising=True):
    z = 3.0 if rising else -3.0
    return Trend(z, p, 5.0, 10, p, float("nan"), float("nan"), 20, 8)


def part(name, p, **more):
    return SimpleNamespace(part=name, trend=None if p is None else trend(p, **more), repeat=None)


def test_false_alarms_over_many_parts_are_kept_down():
    """Benjamini & Hochberg (1995): alone p = 2 x 0.02 is said, among 24 others it is not."""
    assert rising_parts([part("a", 0.02)]) == ["a"]
    others = [part(str(n), 0.4) for n in range(24)]
    assert rising_parts([part("a", 0.02), *others]) == []
    assert rising_parts([part("a", 0.0001), *others]) == ["a"]
    assert rising_parts([part("a", 0.0001, rising=False), part("b", None)]) == []
    assert rising_parts([]) == []


def verdict(effect, answer=CauseAnswer.NOT_CHECKED, why="", **more):
    check = SimpleNamespace(answer=answer, why=why)
    return Verdict(FixPlan("new hose", "pump"), effect, check, units=3, baseline_failures=9, **more)


def steps_for(fix, **more):
    base = {
        "fixes": (fix,), "safety_repeats": (), "whole_parts": (), "units": (), "screen": None,
        "worth": {}, "extents": (), "backlog": Backlog((), 0),
        "fleet": SimpleNamespace(
            blocked=(), investigations={},
            account=lambda table: SimpleNamespace(read=10, used=10, set_aside=0),
        ),
        "set_aside": pd.DataFrame({"table": [], "scope": [], "rule": []}),
    }  # fmt: skip
    return next_steps(SimpleNamespace(**{**base, **more}))


@pytest.mark.parametrize(
    ("fix", "said"),
    [
        (verdict(Effect.NOT_EFFECTIVE, CauseAnswer.REMOVED), "look for another cause"),
        (verdict(Effect.NOT_EFFECTIVE), "read the upstream cause"),
        (verdict(Effect.RELAPSED, CauseAnswer.REMOVED), "find out what changed"),
        (verdict(Effect.SHOWN), "read the upstream cause, to know it is gone"),
        (verdict(Effect.SHOWN, CauseAnswer.STILL_PRESENT, "3 of 9 outside"), "3 of 9 outside"),
        (verdict(Effect.TOO_EARLY, likely_month=pd.Timestamp("2027-02-28")), "about 2027-02"),
        (verdict(Effect.TOO_EARLY, earliest_month=pd.Timestamp("2027-01-31")), "before 2027-01"),
        (verdict(Effect.TOO_EARLY), "treat more units"),
        (verdict(Effect.CANNOT_JUDGE, reasons=("no survivors",)), "no survivors"),
    ],
)
def test_each_verdict_has_its_own_next_step(fix, said):
    (step,) = steps_for(fix)
    assert said in step
    assert step.startswith("new hose (pump)")


def test_a_verified_fix_asks_for_nothing():
    assert steps_for(verdict(Effect.SHOWN, CauseAnswer.REMOVED)) == []


@pytest.fixture(scope="module")
def little(tmp_path_factory):
    """Findings of February on a fleet with rows of March and three faulty ones."""
    folder = little_fleet(tmp_path_factory.mktemp("advice"))
    rows = read(folder / "repairs.csv")
    for place in (3, 4, 5):
        rows[place]["date"] = "2025-02-30"
    change(folder / "repairs.csv", rows)
    return open_findings(folder, month="2026-02"), rows


def test_the_data_line_tells_faulty_rows_from_rows_of_later_months(little):
    found, rows = little
    later = sum(row["date"] > "2026-02-28" for row in rows)
    assert later > 0
    said = five_lines(found)["data"]
    assert f"{len(rows) - later - 3} of {len(rows) - later} repair rows used, 3 set aside" in said
    assert f"{later} rows of later days not counted yet" in said


def test_safety_critical_repeats_come_first_and_name_the_units(little):
    found, _ = little
    first = next_steps(found)[0]
    assert first.startswith("hub bearing (safety-critical) failed again soon after repair")
    assert "U01" in first
    assert "by the maker's procedure" in first
    assert "hub bearing" in five_lines(found)["decision"]


def test_replacing_before_it_fails_is_a_step_where_it_saves_a_tenth():
    def worth(name, saving, *, pays=True):
        age = SimpleNamespace(age=108_123.0, saving=saving)
        return SimpleNamespace(
            part=name, unit_of_running="km", replacement=age, early_replacement_pays=pays
        )

    fix = verdict(Effect.SHOWN, CauseAnswer.REMOVED)
    parts = {"belt": worth("belt", 0.2), "clutch": worth("clutch", 0.48), "filter": worth("f", 0.6)}
    parts["filter"] = worth("filter", 0.6, pays=False)
    critical = SimpleNamespace(safety_critical=True)
    steps = steps_for(fix, worth=parts, part=lambda name: critical)
    assert steps == [
        "plan to replace clutch at about 110,000 km, before it fails: saves 48 % of what failures "
        "cost, where the maker names no earlier one"
    ]
    assert steps_for(fix, worth={"belt": worth("belt", 0.05)}) == []


def test_a_finding_says_which_units_first_and_how_many_bound_it():
    def extent(**more):
        given = {
            "part": "hose", "candidate": "pump", "kind": "event", "first": ("A", "B", "C"),
            "population": 108, "samples": ((0.1, 25), (0.05, 42)),
        }  # fmt: skip
        return SimpleNamespace(**{**given, **more})

    fix = verdict(Effect.SHOWN, CauseAnswer.REMOVED)
    lot = extent(candidate="lot = L1", kind="attribute", first=(), population=8,
                 samples=((0.1, 8), (0.05, 8)))  # fmt: skip
    assert steps_for(fix, extents=(extent(), lot)) == [
        "how far it reaches, hose and pump: look first at A, B and 1 more; then inspect 25 of 108 "
        "other units, drawn at random: if none is affected, at most 10 % are",
        "how far it reaches, hose and lot L1: inspect all 8 such units",
    ]
