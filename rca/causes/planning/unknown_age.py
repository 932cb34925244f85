"""How old a part may be whose fitting lies before the records.

The unit began its service with a new part a running T before the records begin; the part now in it
was there then and has run W since. It is the original one, or one of those fitted since, by the
renewal process of the part's own ends H(t) (failures that renew and removals before failure):
    original            weight exp(-H(T + W)),   age T + W
    fitted at u < T     weight m(u) exp(-H(T - u + W)),   age T - u + W
with m the renewal density (D. R. Cox, Renewal Theory, 1962, from memory). So a short-lived part is
young and a long-lived one mostly the original.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LIKELY = 16
"""Equally likely ages by which each part's age is told."""
_STEPS = 240  # of the renewal equation
_CELLS = 60  # possible times of fitting


def renewal_function(hazard: Callable[[Array], Array], longest: float) -> tuple[Array, Array]:
    """Times from 0 to `longest` and expected renewals by then, M(t) = F(t) + (M * dF)(t).

    On a grid; what falls into a step lies on its middle, as in `counts.spells`.
    """
    times = np.linspace(0.0, longest, _STEPS + 1)
    ends = np.diff(-np.expm1(-hazard(times)))
    total = np.zeros(_STEPS + 1)
    for k in range(1, _STEPS + 1):
        left = (total[:k][::-1] + total[1 : k + 1][::-1]) / 2
        total[k] = np.dot(ends[:k], 1 + left) / (1 - ends[0] / 2)
    return times, total


def likely_ages(before: Array, watched: Array, hazard: Callable[[Array], Array]) -> Array:
    """Equally likely ages of parts of unknown age, (parts, LIKELY), youngest first.

    Parameters
    ----------
    before
        What each unit ran from its first day of service to the first day of the records.
    watched
        What it has run since, without the part being renewed.
    hazard
        Cumulative hazard of the part's being renewed, by age.
    """
    times, renewed = renewal_function(hazard, max(float(before.max()), 1e-9))
    edges = before[:, np.newaxis] * np.linspace(0.0, 1.0, _CELLS + 1)
    middle = (edges[:, 1:] + edges[:, :-1]) / 2
    fitted = np.diff(np.interp(edges, times, renewed), axis=1)
    oldest = (before + watched)[:, np.newaxis]
    ages = np.concatenate([oldest - middle, oldest], axis=1)[:, ::-1]
    log_weight = np.log(np.concatenate([fitted, np.ones_like(oldest)], axis=1)[:, ::-1] + 1e-300)
    log_weight = log_weight - hazard(ages)
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    # the original is the oldest: sort by age, and read the ages at evenly spaced shares
    order = np.argsort(ages, axis=1, kind="stable")
    ages = np.take_along_axis(ages, order, axis=1)
    share = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    share /= share[:, -1:]
    asked = (np.arange(LIKELY) + 0.5) / LIKELY
    place = (share[:, :, np.newaxis] < asked).sum(axis=1)
    return np.take_along_axis(ages, np.minimum(place, ages.shape[1] - 1), axis=1)
