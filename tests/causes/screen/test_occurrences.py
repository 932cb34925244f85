"""How repair rows become named events."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.screen.occurrences import crowded, occurrences_of, once
from rca.errors import NoAnswer

WATCH = pd.DataFrame(
    {
        "unit": ["A", "B"],
        "watched_from": pd.Timestamp("2022-01-01"),
        "watched_to": pd.Timestamp("2023-12-31"),
    }
)


def rows(*cells: tuple[str, str, str, str, str]) -> pd.DataFrame:
    """Rows of (unit, date, part, action, reason)."""
    table = pd.DataFrame(cells, columns=["unit", "date", "part", "action", "reason"])
    return table.assign(date=pd.to_datetime(table["date"]), mode="")


def named(repairs: pd.DataFrame) -> list[tuple[str, str]]:
    """(unit, name) of every event, in order."""
    events = occurrences_of(repairs, WATCH)
    return [
        (str(events.units[unit]), events.names[code])
        for unit, code in zip(events.unit, events.code, strict=True)
    ]


def test_failures_work_and_accidents_have_their_own_names():
    """Inspections are no events; rows outside the watch do not count."""
    found = named(
        rows(
            ("A", "2022-02-01", "pump", "replaced", "failure"),
            ("A", "2022-03-01", "filter", "replaced", "planned"),
            ("A", "2022-04-01", "filter", "inspected", "inspection"),
            ("A", "2022-05-01", "hose", "repaired", "accident"),
            ("B", "2022-02-01", "sensor", "replaced", "no fault found"),
            ("B", "2022-02-20", "code 17", "none", "other"),
            ("B", "2024-02-20", "pump", "replaced", "failure"),
        )
    )
    assert found == [
        ("A", "pump"),
        ("A", "filter: replaced"),
        ("A", "hose: accident"),
        ("B", "sensor: no fault found"),
        ("B", "code 17: noted"),
    ]


def test_fault_codes_are_events_beside_the_part():
    """A row with a fault code is the failure of its part and the code; the code has no part."""
    repairs = rows(("A", "2022-02-01", "pump", "replaced", "failure")).assign(fault_code="P12")
    events = occurrences_of(repairs, WATCH)
    assert set(events.names) == {"pump", "fault code P12"}
    assert dict(zip(events.names, events.part, strict=True))["fault code P12"] == ""


def test_modes_are_followed_where_a_part_has_two_with_enough_failures():
    """Six leaks and six cracks: both are followed beside the part; a mode of another is not."""
    days = pd.date_range("2022-01-01", periods=12, freq="30D").astype(str)
    repairs = rows(*(("A", day, "pump", "replaced", "failure") for day in days))
    repairs["mode"] = ["leak", "crack"] * 6
    other = rows(("B", "2022-01-01", "hose", "replaced", "failure")).assign(mode="leak")
    events = occurrences_of(pd.concat([repairs, other], ignore_index=True), WATCH)
    assert set(events.names) == {"pump", "hose", "pump, leak", "pump, crack"}
    kinds = dict(zip(events.names, events.is_failure, strict=True))
    assert kinds == {"pump": True, "hose": True, "pump, leak": False, "pump, crack": False}


def test_the_same_trouble_within_a_week_counts_once():
    """Days 0, 3 and 9 of a chain: each within 7 days of the last, one event; day 20 is new."""
    unit, code = np.zeros(4, dtype=np.int64), np.zeros(4, dtype=np.int64)
    kept = once(unit, np.array([0, 3, 9, 20]), code)
    assert kept.tolist() == [0, 3]


def test_a_week_that_finds_everything_is_left_out():
    """Five different parts in one week on a calm unit are a visit, two parts are not."""
    many = [("A", "2022-06-01", f"part {k}", "replaced", "failure") for k in range(5)]
    few = [("B", "2022-06-01", f"part {k}", "replaced", "failure") for k in range(2)]
    events = occurrences_of(rows(*many, *few), WATCH)
    assert events.crowded == 5
    assert set(events.units[events.unit]) == {"B"}


def test_a_busy_unit_needs_more_to_be_crowded():
    """With 100 failures a year, five parts in a week are ordinary."""
    rng = np.random.default_rng(2)
    day = np.sort(rng.integers(0, 365, 100))
    busy = crowded(
        np.zeros(100, dtype=np.int64), day, rng.integers(0, 40, 100), days=np.array([365])
    )
    assert busy.mean() < 0.1


def test_without_reasons_nothing_is_guessed():
    """No failure marked: the answer is refused with what to do."""
    with pytest.raises(NoAnswer, match=r"fleet\.yaml"):
        occurrences_of(rows(("A", "2022-02-01", "pump", "replaced", "")), WATCH)
