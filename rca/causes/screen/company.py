"""Whether other events keep company with a part's failures, and in which order they come.

For one target part and every kind of event c: how many of the events fell within w days before a
failure of the target, on the same units, against how many would by the background. Of the N
events on units with a failure, each falls inside with a known chance whose mean is E / N, so the
number inside is judged against Binomial(N, k E / N), which is conservative for unlike chances
(Hoeffding 1956, from memory). k >= 1 is how much all OTHER kinds exceed their expectation:
visits, and weeks in which everything is written down, lift them all alike. Counts of events that
come in clusters are divided by their clustering. Six windows are tried; the smallest p is
multiplied by 3, about the number of independent windows among them.

The order test then compares the days that lie only before a failure with those only after one:
a common cause lifts both sides alike.

The comparison of a unit with itself is that of the case-crossover (Maclure 1991) and of sequence
symmetry (Hallas 1996; Madsen 2025, Scand. J. Stat. 52:469, abstract read); other kinds as the
yardstick are negative controls (Lipsitch et al. 2010); all else from memory. Windows, the 3, and
the least counts were set by simulation (tests/benchmarks/README.md).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc

from rca.causes.screen.background import Background
from rca.causes.screen.before_after import count_own_lags
from rca.causes.screen.occurrences import FAR_DAYS, Occurrences
from rca.causes.screen.within_units import tail_chance

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

WINDOWS = np.array([5, 14, 30, 60, 120, 240])
WINDOWS_AS = 3.0
"""Independent windows to which the six nested ones amount; set by simulation."""
FEWEST_INSIDE = 3
CLEAR_COMPANY = 0.01
"""Kinds with a smaller p of their own do not count toward what all others do."""
NEVER = 1 << 22


@dataclass(frozen=True, slots=True, eq=False)
class Failures:
    """Failures of one part, one a unit and day, in order of unit and day.

    from_day, to_day
        First and last day that can belong to a failure's windows: from the day after the one
        before it on the unit (or the first day watched) to the day before the next (or the last).
    """

    unit: Ints
    day: Ints
    from_day: Ints
    to_day: Ints

    @classmethod
    def of(cls, unit: Ints, day: Ints, events: Occurrences) -> "Failures":
        """Failures at sorted units and days, watched as in `events`."""
        first = np.ones(len(unit), dtype=bool)
        first[1:] = unit[1:] != unit[:-1]
        final = np.append(first[1:], True)[: len(unit)]
        previous = np.where(first, events.first[unit] - 1, np.roll(day, 1))
        following = np.where(final, events.last[unit] + 1, np.roll(day, -1))
        return cls(unit, day, previous + 1, following - 1)

    def gaps(self, unit: Ints, day: Ints) -> tuple[Ints, Ints]:
        """Days from events to the next failure and from the last; NEVER on a failure's day."""
        mine, theirs = self.unit * FAR_DAYS + self.day, unit * FAR_DAYS + day
        after = np.searchsorted(mine, theirs, side="right")
        before = np.searchsorted(mine, theirs, side="left")
        ahead = np.append(mine, NEVER * FAR_DAYS)[after] - theirs
        behind = theirs - np.append(mine, -NEVER * FAR_DAYS)[before - 1]
        off = after == before  # no failure on that very day
        return (
            np.where(off & (ahead < NEVER), ahead, NEVER),
            np.where(off & (behind < NEVER), behind, NEVER),
        )

    def __len__(self) -> int:
        return len(self.day)


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """Events near failures on one side (before or after); arrays (windows, kinds)."""

    observed: Array
    expected: Array
    usual: Array  # factor by which all other kinds exceed their expectation, 1 or more

    def p(self, total: Array, clustering: Array) -> Array:
        """Chance of as many events inside, by window and kind."""
        chance = self.usual * self.expected / np.maximum(total, 1)
        return tail_chance(self.observed / clustering, total / clustering, chance)


@dataclass(frozen=True, slots=True, eq=False)
class Company:
    """All kinds of events against one target; the last axis is `kinds`.

    total
        Events of each kind on units with a failure of the target.
    clustering
        By window and kind: how much more a count varies than single events would.
    """

    failures: Failures
    kinds: Ints
    total: Array
    clustering: Array
    before: Side
    after: Side

    @property
    def windows(self) -> Ints:
        """Place in WINDOWS of the window with the smallest p, by kind."""
        best: Ints = self.before.p(self.total, self.clustering).argmin(axis=0)
        return best

    def p(self) -> Array:
        """p by kind, for the six windows tried; 1 where fewer than 3 events came before."""
        every = self.before.p(self.total, self.clustering)
        best = every.argmin(axis=0)
        found = np.minimum(1.0, WINDOWS_AS * at(every, best))
        few = at(self.before.observed, best) < FEWEST_INSIDE
        return np.where(few, 1.0, found)

    def excess(self) -> Array:
        """Odds of an event to lie inside its best window, over the odds by the background."""
        best = self.windows
        inside, chance = at(self.before.observed, best), at(self.before.expected, best)
        chance = chance * at(self.before.usual, best)
        odds = inside / np.maximum(self.total - inside, 0.5)
        return odds / np.maximum(chance / np.maximum(self.total - chance, 1e-9), 1e-9)


def days_since(unit: Ints, day: Ints, *, of_unit: Ints, of_day: Ints) -> Ints:
    """Days from the last event (sorted by unit, day) before each of some moments; NEVER if none.

    An event on the very day does not count.
    """
    theirs, mine = unit * FAR_DAYS + day, of_unit * FAR_DAYS + of_day
    last = np.searchsorted(theirs, mine, side="left") - 1
    lag = mine - np.append(theirs, -NEVER * FAR_DAYS)[last]
    return np.where(lag < NEVER, lag, NEVER)


def at(table: Array, window: Ints) -> Array:
    """Pick each kind's own window out of (windows, kinds)."""
    picked: Array = table[window, np.arange(table.shape[1])]
    return picked


def clustering_of(events: Occurrences, background: Background) -> Array:
    """How much more the number of events in a window varies than single events would.

    1 + 2 x (pairs of one kind on one unit within the window, weighted 1 - lag / window, beyond
    those that single events spread evenly would give) / events: the variance of a count of a
    clustered process over its mean (Cox & Lewis 1966, section 4.5, from memory). At least 1.

    Returns
    -------
    Shape (windows, kinds).
    """
    kinds = len(events.names)
    lags = count_own_lags(
        events.unit, events.day, events.code, window=int(WINDOWS[-1]), n_codes=kinds
    )
    length = (events.last - events.first + 1).astype(float)
    pairs = background.count * (background.count - 1) / 2
    total = np.maximum(background.count.sum(axis=0), 1)
    rows = []
    for window in WINDOWS:
        weight = np.clip(1 - np.arange(lags.shape[1]) / window, 0, None)
        reach = np.minimum(window, length)
        # chance that two even points of [0, L] lie within the window, with the same weight:
        # integral from 0 to w of (1 - x / w) 2 (L - x) / L^2
        even = 2 / length**2 * (
            length * reach - reach**2 / 2 - (length * reach**2 / 2 - reach**3 / 3) / window
        )  # fmt: skip
        excess = lags @ weight - even @ pairs
        rows.append(1 + 2 * np.maximum(excess, 0) / total)
    return np.array(rows)


def company_of(
    failures: Failures,
    events: Occurrences,
    background: Background,
    *,
    kinds: Ints,
    yardstick: Flags,
    clustering: Array,
) -> Company:
    """Count events of `kinds` before and after failures of one part, and what chance would give.

    `yardstick` marks the kinds that count toward what all others do.
    """
    units = np.unique(failures.unit)
    unit, day, place = _near(failures, events, kinds)
    ahead, behind = failures.gaps(unit, day)
    sides = [
        _side(failures, units, background, kinds, yardstick, gap, place, before=before)
        for gap, before in ((ahead, True), (behind, False))
    ]
    total = background.count[np.ix_(units, kinds)].sum(axis=0)
    return Company(failures, kinds, total, clustering[:, kinds], *sides)


def _near(failures: Failures, events: Occurrences, kinds: Ints) -> tuple[Ints, Ints, Ints]:
    """Events of `kinds` on units with a failure: unit, day, place in `kinds`."""
    place_of = np.full(len(events.names), -1)
    place_of[kinds] = np.arange(len(kinds))
    has = np.zeros(len(events.units), dtype=bool)
    has[failures.unit] = True
    place = place_of[events.code]
    rows = np.flatnonzero(has[events.unit] & (place >= 0))
    return events.unit[rows], events.day[rows], place[rows]


def _side(
    failures: Failures,
    units: Ints,
    background: Background,
    kinds: Ints,
    yardstick: Flags,
    gap: Ints,
    place: Ints,
    *,
    before: bool,
) -> Side:
    """Observed and expected events on one side of the failures."""
    ring = np.searchsorted(WINDOWS, gap)
    inside = ring < len(WINDOWS)
    shape = (len(WINDOWS), len(kinds))
    observed = np.bincount(ring[inside] * shape[1] + place[inside], minlength=shape[0] * shape[1])
    edges = np.concatenate([[0], WINDOWS])
    group = np.searchsorted(units, failures.unit)
    expected = np.empty(shape)
    for number, (near, far) in enumerate(pairwise(edges)):
        begin, end = _ring(failures, near, far, before=before)
        by_unit = background.expected(
            failures.unit, begin, end, group, n_groups=len(units), kinds=kinds
        )
        expected[number] = by_unit.sum(axis=0)
    counts = observed.reshape(shape).cumsum(axis=0).astype(float)
    sums = expected.cumsum(axis=0)
    return Side(counts, sums, _usual(counts, sums, yardstick))


def _ring(failures: Failures, near: int, far: int, *, before: bool) -> tuple[Ints, Ints]:
    """Days more than `near` and up to `far` days away from each failure, on one side."""
    if before:
        return np.maximum(failures.day - far, failures.from_day), failures.day - near - 1
    return failures.day + near + 1, np.minimum(failures.day + far, failures.to_day)


def _usual(observed: Array, expected: Array, yardstick: Flags) -> Array:
    """Factor by which the other kinds together exceed their expectation; at least 1."""
    likely = np.where(observed > 0, gammainc(np.maximum(observed, 0.5), expected), 1.0)
    counted = (likely >= CLEAR_COMPANY) & yardstick
    seen, due = observed * counted, expected * counted
    others = seen.sum(axis=1, keepdims=True) - seen
    chance = due.sum(axis=1, keepdims=True) - due
    return np.maximum(1.0, others / np.maximum(chance, 1e-9))


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """Events only before against events only after failures, in one window, for some kinds."""

    before: Array
    after: Array
    share: Array  # expected share before, by background and by what all other kinds do
    clustering: Array

    @property
    def p(self) -> Array:
        """Chance of as many before, were the order a matter of chance."""
        both = (self.before + self.after) / self.clustering
        return tail_chance(self.before / self.clustering, both, self.share)


def order_of(
    company: Company, events: Occurrences, background: Background, *, places: Ints, window: int
) -> Order:
    """Compare the days only before with those only after a failure, for some of the kinds.

    Parameters
    ----------
    places
        Which of `company.kinds`.
    window
        Place in WINDOWS.
    """
    failures, kinds, width = company.failures, company.kinds[places], int(WINDOWS[window])
    unit, day, place = _near(failures, events, kinds)
    ahead, behind = failures.gaps(unit, day)
    only_before, only_after = ahead <= width, behind <= width
    overlap = only_before & only_after
    counts = [
        np.bincount(place[side & ~overlap], minlength=len(kinds)).astype(float)
        for side in (only_before, only_after)
    ]
    starts = failures.from_day > events.first[failures.unit]  # another failure came before
    ends = failures.to_day < events.last[failures.unit]
    begin, until = _ring(failures, 0, width, before=True)
    begin = np.maximum(begin, np.where(starts, failures.from_day + width, begin))
    since, end = _ring(failures, 0, width, before=False)
    end = np.minimum(end, np.where(ends, failures.to_day - width, end))
    group = np.searchsorted(np.unique(failures.unit), failures.unit)
    due = [
        background.expected(
            failures.unit, *span, group, n_groups=int(group.max()) + 1, kinds=kinds
        ).sum(axis=0)
        for span in ((begin, until), (since, end))
    ]
    chance = [
        expected * side.usual[window, places]
        for expected, side in zip(due, (company.before, company.after), strict=True)
    ]
    share = chance[0] / np.maximum(chance[0] + chance[1], 1e-12)
    return Order(counts[0], counts[1], share, company.clustering[window, places])
