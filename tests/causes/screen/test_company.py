"""Counting what comes before failures: hand-worked histories and known processes."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.screen.background import Background
from rca.causes.screen.company import (
    NEVER,
    WINDOWS,
    Failures,
    clustering_of,
    company_of,
    days_since,
    order_of,
)
from rca.causes.screen.occurrences import Occurrences, occurrences_of

BEGIN = pd.Timestamp("2021-01-01")


def history(rows: list[tuple[str, int, str]], *, units: int = 1, days: int = 1000) -> Occurrences:
    """Failures (unit, day from the first, part) of units watched for so many days."""
    names = [str(k) for k in range(units)]
    watch = pd.DataFrame(
        {"unit": names, "watched_from": BEGIN, "watched_to": BEGIN + pd.Timedelta(days=days - 1)}
    )
    repairs = pd.DataFrame(rows, columns=["unit", "day", "part"])
    repairs["date"] = BEGIN + pd.to_timedelta(repairs["day"], unit="D")
    repairs = repairs.assign(action="replaced", reason="failure")
    return occurrences_of(repairs, watch)


def failures_of(events: Occurrences, part: str) -> Failures:
    return Failures.of(*events.of(events.names.index(part)), events)


def test_gaps_to_the_next_and_from_the_last_failure():
    """Events on a failure's day have no gap on either side; before the first none behind."""
    events = history([("0", 100, "t"), ("0", 160, "t")])
    failures = failures_of(events, "t")
    day = events.first[0] + np.array([90, 100, 130, 160, 170])
    ahead, behind = failures.gaps(np.zeros(5, dtype=np.int64), day)
    assert ahead.tolist() == [10, NEVER, 30, NEVER, NEVER]
    assert behind.tolist() == [NEVER, NEVER, 30, NEVER, 10]


def test_days_since_ignore_the_very_day():
    """Event on the day itself does not come before; the one before it does."""
    unit = np.zeros(2, dtype=np.int64)
    lag = days_since(
        unit, np.array([50, 60]), of_unit=np.zeros(3, dtype=np.int64), of_day=np.array([40, 60, 65])
    )
    assert lag.tolist() == [NEVER, 10, 5]


def hand_worked() -> tuple[Occurrences, Background]:
    """Two failures of t at days 300 and 310; c at 200, 292, 305, 312 (and one far off at 900)."""
    days = {"t": (300, 310), "c": (200, 292, 304, 312, 900)}
    events = history([("0", day, part) for part, many in days.items() for day in many])
    return events, Background.of(events)


def test_observed_and_expected_of_a_hand_worked_unit():
    """Windows are unions without failure days.

    Before, up to 14 days: days 286-299 and 301-309 (23 days), events at 292 and 304. After: days
    301-309 and 311-324 (23 days), events at 304 and 312.
    """
    events, background = hand_worked()
    kind = np.array([events.names.index("c")])
    company = company_of(
        failures_of(events, "t"),
        events,
        background,
        kinds=kind,
        yardstick=np.array([True]),
        clustering=np.ones((len(WINDOWS), 2)),
    )
    assert company.total.tolist() == [5]
    assert company.before.observed[:, 0].tolist() == [0, 2, 2, 2, 3, 3]
    assert company.after.observed[:, 0].tolist() == [2, 2, 2, 2, 2, 2]
    span = background.expected(
        np.array([0, 0]),
        events.first[0] + np.array([286, 301]),
        events.first[0] + np.array([299, 309]),
        np.array([0, 0]),
        n_groups=1,
        kinds=kind,
    )
    assert company.before.expected[1, 0] == pytest.approx(span[0, 0])


def test_order_leaves_out_the_days_that_are_both():
    """Between the failures every day is before one and after the other: only 292 against 312."""
    events, background = hand_worked()
    company = company_of(
        failures_of(events, "t"),
        events,
        background,
        kinds=np.array([events.names.index("c")]),
        yardstick=np.array([True]),
        clustering=np.ones((len(WINDOWS), 2)),
    )
    order = order_of(company, events, background, places=np.array([0]), window=1)
    assert (order.before[0], order.after[0]) == (1, 1)
    assert order.share[0] == pytest.approx(0.5, abs=0.1)


def test_single_events_are_not_clustered_and_pairs_are():
    """Poisson events give about 1; every event twice within ten days nearly 2 in long windows.

    Given a unit's six events in three pairs: 3 pairs within the window where 15 x 0.22 would lie
    there by chance and 12 x 0.22 of those of unlike origin do: 1 + 2 (3 - 3 x 0.22) / 6 = 1.8.
    """
    rng = np.random.default_rng(4)
    single = [(str(k), int(day), "a") for k in range(200) for day in rng.integers(0, 990, 3)]
    double = [(unit, day + int(rng.integers(8, 11)), part) for unit, day, part in single]
    plain, paired = history(single, units=200), history(single + double, units=200)
    of_plain = clustering_of(plain, Background.of(plain))
    of_paired = clustering_of(paired, Background.of(paired))
    assert of_plain.max() < 1.15
    assert of_paired[-1, 0] == pytest.approx(1.75, abs=0.2)
    assert of_paired[0, 0] < 1.1  # a window of 5 days is shorter than the gap


def test_a_planted_company_has_a_small_p_and_others_do_not():
    """One kind always 20 days before the failure, nine kinds at random days."""
    rng = np.random.default_rng(8)
    rows = []
    for unit in range(60):
        failed = int(rng.integers(200, 900))
        rows += [(str(unit), failed, "t"), (str(unit), failed - 20, "herald")]
        rows += [
            (str(unit), int(day), f"part {k}") for k in range(9) for day in rng.integers(0, 1000, 2)
        ]
    events = history(rows, units=60)
    background = Background.of(events)
    kinds = np.array([k for k, name in enumerate(events.names) if name != "t"])
    company = company_of(
        failures_of(events, "t"),
        events,
        background,
        kinds=kinds,
        yardstick=np.ones(len(kinds), dtype=bool),
        clustering=clustering_of(events, background),
    )
    names = [events.names[k] for k in kinds]
    p = dict(zip(names, company.p(), strict=True))
    assert p.pop("herald") < 1e-20
    assert min(p.values()) > 0.001
    assert WINDOWS[company.windows[names.index("herald")]] == 30
