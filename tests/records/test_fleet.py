"""A fleet folder and its meaning: the row account, who was watched, what is blocked and why."""

import contextlib
from datetime import date

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rca.errors import Refused
from rca.records import fleet as fleet_module
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives, life_notes
from tests.small_fleet import DEFAULT_YAML, REPAIRS, WHOLE_FLEET, small_fleet, write_as_is

NO_SPAN = "name: Small fleet\n"  # neither records_begin nor cut-off


def fleet(folder, **options):
    return read_fleet(write_as_is(folder, **options))


def refusal(folder, **options):
    with pytest.raises(Refused) as refused:
        fleet(folder, **options)
    return refused.value.problems


def accounts(found):
    return {one.table: (one.read, one.used, one.set_aside) for one in found.accounts}


def rules(found, table="repairs"):
    """Line and rule of the rows of a table that were set aside."""
    rows = found.set_aside[found.set_aside["table"] == table]
    return dict(zip(rows["line"], rows["rule"], strict=True))


@pytest.fixture
def today_is(monkeypatch):
    """Set the day that the kit takes for today."""
    return lambda day: monkeypatch.setattr(fleet_module, "today", lambda timezone: day)


def test_a_sound_fleet_is_used_whole(tmp_path):
    found = fleet(tmp_path)
    assert accounts(found) == {"repairs": (24, 24, 0), "units": (3, 3, 0), "parts": (1, 1, 0)}
    assert found.blocked == ()
    assert str(found) == (
        "Small fleet: 24 repair rows read, 24 used, 0 set aside; 3 units; cut-off 2024-12-31"
    )
    assert found.lines["repairs"].tolist() == list(range(2, 26))


def test_every_table_refuses_at_once(tmp_path):
    found = refusal(tmp_path, repairs="unit,date\n", units="nothing\nx\n", parts="")
    assert {problem.file for problem in found} == {"repairs.csv", "units.csv", "parts.csv"}


def test_a_header_without_rows_is_refused_for_repairs(tmp_path):
    assert "header but no rows" in refusal(tmp_path, repairs="unit,date,part\n")[0].rule


def test_rows_of_unknown_units_are_set_aside_with_the_nearest_name(tmp_path):
    found = fleet(tmp_path, repairs=REPAIRS + "A22,2024-02-02,pump,replaced,failure,1,1\n")
    assert accounts(found)["repairs"] == (25, 24, 1)
    assert rules(found)[26] == "is not in the units table, or its row there was set aside"
    assert "is it 'A2'?" in found.set_aside["next_step"][0]


def test_units_are_one_whatever_their_case_and_leading_zeros_count(tmp_path):
    repairs = REPAIRS.replace("A0", "a0 ").replace("A1", "0012")
    units = WHOLE_FLEET["units"].replace("A1", "0012") + "12,2024-01-01\n"
    found = fleet(tmp_path, repairs=repairs, units=units)
    assert accounts(found)["repairs"] == (24, 24, 0)
    assert set(found.repairs["unit"]) == {"A0", "0012", "A2"}


def test_rows_outside_the_time_watched_are_set_aside_by_what_they_break(tmp_path):
    found = small_fleet(
        tmp_path, units="unit,in_service,retired\nA,2024-02-01,2024-06-30\nB,,",
        repairs="""unit,date,part,action,reason
                   A,2024-01-31,pump,replaced,failure
                   A,2024-07-01,pump,replaced,failure
                   B,2025-01-01,pump,replaced,failure
                   B,2023-12-31,pump,replaced,failure
                   B,2024-12-31,pump,replaced,failure""",
    )  # fmt: skip
    assert accounts(found)["repairs"] == (5, 1, 4)
    told = rules(found)
    assert "before" in told[2]
    assert told[3] == "lies after the unit was retired"
    assert told[4] == "lies after the cut-off 2024-12-31"
    assert "before" in told[5]


def test_readings_and_fixes_have_an_account_too(tmp_path):
    readings = "unit,date,meter\nA0,2024-01-01,5\nZ,2024-01-01,5\nA0,2025-01-01,5\nA0,,5\n"
    readings += "A0,2024-02-02,x\n"
    fixes = "fix,unit,date\nhose,a0,2024-05-01\nhose,Z,2024-05-01\nhose,A1,2025-05-01\n"
    found = fleet(tmp_path, readings=readings, fixes=fixes)
    assert accounts(found)["readings"] == (5, 1, 4)
    assert accounts(found)["fixes"] == (3, 1, 2)


def test_exact_repeats_are_set_aside_and_told(tmp_path):
    again = REPAIRS.splitlines()[3]
    found = fleet(tmp_path, repairs=f"{REPAIRS}{again}\n{again.replace('102', '999')}\n")
    assert accounts(found)["repairs"] == (26, 25, 1)
    assert rules(found) == {26: "repeats an earlier row in every column"}


def test_a_unit_that_stands_twice_counts_once(tmp_path):
    found = fleet(tmp_path, units=WHOLE_FLEET["units"] + "a0,2024-03-01\n")
    assert accounts(found)["units"] == (4, 3, 1)
    assert "stands in the table before" in rules(found, "units")[5]


def test_a_unit_retired_before_it_began_is_set_aside_and_so_are_its_repairs(tmp_path):
    units = "unit,in_service,retired\nA0,2024-01-01,2023-12-31\nA1,2024-01-01,\nA2,2024-01-01,\n"
    found = fleet(tmp_path, units=units)
    assert accounts(found) == {"repairs": (24, 16, 8), "units": (3, 2, 1), "parts": (1, 1, 0)}


def test_a_fleet_of_which_no_repair_is_left_is_refused(tmp_path):
    problem = refusal(tmp_path, repairs=REPAIRS.replace("A", "Z"))[0]
    assert (problem.file, problem.line, problem.value) == ("repairs.csv", 2, "Z0")
    assert "no row of the table repairs can be used" in problem.rule


def test_a_fleet_that_nobody_watched_is_refused(tmp_path):
    problem = refusal(tmp_path, units="unit,in_service\nA0,2025-01-01\n")[0]
    assert problem.rule == "no unit was in service at any time from 2024-01-01 to 2024-12-31"


def test_a_month_before_the_first_repair_is_no_fault(tmp_path):
    folder = write_as_is(tmp_path, repairs=REPAIRS.replace("2024-01", "2024-02"))
    found = read_fleet(folder, until=date(2024, 1, 31))
    assert accounts(found)["repairs"] == (24, 0, 24)
    assert found.blocked == ()


def test_a_day_before_the_records_is_refused(tmp_path):
    with pytest.raises(Refused, match="lies after 2023-12-31, the last day that counts"):
        read_fleet(write_as_is(tmp_path), until=date(2023, 12, 31))


def test_without_a_stated_span_the_repairs_give_it(tmp_path):
    found = fleet(tmp_path, yaml=NO_SPAN)
    assert found.cutoff == date(2024, 12, 15)
    assert found.watch["watched_from"].min() == pd.Timestamp("2024-01-01")


def test_a_date_in_the_future_does_not_move_the_cutoff(tmp_path, today_is):
    today_is(date(2025, 6, 1))
    found = fleet(tmp_path, yaml=NO_SPAN, repairs=REPAIRS.replace("2024-05-01", "2104-05-01"))
    assert found.cutoff == date(2024, 12, 15)
    assert rules(found) == {10: "lies in the future"}
    assert "in the future" in refusal(
        tmp_path / "all", yaml=NO_SPAN, repairs=REPAIRS.replace("2024", "2104")
    )[0].rule  # fmt: skip


def test_a_cutoff_in_the_future_counts_up_to_today(tmp_path, today_is):
    today_is(date(2024, 6, 30))
    found = fleet(tmp_path)
    assert found.cutoff == date(2024, 6, 30)
    assert "lies in the future: read up to 2024-06-30" in " ".join(found.notes)
    assert accounts(found)["repairs"] == (24, 12, 12)


def test_a_stated_past_cutoff_gives_the_same_whatever_the_day(tmp_path, today_is):
    repairs = REPAIRS.replace("2024-05-01", "2030-05-01")
    write_as_is(tmp_path, repairs=repairs)
    today_is(date(2025, 1, 1))
    before = read_fleet(tmp_path).set_aside
    today_is(date(2031, 1, 1))
    pd.testing.assert_frame_equal(read_fleet(tmp_path).set_aside, before)


def blocked(folder, **options):
    return dict(fleet(folder, **options).blocked)


def test_no_reason_or_action_in_any_row_blocks_lives(tmp_path):
    for number, word in enumerate(("failure", "replaced")):
        found = fleet(tmp_path / str(number), repairs=REPAIRS.replace(word, ""))
        why = found.is_blocked("lives")
        assert ("reason" if word == "failure" else "action") in why
        lives = build_lives(found)
        assert len(lives.rows) == 0
        assert set(lives.left_out["reason"]) == {why}


def test_rows_without_a_reason_are_counted(tmp_path):
    found = fleet(tmp_path, repairs=REPAIRS.replace("failure", "", 5))
    assert "5 of 24 repair rows state no reason: they count as no failure" in found.notes
    assert found.blocked == ()


def test_a_lone_early_date_blocks_lives_until_the_begin_is_stated(tmp_path):
    repairs = REPAIRS.replace("2024-05-01", "1924-05-01", 1)
    why = blocked(tmp_path / "a", yaml=NO_SPAN, repairs=repairs)["lives"]
    assert "1924-05-01" in why
    assert "state records_begin" in why
    assert "lives" not in blocked(tmp_path / "b", repairs=repairs)


@pytest.mark.parametrize("unit", ["mi", "Miles", "h"])
def test_meters_in_another_unit_block_meter_lives(tmp_path, unit):
    repairs = REPAIRS.replace("meter\n", "meter,meter_unit\n").replace("00\n", f"00,{unit}\n")
    assert "fleet.yaml says km" in blocked(tmp_path, repairs=repairs)["meter lives"]


@pytest.mark.parametrize("unit", ["km", " KM", "Kilometres", ""])
def test_the_same_unit_in_other_spellings_is_no_clash(tmp_path, unit):
    repairs = REPAIRS.replace("meter\n", "meter,meter_unit\n").replace("00\n", f"00,{unit}\n")
    assert blocked(tmp_path, repairs=repairs) == {}


def test_no_costs_and_no_meters_are_told(tmp_path):
    bare = "\n".join(",".join(line.split(",")[:5]) for line in REPAIRS.splitlines()[:13])
    assert set(blocked(tmp_path, repairs=bare)) == {"money", "meter lives"}


ORDERS = "unit,date,part,action,reason,meter,order,cost,order_cost\n" + "".join(
    f"A{n % 3},2024-01-{n + 1:02d},pump,replaced,failure,{100 * n},O{n // 2},{50 + n},"
    f"{101 + 2 * (n - n % 2)}\n"
    for n in range(20)
)


def test_orders_that_add_up_are_fine(tmp_path):
    assert blocked(tmp_path, repairs=ORDERS) == {}


@pytest.mark.parametrize(
    ("old", "new"), [(",101\n", ",400\n"), ("O0,50,101", "O0,50,102"), (",51,101", ",61,101")]
)
def test_orders_that_do_not_add_up_block_money_and_hide_the_costs(tmp_path, old, new):
    found = fleet(tmp_path, repairs=ORDERS.replace(old, new))
    assert "costs do not add up: in 1 of 10 orders" in found.is_blocked("money")
    assert "first in order O0" in found.is_blocked("money")
    assert found.repairs["cost"].isna().all()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (",50,101", ",,101"),  # an unknown cost: its order cannot be compared
        ("A0,2024-01-01", "A0,2024-01-41"),  # a row set aside still counts in its order
        ("A0,2024-01-01", "Z9,2024-01-01"),
        ("A0,2024-01-01", "A0,2025-01-01"),
    ],
)
def test_what_is_unknown_or_set_aside_is_no_reason_to_doubt_an_order(tmp_path, old, new):
    assert "money" not in blocked(tmp_path, repairs=ORDERS.replace(old, new, 1))


def test_zero_and_negative_costs_are_counted(tmp_path):
    repairs = REPAIRS.replace(",100,", ",0,").replace(",101,", ",-7,")
    notes = " ".join(fleet(tmp_path, repairs=repairs).notes)
    assert "1 repair rows cost 0" in notes
    assert "1 repair rows cost less than 0: kept as credits" in notes


def test_a_closed_column_without_any_date_means_nothing(tmp_path):
    """Else every order would count as open, and no failure as a failure."""
    repairs = REPAIRS.replace("meter\n", "meter,closed\n").replace("00\n", "00,\n")
    found = fleet(tmp_path, repairs=repairs)
    assert "all orders are taken as closed" in " ".join(found.notes)
    assert build_lives(found).rows["failed"].any()


def test_parts_that_are_not_in_their_table_are_noted_with_the_nearest(tmp_path):
    found = fleet(tmp_path, repairs=REPAIRS.replace("pump", "pumps", 1))
    note = next(note for note in found.notes if note.startswith("part "))
    assert note == (
        "part 'pumps' (1 rows) is not in the parts table; if it is 'pump', set values: "
        "{part: {pumps: pump}}"
    )


def test_conditions_of_the_parts_table_are_refused_with_their_line(tmp_path):
    parts = 'part,fitted_to\npump,all\nfan,depo = 5\nhose,"model ="\n'
    units = "unit,in_service,depot\nA0,2024-01-01,5\nA1,2024-01-01,5\nA2,2024-01-01,5\n"
    first, second = refusal(tmp_path, parts=parts, units=units)
    assert (first.file, first.line, first.column) == ("parts.csv", 3, "fitted_to")
    assert "did you mean 'depot'?" in first.next_step
    assert second.line == 4


def test_without_a_units_table_the_repairs_name_the_units(tmp_path):
    text = {"repairs": REPAIRS, "readings": "unit,date,meter\na0,2024-01-01,5\nZ,2024-01-01,5\n"}
    folder = write_as_is(tmp_path, tables="{repairs: repairs.csv, readings: readings.csv}", **text)
    found = read_fleet(folder)
    assert accounts(found)["readings"] == (2, 1, 1)
    assert "no units table" in " ".join(found.notes)
    assert set(found.watch["unit"]) == {"A0", "A1", "A2"}


def test_failures_at_places_that_no_table_knows_are_listed_with_their_line(tmp_path):
    repairs = REPAIRS + "A0,2024-02-02,fan,replaced,failure,1,\n"
    found = fleet(tmp_path, repairs=repairs)
    notes = life_notes(found, build_lives(found))
    assert list(zip(notes["file"], notes["line"], notes["scope"], strict=True)) == [
        ("repairs.csv", 26, "lives")
    ]


FAULTS = {
    "bad date": lambda row: row.replace("2024-", "2024-99-"),
    "no unit": lambda row: row.replace(row[:2], "", 1),
    "strange unit": lambda row: row.replace("A", "Q", 1),
    "wrong action": lambda row: row.replace("replaced", "swapped"),
    "bad meter": lambda row: row.rsplit(",", 1)[0] + ",-5",
    "bad cost": lambda row: row.replace("failure,1", "failure,x1"),
    "one field more": lambda row: row + ",extra",
    "one field less": lambda row: row.rsplit(",", 1)[0],
    "stray quote": lambda row: row.replace("pump", '"pump'),
    "after the cut-off": lambda row: row.replace("2024-", "2025-", 1),
    "before the records": lambda row: row.replace("2024-", "2023-", 1),
    "NUL": lambda row: row.replace("pump", "pu\0mp"),
    "nothing": lambda row: ",,,,,,",
    "said twice": lambda row: f"{row}\n{row}",
}
NOT_ONE_ROW = {"nothing": -1, "said twice": 1}  # a blank row is no record
STILL_USED = {"bad meter", "bad cost", "said twice"}  # cells unknown, or one of the two rows

faults_at = st.dictionaries(st.integers(0, 23), st.sampled_from(list(FAULTS)), max_size=4)


def damaged(faults):
    header, *rows = REPAIRS.splitlines()
    return "\n".join([header, *(FAULTS[faults.get(n, "")](row) if n in faults else row
                                for n, row in enumerate(rows))]) + "\n"  # fmt: skip


@given(faults_at)
@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_row_is_lost_whatever_is_wrong_with_it(tmp_path, faults):
    """Rows read are rows used and rows set aside; each fault costs its own row and no other."""
    found = fleet(tmp_path, repairs=damaged(faults))
    read, used, aside = accounts(found)["repairs"]
    assert read == used + aside
    assert read == 24 + sum(NOT_ONE_ROW.get(fault, 0) for fault in faults.values())
    assert used == 24 - sum(fault not in STILL_USED for fault in faults.values())
    rows = found.set_aside[found.set_aside["scope"] == "row"]
    assert len(rows) == aside
    assert rows["line"].is_unique
    assert (rows["line"] >= 2).all()
    assert rows[["file", "rule"]].ne("").all(axis=None)


@given(st.randoms(use_true_random=False), faults_at)
@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_the_order_of_rows_never_matters(tmp_path, random, faults):
    faults = {n: fault for n, fault in faults.items() if fault != "stray quote"}
    header, *rows = damaged(faults).splitlines()
    shuffled = random.sample(rows, len(rows))
    tables = []
    for name, lines in (("a", rows), ("b", shuffled)):
        found = fleet(tmp_path / name, repairs="\n".join([header, *lines]) + "\n")
        lives = build_lives(found).rows.drop(columns="row")
        tables.append((accounts(found), found.blocked, lives))
    assert tables[0][:2] == tables[1][:2]
    pd.testing.assert_frame_equal(tables[0][2], tables[1][2])


names = st.text(st.characters(categories=["L"]), min_size=3, max_size=12).map(lambda s: f"{s} no")


@given(st.lists(names, min_size=7, max_size=7, unique_by=str.casefold))
@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_renaming_columns_with_a_mapping_never_matters(tmp_path, headers):
    header, rest = REPAIRS.split("\n", 1)
    ours = header.split(",")
    columns = ", ".join(f'{mine}: "{theirs}"' for mine, theirs in zip(ours, headers, strict=True))
    table = f"{{file: repairs.csv, columns: {{{columns}}}}}"
    table = f"{{repairs: {table}, units: units.csv, parts: parts.csv}}"
    plain = fleet(tmp_path / "plain")
    renamed = fleet(tmp_path / "renamed", repairs=",".join(headers) + "\n" + rest, tables=table)
    assert accounts(renamed) == accounts(plain)
    pd.testing.assert_frame_equal(renamed.repairs[list(plain.repairs)], plain.repairs)


@given(st.sampled_from(["repairs", "units", "parts"]), st.binary(max_size=200))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_bytes_a_table_holds_there_is_an_answer_or_a_refusal(tmp_path, table, data):
    with contextlib.suppress(Refused):
        assert all(
            one.read == one.used + one.set_aside
            for one in fleet(tmp_path, **{table: data}).accounts
        )


@given(st.text(max_size=200))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_fleet_yaml_says_there_is_an_answer_or_a_refusal(tmp_path, text):
    with contextlib.suppress(Refused):
        read_fleet(write_as_is(tmp_path, files={"fleet.yaml": text.encode("utf-8", "replace")}))


def test_yaml_default_is_what_the_tests_assume():
    assert "cutoff: 2024-12-31" in DEFAULT_YAML
