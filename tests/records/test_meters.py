"""Meter readings to use: what is believed, mended or estimated, against histories worked by hand.

The days are counted from 1 January 2024; a plain unit runs 100 km a day.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rca.records.lives import build_lives, life_notes
from rca.records.meters import believed_meters, day_number
from tests.small_fleet import DEFAULT_YAML, small_fleet

REPAIRS = "unit,date,part,action,reason\nA,2024-07-01,pump,replaced,failure"
START = np.datetime64("2024-01-01")


def readings(*rows, unit="A"):
    """Rows of (day after the start, meter) or (day, meter, "yes") as a table's text."""
    lines = [f"{unit},{START + row[0]},{row[1]},{row[2] if len(row) > 2 else ''}" for row in rows]
    return "\n".join(["unit,date,meter,meter_replaced", *lines])


def fleet_with(folder, *rows, repairs=REPAIRS, **options):
    return small_fleet(folder, repairs=repairs, readings=readings(*rows), **options)


def meters_of(folder, *rows, **options):
    fleet = fleet_with(folder, *rows, **options)
    return believed_meters(fleet, pd.Index(fleet.watch["unit"]))


def use_on(meters, *days):
    wanted = np.array([day_number(np.array([START + day]))[0] for day in days])
    use, estimated = meters.at(np.zeros(len(days), dtype=np.int64), wanted)
    return use.tolist(), estimated.tolist()


PLAIN = [(0, 1000), (30, 4000), (60, 7000), (90, 10000), (120, 13000)]


def test_use_between_readings_is_interpolated_and_beyond_them_estimated(tmp_path):
    meters = meters_of(tmp_path, *PLAIN)
    assert use_on(meters, 15, 60, 130) == ([2500, 7000, 14000], [False, False, True])
    assert use_on(meters, -5) == ([500], [True])
    assert len(meters.untrusted) == 0


def test_use_beyond_the_last_reading_follows_the_last_90_days_only(tmp_path):
    """The unit stood still for a year, then ran 50 km a day for 100 days."""
    meters = meters_of(tmp_path, (0, 1000), (200, 1000), (230, 2500), (300, 6000))
    assert use_on(meters, 310)[0] == [pytest.approx(6000 + 10 * 50)]


def test_fewer_than_two_readings_are_no_meter(tmp_path):
    meters = meters_of(tmp_path, (0, 1000))
    assert meters.days_only == {"A"}
    assert np.isnan(use_on(meters, 10)[0][0])


def test_one_reading_that_runs_back_is_not_believed_and_is_listed_with_its_line(tmp_path):
    fleet = fleet_with(tmp_path, *PLAIN[:2], (45, 560), *PLAIN[2:])
    meters = believed_meters(fleet, pd.Index(["A"]))
    assert use_on(meters, 45)[0] == [5500]
    assert meters.replaced == frozenset()
    notes = life_notes(fleet, build_lives(fleet))
    assert notes[["file", "line", "value", "scope"]].to_numpy().tolist() == [
        ["readings.csv", 4, "560", "meter"]
    ]


@pytest.mark.parametrize("junk", [1111111, 999999, 0, 1])
def test_junk_between_good_readings_is_not_believed(tmp_path, junk):
    meters = meters_of(tmp_path, *PLAIN[:3], (75, junk), *PLAIN[3:])
    assert use_on(meters, 75)[0] == [8500]
    assert meters.untrusted["meter"].tolist() == [junk]


def test_a_unit_whose_readings_are_mostly_junk_has_no_meter(tmp_path):
    rows = [(n * 20, value) for n, value in enumerate([5, 900000, 7, 500000, 3, 800000, 1])]
    assert meters_of(tmp_path, *rows).days_only == {"A"}


def test_a_replaced_meter_that_is_stated_runs_on(tmp_path):
    """10 days at 100 km a day lie between the last old and the first new reading."""
    meters = meters_of(tmp_path, (0, 90000), (30, 93000), (40, 0, "yes"), (70, 3000))
    assert use_on(meters, 40, 70)[0] == [94000, 97000]
    assert meters.replaced == {"A"}
    assert len(meters.untrusted) == 0


def test_a_replaced_meter_that_nobody_stated_is_seen_by_its_later_readings(tmp_path):
    new = [(130 + 30 * n, 50 + 3000 * n) for n in range(4)]
    meters = meters_of(tmp_path, *PLAIN, *new)
    assert use_on(meters, 130, 220)[0] == [14000, 23000]
    assert meters.replaced == {"A"}


def test_two_late_readings_do_not_make_a_new_meter(tmp_path):
    """At a cost of 2.5 a replacement needs three readings that speak for it."""
    longer = [*PLAIN, (150, 16000), (180, 19000), (210, 22000), (240, 25000), (270, 28000)]
    meters = meters_of(tmp_path, *longer, (275, 10), (280, 500))
    assert meters.replaced == frozenset()
    assert meters.untrusted["meter"].tolist() == [10, 500]


def test_old_and_new_meter_read_on_one_day_are_both_believed(tmp_path):
    meters = meters_of(tmp_path, (0, 90000), (30, 93000), (30, 0, "yes"), (60, 3000))
    assert use_on(meters, 30, 60)[0] == [93000, 96000]
    assert len(meters.untrusted) == 0


def test_of_two_readings_a_day_the_higher_counts(tmp_path):
    meters = meters_of(tmp_path, *PLAIN, (60, 7050))
    assert use_on(meters, 60)[0] == [7050]
    assert len(meters.untrusted) == 0


def test_of_two_readings_a_day_the_one_that_fits_counts(tmp_path):
    """The higher one is junk: taking it would lose the good one of that day."""
    meters = meters_of(tmp_path, *PLAIN, (60, 888888))
    assert use_on(meters, 60)[0] == [7000]
    assert meters.untrusted["meter"].tolist() == [888888]


def test_meters_at_repairs_are_readings_too(tmp_path):
    repairs = """unit,date,part,action,reason,meter
                 A,2024-01-01,pump,replaced,failure,1000
                 A,2024-01-31,pump,replaced,failure,4000"""
    fleet = small_fleet(tmp_path, repairs=repairs)
    assert use_on(believed_meters(fleet, pd.Index(["A"])), 15) == ([2500], [False])


def test_the_most_a_unit_can_run_is_a_setting(tmp_path):
    yaml = DEFAULT_YAML + "most_use_a_day: 50\n"
    assert meters_of(tmp_path, *PLAIN, yaml=yaml).days_only == {"A"}


def test_a_reading_of_a_unit_nobody_knows_is_set_aside(tmp_path):
    text = readings(*PLAIN) + "\nZ,2024-01-01,5,"
    fleet = small_fleet(tmp_path, repairs=REPAIRS, readings=text, units="unit\nA")
    assert fleet.account("readings").set_aside == 1


rows = st.lists(
    st.tuples(st.integers(0, 360), st.integers(0, 50000), st.sampled_from(["", "", "yes"])),
    min_size=2,
    max_size=12,
)


@given(rows, st.randoms(use_true_random=False))
@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_use_never_falls_and_no_reading_is_lost_in_any_order(tmp_path, rows, random):
    meters = meters_of(tmp_path, *rows)
    use, _ = use_on(meters, *range(0, 361, 20))
    rising = np.diff([one for one in use if not np.isnan(one)])
    assert (rising >= -1e-6).all()
    again = meters_of(tmp_path, *random.sample(rows, len(rows)))
    np.testing.assert_array_equal(again.use, meters.use)
    assert sorted(again.untrusted["meter"]) == sorted(meters.untrusted["meter"])
