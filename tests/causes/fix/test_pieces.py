"""Pieces of lives on the calendar: cut, carried on, and refused where they make no sense."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.causes.fix.pieces import Pieces, day_number
from rca.errors import RcaError

DAY = np.datetime64("2024-01-01")


def some(**changes):
    columns = {
        "unit": ["b", "a", "a"],
        "entry": [0.0, 100.0, 0.0],
        "age": [50.0, 160.0, 40.0],
        "begin": [DAY, DAY, DAY + 60],
        "end": [DAY + 100, DAY + 60, DAY + 100],
        "failed": [False, True, False],
    }
    columns.update(changes)
    unit = columns.pop("unit")
    return Pieces.from_arrays(unit, **columns)


def test_age_advances_evenly_between_begin_and_end():
    pieces = some()
    middle = pieces.age_on(day_number([DAY + 50])[0])
    assert list(middle) == pytest.approx([25.0, 150.0, 0.0])
    assert list(pieces.age_on(1e9)) == [50.0, 160.0, 40.0]


def test_a_cut_on_the_day_of_a_failure_holds_it_and_the_day_before_does_not():
    pieces = some()
    on = pieces.until(day_number([DAY + 60])[0])
    before = pieces.until(day_number([DAY + 59])[0])
    assert on.failed.sum() == 1
    assert before.failed.sum() == 0
    assert before.running.sum() == 2


def test_a_life_of_one_day_counts_when_its_day_has_ended():
    pieces = some(end=[DAY + 100, DAY + 60, DAY + 60], age=[50.0, 160.0, 0.5])
    assert len(pieces.until(day_number([DAY + 59])[0])) == 2
    assert len(pieces.until(day_number([DAY + 60])[0])) == 3


@given(first=st.integers(1, 140), second=st.integers(1, 140))
def test_cutting_twice_is_cutting_at_the_earlier_day(first, second):
    start = float(day_number([DAY])[0])
    twice = some().until(start + first).until(start + second)
    once = some().until(start + min(first, second))
    for name in ("unit", "entry", "age", "end", "failed", "running"):
        assert np.allclose(getattr(twice, name), getattr(once, name)), name


def test_running_parts_are_carried_on_at_their_own_use():
    pieces = some()
    last = float(day_number([DAY + 100])[0])
    on = pieces.carried_on(last + 10)
    assert len(on) == 5
    assert list(on.age[3:]) == pytest.approx([55.0, 50.0])  # 0.5 and 1 a day
    assert on.running.sum() == 2
    fresh = pieces.carried_on(last + 10, from_new=np.array([True, False]))
    assert list(fresh.entry[3:]) == [50.0, 0.0]


def test_a_mode_makes_the_other_modes_suspensions_and_unknown_meters_are_left_out():
    rows = pd.DataFrame(
        {
            "unit": ["a", "a", "b"],
            "entry_days": [0.0, 0.0, 0.0],
            "age_days": [10.0, 20.0, 30.0],
            "entry_meter": [0.0, np.nan, 0.0],
            "age_meter": [1000.0, np.nan, 2500.0],
            "begin": pd.to_datetime(["2024-01-01", "2024-01-11", "2024-01-01"]),
            "end": pd.to_datetime(["2024-01-11", "2024-01-31", "2024-01-31"]),
            "failed": [True, True, False],
            "mode": ["leak", "crack", ""],
            "ended_by": ["failure", "failure", "cut-off"],
            "renewed": [True, True, False],
        }
    )
    assert list(Pieces.from_rows(rows, mode="leak").failed) == [True, False, False]
    meter = Pieces.from_rows(rows, scale="meter")
    assert list(meter.age) == [1000.0, 2500.0]
    assert list(meter.running) == [False, True]
    with pytest.raises(RcaError, match="scale is 'miles'"):
        Pieces.from_rows(rows, scale="miles")


def test_pieces_that_make_no_sense_are_refused_with_their_unit():
    with pytest.raises(RcaError, match=r"age must lie above entry.*unit b"):
        some(age=[0.0, 160.0, 40.0])
    with pytest.raises(RcaError, match=r"end must not lie before begin.*unit a"):
        some(end=[DAY + 100, DAY - 1, DAY + 100])
    with pytest.raises(RcaError, match="must be known"):
        some(entry=[0.0, np.nan, 0.0])
