"""How long before (or after) the failures the events of a candidate lie, against chance."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from rca.causes.screen.background import Array, Ints
from rca.causes.screen.company import WINDOWS
from rca.causes.screen.explaining import FoundEvent
from rca.causes.screen.occurrences import FAR_DAYS
from rca.causes.screen.target_tests import Run

BIN_DAYS: Final = 15
REACH: Final = int(WINDOWS[-1])
"""Days before and after a failure that are looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Lags:
    """Events of one candidate around the failures of one part.

    days
        From every event to every failure at most 240 days away, 0 for the same day; positive =
        the event came before the failure.
    begin
        First day of each span of 15 days counted from the failure: -240, ..., -15 (before), 1,
        ..., 226 (after).
    unanswered
        Units on which it came in the last `window_days` of their records while the part has not
        failed since, the latest first.
    seen, by_chance
        Pairs of event and failure in each span, and what the unit's own number of these events,
        the season and the age lead one to expect.
    """

    days: Ints
    begin: Ints
    seen: Ints
    by_chance: Array
    window_days: int
    unanswered: tuple[str, ...]

    @property
    def before(self) -> np.ndarray:
        """Which spans lie before the failure."""
        return self.begin < 0


def lags_of(run: Run, one: FoundEvent) -> Lags:
    """Lags of one candidate that was found."""
    unit, day = run.events.of(one.kind)
    failures = one.target.failures
    theirs, mine = unit * FAR_DAYS + day, failures.unit * FAR_DAYS + failures.day
    low = np.searchsorted(theirs, mine - REACH, side="left")
    count = np.searchsorted(theirs, mine + REACH, side="right") - low
    which = np.repeat(np.arange(len(mine)), count)
    nth = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    days = mine[which] - theirs[low[which] + nth]
    begin = np.concatenate(
        [np.arange(-REACH, 0, BIN_DAYS), np.arange(1, REACH + 1, BIN_DAYS)]
    ).astype(np.int64)
    after = -days  # the event counted from the failure
    place = np.searchsorted(begin, after[after != 0], side="right") - 1
    return Lags(
        days=days,
        begin=begin,
        seen=np.bincount(place, minlength=len(begin)).astype(np.int64),
        by_chance=np.array([_due(run, one, int(first)) for first in begin]),
        window_days=int(WINDOWS[one.window]),
        unanswered=_unanswered(run, one),
    )


def _unanswered(run: Run, one: FoundEvent) -> tuple[str, ...]:
    """Units with the event lately, and no failure since; ends of the records count for each."""
    events, failures = run.events, one.target.failures
    never = -FAR_DAYS
    came, failed = np.full((2, len(events.units)), never, dtype=np.int64)
    unit, day = events.of(one.kind)
    np.maximum.at(came, unit, day)
    np.maximum.at(failed, failures.unit, failures.day)
    ends = int(events.last.max())  # who was retired before is not in service
    open_ = (came > failed) & (came > ends - WINDOWS[one.window]) & (events.last == ends)
    order = np.argsort(-came[open_], kind="stable")
    return tuple(str(name) for name in np.asarray(events.units)[open_][order])


def _due(run: Run, one: FoundEvent, first: int) -> float:
    """Events that chance would put into the 15 days from `first` on after all failures."""
    failures, events = one.target.failures, run.events
    unit = failures.unit
    begin = np.maximum(failures.day + first, events.first[unit])
    end = np.minimum(failures.day + first + BIN_DAYS - 1, events.last[unit])
    due = run.background.expected(
        unit, begin, end, unit, n_groups=len(events.units), kinds=np.array([one.kind])
    )
    return float(due.sum())
