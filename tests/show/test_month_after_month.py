"""Month after month over the demo's history: verdicts move as planted, each change is explained.

Four parts of the demo and some of its months; all months: tests/benchmarks/months_of_demo.py.
"""

import itertools
import shutil

import pandas as pd
import pytest

from rca.causes.findings import open_findings
from rca.causes.since_last.changes import FIGURES, ranking
from rca.causes.since_last.row_changes import compare_rows, known_rows
from rca.causes.summary.whole import summary as make_summary

PARTS = ("hydraulic pump", "coolant pump", "air compressor", "wheel bearing")
MONTHS = ("2025-04", "2025-08", "2026-03", "2026-08", "2026-10")


@pytest.fixture(scope="module")
def history(demo_folder, tmp_path_factory):
    """Summaries of the months in turn, each compared with the one before."""
    folder = tmp_path_factory.mktemp("history") / "fleet"
    shutil.copytree(demo_folder, folder, ignore=shutil.ignore_patterns("investigations"))
    for name in ("repairs", "parts"):
        table = pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        words = "|".join([*PARTS, "water pump", "hyd pump", "hub bearing", "wheel brg"])
        kept = table["part"].str.replace(r"\s+", " ", regex=True).str.contains(words, case=False)
        table[kept].to_csv(folder / f"{name}.csv", index=False)
    told, last, then = [], None, None
    for month in MONTHS:
        found = open_findings(folder, month=month)
        now = known_rows(found.fleet, found.events)
        rows = None if last is None else compare_rows(then, now, cutoff=last["cutoff"])
        last, then = make_summary(found, last=last, rows=rows), now
        told.append(last)
    return told


def effects(history, fix):
    found = ({one["fix"]: one for one in run["fixes"]}.get(fix) for run in history)
    return [None if one is None else one["effect"] for one in found]


def test_the_hose_is_shown_to_work_within_the_year_and_stays_so(history):
    """Planned: true ratio 0.15 from April 2025 on."""
    told = effects(history, "oil-resistant suction hose")
    assert told[0] == "too early"
    assert told[-1] == "effect shown"
    first = told.index("effect shown")
    assert set(told[first:]) == {"effect shown"}


def test_the_additive_is_never_shown_to_work(history):
    """Planned: true ratio 1, though raw counts halve."""
    told = effects(history, "stronger coolant additive")
    assert "effect shown" not in told
    assert told[-1] == "not effective"


def test_the_intake_line_is_too_early(history):
    assert effects(history, "wider compressor intake line") == [None, None, None, "too early",
                                                                "too early"]  # fmt: skip


def test_each_changed_verdict_is_explained_by_its_own_rows(history):
    changed = 0
    for last, now in itertools.pairwise(history):
        before = {one["fix"]: one for one in last["fixes"]}
        for fix in now["fixes"]:
            old = before.get(fix["fix"])
            if old is None or old["effect"] == fix["effect"]:
                continue
            changed += 1
            why = fix["why_changed"]
            assert f"expected {old['expected']:.3g} to {fix['expected']:.3g}" in why
            if old["observed"] != fix["observed"]:
                assert f"failures seen {old['observed']} to {fix['observed']} (" in why
            entry = next(one for one in now["changes"] if one["about"] == fix["fix"])
            assert entry["rows"]
    assert changed >= 2


def test_every_figure_of_every_part_is_accounted_for_row_by_row(history):
    for last, now in itertools.pairwise(history):
        moved = {(one["part"], one["figure"]): one for one in now["moves"]}
        after = {one["part"]: one for one in now["parts"] if one["mode"] is None}
        for old in (one for one in last["parts"] if one["mode"] is None):
            new = after[old["part"]]
            for figure in FIGURES:
                then, today = (
                    one["failures_recorded"] if figure == "failures" else one[figure]["value"]
                    for one in (old, new)
                )
                if then == today:
                    continue
                move = moved[old["part"], figure]
                assert (move["last_run"], move["now"]) == pytest.approx((then, today))
                assert move["recounted"] == 0
                steps = ("new", "late", "corrected", "withdrawn")
                assert then + sum(move[step] for step in steps) == pytest.approx(today, rel=1e-5)
        assert now["restated"] == [], "the demo's records are never corrected afterwards"


def test_every_changed_rank_and_pattern_is_told(history):
    for last, now in itertools.pairwise(history):
        told = {(one["kind"], one["about"]) for one in now["changes"]}
        then, today = ranking(last), ranking(now)
        moved = {("rank", part) for part in today if then.get(part) != today[part]}
        readings = [
            {one["part"]: one["pattern"]["reading"] for one in run["parts"] if one["pattern"]}
            for run in (last, now)
        ]
        moved |= {("pattern", p) for p in readings[0] if readings[0][p] != readings[1].get(p)}
        assert moved <= told


def test_only_what_is_new_since_the_last_month_needs_a_person(history):
    for last, now in itertools.pairwise(history):
        known = {one["key"] for one in last["safety_repeats"]}
        for one in now["attention"]:
            kind, key = one["key"].split("|", 1)
            assert kind in ("fix", "repeat", "blocked", "cause")
            if kind == "repeat":
                assert key not in known
