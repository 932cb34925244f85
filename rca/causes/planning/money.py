"""What failures cost, and which way of meeting them costs less.

Costs are of one kind at a time (of rows, of orders, of downtime: never mixed) and in the fleet's
currency; ages and horizons are in the unit of the life curve.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import gamma, gammainc

from rca.errors import NoAnswer, RcaError
from rca.life.sample import Interval

Array = NDArray[np.float64]

MOST_UNKNOWN: Final = 0.2
"""Share of rows with unknown cost above which no cost rate is given."""
_FLAT = 1.05  # ages that cost at most 5 % more than the best are as good
_KEPT = 20_000_000  # units x draws that are kept for the next part, a byte each
_AT_ONCE = 1_000_000  # units x draws that are counted at once
_SOONEST, _LATEST = 1e-4, 20.0  # ages looked at, in scales


@dataclass(frozen=True, slots=True)
class CostRate:
    """Cost per distance (or per day) run, over a group of units."""

    value: float
    interval: Interval
    rows: int
    unknown: int  # rows of unknown cost, taken to cost what the known ones cost on average
    units: int

    def __str__(self) -> str:
        note = f", {self.unknown} of unknown cost" if self.unknown else ""
        return (
            f"{self.value:.4g} ({self.interval}) from {self.rows} rows on {self.units} units{note}"
        )


def cost_rate(
    unit: ArrayLike,
    cost: ArrayLike,
    *,
    run: pd.Series,
    confidence: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> CostRate:
    """Cost of some rows over what the units ran, with limits by resampling units.

    Parameters
    ----------
    unit, cost
        Unit and cost of each row; NaN is an unknown cost, never 0.
    run
        Distance or days run by every unit of the group (index = unit), those without cost too.

    Raises
    ------
    NoAnswer
        Nothing was run, or more than a fifth of the rows have no cost.
    RcaError
        A row belongs to a unit whose running is not given.
    """
    table = pd.DataFrame({"unit": np.asarray(unit, object), "cost": np.asarray(cost, float)})
    strangers = sorted(set(table["unit"]) - set(run.index))
    if strangers:
        raise RcaError(f"no running is given for unit {strangers[0]} and {len(strangers)} in all")
    unknown, total_run = int(table["cost"].isna().sum()), float(run.sum())
    if total_run <= 0:
        raise NoAnswer("nothing was run in this time")
    if unknown > MOST_UNKNOWN * len(table):
        raise NoAnswer(f"the cost of {unknown} of {len(table)} rows is unknown")
    filled = table["cost"].fillna(table["cost"].mean() if len(table) > unknown else 0.0)
    by_unit = filled.groupby(table["unit"]).sum().reindex(run.index).fillna(0.0).to_numpy(float)
    ran = run.to_numpy(dtype=float)
    above, below = _resampled(np.column_stack([by_unit, ran]), draws, seed).T
    drawn = above[below > 0] / below[below > 0]
    tail = (1 - confidence) / 2
    lower, upper = np.quantile(drawn, [tail, 1 - tail])
    return CostRate(
        value=float(by_unit.sum() / total_run),
        interval=Interval(float(lower), float(upper), confidence, "resampling units"),
        rows=len(table),
        unknown=unknown,
        units=len(ran),
    )


def _resampled(by_unit: Array, draws: int, seed: int) -> Array:
    """Sums of columns with one row a unit over resamples of units: one row a resample."""
    units = len(by_unit)
    draw = _drawn_units if units * draws <= _KEPT else _drawn_units.__wrapped__
    picked = draw(units, draws, seed)
    step = max(1, _AT_ONCE // units)
    parts = [picked[at : at + step].astype(np.float64) @ by_unit for at in range(0, draws, step)]
    return np.concatenate(parts)


@lru_cache(maxsize=4)
def _drawn_units(units: int, draws: int, seed: int) -> NDArray[np.uint8]:
    """How often each unit is drawn in each resample; alike for all parts of equally many units.

    A unit is drawn once on average, so that a byte holds the count.
    """
    share = np.full(units, 1 / units)
    generator = np.random.default_rng(seed)
    step = max(1, _AT_ONCE // units)
    picked = np.empty((draws, units), dtype=np.uint8)
    for at in range(0, draws, step):
        some = picked[at : at + step]
        some[:] = generator.multinomial(units, share, size=len(some))
    return picked


@dataclass(frozen=True, slots=True)
class AgeReplacement:
    """Replacing at a fixed age or at failure, whichever comes first."""

    age: float  # of least cost per time run
    age_interval: Interval | None  # over the possible curves; None where none were given
    flat_from: float  # ages between which the cost is within 5 % of the least
    flat_to: float
    cost_rate: float  # per unit of age
    run_to_failure_rate: float

    @property
    def saving(self) -> float:
        """Share of the cost of running to failure that is saved at the best age."""
        return 1.0 - self.cost_rate / self.run_to_failure_rate

    def __str__(self) -> str:
        return (
            f"replace at {self.age:.4g} ({self.flat_from:.4g} to {self.flat_to:.4g} cost within "
            f"5 %): saves {self.saving:.0%} of running to failure"
        )


def age_replacement(
    shape: float,
    scale: float,
    *,
    shape_lower: float,
    planned_cost: float | None,
    failure_cost: float | None,
    possible: Array | None = None,
) -> AgeReplacement:
    """Age of least cost per time run, for a Weibull life.

    Minimises [planned R(T) + failure F(T)] / integral of R up to T (R. E. Barlow & F. Proschan,
    Mathematical Theory of Reliability, 1965, from memory). At the minimum
    h(T) integral R - F(T) = planned / (failure - planned), whose left side rises with T where
    the shape is above 1.

    Parameters
    ----------
    shape, scale
        The life curve.
    shape_lower
        Lower 95 % limit of the shape: an age is named only where it lies above 1.
    planned_cost, failure_cost
        Cost of a planned replacement and of a failure, of the same kind; None = unknown.
    possible
        Further curves that the records leave possible, shape (draws, 2) as (shape, scale): give
        the limits of the best age.

    Raises
    ------
    NoAnswer
        Where the part may not wear, a cost is unknown, or a failure costs no more.
    """
    if planned_cost is None or failure_cost is None or np.isnan([planned_cost, failure_cost]).any():
        raise NoAnswer(
            "the cost of a planned replacement or of a failure is unknown",
            next_step="give planned_cost and failure_cost in the parts table",
        )
    if not shape_lower > 1.0:
        raise NoAnswer(
            f"the shape may be as low as {shape_lower:.2f}: the part may not wear at all, and "
            "replacing it early may save nothing"
        )
    if not 0 < planned_cost < failure_cost:
        raise NoAnswer("a failure costs no more than a planned replacement: run to failure")
    goal = planned_cost / (failure_cost - planned_cost)
    best = float(_best_age(np.array([shape]), goal)[0])
    if not np.isfinite(best):
        raise NoAnswer("the least cost lies far beyond the life of the part: run to failure")

    def rate(age: Array) -> Array:
        died = -np.expm1(-(age**shape))
        return (planned_cost + (failure_cost - planned_cost) * died) / _mean_to(age, shape)

    ages = np.geomspace(_SOONEST, _LATEST, 20001)
    flat = ages[rate(ages) <= _FLAT * float(rate(np.array([best]))[0])]
    interval = None
    if possible is not None:
        drawn = _best_age(possible[:, 0], goal) * possible[:, 1]
        lower, upper = np.quantile(drawn, [0.025, 0.975], method="inverted_cdf")
        interval = Interval(float(lower), float(upper), 0.95, "over the possible curves")
    return AgeReplacement(
        age=best * scale,
        age_interval=interval,
        flat_from=float(flat[0]) * scale,
        flat_to=float(flat[-1]) * scale if flat[-1] < _LATEST else np.inf,
        cost_rate=float(rate(np.array([best]))[0]) / scale,
        run_to_failure_rate=failure_cost / (scale * float(gamma(1 + 1 / shape))),
    )


def _mean_to(age: Array, shape: ArrayLike) -> Array:
    """Integral of R from 0 to `age` (in scales): G(1 + 1/shape) P(1/shape, age^shape)."""
    k = 1.0 / np.asarray(shape, float)
    return gamma(1.0 + k) * gammainc(k, age ** (1.0 / k))


def _best_age(shape: Array, goal: float) -> Array:
    """Best age in scales for each shape, by bisection; inf where running to failure is best."""
    low, high = np.full(len(shape), _SOONEST), np.full(len(shape), _LATEST)

    def left(age: Array) -> Array:
        return shape * age ** (shape - 1.0) * _mean_to(age, shape) + np.expm1(-(age**shape))

    found = (shape > 1.0) & (left(high) > goal)
    for _ in range(60):
        middle = np.sqrt(low * high)
        over = left(middle) > goal
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.where(found, np.sqrt(low * high), np.inf)


def expected_failures(shape: float, periods: ArrayLike) -> Array:
    """Failures of one part position within `periods` scales, renewed at each: M(t).

    Solves M(t) = F(t) + integral of M(t - s) dF(s) on 2000 midpoints (M. Xie, IEEE Trans.
    Reliability 38, 1989, from memory). Shape 1 gives M(t) = t.
    """
    asked = np.atleast_1d(np.asarray(periods, float))
    longest = float(asked.max())
    if longest <= 0:
        return np.zeros(asked.shape)
    steps = 2000
    times = np.linspace(0.0, longest, steps + 1)
    middle = (times[1:] + times[:-1]) / 2
    at, between = -np.expm1(-(times**shape)), -np.expm1(-(middle**shape))
    total = np.zeros(steps + 1)
    gained = np.zeros(steps)
    for k in range(1, steps + 1):
        # increments of M so far, weighted with F at the midpoints that lie after them
        past = gained[: k - 1] @ between[k - 1 : 0 : -1]
        head = at[k] + past - between[0] * total[k - 1]
        total[k] = head / (1.0 - between[0])
        gained[k - 1] = total[k] - total[k - 1]
    return np.interp(asked, times, total)


@dataclass(frozen=True, slots=True)
class PartOrCause:
    """Two ways to repair one unit, over a horizon: the part alone, or the part and its cause."""

    horizon: float
    failures_part_only: float  # expected after the repair
    failures_with_cause: float
    failures_with_cause_interval: Interval
    cost_part_only: float
    cost_with_cause: float
    saving: float  # part only less part and cause; negative: the cause costs more than it saves
    saving_interval: Interval
    worth_at_most: float  # what removing the cause may cost to pay within the horizon
    pays_from: float  # horizon from which it pays; inf if not within the one given

    def __str__(self) -> str:
        return (
            f"over {self.horizon:g}: {self.failures_part_only:.2f} failures a unit with the part "
            f"alone, {self.failures_with_cause:.2f} ({self.failures_with_cause_interval}) with its "
            f"cause; saves {self.saving:.4g} ({self.saving_interval})"
        )


def part_or_cause(
    shape: float,
    scale: float,
    *,
    ratio: float,
    ratio_interval: Interval,
    failure_cost: float,
    cause_cost: float,
    horizon: float,
) -> PartOrCause:
    """Cost of a unit over `horizon` from a repair today, by what the repair addresses.

    Both repairs fit a new part today, at `failure_cost`; removing the cause costs `cause_cost`
    once more and leaves `ratio` of the failure rate at equal age, that is, a scale longer by
    ratio^(-1 / shape). The limits follow those of the ratio.
    """
    if not (failure_cost > 0 and cause_cost >= 0 and horizon > 0):
        raise RcaError("costs and horizon must be above 0")
    ratios = np.array([1.0, ratio, ratio_interval.lower, ratio_interval.upper])
    periods = horizon / scale * np.maximum(ratios, 0.0) ** (1.0 / shape)
    plain, better, least, most = expected_failures(shape, np.minimum(periods, 1e3))
    saved = failure_cost * (plain - np.array([better, most, least])) - cause_cost
    grid = np.linspace(0.0, horizon, 501)
    over = failure_cost * (
        expected_failures(shape, grid / scale)
        - expected_failures(shape, grid / scale * ratio ** (1.0 / shape))
    )
    pays = grid[over >= cause_cost]
    return PartOrCause(
        horizon=horizon,
        failures_part_only=float(plain),
        failures_with_cause=float(better),
        failures_with_cause_interval=Interval(float(least), float(most), 0.95, "of the ratio"),
        cost_part_only=float(failure_cost * (1 + plain)),
        cost_with_cause=float(failure_cost * (1 + better) + cause_cost),
        saving=float(saved[0]),
        saving_interval=Interval(float(saved[1]), float(saved[2]), 0.95, "of the ratio"),
        worth_at_most=float(failure_cost * (plain - better)),
        pays_from=float(pays[0]) if len(pays) else np.inf,
    )
