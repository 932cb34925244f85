"""Parts needed: against closed forms and simulated fleets."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom

from rca.causes.fix.pieces import Pieces
from rca.causes.planning.forecast import forecast_parts
from rca.errors import NoAnswer
from tests.benchmarks.forecast_coverage import one_forecast, one_kept
from tests.benchmarks.forecast_fleets import Kept
from tests.benchmarks.verdict_fleets import Cell, dated, simulate

DAY = pd.Timestamp("2024-01-01")
ORIGIN = np.datetime64("2024-01-01")


def few(failures, parts=40, days=400, renewed=None):
    """`failures` parts failed at days 60, 77, 94.. and were replaced, the rest run; constructed."""
    unit = [f"u{k}" for k in range(parts)] + [f"u{k}" for k in range(failures)]
    died = [60 + 17 * k for k in range(failures)]
    age = died + [days] * (parts - failures) + [days - day for day in died]
    failed = [k < failures for k in range(parts)] + [False] * failures
    return Pieces.from_arrays(
        unit,
        entry=np.zeros(parts + failures),
        age=np.array(age, float),
        begin=[ORIGIN - days] * parts + [ORIGIN - days + day for day in died],
        end=[ORIGIN - days + a for a in age[:parts]] + [ORIGIN] * failures,
        failed=failed,
        renewed=failed if renewed is None else renewed,
    )


def test_a_constant_rate_gives_the_negative_binomial():
    """Gamma rate (n + 1/2 failures) and Poisson failures mix to a negative binomial; scipy."""
    pieces = few(3)
    made = forecast_parts(pieces, as_of=DAY, draws=4000)
    assert made.curve == "constant rate"
    run = 40 * 400.0
    mean = 3.5 / run * 40 * 366
    year = made.within(12).failures
    assert year == made.within(12).parts
    assert year.expected == pytest.approx(mean, rel=0.05)
    exact = nbinom(3.5, 3.5 / (3.5 + mean))
    assert abs(year.upper95 - exact.ppf(0.975)) <= 2
    assert abs(year.lower95 - exact.ppf(0.025)) <= 1


def test_no_failure_yet_is_no_promise_of_none():
    made = forecast_parts(few(0), as_of=DAY)
    assert made.failures == 0
    assert made.within(12).failures.lower95 == 0
    assert made.within(12).failures.upper95 >= 1


def test_intervals_hold_what_then_happens():
    """Full table in tests/benchmarks/README.md; here 60 fleets, seeded, some 45 expected a year.

    At a true 92 % fewer than 51 of 60 inside the 95 % interval would be rare (1 in 30).
    """
    rng = np.random.default_rng(12)
    cell = Cell(units=150, failures=100, shape=1.6, spread=0.5)
    runs = np.array([one_forecast(cell, rng, draws=300)[-1] for _ in range(60)], dtype=float)
    assert runs[:, 0].mean() > 20
    assert runs[:, 2].sum() >= 52
    assert runs[:, 1].sum() >= 42
    assert runs[:, 3].mean() == pytest.approx(runs[:, 0].mean(), rel=0.1)


@pytest.fixture(scope="module")
def fleet():
    return dated(
        simulate(Cell(units=200, failures=120, shape=1.8), np.random.default_rng(3))[0], DAY
    )


def test_intervals_are_nested_and_grow_with_time(fleet):
    made = forecast_parts(fleet, as_of=DAY)
    assert [row.months for row in made.rows] == [1, 3, 12]
    for row in made.rows:
        for one in (row.failures, row.parts):
            assert one.lower95 <= one.lower80 <= one.expected <= one.upper80 <= one.upper95
    expected = [row.parts.expected for row in made.rows]
    assert expected == sorted(expected)
    assert "in 12 months" in str(made)
    with pytest.raises(NoAnswer, match="no forecast was made for 2 months"):
        made.within(2)


def test_the_same_seed_gives_the_same_numbers_and_later_records_do_not_matter(fleet):
    one = forecast_parts(fleet, as_of=DAY, draws=300)
    cut = fleet.until(float((DAY - pd.Timestamp("1970-01-01")).days))
    two = forecast_parts(cut, as_of=DAY, draws=300)
    assert one == two
    assert forecast_parts(fleet, as_of=DAY, draws=300, seed=1) != one


def test_only_failures_that_take_a_part_count():
    """Half of the failures mended without a new part: half the parts."""
    whole = forecast_parts(few(4), as_of=DAY, draws=3000)
    mended = [k < 2 for k in range(40)] + [False] * 4
    half = forecast_parts(few(4, renewed=mended), as_of=DAY, draws=3000)
    assert half.renewing_share == 0.5
    whole, half = whole.within(12), half.within(12)
    assert half.parts.expected == pytest.approx(whole.parts.expected / 2, rel=0.15)
    assert half.failures.expected == pytest.approx(whole.failures.expected, rel=0.15)


def test_months_that_differ_widen_the_interval(fleet):
    """The same failures gathered into every third month; the count a year stays."""
    calm = forecast_parts(fleet, as_of=DAY)
    month = 365.25 / 12
    shift = np.where(fleet.failed, np.floor(fleet.end / month) % 3 * month, 0.0)
    end = np.maximum(np.floor(fleet.end - shift), fleet.begin + 1)
    rough = Pieces(
        units=fleet.units,
        unit=fleet.unit,
        entry=fleet.entry,
        age=fleet.age,
        begin=fleet.begin,
        end=np.where(fleet.failed, end, fleet.end),
        failed=fleet.failed,
        running=fleet.running,
        renewed=fleet.renewed,
    )
    varied = forecast_parts(rough, as_of=DAY)
    assert varied.month_spread > calm.month_spread + 0.3
    wide, narrow = varied.within(1).failures, calm.within(1).failures
    assert wide.upper95 - wide.lower95 > narrow.upper95 - narrow.lower95


def test_nothing_in_service_is_said():
    pieces = few(3)
    with pytest.raises(NoAnswer, match="no part is in service on 2020-01-01"):
        forecast_parts(pieces, as_of=pd.Timestamp("2020-01-01"))


@pytest.mark.parametrize(
    "cell",
    [
        Kept(shape=4.0, planned=0.7, kept=0.7),
        Kept(shape=2.0, planned=0.8, kept=0.7, mended=0.4, scale=900.0, unknown=True),
    ],
    ids=["planned removals", "planned, mended, first lives of unknown age"],
)
def test_removals_before_failure_and_unknown_ages_are_counted_in(cell):
    """Full table in tests/benchmarks/README.md; here 25 fleets, seeded, a year ahead.

    At a true 92 % fewer than 20 of 25 inside the 95 % interval would be rare (1 in 80).
    """
    rng = np.random.default_rng(13)
    runs = np.array([one_kept(cell, rng, draws=300)[-2:] for _ in range(25)], dtype=float)
    for what in range(2):  # failures, new parts
        assert runs[:, what, 0].mean() > 20
        assert runs[:, what, 2].sum() >= 20
        assert runs[:, what, 3].mean() == pytest.approx(runs[:, what, 0].mean(), rel=0.08)


def test_planned_removals_lower_the_failures_and_raise_the_parts():
    """The same failures, with and without half of the parts being replaced at 60 days."""
    alone = forecast_parts(few(6), as_of=DAY, draws=800)
    base = few(6)
    more = 60
    unit = [
        *base.units[base.unit],
        *(f"p{k}" for k in range(more)),
        *(f"p{k}" for k in range(more)),
    ]
    zero, ones = np.zeros(more), np.ones(more)
    kept = Pieces.from_arrays(
        unit,
        entry=np.concatenate([base.entry, zero, zero]),
        age=np.concatenate([base.age, 60 * ones, 40 * ones]),
        begin=[*(ORIGIN - 400 for _ in base.unit), *[ORIGIN - 100] * more, *[ORIGIN - 40] * more],
        end=[*[ORIGIN] * len(base), *[ORIGIN - 40] * more, *[ORIGIN] * more],
        failed=np.concatenate([base.failed, np.zeros(2 * more, bool)]),
        running=np.concatenate([base.running, np.zeros(more, bool), np.ones(more, bool)]),
        renewed=np.concatenate([base.renewed, np.ones(more, bool), np.zeros(more, bool)]),
    )
    made = forecast_parts(kept, as_of=DAY, draws=800)
    assert made.removals == more
    year = made.within(12)
    assert year.parts.expected > year.failures.expected + more
    assert alone.removals == 0
    assert alone.within(12).parts == alone.within(12).failures


def test_parts_of_unknown_age_fail_as_such_parts_have_lately(fleet):
    """Half the parts without an age that failed five times as often as the curve says."""
    rng = np.random.default_rng(5)
    size = 80
    begin = ORIGIN - 700
    life = rng.exponential(500.0, size).astype(int) + 1
    failed = life < 700
    unknown = Pieces.from_arrays(
        [f"x{k}" for k in range(size)],
        entry=np.full(size, 900.0),
        age=900.0 + np.minimum(life, 700),
        begin=[begin] * size,
        end=begin + np.minimum(life, 700),
        failed=failed,
        running=~failed,
    )
    alone = forecast_parts(fleet, as_of=DAY, draws=500)
    made = forecast_parts(fleet, as_of=DAY, unknown=unknown, draws=500)
    assert made.of_unknown_age == int((~failed).sum())
    assert made.in_service == alone.in_service + made.of_unknown_age
    more = made.within(3).failures.expected - alone.within(3).failures.expected
    lately = made.of_unknown_age * 91 / 500  # failures at their own rate, 1 / 500 a day
    assert more == pytest.approx(lately, rel=0.4)
