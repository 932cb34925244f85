"""How often each kind of event would come anyway: the unit's own count, season, trend and age.

Given that a unit had N events of a kind in the days it was watched, each fell on a day with a
probability in proportion to the fleet's rate of that kind on that day, a calendar factor times a
factor of the unit's age. So what is lasting about a unit (duty, place, care) drops out, and
season, fleet trend and common wear are allowed for.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from rca.causes.screen.occurrences import Occurrences

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

CALENDAR_DAYS = 90
AGE_DAYS = 180
PULL = 4.0
"""Each factor is (count + 4) / (expected + 4): pulled to 1 by four events' worth. Set by trial."""
ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """Daily rates of all kinds of events, relative to the unit's own count.

    rate
        Shape (cells, kinds): relative rate in each cell of calendar time x age.
    per_rate
        Shape (units, kinds): the unit's events of the kind divided by the sum of the rate over
        its watched days.
    count
        Shape (units, kinds): the unit's events of the kind.
    """

    rate: Array
    per_rate: Array
    count: Array
    origin: int
    age_bins: int
    born: Ints

    @classmethod
    def of(cls, events: Occurrences) -> "Background":
        """Estimate the factors of calendar and age from all watched units."""
        origin = int(events.first.min())
        cells = _Cells(origin, events.born)
        unit, calendar, age, days = cells.cut(
            np.arange(len(events.units)), events.first, events.last
        )
        shape = (int(calendar.max()) + 1, int(age.max()) + 1)
        kinds, n_cells = len(events.names), shape[0] * shape[1]
        place = calendar * shape[1] + age
        watched = np.bincount(place, weights=days, minlength=n_cells).reshape(shape).astype(float)
        at = cells.calendar(events.day) * shape[1] + cells.age(events.unit, events.day)
        count = np.bincount(events.code * n_cells + at, minlength=kinds * n_cells)
        rate = _fitted(count.reshape(kinds, *shape).astype(float), watched)
        size = len(events.units)
        counted = np.bincount(events.unit * kinds + events.code, minlength=size * kinds)
        own = counted.reshape(size, kinds).astype(float)
        whole = sparse.csr_array((days, (unit, place)), shape=(size, n_cells)) @ rate
        return cls(rate, own / whole, own, origin, shape[1], events.born)

    def expected(
        self, unit: Ints, begin: Ints, end: Ints, group: Ints, *, n_groups: int, kinds: Ints
    ) -> Array:
        """Events expected in the days [begin, end] of units, summed by group.

        All spans of one group must belong to one unit. Spans with end < begin count nothing.

        Returns
        -------
        Shape (n_groups, len(kinds)).
        """
        cells = _Cells(self.origin, self.born)
        span, calendar, age, days = cells.cut(unit, begin, end)
        place = calendar * self.age_bins + age
        shape = (n_groups, len(self.rate))
        time = sparse.csr_array((days.astype(float), (group[span], place)), shape=shape)
        owner = np.zeros(n_groups, dtype=np.int64)
        owner[group] = unit
        found: Array = (time @ self.rate[:, kinds]) * self.per_rate[np.ix_(owner, kinds)]
        return found


def _fitted(count: Array, watched: Array) -> Array:
    """Relative rates by cell: calendar factor x age factor, alternately matched to the counts."""
    base = count.sum(axis=(1, 2)) / watched.sum()
    calendar, age = np.ones(count.shape[:2]), np.ones((count.shape[0], count.shape[2]))
    for _ in range(ROUNDS):
        calendar = (count.sum(2) + PULL) / (base[:, None] * (age @ watched.T) + PULL)
        age = (count.sum(1) + PULL) / (base[:, None] * (calendar @ watched) + PULL)
    rate = (calendar[:, :, None] * age[:, None, :]).reshape(len(base), -1)
    return np.ascontiguousarray(rate.T)


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Where days lie in calendar time (from `origin`) and in a unit's age."""

    origin: int
    born: Ints

    def calendar(self, day: Ints) -> Ints:
        return (day - self.origin) // CALENDAR_DAYS

    def age(self, unit: Ints, day: Ints) -> Ints:
        return (day - self.born[unit]) // AGE_DAYS

    def cut(self, unit: Ints, begin: Ints, end: Ints) -> tuple[Ints, Ints, Ints, Ints]:
        """Cut spans [begin, end] at the borders of cells: span, calendar, age, days of each."""
        span = np.flatnonzero(end >= begin)
        unit, begin, end = unit[span], begin[span], end[span]
        by_calendar = _borders(begin - self.origin, end - self.origin, CALENDAR_DAYS)
        by_age = _borders(begin - self.born[unit], end - self.born[unit], AGE_DAYS)
        which = np.concatenate([np.arange(len(span)), by_calendar[0], by_age[0]])
        edge = np.concatenate(
            [
                begin,
                by_calendar[1] + self.origin,
                by_age[1] + self.born[unit[by_age[0]]],
            ]
        )
        order = np.lexsort((edge, which))
        which, edge = which[order], edge[order]
        following = np.append(edge[1:], 0)
        final = np.append(which[1:] != which[:-1], True)[: len(which)]
        following[final] = end[which[final]] + 1
        days = following - edge
        some = days > 0
        which, edge, days = which[some], edge[some], days[some]
        return span[which], self.calendar(edge), self.age(unit[which], edge), days


def _borders(begin: Ints, end: Ints, width: int) -> tuple[Ints, Ints]:
    """Multiples of `width` in (begin, end] of each span: span number and the multiple."""
    number = end // width - begin // width
    which = np.repeat(np.arange(len(number)), number)
    nth = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number)
    return which, (begin[which] // width + 1 + nth) * width
