"""Several files of one table, each with columns and words of its own."""

from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from rca.causes.findings import find
from rca.causes.rows_behind import marked_repairs
from rca.errors import Refused
from rca.records.fleet import read_fleet
from rca.records.groups import Group
from rca.records.lives import build_lives
from rca.records.settings import read_settings

FAILED = """unit,date,part,cost
U1,2024-01-10,Pump,100
U2,2024-02-30,Pump,110
U2,2024-05-02,pump,120
U2,2024-06-02,Hose,9
"""
PLANNED = """Machine;Day;Item;Depot done
U1;05.03.2024;PUMP;North
U3;07.03.2024;Pump;South
U1;;Pump;North
"""
SETTINGS = """name: two files
records_begin: 2024-01-01
cutoff: 2024-12-31
tables:
  repairs:
    file: failed.csv
    values: {reason: {"": failure}, action: {"": replaced}}
  repairs 2:
    file: planned.csv
    delimiter: ";"
    date_order: day first
    columns: {unit: Machine, date: Day, part: Item}
    values: {reason: {"": planned}, action: {"": replaced}}
  units: units.csv
"""
UNITS = "unit,in_service,depot\nU1,2024-01-01,North\nU2,2024-01-01,South\nU3,2024-01-01,South\n"


@pytest.fixture
def folder(tmp_path) -> Path:
    for name, text in {
        "failed.csv": FAILED, "planned.csv": PLANNED, "units.csv": UNITS, "fleet.yaml": SETTINGS,
    }.items():  # fmt: skip
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_rows_of_both_files_are_read_by_their_own_rules_and_accounted_for(folder):
    """Worked by hand: 4 + 3 rows, one on 30 February and one without a day."""
    fleet = read_fleet(folder)
    account = fleet.account("repairs")
    assert (account.read, account.used, account.set_aside) == (7, 5, 2)
    assert account.file == "failed.csv + planned.csv"
    assert fleet.repairs["reason"].tolist() == ["failure"] * 3 + ["planned"] * 2
    assert fleet.repairs["date"].dt.date.tolist()[-2:] == [date(2024, 3, 5), date(2024, 3, 7)]
    assert fleet.repairs["cost"].tolist()[:3] == [100, 120, 9]
    assert fleet.repairs["cost"].isna().tolist()[3:] == [True, True]
    assert fleet.repairs["Depot done"].astype(str).tolist() == ["", "", "", "North", "South"]


def test_names_that_differ_in_case_are_one_across_files(folder):
    assert sorted(map(str, read_fleet(folder).repairs["part"].unique())) == ["Hose", "Pump"]


def test_what_is_set_aside_names_its_own_file_and_line(folder):
    aside = read_fleet(folder).set_aside
    assert aside[["file", "line"]].to_numpy().tolist() == [["failed.csv", 3], ["planned.csv", 4]]


def test_lines_behind_a_figure_name_their_file(folder):
    fleet = read_fleet(folder)
    assert fleet.lines_of("repairs").tolist() == [
        "failed.csv, line 2", "failed.csv, line 4", "failed.csv, line 5",
        "planned.csv, line 2", "planned.csv, line 3",
    ]  # fmt: skip
    assert fleet.lines_of("units").tolist() == [2, 3, 4]
    findings = find(fleet, month="2024-12")
    table = marked_repairs(findings)
    assert "planned.csv, line 2" in set(table["line"])


def test_lives_run_on_from_one_file_to_the_other(folder):
    """U1's pump fails on 10 January and is replaced as planned on 5 March."""
    rows = build_lives(read_fleet(folder)).rows
    one = rows[(rows["unit"].astype(str) == "U1") & (rows["part"].astype(str) == "Pump")]
    ends = one.sort_values("begin")["ended_by"].astype(str).tolist()
    assert ends[-2:] == ["planned", "cut-off"]


def test_one_group_keeps_what_was_set_aside_of_its_units(folder):
    """Line 3 of one file is not line 3 of the other."""
    north = read_fleet(folder, group=Group("depot", "North"))
    assert north.account("repairs").used == 2
    assert "planned.csv" in set(north.set_aside["file"])


def test_orders_of_a_file_that_does_not_close_them_count_as_closed(folder):
    text = FAILED.replace("cost\n", "closed\n").replace(",100", ",2024-01-11")
    for cost in ("110", "120"):
        text = text.replace(f",{cost}", ",2024-06-30")
    (folder / "failed.csv").write_text(text.replace(",9\n", ",\n"), encoding="utf-8")
    fleet = read_fleet(folder)
    assert any("planned.csv does not say when orders were closed" in one for one in fleet.notes)
    planned = fleet.repairs["reason"].astype(str).eq("planned")
    assert (fleet.repairs["closed"] == fleet.repairs["date"])[planned].all()
    assert pd.isna(fleet.repairs["closed"].iloc[2])


def test_faults_of_both_files_are_told_at_once(folder):
    (folder / "failed.csv").write_text("unit,date\nU1,2024-01-10\n", encoding="utf-8")
    (folder / "planned.csv").unlink()
    with pytest.raises(Refused) as refused:
        read_fleet(folder)
    assert {one.file for one in refused.value.problems} == {"failed.csv", "planned.csv"}


def test_a_wrong_word_names_the_second_entry(folder):
    text = SETTINGS.replace('{reason: {"": planned}', '{reason: {"": plannd}')
    (folder / "fleet.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match=r"tables\.repairs 2\.values\.reason"):
        read_settings(folder)
    (folder / "fleet.yaml").write_text(SETTINGS.replace("repairs 2", "repairs two"))
    with pytest.raises(Refused, match="repairs two"):
        read_settings(folder)
