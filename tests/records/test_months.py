"""Months: their last day, the last complete one, which of them the records can answer."""

import calendar
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import Refused
from rca.records.fleet import read_fleet
from rca.records.months import last_complete_month, month_end, reportable_month
from tests.small_fleet import write_as_is


@given(st.dates(date(1900, 1, 1), date(2200, 1, 1)))
def test_the_day_after_a_months_end_is_the_first_of_the_next(day):
    end = month_end(f"{day:%Y-%m}")
    assert (end.year, end.month) == (day.year, day.month)
    assert (end + timedelta(days=1)).day == 1
    assert end.day == calendar.monthrange(day.year, day.month)[1]


@pytest.mark.parametrize(
    "month",
    ["2026-13", "2026-00", "2026-1", "2026", "2026-10-01", "10-2026", "", "2026-1_0", "٢٠٢٦-10",
     " 2026-10", "+026-10", "../../up", "0000-01"],
)  # fmt: skip
def test_what_is_no_month_is_refused(month):
    with pytest.raises(Refused, match="is not a month  -> write it as YYYY-MM"):
        month_end(month)


@pytest.mark.parametrize(
    ("cutoff", "now", "month"),
    [
        (date(2026, 10, 31), date(2026, 11, 1), "2026-10"),
        (date(2026, 10, 31), date(2026, 10, 31), "2026-09"),
        (date(2026, 10, 31), date(2027, 5, 5), "2026-10"),
        (date(2026, 12, 31), date(2026, 1, 15), "2025-12"),
        (date(2026, 10, 15), date(2026, 12, 1), "2026-10"),
    ],
)
def test_the_last_complete_month_is_not_later_than_the_cutoff(cutoff, now, month):
    assert last_complete_month(cutoff, now=now) == month


def test_a_month_is_reported_from_the_first_watched_to_the_cutoff(tmp_path):
    fleet = read_fleet(write_as_is(tmp_path))
    now = date(2025, 6, 1)
    assert reportable_month(fleet, None, now=now) == "2024-12"
    assert reportable_month(fleet, "2024-01", now=now) == "2024-01"
    with pytest.raises(Refused, match="lies after the cut-off 2024-12-31"):
        reportable_month(fleet, "2025-01", now=now)
    with pytest.raises(Refused, match="the earliest month that can be reported is 2024-01"):
        reportable_month(fleet, "2023-12", now=now)
