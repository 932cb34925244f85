"""Claims on records: hand-worked small fleets, and the exact ratio of two rates."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rca.causes.case.claims import compute_claim
from rca.causes.case.observations import Claim
from rca.errors import NoAnswer, RcaError
from rca.life.rates import rate_ratio
from rca.records.fleet import Fleet
from tests.small_fleet import small_fleet

# Ten units watched through 2024 (366 days each); U1 to U4 in the quarry.
UNITS = "unit, in_service, duty\n" + "\n".join(
    f"U{n}, 2023-12-01, {'quarry' if n <= 4 else 'road'}" for n in range(1, 11)
)
PARTS = "part, positions, fitted_to\npump, , all\nfilter, , all\n"
REPAIRS = """
unit, date, part, action, reason, mode
U1, 2024-02-01, pump, replaced, failure, leaks
U1, 2024-06-01, pump, replaced, failure, leaks
U2, 2024-03-01, pump, replaced, failure, leaks
U3, 2024-09-01, pump, repaired, failure, leaks
U4, 2024-10-01, pump, replaced, failure, noisy
U5, 2024-05-05, pump, replaced, failure, leaks
U6, 2024-07-07, pump, replaced, planned,
U7, 2024-04-01, filter, cleaned, failure, blocked
U7, 2024-04-20, pump, replaced, failure, leaks
U8, 2024-08-01, filter, cleaned, failure, blocked
U8, 2024-08-01, pump, replaced, failure, leaks
U9, 2024-01-10, filter, cleaned, failure, blocked
U9, 2024-11-30, pump, replaced, failure, leaks
"""


@pytest.fixture
def fleet(tmp_path: Path) -> Fleet:
    return small_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS, parts=PARTS)


def test_units_with_an_attribute_against_the_others(fleet: Fleet) -> None:
    """Quarry: 4 leaks in 4 x 366 days; road: 4 in 6 x 366: ratio 1.5 (by hand), exact limits."""
    found = compute_claim(Claim(units='duty = "quarry"', part="pump", mode="leaks"), fleet)
    assert (found.exposed.failures, found.others.failures) == (4, 4)
    assert (found.exposed.exposure, found.others.exposure) == (4 * 366, 6 * 366)
    assert (found.exposed.units, found.others.units) == (4, 6)
    assert found.ratio == pytest.approx(1.5)
    exact = rate_ratio(4, 4 * 366, 4, 6 * 366)
    assert (found.interval.lower, found.interval.upper) == pytest.approx((exact.lower, exact.upper))


def test_all_modes_count_where_none_is_named(fleet: Fleet) -> None:
    """Without a mode the noisy pump counts too; the planned removal never does."""
    found = compute_claim(Claim(units='duty = "quarry"', part="PUMP "), fleet)
    assert (found.exposed.failures, found.others.failures) == (5, 4)


def test_exposure_begins_the_day_after_the_repair(fleet: Fleet) -> None:
    """Within 30 days after a filter was cleaned, by hand.

    Exposed: U7 2 Apr to 1 May, U8 2 to 31 Aug, U9 11 Jan to 9 Feb: 90 days, with U7's leak of
    20 April. On neither side: the three days of cleaning and U8's leak on one of them. The rest:
    3660 - 90 - 3 days with the six other leaks.
    """
    claim = Claim(after_repair='part = "filter"', within_days=30, part="pump", mode="leaks")
    found = compute_claim(claim, fleet)
    assert (found.exposed.failures, found.exposed.exposure, found.exposed.units) == (1, 90, 3)
    assert (found.others.failures, found.others.exposure) == (6, 3660 - 93)


def test_exposure_for_good(fleet: Fleet) -> None:
    """Without a window a unit stays exposed: after 1 April (U7), 1 August (U8), 10 January (U9)."""
    found = compute_claim(Claim(after_repair='part = "filter"', part="pump", mode="leaks"), fleet)
    days = (366 - 92) + (366 - 214) + (366 - 10)
    assert (found.exposed.failures, found.exposed.exposure) == (2, days)
    assert found.others.exposure == 3660 - 3 - days


def test_overlapping_windows_are_counted_once(tmp_path: Path) -> None:
    """Cleaned on 1 and 11 January, windows of 20 days: exposed 2 to 31 January, 30 days."""
    repairs = """
    unit, date, part, action, reason, mode
    A, 2024-01-01, filter, cleaned, failure, blocked
    A, 2024-01-11, filter, cleaned, failure, blocked
    A, 2024-01-11, pump, replaced, failure, leaks
    B, 2024-03-01, pump, replaced, failure, leaks
    """
    units = "unit, in_service\nA, 2023-12-01\nB, 2023-12-01"
    fleet = small_fleet(tmp_path / "f", units=units, repairs=repairs)
    claim = Claim(after_repair='part = "filter"', within_days=20, part="pump")
    found = compute_claim(claim, fleet)
    assert found.exposed.exposure == 30
    assert found.exposed.failures == 1  # the second cleaning lies within the first window


def test_failure_that_exposes_counts_for_the_time_before(fleet: Fleet) -> None:
    """After a pump leak: the first leak of each unit lies before its exposure."""
    claim = Claim(after_repair='part = "pump" and mode = "leaks"', part="pump", mode="leaks")
    found = compute_claim(claim, fleet)
    assert found.exposed.failures == 1  # the second leak of U1
    assert found.others.failures == 7


def test_both_conditions_join(fleet: Fleet) -> None:
    """Exposed only where the unit meets the one and had the other."""
    claim = Claim(units='duty = "road"', after_repair='part = "filter"', part="pump")
    assert compute_claim(claim, fleet).exposed.units == 3
    claim = replace(claim, units='duty = "quarry"')
    with pytest.raises(NoAnswer, match="exposed side"):
        compute_claim(claim, fleet)


def test_only_among_some_units_and_until_a_day(fleet: Fleet) -> None:
    """Quarry units until 30 June 2024: 182 days each."""
    claim = Claim(
        units='unit in ("U1", "U2")', among='duty = "quarry"', part="pump", until="2024-06-30"
    )
    found = compute_claim(claim, fleet)
    assert (found.exposed.exposure, found.others.exposure) == (2 * 182, 2 * 182)
    assert (found.exposed.failures, found.others.failures) == (3, 0)
    assert found.ratio is None
    assert found.interval.upper == np.inf
    assert found.interval.note


def test_uneven_units_widen_the_interval(tmp_path: Path) -> None:
    """Twelve failures on one of four exposed units bound less than three on each."""
    units = "unit, in_service, duty\n" + "\n".join(
        f"{side}{n}, 2023-12-01, {side}" for side in ("q", "r") for n in range(4)
    )
    head = "unit, date, part, action, reason, mode\n"
    spread = [f"q{n % 4}, 2024-{n + 1:02d}-15, pump, repaired, failure, x" for n in range(12)]
    heaped = [f"q0, 2024-{n + 1:02d}-15, pump, repaired, failure, x" for n in range(12)]
    other = [f"r{n % 4}, 2024-{n + 1:02d}-15, pump, repaired, failure, x" for n in range(4)]
    found = []
    for name, rows in (("even", spread), ("heaped", heaped)):
        repairs = head + "\n".join(rows + other)
        fleet = small_fleet(tmp_path / name, units=units, repairs=repairs)
        found.append(compute_claim(Claim(units='duty = "q"', part="pump"), fleet))
    even, heap = found
    assert even.ratio == heap.ratio == pytest.approx(3.0)
    assert even.spread == 1.0
    assert heap.spread > 2
    assert heap.interval.lower < even.interval.lower
    assert heap.interval.upper > even.interval.upper
    assert "uneven" in str(heap)


def test_per_meter_takes_the_lives(fleet: Fleet) -> None:
    """Exposure is the meter run in the lives of the part, failures as ever; unknown meters out."""
    rows = pd.DataFrame(
        {
            "unit": ["U1", "U1", "U5", "U6"],
            "part": "pump",
            "begin": pd.to_datetime(["2024-01-01", "2024-06-01", "2024-01-01", "2024-01-01"]),
            "end": pd.to_datetime(["2024-06-01", "2024-12-31", "2024-05-05", "2024-07-07"]),
            "entry_meter": [0.0, 0.0, 100.0, np.nan],
            "age_meter": [9000.0, 3000.0, 20100.0, 5000.0],
        }
    )
    claim = Claim(units='duty = "quarry"', part="pump", mode="leaks", per="meter")
    found = compute_claim(claim, fleet, lives=rows)
    assert (found.exposed.exposure, found.others.exposure) == (12_000, 20_000)
    assert (found.exposed.failures, found.others.failures) == (2, 1)
    with pytest.raises(NoAnswer, match="lives"):
        compute_claim(claim, fleet)


def test_only_units_that_carry_the_part_count(tmp_path: Path) -> None:
    """Road units have no winch: they are no survivors of it."""
    folder = tmp_path / "fleet"
    parts = "part, positions, fitted_to\nwinch, , duty = 'quarry'\n"
    repairs = "unit, date, part, action, reason\nU1, 2024-05-01, winch, replaced, failure\n"
    fleet = small_fleet(folder, units=UNITS, repairs=repairs, parts=parts)
    found = compute_claim(Claim(units='unit = "U1"', part="winch"), fleet)
    assert (found.exposed.units, found.others.units) == (1, 3)


@pytest.mark.parametrize(
    ("claim", "words"),
    [
        (Claim(units='colour = "red"', part="pump"), "colour"),
        (Claim(units="duty = quarry", part="pump"), "quotes"),
        (Claim(units='duty = "quarry"', part="anchor"), "no unit was watched"),
        (Claim(units='duty = "moon"', part="pump"), "exposed side"),
    ],
)
def test_claim_that_cannot_be_computed_says_why(fleet: Fleet, claim: Claim, words: str) -> None:
    """A column, a word or a part that is not there is named."""
    with pytest.raises(RcaError, match=words):
        compute_claim(claim, fleet)


def test_records_without_reasons_give_no_answer(tmp_path: Path) -> None:
    """Where no row is marked as a failure, zero failures would be a lie."""
    repairs = "unit, date, part, action, reason\nU1, 2024-05-01, pump, replaced, planned\n"
    fleet = small_fleet(tmp_path / "f", units=UNITS, repairs=repairs)
    with pytest.raises(NoAnswer, match="marked as a failure"):
        compute_claim(Claim(units='duty = "quarry"', part="pump"), fleet)
