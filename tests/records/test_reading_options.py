"""Options of fleet.yaml by which an export is read without rewriting it; cells CONSTRUCTED."""

import zipfile

import pytest

from rca.errors import Refused
from rca.records.fleet import read_fleet
from tests.small_fleet import write_fleet

HEAD = "name: Options\nmeter_unit: km\nrecords_begin: 2024-01-01\ncutoff: 2024-12-31\n"
ROWS = """
unit, date,       part,  status,    cost,   kind
T1,   2024-02-01, pump,  closed,    10.00,  BD
T2,   2024-02-02, pump,  cancelled, 11.00,  BD
POOL, 2024-02-03, pump,  closed,    12.00,  BD
T3,   2024-02-04, pump_hose, closed, 13.00, PL
"""


def yaml(more: str) -> str:
    """Return a fleet.yaml for repairs.csv with some more keys of the table."""
    return f"{HEAD}tables:\n  repairs:\n    file: repairs.csv\n    date_order: year first\n{more}"


def test_rows_are_set_aside_by_column_and_value(tmp_path):
    """By our name of a column or the file's; * stands for any text; the reason is kept."""
    more = (
        "    set_aside:\n      status: {cancelled: order cancelled}\n"
        "      unit: {pool: no unit}\n      part: {'*_*': several parts}\n"
    )
    fleet = read_fleet(write_fleet(tmp_path / "a", yaml=yaml(more), repairs=ROWS))
    assert fleet.repairs["unit"].tolist() == ["T1"]
    assert fleet.set_aside["rule"].tolist() == ["order cancelled", "no unit", "several parts"]
    assert fleet.set_aside["line"].tolist() == [3, 4, 5]


def test_a_set_aside_column_that_is_not_there_is_refused(tmp_path):
    """A misspelt column would set nothing aside in silence."""
    folder = write_fleet(
        tmp_path / "a", yaml=yaml("    set_aside: {sttatus: {cancelled: x}}\n"), repairs=ROWS
    )
    with pytest.raises(Refused, match="status"):
        read_fleet(folder)


def test_a_column_without_a_name_need_not_be_there(tmp_path):
    """A rule for rows that have moved right holds only where some have."""
    more = "    set_aside: {'Unnamed: 6': {'*': moved}}\n"
    fleet = read_fleet(write_fleet(tmp_path / "a", yaml=yaml(more), repairs=ROWS))
    assert fleet.account("repairs").set_aside == 0


def test_one_word_may_hold_for_all_rows(tmp_path):
    """Without a reason column, `values: {reason: {"": failure}}` says how rows are to be read."""
    plain = read_fleet(write_fleet(tmp_path / "a", yaml=yaml(""), repairs=ROWS))
    assert plain.is_blocked("lives")
    more = '    values: {reason: {"": failure}, action: {"": replaced}}\n'
    fleet = read_fleet(write_fleet(tmp_path / "b", yaml=yaml(more), repairs=ROWS))
    assert not fleet.is_blocked("lives")
    assert fleet.repairs["reason"].eq("failure").all()
    assert fleet.repairs["action"].eq("replaced").all()
    wrong = '    values: {reason: {"": failed}}\n'
    with pytest.raises(Refused, match="failed"):
        read_fleet(write_fleet(tmp_path / "c", yaml=yaml(wrong), repairs=ROWS))


def test_each_date_column_may_have_its_own_order(tmp_path):
    """Opened year first, closed day first."""
    rows = "unit,date,part,closed\nT1,2024-02-01,pump,05/02/2024\nT2,2024-03-01,pump,07/03/2024"
    text = yaml("").replace("year first", "{date: year first, closed: day first}")
    fleet = read_fleet(write_fleet(tmp_path / "a", yaml=text, repairs=rows))
    assert fleet.repairs["closed"].dt.strftime("%Y-%m-%d").tolist() == ["2024-02-05", "2024-03-07"]


def test_text_around_numbers_is_taken_off(tmp_path):
    """Currency signs and units beside figures; another sign stays unreadable and is told."""
    rows = "unit,date,part,cost,meter\n" + "\n".join(
        f"T1,2024-02-{day:02d},pump,{cost},{1000 + day} km"
        for day, cost in enumerate(["$ 10.50", "$11", "€ 12", *["$ 1.00"] * 8], start=1)
    )
    fleet = read_fleet(
        write_fleet(tmp_path / "a", yaml=yaml("    affixes: ['$', km]\n"), repairs=rows)
    )
    assert fleet.repairs["cost"].iloc[:2].tolist() == [10.5, 11.0]
    assert fleet.repairs["cost"].isna().tolist()[2]
    assert fleet.repairs["meter"].iloc[0] == 1001
    (aside,) = fleet.set_aside.to_dict("records")
    assert (aside["line"], aside["scope"]) == (4, "cost")


def test_a_mark_between_thousands_must_group_by_three(tmp_path):
    """With thousands ",", 1,234.50 is read and 12,5 is no number (and not 125)."""
    rows = 'unit,date,part,cost\nT1,2024-02-01,pump,"1,234.50"\nT1,2024-02-02,pump,"12,5"\n'
    rows += "".join(f"T1,2024-03-{day:02d},pump,7.00\n" for day in range(1, 9))
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "fleet.yaml").write_text(yaml("    thousands: ','\n"))
    (folder / "repairs.csv").write_text(rows)
    fleet = read_fleet(folder)
    assert fleet.repairs["cost"].iloc[0] == 1234.5
    assert fleet.set_aside["value"].tolist() == ["12,5"]


def test_lines_above_the_header_are_not_read_and_lines_stay_right(tmp_path):
    """header_line says where the names stand; messages count the lines of the file."""
    rows = "Printed 2024\n\nunit,date,part\nT1,2024-02-01,pump\nT1,soon,pump\n"
    rows += "".join(f"T1,2024-03-{day:02d},pump\n" for day in range(1, 9))
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "fleet.yaml").write_text(yaml("    header_line: 3\n"))
    (folder / "repairs.csv").write_text(rows)
    fleet = read_fleet(folder)
    assert fleet.account("repairs").read == 10
    assert fleet.set_aside["line"].tolist() == [5]


def test_lines_are_right_below_line_breaks_inside_cells(tmp_path):
    """A quoted cell of two lines moves the lines of all rows below it."""
    rows = 'unit,date,part,complaint\nT1,2024-02-01,pump,"leak\nagain"\nT1,soon,pump,x\n'
    rows += "".join(f"T1,2024-03-{day:02d},pump,x\n" for day in range(1, 9))
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "fleet.yaml").write_text(yaml(""))
    (folder / "repairs.csv").write_text(rows)
    assert read_fleet(folder).set_aside["line"].tolist() == [4]


def test_a_zip_with_one_table_is_read_and_one_with_two_is_refused(tmp_path):
    """Archives are a container, not a kind of table."""
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "fleet.yaml").write_text(yaml("").replace("repairs.csv", "repairs.zip"))
    text = "unit,date,part\nT1,2024-02-01,pump\n"
    with zipfile.ZipFile(folder / "repairs.zip", "w") as archive:
        archive.writestr("repairs.csv", text)
    assert read_fleet(folder).account("repairs").used == 1
    with zipfile.ZipFile(folder / "repairs.zip", "w") as archive:
        archive.writestr("repairs.csv", text)
        archive.writestr("more.csv", text)
    with pytest.raises(Refused, match="2 files"):
        read_fleet(folder)


def test_a_column_can_be_stated_absent(tmp_path):
    """`columns: {meter: ""}`: a column of that name in the file is no meter."""
    rows = "unit,date,part,meter\nT1,2024-02-01,pump,12\nT1,2024-03-01,pump,28"
    fleet = read_fleet(
        write_fleet(tmp_path / "a", yaml=yaml("    columns: {meter: ''}\n"), repairs=rows)
    )
    assert fleet.repairs["meter"].isna().all()


def test_results_blocked_by_hand_stay_blocked(tmp_path):
    """Whoever wrote fleet.yaml knows that the costs cannot be added up."""
    text = "blocked: {money: one order stands on several rows}\n" + yaml("")
    fleet = read_fleet(write_fleet(tmp_path / "a", yaml=text, repairs=ROWS))
    assert "several rows" in fleet.is_blocked("money")
    with pytest.raises(Refused, match="moneyy"):
        read_fleet(
            write_fleet(tmp_path / "b", yaml=text.replace("money:", "moneyy:"), repairs=ROWS)
        )
