"""Raw cells in, typed columns and a list of what was set aside out; nothing is lost on the way."""

import datetime

import numpy as np
import pandas as pd
import pytest

from rca.errors import Refused
from rca.records.columns import TABLES, Rules
from rca.records.files import RawTable
from rca.records.tables import check_table

DAYS = [f"2024-{1 + n % 12:02d}-{1 + n % 28:02d}" for n in range(20)]


def repairs(**changed):
    """Twenty sound repair rows as text, with some columns changed or added."""
    return {
        "unit": ["A", "B"] * 10, "date": DAYS, "part": ["pump"] * 20,
        "action": ["replaced"] * 20, "reason": ["failure"] * 20, **changed,
    }  # fmt: skip


def check(cells, table="repairs", timezone="UTC", **rules):
    frame = pd.DataFrame({name: pd.Series(column) for name, column in cells.items()})
    raw = RawTable("t.csv", frame, np.arange(2, len(frame) + 2))
    return check_table(raw, table, rules=Rules(**rules), timezone=timezone)


def refusal(cells, table="repairs", **rules):
    with pytest.raises(Refused) as refused:
        check(cells, table, **rules)
    return refused.value.problems


def with_value(value, *, at=4, old="x", size=20):
    return [value if n == at else old for n in range(size)]


def test_sound_rows_are_all_used_and_typed():
    found = check(repairs(cost=["1.5"] * 20, order=["007"] * 20))
    assert (found.rows_read, len(found.frame), len(found.set_aside)) == (20, 20, 0)
    kinds = found.frame.dtypes
    assert isinstance(kinds["unit"], pd.CategoricalDtype)
    assert kinds["date"] == np.dtype("datetime64[s]")
    assert kinds["cost"] == np.float64
    assert found.frame["order"].tolist() == ["007"] * 20
    assert found.lines.tolist() == list(range(2, 22))


@pytest.mark.parametrize("header", [" Unit ", "UNIT", "unit"])
def test_headers_are_found_whatever_their_case_and_blanks(header):
    cells = repairs()
    cells = {header if name == "unit" else name: column for name, column in cells.items()}
    assert check({**cells, "Downtime Hours": ["1"] * 20}).frame["downtime_hours"].sum() == 20


def test_a_missing_column_is_asked_for_with_the_nearest_one():
    cells = {"unt": ["A"], "date": ["2024-01-31"], "component": ["pump"]}
    unit, part = refusal(cells)
    assert (unit.file, unit.line, unit.column) == ("t.csv", 1, "unit")
    assert "columns: {unit: unt}" in unit.next_step
    assert "there are: unt, date, component" in part.next_step


@pytest.mark.parametrize(("mark", "shown"), [(";", '";"'), ("\t", '"\\t"'), ("|", '"|"')])
def test_a_header_in_one_piece_is_told_by_its_delimiter(mark, shown):
    problem = refusal({f"unit{mark}date{mark}part": ["A"]})[0]
    assert f"set delimiter: {shown}" in problem.next_step


@pytest.mark.parametrize("twin", ["unit.1", "Unit"])
def test_two_columns_that_can_be_one_of_ours_are_refused_until_one_is_named(twin):
    cells = repairs(**{twin: ["Z"] * 20})
    assert "2 columns can be 'unit'" in refusal(cells)[0].rule
    assert set(check(cells, columns={"unit": twin}).frame["unit"]) == {"Z"}


def test_a_stated_column_must_be_there():
    problem = refusal(repairs(), columns={"unit": "Unti"})[0]
    assert problem.value == "Unti"
    assert "did you mean 'unit'?" in problem.next_step
    assert "date" in refusal(repairs(), values={"shop": {"a": "b"}})[0].next_step
    assert "did you mean 'part'?" in refusal(repairs(), set_aside={"prat": {"a": "b"}})[0].next_step


def test_a_further_column_that_looks_like_a_missing_one_is_noted_and_kept():
    cells = repairs(raeson=["x"] * 20)
    del cells["reason"]
    found = check(cells)
    assert "if 'raeson' is it, set columns: {reason: raeson}" in found.notes[0]
    assert "raeson" in found.frame.columns


def test_columns_without_a_name_are_counted_where_they_hold_something():
    assert check(repairs(**{"Unnamed: 7": [""] * 20})).notes == ()
    assert "1 columns without a name" in check(repairs(**{"Unnamed: 7": with_value("x")})).notes[0]


def aside(found):
    """What was set aside, as (line, column, value, scope)."""
    listed = found.set_aside
    return list(
        zip(listed["line"], listed["column"], listed["value"], listed["scope"], strict=True)
    )


@pytest.mark.parametrize(
    ("column", "value", "rule"),
    [
        ("date", "2024-02-30", "is not a real date"),
        ("date", "", "must not be blank"),
        ("unit", "NA", "must not be blank"),
        ("part", " ", "must not be blank"),
        ("action", "swapped", "is not an allowed word"),
        ("reason", "failed", "is not an allowed word"),
    ],
)
def test_a_bad_cell_that_matters_sets_its_row_aside(column, value, rule):
    cells = repairs()
    cells[column] = [value if n == 4 else cells[column][n] for n in range(20)]
    found = check(cells)
    shown = "" if value in ("NA", " ") else value
    assert aside(found) == [(6, column, shown, "row")]
    assert rule in found.set_aside["rule"][0]
    assert found.set_aside["next_step"][0]
    assert (found.rows_read, len(found.frame), len(found.unused)) == (20, 19, 1)


@pytest.mark.parametrize(
    ("column", "value", "scope"),
    [
        ("meter", "-1", "meter"), ("meter", "many", "meter"), ("cost", "1,5", "cost"),
        ("downtime_hours", "-1", "downtime"), ("fitted_date", "soon", "first lives"),
        ("closed", "yes", "open orders"), ("cause_addressed", "maybe", "causes"),
    ],
)  # fmt: skip
def test_a_bad_cell_of_lesser_weight_is_unknown_and_spoils_its_scope_only(column, value, scope):
    good = {"cause_addressed": "yes", "fitted_date": "2024-01-01", "closed": "2024-01-01"}
    cells = repairs(**{column: with_value(value, old=good.get(column, "5"))})
    found = check(cells)
    assert aside(found) == [(6, column, value, scope)]
    assert len(found.frame) == 20
    unknown = [cell == "" or bool(pd.isna(cell)) for cell in found.frame[column]]
    assert unknown == [n == 4 for n in range(20)]
    assert found.blocked == ()


def test_a_negative_cost_is_kept_as_a_credit():
    assert check(repairs(cost=with_value("-5", old="1"))).frame["cost"].min() == -5


def test_a_row_with_several_faults_is_set_aside_once():
    cells = repairs()
    cells["date"] = with_value("x", old="2024-01-31")
    cells["action"] = with_value("y", old="replaced")
    cells["reason"] = with_value("z", old="failure")
    assert len(aside(check(cells))) == 1


def test_the_nearest_word_is_told_for_each_wrong_word():
    cells = repairs(reason=["failure"] * 18 + ["falure", "planed"])
    steps = check(cells).set_aside["next_step"]
    assert "did you mean 'failure'?" in steps[0]
    assert "did you mean 'planned'?" in steps[1]
    assert "values: {reason: {theirs: ours}}" in steps[0]


def test_words_and_names_are_read_whatever_their_case():
    cells = repairs(action=["Replaced", " REPLACED "] * 10, part=["Pump", "pump "] * 10)
    found = check(cells)
    assert set(found.frame["action"]) == {"replaced"}
    assert set(found.frame["part"]) == {"Pump"}
    assert "2 spellings" in found.notes[0]


def test_stated_words_and_blanks_are_translated():
    cells = repairs(reason=["Breakdown", ""] * 10)
    found = check(cells, values={"reason": {"breakdown": "failure", "": "planned"}})
    assert found.frame["reason"].tolist() == ["failure", "planned"] * 10
    del cells["reason"]
    stated = check(cells, values={"reason": {"": "failure"}})
    assert set(stated.frame["reason"]) == {"failure"}


def test_missing_tokens_are_missing_and_0_is_not_unless_stated():
    cells = repairs(cost=["0", "NULL"] * 10, mode=["n/a", "-"] * 10)
    assert check(cells).frame["cost"].tolist()[:1] == [0.0]
    assert check(cells).frame["mode"].tolist()[:2] == ["", "-"]
    found = check(cells, missing=("", "-", "0"), values={"cost": {"null": ""}})
    assert found.frame["cost"].isna().all()
    assert found.frame["mode"].tolist()[:2] == ["n/a", ""]


def test_spreadsheet_errors_are_missing_and_counted():
    found = check(repairs(cost=["#REF!", "5"] * 10, mode=["#N/A"] * 20))
    assert found.frame["cost"].notna().sum() == 10
    assert sorted(found.notes) == [
        "t.csv, cost: 10 spreadsheet error values read as missing",
        "t.csv, mode: 20 spreadsheet error values read as missing",
    ]


def test_rows_that_fleet_yaml_names_are_set_aside_with_its_reason():
    cells = repairs(unit=["POOL 1", "B"] * 10, note=["", "test order"] + [""] * 18)
    stated = {"unit": {"pool*": "no real unit"}, "note": {"*test*": "a test"}}
    found = check(cells, set_aside=stated)
    assert len(found.frame) == 9
    assert found.set_aside["rule"].value_counts().to_dict() == {"no real unit": 10, "a test": 1}


def test_a_column_that_is_mostly_unreadable_is_taken_for_misread():
    problem = refusal(repairs(action=["a", "replaced"] * 10))[0]
    assert (problem.line, problem.column, problem.value) == (2, "action", "a")
    assert "(10 of 20 cells): the column must have been misread" in problem.rule


def test_half_of_the_dates_bad_is_refused_and_a_fifth_is_not():
    bad = ["2024-13-01" if n % 2 else day for n, day in enumerate(DAYS)]
    assert "10 of 20" in refusal(repairs(date=bad))[0].rule
    few = ["2024-13-01" if n < 4 else day for n, day in enumerate(DAYS)]
    assert len(check(repairs(date=few)).frame) == 16


@pytest.mark.parametrize(
    ("cells", "result"),
    [({"cost": ["480,00", "12,50"] * 10}, "money"), ({"meter": ["12 km"] * 20}, "meter lives")],
)
def test_numbers_that_are_mostly_unreadable_block_their_result(cells, result):
    found = check(repairs(**cells))
    assert [name for name, _ in found.blocked] == [result]
    assert "misread" in found.blocked[0][1]
    assert len(found.frame) == 20


def test_numbers_that_may_be_thousands_block_money_until_the_mark_is_stated():
    cells = repairs(cost=["1.234", "12.500", "480", "2.000"] * 5)
    found = check(cells)
    assert found.blocked[0][0] == "money"
    assert found.frame["cost"].notna().sum() == 5
    assert check(cells, decimal=".").frame["cost"].sum() == pytest.approx(5 * 495.734)
    assert check(cells, decimal=",", thousands=".").frame["cost"].sum() == 5 * 16214


def test_a_table_of_which_no_row_is_left_is_refused():
    problem = refusal({"unit": [""], "date": ["2024-01-31"], "part": ["pump"]})[0]
    assert problem.rule == "must not be blank; so no row of the table repairs can be used"


def test_an_undecidable_date_order_is_refused_for_the_rows_own_date():
    problem = refusal(repairs(date=["01/02/2024", "03/04/2024"] * 10))[0]
    assert (problem.line, problem.column, problem.value) == (2, "date", "01/02/2024")
    assert problem.next_step == "set date_order in fleet.yaml: day first or month first"
    stated = check(repairs(date=["01/02/2024", "03/04/2024"] * 10), date_order="day first")
    assert stated.frame["date"][0] == pd.Timestamp("2024-02-01")


def test_an_undecidable_order_of_a_lesser_column_leaves_it_unknown():
    found = check(repairs(fitted_date=["01/02/2024", "03/04/2024"] * 10))
    assert found.frame["fitted_date"].isna().all()
    assert "cannot be decided" in found.set_aside["rule"][0]
    assert set(found.set_aside["scope"]) == {"first lives"}


def test_each_date_column_has_an_order_of_its_own():
    cells = repairs(date=["31/01/2024"] * 20, fitted_date=["12/31/2023"] * 20)
    found = check(cells)
    assert found.frame["date"][0] == pd.Timestamp("2024-01-31")
    assert found.frame["fitted_date"][0] == pd.Timestamp("2023-12-31")
    assert len(found.notes) == 2


def test_days_as_a_workbook_counts_them_are_refused_with_the_way_out():
    problem = refusal(repairs(date=[str(45300 + n) for n in range(20)]))[0]
    assert "day numbers" in problem.next_step


def typed(**changed):
    """Typed cells, as a Parquet file or a workbook has them."""
    days = pd.to_datetime(pd.Series(DAYS))
    return {**repairs(), "date": days, "unit": [7, 12] * 10, **changed}


def test_true_dates_and_numeric_names_of_typed_files():
    found = check(typed(cost=np.arange(20.0), position=[1.0, np.nan] * 10))
    assert found.frame["unit"].tolist()[:2] == ["7", "12"]
    assert found.frame["position"].tolist()[:2] == ["1", ""]
    assert found.frame["date"].dt.strftime("%Y-%m-%d").tolist() == DAYS


def test_true_dates_stay_what_they_are_whatever_order_is_stated():
    objects = [datetime.datetime.fromisoformat(day) for day in DAYS]
    for column in (objects, [one.date() for one in objects], pd.to_datetime(pd.Series(DAYS))):
        found = check(typed(date=column), date_order="day first")
        assert found.frame["date"].dt.strftime("%Y-%m-%d").tolist() == DAYS


def test_texts_among_true_dates_are_read_in_their_own_order():
    objects = [datetime.datetime.fromisoformat(day) for day in DAYS]
    mixed = [one if n % 2 else f"{one:%d.%m.%Y}" for n, one in enumerate(objects)]
    assert check(typed(date=mixed)).frame["date"].dt.strftime("%Y-%m-%d").tolist() == DAYS
    one_bad = check(typed(date=["bad", *objects[1:]]))
    assert aside(one_bad) == [(2, "date", "bad", "row")]


def test_moments_with_a_zone_fall_on_the_fleets_day():
    moments = pd.Series(pd.to_datetime(["2024-01-31T23:30:00Z"] * 20))
    found = check(typed(date=moments), timezone="Europe/Vienna")
    assert set(found.frame["date"]) == {pd.Timestamp("2024-02-01")}


def test_typed_numbers_must_be_finite_and_stated_tokens_are_missing():
    found = check(typed(cost=[np.inf] + [1.0] * 19, meter=[-1.0] + [0.0] * 19))
    assert set(aside(found)) == {(2, "cost", "inf", "cost"), (2, "meter", "-1", "meter")}
    assert check(typed(cost=[0.0] * 20), missing=("", "0")).frame["cost"].isna().all()


def test_true_and_false_are_yes_and_no():
    parts = {
        "part": ["a", "b", "c"],
        "safety_critical": pd.Series([True, False, None], dtype=object),
    }
    assert check(parts, "parts").frame["safety_critical"].tolist() == ["yes", "no", ""]


def test_categories_lists_and_missing_values_of_typed_files():
    cells = typed(
        complaint=pd.Categorical([None, "x"] * 10),
        lot=[["a", 1]] * 20,
        mode=pd.Series([pd.NA] * 20),
        order=np.arange(20.0),
    )
    found = check(cells)
    assert found.frame["complaint"].tolist()[:2] == ["", "x"]
    assert set(found.frame["lot"]) == {"['a', 1]"}
    assert set(found.frame["mode"]) == {""}
    assert found.frame["order"].tolist()[:2] == ["0", "1"]


def test_free_text_of_typed_files_is_text_whatever_its_cells_are():
    """A workbook gives order numbers as numbers and remarks as whatever was typed."""
    mixed = [7, 7.0, 7.5, datetime.datetime(2024, 1, 31), "007", None, True, [1], "", "#REF!"]
    cells = typed(order=pd.Series(mixed * 2, dtype=object), remark=pd.Series(mixed * 2))
    told = ["7", "7", "7.5", "2024-01-31", "007", "", "True", "[1]", "", ""]
    found = check(cells)
    assert found.frame["order"].tolist() == told * 2
    assert found.frame["remark"].tolist() == told * 2


@pytest.mark.parametrize("table", ["units", "parts", "readings", "fixes"])
def test_a_header_without_rows_is_an_empty_table(table):
    none = {column.name: pd.Series([], dtype=object) for column in TABLES[table]}
    found = check({**none, "further": pd.Series([], dtype=object)}, table)
    assert (len(found.frame), found.rows_read, len(found.set_aside)) == (0, 0, 0)


def test_a_cell_in_a_message_is_cut():
    found = check(repairs(action=with_value("x" * 5000, old="replaced")))
    assert len(found.set_aside["value"][0]) == 80
    assert len(refusal(repairs(action=["x" * 5000] * 20))[0].value) == 80


@pytest.mark.parametrize("table", list(TABLES))
def test_required_columns_of_every_table_are_required(table):
    required = {column.name for column in TABLES[table] if column.required}
    assert {problem.column for problem in refusal({"x": ["1"]}, table)} == required
