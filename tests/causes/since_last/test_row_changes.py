"""Rows of two runs compared, and the figures that they move."""

import pandas as pd
import pytest

from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.since_last.changes import changes, moves, newly_blocked, restated
from rca.causes.since_last.row_changes import compare_rows, counted, known_rows
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from tests.little_fleet import change, little_fleet, read


def rows_of(folder):
    fleet = read_fleet(folder)
    lives = build_lives(fleet)
    return known_rows(fleet, repeat_events(fleet, lives.meters, failures_of(fleet)))


@pytest.fixture
def then_and_now(tmp_path):
    """Six rows differ: one new, one late, two corrected, one moved to another day, one gone."""
    folder = little_fleet(tmp_path)
    rows = read(folder / "repairs.csv")
    then = rows_of(folder)
    gone = rows.pop(20)
    new = {**rows[-1], "date": "2026-04-02", "order": "N1", "reason": "failure"}
    late = {**rows[-1], "date": "2026-01-15", "order": "L1", "cost": "55", "reason": "failure"}
    rows[3] = {**rows[3], "cost": "999"}
    rows[4] = {**rows[4], "reason": "planned" if rows[4]["reason"] == "failure" else "failure"}
    rows[30] = {**rows[30], "date": "2024-12-24"}
    change(folder / "repairs.csv", [*rows, new, late])
    return then, rows_of(folder), gone


def test_each_changed_row_is_told_by_what_became_of_it(then_and_now):
    then, now, gone = then_and_now
    found = compare_rows(then, now, cutoff="2026-03-31").rows
    assert found["how"].value_counts().to_dict() == {
        "corrected": 3, "new": 1, "late": 1, "withdrawn": 1,
    }  # fmt: skip
    assert found.loc[found["how"].eq("withdrawn"), "order"].item() == gone["order"]
    what = " | ".join(found.loc[found["how"].eq("corrected"), "what"])
    assert "cost was" in what
    assert "reason was" in what
    assert "date was" in what
    assert counted(found) == "1 new row, 1 late, 3 corrected, 1 withdrawn"


def test_the_rows_add_up_to_the_change_of_every_sum(then_and_now):
    then, now, _ = then_and_now
    found = compare_rows(then, now, cutoff="2026-03-31").rows
    for column in ("cost", "downtime_hours", "failure"):
        before, after = (rows[column].fillna(0).astype(float).sum() for rows in (then, now))
        assert after - before == pytest.approx(found[column].sum())


def test_equal_rows_differ_in_nothing_and_doubles_are_counted():
    row = pd.DataFrame(
        {
            "table": ["repairs"] * 3, "unit": "U", "date": "2025-01-01", "part": "p",
            "position": "", "action": "replaced", "reason": "failure", "mode": "",
            "cause_addressed": "", "cost": 1.0, "downtime_hours": 1.0, "meter": float("nan"),
            "lot": "", "order": "", "closed": "", "reading": float("nan"), "line": [2, 3, 4],
            "failure": True, "came_back": False,
        }
    )  # fmt: skip
    assert compare_rows(row, row, cutoff="2025-01-31").rows.empty
    assert len(compare_rows(row, row.iloc[:2], cutoff="2025-01-31").rows) == 1
    assert str(compare_rows(row, row, cutoff="2025-01-31")) == "no row changed"


def part(name, *, failures=3, cost=100.0, shape=1.0, reading="random", mode=None):
    value = {"value": cost, "lower": cost, "upper": cost}
    return {
        "part": name, "mode": mode, "failures_recorded": failures, "failures": failures, "lives": 9,
        "cost": value, "downtime_hours": value, "shape": {"value": shape},
        "pattern": {"reading": reading},
    }  # fmt: skip


def run(*parts, month="2026-02", blocked=(), causes=(), fixes=()):
    return {
        "month": month, "parts": list(parts), "blocked": list(blocked), "causes": list(causes),
        "investigations": [], "fixes": list(fixes), "kit": "1",
    }  # fmt: skip


def test_ranks_patterns_and_causes_that_changed_are_told(then_and_now):
    then, now, _ = then_and_now
    rows = compare_rows(then, now, cutoff="2026-03-31")
    cause = {"investigation": "i", "cause": "c", "says": "oil is old", "why_not": None}
    last = run(part("a"), part("b"), causes=[{**cause, "supported": True}])
    today = run(
        part("b", cost=300.0), part("a", reading="wear-out"),
        causes=[{**cause, "supported": False, "why_not": "contradicted"}],
    )  # fmt: skip
    said = {(one["kind"], one["about"]): one for one in changes(today, last, rows)}
    assert said["rank", "b"]["was"] == "place 2"
    assert said["rank", "b"]["now"] == "place 1"
    assert "cost 100 to 300" in said["rank", "b"]["why"]
    assert said["pattern", "a"]["now"] == "wear-out"
    assert said["cause", "oil is old"]["why"] == "contradicted"
    assert changes(today, today, rows) == []
    assert changes(today, None, rows) == []


def test_another_version_of_the_kit_is_told():
    last = run(part("a"))
    assert changes({**last, "kit": "2"}, last, None)[0]["about"] == "version of the kit"


def test_a_result_is_newly_blocked_only_where_it_was_answered():
    life = {"result": "life of a", "reason": "r"}
    with_curve, without = run(part("a")), run(part("a", shape=None))
    today = run(part("a"), blocked=[life, {"result": "money", "reason": "r"}])
    assert [one["result"] for one in newly_blocked(today, with_curve)] == ["life of a", "money"]
    assert [one["result"] for one in newly_blocked(today, without)] == ["money"]


def test_late_and_withdrawn_rows_restate_the_last_figures(tmp_path):
    """Last month said n, now n + 1: by one late failure; the new month's rows restate nothing."""
    folder = little_fleet(tmp_path)
    then = rows_of(folder)
    rows = read(folder / "repairs.csv")
    late = {**rows[-1], "part": "feed pump", "date": "2026-01-15", "order": "L1", "cost": "55"}
    new = {**late, "date": "2026-04-02", "order": "N1"}
    change(folder / "repairs.csv", [*rows, {**late, "reason": "failure"},
                                    {**new, "reason": "failure"}])  # fmt: skip
    changed = compare_rows(then, rows_of(folder), cutoff="2026-03-31")
    last = run(part("feed pump", failures=10, cost=1000.0), month="2026-03")
    today = run(part("feed pump", failures=12, cost=1110.0), month="2026-04")
    moved = {one["figure"]: one for one in moves(today, last, changed)}
    assert (moved["failures"]["new"], moved["failures"]["late"]) == (1, 1)
    assert (moved["cost"]["new"], moved["cost"]["late"], moved["cost"]["recounted"]) == (55, 55, 0)
    told = restated([moved["failures"], moved["cost"]], last, changed)
    assert {one["figure"]: (one["last_run"], one["now"]) for one in told} == {
        "failures of feed pump to 2026-03": (10, 11),
        "cost of feed pump to 2026-03": (1000, 1055),
    }
    assert "1 late row" in told[0]["why"]
    assert "order L1" in told[0]["why"]


def test_rows_survive_being_kept_for_the_next_run(then_and_now, tmp_path):
    from rca.records import files

    then, _, _ = then_and_now
    files.write_frame(tmp_path / "rows.parquet", then)
    again = files.read_frame(tmp_path / "rows.parquet")
    assert compare_rows(again, then, cutoff="2026-03-31").rows.empty


def test_open_orders_that_close_are_new_failures_by_a_corrected_row(tmp_path):
    folder = little_fleet(tmp_path)
    rows = [{**row, "closed": row["date"]} for row in read(folder / "repairs.csv")]
    rows[-1] = {**rows[-1], "closed": "", "reason": "failure"}
    change(folder / "repairs.csv", rows)
    then = rows_of(folder)
    rows[-1] = {**rows[-1], "closed": "2026-03-31"}
    change(folder / "repairs.csv", rows)
    found = compare_rows(then, rows_of(folder), cutoff="2026-03-31").rows
    assert found["how"].tolist() == ["corrected"]
    assert found["failure"].tolist() == [1.0]
