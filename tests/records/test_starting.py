"""A new folder to start from: what it holds can be checked at once, and nothing is overwritten."""

import csv
import io

import pytest

from rca.causes.check import check_text
from rca.errors import NotWritten, Refused
from rca.records.columns import TABLES
from rca.records.fleet import read_fleet
from rca.records.starting import EXAMPLES, lay_out


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """A laid-out folder, and what was said of it."""
    folder = tmp_path_factory.mktemp("start") / "deep" / "below"
    return folder, lay_out(folder)


def test_a_new_folder_holds_demo_workbooks_and_templates(started):
    folder, said = started
    assert sorted(one.name for one in folder.iterdir()) == ["demo_fleet", "my_fleet", "workbooks"]
    assert (folder / "demo_fleet" / "fleet.yaml").is_file()
    assert (folder / "workbooks" / "monthly_report.ipynb").is_file()
    assert not any(one.name.startswith(".") for one in folder.rglob("*"))
    assert f"rca check {folder / 'my_fleet'}" in said


def test_the_templates_are_a_fleet_of_one_example_row_each(started):
    fleet = read_fleet(started[0] / "my_fleet")
    assert {one.table: (one.read, one.used) for one in fleet.accounts} == dict.fromkeys(
        TABLES, (1, 1)
    )
    assert fleet.blocked == ()
    assert "1 repair rows read, 1 used" in check_text(started[0] / "my_fleet")


@pytest.mark.parametrize("table", list(TABLES))
def test_each_example_row_has_a_cell_for_each_column(table):
    assert len(next(csv.reader(io.StringIO(EXAMPLES[table])))) == len(TABLES[table])


def test_a_folder_with_something_in_it_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(Refused, match="the folder is not empty"):
        lay_out(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["mine.txt"]
    with pytest.raises(Refused, match="is a file"):
        lay_out(tmp_path / "mine.txt")
    with pytest.raises(NotWritten, match="could not be written"):
        lay_out(tmp_path / "mine.txt" / "below")
    assert (tmp_path / "mine.txt").read_text() == "keep"
