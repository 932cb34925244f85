"""Readings after the fix against limits with guard band, and how many units to read."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import hypergeom, norm

from rca.causes.fix.cause_reading import (
    GUARD_FACTOR,
    Place,
    check_cause,
    place_readings,
    units_to_read,
)
from rca.causes.fix.words import CauseAnswer
from rca.errors import RcaError

FIXED = pd.Timestamp("2025-03-10")
END = pd.Timestamp("2025-12-31")


def done(count):
    return pd.DataFrame({"unit": [f"u{k}" for k in range(count)], "date": FIXED})


def readings(count, **columns):
    table = pd.DataFrame({"unit": [f"u{k}" for k in range(count)], "date": "2025-04-01"})
    return table.assign(**columns)


def test_guard_band_of_the_decision_rule():
    """ISO 14253-1, 95 % one-sided (rule and factor from memory; numbers by scipy 1.17.1).

    25.018 with standard uncertainty 0.002 under a limit of 25.021 proves neither side: the limit
    less the guard band is 25.017710, the chance of conforming 0.933.
    """
    assert norm.cdf(GUARD_FACTOR) == pytest.approx(0.95, abs=1e-12)
    assert pytest.approx(25.0177102927461) == 25.021 - GUARD_FACTOR * 0.002
    assert norm.cdf((25.021 - 25.018) / 0.002) == pytest.approx(0.9331927987)
    places = place_readings(
        [25.018, 25.0177, 25.0245, 25.0235], at_most=25.021, standard_uncertainty=0.002
    )
    assert list(places) == [Place.UNDECIDED, Place.INSIDE, Place.OUTSIDE, Place.UNDECIDED]


def test_endless_and_unknown_readings():
    """An open circuit is a reading; no reading is none."""
    assert list(place_readings([np.inf, np.nan, 1e6], at_most=0.5)) == [
        Place.OUTSIDE,
        Place.UNDECIDED,
        Place.OUTSIDE,
    ]
    assert list(place_readings([np.inf, 2.0], at_least=5.0)) == [Place.INSIDE, Place.OUTSIDE]


def test_both_limits_and_limits_that_differ_by_unit():
    places = place_readings([5.0, 5.0, 5.0], at_least=[4.0, 6.0, np.nan], at_most=[6.0, 8.0, 4.0])
    assert list(places) == [Place.INSIDE, Place.OUTSIDE, Place.OUTSIDE]


@pytest.mark.parametrize(
    ("share", "confidence", "units"),
    [(0.1, 0.9, 22), (0.1, 0.95, 29), (0.05, 0.9, 45), (0.05, 0.95, 59), (0.01, 0.9, 230)],
)
def test_units_to_read_of_an_endless_fleet_is_the_success_run(share, confidence, units):
    """n = ln(1 - C) / ln(R) rounded up: common formula; numbers by scipy 1.17.1 (binomial)."""
    assert units_to_read(10_000_000, share=share, confidence=confidence) == units


@pytest.mark.parametrize("units", [1, 2, 5, 13, 40, 300])
def test_units_to_read_is_the_smallest_sample_that_bounds_the_share(units):
    """Against the hypergeometric distribution of scipy."""
    found = units_to_read(units)
    affected = min(int(0.1 * units) + 1, units)
    assert hypergeom.cdf(0, units, affected, found) <= 0.1 + 1e-12
    if found > 1:
        assert hypergeom.cdf(0, units, affected, found - 1) > 0.1
    assert units_to_read(units, outside=0) <= units
    assert units_to_read(0) == 0


def test_removed_when_enough_are_inside():
    enough = units_to_read(40)
    table = readings(enough, value=0.1, at_most=0.2)
    check = check_cause(table, done(40), until=END)
    assert check.answer is CauseAnswer.REMOVED
    assert (check.read, check.inside, check.to_read) == (enough, enough, enough)
    fewer = check_cause(table.iloc[:-1], done(40), until=END)
    assert fewer.answer is CauseAnswer.NOT_CHECKED
    assert f"{enough} units" in fewer.why


def test_one_outside_is_still_present_and_named():
    table = readings(40, value=0.1, at_most=0.2)
    table.loc[7, "value"] = 0.9
    check = check_cause(table, done(40), until=END)
    assert check.answer is CauseAnswer.STILL_PRESENT
    assert check.outside_units == ("u7",)
    assert "u7" in str(check)


def test_the_last_reading_counts_and_only_after_the_fix_and_before_the_end():
    table = pd.DataFrame(
        {
            "unit": ["u0", "u0", "u1", "u1", "u2", "elsewhere"],
            "date": ["2025-03-09", "2025-03-10", "2025-04-01", "2025-05-01", "2026-01-01", END],
            "place": ["outside", "inside", "outside", "inside", "outside", "outside"],
        }
    )
    check = check_cause(table, done(3), until=END)
    assert (check.read, check.inside, check.outside) == (2, 2, 0)
    assert check.answer is CauseAnswer.NOT_CHECKED


def test_too_close_to_the_limit_is_not_checked():
    table = readings(3, value=[0.1, 0.1, 0.199], at_most=0.2, standard_uncertainty=0.01)
    check = check_cause(table, done(3), until=END)
    assert check.answer is CauseAnswer.NOT_CHECKED
    assert "too close" in check.why


def test_nothing_read_and_unknown_words():
    assert check_cause(None, done(3), until=END).answer is CauseAnswer.NOT_CHECKED
    with pytest.raises(RcaError, match="a reading is called 'fine'"):
        check_cause(readings(1, place="fine"), done(1), until=END)
