"""Repairs that also removed the cause against repairs of the part alone, within like units.

Each life that begins at a repair is followed to its failures, by age since that repair. Bad units
get more of both repairs, and a second repair is by definition on a bad unit; so lives are compared
only inside a stratum: the same unit, or the same number of the repair on its unit. With one yes/no
factor Cox's partial likelihood (J. R. Stat. Soc. B 34, 1972) is, over the failures at ages t,

    sum [z beta - log(n_yes(t) exp(beta) + n_no(t))]

with z = 1 if the failed life followed a repair with its cause and n(t) the lives of the stratum
running at age t. Limits are by likelihood ratio, so they exist where one side never failed.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.stats import chi2

from rca.life.sample import Interval

Array = NDArray[np.float64]

_FAR = 20.0  # log ratio beyond which a limit is called unbounded


@dataclass(frozen=True, slots=True)
class RateRatio:
    """Failure rate after a repair with its cause over that after one without, at equal age.

    `ratio` is None where it cannot be told; 0 where no life with the cause removed failed though
    lives to compare it with did.
    """

    ratio: float | None
    interval: Interval | None
    strata: int  # with both kinds of repair running side by side at a failure
    failures: int  # that tell something: at an age at which both kinds were running
    why_not: str = ""

    def __str__(self) -> str:
        if self.ratio is None:
            return f"no comparison: {self.why_not}"
        return (
            f"ratio {self.ratio:.2f} ({self.interval}) from {self.failures} failures in "
            f"{self.strata} strata"
        )


@dataclass(frozen=True, slots=True)
class RepairComparison:
    """Part-and-cause against part-only repairs of one part."""

    lives_with_cause: int
    failures_with_cause: int
    lives_part_only: int
    failures_part_only: int
    not_stated: int  # lives that began at a repair which does not say
    within_units: RateRatio
    by_repair_number: RateRatio

    def __str__(self) -> str:
        return (
            f"part and cause: {self.failures_with_cause} failures in {self.lives_with_cause} "
            f"lives; part only: {self.failures_part_only} in {self.lives_part_only}; "
            f"within units {self.within_units}; by repair number {self.by_repair_number}"
        )


def compare_repairs(
    rows: pd.DataFrame, *, scale: str = "days", mode: str | None = None
) -> RepairComparison:
    """Compare lives by what the repair that began them addressed.

    Parameters
    ----------
    rows
        Rows of a table of lives of one part, columns as in the table: unit, position, fitting,
        entry_days, age_days (or the meter's), failed, mode, cause_addressed.
    scale
        "days" or "meter".
    mode
        Count failures of this mode only; others end a life unfailed.
    """
    entry, age = ("entry_meter", "age_meter") if scale == "meter" else ("entry_days", "age_days")
    known = rows[rows[entry].notna() & rows[age].notna() & (rows["fitting"] > 0)]
    failed = known["failed"].to_numpy(dtype=bool)
    if mode is not None:
        failed = failed & (known["mode"] == mode).to_numpy(dtype=bool)
    stated = known["cause_addressed"].isin(["yes", "no"]).to_numpy()
    with_cause = (known["cause_addressed"] == "yes").to_numpy()
    life = known.groupby(["unit", "position", "fitting"], sort=False).ngroup().to_numpy()
    strata = (known["unit"].to_numpy(dtype=object), known["fitting"].to_numpy())
    within, by_number = (
        stratified_ratio(
            _codes(stratum[stated]),
            treated=with_cause[stated],
            entry=known[entry].to_numpy(dtype=float)[stated],
            age=known[age].to_numpy(dtype=float)[stated],
            failed=failed[stated],
        )
        for stratum in strata
    )
    return RepairComparison(
        lives_with_cause=len(np.unique(life[with_cause])),
        failures_with_cause=int(failed[with_cause].sum()),
        lives_part_only=len(np.unique(life[stated & ~with_cause])),
        failures_part_only=int(failed[stated & ~with_cause].sum()),
        not_stated=len(np.unique(life[~stated])),
        within_units=within,
        by_repair_number=by_number,
    )


def _codes(values: ArrayLike) -> NDArray[np.int64]:
    return np.unique(np.asarray(values), return_inverse=True)[1].astype(np.int64)


def stratified_ratio(
    stratum: NDArray[np.int64],
    *,
    treated: NDArray[np.bool_],
    entry: Array,
    age: Array,
    failed: NDArray[np.bool_],
    confidence: float = 0.95,
) -> RateRatio:
    """Ratio of failure rates, treated over untreated, compared inside strata only.

    Arrays of one length, one entry a piece of a life: code of its stratum, treated or not, age at
    which it was first and last watched, failed at the end or not. Ties share their risk set
    (Breslow, Biometrics 30, 1974).
    """
    at_risk = [
        _running(stratum, entry, age, treated == side, stratum[failed], age[failed])
        for side in (True, False)
    ]
    both = (at_risk[0] > 0) & (at_risk[1] > 0)
    yes, no = at_risk[0][both], at_risk[1][both]
    hit = float(treated[failed][both].sum())
    total, strata = int(both.sum()), len(np.unique(stratum[failed][both]))
    if total == 0:
        why = "no failure happened while both kinds of repair were running at the same age"
        return RateRatio(None, None, 0, 0, why)

    def value(beta: float) -> float:
        return float(hit * beta - np.sum(np.log(yes * np.exp(beta) + no)))

    def slope(beta: float) -> float:
        return float(hit - np.sum(yes / (yes + no * np.exp(-beta))))

    if hit == 0:
        best, top = -np.inf, float(-np.sum(np.log(no)))
    elif hit == total:
        best, top = np.inf, float(-np.sum(np.log(yes)))
    else:
        best = float(brentq(slope, -_FAR, _FAR, xtol=1e-12))
        top = value(best)
    drop = float(chi2.ppf(confidence, 1)) / 2.0
    lower, upper = (_limit(value, top - drop, best, toward) for toward in (-_FAR, _FAR))
    note = "no failure after a repair with its cause" if hit == 0 else ""
    interval = Interval(lower, upper, confidence, "likelihood ratio", note)
    if np.isinf(best) and best > 0:
        why = "no failure after a repair of the part alone while both kinds were running"
        return RateRatio(None, interval, strata, total, why)
    return RateRatio(float(np.exp(best)), interval, strata, total)


def _limit(value: Callable[[float], float], level: float, best: float, toward: float) -> float:
    """Ratio at which the log likelihood has fallen to `level`; 0 or inf where it never does."""
    start = -toward if np.isinf(best) and np.sign(best) != np.sign(toward) else best
    unbounded = 0.0 if toward < 0 else np.inf
    if np.isinf(start):
        return unbounded
    if value(toward) > level:
        return unbounded
    return float(np.exp(brentq(lambda beta: value(beta) - level, start, toward, xtol=1e-10)))


def _running(
    stratum: NDArray[np.int64],
    entry: Array,
    age: Array,
    side: NDArray[np.bool_],
    at_stratum: NDArray[np.int64],
    at_age: Array,
) -> Array:
    """How many pieces of one side were running at each given age of each given stratum.

    Running at t: entry < t <= age. Counted for all strata at once by ranks over (stratum, age).
    """
    count = np.zeros(len(at_age))
    for edge, sign in ((entry[side], 1.0), (age[side], -1.0)):
        order = np.lexsort((edge, stratum[side]))
        stacked = _rank_below(stratum[side][order], edge[order], at_stratum, at_age)
        count += sign * stacked
    return count


def _rank_below(
    stratum: NDArray[np.int64], edge: Array, at_stratum: NDArray[np.int64], at_age: Array
) -> Array:
    """Number of sorted (stratum, edge) with the same stratum and edge < age, for each query."""
    merged = np.concatenate([edge, at_age])
    # equal ages get equal ranks, so that strictly-below is exact whatever the size of the ages
    rank = np.unique(merged, return_inverse=True)[1].reshape(-1).astype(np.int64)
    width = np.int64(len(merged) + 1)
    keys = stratum * width + rank[: len(edge)]
    ask = at_stratum * width
    below = np.searchsorted(keys, ask + rank[len(edge) :], side="left")
    return (below - np.searchsorted(keys, ask, side="left")).astype(np.float64)
