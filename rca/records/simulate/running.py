"""How far every unit has run by every day: the meter as an exact, rising curve."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rca.records.simulate.draws import Array

MONTH = 365.25 / 12
"""Length in days of the bins in which a unit's daily use is constant."""


@dataclass(frozen=True, slots=True, eq=False)
class Running:
    """Meters of all units; straight within each bin of a twelfth of a year.

    first_day
        Day number (days since 1970-01-01) at which the first bin begins.
    at_edges
        Meter at the edges of the bins, shape (units, bins + 1), in the fleet's meter unit;
        0 on the day when the unit enters service, negative before.
    """

    first_day: float
    at_edges: Array

    @classmethod
    def from_daily_use(cls, daily: Array, *, first_day: float, in_service: Array) -> "Running":
        """Add up daily use, shape (units, bins), all above 0, from each unit's in-service day."""
        units = len(daily)
        edges = np.column_stack((np.zeros(units), np.cumsum(daily * MONTH, axis=1)))
        running = cls(first_day, edges)
        start = running.meter(np.arange(units), in_service)
        return cls(first_day, edges - start[:, None])

    def meter(self, unit: NDArray[np.int64], day: Array) -> Array:
        """Meter of `unit` at `day`; days off the grid give the value at its end."""
        bins = self.at_edges.shape[1] - 1
        place = np.clip((day - self.first_day) / MONTH, 0, bins)
        left = np.minimum(place.astype(np.int64), bins - 1)
        low, high = self.at_edges[unit, left], self.at_edges[unit, left + 1]
        return low + (place - left) * (high - low)

    def day(self, unit: NDArray[np.int64], meter: Array) -> Array:
        """Day at which the meter of `unit` passes `meter`; off the grid: the grid's end."""
        low, high = self.at_edges[:, 0], self.at_edges[:, -1]
        # All units' curves are laid one behind the other, so that one search serves them all.
        width = float((high - low).max()) + 1.0
        shift = np.arange(len(low)) * width - low
        line = (self.at_edges + shift[:, None]).ravel()
        inside = np.clip(meter, low[unit], high[unit])
        columns = self.at_edges.shape[1]
        right = np.searchsorted(line, inside + shift[unit], side="right") - unit * columns
        left = np.clip(right - 1, 0, columns - 2)
        begin, end = self.at_edges[unit, left], self.at_edges[unit, left + 1]
        return self.first_day + MONTH * (left + (inside - begin) / (end - begin))


FAR = 1e9
"""A day, meter or age that is never reached; finite, so that differences stay finite."""


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The scale on which a part ages: places on it are meters or day numbers of its unit."""

    running: Running
    on_meter: bool

    def place(self, unit: NDArray[np.int64], day: Array) -> Array:
        """Place on the scale at a day; a day that never comes gives FAR."""
        finite = np.isfinite(day)
        if not self.on_meter:
            return np.where(finite, day, FAR)
        return np.where(finite, self.running.meter(unit, np.where(finite, day, 0.0)), FAR)

    def day(self, unit: NDArray[np.int64], place: Array) -> Array:
        """Day on which the unit reaches a place."""
        return self.running.day(unit, place) if self.on_meter else place
