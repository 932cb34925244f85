"""One part studied: samples, curves, trend and what hangs on first lives."""

import numpy as np
import pytest

from rca.causes.counts.parts import choose_scale, fit_or_reason, modes_of, sample_of, study_part
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.counts.totals import totals_by_part
from rca.records.lives import build_lives
from tests.small_fleet import small_fleet

PARTS = "part,positions,fitted_to\npump,,all"


def fleet_of(tmp_path, rows, *, n_units=6):
    units = "unit,in_service\n" + "\n".join(f"U{n},2024-01-01" for n in range(n_units))
    repairs = "unit,date,part,action,reason,mode\n" + "\n".join(rows)
    return small_fleet(tmp_path, units=units, parts=PARTS, repairs=repairs)


def study(fleet, **options):
    lives = build_lives(fleet)
    events = repeat_events(fleet, lives.meters, failures_of(fleet))
    totals = totals_by_part(fleet, seed=0)["pump"]
    return study_part(fleet, lives, "pump", events=events, totals=totals, **options)


ROWS = [
    "U0,2024-03-01,pump,replaced,failure,leaks",
    "U1,2024-04-01,pump,replaced,failure,leaks",
    "U2,2024-05-01,pump,replaced,failure,noisy",
    "U3,2024-06-01,pump,replaced,planned,",
]


def test_lives_are_failures_plus_suspensions_and_units_carry_the_part(tmp_path):
    found = study(fleet_of(tmp_path, ROWS))
    assert (found.units, found.lives, found.failures, found.suspended) == (6, 10, 3, 7)
    assert found.unit_of_age == "days"


def test_a_mode_has_the_other_modes_as_suspensions(tmp_path):
    found = study(fleet_of(tmp_path, ROWS), mode="leaks")
    assert (found.failures, found.suspended, found.failures_recorded) == (2, 8, 2)


def test_the_curve_is_that_of_an_independent_maximum_likelihood_fit(tmp_path):
    """lifelines.WeibullFitter on the same ages, counted by hand from the calendar."""
    lifelines = pytest.importorskip("lifelines")
    found = study(fleet_of(tmp_path, ROWS))
    # New 1 Jan, failed after 60, 91, 121 days, planned removal after 152; then to 31 Dec.
    ages = [60, 91, 121, 152, 305, 274, 244, 213, 365, 365]
    failed = [1, 1, 1, 0, 0, 0, 0, 0, 0, 0]
    peer = lifelines.WeibullFitter().fit(ages, failed)
    assert found.fit.shape == pytest.approx(peer.rho_, rel=1e-4)
    assert found.fit.scale == pytest.approx(peer.lambda_, rel=1e-4)


def test_no_failure_gives_no_curve_and_says_why(tmp_path):
    fleet = fleet_of(tmp_path, ["U0,2024-03-01,pump,replaced,planned,"])
    fit, why = fit_or_reason(sample_of(build_lives(fleet).rows, scale="days"))
    assert fit is None
    assert "fail" in why


def test_lives_are_told_in_days_where_meters_are_unknown(tmp_path):
    fleet = fleet_of(tmp_path, ROWS)
    assert choose_scale(fleet, build_lives(fleet).rows) == "days"


def test_modes_are_counted_most_frequent_first_and_blank_is_not_a_mode_of_its_own_name(tmp_path):
    events = failures_of(fleet_of(tmp_path, [*ROWS, "U4,2024-07-01,pump,replaced,failure,"]))
    assert modes_of(events, "pump") == [("leaks", 2), ("noisy", 1), ("", 1)] or modes_of(
        events, "pump"
    ) == [("leaks", 2), ("", 1), ("noisy", 1)]


def test_failures_that_crowd_toward_the_end_are_a_rising_trend(tmp_path):
    days = np.linspace(0, 1, 14) ** 0.25 * 330
    rows = []
    for n in range(6):
        for day in days:
            date = np.datetime64("2024-01-15") + int(day) + n
            rows.append(f"U{n},{date},pump,replaced,failure,leaks")
    assert study(fleet_of(tmp_path, rows)).trend.direction() == "rising"


def test_what_hangs_on_first_lives_stands_beside(tmp_path):
    fleet = small_fleet(
        tmp_path, parts=PARTS,
        units="unit,in_service\n" + "\n".join(f"U{n},2022-01-01" for n in range(6)),
        repairs="unit,date,part,action,reason\n"
        + "\n".join(f"U{n},2024-0{m},pump,replaced,failure"
                    for n, m in enumerate(("3-01", "4-01", "5-01", "6-01")))
        + "\nU0,2024-09-01,pump,replaced,failure",
    )  # fmt: skip
    others = {name: build_lives(fleet, first_lives=name) for name in ("as original", "as new")}
    found = study(fleet, others=others)
    assert found.left_out == 6
    assert set(found.other_first_lives) == {"as original", "as new"}
    assert found.other_first_lives["as original"][1] > found.other_first_lives["as new"][1]
