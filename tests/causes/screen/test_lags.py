"""Lags of a candidate against what chance gives, and what is told of those not found."""

from dataclasses import replace

import numpy as np
import pytest

from rca.causes.screen.candidate_rows import COLUMNS
from rca.causes.screen.lags import BIN_DAYS, REACH
from rca.causes.screen.nearest import COULD_BE_CHANCE, SHOWN
from tests.benchmarks.upstream_characteristics import rng_of, screen
from tests.benchmarks.upstream_fleets import PRECURSOR, TARGET, Precursor, Scene, make_fleet

SCENE = Scene(units=120, parts=30, failures=120, precursor=Precursor(10, 0.4, (10, 60)))


@pytest.fixture(scope="module")
def planted():
    return screen(SCENE, rng_of("ci one", 0))


def test_spans_cover_both_sides_and_count_every_pair_once(planted):
    lags = planted.lags[TARGET, PRECURSOR]
    assert lags.begin[0] == -REACH
    assert lags.begin[-1] == REACH - BIN_DAYS + 1
    assert lags.before.sum() * 2 == len(lags.begin)
    assert lags.seen.sum() == np.sum(lags.days != 0)
    for place, begin in enumerate(lags.begin):
        inside = (-lags.days >= begin) & (-lags.days < begin + BIN_DAYS)
        assert lags.seen[place] == inside.sum()


def test_events_stand_out_where_they_were_planted(planted):
    """Planted 10 to 60 days before: there several times as many as by chance, after as many."""
    lags = planted.lags[TARGET, PRECURSOR]
    near = lags.before & (lags.begin >= -60)
    assert lags.seen[near].sum() > 2 * lags.by_chance[near].sum()
    after = ~lags.before
    assert lags.seen[after].sum() == pytest.approx(lags.by_chance[after].sum(), rel=0.4)
    # by chance a unit's events fall anywhere in the days it was watched
    assert 0 < lags.by_chance.min() <= lags.by_chance.max() < 4 * lags.by_chance.min()


def test_units_with_the_event_lately_and_no_failure_since_are_named(planted):
    """By hand from the rows of the same fleet."""
    lags = planted.lags[TARGET, PRECURSOR]
    repairs, watch = make_fleet(SCENE, rng_of("ci one", 0))
    end = watch["watched_to"].max()
    late = repairs.groupby(["unit", "part"], observed=True)["date"].max().unstack()
    came, failed = late[PRECURSOR], late[TARGET]
    days = (end - came).dt.days
    expected = (days < lags.window_days) & ~(failed >= came)
    assert set(lags.unanswered) == set(expected.index[expected].astype(str))
    order = [days[unit] for unit in lags.unanswered]
    assert order == sorted(order)


def test_the_nearest_are_the_strongest_of_those_not_found(planted):
    nearest = planted.nearest
    assert list(nearest.columns) == list(COLUMNS)
    assert len(nearest) <= SHOWN
    assert set(nearest["word"]) == {COULD_BE_CHANCE}
    assert not set(nearest["candidate"]) & set(planted.found["candidate"])
    tested = planted.tested.set_index("candidate")["p"]
    left = tested.drop([*planted.found["candidate"], *planted.explained["candidate"]])
    assert sorted(nearest["p"]) == pytest.approx(sorted(left)[: len(nearest)])
    assert (nearest["lower"] <= nearest["ratio"]).all()
    assert (nearest["ratio"] <= nearest["upper"]).all()


def test_without_enough_failures_nothing_is_near():
    few = screen(replace(SCENE, failures=4, precursor=None), rng_of("ci few", 0))
    assert few.nearest.empty
    assert few.lags == {}
