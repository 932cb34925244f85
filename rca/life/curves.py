"""Step curves over age: how many were watched, where a curve is known, and what it says there."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from rca.errors import NoAnswer, RcaError
from rca.life.sample import Array

# From so many units on, the normal quantile serves for an error from the spread between units.
MANY_UNITS = 40


def normal_quantile(confidence: float) -> float:
    """Return the two-sided standard normal quantile, 1.959964 at 0.95."""
    if not 0 < confidence < 1:
        raise RcaError(f"confidence must lie between 0 and 1, is {confidence:g}")
    return float(ndtri((1 + confidence) / 2))


def quantile_by_units(units: ArrayLike, confidence: float) -> Array:
    """Return what a standard error from the spread between so many units is multiplied by.

    The normal quantile from 40 units on; below, Student's t with one degree of freedom less than
    units, times sqrt(n / (n - 1)) for the spread about an estimated mean; nan for one unit.
    """
    n = np.asarray(units, dtype=np.float64)
    quantile = np.full(n.shape, normal_quantile(confidence))
    few = n < MANY_UNITS
    some = np.where(n[few] >= 2, n[few], np.nan)
    quantile[few] = stdtrit(some - 1, (1 + confidence) / 2) * np.sqrt(some / (some - 1))
    return quantile


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a curve says at one age, its limits, and how many were under observation there."""

    value: float
    standard_error: float
    lower: float
    upper: float
    at_risk: float
    confidence: float = 0.95
    note: str = ""

    def __str__(self) -> str:
        limits = f"{self.lower:.4g} to {self.upper:.4g}, {self.confidence:.0%}"
        note = f"; {self.note}" if self.note else ""
        return f"{self.value:.4g} ({limits}; {self.at_risk:g} under observation{note})"


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """How many were under observation at each age.

    start, end
        Each sorted by itself; whoever starts watching at `start` is at risk just after it, and at
        `start` itself where `closed`. All are at risk at their `end`.
    started, ended
        Running counts, one longer than `start` and `end`: how many had started or ended.
    begin, last
        Ages between which somebody was watched without a break, from the first start on.
    """

    start: Array
    end: Array
    started: Array
    ended: Array
    begin: float
    last: float
    closed: bool

    @classmethod
    def of(
        cls, start: Array, end: Array, *, count: Array | None = None, closed: bool = False
    ) -> "Watch":
        """Watch of stretches from `start` to `end`, each standing for `count` units."""
        by_start = np.argsort(start)
        starts, reach = start[by_start], np.maximum.accumulate(end[by_start])
        breaks = np.flatnonzero(starts[1:] > reach[:-1])
        last = reach[breaks[0]] if breaks.size else reach[-1]
        if count is None:
            ends = np.sort(end)
            started = ended = np.arange(len(start) + 1, dtype=np.float64)
        else:
            by_end = np.argsort(end)
            ends = end[by_end]
            started = np.concatenate(([0.0], np.cumsum(count[by_start])))
            ended = np.concatenate(([0.0], np.cumsum(count[by_end])))
        return cls(starts, ends, started, ended, float(starts[0]), float(last), closed)

    def at_risk(self, age: ArrayLike) -> Array:
        """Return how many were under observation at each `age`."""
        side: Literal["left", "right"] = "right" if self.closed else "left"
        started = self.started[np.searchsorted(self.start, age, side=side)]
        at_risk: Array = started - self.ended[np.searchsorted(self.end, age, side="left")]
        return at_risk

    def fewest(self, age: ArrayLike) -> Array:
        """Return the smallest number under observation at any time from `begin` to each `age`."""
        ages = np.maximum(age, self._first_moment)
        cuts = np.unique(np.concatenate((self.start, self.end)))
        cuts = cuts[(cuts >= self.begin) & (cuts < self.last)]
        after = self.started[np.searchsorted(self.start, cuts, side="right")]
        after = after - self.ended[np.searchsorted(self.end, cuts, side="right")]
        so_far = np.concatenate(([np.inf], np.minimum.accumulate(after)))
        fewest: Array = np.minimum(so_far[np.searchsorted(cuts, ages)], self.at_risk(ages))
        return fewest

    def watched_at(self, age: float) -> float:
        """Return how many were under observation at `age`; at `begin`, those who began there."""
        return float(self.at_risk(max(age, self._first_moment)))

    @property
    def _first_moment(self) -> float:
        return self.begin if self.closed else float(np.nextafter(self.begin, np.inf))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class StepCurve:
    """A right-continuous step curve with pointwise limits; arrays have one row a step.

    age
        Ages of the steps, rising, in `unit_of_age`.
    at_risk
        How many were under observation at the step.
    value, standard_error, lower, upper
        The curve from the step on.
    begin, end
        The curve answers between these ages only; outside them nobody was under observation,
        or there was a break in the watching before.
    """

    age: Array
    at_risk: Array
    value: Array
    standard_error: Array
    lower: Array
    upper: Array
    watch: Watch
    confidence: float = 0.95
    unit_of_age: str = ""
    note: str = ""

    @property
    def begin(self) -> float:
        """Age from which the curve counts: the first at which anybody was watched."""
        return self.watch.begin

    @property
    def end(self) -> float:
        """Age at which the curve stops: the last up to which somebody was always watched."""
        return self.watch.last

    def at(self, age: float) -> Estimate:
        """Return value and limits at `age`.

        Raises
        ------
        NoAnswer
            Where nobody was under observation.
        """
        self.demand_watched(age)
        step = int(np.searchsorted(self.age, age, side="right")) - 1
        if self._nothing_seen(step):
            return self._before_first_step(age)
        return Estimate(
            float(self.value[step]),
            float(self.standard_error[step]),
            float(self.lower[step]),
            float(self.upper[step]),
            self.watch.watched_at(age),
            self.confidence,
            self._note_at(step),
        )

    def demand_watched(self, age: float) -> None:
        """Refuse an age at which nobody was under observation."""
        unit = f" {self.unit_of_age}" if self.unit_of_age else ""
        if not age <= self.end:
            last = f"The last unit under observation was seen at {self.end:g}{unit}"
            resumed = self.watch.end[-1] > self.end
            again = ", then nobody was watched for a while" if resumed else ""
            raise NoAnswer(
                f"{last}{again}; nothing is known at {age:g}{unit}.",
                next_step="ask at an earlier age"
                + (", or count from a later age with since=" if resumed else ""),
            )
        if age < self.begin:
            raise NoAnswer(
                f"Nobody was watched before {self.begin:g}{unit}; nothing is known at {age:g}.",
                next_step=f"ask from {self.begin:g}{unit} on",
            )

    def _nothing_seen(self, step: int) -> bool:
        return step < 0

    def _before_first_step(self, age: float) -> Estimate:
        raise NotImplementedError

    def _note_at(self, step: int) -> str:
        return self.note

    def _most_unseen(self, age: float) -> float:
        return float(most_unseen(self.watch, age, self.confidence))

    def _span(self) -> str:
        unit = f" {self.unit_of_age}" if self.unit_of_age else ""
        note = f"; {self.note}" if self.note else ""
        return f"known from {self.begin:g} to {self.end:g}{unit}{note}"


def most_unseen(watch: Watch, age: ArrayLike, confidence: float) -> Array:
    """Return the exact upper limit of a cumulative hazard of which nothing was seen by each age.

    No event among n units: n * hazard <= -ln(alpha / 2) (Poisson) and survival >=
    (alpha / 2) ** (1 / n) (binomial) are one and the same limit. Where the number watched changes,
    its smallest value up to `age` is safe.
    """
    limit: Array = -np.log((1 - confidence) / 2) / watch.fewest(age)
    return limit
