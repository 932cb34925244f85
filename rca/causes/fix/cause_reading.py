"""Is the upstream cause gone: readings taken on the treated units after the fix."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.stats import hypergeom

from rca.causes.fix.words import CauseAnswer
from rca.errors import RcaError

GUARD_FACTOR: Final = 1.6448536269514722
"""One-sided 95 %: a reading proves a limit when it lies so many standard uncertainties inside."""
SHARE: Final = 0.10
"""Share of treated units on which the cause may still be present when it is called removed ..."""
CONFIDENCE: Final = 0.90
"""... and how sure the sample of units read must make us of that."""


class Place(StrEnum):
    """Where a reading lies, given its uncertainty."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    UNDECIDED = "undecided"


def place_readings(
    value: ArrayLike,
    *,
    at_least: ArrayLike = -np.inf,
    at_most: ArrayLike = np.inf,
    standard_uncertainty: ArrayLike = 0.0,
    guard_factor: float = GUARD_FACTOR,
) -> NDArray[np.object_]:
    """Judge readings against limits with a guard band on both sides of each limit.

    Inside: within the limits by at least the guard band g = guard_factor x standard uncertainty;
    outside: beyond a limit by more than g; else undecided, as is an unknown (NaN) reading
    (decision rule of ISO 14253-1; the one-sided 95 % factor is from memory). An endless reading
    (open circuit: inf) is a reading like any other; a missing limit (NaN) is no limit.
    """
    reading = np.asarray(value, dtype=float)
    guard = guard_factor * np.asarray(standard_uncertainty, dtype=float)
    low, high = np.asarray(at_least, dtype=float), np.asarray(at_most, dtype=float)
    low, high = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    inside = (reading >= low + guard) & (reading <= high - guard)
    outside = (reading < low - guard) | (reading > high + guard)
    words = np.where(inside, Place.INSIDE, np.where(outside, Place.OUTSIDE, Place.UNDECIDED))
    return words.astype(object)


def units_to_read(
    units: int, *, share: float = SHARE, confidence: float = CONFIDENCE, outside: int = 0
) -> int:
    """How many of `units` to read so that `outside` bad ones or fewer bound the share affected.

    Smallest n for which, were more than `share` of the units affected, a random sample of n would
    hold more than `outside` of them with probability `confidence` (hypergeometric; for endless
    `units` and none outside it is the success run ln(1 - C) / ln(1 - share), rounded up).
    """
    if units <= 0:
        return 0
    affected = min(math.floor(share * units + 1e-9) + 1, units)
    low, high = 0, units
    while high - low > 1:
        middle = (low + high) // 2
        enough = hypergeom.cdf(outside, units, affected, middle) <= 1.0 - confidence + 1e-12
        low, high = (low, middle) if enough else (middle, high)
    return high


@dataclass(frozen=True, slots=True)
class CauseCheck:
    """What the readings after the fix say on the treated units, the last one of each counting."""

    answer: CauseAnswer
    treated: int
    read: int
    inside: int
    outside: int
    undecided: int
    to_read: int  # units to read, all inside, before the cause may be called removed
    outside_units: tuple[str, ...] = ()
    why: str = ""

    def __str__(self) -> str:
        counts = f"{self.read} of {self.treated} treated units read after the fix"
        return f"cause {self.answer}: {counts}{'; ' + self.why if self.why else ''}"


def check_cause(
    readings: pd.DataFrame | None, done: pd.DataFrame, *, until: pd.Timestamp
) -> CauseCheck:
    """Answer whether the cause is removed from readings on the treated units after their fix.

    Parameters
    ----------
    readings
        Columns unit, date and either `place` (inside, outside, undecided) or value, with any of
        at_least, at_most, standard_uncertainty. None: nothing was read.
    done
        Columns unit, date: the treated units and the date of their fix. A reading on the day of
        the fix counts as taken after it.
    until
        Readings after this day are not used.

    Notes
    -----
    The last reading of each unit counts. One outside the limit: still present. All inside, on so
    many units that a share above 10 % is excluded with 90 % confidence (`units_to_read`): removed.
    Else not checked.
    """
    treated = len(done)
    to_read = units_to_read(treated)
    last = _last_readings(readings, done, until=until)
    counts = {place: int((last["place"] == place).sum()) for place in Place}
    inside, outside, undecided = counts.values()
    bad = tuple(str(name) for name in last.loc[last["place"] == Place.OUTSIDE, "unit"])
    if outside:
        answer, why = CauseAnswer.STILL_PRESENT, f"outside its limit on {', '.join(bad[:5])}"
        why += f" and {outside - 5} more" if outside > 5 else ""
    elif undecided:
        answer, why = CauseAnswer.NOT_CHECKED, f"too close to the limit to tell on {undecided}"
    elif treated and inside >= to_read:
        answer, why = CauseAnswer.REMOVED, f"inside its limit on all {inside} read"
    else:
        answer = CauseAnswer.NOT_CHECKED
        why = f"{to_read} units with a reading inside the limit are needed, {inside} have one"
    return CauseCheck(
        answer=answer,
        treated=treated,
        read=len(last),
        inside=inside,
        outside=outside,
        undecided=undecided,
        to_read=to_read,
        outside_units=bad,
        why=why,
    )


def _last_readings(
    readings: pd.DataFrame | None, done: pd.DataFrame, *, until: pd.Timestamp
) -> pd.DataFrame:
    """Last judged reading of each treated unit on or after its fix: unit, place."""
    if readings is None or len(readings) == 0 or len(done) == 0:
        return pd.DataFrame({"unit": [], "place": []})
    table = readings.assign(date=pd.to_datetime(readings["date"]))
    if "place" not in table:
        table["place"] = place_readings(
            table["value"], **{name: table[name] for name in _LIMITS if name in table}
        )
    unknown = set(table["place"]) - set(Place)
    if unknown:
        raise RcaError(
            f"a reading is called {sorted(map(str, unknown))[0]!r}",
            next_step="use one of: " + ", ".join(Place),
        )
    table = table.merge(done.rename(columns={"date": "fixed"}), on="unit")
    table = table[(table["date"] >= table["fixed"]) & (table["date"] < until + pd.Timedelta("1D"))]
    return table.sort_values("date", kind="stable").groupby("unit", as_index=False).last()


_LIMITS = ("at_least", "at_most", "standard_uncertainty")
