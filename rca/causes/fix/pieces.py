"""Watched pieces of lives on one scale, laid on the calendar, so that they can be cut at a date."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from rca.errors import RcaError

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STILL_RUNNING = ("cut-off",)
"""What `ended_by` says of a piece that was still in service when last seen."""

ONCE = "recall"
"""What `ended_by` says of a renewal that is no habit."""

_COLUMNS = ("unit", "entry", "age", "begin", "end", "failed", "running", "renewed")
_SCALES = {"days": ("entry_days", "age_days"), "meter": ("entry_meter", "age_meter")}


def day_number(dates: ArrayLike | pd.Series | pd.DatetimeIndex) -> Array:
    """Days since 1970-01-01 as floats; no date (NaT) gives NaN."""
    days = np.asarray(dates, dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(np.int64)).astype(np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces of lives of ONE part on ONE scale; inside a piece age advances evenly by the day.

    All dates are ends of days: what happens on a day lies before a cut at that day.

    units
        Names of the units, sorted, each once.
    unit
        For each piece, the position of its unit in `units`.
    entry, age
        Age when watching of the piece begins and ends (days, or the fleet's meter unit).
    begin, end
        Day numbers (`day_number`) between which the piece was watched.
    failed
        True where the piece ended in a failure (of the mode looked at).
    running
        True where the part was still in service when last seen.
    renewed
        True where the end of the piece renewed the part (a recall does not count: it says nothing
        of the part's own course).
    """

    units: NDArray[np.object_]
    unit: NDArray[np.int64]
    entry: Array
    age: Array
    begin: Array
    end: Array
    failed: Flags
    running: Flags
    renewed: Flags

    @classmethod
    def from_arrays(
        cls,
        unit: ArrayLike,
        *,
        entry: ArrayLike,
        age: ArrayLike,
        begin: ArrayLike,
        end: ArrayLike,
        failed: ArrayLike,
        running: ArrayLike | None = None,
        renewed: ArrayLike | None = None,
    ) -> "Pieces":
        """Pieces from arrays of one length; `begin` and `end` are dates.

        Without `running`, an unfailed piece that ends on the last day of all counts as running;
        without `renewed`, every failure counts as renewing the part.
        """
        names, codes = np.unique(np.asarray(unit, dtype=object), return_inverse=True)
        ends, fails = day_number(end), np.asarray(failed, dtype=bool)
        last = ends == (ends.max() if ends.size else 0.0)
        pieces = cls(
            units=names,
            unit=codes.astype(np.int64).reshape(-1),
            entry=np.asarray(entry, dtype=np.float64),
            age=np.asarray(age, dtype=np.float64),
            begin=day_number(begin),
            end=ends,
            failed=fails,
            running=~fails & last if running is None else np.asarray(running, dtype=bool),
            renewed=fails.copy() if renewed is None else np.asarray(renewed, dtype=bool),
        )
        pieces._demand_sense()
        return pieces

    @classmethod
    def from_rows(
        cls, rows: pd.DataFrame, *, scale: str = "days", mode: str | None = None
    ) -> "Pieces":
        """Pieces from the rows of a table of lives (one part), in "days" or on the "meter".

        On the meter, pieces of unknown meter are left out. With a `mode`, failures of other
        modes (and of unstated mode) are suspensions.
        """
        if scale not in _SCALES:
            raise RcaError(f"scale is {scale!r}", next_step="use 'days' or 'meter'")
        entry, age = _SCALES[scale]
        known = rows[rows[entry].notna() & rows[age].notna() & (rows[age] > rows[entry])]
        failed = known["failed"].to_numpy(dtype=bool)
        if mode is not None:
            failed = failed & (known["mode"] == mode).to_numpy(dtype=bool)
        return cls.from_arrays(
            known["unit"].to_numpy(dtype=object),
            entry=known[entry],
            age=known[age],
            begin=known["begin"],
            end=known["end"],
            failed=failed,
            running=known["ended_by"].isin(STILL_RUNNING),
            renewed=known["renewed"] & (known["ended_by"] != ONCE),
        )

    def __len__(self) -> int:
        return len(self.unit)

    def __str__(self) -> str:
        return (
            f"{len(self)} pieces of lives on {len(self.units)} units: {int(self.failed.sum())} "
            f"failed, {int(self.running.sum())} still running"
        )

    @property
    def early(self) -> Flags:
        """True where the part was renewed before it failed."""
        return self.renewed & ~self.failed

    def age_on(self, day: ArrayLike) -> Array:
        """Age of each piece at the end of `day` (one day, or one for each piece).

        Before the piece begins this is its entry, after its end its last age.
        """
        days = np.asarray(day, dtype=np.float64)
        span = self.end - self.begin
        share = np.where(
            span > 0,
            np.clip((days - self.begin) / np.where(span > 0, span, 1.0), 0.0, 1.0),
            days >= self.end,
        )
        return np.where(share >= 1.0, self.age, self.entry + share * (self.age - self.entry))

    def chosen(self, keep: NDArray) -> "Pieces":
        """Only the pieces chosen by a mask or an index; the list of units stays the same."""
        return replace(self, **{name: getattr(self, name)[keep] for name in _COLUMNS})

    def until(self, day: float) -> "Pieces":
        """What was known at the end of `day`: pieces begun by then, cut there."""
        age = self.age_on(day)
        over = self.end <= day
        cut = replace(
            self,
            age=age,
            end=np.minimum(self.end, day),
            failed=self.failed & over,
            running=self.running | ~over,
            renewed=self.renewed & over,
        )
        return cut.chosen((self.begin <= day) & (age > self.entry))

    def carried_on(self, day: float, *, from_new: Flags | None = None) -> "Pieces":
        """The pieces, and each running one carried on to `day` at its own use so far.

        A piece too short to show its use (under 7 days) takes the typical use of all. Units
        marked in `from_new` (one flag a unit) get a new part at the moment of carrying on.
        """
        going = np.flatnonzero(self.running & (self.end < day))
        add = self.chosen(going)
        fresh = np.zeros(len(add), dtype=bool) if from_new is None else from_new[add.unit]
        entry = np.where(fresh, 0.0, add.age)
        age = entry + self.use_per_day()[going] * (day - add.end)
        more = replace(add, entry=entry, age=age, begin=add.end, end=np.full(len(add), day))
        joined = {
            name: np.concatenate([getattr(self, name), getattr(more, name)]) for name in _COLUMNS
        }
        joined["running"][going] = False
        return replace(self, **joined)

    def use_per_day(self) -> Array:
        """Age gained per day by each piece; the typical use of all where it is too short."""
        days = self.end - self.begin
        gained = self.age - self.entry
        enough = days >= 7
        total = float(days[enough].sum())
        typical = float(gained[enough].sum()) / total if total > 0 else 1.0
        return np.where(enough, gained / np.where(enough, days, 1.0), typical)

    def count_by_unit(self, which: NDArray | None = None) -> Array:
        """Number of pieces (those of `which`) on each unit, in the order of `units`."""
        codes = self.unit if which is None else self.unit[which]
        return np.bincount(codes, minlength=len(self.units)).astype(np.float64)

    def _demand_sense(self) -> None:
        """Refuse lengths that differ, unknown values and pieces that run backward."""
        columns = (self.entry, self.age, self.begin, self.end, self.failed, self.running)
        if any(column.shape != self.unit.shape for column in columns):
            raise RcaError("the columns of the pieces differ in length")
        known = np.isfinite(self.entry) & np.isfinite(self.age)
        known &= np.isfinite(self.begin) & np.isfinite(self.end)
        for good, rule in (
            (known, "entry, age, begin and end must be known"),
            (self.entry >= 0, "entry must be 0 or more"),
            (self.age > self.entry, "age must lie above entry (count age 0 as half a day)"),
            (self.end >= self.begin, "end must not lie before begin"),
        ):
            bad = np.flatnonzero(~good)
            if bad.size:
                name = self.units[self.unit[bad[0]]]
                raise RcaError(f"{rule}: broken by {bad.size} pieces, first on unit {name}")
