"""Attributes: expected failures, exchanges of units, and what explains what."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from rca.causes.screen.attributes import (
    FULL_LOOK,
    Exchange,
    Places,
    Shares,
    _upper_tail,
    expected_of_lives,
    judge_attribute,
    levels_of,
    lots_of,
    p_within,
    shares_of_units,
    spread_between,
)
from rca.errors import NoFit
from rca.life.nonparametric import nelson_aalen
from tests.published import GENFAN


def lives_of(pairs: tuple[tuple[float, int], ...]) -> pd.DataFrame:
    age, failed = np.array(pairs).T
    return pd.DataFrame(
        {
            "unit": np.arange(len(age)).astype(str),
            "position": "",
            "fitting": 0,
            "entry_days": 0.0,
            "age_days": age,
            "failed": failed.astype(bool),
            "lot": "",
        }
    )


def test_expected_failures_add_up_to_those_seen():
    """Fans of Nelson (1982), see tests/published.py: 12 failures, 12 expected over all lives."""
    expected = expected_of_lives(lives_of(GENFAN))
    assert expected.sum() == pytest.approx(12.0)
    assert (np.diff(expected[np.argsort([age for age, _ in GENFAN])]) >= 0).all()


def test_expected_failures_are_the_cumulative_hazard_at_the_age():
    """Each fan watched from new: its expectation is the Nelson-Aalen curve at its own age."""
    from rca.life.sample import Lives

    age, failed = np.array(GENFAN).T
    curve = nelson_aalen(Lives.right_censored(age, failed))
    expected = expected_of_lives(lives_of(GENFAN))
    row = int(np.flatnonzero(age == 8750)[0])
    assert expected[row] == pytest.approx(curve.at(8750).value)
    assert curve.at(8750).value == pytest.approx(0.33680, abs=1e-4)  # R, reference case of S10


def test_late_entry_is_subtracted():
    """A life seen only from 5000 to 8750 hours runs less hazard than one seen from new."""
    rows = lives_of(GENFAN)
    late = rows.copy()
    late.loc[late["age_days"] > 8000, "entry_days"] = 5000.0
    whole, part = expected_of_lives(rows), expected_of_lives(late)
    old = rows["age_days"] > 8000
    assert part.sum() == pytest.approx(12.0)
    assert (part[old] < whole[old] + 0.2).all()
    assert (part[old] > 0).all()


def test_no_failure_has_no_expectation():
    with pytest.raises(NoFit, match="no failure"):
        expected_of_lives(lives_of(((100.0, 0), (200.0, 0))))


def shares(rng: np.random.Generator, units: int, spread: float, factor: np.ndarray) -> Shares:
    level = rng.gamma(1 / spread, spread, units) if spread else np.ones(units)
    expected = rng.uniform(0.2, 1.0, units)
    seen = rng.poisson(expected * level * factor).astype(float)
    return Shares(seen, expected * seen.sum() / expected.sum(), pd.RangeIndex(units))


def test_carriers_are_exchanged_inside_their_level_and_t_is_that_of_its_formula():
    rng = np.random.default_rng(5)
    level, within = rng.integers(0, 3, 300), rng.integers(0, 4, 300)
    rest, weight = rng.normal(size=300), rng.random(300) + 0.5
    places = Places.of(level, within)
    orders = Exchange(Shares(rest, weight, pd.RangeIndex(300)), 1)._orders(places, 20)
    assert (within[orders] == within[places.order]).all()
    assert (np.sort(orders, axis=1) == np.arange(300)).all()
    for order, found in zip(orders, places.statistic(rest, weight, orders), strict=True):
        now = np.empty(300, dtype=int)
        now[order] = level[places.order]
        due = np.bincount(now, rest) ** 2 / np.bincount(now, weight)
        assert found == pytest.approx(due.sum(), rel=1e-9)


def test_exchange_p_agrees_with_chi_square_where_units_do_not_spread():
    """Poisson counts, many units: T is nearly chi-square with levels - 1 degrees of freedom."""
    rng = np.random.default_rng(0)
    level = rng.integers(0, 3, 600)
    part = shares(rng, 600, 0.0, np.where(level == 0, 1.25, 1.0))
    seen, due = np.bincount(level, part.observed), np.bincount(level, part.expected)
    t = float(((seen - due) ** 2 / due).sum())
    p, spread = Exchange(part, 1).p(level)
    assert spread < 0.1
    assert p == pytest.approx(chi2.sf(t, 2), abs=0.045)  # 3 standard deviations of 199 draws


@pytest.mark.parametrize("spread", [0.0, 1.0])
def test_null_attributes_have_uniform_p(spread):
    """400 attributes without effect: about 5 % below 0.05, also where units repeat."""
    rng = np.random.default_rng(7)
    below = np.mean(
        [
            Exchange(shares(rng, 80, spread, np.ones(80)), k).p(rng.integers(0, 4, 80))[0] < 0.05
            for k in range(400)
        ]
    )
    assert 0.02 < below < 0.085


def test_far_tail_follows_the_exchanges():
    """The fitted tail at the 1 in 1 000 point of 100 000 draws lies within a factor of 3."""
    rng = np.random.default_rng(3)
    many = rng.chisquare(3, 100_000)
    point = float(np.quantile(many, 0.999))
    found = [_upper_tail(point, rng.chisquare(3, FULL_LOOK)) for _ in range(40)]
    assert 0.001 / 3 < np.median(found) < 0.003
    assert _upper_tail(40.0, many[:FULL_LOOK]) < 1e-5


def test_spread_is_recovered():
    """Gamma factors of variance 1 over 3 000 units."""
    rng = np.random.default_rng(5)
    part = shares(rng, 3000, 1.0, np.ones(3000))
    level = rng.integers(0, 4, 3000)
    assert spread_between(part.observed, part.expected, level) == pytest.approx(1.0, abs=0.2)


def test_a_bad_depot_is_named_with_its_ratio():
    """Depot b fails three times as often as the others together."""
    rng = np.random.default_rng(6)
    code = rng.integers(0, 4, 400)
    part = shares(rng, 400, 0.3, np.where(code == 1, 3.0, 1.0))
    found = judge_attribute(Exchange(part, 0), "depot", code, ("a", "b", "c", "d"))
    assert found is not None
    assert (found.attribute, found.level) == ("depot", "b")
    assert found.p < 1e-6
    assert found.interval.lower < 3.0 < found.interval.upper
    assert found.failures == int(part.observed[code == 1].sum())


def test_a_follower_is_explained_by_what_it_follows():
    """Model follows depot in 85 % of units, only depot matters: at equal depot model vanishes."""
    rng = np.random.default_rng(9)
    depot = rng.integers(0, 3, 600)
    model = np.where(rng.random(600) < 0.85, depot, rng.integers(0, 3, 600))
    exchange = Exchange(shares(rng, 600, 0.3, np.where(depot == 0, 4.0, 1.0)), 2)
    assert exchange.p(model)[0] < 1e-4
    assert p_within(exchange, model, depot) > 0.05
    assert p_within(exchange, depot, model) < 0.05


def test_levels_pool_small_groups_and_cut_numbers_at_quartiles():
    """Fewer than 5 units become "other"; a column without two levels and dates are not used."""
    table = pd.DataFrame(
        {
            "unit": [str(k) for k in range(40)],
            "depot": ["North"] * 20 + ["South"] * 14 + ["East"] * 3 + ["West"] * 3,
            "same": "x",
            "loads": np.arange(40.0),
            "retired": pd.NaT,
            "bought": pd.Timestamp("2020-01-01"),
        }
    )
    levels = levels_of(table)
    assert set(levels.code) == {"depot", "loads"}
    assert set(levels.names["depot"]) == {"North", "South", "other"}
    assert np.bincount(levels.code["loads"]).tolist() == [10, 10, 10, 10]


def test_lots_belong_to_lives():
    """Two lives on one unit are two carriers; blank lots are left out."""
    rng = np.random.default_rng(1)
    rows = lives_of(tuple((float(a), int(rng.random() < 0.5)) for a in rng.uniform(10, 500, 40)))
    rows["unit"] = (np.arange(40) // 2).astype(str)
    rows["fitting"] = np.arange(40) % 2
    rows["lot"] = np.where(np.arange(40) < 8, "", np.where(np.arange(40) % 3 == 0, "L1", "L2"))
    found = lots_of(rows)
    assert found is not None
    carriers, code, names = found
    assert len(carriers.observed) == 32
    assert names == ("L1", "L2")
    assert np.bincount(code).sum() == 32
    assert carriers.observed.sum() == rows["failed"][8:].sum()
    assert shares_of_units(rows).observed.sum() == rows["failed"].sum()
