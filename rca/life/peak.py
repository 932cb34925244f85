"""Where the Weibull likelihood peaks."""

import math
from itertools import count
from typing import NamedTuple, TypeVar

import numpy as np

from rca.errors import NoFit
from rca.life.likelihood import Slopes, Sums, WeibullLikelihood
from rca.life.sample import Array

Number = TypeVar("Number", float, Array)

SMALLEST_SHAPE, LARGEST_SHAPE = 1e-3, 1e6

# On the log of the shape: less is a standard error of a factor of e ** 100.
LEAST_INFORMATION = 1e-4
# Share of the hazard at the ends that must be left after that at the entries; below it rounding
# has eaten the digits of the difference.
LEAST_SPAN = 1e-9
_ENOUGH_TO_START = 4096  # terms that tell the shape to a few percent


class Peak(NamedTuple):
    """Shape and level of highest likelihood, and the slopes there."""

    shape: float
    level: float
    slopes: Slopes


def find_peak(likelihood: WeibullLikelihood) -> Peak:
    """Peak over shape and level; the shape ends at 1e-3 or 1e6 where it only rises that way."""
    if not likelihood.all_exact:
        return _climb_with_intervals(likelihood)
    shape, every = 1.0, len(likelihood.x) // _ENOUGH_TO_START
    if every > 1:
        shape, _ = _climb(likelihood, shape, every=every)
    shape, sums = _climb(likelihood, shape)
    if sums.s0 <= LEAST_SPAN * likelihood.gross(shape):
        raise NoFit(
            "the lives were watched for too short a span, each, to be told from none",
            next_step="check entry ages against the ages at the end",
        )
    level = math.log(likelihood.n_exact / sums.s0)
    return Peak(shape, level, likelihood.at(shape, level, sums=sums))


def halley_step(
    shape: Number, mean_log: Number, s0: Number, s1: Number, s2: Number, s3: Number
) -> tuple[Number, Number]:
    """Slope of the profile log-likelihood per exact failure, and Halley's step to where it is 0.

    The slope f = 1 / shape + mean log of the failures - s1 / s0 is nearly a + b / shape, and
    Halley's method is exact for ratios of lines: an error of e becomes one of about e ** 3.
    """
    mean, square = s1 / s0, s2 / s0
    variance = square - mean * mean
    skew = s3 / s0 - 3 * mean * square + 2 * mean * mean * mean
    f = 1 / shape + mean_log - mean
    f1 = -1 / (shape * shape) - variance
    f2 = 2 / (shape * shape * shape) - skew
    return f, -2 * f * f1 / (2 * f1 * f1 - f * f2)


def best_level(likelihood: WeibullLikelihood, shape: float, level: float = 0.0) -> float:
    """Level of highest likelihood at a known shape; concave, so one maximum.

    -inf without a failure (the more lives the longer), inf where nothing was seen to survive.
    """
    if likelihood.n_failed == 0 or not likelihood.seen_running:
        return -math.inf if likelihood.n_failed == 0 else math.inf
    sums = likelihood.sums(shape)
    if likelihood.all_exact:
        return math.log(likelihood.n_exact / sums.s0)
    # Newton in a bracket, which follows from 1 - D / 2 < D / (exp(D) - 1) < 1.
    _, rise = likelihood.rises(shape)
    low = math.log(likelihood.n_failed / (sums.s0 + 0.5 * float((likelihood.count * rise).sum())))
    high = math.log(likelihood.n_failed / sums.s0)
    level = min(max(level, low), high)
    for _ in range(200):
        slopes = likelihood.at(shape, level, sums=sums)
        low, high = (level, high) if slopes.level > 0 else (low, level)
        step = -slopes.level / slopes.level_level if slopes.level_level < 0 else math.inf
        if abs(step) < 1e-13 * (1 + abs(level)) or high - low < 1e-14 * (1 + abs(level)):
            break
        level = level + step if low < level + step < high else (low + high) / 2
    return level


def _climb(likelihood: WeibullLikelihood, shape: float, *, every: int = 1) -> tuple[float, Sums]:
    """Peak of the profile, by Halley's method in a bracket; closely over all terms only."""
    low, high = SMALLEST_SHAPE, LARGEST_SHAPE
    # As numpy's number, a division by 0 is infinite and no error: then the bracket decides.
    mean_log = np.float64(likelihood.sum_log / likelihood.n_exact)
    close = 1e-3 if every == 1 else 1e-2
    while True:
        sums = likelihood.sums(shape, every=every)
        if sums.s0 <= 0:  # too few terms of late lives, or an entry next to its end
            return 1.0, sums
        with np.errstate(divide="ignore", invalid="ignore"):
            slope, step = map(float, halley_step(shape, mean_log, *sums))
        if abs(step) < close * shape:
            return shape + step, sums.moved(step)
        if high < low * (1 + 1e-9):
            return shape, sums
        low, high = (shape, high) if slope > 0 else (low, shape)
        shape = shape + step if low < shape + step < high else math.sqrt(low * high)


def _climb_with_intervals(likelihood: WeibullLikelihood) -> Peak:
    """The same by Newton's method in the log of the shape, the level at its best throughout."""
    low, high = math.log(SMALLEST_SHAPE), math.log(LARGEST_SHAPE)
    log_shape, level = 0.0, 0.0
    if likelihood.late:
        low, log_shape, high = _highest_of_a_grid(likelihood, low, high)
    for turn in count():
        shape = math.exp(log_shape)
        level = best_level(likelihood, shape, level)
        slopes = likelihood.at(shape, level)
        first = shape * slopes.shape
        bend = slopes.shape_shape - slopes.shape_level**2 / slopes.level_level
        second = first + shape * shape * bend
        low, high = (log_shape, high) if first > 0 else (low, log_shape)
        step = -first / second if second < 0 else math.copysign(1.0, first)
        if abs(step) < 1e-10 or high - low < 1e-12:
            break
        bold = log_shape + max(-1.5, min(1.5, step))
        # Where Newton creeps, the bracket is halved instead.
        log_shape = bold if low < bold < high and turn < 40 else (low + high) / 2
    return Peak(shape, level, slopes)


def _highest_of_a_grid(
    likelihood: WeibullLikelihood, low: float, high: float
) -> tuple[float, float, float]:
    """The best of a grid of log shapes between its neighbours: here more than one top can be."""
    grid = np.linspace(math.log(0.02), math.log(200.0), 48).tolist()
    values, level = [], 0.0
    for log_shape in grid:
        shape = math.exp(log_shape)
        level = best_level(likelihood, shape, level)
        values.append(likelihood.at(shape, level).value)
    best = int(np.argmax(values))
    return [low, *grid][best], grid[best], [*grid[1:], high][best]
