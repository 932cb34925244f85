"""One group of units read as a fleet of its own."""

import pytest

from rca.errors import Refused
from rca.records.fleet import read_fleet, read_tables
from rca.records.groups import Group, group_values
from rca.records.settings import read_settings
from tests.little_fleet import change, little_fleet, read


def test_the_groups_share_out_the_rows_and_rows_of_no_unit_are_told_in_each(tmp_path):
    folder = little_fleet(tmp_path)
    rows = read(folder / "repairs.csv")
    rows[7]["date"] = "2025-02-31"
    change(folder / "repairs.csv", rows)
    whole = read_fleet(folder)
    parts = [read_fleet(folder, group=Group("depot", name)) for name in ("North", "South")]
    used = [one.account("repairs").used for one in parts]
    assert sum(used) == whole.account("repairs").used
    for one in parts:
        account = one.account("repairs")
        assert account.set_aside == 1
        assert account.read == account.used + account.set_aside
        assert one.cutoff == whole.cutoff
        assert one.settings.records_begin == whole.settings.records_begin
    assert set(parts[0].units["unit"]) | set(parts[1].units["unit"]) == set(whole.units["unit"])


def test_values_come_in_order_and_blank_last(tmp_path):
    folder = little_fleet(tmp_path)
    rows = read(folder / "units.csv")
    rows[0]["depot"] = ""
    change(folder / "units.csv", rows)
    checked = read_tables(read_settings(folder))
    assert group_values(checked, "depot") == ["North", "South", ""]
    with pytest.raises(Refused, match="did you mean 'depot'"):
        group_values(checked, "depo")
