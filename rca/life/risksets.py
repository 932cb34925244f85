"""Who was at risk at each failure, within strata, with late entry: shared by the comparisons."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rca.errors import NoFit, RcaError
from rca.life.histories import Codes
from rca.life.nonparametric import demand_exact
from rca.life.sample import Array, Lives


@dataclass(frozen=True, slots=True, eq=False)
class RiskSets:
    """Failure times (each distinct age in each stratum) and the lives at risk at them.

    first, beyond
        A life is at risk at the failure times first <= m < beyond: those in its stratum with
        entry < age at failure <= its own age.
    failed
        Rows of the lives that failed; `at` is the failure time of each.
    deaths
        Number failed at each failure time, with counts.
    """

    first: Codes
    beyond: Codes
    failed: Codes
    at: Codes
    deaths: Array
    count: Array

    @classmethod
    def of(cls, lives: Lives, *, strata: ArrayLike | None = None) -> "RiskSets":
        """Risk sets of exact and right-censored lives, `strata` one label a life."""
        demand_exact(lives, "A comparison of lives")
        if not lives.exact.any():
            raise NoFit("No life failed, so there is nothing to compare.")
        stratum = np.zeros(len(lives), dtype=np.intp)
        if strata is not None:
            stratum = labels("strata", strata, len(lives))[1]
        # One whole number stands for (stratum, age), so that one sorted array holds all of them.
        ages = np.unique(lives.low[lives.exact])
        width = len(ages) + 1
        until = stratum * width + np.searchsorted(ages, lives.low, side="right")
        since = stratum * width + np.searchsorted(ages, lives.entry, side="right")
        failed = np.flatnonzero(lives.exact)
        times, at = np.unique(until[failed] - 1, return_inverse=True)
        deaths = np.bincount(at, weights=lives.count[failed])
        return cls(
            np.searchsorted(times, since),
            np.searchsorted(times, until),
            failed,
            at,
            deaths.astype(np.float64),
            lives.count,
        )

    def at_risk(self, values: Array) -> Array:
        """Sum `values` (one row a life, already times count) over those at risk at each time."""
        return np.cumsum(self._binned(self.first, values) - self._binned(self.beyond, values))[:-1]

    def failing(self, values: Array) -> Array:
        """Sum `values` (one row a life, already times count) over those that failed each time."""
        total: Array = np.bincount(
            self.at, weights=values[self.failed], minlength=len(self.deaths)
        ).astype(np.float64)
        return total

    def _binned(self, place: Codes, values: Array) -> Array:
        return np.bincount(place, weights=values, minlength=len(self.deaths) + 1).astype(np.float64)


def labels(name: str, values: ArrayLike, length: int) -> tuple[NDArray[np.generic], Codes]:
    """Return the distinct labels of a column of the given length, and their codes."""
    column = np.asarray(values)
    if column.shape != (length,):
        raise RcaError(f"{name} has shape {column.shape}, there are {length} lives")
    distinct, codes = np.unique(column, return_inverse=True)
    return distinct, codes
