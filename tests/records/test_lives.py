"""Each rule of lives against a history worked out by hand (days counted on a calendar)."""

import numpy as np
import pandas as pd
import pytest

from rca.records.lives import AGE_UNKNOWN, PROOF_BY_END, build_lives
from tests.small_fleet import DEFAULT_YAML, small_fleet, small_lives

UNITS = """
unit, in_service, retired
A, 2024-01-01,
"""
PARTS = """
part, positions, fitted_to
pump,, all
"""


def table(lives, *columns):
    """Rows as plain tuples, in order of unit, part, position and time."""
    rows = lives.rows.sort_values(["unit", "part", "position", "begin", "end"])
    return [tuple(row) for row in rows[list(columns)].itertuples(index=False)]


def test_first_life_of_a_new_unit_starts_at_age_0_and_a_replacement_starts_the_next(tmp_path):
    # 1 Jan to 1 Apr 2024 = 31 + 29 + 31 = 91 days; 1 Apr to 31 Dec = 274 days.
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-04-01,pump,replaced,failure",
    )  # fmt: skip
    assert table(lives, "fitting", "piece", "entry_days", "age_days", "failed", "ended_by") == [
        (0, 0, 0.0, 91.0, True, "failure"),
        (1, 0, 0.0, 274.0, False, "cut-off"),
    ]


def test_a_failure_mended_without_renewal_ends_a_piece_and_the_age_runs_on(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="""unit,date,part,action,reason
                   A,2024-01-11,pump,cleaned,failure
                   A,2024-01-31,pump,replaced,failure""",
    )  # fmt: skip
    assert table(lives, "fitting", "piece", "entry_days", "age_days", "failed", "renewed") == [
        (0, 0, 0.0, 10.0, True, False),
        (0, 1, 10.0, 30.0, True, True),
        (1, 0, 0.0, 335.0, False, False),
    ]


def test_a_planned_removal_is_a_suspension_and_an_inspection_ends_nothing(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="""unit,date,part,action,reason
                   A,2024-01-11,pump,inspected,inspection
                   A,2024-01-31,pump,replaced,planned""",
    )  # fmt: skip
    assert table(lives, "age_days", "failed", "ended_by") == [
        (30.0, False, "planned"),
        (335.0, False, "cut-off"),
    ]


@pytest.mark.parametrize("reason", ["accident", "no fault found", "recall", "other"])
def test_removals_that_are_no_failures_are_suspensions(tmp_path, reason):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs=f"unit,date,part,action,reason\nA,2024-01-31,pump,replaced,{reason}",
    )  # fmt: skip
    assert table(lives, "age_days", "failed", "ended_by")[0] == (30.0, False, reason)


def test_no_fault_found_without_renewal_changes_nothing(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-01-31,pump,none,no fault found",
    )  # fmt: skip
    assert table(lives, "age_days", "failed") == [(365.0, False)]


def test_same_day_rows_are_one_repair_and_the_failure_wins(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="""unit,date,part,action,reason
                   A,2024-01-31,pump,replaced,planned
                   A,2024-01-31,pump,inspected,failure""",
    )  # fmt: skip
    assert table(lives, "age_days", "failed", "renewed") == [
        (30.0, True, True),
        (335.0, False, False),
    ]


def test_age_0_counts_as_half_a_day(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-01-01,pump,replaced,failure",
    )  # fmt: skip
    assert table(lives, "age_days", "failed")[0] == (0.5, True)


def test_a_failure_on_the_cutoff_day_counts_and_no_empty_life_follows(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-12-31,pump,replaced,failure",
    )  # fmt: skip
    assert table(lives, "age_days", "failed") == [(365.0, True)]


def test_retirement_ends_a_life_unfailed(tmp_path):
    lives = small_lives(
        tmp_path, units="unit,in_service,retired\nA,2024-01-01,2024-03-01", parts=PARTS,
        repairs="unit,date,part,action,reason\nA,2024-02-01,pump,inspected,planned",
    )  # fmt: skip
    assert table(lives, "age_days", "failed", "ended_by") == [(60.0, False, "retired")]


def test_an_order_still_open_ends_watching_without_failure(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="""unit,date,part,action,reason,closed
                   A,2024-01-31,pump,replaced,failure,2024-02-02
                   A,2024-03-01,pump,replaced,failure,""",
    )  # fmt: skip
    assert table(lives, "age_days", "failed", "ended_by") == [
        (30.0, True, "failure"),
        (30.0, False, "open order"),
    ]


OLD_UNITS = """
unit, in_service, retired
A, 2020-01-01,
B, 2024-01-01,
"""


def test_first_lives_of_unproved_age_are_left_out_failed_and_surviving_alike(tmp_path):
    lives = small_lives(
        tmp_path, parts=PARTS,
        units="unit,in_service\nA,2020-01-01\nC,2020-01-01\nB,2024-01-01",
        repairs="unit,date,part,action,reason\nA,2024-01-31,pump,replaced,failure",
    )  # fmt: skip
    assert table(lives, "unit", "fitting", "age_days") == [("A", 1, 335.0), ("B", 0, 365.0)]
    out = lives.left_out.set_index("reason").loc[AGE_UNKNOWN]
    assert (out["pieces"], out["failed"]) == (2, 1)


def test_a_fitted_date_lets_a_first_life_enter_late(tmp_path):
    # Fitted 1 Dec 2023, watched from 1 Jan 2024 (age 31), failed 31 Jan (age 61).
    lives = small_lives(
        tmp_path, parts=PARTS, units="unit,in_service\nA,2020-01-01\nB,2024-01-01",
        repairs="""unit,date,part,action,reason,fitted_date
                   A,2024-01-31,pump,replaced,failure,2023-12-01""",
    )  # fmt: skip
    assert table(lives, "unit", "entry_days", "age_days", "failed")[0] == ("A", 31.0, 61.0, True)


def test_proof_that_only_removed_parts_have_is_not_used(tmp_path):
    """Else the failed enter and the survivors do not: lives would look short."""
    units = "unit,in_service\n" + "\n".join(f"U{n},2020-01-01" for n in range(4))
    lives = small_lives(
        tmp_path, parts=PARTS, units=units,
        repairs="""unit,date,part,action,reason,fitted_date
                   U0,2024-01-31,pump,replaced,failure,2023-12-01""",
    )  # fmt: skip
    assert table(lives, "unit", "fitting") == [("U0", 1)]
    reasons = lives.left_out.set_index("reason")["pieces"]
    assert reasons[PROOF_BY_END] == 1
    assert reasons[AGE_UNKNOWN] == 3


def test_other_treatments_of_first_lives_stand_beside(tmp_path):
    fleet = small_fleet(
        tmp_path, parts=PARTS, units=OLD_UNITS,
        repairs="unit,date,part,action,reason\nA,2024-01-31,pump,replaced,failure",
    )  # fmt: skip
    original = build_lives(fleet, first_lives="as original")
    new = build_lives(fleet, first_lives="as new")
    # 1 Jan 2020 to 1 Jan 2024 = 1461 days.
    assert table(original, "entry_days", "age_days")[0] == (1461.0, 1491.0)
    assert table(new, "entry_days", "age_days")[0] == (0.0, 30.0)


def test_without_a_parts_table_only_lives_begun_by_a_renewal_are_used(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS,
        repairs="""unit,date,part,action,reason
                   A,2024-01-31,pump,replaced,failure
                   A,2024-03-01,pump,replaced,failure""",
    )  # fmt: skip
    assert table(lives, "fitting", "age_days", "failed") == [(1, 30.0, True), (2, 305.0, False)]


def test_parts_say_which_units_carry_them_and_where(tmp_path):
    lives = small_lives(
        tmp_path,
        units="unit,in_service,model\nA,2024-01-01,T1\nB,2024-01-01,T2",
        parts='part,positions,fitted_to\npump,left; right,"model = ""T1"""',
        repairs="unit,date,part,position,action,reason\nA,2024-01-31,pump,LEFT,replaced,failure",
    )  # fmt: skip
    assert table(lives, "unit", "position", "age_days", "failed") == [
        ("A", "left", 30.0, True),
        ("A", "left", 335.0, False),
        ("A", "right", 365.0, False),
    ]


def test_blank_position_is_a_position_of_its_own(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS,
        repairs="""unit,date,part,position,action,reason
                   A,2024-01-31,pump,left,replaced,failure
                   A,2024-02-10,pump,,replaced,failure
                   A,2024-03-01,pump,left,replaced,failure""",
    )  # fmt: skip
    assert table(lives, "position", "age_days", "failed") == [
        ("", 325.0, False),
        ("left", 30.0, True),
        ("left", 305.0, False),
    ]


def test_lot_action_and_cause_belong_to_the_life_that_the_repair_began(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS,
        repairs="""unit,date,part,action,reason,lot,cause_addressed,mode
                   A,2024-01-31,pump,replaced,failure,L7,yes,leak""",
    )  # fmt: skip
    assert table(lives, "lot", "begun_by", "cause_addressed", "mode") == [
        ("", "", "", "leak"),
        ("L7", "replaced", "yes", ""),
    ]


READINGS = """
unit, date, meter
A, 2024-01-01, 1000
A, 2024-04-10, 11000
"""


def test_meter_ages_are_interpolated_and_extended_by_own_use(tmp_path):
    # 100 km a day. Failed after 30 days: 3 000 km. To the cut-off: 335 days x 100 km, estimated.
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS, readings=READINGS,
        repairs="unit,date,part,action,reason\nA,2024-01-31,pump,replaced,failure",
    )  # fmt: skip
    rows = table(lives, "entry_meter", "age_meter", "meter_estimated", "failed")
    assert rows == [(0.0, 3000.0, False, True), (0.0, pytest.approx(33500.0), True, False)]


def test_fewer_than_two_readings_leave_lives_in_days_only(tmp_path):
    lives = small_lives(
        tmp_path, units=UNITS, parts=PARTS, readings="unit,date,meter\nA,2024-01-01,1000",
        repairs="unit,date,part,action,reason\nA,2024-01-31,pump,replaced,failure",
    )  # fmt: skip
    assert lives.rows["age_meter"].isna().all()
    assert lives.rows["age_days"].notna().all()
    assert lives.meters.days_only == {"A"}


def test_a_fitted_meter_proves_an_age_on_the_meter_only(tmp_path):
    lives = small_lives(
        tmp_path, parts=PARTS, units="unit,in_service\nA,2020-01-01", readings=READINGS,
        repairs="""unit,date,part,action,reason,fitted_meter
                   A,2024-01-31,pump,replaced,failure,400""",
    )  # fmt: skip
    first = table(lives, "entry_meter", "age_meter", "age_days")[0]
    assert first[:2] == (600.0, 3600.0)
    assert np.isnan(first[2])


def test_repairs_before_the_records_or_after_retirement_are_set_aside(tmp_path):
    fleet = small_fleet(
        tmp_path, units="unit,in_service,retired\nA,2024-02-01,2024-06-30", parts=PARTS,
        repairs="""unit,date,part,action,reason
                   A,2024-01-31,pump,replaced,failure
                   A,2024-07-01,pump,replaced,failure
                   A,2025-07-01,pump,replaced,failure
                   Z,2024-07-01,pump,replaced,failure
                   A,2024-03-01,pump,replaced,failure""",
    )  # fmt: skip
    assert fleet.account("repairs").used == 1
    rules = fleet.set_aside.set_index("line")["rule"]
    assert "before" in rules[2]
    assert "retired" in rules[3]
    assert "cut-off" in rules[4]
    assert "not in the units table" in rules[5]


def test_row_order_never_matters(tmp_path):
    rows = [
        "A,2024-01-11,pump,cleaned,failure", "A,2024-01-31,pump,replaced,failure",
        "A,2024-01-31,pump,inspected,inspection", "A,2024-05-01,pump,replaced,planned",
        "B,2024-05-01,pump,replaced,failure",
    ]  # fmt: skip
    tables = []
    for number, order in enumerate((rows, rows[::-1], rows[2:] + rows[:2])):
        lives = small_lives(
            tmp_path / str(number), units="unit,in_service\nA,2024-01-01\nB,2024-01-01",
            parts=PARTS, repairs="\n".join(["unit,date,part,action,reason", *order]),
        )  # fmt: skip
        tables.append(lives.rows.drop(columns="row"))
    pd.testing.assert_frame_equal(tables[0], tables[1])
    pd.testing.assert_frame_equal(tables[0], tables[2])


def test_no_reason_column_blocks_lives_until_fleet_yaml_says_how_to_read_rows(tmp_path):
    repairs = "unit,date,part,action\nA,2024-01-31,pump,replaced"
    fleet = small_fleet(tmp_path / "a", units=UNITS, parts=PARTS, repairs=repairs)
    assert "reason" in fleet.is_blocked("lives")
    stated = DEFAULT_YAML + (
        "tables: {units: units.csv, parts: parts.csv, repairs: "
        "{file: repairs.csv, columns: {reason: action}, values: {reason: {replaced: failure}}}}\n"
    )
    fleet = small_fleet(tmp_path / "b", yaml=stated, units=UNITS, parts=PARTS, repairs=repairs)
    assert not fleet.is_blocked("lives")
    assert build_lives(fleet).rows["failed"].sum() == 1
