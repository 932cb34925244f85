"""Each fault of real exports is put into an invented, faultless export, alone, and must be found.

The kinds of faults are those counted in eight public repair exports (own count); the exports
here are CONSTRUCTED. A detector that cries wolf fails `test_a_faultless_export_has_no_faults`.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rca.records.importing import Kind, Proposal, propose
from tests.records.invented_export import TODAY, faultless, with_cells, write

INHERENT = {
    Kind.PLANNED_MIXED, Kind.COLUMN_ABSENT, Kind.NO_RUNNING_UNITS, Kind.LATE_ENTRY,
    Kind.CLOSE_EVENTS,
}  # fmt: skip


def proposal(folder: Path, frame: pd.DataFrame, **options: object) -> Proposal:
    """Propose how to read an export given as a frame."""
    return propose(write(folder, frame), today=TODAY, **options)  # type: ignore[arg-type]


def count(found: Proposal, kind: Kind, column: str = "") -> int:
    """Add up what was counted of one kind."""
    return sum(f.count for f in found.faults_of(kind) if not column or f.column == column)


@pytest.mark.parametrize("seed", range(6))
def test_a_faultless_export_has_no_faults(tmp_path, seed):
    """Nothing is found but what no single export can have, and nothing is asked."""
    found = proposal(tmp_path, faultless(seed=seed))
    assert {fault.kind for fault in found.faults} <= INHERENT | {Kind.SAME_EVENT}
    assert found.open == ()
    assert found.is_complete


def repeat(frame: pd.DataFrame, rows: list[int], **changed: str) -> pd.DataFrame:
    """Append copies of some rows, with some cells changed."""
    again = frame.iloc[rows].assign(**changed)
    return pd.concat([frame, again], ignore_index=True)


def replaced(column: str, cells: dict[int, str]) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """Put cells into a column."""
    return lambda frame: with_cells(frame, column, cells)


def every(column: str, cell: str, step: int) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """Put one text into every so many cells of a column."""
    return lambda frame: with_cells(frame, column, dict.fromkeys(range(0, len(frame), step), cell))


INJECTED: list[tuple[Kind, str, Callable[[pd.DataFrame], pd.DataFrame], int]] = [
    (Kind.DUPLICATE, "", lambda f: repeat(f, [3, 50, 200]), 3),
    (Kind.BLANK_WORDS, "", every("Failure Mode", "NA", 30), 10),
    (Kind.BLANK_WORDS, "", every("Side", "-", 30), 10),
    (Kind.DAMAGED_TEXT, "", replaced("Complaint", {4: "KÃ¼hler und KÃ¼hlmittel geprÃ¼ft"}), 3),
    (Kind.DAMAGED_TEXT, "", replaced("Complaint", {4: "K\ufffdhler leckt am Stutzen"}), 1),
    (Kind.CATCH_ALL, "Failure Mode", every("Failure Mode", "Unspecified", 3), 100),
    (Kind.LEADING_ZEROS, "Lot", every("Lot", "0073", 10), 30),
    (Kind.PLACEHOLDER, "Unit No", every("Unit No", "POOL", 60), 5),
    (Kind.NEGATIVE_COST, "Cost", replaced("Cost", {7: "-120.50", 9: "-3.10"}), 2),
    (Kind.ZERO_COST, "Cost", every("Cost", "0", 20), 15),
    (Kind.DATE_RANGE, "date", replaced("Date Opened", {9: "2098-01-05", 12: "1931-01-01"}), 2),
    (Kind.DATE_SEQUENCE, "closed", replaced("Date Closed", {100: "2021-12-31"}), 1),
    (Kind.SPREADSHEET_ERROR, "Failure Mode", every("Failure Mode", "#NAME?", 50), 6),
    (Kind.SPREADSHEET_ERROR, "Complaint", every("Complaint", "#BEZUG!", 60), 5),
    (Kind.DOUBLED_HEADING, "Depot", lambda f: f.rename(columns={"Lot": "Depot"}), 1),
    (Kind.SEVERAL_VALUES, "Component", every("Component", "aftercooler / brake pad", 25), 12),
    (Kind.PERSONAL_DATA, "Complaint", replaced("Complaint", {7: "call 0664 1234567, worn"}), 1),
    (Kind.PERSONAL_DATA, "Complaint", replaced("Complaint", {9: "Frau Muster says it hums"}), 1),
    (Kind.OPEN_ORDERS, "Date Closed", replaced("Date Closed", {297: "", 298: ""}), 2),
    (Kind.SPELLINGS, "Component", every("Component", "coolent  pump", 100), 3),
    (Kind.EMPTY_COLUMN, "Remarks", lambda f: f.assign(Remarks=""), 300),
    (Kind.CONSTANT_COLUMN, "Plant", lambda f: f.assign(Plant="P1"), 300),
    (Kind.UNREADABLE, "Date Opened", replaced("Date Opened", {5: "31 Feb 2023", 6: "soon"}), 2),
    (Kind.BLANK_CELL, "Unit No", replaced("Unit No", {5: "", 6: "NA"}), 2),
    (Kind.CANCELLED, "Complaint", replaced("Complaint", {3: "TEST", 8: "Not required."}), 2),
    (Kind.PERSONAL_DATA, "Driver", lambda f: f.assign(Driver=[f"D{n % 9}" for n in range(300)]),
     300),
    (Kind.PERSONAL_DATA, "Complaint",
     replaced("Complaint", {3: "ask jo.doe@example.org first", 9: "call +43 660 1234567 there"}),
     2),
    (Kind.OUTSIDE_CAUSE, "Complaint",
     lambda f: with_cells(with_cells(f, "Order Type", {3: "Breakdown"}), "Complaint",
                          {3: "bent in a collision at the yard"}), 1),
    (Kind.CONTRADICTION, "Complaint",
     lambda f: with_cells(with_cells(f, "Side", {3: "Left", 4: "Left"}), "Complaint",
                          {3: "leak at R/H hose end", 4: "leak at LH hose end"}), 1),
    (Kind.METER_JUNK, "Odometer km", replaced("Odometer km", {200: "1111", 201: "0"}), 2),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "column", "inject", "expected"), INJECTED)
def test_an_injected_fault_is_found_and_counted(tmp_path, kind, column, inject, expected):
    """The one fault put in is found with its exact count, what was done, and an example."""
    found = proposal(tmp_path, inject(faultless()))
    assert count(found, kind, column) == expected
    for fault in found.faults_of(kind):
        assert fault.done
        assert str(fault.count) in str(fault)


def test_rows_set_aside_by_the_reader_are_the_rows_counted_as_faults(tmp_path):
    """Broken cells, placeholders and duplicates add up to the rows that the fleet sets aside."""
    frame = with_cells(faultless(), "Unit No", {1: "POOL", 2: "", 3: "TEST"})
    frame = with_cells(frame, "Date Opened", {10: "soon", 11: "2099-01-01"})
    frame = repeat(frame, [100, 101])
    found = proposal(tmp_path, frame)
    kinds = (Kind.PLACEHOLDER, Kind.BLANK_CELL, Kind.UNREADABLE, Kind.DATE_RANGE, Kind.DUPLICATE)
    counted = sum(count(found, kind) for kind in kinds)
    account = found.fleet().account("repairs")
    assert account.read == 302
    assert account.set_aside == counted == 7


def test_a_rare_name_is_proposed_to_be_a_misspelling_but_not_merged_unasked(tmp_path):
    """`coolent pump` stays a part of its own until a person confirms the merge."""
    path = write(tmp_path, with_cells(faultless(), "Component", {5: "coolent pump"}))
    found = propose(path, today=TODAY)
    question = found.question("merge.part")
    assert [(i.text, i.proposed) for i in question.items] == [("coolent pump", "coolant pump")]
    assert "coolent pump" in set(found.fleet().repairs["part"])
    merged = found.answer("merge.part", "all")
    assert "coolent pump" not in set(merged.fleet().repairs["part"])


def test_sides_written_four_ways_become_one_when_confirmed(tmp_path):
    """L/H, LH, LHS and LEFT are one place; the table of merges is confirmed by a person."""
    frame = faultless()
    ways = {"Left": ["L/H", "LH", "LHS", "LEFT"], "Right": ["R/H", "RH", "RHS", "RIGHT"]}
    side = [ways[side][row % 4] for row, side in enumerate(frame["Side"])]
    found = proposal(tmp_path, frame.assign(Side=side)).answer("merge.position", "all")
    assert set(found.fleet().repairs["position"].unique()) == {"Left", "Right"}


def test_several_values_in_one_cell_are_asked_and_never_a_new_name(tmp_path):
    """Joined parts are set aside, or read as the first one, as the person says."""
    frame = with_cells(
        faultless(), "Component", {3: "brake pad_aftercooler", 9: "aftercooler_coolant pump"}
    )
    found = proposal(tmp_path, frame)
    assert [question.id for question in found.open] == ["several.part"]
    aside = found.answer("several.part", "set aside").fleet()
    assert aside.account("repairs").set_aside == 2
    first = found.answer("several.part", "first value").fleet()
    assert first.account("repairs").set_aside == 0
    assert first.repairs["part"].iloc[[3, 9]].tolist() == ["brake pad", "aftercooler"]
    assert not any("_" in str(part) for part in aside.repairs["part"].unique())


def test_a_mark_inside_a_name_joins_nothing(tmp_path):
    """`A/C hose` is one name, since A and C are no parts of their own."""
    found = proposal(tmp_path, with_cells(faultless(), "Component", {3: "A/C hose", 9: "I/O card"}))
    assert found.faults_of(Kind.SEVERAL_VALUES) == ()


def test_events_on_several_rows_are_told_from_exact_duplicates(tmp_path):
    """Same unit, part, position and day with another cost: kept, and said to be one repair."""
    clean = proposal(tmp_path, faultless())
    before = count(clean, Kind.SAME_EVENT)
    found = proposal(tmp_path, repeat(faultless(), [5, 6], Cost="12.34"))
    assert count(found, Kind.SAME_EVENT) == before + 2
    assert found.faults_of(Kind.DUPLICATE) == ()


def test_one_order_under_several_parts_blocks_money_until_it_is_answered(tmp_path):
    """The same text and cost on several rows would count the cost several times."""
    frame = repeat(faultless(), list(range(0, 40, 4)), Component="gasket")
    found = proposal(tmp_path, frame)
    assert "money" in dict(found.fleet().blocked)
    assert "money" not in dict(found.answer("repeated_cost", "own cost").fleet().blocked)


def test_a_cost_that_is_not_the_sum_of_its_parts_blocks_money(tmp_path):
    """Labour and material must add up to the cost; 12 rows where they do not block the money."""
    frame = faultless()
    cost = frame["Cost"].astype(float)
    labour = (cost * 0.4).round(2)
    frame = frame.assign(
        Labour=labour.map("{:.2f}".format), Material=(cost - labour).map("{:.2f}".format)
    )
    assert proposal(tmp_path, frame).faults_of(Kind.TOTALS) == ()
    wrong = with_cells(frame, "Labour", dict.fromkeys(range(0, 300, 25), "999999.00"))
    found = proposal(tmp_path, wrong)
    assert count(found, Kind.TOTALS) == 12
    assert "not the sum" in dict(found.fleet().blocked)["money"]


def test_meters_that_run_backward_or_jump_are_counted(tmp_path):
    """One reading far too low, one two millions too high."""
    frame = faultless()
    rows = [row for row in range(100, 250) if frame["Unit No"][row] == "T105"][:2]
    low = int(frame["Odometer km"][rows[0]]) - 30_000
    found = proposal(tmp_path, with_cells(frame, "Odometer km", {rows[0]: str(low)}))
    assert count(found, Kind.METER_BACKWARD) == 1
    high = with_cells(frame, "Odometer km", {rows[1]: "2345678"})
    jump = [f for f in proposal(tmp_path, high).faults_of(Kind.METER_JUNK) if "a day" in f.what]
    assert [fault.count for fault in jump] == [1]


def test_a_column_of_days_since_the_last_row_is_no_meter(tmp_path):
    """It is called running hours, but counts the days since the row above: not used, and said."""
    frame = faultless().drop(columns="Odometer km")
    days = pd.to_datetime(frame["Date Opened"])
    gap = days.groupby(frame["Unit No"]).diff().dt.days
    frame = frame.assign(
        **{"Running Hours": gap.map(lambda one: "" if np.isnan(one) else f"{one:.0f}")}
    )
    found = proposal(tmp_path, frame)
    (fault,) = found.faults_of(Kind.MISNAMED)
    assert fault.column == "Running Hours"
    assert "days since the row above" in fault.what
    assert "meter" not in found.tables["repairs"].columns


def test_a_column_named_date_that_holds_none_is_not_taken(tmp_path):
    """The name alone does not make a column of remarks a date."""
    frame = faultless().rename(columns={"Date Opened": "Happened", "Complaint": "Date"})
    found = proposal(tmp_path, frame.drop(columns="Date Closed"))
    assert count(found, Kind.MISNAMED, "Date") == 300
    assert found.tables["repairs"].columns["date"] == "Happened"


def test_texts_cut_at_a_fixed_width_are_counted(tmp_path):
    """Long texts cut at 40 characters heap there; only those are counted."""
    frame = faultless()
    long = [f"{text} {text[::-1]}"[:40] for text in frame["Complaint"]]
    found = proposal(tmp_path, frame.assign(Complaint=long))
    expected = sum(len(text.strip()) == 40 for text in long)
    assert count(found, Kind.TEXT_CUT, "Complaint") == expected
    assert expected > 20


def test_rows_out_of_date_order_are_counted(tmp_path):
    """A shuffled export is sorted by date; the rows out of order are told."""
    frame = faultless().sample(frac=1, random_state=4).reset_index(drop=True)
    found = proposal(tmp_path, frame)
    assert count(found, Kind.NOT_IN_ORDER) > 100
    assert count(proposal(tmp_path, faultless()), Kind.NOT_IN_ORDER) == 0


def test_a_row_with_too_many_fields_is_set_aside_with_its_line(tmp_path):
    """A stray delimiter breaks one row; the others are read."""
    path = write(tmp_path, faultless())
    lines = path.read_text().splitlines()
    lines[17] += ",stray"
    path.write_text("\n".join(lines) + "\n")
    found = propose(path, today=TODAY)
    (fault,) = found.faults_of(Kind.BROKEN_ROW)
    assert (fault.count, fault.of) == (1, 300)
    assert "line 18" in fault.examples[0]
    assert found.fleet().account("repairs").set_aside == 1


def test_a_row_that_has_moved_right_is_set_aside(tmp_path):
    """The header ends in a comma; one row fills that nameless column."""
    path = write(tmp_path, faultless())
    lines = [line + "," for line in path.read_text().splitlines()]
    lines[30] = lines[30].replace("T1", "T,1", 1)[:-1]
    path.write_text("\n".join(lines) + "\n")
    found = propose(path, today=TODAY)
    assert count(found, Kind.SHIFTED_ROW) == 1
    assert found.fleet().account("repairs").set_aside == 1


def test_heaped_dates_are_told(tmp_path):
    """All repairs of a part on a grid of 14 days, and dates on the first of the month."""
    frame = faultless()
    start = pd.Timestamp("2022-01-03")
    grid = [(start + pd.Timedelta(days=14 * (row // 3))).date().isoformat() for row in range(300)]
    found = proposal(tmp_path, frame.assign(**{"Date Opened": grid, "Date Closed": grid}))
    assert any("14 days" in fault.what for fault in found.faults_of(Kind.HEAPED))
    first = [f"{2022 + row // 110}-{1 + row % 12:02d}-01" for row in range(300)]
    heaped = proposal(tmp_path, frame.assign(**{"Date Opened": first, "Date Closed": first}))
    assert any(fault.count == 300 for fault in heaped.faults_of(Kind.HEAPED))


def test_units_of_measure_that_clash_block_the_meter(tmp_path):
    """Figures in km and in mi: those of the rarer unit are not used."""
    frame = faultless()
    cells = [
        f"{one} mi" if row % 25 == 0 else f"{one} km"
        for row, one in enumerate(frame["Odometer km"])
    ]
    found = proposal(tmp_path, frame.assign(**{"Odometer km": cells}))
    (fault,) = found.faults_of(Kind.MIXED_UNITS)
    assert (fault.count, fault.of, fault.blocked) == (12, 300, "meter lives")
    fleet = found.fleet()
    assert fleet.repairs["meter"].isna().sum() == 12
    assert "meter lives" in dict(fleet.blocked)


def test_a_unit_of_two_models_is_told(tmp_path):
    """A fleet number used again carries two models."""
    frame = faultless()
    model = ["M2" if unit > "T110" else "M1" for unit in frame["Unit No"]]
    frame = frame.assign(Model=model)
    assert proposal(tmp_path, frame).faults_of(Kind.TWO_CLASSES) == ()
    row = int(np.flatnonzero(frame["Unit No"] == "T105")[0])
    (fault,) = proposal(tmp_path, with_cells(frame, "Model", {row: "M9"})).faults_of(
        Kind.TWO_CLASSES
    )
    assert fault.count == 1
    assert "T105" in fault.examples[0]


def test_cancelled_and_open_orders_are_set_aside_by_their_status(tmp_path):
    """A status column says which rows are no finished repairs; an unknown word is asked."""
    frame = faultless().drop(columns="Date Closed")
    status = [
        "Cancelled" if r % 50 == 0 else "Open" if r % 50 == 1 else "Closed" for r in range(300)
    ]
    found = proposal(tmp_path, frame.assign(Status=status))
    assert (count(found, Kind.CANCELLED), count(found, Kind.OPEN_ORDERS)) == (6, 6)
    assert found.fleet().account("repairs").set_aside == 12
    status[7] = "Parked"
    asked = proposal(tmp_path, frame.assign(Status=status))
    assert [question.id for question in asked.open] == ["words.status"]


def test_units_that_fall_silent_long_before_the_end_are_told(tmp_path):
    """A unit without a row for years may be retired: the observation end is asked of the person."""
    frame = faultless()
    busy = frame["Unit No"].value_counts().index[0]
    late = (frame["Unit No"] == busy) & (frame["Date Opened"] > "2022-11-30")
    found = proposal(tmp_path, frame[~late].reset_index(drop=True))
    (fault,) = found.faults_of(Kind.END_UNCLEAR)
    assert fault.count == 1
    assert busy in fault.examples[0]


def test_a_failure_without_a_repair_is_counted(tmp_path):
    """Breakdowns whose action is blank renew nothing, and that is said."""
    frame = with_cells(faultless(), "Order Type", {3: "Breakdown", 4: "Breakdown"})
    found = proposal(tmp_path, with_cells(frame, "Action", {3: "", 4: "Inspected"}))
    assert count(found, Kind.NO_REPAIR) == 2


def test_columns_that_are_missing_say_what_they_block_and_leave_the_rest(tmp_path):
    """Without part, meter, reason and cost: the kit says what it can still answer."""
    frame = faultless()[["Unit No", "Date Opened", "Component", "Action"]]
    found = proposal(tmp_path, frame)
    absent = {fault.column: fault.blocked for fault in found.faults_of(Kind.COLUMN_ABSENT)}
    assert {"meter", "reason", "cost", "mode", "lot", "position"} <= absent.keys()
    assert [question.id for question in found.open] == ["all_rows.reason"]
    unsaid = found.answer("all_rows.reason", "not stated")
    possible = {one.result: one.possible for one in unsaid.answerable}
    assert possible["repairs by part, unit and month"]
    assert not possible["lives of parts in days"]
    assert not possible["money"]
    assert "lives" in dict(unsaid.fleet().blocked)
    said = found.answer("all_rows.reason", "failure")
    assert {one.result: one.possible for one in said.answerable}["lives of parts in days"]
    assert "lives" not in dict(said.fleet().blocked)
    assert said.fleet().repairs["reason"].eq("failure").all()


def test_a_code_in_place_of_a_unit_is_asked(tmp_path):
    """9999 and 0 among units such as T101 may be stand-ins: the person says."""
    found = proposal(tmp_path, with_cells(faultless(), "Unit No", {3: "9999", 4: "0", 5: "TEST"}))
    (question,) = found.open
    assert {i.text: (i.proposed, i.sure) for i in question.items} == {
        "9999": ("", False), "0": ("", False), "TEST": ("set aside", True),
    }  # fmt: skip
    fleet = found.answer("words.unit", {"9999": "set aside", "0": "keep"}).fleet()
    assert fleet.account("repairs").set_aside == 2


def test_a_zero_is_never_a_blank_by_guess(tmp_path):
    """A lot called 0 stays a lot until someone says that it means a blank."""
    found = proposal(tmp_path, with_cells(faultless(), "Lot", dict.fromkeys(range(9), "0")))
    assert found.fleet().repairs["lot"].eq("0").sum() == 9
    said = found.answer("words.missing", {"0": "missing"}).fleet()
    assert said.repairs["lot"].eq("").sum() == 9


def test_a_column_of_regions_called_state_is_no_status(tmp_path):
    """Two letters that say nothing of an order are not asked about."""
    found = proposal(tmp_path, faultless().assign(State=["TX", "NV"] * 150))
    assert found.open == ()


def test_names_of_people_become_pseudonyms(tmp_path):
    """A column of operators is told, and fleet.yaml has it replaced on reading."""
    names = ["Ann Example", "Ben Example", "Cy Example"] * 100
    found = proposal(tmp_path, faultless().assign(Operator=names))
    assert found.settings["people"] == {"columns": ["Operator"]}
    assert not found.fleet().repairs["Operator"].isin(names).any()
