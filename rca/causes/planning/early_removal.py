"""Parts taken off before they fail, by age, at the habit that the records show.

The hazard of being taken off early (planned, at an inspection, without a fault found; a recall is
no habit) is constant between the ages of some of the removals: rate = removals / running at risk
in each interval, with failures as the other end. Where failing and being taken off are independent
given the age, this is the maximum-likelihood estimate of the cause-specific hazard (R. L. Prentice
& al., Biometrics 34, 1978; M. Friedman, Ann. Statist. 10, 1982; both from memory). A rate known
from n removals is drawn from a gamma distribution with n. Beyond the oldest removal the rate is
known as from half a removal: most parts that have come that far are never taken off early. Only
the last two years count where they hold enough removals: habits change.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rca.causes.fix.pieces import Pieces

Array = NDArray[np.float64]

RECENT_DAYS = 730.0
ENOUGH = 20
"""Removals in the last two years from which only these count."""
_EACH = 6  # removals an interval at least
_MOST = 16  # intervals
_BEYOND = 0.5  # removals from which the rate beyond the oldest removal is known


@dataclass(frozen=True, slots=True, eq=False)
class Habit:
    """Removals before failure by age; arrays have one entry an interval.

    The first interval begins at the age of the first removal, before which none is expected; the
    last one begins beyond the last removal, if a part has run so far, and has no end.
    """

    begin: Array  # age at which each interval begins, rising
    removed: Array  # parts taken off in it
    run: Array  # ages run in it

    def __str__(self) -> str:
        total = int(self.removed.sum())
        if not total:
            return "no part was taken off before it failed"
        return f"{total} parts taken off before they failed, the first at {self.begin[0]:.4g}"

    @property
    def total(self) -> int:
        """Parts taken off early behind the habit."""
        return int(self.removed.sum())

    @property
    def rate(self) -> Array:
        """Removals for each unit of age run, by interval."""
        return np.maximum(self.removed, _BEYOND) / self.run

    def drawn(self, draws: int, rng: np.random.Generator) -> Array:
        """Rates that the records leave possible: (draws, intervals)."""
        known_from = np.maximum(self.removed, _BEYOND)
        return rng.gamma(known_from, size=(draws, len(known_from))) / self.run

    def inside(self, age: Array) -> Array:
        """How much of each interval lies below each age: (*ages, intervals)."""
        end = np.append(self.begin[1:], np.inf)
        below = np.minimum(np.asarray(age)[..., np.newaxis], end) - self.begin
        return np.maximum(below, 0.0)

    def expected(self, low: Array, high: Array) -> Array:
        """Removals to be expected between two ages."""
        found: Array = (self.inside(high) - self.inside(low)) @ self.rate
        return found


def removal_habit(pieces: Pieces, *, day: float) -> Habit:
    """The habit of taking parts off early, from the pieces known on a day.

    Parameters
    ----------
    pieces
        All pieces of one part up to that day.
    """
    early = pieces.early
    recent = pieces.end > day - RECENT_DAYS
    since = day - RECENT_DAYS if (early & recent).sum() >= ENOUGH else -np.inf
    kept = pieces.chosen(pieces.end > since)
    entry = kept.age_on(np.maximum(since, kept.begin)) if np.isfinite(since) else kept.entry
    ages = np.sort(kept.age[kept.early])
    if len(ages) == 0:
        return Habit(np.zeros(0), np.zeros(0), np.zeros(0))
    count = int(np.clip(len(ages) // _EACH, 1, _MOST))
    # a hair beside each age, so that the removal itself lies inside its interval
    begin = np.unique(ages[(np.arange(count) * len(ages)) // count]) * (1 - 1e-9)
    begin = np.append(begin, ages[-1] * (1 + 1e-9))
    place = np.searchsorted(begin, ages, side="right") - 1
    shell = Habit(begin, np.bincount(place, minlength=len(begin)).astype(float), np.ones(1))
    run = (shell.inside(kept.age) - shell.inside(entry)).sum(axis=0)
    known = len(run) if run[-1] > 0 else len(run) - 1
    return Habit(begin[:known], shell.removed[:known], run[:known])
