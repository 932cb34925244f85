"""Which properties of units or lives go with unlike failure rates: depot, model, duty, lot, ...

Each unit has O failures of the part where E were expected at the ages its parts really ran (the
pooled life curve, late entry subtracted). For the levels l of an attribute

    T = sum over levels (O_l - E_l)^2 / sum over units in l (E_u + a E_u^2),

a being the ordinary spread between units, and p is the share of random exchanges of units between
the levels that give as large a T: units that repeat do not pass for a level that fails. Below
about 1 in 100 the tail of the exchanges is described by a shifted gamma distribution with their
mean, variance and skewness, so that a strong attribute can pass a screen of hundreds.

Where several attributes are found, each is tested again inside the levels of each other one: what
then vanishes is explained by the other, or cannot be told apart from it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import gammaincc

from rca.causes.screen.within_units import sequence_ratio
from rca.errors import NoFit
from rca.life.nonparametric import nelson_aalen
from rca.life.sample import Interval, Lives

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_IN_LEVEL = 5
FEWEST_FAILURES = 3
MOST_VALUES = 8
"""Numbers with more different values are cut into four groups of like size."""
FIRST_LOOK, FULL_LOOK = 199, 999
WORTH_A_FULL_LOOK = 0.05
FEW_LARGER = 20
"""With fewer exchanges as large as the one seen, the fitted tail speaks."""
OTHER = "other"
NOT_ATTRIBUTES = ("unit", "in_service", "retired")
_AT_ONCE = 250_000  # carriers x exchanges that are summed at once


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Observed and expected failures of each carrier (a unit, or a life for lots)."""

    observed: Array
    expected: Array
    carriers: pd.Index

    @property
    def failures(self) -> float:
        """Failures in all."""
        return float(self.observed.sum())


@dataclass(frozen=True, slots=True)
class AttributeTest:
    """One attribute against one part: its p, and the level that stands out most."""

    attribute: str
    level: str
    p: float
    ratio: float
    interval: Interval
    failures: int
    expected: float
    carriers: int
    levels: int
    spread: float


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Level of each unit for every usable attribute; -1 = unknown."""

    code: Mapping[str, Ints]
    names: Mapping[str, tuple[str, ...]]
    units: pd.Index = field(repr=False)


def levels_of(units: pd.DataFrame) -> Levels:
    """Sort the units into the levels of each attribute column.

    Levels with fewer than 5 units are pooled as "other"; an attribute with fewer than two levels
    left is not used. Numbers with many values are cut at their quartiles.
    """
    names = pd.Index(units["unit"].astype(str))
    code, labels = {}, {}
    for column in units.columns:
        if column in NOT_ATTRIBUTES or pd.api.types.is_datetime64_any_dtype(units[column]):
            continue
        found = _coded(_binned(units[column]))
        if found is not None:
            code[str(column)], labels[str(column)] = found
    return Levels(code, labels, names)


def _binned(column: pd.Series) -> pd.Series:
    """Text of each value; numbers with many values become four groups."""
    numbers = pd.to_numeric(column, errors="coerce") if column.dtype != bool else None
    if numbers is None or numbers.isna().sum() > column.isna().sum():
        return column.astype(object).where(column.notna(), None)
    if numbers.nunique() <= MOST_VALUES:
        return numbers.map(lambda one: f"{one:g}", na_action="ignore")
    cuts = np.unique(numbers.quantile([0.25, 0.5, 0.75]))
    edges = [numbers.min(), *cuts, numbers.max()]
    group = np.searchsorted(cuts, numbers.to_numpy(dtype=float), side="left")
    texts = [f"{low:.4g} to {high:.4g}" for low, high in pairwise(edges)]
    named = pd.Series([texts[one] for one in group], index=column.index, dtype=object)
    return named.where(numbers.notna(), None)


def _coded(values: pd.Series) -> tuple[Ints, tuple[str, ...]] | None:
    """Codes and names of levels, small ones pooled; None where there is nothing to compare."""
    text = values.map(str, na_action="ignore")
    counts = text.value_counts()
    small = set(counts.index[counts < FEWEST_IN_LEVEL])
    pooled = text.where(~text.isin(small), OTHER) if small else text
    counts = pooled.value_counts()
    pooled = pooled.where(~pooled.isin(counts.index[counts < FEWEST_IN_LEVEL]), None)
    code, names = pd.factorize(pooled.where(pooled.notna(), None), sort=True)
    if len(names) < 2:
        return None
    return code.astype(np.int64), tuple(str(one) for one in names)


def expected_of_lives(rows: pd.DataFrame, *, scale: str = "days") -> Array:
    """Failures expected of each piece of a life, by the pooled cumulative hazard of all pieces.

    Nelson-Aalen, H(age out) - H(age in); the sum equals the failures seen.

    Raises
    ------
    NoFit
        No failure, or no age is known.
    """
    entry, age = rows[f"entry_{scale}"].to_numpy(float), rows[f"age_{scale}"].to_numpy(float)
    failed = rows["failed"].to_numpy(bool)
    known = np.isfinite(age) & np.isfinite(entry)
    if not (known & failed).any():
        raise NoFit("no failure of this part has a known age")
    lives = Lives.right_censored(age[known], failed[known], entry=entry[known])
    curve = nelson_aalen(lives)
    hazard = np.concatenate([[0.0], curve.cumulative_hazard])
    out = np.searchsorted(curve.age, age, side="right")
    into = np.searchsorted(curve.age, entry, side="right")
    return np.where(known, hazard[np.where(known, out, 0)] - hazard[np.where(known, into, 0)], 0.0)


def shares_of_units(rows: pd.DataFrame, *, scale: str = "days") -> Shares:
    """Observed and expected failures of each unit, from the pieces of lives of one part."""
    expected = expected_of_lives(rows, scale=scale)
    unit, names = pd.factorize(rows["unit"].astype(str))
    failed = rows["failed"].to_numpy(bool) & np.isfinite(rows[f"age_{scale}"].to_numpy(float))
    return Shares(
        np.bincount(unit, weights=failed, minlength=len(names)).astype(float),
        np.bincount(unit, weights=expected, minlength=len(names)).astype(float),
        names,
    )


def lots_of(
    rows: pd.DataFrame, *, scale: str = "days"
) -> tuple[Shares, Ints, tuple[str, ...]] | None:
    """Observed and expected failures of each life whose lot is known, with the lots' levels.

    A lot is a property of the life, never of the unit. None where there is nothing to compare.
    """
    known = (rows["lot"].fillna("").astype(str) != "").to_numpy()
    if not known.any():
        return None
    expected = expected_of_lives(rows, scale=scale)[known]
    some = rows[known]
    number = some.groupby(["unit", "position", "fitting"], observed=True).ngroup()
    life, first, of_life = np.unique(number, return_index=True, return_inverse=True)
    levels = _coded(some["lot"].iloc[first].astype(str))
    if levels is None:
        return None
    failed = some["failed"].to_numpy(bool) & np.isfinite(some[f"age_{scale}"].to_numpy(float))
    size = len(life)
    shares = Shares(
        np.bincount(of_life, weights=failed, minlength=size).astype(float),
        np.bincount(of_life, weights=expected, minlength=size).astype(float),
        pd.Index(life),
    )
    return shares, *levels


def spread_between(observed: Array, expected: Array, level: Ints) -> float:
    """Moment estimate of the variance of the carriers' own factors, levels set apart.

    a = max(0, [sum (O - E')^2 - sum O] n / (n - k) / sum E'^2), E' matched to each level's
    failures (Cameron & Trivedi 1990, from memory).
    """
    k = int(level.max()) + 1
    matched = (
        expected
        * (
            np.bincount(level, weights=observed, minlength=k)
            / np.maximum(np.bincount(level, weights=expected, minlength=k), 1e-12)
        )[level]
    )
    n, squares = len(observed), float((matched**2).sum())
    if n <= k or squares == 0:
        return 0.0
    excess = float(((observed - matched) ** 2).sum()) - float(observed.sum())
    return max(0.0, excess * n / (n - k) / squares)


@dataclass(frozen=True, slots=True, eq=False)
class Exchange:
    """Carriers of one part and their random exchanges, drawn once for all attributes."""

    shares: Shares
    seed: int

    def p(self, level: Ints, *, within: Ints | None = None) -> tuple[float, float]:
        """Return p of the attribute with these levels (0 or more), and the spread used.

        `within` gives another attribute's levels: carriers are then exchanged only inside them,
        and expectations are matched to each of them first.
        """
        observed, expected = self.shares.observed, self.shares.expected
        if within is not None:
            k = int(within.max()) + 1
            factor = np.bincount(within, weights=observed, minlength=k) / np.maximum(
                np.bincount(within, weights=expected, minlength=k), 1e-12
            )
            expected = expected * factor[within]
        spread = spread_between(observed, expected, level)
        rest, weight = observed - expected, expected + spread * expected**2
        places = Places.of(level, np.zeros_like(level) if within is None else within)
        seen = places.statistic(rest, weight, places.order[np.newaxis])[0]
        draws = places.statistic(rest, weight, self._orders(places, FIRST_LOOK))
        if np.mean(draws >= seen) < WORTH_A_FULL_LOOK:
            draws = places.statistic(rest, weight, self._orders(places, FULL_LOOK))
        return _upper_tail(float(seen), draws), spread

    def _orders(self, places: "Places", draws: int) -> NDArray[np.int32]:
        if len(places.blocks) == 1:
            return _orders(len(places.order), draws, self.seed)
        generator = np.random.default_rng(self.seed)
        rows = np.tile(places.order.astype(np.int32), (draws, 1))
        for block in places.blocks:
            rows[:, block] = generator.permuted(rows[:, block], axis=1)
        return rows


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places of the carriers in the order of another attribute's levels, then of the levels asked.

    `blocks` are the places among which carriers are exchanged; `starts` begins the cells of one
    level each, `level` says which.
    """

    order: Ints
    blocks: tuple[slice, ...]
    starts: Ints
    level: Ints

    @classmethod
    def of(cls, level: Ints, within: Ints) -> "Places":
        """Sort carriers by both; all of one block where `within` has one level."""
        order = np.lexsort((level, within))
        cell = within[order] * (int(level.max()) + 1) + level[order]
        starts = np.flatnonzero(np.diff(cell, prepend=-1))
        edges = [*np.flatnonzero(np.diff(within[order], prepend=-1)).tolist(), len(order)]
        return cls(
            order, tuple(slice(*pair) for pair in pairwise(edges)), starts, level[order[starts]]
        )

    def statistic(self, rest: Array, weight: Array, orders: NDArray[np.integer[Any]]) -> Array:
        """T for arrangements of the carriers in these places, one a row of `orders`."""
        both = rest + 1j * weight  # gathered once instead of twice
        which = np.eye(int(self.level.max()) + 1)[self.level]
        step = max(1, _AT_ONCE // len(self.order))
        found = []
        for at in range(0, len(orders), step):
            sums = np.add.reduceat(both[orders[at : at + step]], self.starts, axis=1) @ which
            found.append((sums.real**2 / np.maximum(sums.imag, 1e-12)).sum(axis=1))
        return np.concatenate(found)


@lru_cache(maxsize=2)
def _orders(size: int, draws: int, seed: int) -> NDArray[np.int32]:
    """Random orders, one a row; kept, since all attributes of a part can use the same."""
    rng = np.random.default_rng(seed)
    rows = np.tile(np.arange(size, dtype=np.int32), (draws, 1))
    orders: NDArray[np.int32] = rng.permuted(rows, axis=1)
    return orders


def _upper_tail(seen: float, draws: Array) -> float:
    """Share of draws as large as `seen`; far out by a gamma distribution of the same moments."""
    larger = int((draws >= seen * (1 - 1e-9)).sum())
    share = (larger + 1) / (len(draws) + 1)
    if larger >= FEW_LARGER or len(draws) < FULL_LOOK:
        return share
    mean, deviation = float(draws.mean()), float(draws.std())
    skewness = float(((draws - mean) ** 3).mean() / max(deviation, 1e-12) ** 3)
    if deviation == 0 or skewness <= 0.05:
        return share
    shape, scale = 4 / skewness**2, deviation * skewness / 2
    beyond = (seen - mean) / scale + shape
    return min(share, float(gammaincc(shape, max(beyond, 0.0))))


def judge_attribute(
    exchange: Exchange, attribute: str, code: Ints, names: tuple[str, ...]
) -> AttributeTest | None:
    """Test one attribute; None where fewer than two of its levels hold carriers of the part.

    The level named is the one with 3 or more failures that most exceeds its expectation; its
    ratio is to all other levels together, exact binomial on counts divided by the clustering
    1 + a sum E^2 / sum E.
    """
    known = code >= 0
    shares = exchange.shares
    part = Shares(shares.observed[known], shares.expected[known], shares.carriers[known])
    present, level = np.unique(code[known], return_inverse=True)
    if len(present) < 2 or part.failures < FEWEST_FAILURES:
        return None
    p, spread = Exchange(part, exchange.seed).p(level)
    k = len(present)
    seen, due = (
        np.bincount(level, weights=part.observed, minlength=k),
        np.bincount(level, weights=part.expected, minlength=k),
    )
    weight = np.bincount(level, weights=part.expected + spread * part.expected**2, minlength=k)
    stands_out = np.where(
        (seen >= FEWEST_FAILURES) & (due > 0), (seen - due) / np.sqrt(np.maximum(weight, 1e-12)), 0
    )
    top = int(stands_out.argmax())
    clustering = float(weight.sum() / part.expected.sum())
    share = float(due[top] / due.sum())
    if stands_out[top] <= 0 or not 0 < share < 1:
        ratio, interval = 1.0, Interval(0.0, np.inf, note="no level exceeds its expectation")
    else:
        ratio, interval = sequence_ratio(
            float(seen[top] / clustering),
            float((seen.sum() - seen[top]) / clustering),
            expected_share=share,
        )
    return AttributeTest(
        attribute,
        names[present[top]],
        p if stands_out[top] > 0 else 1.0,
        ratio,
        interval,
        int(seen[top]),
        float(due[top] * (seen.sum() - seen[top]) / max(due.sum() - due[top], 1e-12)),
        int((level == top).sum()),
        k,
        spread,
    )


def p_within(exchange: Exchange, code: Ints, other: Ints) -> float:
    """Return p of an attribute among carriers that share the level of another one."""
    known = (code >= 0) & (other >= 0)
    shares = exchange.shares
    part = Shares(shares.observed[known], shares.expected[known], shares.carriers[known])
    level = np.unique(code[known], return_inverse=True)[1]
    within = np.unique(other[known], return_inverse=True)[1]
    return Exchange(part, exchange.seed).p(level, within=within)[0]
