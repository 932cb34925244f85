"""Histories: what is joined, kept and refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import NoFit, RcaError
from rca.life.histories import Histories
from tests.life.engines import valve_seats, whole_day_histories


def test_touching_and_overlapping_stretches_are_joined() -> None:
    """One unit is never counted twice at an age; a true gap stays."""
    histories = Histories.of(
        ["b", "a", "a", "a", "a"],
        [0, 30, 10, 0, 5],
        [9, 40, 20, 10, 12],
        event_unit=["a", "a", "b"],
        event_age=[35, 10, 9],
    )
    assert list(histories.units) == ["a", "b"]
    assert list(zip(histories.stretch_unit, histories.start, histories.end, strict=True)) == [
        (0, 0, 20),
        (0, 30, 40),
        (1, 0, 9),
    ]
    assert list(histories.event_stretch) == [0, 1, 2]
    assert list(histories.exposure) == [30, 9]
    assert list(histories.events) == [2, 1]


@given(whole_day_histories())
def test_every_event_lies_in_its_stretch(histories: Histories) -> None:
    """The stretch noted for an event is one of its unit and holds its age."""
    stretch = histories.event_stretch
    assert (histories.stretch_unit[stretch] == histories.event_unit).all()
    assert (histories.start[stretch] <= histories.event_age).all()
    assert (histories.event_age <= histories.end[stretch]).all()


@given(whole_day_histories(), st.integers(0, 20))
def test_since_keeps_what_was_watched_later(histories: Histories, age: int) -> None:
    """Time and events before the age are left out, all others kept."""
    if histories.end.max() < age:
        with pytest.raises(NoFit):
            histories.since(age)
        return
    later = histories.since(age)
    run = np.maximum(histories.end - np.maximum(histories.start, age), 0)
    assert later.exposure.sum() == run.sum()
    assert len(later.event_age) == (histories.event_age >= age).sum()
    assert (later.stretch_unit[later.event_stretch] == later.event_unit).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"event_age": [101.0]}, "1 of 1 events lie outside .* unit 7 at 101"),
        ({"event_age": [55.0]}, "unit 7 at 55"),
        ({"event_unit": [8]}, "never watched; first: 8"),
        ({"event_value": [float("nan")]}, "event_value is unknown in 1 of 1"),
        ({"event_age": [float("nan")]}, "event_age is unknown"),
        ({"event_age": [1.0, 2.0]}, "event_age has shape"),
        ({"start": [0.0, 70.0], "end": [50.0, 60.0]}, "unit 7 is watched from 70 to 60"),
        ({"start": [[0.0, 60.0]]}, "one-dimensional"),
        ({"start": [-1.0, 60.0]}, "watched from -1"),
        ({"unit": [], "start": [], "end": []}, "No unit was watched"),
    ],
)
def test_refusals(change: dict, message: str) -> None:
    """Each fault is told with the unit and the value."""
    good = {
        "unit": [7, 7],
        "start": [0.0, 60.0],
        "end": [50.0, 100.0],
        "event_unit": [7],
        "event_age": [60.0],
    }
    given_columns = {**good, **change}
    positional = [given_columns.pop(name) for name in ("unit", "start", "end")]
    with pytest.raises(RcaError, match=message):
        Histories.of(*positional, **given_columns)


def test_no_event_at_all_is_a_history_too() -> None:
    """Units without events count: they were watched."""
    histories = Histories.of(["a", "b"], [0, 0], [5, 6], event_unit=[], event_age=[])
    assert len(histories) == 2
    assert str(valve_seats()) == "41 units watched for 25363 days, 48 events"
