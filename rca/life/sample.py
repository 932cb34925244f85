"""A sample of lives, as the statistics see it, and the interval in which they answer."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rca.errors import RcaError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Interval:
    """Limits between which a quantity lies with the stated confidence.

    A limit that does not exist is 0 or -inf (lower) or inf (upper), and `note` says why.
    """

    lower: float
    upper: float
    confidence: float = 0.95
    method: str = ""
    note: str = ""

    def __str__(self) -> str:
        upper = "no upper limit" if math.isinf(self.upper) else f"{self.upper:.4g}"
        lower = "no lower limit" if math.isinf(self.lower) else f"{self.lower:.4g}"
        return f"{lower} to {upper} ({self.confidence:.0%})"


@dataclass(frozen=True, slots=True, eq=False)
class Lives:
    """Lives of one kind of part: each lies between `low` and `high`, given that it passed `entry`.

    Arrays of one length, ages in `unit` since the part was new:

    low, high
        Failure age is in [low, high]. Exact failure: low == high. Still running (right-censored):
        high = inf. Failed before the first look (left-censored): low = 0.
    entry
        Age at which watching began (late entry); 0 = watched from new. Always below `low`, or
        below `high` where the life is left- or interval-censored.
    count
        How many equal lives the row stands for.
    """

    low: Array
    high: Array
    entry: Array
    count: Array
    unit: str = ""

    @classmethod
    def right_censored(
        cls,
        age: ArrayLike,
        failed: ArrayLike,
        *,
        entry: ArrayLike | None = None,
        count: ArrayLike | None = None,
        unit: str = "",
    ) -> "Lives":
        """Lives known exactly: `failed` true = failed at `age`, false = still running at `age`."""
        ages = _column("age", age)
        flags = np.asarray(failed)
        if flags.shape != ages.shape:
            raise RcaError(f"failed has shape {flags.shape}, age has {ages.shape}")
        if flags.dtype != bool and not np.isin(flags, (0, 1)).all():
            raise RcaError("failed must be true or false (1 or 0) for every life")
        high = np.where(flags.astype(bool), ages, np.inf)
        return cls.between(ages, high, entry=entry, count=count, unit=unit)

    @classmethod
    def between(
        cls,
        low: ArrayLike,
        high: ArrayLike,
        *,
        entry: ArrayLike | None = None,
        count: ArrayLike | None = None,
        unit: str = "",
    ) -> "Lives":
        """Lives known to end between two ages; high = inf where the part still ran at `low`."""
        lows, highs = _column("low", low), _column("high", high)
        entries = np.zeros_like(lows) if entry is None else _column("entry", entry)
        counts = np.ones_like(lows) if count is None else _column("count", count)
        for name, column in (("high", highs), ("entry", entries), ("count", counts)):
            if column.shape != lows.shape:
                raise RcaError(f"{name} has shape {column.shape}, low has {lows.shape}")
        end = np.where(np.isfinite(highs), highs, lows)
        _demand(np.isfinite(lows) & (lows >= 0), lows, "low must be 0 or more and finite")
        _demand(~np.isnan(highs) & (highs >= lows), highs, "high must not be below low")
        _demand(end > 0, end, "a life must be longer than 0 (count age 0 as half a day)")
        _demand(np.isfinite(entries) & (entries >= 0), entries, "entry must be 0 or more")
        _demand(entries < end, entries, "entry must be below the age at which the life ended")
        _demand(np.isfinite(counts) & (counts > 0), counts, "count must be above 0")
        return cls(low=lows, high=highs, entry=entries, count=counts, unit=unit)

    @property
    def exact(self) -> NDArray[np.bool_]:
        """True where the life failed at an exactly known age."""
        return self.low == self.high

    @property
    def running(self) -> NDArray[np.bool_]:
        """True where the life was last seen running (right-censored)."""
        return np.isinf(self.high)

    @property
    def n_failed(self) -> float:
        """Number of failures, exact or within an interval."""
        return float(self.count[~self.running].sum())

    @property
    def n_running(self) -> float:
        """Number of lives last seen without failure (suspensions)."""
        return float(self.count[self.running].sum())

    def __len__(self) -> int:
        return len(self.low)

    def __str__(self) -> str:
        late = float(self.count[self.entry > 0].sum())
        return (
            f"{self.n_failed + self.n_running:g} lives in {self.unit or 'unstated units'}: "
            f"{self.n_failed:g} failed, {self.n_running:g} suspended, {late:g} with late entry"
        )


def _column(name: str, values: ArrayLike) -> Array:
    """Return `values` as a one-dimensional float array, or refuse."""
    column: Array = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise RcaError(f"{name} must be one-dimensional, has shape {column.shape}")
    return column


def _demand(good: NDArray[np.bool_], values: Array, rule: str) -> None:
    """Refuse with the first offending value and how many there are."""
    bad: Any = np.flatnonzero(~good)
    if bad.size:
        first = f"first at {bad[0]}: {values[bad[0]]:g}"
        raise RcaError(f"{rule}: {bad.size} of {good.size} break it, {first}")
