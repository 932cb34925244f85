"""Histories: when each unit was watched, and what happened to it meanwhile."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rca.errors import NoFit, RcaError
from rca.life.sample import Array

Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Histories:
    """When each unit was watched and what happened to it meanwhile, by age of the unit.

    Stretches, sorted by unit and age, touching ones joined (`stretch_unit`, `start`, `end`): the
    unit was under observation from `start` to `end`, both ages included. A unit may have several
    (gaps between) and may start late. Events, sorted by unit and age (`event_unit`, `event_age`,
    `event_value`, `event_stretch`): each inside a stretch of its unit. `units` holds the names to
    which the unit columns point. `counted` is true where every value is 1: values are counts.
    """

    units: NDArray[np.generic]
    stretch_unit: Codes
    start: Array
    end: Array
    event_unit: Codes
    event_age: Array
    event_value: Array
    event_stretch: Codes
    unit_of_age: str = ""
    unit_of_value: str = ""
    counted: bool = True

    @classmethod
    def of(
        cls,
        unit: ArrayLike,
        start: ArrayLike,
        end: ArrayLike,
        *,
        event_unit: ArrayLike,
        event_age: ArrayLike,
        event_value: ArrayLike | None = None,
        unit_of_age: str = "",
        unit_of_value: str = "",
    ) -> "Histories":
        """Histories of units watched from age `start` to age `end`, and of their events.

        Parameters
        ----------
        unit, start, end
            One row a stretch of watching. A unit without events belongs here all the same.
        event_unit, event_age, event_value
            One row an event. Without values each counts 1; with values (cost, hours) the mean
            cumulative function is that of the value. An unknown value is not 0: it is refused.

        Raises
        ------
        RcaError
            Where columns differ in length, an age is unknown, or an event lies outside the
            watched stretches of its unit.
        """
        starts, ends = _ages("start", start), _ages("end", end)
        ages = _ages("event_age", event_age)
        values = np.ones_like(ages) if event_value is None else _ages("event_value", event_value)
        stretch_names, event_names = np.asarray(unit), np.asarray(event_unit)
        _same_length("start", starts, "unit", stretch_names)
        _same_length("end", ends, "unit", stretch_names)
        _same_length("event_age", ages, "event_unit", event_names)
        _same_length("event_value", values, "event_unit", event_names)
        if not len(starts):
            raise NoFit("No unit was watched.", next_step="give one row a unit watched")
        if (starts < 0).any() or (ends < starts).any():
            bad = int(np.flatnonzero((starts < 0) | (ends < starts))[0])
            raise RcaError(
                f"unit {stretch_names[bad]} is watched from {starts[bad]:g} to {ends[bad]:g}: "
                "must begin at 0 or later and not end before it begins"
            )
        units, stretch_unit = np.unique(stretch_names, return_inverse=True)
        event_code = _codes_of(event_names, units)
        stretch_unit, starts, ends = _joined(stretch_unit, starts, ends)
        order = np.lexsort((ages, event_code))
        event_code, ages, values = event_code[order], ages[order], values[order]
        stretch = _stretch_of(event_code, ages, stretch_unit, starts)
        inside = (stretch >= 0) & (stretch_unit[stretch] == event_code) & (ages <= ends[stretch])
        if not inside.all():
            first = int(np.flatnonzero(~inside)[0])
            raise RcaError(
                f"{(~inside).sum()} of {len(ages)} events lie outside the time in which their "
                f"unit was watched; first: unit {units[event_code[first]]} at {ages[first]:g}",
                next_step="watch the unit at that age too, or leave the event out and say so",
            )
        return cls(
            units,
            stretch_unit,
            starts,
            ends,
            event_code,
            ages,
            values,
            stretch,
            unit_of_age,
            unit_of_value,
            event_value is None,
        )

    def since(self, age: float) -> "Histories":
        """Return what was watched from `age` on."""
        kept, happened = self.end >= age, self.event_age >= age
        place = np.cumsum(kept) - 1
        present, stretch_unit = np.unique(self.stretch_unit[kept], return_inverse=True)
        if not len(present):
            raise NoFit(f"No unit was watched at the age of {age:g} or later.")
        return Histories(
            self.units[present],
            stretch_unit,
            np.maximum(self.start[kept], age),
            self.end[kept],
            np.searchsorted(present, self.event_unit[happened]),
            self.event_age[happened],
            self.event_value[happened],
            place[self.event_stretch[happened]],
            self.unit_of_age,
            self.unit_of_value,
            self.counted,
        )

    @property
    def exposure(self) -> Array:
        """Age run under observation by each unit, in the order of `units`."""
        length = self.end - self.start
        by_unit = np.bincount(self.stretch_unit, weights=length, minlength=len(self.units))
        return by_unit.astype(np.float64)

    @property
    def events(self) -> Array:
        """Number of events of each unit, in the order of `units`."""
        return np.bincount(self.event_unit, minlength=len(self.units)).astype(np.float64)

    def __len__(self) -> int:
        return len(self.units)

    def __str__(self) -> str:
        return (
            f"{len(self.units)} units watched for {self.exposure.sum():g} "
            f"{self.unit_of_age or 'unstated units'}, {len(self.event_age)} events"
        )


def _ages(name: str, values: ArrayLike) -> Array:
    """Return `values` as a one-dimensional float array without unknowns, or refuse."""
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise RcaError(f"{name} must be one-dimensional, has shape {column.shape}")
    unknown = ~np.isfinite(column)
    if unknown.any():
        raise RcaError(
            f"{name} is unknown in {unknown.sum()} of {len(column)} rows, first in row "
            f"{np.flatnonzero(unknown)[0]}",
            next_step="leave these rows out and say how many",
        )
    return column


def _same_length(name: str, column: Array, other: str, others: NDArray[np.generic]) -> None:
    if column.shape != others.shape:
        raise RcaError(f"{name} has shape {column.shape}, {other} has {others.shape}")


def _codes_of(names: NDArray[np.generic], units: NDArray[np.generic]) -> Codes:
    """Return the place of each name in `units`, or refuse a unit that was never watched."""
    if not len(names):
        return np.zeros(0, dtype=np.intp)
    code = np.minimum(np.searchsorted(units, names), len(units) - 1)
    strange = units[code] != names
    if strange.any():
        raise RcaError(
            f"{strange.sum()} of {len(names)} events are on units that were never watched; "
            f"first: {names[np.flatnonzero(strange)[0]]}",
            next_step="give a row of start and end for each unit",
        )
    return code


def _joined(unit: Codes, start: Array, end: Array) -> tuple[Codes, Array, Array]:
    """Sort stretches by unit and age and join those of one unit that touch or overlap."""
    order = np.lexsort((start, unit))
    unit, start, end = unit[order], start[order], end[order]
    # Furthest end so far within the unit: ranks keep the running maximum exact.
    by_end = np.argsort(end, kind="stable")
    rank = np.empty(len(end), dtype=np.intp)
    rank[by_end] = np.arange(len(end))
    reach = end[by_end][np.maximum.accumulate(unit * len(end) + rank) % len(end)]
    fresh = np.ones(len(end), dtype=bool)
    fresh[1:] = (unit[1:] != unit[:-1]) | (start[1:] > reach[:-1])
    first = np.flatnonzero(fresh)
    last = np.append(first[1:], len(end)) - 1
    return unit[first], start[first], reach[last]


def _stretch_of(event_unit: Codes, age: Array, stretch_unit: Codes, start: Array) -> Codes:
    """Return for each event (sorted) the last stretch that starts no later, -1 where none."""
    unit = np.concatenate((stretch_unit, event_unit))
    order = np.lexsort(
        (np.repeat((0, 1), (len(start), len(age))), np.concatenate((start, age)), unit)
    )
    is_event = order >= len(start)
    started = np.cumsum(~is_event) - 1
    stretch: Codes = started[is_event]
    return stretch
