"""Futures of the parts in service: run on, fail or be taken off early, be renewed, and again.

Each draw takes a life curve, each unit's level and the rates of early removal from what the records
leave possible; the first of the two ends comes. Failures are counted whether or not they take a
new part; new parts at failures that take one and at removals before failure.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rca.causes.fix.baseline import SPREADS, Baseline
from rca.causes.planning.early_removal import Habit

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

_CELLS = 100_000  # parts x draws held at once
_BELIEF = 4.0  # failures that the curve is worth at the ages of parts whose age is unknown


@dataclass(frozen=True, slots=True, eq=False)
class InService:
    """Parts in service; arrays have one entry a part, ages in the unit of the life curve.

    `ages` has several equally likely ages a part, (parts, ages); all alike where it is known.
    Parts of `unknown` age fail so many times as often as the curve says as theirs have lately:
    `failed` against `expected` failures, believed as far as they are many.
    """

    unit: NDArray[np.int64]
    ages: Array
    use: Array  # a day
    unknown: NDArray[np.bool_]
    failed: float = 0.0
    expected: float = 0.0

    def __len__(self) -> int:
        return len(self.unit)

    def factors(self, draws: int, rng: np.random.Generator) -> Array | None:
        """How many times as often as the curve says parts of unknown age fail, a draw each."""
        if not self.unknown.any():
            return None
        return rng.gamma(self.failed + _BELIEF, size=draws) / (self.expected + _BELIEF)


@dataclass(frozen=True, slots=True, eq=False)
class Horizons:
    """Days of running up to each horizon, (draws, horizons), for failures and early removals.

    They differ where months of more or less use, or of more or less care, are drawn.
    """

    failing: Array
    removing: Array

    def some(self, draws: slice) -> "Horizons":
        """The same for some of the draws."""
        return Horizons(self.failing[draws], self.removing[draws])

    @property
    def last(self) -> Array:
        """The later of the last horizons of each draw."""
        return np.maximum(self.failing.max(axis=1), self.removing.max(axis=1))


def count_futures(
    curve: Baseline,
    habit: Habit,
    going: InService,
    *,
    horizons: Horizons,
    share: Array,
    rng: np.random.Generator,
) -> tuple[Counts, Counts]:
    """Failures, and new parts needed, in each draw by each horizon: twice (draws, horizons).

    Parameters
    ----------
    share
        For each draw, the share of failures that take a new part.
    """
    draws = len(share)
    failures = np.zeros(horizons.failing.shape, dtype=np.int64)
    needed = failures.copy()
    chunk = max(1, _CELLS // len(going))
    for first in range(0, draws, chunk):
        some = slice(first, min(first + chunk, draws))
        failures[some], needed[some] = _run_on(
            curve, habit, going, horizons.some(some), share[some], rng
        )
    return failures, needed


def _run_on(
    curve: Baseline,
    habit: Habit,
    going: InService,
    horizons: Horizons,
    share: Array,
    rng: np.random.Generator,
) -> tuple[Counts, Counts]:
    """Let every part in service end and be renewed up to the last horizon, in each draw."""
    draws, last = len(share), horizons.last
    log_level, shape, level = possible_curves(curve, draws, rng)
    rate = np.maximum(np.exp(log_level)[:, np.newaxis] * level, 1e-300)
    removal = _Removal.drawn(habit, draws, rng)
    failures, needed = np.zeros((2, *horizons.failing.shape), dtype=np.int64)
    # of the parts now in service most end in no draw: find those that do before any more work
    draw, part, age, fails, goes = _first_ends(curve, going, rate, shape, removal, last, rng)
    unit, use = going.unit[part], going.use[part]
    day = np.zeros(len(draw))
    while len(draw):
        failing = fails <= goes
        end = np.where(failing, fails, goes)
        day = day + (end - age) / use
        new = ~failing | (rng.random(len(draw)) < share[draw])
        for horizon in range(failures.shape[1]):
            limit = np.where(
                failing, horizons.failing[draw, horizon], horizons.removing[draw, horizon]
            )
            inside = day <= limit
            failures[:, horizon] += np.bincount(draw[inside & failing], minlength=draws)
            needed[:, horizon] += np.bincount(draw[inside & new], minlength=draws)
        on = np.flatnonzero(day <= last[draw])
        draw, unit, use, day = draw[on], unit[on], use[on], day[on]
        age = np.where(new[on], 0.0, end[on])
        more = rng.standard_exponential(len(on)) / rate[draw, unit]
        power = shape[draw]
        fails = curve.reference * ((age / curve.reference) ** power + more) ** (1.0 / power)
        # who has come past a removal's age without one keeps the hazard of that age
        goes = removal.age_of_end(draw, age, rng)
    return failures, needed


def _first_ends(
    curve: Baseline,
    going: InService,
    rate: Array,
    shape: Array,
    removal: "_Removal",
    last: Array,
    rng: np.random.Generator,
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array, Array, Array]:
    """Draw, part, age now, and ages at failure and at early removal, of those that end in time."""
    draws, parts = len(shape), len(going)
    several = going.ages.shape[1]
    log_ages = curve.log_age(going.ages)
    if several == 1:
        start = np.broadcast_to(going.ages[:, 0], (draws, parts))
        log_start = log_ages[:, 0]
    else:
        likely = np.arange(parts), rng.integers(0, several, (draws, parts))
        start, log_start = going.ages[likely], log_ages[likely]
    power = shape[:, np.newaxis]
    stop = start + last[:, np.newaxis] * going.use
    base = np.exp(power * log_start)  # half the time of powers
    reach = np.exp(power * curve.log_age(stop)) - base
    wait = rng.standard_exponential((draws, parts)) / rate[:, going.unit]
    factor = going.factors(draws, rng)
    if factor is not None:
        wait[:, going.unknown] /= factor[:, np.newaxis]
    soon = wait <= reach
    goes = removal.age_of_end_between(start, stop, rng)
    draw, part = np.nonzero(soon | np.isfinite(goes))
    age = start[draw, part]
    inverse = 1.0 / shape[draw]
    fails = curve.reference * (base[draw, part] + wait[draw, part]) ** inverse
    return draw, part, age, fails, goes[draw, part]


@dataclass(frozen=True, slots=True, eq=False)
class _Removal:
    """Hazard of early removal in each draw, constant between ages."""

    begin: Array  # (intervals,)
    rate: Array  # (draws, intervals)
    before: Array  # (draws, intervals): cumulative hazard where each interval begins

    @classmethod
    def drawn(cls, habit: Habit, draws: int, rng: np.random.Generator) -> "_Removal":
        rate = habit.drawn(draws, rng)
        gained = rate[:, :-1] * np.diff(habit.begin)
        before = np.concatenate([np.zeros((draws, 1)), np.cumsum(gained, axis=1)], axis=1)
        return cls(habit.begin, rate, before[:, : len(habit.begin)])

    def hazard(self, draw: NDArray[np.intp], age: Array) -> Array:
        """Cumulative hazard at an age, element by element."""
        place = np.searchsorted(self.begin, age, side="right") - 1
        inside = np.maximum(place, 0)
        gained = self.rate[draw, inside] * (age - self.begin[inside])
        return np.where(place < 0, 0.0, self.before[draw, inside] + gained)

    def age_of_end(self, draw: NDArray[np.intp], age: Array, rng: np.random.Generator) -> Array:
        """Age at which each part that has come to `age` is taken off; inf where never."""
        if len(self.begin) == 0 or len(draw) == 0:
            return np.full(len(draw), np.inf)
        target = self.hazard(draw, age) + rng.standard_exponential(len(draw))
        return self._age_at(draw, target)

    def _age_at(self, draw: NDArray[np.intp], target: Array) -> Array:
        """Age at which the cumulative hazard of a draw reaches `target`."""
        place = (self.before[draw] <= target[:, np.newaxis]).sum(axis=1) - 1
        rest, rate = target - self.before[draw, place], self.rate[draw, place]
        with np.errstate(divide="ignore"):
            return np.where(rate > 0, self.begin[place] + rest / np.maximum(rate, 1e-300), np.inf)

    def age_of_end_between(self, start: Array, stop: Array, rng: np.random.Generator) -> Array:
        """The same for all parts of all draws, (draws, parts); inf where not before `stop`."""
        found = np.full(start.shape, np.inf)
        if len(self.begin) == 0:
            return found
        every = np.arange(start.shape[0])[:, np.newaxis]
        low = self.hazard(np.broadcast_to(every, start.shape), start)
        high = self.hazard(np.broadcast_to(every, start.shape), stop)
        wait = rng.standard_exponential(start.shape)
        draw, part = np.nonzero(low + wait <= high)
        found[draw, part] = self._age_at(draw, (low + wait)[draw, part])
        return found


def possible_curves(
    curve: Baseline, draws: int, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Draws of log A, shape and the units' levels that the records leave possible.

    Log shape is normal about its maximum; A, given the shape, is gamma about its own (a rate
    known from n failures is gamma with n, not lognormal); a unit's level is gamma with its record,
    whose H follows the drawn curve to first order.
    """
    row = rng.choice(len(SPREADS), size=draws, p=curve.weights)
    of_a, of_shape = curve.covariance[row, 0, 0], curve.covariance[row, 1, 1]
    shared = curve.covariance[row, 0, 1]
    bend = rng.normal(size=draws) * np.sqrt(of_shape)
    slant = np.divide(shared, of_shape, out=np.zeros(draws), where=of_shape > 0)
    worth = 1.0 / np.maximum(of_a - slant * shared, 1e-9)
    rise = slant * bend + np.log(rng.gamma(worth) / worth)
    hazard = curve.hazard[row]
    slope = curve.hazard_slope[row] / np.maximum(hazard, 1e-300)
    moved = rise[:, np.newaxis] + slope * bend[:, np.newaxis]
    hazard = hazard * np.exp(np.clip(moved, -20, 20))
    spread = SPREADS[row][:, np.newaxis]
    sure = spread == 0.0
    inverse = 1.0 / np.where(sure, 1.0, spread)
    level = rng.gamma(inverse + curve.failed) / (inverse + hazard)
    shape = np.exp(curve.log_shape[row] + bend)
    return curve.log_level[row] + rise, shape, np.where(sure, 1.0, level)
