"""What restoring, replacing and removing the cause will cost, by a case and its records."""

import pytest

from rca.causes.case_ways import ways_of_case
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from rca.show.sheets.break_even import money_lines, ways_lines
from tests.cases import case_of
from tests.little_fleet import little_fleet

COSTS = {"restored_part": 60, "new_part": 150, "each_failure": 90}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    return read_fleet(little_fleet(tmp_path_factory.mktemp("ways") / "fleet"))


def test_new_parts_are_costed_from_the_records_and_what_is_not_there_is_told(fleet):
    """One part at once, and one with the labour at every further failure: 150 + n (150 + 90)."""
    case = case_of(part="Drive Chain", costs=COSTS, currency="EUR")
    found = ways_of_case(case, fleet, build_lives(fleet))
    (new,) = found.ways
    assert new.name == "replace each time"
    assert new.cost == pytest.approx(150 + new.failures * 240)
    assert new.cost_interval.lower < new.cost < new.cost_interval.upper
    assert new.spells > 20
    assert [line.split(":")[0] for line in found.missing] == [
        "restore each time", "replace, cause left in place", "replace, cause removed"
    ]  # fmt: skip
    lines = ways_lines(found, "EUR")
    assert lines[0].startswith("replace each time: ")
    assert " EUR (" in lines[0]
    assert 30 < found.horizon_days < 730, "as far as these short-lived parts were followed"
    assert f"over {found.horizon_days:.0f} days" in lines[0]


def test_without_costs_there_is_nothing_to_cost(fleet):
    assert ways_of_case(case_of(part="drive chain"), fleet, build_lives(fleet)) is None


def test_break_even_of_a_single_case_by_hand():
    """(60 + 90) / (150 + 90) = 62.5 %; removal pays when 265 = 240 t (1/10 - 1/40), t = 14.7."""
    lives = {"cause_removed": 265, "life_with_cause": 10, "life_without_cause": 40,
             "life_unit": "months"}  # fmt: skip
    restore, remove = money_lines(case_of(costs=COSTS | lives, currency="EUR"))
    assert "a restored part at 60 EUR" in restore
    assert "more than 62\u202f% as long" in restore
    assert "has paid for itself after 15 months" in remove


def test_a_cost_that_is_not_stated_is_named():
    """And the formula stands there, to be worked by hand on the sheet."""
    restore, remove = money_lines(case_of(costs={"new_part": 150}))
    assert "state restored_part, each_failure under costs:" in restore
    assert "(restored part + each failure) / (new part + each failure)" in restore
    assert "each_failure, cause_removed, life_with_cause, life_without_cause" in remove
