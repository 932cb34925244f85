"""The likelihood of a power-law process: its value, slopes and curvature, and where it peaks."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from rca.life.histories import Histories
from rca.life.sample import Array

SMALLEST, LARGEST = 1e-4, 1e6  # shapes sought


class PowerSlopes(NamedTuple):
    """Log-likelihood at one (shape, level), its first and its second derivatives there."""

    value: float
    shape: float
    level: float
    shape_shape: float
    shape_level: float
    level_level: float


@dataclass(frozen=True, slots=True, eq=False)
class PowerLikelihood:
    """Log-likelihood by shape and level, the log of the expected events a unit at `reference`.

    `x` holds ln(age / reference) at the edges of the stretches, `weight` 1 for an end and -1 for
    a start; `sum_log` is the sum of x over the events. Ages never lie beyond `reference`.
    """

    reference: float
    n: int
    sum_log: float
    x: Array
    weight: Array

    @classmethod
    def of(cls, histories: Histories) -> "PowerLikelihood":
        """Sum up when the units were watched and when the events came."""
        reference = float(histories.end.max())
        edges = np.concatenate((histories.end, histories.start))
        weight = np.repeat((1.0, -1.0), len(histories.end))
        log_age = np.log(histories.event_age / reference)
        inner = edges > 0  # at age 0 nothing has yet been expected
        return cls(
            reference,
            len(log_age),
            float(log_age.sum()),
            np.log(edges[inner] / reference),
            weight[inner],
        )

    def exposure(self, shape: float) -> tuple[float, float, float]:
        """Sum of (age / reference) ** shape, and its two derivatives, at ends less at starts."""
        power = self.weight * np.exp(shape * self.x)
        moment = power * self.x
        return float(power.sum()), float(moment.sum()), float(moment @ self.x)

    def best_level(self, shape: float) -> float:
        """Level of highest likelihood at a shape."""
        return math.log(self.n / self.exposure(shape)[0])

    def rise(self, shape: float) -> float:
        """Slope by shape along the best level; it falls as the shape grows."""
        s0, s1, _ = self.exposure(shape)
        return self.n / shape + self.sum_log - self.n * s1 / s0

    def at(self, shape: float, level: float) -> PowerSlopes:
        """Log-likelihood and derivatives at one shape and level."""
        s0, s1, s2 = self.exposure(shape)
        scale, n = math.exp(min(level, 700.0)), self.n
        density = (shape - 1) * self.sum_log - n * math.log(self.reference)
        return PowerSlopes(
            value=n * (math.log(shape) + level) + density - scale * s0,
            shape=n / shape + self.sum_log - scale * s1,
            level=n - scale * s0,
            shape_shape=-n / shape**2 - scale * s2,
            shape_level=-scale * s1,
            level_level=-scale * s0,
        )


def best_shape_at_rate(
    likelihood: "PowerLikelihood", log_rate: float, x: float, guess: float
) -> float:
    """Shape of highest likelihood where age times rate at x is exp(`log_rate`): concave."""

    def slope(shape: float) -> float:
        level = log_rate - math.log(shape) - shape * x
        slopes = likelihood.at(shape, level)
        return slopes.shape - slopes.level * (1 / shape + x)

    return peak(slope, guess=guess)


def peak(slope: Callable[[float], float], *, guess: float) -> float:
    """Shape at which a falling `slope` is 0, or the end of the range where it is nowhere 0."""
    low = high = guess
    while slope(low) < 0 and low > SMALLEST:
        low /= 2
    while slope(high) > 0 and high < LARGEST:
        high *= 2
    if low == high or slope(low) < 0 or slope(high) > 0:
        return low if slope(low) <= 0 else high
    return float(brentq(slope, low, high, xtol=1e-15, rtol=1e-14))
