"""The failure-mode table: counts by hand, grades, detection, matrix, before and after."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from scipy.stats import beta, chi2

from rca.causes.case.parsing import parse_investigation
from rca.causes.failure_modes.grade_product import missed_grade, product_of_grades
from rca.causes.failure_modes.mode_counts import detection, occurrence
from rca.causes.failure_modes.modes import ModeTable, mode_table
from rca.causes.failure_modes.scales import (
    BUS_TESTING,
    EFFECT_CATEGORIES,
    STEPS_OF_THREE,
    occurrence_scale,
    severity_scale,
)
from rca.errors import NoAnswer, RcaError, Refused
from rca.records.fleet import Fleet
from tests.cases import case_of, causes, yaml_mapping
from tests.small_fleet import small_fleet

UNITS = "unit, in_service, kind\n" + "\n".join(
    f"U{n}, 2023-12-01, {'tank' if n < 4 else 'flat'}" for n in range(10)
)
REPAIRS = """
unit, date, part, position, action, reason, mode
U0, 2024-02-01, pump, , replaced, failure, leaks
U0, 2024-02-01, pump, , replaced, failure, leaks
U1, 2024-03-01, pump, , replaced, failure, leaks
U2, 2024-09-01, pump, , replaced, failure, LEAKS
U3, 2024-04-01, pump, , replaced, failure, noisy
U3, 2024-05-01, pump, , replaced, failure,
U2, 2024-06-01, pump, , adjusted, inspection, leaks
U2, 2024-06-02, pump, , inspected, inspection,
U5, 2024-07-01, tyre, left, replaced, failure, burst
U5, 2024-07-01, tyre, right, replaced, failure, burst
U6, 2024-08-01, tyre, left, replaced, planned,
"""
PARTS = "part, positions, fitted_to\npump, , kind = 'tank'\ntyre, left;right, all\n"


@pytest.fixture
def fleet(tmp_path: Path) -> Fleet:
    return small_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS, parts=PARTS)


def case_about(**more: Any):
    return case_of(
        problem={"because": "a", "severity": "road call", "effect": "stops",
                 "not_caught_because": "b"},
        causes=causes(a="", b=""), part="pump", mode="leaks", **more,
    )  # fmt: skip


def row(table: ModeTable, part: str, mode: str):
    return next(one for one in table.rows if (one.part, one.mode) == (part, mode))


def test_counts_and_exposure_by_hand(fleet: Fleet) -> None:
    """Three leaks on the four tankers (the doubled row is one), 4 x 366 days of exposure."""
    found = row(mode_table(fleet), "pump", "leaks").occurrence
    assert found.events == 3
    assert found.unit_years == pytest.approx(4 * 366 / 365.25)
    assert found.interval.lower == pytest.approx(chi2.ppf(0.025, 6) / 2 / found.unit_years)
    assert found.interval.upper == pytest.approx(chi2.ppf(0.975, 8) / 2 / found.unit_years)


def test_modes_not_stated_have_a_line_of_their_own(fleet: Fleet) -> None:
    """A blank mode is a class, not lost and not spread over the others."""
    table = mode_table(fleet)
    assert row(table, "pump", "not stated").occurrence.events == 1
    assert {(one.part, one.mode) for one in table.rows} == {
        ("pump", "leaks"), ("pump", "noisy"), ("pump", "not stated"), ("tyre", "burst")
    }  # fmt: skip


def test_two_positions_on_one_day_are_two_failures(fleet: Fleet) -> None:
    """Left and right tyre burst: two; units that carry the part: all ten."""
    found = row(mode_table(fleet), "tyre", "burst").occurrence
    assert (found.events, found.unit_years) == (2, pytest.approx(10 * 366 / 365.25))


def test_detection_counts_what_an_inspection_led_to_mend(fleet: Fleet) -> None:
    """One leak caught and adjusted, three that took effect; a mere look counts for nothing."""
    found = row(mode_table(fleet), "pump", "leaks").detection
    assert (found.caught, found.reached, found.share) == (1, 3, 0.25)
    assert found.interval.lower == pytest.approx(beta.ppf(0.025, 1, 4))
    assert found.interval.upper == pytest.approx(beta.ppf(0.975, 2, 3))


def test_unknown_detection_is_said() -> None:
    """Nothing seen: no share, not 0."""
    found = detection(0, 0)
    assert found.share is None
    assert "unknown" in str(found)


def test_grade_range_of_two_events_in_200_unit_years() -> None:
    """1 % a year with 90 % limits 0.18 to 3.1 % spans about three steps of three (computed)."""
    found = occurrence(2, 200, STEPS_OF_THREE, confidence=0.90)
    assert found.interval.lower == pytest.approx(0.0018, abs=5e-5)
    assert found.interval.upper == pytest.approx(0.0315, abs=5e-4)
    assert (found.grade_low, found.grade, found.grade_high) == (2, 4, 5)


def test_zero_events_take_the_grade_of_the_upper_limit() -> None:
    """Nothing in 100 unit-years: below -ln(0.025) / 100 = 0.037, grade 5, marked."""
    found = occurrence(0, 100, STEPS_OF_THREE)
    assert found.rate == 0
    assert found.interval.upper == pytest.approx(0.036889, rel=1e-4)
    assert found.grade == found.grade_high == 5
    assert found.from_upper_limit
    assert "no event" in str(found)


def test_grades_are_steps_of_three_by_formula() -> None:
    """Grade g begins at 0.001 * 3^(g - 2); a rate on a bound has the higher grade."""
    for grade in range(2, 11):
        bound = 0.001 * 3 ** (grade - 2)
        assert STEPS_OF_THREE.grade(bound) == grade
        assert STEPS_OF_THREE.grade(bound * 0.999) == grade - 1
    assert STEPS_OF_THREE.words(1) == "below 0.001 failures per unit-year"
    assert STEPS_OF_THREE.words(10) == "6.6 failures per unit-year or more"


def test_investigation_fills_effect_severity_causes_and_actions(fleet: Fleet) -> None:
    """Ends become causes, the escape the present checks, fixes the actions."""
    fix = {"f": {"does": "Fit a shield", "kind": "corrective", "cause": "a", "done": "2024-06-30"}}
    found = row(mode_table(fleet, [case_about(fixes=fix)]), "pump", "leaks")
    assert (found.effect, found.severity) == ("stops", "road call")
    assert found.causes == ("Cause a",)
    assert found.controls == ("Cause b",)
    assert found.actions == ("corrective: Fit a shield",)
    (change,) = found.changes
    assert (change.before.events, change.after.events) == (2, 1)
    assert change.before.unit_years + change.after.unit_years == pytest.approx(4 * 366 / 365.25)


def test_before_and_after_follow_each_units_own_day(tmp_path: Path) -> None:
    """Fitted on U0 only, on the day of its failure, which lies before it."""
    fleet = small_fleet(
        tmp_path / "fleet", units=UNITS, repairs=REPAIRS, parts=PARTS,
        fixes="fix, unit, date\nf, U0, 2024-02-01\n",
    )  # fmt: skip
    fix = {"f": {"does": "d", "kind": "corrective", "cause": "a"}}
    (change,) = row(mode_table(fleet, [case_about(fixes=fix)]), "pump", "leaks").changes
    assert (change.before.events, change.after.events) == (1, 0)
    assert change.before.unit_years == pytest.approx(32 / 365.25)
    assert change.after.unit_years == pytest.approx(334 / 365.25)


def test_mode_that_was_only_investigated_has_a_line(fleet: Fleet) -> None:
    """No event yet: the line stands, with its upper limit."""
    case = case_of(problem={"because": "a"}, causes=causes(a=""), part="tyre", mode="worn flat")
    found = row(mode_table(fleet, [case]), "tyre", "worn flat")
    assert found.occurrence.from_upper_limit


def test_rows_come_by_severity_then_rate(fleet: Fleet) -> None:
    """What has a severity comes before what has none; then the more frequent."""
    table = mode_table(fleet, [case_about()])
    assert (table.rows[0].part, table.rows[0].mode) == ("pump", "leaks")
    rates = [one.occurrence.rate for one in table.rows[1:]]
    assert rates == sorted(rates, reverse=True)


def test_matrix_names_each_mode_once(fleet: Fleet) -> None:
    """Severity down, occurrence across, each mode in exactly one cell, and no cell is a rank."""
    table = mode_table(fleet, [case_about()])
    matrix = table.matrix()
    cells = [name for name in matrix.to_numpy().ravel() if name]
    named = [name for cell in cells for name in cell.split("; ")]
    assert sorted(named) == sorted(f"{one.part}: {one.mode}" for one in table.rows)
    assert list(matrix.index) == [*BUS_TESTING.grades, "not stated"]
    grade = row(table, "pump", "leaks").occurrence.grade
    assert matrix.loc["road call", grade] == "pump: leaks"


def test_frame_leaves_the_unknown_blank(fleet: Fleet) -> None:
    """One line a mode; what is not known is blank, never 0."""
    frame = mode_table(fleet).to_frame()
    assert len(frame) == 4
    assert frame["ratio_after_to_before"].isna().all()
    assert frame["severity"].eq("not stated").all()


def test_foreign_severity_is_refused_with_its_line(fleet: Fleet) -> None:
    """A grade that the scale in use does not have is told, with those that it has."""
    case = parse_investigation(
        yaml_mapping("investigation: x\nproblem:\n  statement: s\n  severity: roadcall\n"),
        file="x.yaml",
    )  # fmt: skip
    with pytest.raises(Refused) as caught:
        mode_table(fleet, [case])
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("x.yaml", 2)
    assert "road call" in problem.next_step
    mode_table(fleet, [case], severity_scale=severity_scale(
        {"name": "n", "source": "s", "grades": {"roadcall": "towed", "other": "not"}}))  # fmt: skip


def test_no_failure_marked_no_table(tmp_path: Path) -> None:
    """Zero everywhere would be a lie where reasons are not recorded."""
    repairs = "unit, date, part, action, reason\nU1, 2024-05-01, pump, replaced, planned\n"
    fleet = small_fleet(tmp_path / "f", units=UNITS, repairs=repairs)
    with pytest.raises(NoAnswer, match="marked as a failure"):
        mode_table(fleet)


def test_no_exposure_is_refused() -> None:
    """A rate without exposure does not exist."""
    with pytest.raises(RcaError, match="unit-year"):
        occurrence(1, 0, STEPS_OF_THREE)


def test_only_120_products_of_three_grades_occur() -> None:
    """Why the product is not shown by itself: 1000 triples, 120 values (computed; S27 notes)."""
    values = {a * b * c for a in range(1, 11) for b in range(1, 11) for c in range(1, 11)}
    assert len(values) == 120
    assert 8 * 5 * 6 == 240  # the product of case S27


def test_product_comes_with_the_stability_of_its_rank(fleet: Fleet) -> None:
    """With few events the ranks of two modes overlap; modes without a severity are left out."""
    cases = [case_about(), case_of(problem={"because": "a", "severity": "bad order"},
                                   causes=causes(a=""), part="tyre", mode="burst")]  # fmt: skip
    found = product_of_grades(mode_table(fleet, cases))
    assert set(found["mode"]) == {"leaks", "burst"}
    assert (found["rank_low"] <= found["rank"]).all()
    assert (found["rank"] <= found["rank_high"]).all()
    leaks = found[found["mode"] == "leaks"].iloc[0]
    grade = STEPS_OF_THREE.grade(3 / (4 * 366 / 365.25))
    assert leaks["product"] == 3 * grade * missed_grade(0.75)
    assert len(product_of_grades(mode_table(fleet))) == 0


def test_missed_share_as_a_grade() -> None:
    """Ten steps of the share that passes unseen."""
    assert [missed_grade(share) for share in (0, 0.05, 0.1, 0.55, 0.99, 1)] == [1, 1, 2, 6, 10, 10]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name: n\nsource: s\ngrades: {a: x}\n", "at least 2"),
        ("name: n\ngrades: {a: x, b: y}\n", "source"),
        ("name: n\nsource: s\ngrade: {a: x, b: y}\n", "not a known key"),
        ("name: [n]\nsource: s\ngrades: {a: x, b: y}\n", "must be text"),
        ("- 1\n", "key: value"),
    ],
)
def test_broken_severity_scale_is_refused(text: str, words: str) -> None:
    """A user's own scale file gives one clear error."""
    with pytest.raises(Refused, match=words) as caught:
        severity_scale(yaml_mapping(text), file="scale.yaml")
    assert len(caught.value.problems) == 1


def test_own_scales_are_read() -> None:
    """Grades worst first; bounds rising."""
    own = severity_scale(yaml_mapping("name: n\nsource: s\ngrades:\n  bad: x\n  3: y\n"))
    assert (own.place("bad"), own.place("3"), own.place("nope")) == (1, 2, None)
    steps = occurrence_scale(yaml_mapping("name: n\nsource: s\nbounds: [0.1, 1]\n"))
    assert [steps.grade(rate) for rate in (0.05, 0.1, 5)] == [1, 2, 3]
    for wrong in ("[1, 0.1]", "[0, 1]", "[]", "[a]"):
        with pytest.raises(Refused):
            occurrence_scale(yaml_mapping(f"name: n\nsource: s\nbounds: {wrong}\n"))
    assert next(iter(EFFECT_CATEGORIES.grades)) == "catastrophic"


def test_frame_is_a_frame(fleet: Fleet) -> None:
    """The table can go to CSV and XLSX as it is."""
    assert isinstance(mode_table(fleet).to_frame(), pd.DataFrame)
    assert str(mode_table(fleet)) == "failure-mode table of 4 modes, 0 with a severity"
