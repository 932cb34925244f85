"""Where the Weibull likelihood has fallen from its peak by a given amount.

A likelihood-ratio interval for a quantity holds every value at which the log-likelihood, maximised
over the rest, stays within `drop` of its top: half the chi-square quantile with 1 degree of
freedom, 1.9207 at 95 % (Meeker & Escobar 1998, chapter 8, from memory).
"""

import math
from collections.abc import Callable

from rca.life.likelihood import WeibullLikelihood
from rca.life.peak import best_level

_LOG_SHAPE_FLOOR, _LOG_SHAPE_ROOF = math.log(1e-4), math.log(1e9)

Profile = Callable[[float], tuple[float, float]]


def along_shape(likelihood: WeibullLikelihood, *, shape: float) -> Profile:
    """Log-likelihood by the log of the shape, the scale at its best."""
    level = best_level(likelihood, shape)

    def profile(log_shape: float) -> tuple[float, float]:
        nonlocal level
        shape = math.exp(log_shape)
        level = best_level(likelihood, shape, level)
        slopes = likelihood.at(shape, level)
        return slopes.value, shape * slopes.shape

    return profile


def along_life(
    likelihood: WeibullLikelihood, *, shape: float, log_hazard: float, shape_known: bool
) -> Profile:
    """Log-likelihood by the log of the age at which ln H = `log_hazard`, the shape at its best."""
    log_reference = math.log(likelihood.reference)

    def profile(log_age: float) -> tuple[float, float]:
        nonlocal shape
        x = log_age - log_reference
        if not shape_known:
            shape = _best_through(likelihood, x, log_hazard, shape)
        slopes = likelihood.at(shape, log_hazard - shape * x)
        return slopes.value, -shape * slopes.level

    return profile


def along_survival(
    likelihood: WeibullLikelihood, *, shape: float, age: float, shape_known: bool
) -> Profile:
    """Log-likelihood by -ln H at `age`, the shape at its best."""
    x = math.log(age / likelihood.reference)

    def profile(minus_log_hazard: float) -> tuple[float, float]:
        nonlocal shape
        if not shape_known:
            shape = _best_through(likelihood, x, -minus_log_hazard, shape)
        slopes = likelihood.at(shape, -minus_log_hazard - shape * x)
        return slopes.value, -slopes.level

    return profile


def fall_to(
    profile: Profile, *, best: float, top: float, drop: float, start: float, bound: float
) -> float:
    """Argument between `best` and `bound` where `profile` lies `drop` below `top`.

    Newton on the root of the fall, which is nearly straight in the argument, inside a bracket.
    Returns `bound` itself where the profile has not fallen so far even there.
    """
    inside, outside, goal = best, math.nan, math.sqrt(drop)
    tolerance = 1e-10 * drop + 4e-15 * abs(top)
    at = _toward(start, bound, best)
    for _ in range(200):
        value, slope = profile(at)
        fall = top - value if math.isfinite(value) else math.inf
        if abs(fall - drop) <= tolerance:
            break
        if fall < drop:
            if at == bound:
                break
            inside = at
        else:
            outside = at
        root = math.sqrt(max(fall, 1e-300))
        step = 2 * root * (root - goal) / slope if slope and math.isfinite(fall) else math.nan
        at = _guarded(at + step, inside, outside, bound, best)
        if at in (inside, outside):
            break
    return at


def _guarded(proposed: float, inside: float, outside: float, bound: float, best: float) -> float:
    """`proposed` if it lies in the bracket, else a point that surely shortens it."""
    if math.isnan(outside):
        farthest = _toward(
            best + 4 * (inside - best) + math.copysign(0.1, bound - best), bound, best
        )
        return proposed if _between(proposed, inside, farthest) else farthest
    return proposed if _between(proposed, inside, outside) else (inside + outside) / 2


def _between(value: float, one: float, other: float) -> bool:
    return min(one, other) < value < max(one, other)


def _toward(value: float, bound: float, best: float) -> float:
    """`value`, but not beyond `bound` as seen from `best`."""
    return min(value, bound) if bound > best else max(value, bound)


def _best_through(
    likelihood: WeibullLikelihood, x: float, log_hazard: float, shape: float
) -> float:
    """Shape of highest likelihood among the lines through (x, ln H), by Newton in the log of it."""
    log_shape = math.log(shape)
    value, first, second = _on_line(likelihood, x, log_hazard, log_shape)
    for _ in range(200):
        step = -first / second if second < 0 else math.copysign(1.0, first)
        step = max(-1.5, min(1.5, step))
        step = max(_LOG_SHAPE_FLOOR, min(_LOG_SHAPE_ROOF, log_shape + step)) - log_shape
        # What is still to be gained is about first * step / 2.
        if abs(first * step) < 1e-12 or abs(step) < 1e-14:
            break
        least = value - 1e-13 * abs(value)
        value, first, second = _on_line(likelihood, x, log_hazard, log_shape + step)
        while not value >= least and abs(step) > 1e-12:
            step /= 2
            value, first, second = _on_line(likelihood, x, log_hazard, log_shape + step)
        log_shape += step
    return math.exp(log_shape)


def _on_line(
    likelihood: WeibullLikelihood, x: float, log_hazard: float, log_shape: float
) -> tuple[float, float, float]:
    """Log-likelihood of the line through (x, ln H) and its two derivatives in the log shape."""
    shape = math.exp(log_shape)
    slopes = likelihood.at(shape, log_hazard - shape * x)
    first = shape * (slopes.shape - x * slopes.level)
    bend = slopes.shape_shape - 2 * x * slopes.shape_level + x * x * slopes.level_level
    return slopes.value, first, first + shape * shape * bend
