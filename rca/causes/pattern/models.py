"""Rival models of a part's failures, all proportional to one Weibull hazard, and their scores.

With D failures and h_i(b) = age^b - entry^b, the Weibull log-likelihood maximised over its scale is

    base(b) + D log(D / sum h),        base(b) = D log b + (b - 1) sum over failures log age - D.

A lot or depot multiplies the hazard of its pieces by a factor of its own; "units" gives every unit
a gamma-distributed factor and the later lives a common one; "burst" multiplies some window of
calendar time; "mixed" adds two hazards, one falling and one rising with age. The score of a model
is its log-likelihood less half its parameters times log D, less the log of the number of levels it
chose among (Schwarz 1978; D for censored data: Volinsky & Raftery 2000, both from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from rca.causes.pattern.part_lives import Array, Grouping, Ints, PartLives

SHAPES = np.geomspace(0.25, 6.0, 23)
SPREADS = (0.1, 0.3, 0.6, 1.0, 2.0, 4.0, 8.0)
LATER_FACTORS = (1.0, 1.6, 2.5, 4.0, 7.0, 12.0)
NEARLY_ALIKE = (0.01, 0.05)
"""Further spreads tried where later lives have no factor of their own."""
FEWEST_IN_LEVEL = 3
LATER_ONLY = ", later lives"
MOST_GROUPS = 40
DROP = 1.9207
"""Half the 95 % point of chi-square with 1 degree."""
MOST_AGES = 400
EARLY_SHAPE, LATE_SHAPE = 0.98, 1.3


@dataclass(frozen=True, slots=True)
class Scored:
    """One model: its maximised log-likelihood, its score, and what it found."""

    name: str
    log_likelihood: float
    score: float
    found: Any = None


@dataclass(frozen=True, slots=True)
class Level:
    """A group of pieces whose hazard is `ratio` times that of all others."""

    name: str
    ratio: float
    failures: int
    expected: float


@dataclass(frozen=True, slots=True)
class UnitsFit:
    """Spread between units (variance of their factors) and the common factor of later lives."""

    spread: float
    later_factor: float
    shape: float
    level: float  # failures = level * h on an ordinary unit
    limits: tuple[float, float] = (0.0, np.inf)  # 95 % likelihood-ratio limits of the shape


class Weibull:
    """One part's lives with the Weibull sums over a grid of shapes, and its maximum."""

    def __init__(self, lives: PartLives, *, shape: float) -> None:
        self.lives = lives
        self.d = float(lives.failures)
        self.log_age = float(np.log(lives.age[lives.failed]).sum())
        self.grid = SHAPES
        self.hazard = np.stack([lives.hazard(one) for one in SHAPES])
        self.total = self.hazard.sum(axis=1)
        self.base = self._base(SHAPES)
        self.shape = shape
        run = lives.hazard(shape)
        self.expected = run * self.d / run.sum()
        self.log_likelihood = float(
            self._base(np.array([shape]))[0] + self.d * np.log(self.d / run.sum())
        )

    def _base(self, shape: Array) -> Array:
        found: Array = self.d * np.log(shape) + (shape - 1) * self.log_age - self.d
        return found

    def penalty(self, parameters: float) -> float:
        """Half the number of parameters times log D."""
        return parameters / 2 * float(np.log(self.d))

    def scored(self, name: str, value: float, parameters: float, found: Any = None) -> Scored:
        """Score a model of so many parameters."""
        return Scored(name, value, value - self.penalty(parameters), found)


def constant(base: Weibull) -> Scored:
    """A hazard that does not depend on age."""
    run = float((base.lives.age - base.lives.entry).sum())
    return base.scored("random", -base.d + base.d * float(np.log(base.d / run)), 1)


def ageing(base: Weibull) -> Scored:
    """The Weibull itself: early or wear-out."""
    return base.scored("ageing", base.log_likelihood, 2)


def one_level(base: Weibull, group: Grouping, name: str) -> Scored:
    """One level of a grouping has a hazard of its own; the level and shape that fit best."""
    known = group.code >= 0
    levels = len(group.names)
    sums = np.stack(
        [
            np.bincount(group.code[known], weights=one[known], minlength=levels)
            for one in base.hazard
        ]
    )
    seen = np.bincount(group.code[known], weights=base.lives.failed[known], minlength=levels)
    rest, others = base.total[:, None] - sums, base.d - seen
    with np.errstate(divide="ignore", invalid="ignore"):
        value = base.base[:, None] + seen * np.log(seen / sums)
        value += np.where(others > 0, others * np.log(others / rest), 0.0)
        ratio = (seen / sums) / (np.maximum(others, 0.5) / rest)
    value[:, seen < FEWEST_IN_LEVEL] = -np.inf
    value = np.where(ratio > 1, value, -np.inf)
    row, level = np.unravel_index(int(value.argmax()), value.shape)
    if not np.isfinite(value[row, level]):
        return Scored(name, -np.inf, -np.inf)
    top = peak(base.grid, value[:, level])
    due = sums[row, level] * others[level] / max(rest[row, level], 1e-12)
    found = Level(group.names[level], float(ratio[row, level]), int(seen[level]), float(due))
    scored = base.scored(name, top[1], 3, found)
    return Scored(name, top[1], scored.score - float(np.log(levels)), found)


def one_depot(base: Weibull) -> Scored:
    """One depot has a hazard of its own: for all lives there, or for the later ones only.

    What a depot does to parts when it fits them shows in later lives alone.
    """
    group, later = base.lives.depot, base.lives.later
    tried = [
        one_level(base, one, "depot") for one in (group, group.only(later, LATER_ONLY))
    ]  # fmt: skip
    best = max(tried, key=lambda one: one.score)
    return Scored("depot", best.log_likelihood, best.score - float(np.log(2)), best.found)


def peak(x: Array, y: Array) -> tuple[float, float]:
    """Place and height of a maximum on a grid, by a parabola in log x through its neighbours."""
    best = int(np.argmax(y))
    if not 0 < best < len(x) - 1 or not np.isfinite(y[best - 1 : best + 2]).all():
        return float(x[best]), float(y[best])
    left, top, right = (float(one) for one in y[best - 1 : best + 2])
    bend = left - 2 * top + right
    if bend >= 0:
        return float(x[best]), top
    step = float(np.clip((left - right) / (2 * bend), -1, 1))
    width = float(np.log(x[best + 1] / x[best]))
    return float(x[best] * np.exp(step * width)), top - (left - right) * step / 4


def limits_about(x: Array, y: Array, top: float) -> tuple[float, float]:
    """Where a profile log-likelihood on a grid has fallen by 1.92 (95 %); 0 and inf if nowhere."""
    fine = np.linspace(np.log(x[0]), np.log(x[-1]), 2001)
    inside = fine[np.interp(fine, np.log(x), y) > top - DROP]
    if not len(inside):
        return 0.0, np.inf
    lower = 0.0 if inside[0] == fine[0] else float(np.exp(inside[0]))
    return lower, np.inf if inside[-1] == fine[-1] else float(np.exp(inside[-1]))


def units_apart(base: Weibull, *, spread: float | None = None) -> Scored:
    """Units have gamma-distributed factors; later lives a common factor.

    Log-likelihood D log L + D_later log f + D log b + (b - 1) sum log age
    + sum over units [lnG(n + k) - lnG(k) + k log k - (n + k) log(k + L m)], k = 1 / spread,
    m = h of first lives + f h of later ones (Clayton 1978; Vaupel et al. 1979, from memory); the
    level L by Newton's method. With `spread` given, only that one and no factor of later lives.
    """
    units = _Units(base)
    if spread is not None:
        _, top, fit = units.best(1.0, max(spread, 0.02))
        return base.scored("units", top, 2, fit)
    tried = []
    for factor in LATER_FACTORS:
        for one in SPREADS:
            _, top, fit = units.best(factor, one)
            tried.append(base.scored("units", top, 3 if factor == 1 else 4, fit))
    return max(tried, key=lambda each: each.score)


def units_fit(base: Weibull) -> UnitsFit:
    """Best gamma-Weibull fit without a factor for later lives."""
    units = _Units(base)
    fits = (units.best(1.0, one) for one in (*NEARLY_ALIKE, *SPREADS))
    return max(fits, key=lambda one: one[1])[2]


class _Units:
    """Failures and hazard of units, alike ones merged: the likelihood needs few numbers of each."""

    def __init__(self, base: Weibull) -> None:
        lives, code = base.lives, base.lives.unit.code
        size = len(lives.unit.names)
        failed = np.bincount(code, weights=lives.failed, minlength=size).astype(float)
        first = np.stack(
            [np.bincount(code, weights=one * ~lives.later, minlength=size) for one in base.hazard]
        )
        later = np.stack(
            [np.bincount(code, weights=one * lives.later, minlength=size) for one in base.hazard]
        )
        group = _alike(failed, (first + later)[len(base.grid) // 2])
        self.base, self.weight = base, np.bincount(group).astype(float)
        self.failed = np.bincount(group, weights=failed) / self.weight
        self.first = np.stack([np.bincount(group, weights=one) for one in first]) / self.weight
        self.later = np.stack([np.bincount(group, weights=one) for one in later]) / self.weight
        self.failed_later = float((lives.failed & lives.later).sum())

    def best(self, factor: float, spread: float) -> tuple[float, float, UnitsFit]:
        """Best shape, log-likelihood and fit for a factor of later lives and a spread."""
        base, k, n, w = self.base, 1 / spread, self.failed, self.weight
        run = self.first + factor * self.later
        log_level = np.log(base.d / (run @ w))
        for _ in range(12):
            reach = np.exp(log_level)[:, None] * run
            mean = (n + k) * reach / (k + reach)
            slope = base.d - mean @ w
            bend = (mean * k / (k + reach)) @ w
            log_level += np.clip(slope / np.maximum(bend, 1e-12), -1, 1)
        reach = np.exp(log_level)[:, None] * run
        value = base.d * log_level + self.failed_later * np.log(factor) + base.base + base.d
        value = value + (
            gammaln(n + k) - gammaln(k) + k * np.log(k) - (n + k) * np.log(k + reach)
        ) @ w  # fmt: skip
        shape, top = peak(base.grid, value)
        level = float(np.exp(np.interp(np.log(shape), np.log(base.grid), log_level)))
        limits = limits_about(base.grid, value, top)
        return shape, top, UnitsFit(spread, factor, shape, level, limits)


def _alike(failed: Array, run: Array) -> Ints:
    """Group units with equally many failures and nearly equal hazard, at most 40 groups a count."""
    order = np.lexsort((run, failed))
    group = np.empty(len(failed), dtype=np.int64)
    start = 0
    for count in np.unique(failed):
        mine = order[failed[order] == count]
        groups = min(MOST_GROUPS, len(mine))
        group[mine] = start + np.arange(len(mine)) * groups // len(mine)
        start += groups
    return group


def mixed(base: Weibull) -> Scored:
    """Two hazards added: one falling with age (shape below 0.98), one rising (above 1.3)."""
    lives = base.lives
    failed, times = _fewer(lives.age[lives.failed], np.ones(lives.failures))
    ages, weight = _fewer(
        np.concatenate([lives.age, lives.entry[lives.entry > 0]]),
        np.concatenate([np.ones(len(lives)), -np.ones(int((lives.entry > 0).sum()))]),
    )

    def minus_log_likelihood(at: Array) -> float:
        early = EARLY_SHAPE / (1 + np.exp(-np.clip(at[0], -40, 40)))
        late = LATE_SHAPE + np.exp(min(at[1], 3.0))
        level = np.exp(np.clip(at[2:], -40, 40))
        rate = level[0] * early * failed ** (early - 1) + level[1] * late * failed ** (late - 1)
        run = level[0] * ages**early + level[1] * ages**late
        return float(run @ weight - times @ np.log(np.maximum(rate, 1e-300)))

    levels = [
        float(np.log(base.d / 2 / max(float(ages**power @ weight), 1e-9))) for power in (0.5, 2.5)
    ]
    options = {"maxiter": 400, "xatol": 1e-3, "fatol": 1e-3}
    best = min(
        (
            minimize(minus_log_likelihood, [*start, *levels], method="Nelder-Mead", options=options)
            for start in ((0.0, 0.5), (1.0, 0.0))
        ),
        key=lambda result: float(result.fun),
    )
    return base.scored("mixed", -float(best.fun), 4)


def _fewer(ages: Array, weight: Array) -> tuple[Array, Array]:
    """Merge neighbouring ages of the same sign into at most 400, for sums of their powers."""
    merged = []
    for sign in (1, -1):
        mine = np.sort(ages[weight == sign])
        if len(mine):
            group = np.arange(len(mine)) * min(MOST_AGES, len(mine)) // len(mine)
            counts = np.bincount(group)
            merged.append((np.bincount(group, weights=mine) / counts, sign * counts))
    return np.concatenate([one for one, _ in merged]), np.concatenate([two for _, two in merged])
