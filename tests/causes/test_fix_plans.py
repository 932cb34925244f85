"""A fix that three sources name makes one plan; where they differ it is told."""

from datetime import date

import pytest

from rca.causes.fix_plans import fixes_on_file
from rca.causes.fix_readings import readings_after_fix
from rca.causes.fixes import applied_to, first_fix_dates, fix_gaps, judge_fixes
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from tests.small_fleet import DEFAULT_YAML, WHOLE_FLEET, write_fleet

FLEET_FIX = """
fixes:
  Better filter:
    part: pump
    target_ratio: 0.4
    registered: 2024-05-01
    reading: {quantity: pressure drop, unit: kPa, at_most: 20, standard_uncertainty: 0.5}
"""
CASE = """
investigation: pumps
part: pump
mode: worn
unit: A0
problem: {statement: 24 pumps failed in 2024, because: dirt}
causes:
  dirt: {says: Dirt passes the filter, layer: upstream, branch: upstream supply}
measurements:
  drop: {quantity: pressure drop, unit: bar, at_most: 0.2, limit_source: invented,
         standard_uncertainty: 0.005, as_found: {reading: 0.5, date: 2024-06-03},
         after: {reading: 0.05, date: 2024-06-03},
         on_units: {A1: {reading: 0.06, date: 2024-07-01}, A2: {reading: 0.07}}}
fixes:
  better filter: {does: fit a finer filter, kind: corrective, cause: dirt, part: pump,
                  chosen_by: all units, registered: 2024-05-01, done: 2024-06-30, reading: drop}
"""
FIXES = "fix,unit,date,reading\nbetter filter,A0,2024-06-03,5\nbetter filter,A1,2024-06-03,\n"


def fleet_of(folder, *, case=CASE, fleet=FLEET_FIX, fixes=FIXES, **tables):
    write_fleet(folder, yaml=DEFAULT_YAML + fleet, **{**WHOLE_FLEET, **tables}, fixes=fixes)
    if case:
        (folder / "investigations").mkdir()
        (folder / "investigations" / "pumps.yaml").write_text(case, encoding="utf-8")
    return read_fleet(folder)


def only(fleet):
    (one,) = fixes_on_file(fleet).values()
    return one


def test_the_three_sources_make_one_plan(tmp_path):
    """Each key from the source that states it; small and capital letters name the same fix."""
    one = only(fleet_of(tmp_path))
    said = one.said
    assert (said.part, said.chosen_by, said.target_ratio) == ("pump", "all units", 0.4)
    assert said.cause == "Dirt passes the filter"
    assert said.mode == "worn", "the case's own, since the fix is for its part"
    assert one.measurement.id == "drop"
    assert one.done == date(2024, 6, 30)
    assert one.differs == (), "20 kPa and 0.2 bar are the same limit"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("part: pump,", "part: feed pump,", "part: pumps.yaml says feed pump, which counts"),
        ("registered: 2024-05-01", "registered: 2024-05-31",
         "registered: pumps.yaml says 2024-05-31, which counts; fleet.yaml says 2024-05-01"),
        ("at_most: 0.2,", "at_most: 0.3,",
         "limit of pressure drop: the investigation says limit at most 0.3 bar, which counts"),
        ("unit: bar", "unit: mm",
         "reading: fleet.yaml states it in kPa, which is no other unit of mm"),
        ("kind: corrective", "kind: containment, target_ratio: 0.3",
         "target ratio: pumps.yaml says 0.3, which counts; fleet.yaml says 0.4"),
    ],
)  # fmt: skip
def test_where_the_sources_differ_it_is_told_and_the_investigation_counts(tmp_path, old, new, told):
    assert CASE.count(old) == 1
    one = only(fleet_of(tmp_path, case=CASE.replace(old, new)))
    assert any(line.startswith(told) for line in one.differs), one.differs
    if "part" in told:
        assert one.said.part == "feed pump"


def test_readings_of_both_files_are_one_list(tmp_path):
    """5 kPa in the table is the 0.05 bar of the investigation, so A0 is read once, not twice."""
    fleet = fleet_of(tmp_path)
    readings, told = readings_after_fix(applied_to(fleet, "better filter"), only(fleet))
    rows = {(row.unit, f"{row.date:%Y-%m-%d}"): str(row.place) for row in readings.itertuples()}
    assert rows == {("A0", "2024-06-03"): "inside", ("A1", "2024-07-01"): "inside"}
    assert told == [], "A2 is not treated, so nobody misses the date of its reading"


def test_a_reading_on_which_the_files_differ_is_told(tmp_path):
    fleet = fleet_of(tmp_path, fixes=FIXES.replace(",5", ",30"))
    readings, told = readings_after_fix(applied_to(fleet, "better filter"), only(fleet))
    assert len(readings) == 2
    assert set(map(str, readings["place"])) == {"inside"}
    assert told == [
        "reading on A0 on 2024-06-03: the investigation says 0.05 bar, which counts; "
        "the fixes table says 30 kPa"
    ]


def test_readings_in_a_unit_that_does_not_fit_are_not_used(tmp_path):
    fleet = fleet_of(tmp_path, case=CASE.replace("unit: bar", "unit: mm"))
    readings, _ = readings_after_fix(applied_to(fleet, "better filter"), only(fleet))
    assert set(readings["date"].dt.strftime("%m-%d")) == {"06-03", "07-01"}
    assert len(readings) == 2, "those of the investigation itself"


def test_the_verdict_tells_the_dates_that_differ_and_counts_each_unit_once(tmp_path):
    rows = FIXES + "Better Filter,A2,2024-07-15,\n"
    fleet = fleet_of(tmp_path, fixes=rows)
    (verdict,) = judge_fixes(fleet, build_lives(fleet))
    assert verdict.plan.fix == "Better filter"
    assert verdict.units == 3
    assert verdict.cause.read == 2
    assert any(
        note.startswith("done: the investigation says 2024-06-30, but the fixes table has 1 of 3")
        for note in verdict.notes
    )


def test_an_investigation_alone_is_enough(tmp_path):
    """Neither fleet.yaml nor the table says the part: the investigation does."""
    fleet = fleet_of(tmp_path, fleet="")
    assert list(fix_gaps(fleet)) == []
    assert first_fix_dates(fleet) == {"pump": date(2024, 6, 3)}
    (verdict,) = judge_fixes(fleet, build_lives(fleet))
    assert verdict.plan.registered.date() == date(2024, 5, 1)


def test_a_fix_without_part_and_a_fix_without_rows_are_told(tmp_path):
    nothing = fleet_of(tmp_path / "one", fleet="", case="")
    assert [name for name, _ in fix_gaps(nothing)] == ["better filter"]
    undone = fleet_of(tmp_path / "two", fixes="fix,unit,date\nother,A0,2024-06-03\n")
    gaps = dict(fix_gaps(undone))
    assert "no unit of it" in gaps["Better filter"]
    assert "names its part" in gaps["other"]


def test_a_correction_is_judged_as_fleet_yaml_says(tmp_path):
    """What only makes the unit work is no containment; fleet.yaml may still ask for a verdict."""
    one = only(fleet_of(tmp_path, case=CASE.replace("kind: corrective", "kind: correction")))
    assert one.said.kind == "corrective"


def test_columns_of_the_fixes_table_are_enough_too(tmp_path):
    rows = "fix,unit,date,part,target_ratio\nfilter,A0,2024-06-03,pump,0.3\n"
    one = only(fleet_of(tmp_path, fleet="", case="", fixes=rows))
    assert (one.said.part, one.said.target_ratio, one.said.chosen_by) == ("pump", 0.3, "other")
