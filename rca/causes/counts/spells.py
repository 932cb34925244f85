"""Spells: from work on a part to its next failure, whichever work it was.

The curve of a group of spells is Kaplan-Meier; failures to expect when every failure starts a new
spell follow the renewal equation M(t) = F(t) + integral of M(t - x) dF(x).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import NoAnswer
from rca.life.nonparametric import kaplan_meier
from rca.life.sample import Lives

Floats = NDArray[np.float64]
STEPS = 240  # of the renewal equation over the horizon


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """Spells of one kind as arrays: ages since the work, failed or not, unit, how many times."""

    entry: Floats
    age: Floats
    failed: NDArray[np.bool_]
    unit: NDArray[np.str_]
    count: Floats

    @classmethod
    def of(cls, rows: pd.DataFrame) -> "Spells":
        """Take the spells of a frame made by `spells_after_work`."""
        return cls(
            rows["entry"].to_numpy(float),
            rows["age"].to_numpy(float),
            rows["failed"].to_numpy(bool),
            rows["unit"].to_numpy(str),
            np.ones(len(rows)),
        )

    @property
    def followed(self) -> float:
        """Age of the oldest spell; 0 where there is none."""
        return float(self.age.max()) if self.age.size else 0.0

    def drawn(self, times: NDArray[np.int64]) -> "Spells":
        """The spells of a resample in which each spell stands so many times."""
        count = times.astype(float)
        kept = count > 0
        return Spells(
            self.entry[kept], self.age[kept], self.failed[kept], self.unit[kept], count[kept]
        )

    def survival(self, ages: Floats) -> Floats:
        """Kaplan-Meier survival at given ages."""
        curve = kaplan_meier(
            Lives.right_censored(self.age, self.failed, entry=self.entry, count=self.count)
        )
        steps = np.concatenate([[1.0], curve.value])
        found: Floats = steps[np.searchsorted(curve.age, ages, side="right")]
        return found

    def demand_followed(self, horizon: float) -> None:
        """Refuse a horizon that no spell reaches."""
        if self.followed < horizon:
            raise NoAnswer(
                f"no spell was followed to {horizon:g}",
                next_step=f"ask for a horizon of {self.followed:g} at most",
            )


def spells_after_work(
    rows: pd.DataFrame, repairs: pd.DataFrame, *, scale: str = "days"
) -> pd.DataFrame:
    """Columns unit, action, cause_addressed, entry, age, failed: one row a spell of one part.

    Parameters
    ----------
    rows
        Rows of the lives table of one part.
    repairs
        The repairs table that `rows.row` points into.
    scale
        "days" or "meter"; ages count from the work that began the spell. A first life began with
        no recorded work and is left out.
    """
    entry, age = f"entry_{scale}", f"age_{scale}"
    life = ["unit", "part", "position", "fitting"]
    ordered = rows.sort_values([*life, "piece"])
    earlier = ordered.groupby(life, sort=False)["row"].shift().fillna(-1).astype(int)
    mended = earlier.to_numpy() >= 0
    at = repairs[["action", "cause_addressed"]].loc[earlier[mended]].astype(str)
    action = ordered["begun_by"].astype(str).to_numpy(dtype=object).copy()
    addressed = ordered["cause_addressed"].astype(str).to_numpy(dtype=object).copy()
    action[mended], addressed[mended] = at["action"].to_numpy(), at["cause_addressed"].to_numpy()
    start = np.where(mended, ordered[entry].to_numpy(float), 0.0)
    spells = pd.DataFrame(
        {
            "unit": ordered["unit"].astype(str).to_numpy(),
            "action": action,
            "cause_addressed": addressed,
            "entry": ordered[entry].to_numpy(float) - start,
            "age": ordered[age].to_numpy(float) - start,
            "failed": ordered["failed"].to_numpy(bool),
        }
    )
    known = (spells["action"] != "") & spells["age"].notna() & (spells["age"] > spells["entry"])
    return spells[known].reset_index(drop=True)


def mean_until(group: Spells, horizon: float) -> float:
    """Area under the survival curve from 0 to the horizon (restricted mean)."""
    group.demand_followed(horizon)
    ages = group.age[group.failed & (group.age < horizon)]
    edges = np.unique(np.concatenate([[0.0], ages, [horizon]]))
    return float(np.dot(group.survival(edges[:-1]), np.diff(edges)))


def resampled_means(group: Spells, horizon: float, times: NDArray[np.int64]) -> Floats:
    """Return `mean_until` of many resamples at once; NaN where one has no spell to the horizon.

    Parameters
    ----------
    times
        How often each spell stands in each resample, (resamples, spells).
    """
    steps = np.unique(group.age[group.failed & (group.age < horizon)])
    at_risk = _sums_below(times, group.entry, steps) - _sums_below(times, group.age, steps)
    failed = np.flatnonzero(group.failed & (group.age < horizon))
    failed = failed[np.argsort(group.age[failed], kind="stable")]
    ends = np.searchsorted(group.age[failed], steps, side="right")
    gone = np.diff(_running_sums(times[:, failed])[:, ends], axis=1, prepend=0)
    left = np.cumprod(1.0 - gone / np.maximum(at_risk, 1), axis=1)
    spans = np.diff(np.concatenate([[0.0], steps, [horizon]]))
    means: Floats = spans[0] + left @ spans[1:]
    return np.where(times[:, group.age >= horizon].any(axis=1), means, np.nan)


def _sums_below(times: NDArray[np.int64], ages: Floats, limits: Floats) -> NDArray[np.int64]:
    """Spells of each resample whose age is below each limit."""
    order = np.argsort(ages, kind="stable")
    return _running_sums(times[:, order])[:, np.searchsorted(ages[order], limits, side="left")]


def _running_sums(counts: NDArray[np.int64]) -> NDArray[np.int64]:
    sums = np.zeros((len(counts), counts.shape[1] + 1), dtype=np.int64)
    np.cumsum(counts, axis=1, out=sums[:, 1:])
    return sums


def expected_failures(group: Spells, horizon: float, *, steps: int = STEPS) -> float:
    """Expected failures within a horizon when every failure starts a new spell of this group.

    The renewal equation on a grid: failures of each step fall on its middle.
    """
    group.demand_followed(horizon)
    survival = group.survival(np.linspace(0, horizon, steps + 1))
    fail = -np.diff(survival)
    expected = np.zeros(steps + 1)  # expected[k]: failures within the first k steps
    for k in range(1, steps + 1):
        # After a failure in the middle of step j, k - j + 1/2 steps are left: the mean of two
        # grid points. For j = 1 one of them is expected[k] itself, hence the divisor.
        left = (expected[:k][::-1] + expected[1 : k + 1][::-1]) / 2
        expected[k] = np.dot(fail[:k], 1 + left) / (1 - fail[0] / 2)
    return float(expected[-1])
