"""Expected events: adding up, and against a day-by-day sum."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.screen.background import AGE_DAYS, CALENDAR_DAYS, Background
from rca.causes.screen.occurrences import Occurrences, occurrences_of


@pytest.fixture(scope="module")
def events() -> Occurrences:
    rng = np.random.default_rng(3)
    units = 12
    begin = pd.Timestamp("2021-01-01") + pd.to_timedelta(rng.integers(0, 300, units), unit="D")
    watch = pd.DataFrame(
        {
            "unit": [f"u{k}" for k in range(units)],
            "watched_from": begin,
            "watched_to": pd.Timestamp("2023-06-30"),
        }
    )
    rows = 600
    repairs = pd.DataFrame(
        {
            "unit": rng.choice(watch["unit"], rows),
            "date": pd.Timestamp("2021-01-01") + pd.to_timedelta(rng.integers(0, 911, rows), "D"),
            "part": rng.choice(["a", "b", "c"], rows),
            "action": "replaced",
            "reason": "failure",
        }
    )
    born = pd.DataFrame({"unit": watch["unit"], "in_service": begin - pd.Timedelta(days=400)})
    return occurrences_of(repairs, watch, units=born)


def test_whole_watch_gives_back_each_units_own_count(events):
    """Given the count, the days watched share it out completely."""
    background = Background.of(events)
    units = np.arange(len(events.units))
    kinds = np.arange(len(events.names))
    due = background.expected(
        units, events.first, events.last, units, n_groups=len(units), kinds=kinds
    )
    assert due == pytest.approx(background.count)


def test_spans_equal_a_sum_over_days(events):
    """Cutting at the borders of cells loses no day and counts none twice."""
    background = Background.of(events)
    unit, begin, end = 4, int(events.first[4]) + 37, int(events.first[4]) + 437
    one = background.expected(
        np.array([unit]),
        np.array([begin]),
        np.array([end]),
        np.array([0]),
        n_groups=1,
        kinds=np.array([1]),
    )
    by_day = 0.0
    for day in range(begin, end + 1):
        calendar = (day - int(events.first.min())) // CALENDAR_DAYS
        age = (day - int(events.born[unit])) // AGE_DAYS
        by_day += background.rate[calendar * background.age_bins + age, 1]
    assert one[0, 0] == pytest.approx(by_day * background.per_rate[unit, 1])


def test_an_empty_span_expects_nothing(events):
    """A span that ends before it begins."""
    background = Background.of(events)
    none = background.expected(
        np.array([0]), np.array([19000]), np.array([18999]), np.array([0]), n_groups=1,
        kinds=np.array([0, 1]),
    )  # fmt: skip
    assert none.sum() == 0


def test_a_season_is_followed():
    """Events that come only in the first half of each year are expected there."""
    rng = np.random.default_rng(1)
    day = rng.integers(0, 1460, 8000)
    day = day[day % 365 < 180]
    watch = pd.DataFrame(
        {
            "unit": [str(k) for k in range(40)],
            "watched_from": pd.Timestamp("2020-01-01"),
            "watched_to": pd.Timestamp("2023-12-30"),
        }
    )
    repairs = pd.DataFrame(
        {
            "unit": rng.integers(0, 40, len(day)).astype(str),
            "date": pd.Timestamp("2020-01-01") + pd.to_timedelta(day, unit="D"),
            "part": "a",
            "action": "replaced",
            "reason": "failure",
        }
    )
    events = occurrences_of(repairs, watch)
    background = Background.of(events)
    first, units = int(events.first[0]), np.arange(40)
    halves = [
        background.expected(
            units, np.full(40, first + low), np.full(40, first + low + 179), units,
            n_groups=40, kinds=np.array([0]),
        ).sum()
        for low in (365, 545)
    ]  # fmt: skip
    assert halves[0] > 10 * halves[1]
