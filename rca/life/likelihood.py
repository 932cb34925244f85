"""The Weibull likelihood of a sample of lives: its value, slopes and curvature."""

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rca.life.sample import Array, Lives

# Rows worked on at once: a few arrays of this length stay in a core's own cache.
BLOCK = 32768
# Numbers are cut here so as not to overflow; nothing survives such a cumulative hazard anyway.
_MOST_LOG, _MOST_RISE, _LEAST_RISE = 230.0, 700.0, 1e-150


class Slopes(NamedTuple):
    """Log-likelihood at one (shape, level), its first and its second derivatives there."""

    value: float
    shape: float
    level: float
    shape_shape: float
    shape_level: float
    level_level: float


class Sums(NamedTuple):
    """Sum of weight * exp(shape x) and its first three derivatives in the shape.

    Numbers, or arrays with one entry for each of many groups.
    """

    s0: Any
    s1: Any
    s2: Any
    s3: Any

    def moved(self, step: Any) -> "Sums":
        """The sums at shape + step, for a step that is small against the shape."""
        s0, s1, s2, s3 = self
        return Sums(
            s0 + step * (s1 + step / 2 * (s2 + step / 3 * s3)),
            s1 + step * (s2 + step / 2 * s3),
            s2 + step * s3,
            s3,
        )


@dataclass(frozen=True, slots=True, eq=False)
class WeibullLikelihood:
    """Log-likelihood of lives under the cumulative hazard H(age) = (age / scale) ** shape.

    It is written in `shape` and `level`, the log of H at the age `reference`, so that
    ln H(age) = level + shape x with x = ln(age / reference). A life adds

    - failed at age:            ln shape - ln age + ln H(age) - H(age)
    - still running at age:     - H(age)
    - failed in [low, high]:    - H(low) + ln(1 - exp(-(H(high) - H(low))))
    - entered late at entry:    + H(entry)

    (Meeker & Escobar 1998, sections 2.4 and 11.6, from memory; derivatives worked out here). For a
    given shape it is concave in the level. Without late entry it is concave in both; with exact
    and late lives alone its maximum over the level is still concave in the shape, since
    that is a line minus n_exact times the log of the integral of (lives at risk) exp(shape x) dx.

    Attributes
    ----------
    reference
        The largest age up to which a life was seen running, in the unit of the lives.
    first_high
        The smallest age at or before which a failure surely happened, in the same unit; inf
        without a failure.
    n_exact, n_running, sum_log
        Number of exact failures and of suspensions; sum of x of the exact failures.
    constant
        Minus the sum of ln age of the exact failures.
    x, weight
        Where H is summed with signed weights: + where watching a life without failure ended,
        - where it began; here x is never above 0. None: every weight is 1.
    low, width, high, from_new, count
        Interval-censored lives: x at both ends, their difference, whether low is age 0 (then
        `low` holds 0), and how many.
    """

    reference: float
    first_high: float
    n_exact: float
    n_running: float
    sum_log: float
    constant: float
    x: Array
    weight: Array | None
    low: Array
    width: Array
    high: Array
    from_new: NDArray[np.bool_]
    count: Array

    @classmethod
    def of(cls, lives: Lives) -> "WeibullLikelihood":
        """Sort the terms of `lives` by their kind."""
        return cls._of_plain(lives) or cls._of_any(lives)

    @classmethod
    def _of_plain(cls, lives: Lives) -> "WeibullLikelihood | None":
        """The frequent case in one walk over the rows: exact or running, from new, 1 life each.

        None where a row is of another kind.
        """
        reference = float(lives.low.max())
        x, sum_log, n_exact = np.empty(len(lives)), 0.0, 0
        for start in range(0, len(lives), BLOCK):
            rows = slice(start, start + BLOCK)
            low, high, logs = lives.low[rows], lives.high[rows], x[rows]
            exact = low == high
            failed = int(np.count_nonzero(exact))
            plain = failed + np.count_nonzero(high == np.inf) == len(low)
            if not plain or lives.entry[rows].any() or not (lives.count[rows] == 1).all():
                return None
            np.log(low, out=logs)
            logs -= math.log(reference)
            sum_log += float((logs * exact).sum())
            n_exact += failed
        none = np.empty(0)
        return cls(
            reference=reference,
            first_high=float(lives.high.min()),
            n_exact=float(n_exact),
            n_running=float(len(lives) - n_exact),
            sum_log=sum_log,
            constant=-sum_log - n_exact * math.log(reference),
            x=x,
            weight=None,
            low=none,
            width=none,
            high=none,
            from_new=np.empty(0, dtype=bool),
            count=none,
        )

    @classmethod
    def _of_any(cls, lives: Lives) -> "WeibullLikelihood":
        """The general case."""
        exact, running = lives.exact, lives.running
        between = ~(exact | running)
        survived = np.maximum(lives.low, lives.entry)  # without failure up to here
        seen = survived > lives.entry
        begins = seen & (lives.entry > 0)
        reference = float((survived[seen] if seen.any() else lives.high).max())
        log_exact = np.log(lives.low[exact] / reference)
        n_exact = lives.count[exact]
        low, high = survived[between], lives.high[between]
        from_new = low == 0
        floor = np.where(from_new, high, low)
        return cls(
            reference=reference,
            first_high=float(lives.high.min()),
            n_exact=float(n_exact.sum()),
            n_running=float(lives.count[running].sum()),
            sum_log=float((n_exact * log_exact).sum()),
            constant=-float((n_exact * (log_exact + math.log(reference))).sum()),
            x=np.log(np.concatenate([survived[seen], lives.entry[begins]]) / reference),
            weight=np.concatenate([lives.count[seen], -lives.count[begins]]),
            low=np.where(from_new, 0.0, np.log(floor / reference)),
            width=np.log1p((high - floor) / floor),
            high=np.log(high / reference),
            from_new=from_new,
            count=lives.count[between],
        )

    @property
    def n_failed(self) -> float:
        """Number of failures, exact or within an interval."""
        return self.n_exact + float(self.count.sum())

    @property
    def all_exact(self) -> bool:
        """True where every age is known exactly, as failure, as suspension or as entry."""
        return not len(self.count)

    @property
    def seen_running(self) -> bool:
        """True where some life was seen running for a while."""
        return len(self.x) > 0

    @property
    def late(self) -> bool:
        """True where some life entered late."""
        return self.weight is not None and bool((self.weight < 0).any())

    def sums(self, shape: float, *, every: int = 1) -> Sums:
        """Sums at `shape` over the sample, or over every so-maniest of its terms."""
        x = self.x[::every]
        weight = None if self.weight is None else self.weight[::every]
        totals = [0.0, 0.0, 0.0, 0.0]
        buffer = np.empty(min(BLOCK, len(x)))
        for start in range(0, len(x), BLOCK):
            logs = x[start : start + BLOCK]
            terms = buffer[: len(logs)]
            np.multiply(logs, shape, out=terms)
            np.exp(terms, out=terms)
            if weight is not None:
                terms *= weight[start : start + BLOCK]
            totals[0] += np.add.reduce(terms)
            for power in (1, 2, 3):
                terms *= logs
                totals[power] += np.add.reduce(terms)
        return Sums(*map(float, totals))

    def gross(self, shape: float) -> float:
        """The sum with every sign positive where lives are late, else 0 (nothing cancels)."""
        if self.weight is None or not self.late:
            return 0.0
        return float((np.abs(self.weight) * np.exp(shape * self.x)).sum())

    def at(self, shape: float, level: float, *, sums: Sums | None = None) -> Slopes:
        """Log-likelihood and derivatives at one shape and level."""
        s0, s1, s2, _ = sums or self.sums(shape)
        hazard = math.exp(min(level, _MOST_LOG))
        n = self.n_exact
        smooth = Slopes(
            value=n * (math.log(shape) + level)
            + shape * self.sum_log
            + self.constant
            - hazard * s0,
            shape=n / shape + self.sum_log - hazard * s1,
            level=n - hazard * s0,
            shape_shape=-n / shape**2 - hazard * s2,
            shape_level=-hazard * s1,
            level_level=-hazard * s0,
        )
        return smooth if self.all_exact else self._with_intervals(smooth, shape, level)

    def rises(self, shape: float) -> tuple[Array, Array]:
        """Cumulative hazard at the low end of each interval, and its rise over it, at level 0."""
        at_low = np.exp(np.minimum(shape * self.low, _MOST_LOG))
        at_high = np.exp(np.minimum(shape * self.high, _MOST_LOG))
        left = np.where(self.from_new, 0.0, at_low)
        # Narrow intervals from the width, not by difference, which would lose all digits.
        at_least = at_low * np.expm1(np.minimum(shape * self.width, 1.0))
        wide = self.from_new | (shape * self.width > 1.0)
        return left, np.where(wide, np.maximum(at_high - left, at_least), at_least)

    def _with_intervals(self, smooth: Slopes, shape: float, level: float) -> Slopes:
        """Add ln(1 - exp(-D)) of each interval, D its rise of the cumulative hazard."""
        left, rise = self.rises(shape)
        hazard = math.exp(min(level, _MOST_LOG))
        left, rise = (
            np.minimum(hazard * left, 1e100),
            np.clip(hazard * rise, _LEAST_RISE, _MOST_RISE),
        )
        d_shape = self.high * rise + left * self.width
        d_shape2 = self.high**2 * rise + left * self.width * (self.high + self.low)
        f1 = self.count / np.expm1(rise)  # d ln(1 - exp(-D)) / dD, count times
        f2 = -f1 * (1.0 + 1.0 / np.expm1(rise))
        value = self.count * np.log(-np.expm1(-rise))
        return Slopes(
            value=smooth.value + float(value.sum()),
            shape=smooth.shape + float((f1 * d_shape).sum()),
            level=smooth.level + float((f1 * rise).sum()),
            shape_shape=smooth.shape_shape + float((f2 * d_shape**2 + f1 * d_shape2).sum()),
            shape_level=smooth.shape_level + float((f2 * d_shape * rise + f1 * d_shape).sum()),
            level_level=smooth.level_level + float((f2 * rise**2 + f1 * rise).sum()),
        )
