"""How many parts will be needed: of those now in service and of those that follow them.

Every draw takes a spread between units, a life curve and each unit's level from what the records
leave possible (`baseline`), and the habit of taking parts off before they fail
(`early_removal`); it lets every part in service run on from its age at its own use until the first
of both, be renewed and run on (`futures`), and counts failures and new parts. So the intervals
hold chance, the uncertainty of curve and habit, the units' own records and months that differ; not
new units, retirements, recalls, or a change of use or habit that has not yet begun.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.fix.baseline import (
    SPREADS,
    Baseline,
    Running,
    expect,
    fit_baseline,
    run_on_old_curve,
)
from rca.causes.fix.pieces import Pieces, day_number
from rca.causes.planning.early_removal import RECENT_DAYS, Habit, removal_habit
from rca.causes.planning.futures import Horizons, InService, count_futures
from rca.causes.planning.unknown_age import likely_ages
from rca.errors import NoAnswer, NoFit

Array = NDArray[np.float64]

MONTHS: Final = (1, 3, 12)
"""Months ahead for which parts are forecast."""
_ENOUGH = 1_500_000  # parts x draws in all: large fleets need fewer draws
FEWEST_DRAWS: Final = 250
"""Simulated futures however large the fleet."""
_LOOKED_BACK = 24  # months from which it is read how much months differ


@dataclass(frozen=True, slots=True)
class Count:
    """A number to come, with prediction intervals."""

    expected: float
    lower80: int
    upper80: int
    lower95: int
    upper95: int

    @classmethod
    def of(cls, counts: NDArray[np.int64]) -> "Count":
        """Mean and quantiles: at most 10 (2.5) % of the futures lie beyond each limit."""
        limits = np.quantile(counts, [0.1, 0.9, 0.025, 0.975], method="inverted_cdf")
        return cls(float(counts.mean()), *(int(limit) for limit in limits))

    def __str__(self) -> str:
        return (
            f"{self.expected:.1f} ({self.lower80} to {self.upper80} at 80 %, "
            f"{self.lower95} to {self.upper95} at 95 %)"
        )


@dataclass(frozen=True, slots=True)
class PartsNeeded:
    """Failures, and new parts needed in all, within `months` from the day of the forecast."""

    months: int
    failures: Count
    parts: Count  # for failures that take a new one and for removals before failure

    def __str__(self) -> str:
        return f"in {self.months} months {self.parts} new parts and {self.failures} failures"


@dataclass(frozen=True, slots=True)
class Forecast:
    """Failures and parts needed from `as_of` on, for the parts in service that day."""

    as_of: pd.Timestamp
    in_service: int
    of_unknown_age: int  # of those in service
    failures: int  # behind the life curve
    removals: int  # before failure, behind the habit
    renewing_share: float  # share of failures that took a new part
    month_spread: float  # relative standard deviation of a month's failures beyond chance
    curve: str  # "life curve" or, where none fits, "constant rate"
    rows: tuple[PartsNeeded, ...]

    def within(self, months: int) -> PartsNeeded:
        """The row for a number of months."""
        for row in self.rows:
            if row.months == months:
                return row
        raise NoAnswer(f"no forecast was made for {months} months")

    def __str__(self) -> str:
        rows = "; ".join(str(row) for row in self.rows)
        return f"from {self.as_of:%Y-%m-%d}, {self.in_service} parts in service: {rows}"


def forecast_parts(
    pieces: Pieces,
    *,
    as_of: pd.Timestamp,
    unknown: Pieces | None = None,
    months: Sequence[int] = MONTHS,
    draws: int = 2000,
    seed: int = 0,
) -> Forecast:
    """Failures and parts needed within each number of `months` after the day `as_of`.

    Parameters
    ----------
    pieces
        All pieces of the part of known age, failures of every mode, on the scale on which it
        wears.
    as_of
        Day up to which the records are used.
    unknown
        First lives of unknown age, ended or not, as if original: entry is what the unit ran before
        the records. They stay out of curve and habit, but say how often such parts fail.
    draws
        Simulated futures; fewer for large fleets (but at least 250).

    Raises
    ------
    NoAnswer
        Without a part in service on that day, or without a life of known age.
    """
    day = float(day_number([as_of])[0])
    past = pieces.until(day)
    older = None if unknown is None else unknown.until(day)
    if not past.running.any() and (older is None or not older.running.any()):
        raise NoAnswer(f"no part is in service on {as_of:%Y-%m-%d}, so none can fail")
    if len(past) == 0:
        raise NoAnswer(f"no life of a known age has been watched by {as_of:%Y-%m-%d}")
    curve, label = _curve(past)
    habit = removal_habit(past, day=day)
    failed, renewed = int(past.failed.sum()), int((past.failed & past.renewed).sum())
    going = _in_service(past, older, curve, habit, day=day)
    months = sorted(set(months))
    rng = np.random.default_rng(seed)
    count = min(max(_ENOUGH // len(going), FEWEST_DRAWS), draws)
    spread, care = _month_spreads(curve, habit, past, as_of)
    days = np.array([(as_of + pd.DateOffset(months=m) - as_of).days for m in months], float)
    ahead = np.array(months, float)
    horizons = Horizons(
        _stretched(days, ahead, spread, count, rng), _stretched(days, ahead, care, count, rng)
    )
    share = rng.beta(renewed + 0.5, failed - renewed + 0.5, count) if failed else np.ones(count)
    share = np.ones(count) if renewed == failed else share
    failures, parts = count_futures(
        _with_room(curve, going), habit, going, horizons=horizons, share=share, rng=rng
    )
    return Forecast(
        as_of=as_of,
        in_service=len(going),
        of_unknown_age=int(going.unknown.sum()),
        failures=failed,
        removals=habit.total,
        renewing_share=renewed / failed if failed else 1.0,
        month_spread=spread,
        curve=label,
        rows=tuple(
            PartsNeeded(m, Count.of(failures[:, k]), Count.of(parts[:, k]))
            for k, m in enumerate(months)
        ),
    )


def _in_service(
    past: Pieces, older: Pieces | None, curve: Baseline, habit: Habit, *, day: float
) -> InService:
    """Parts of known age in service, then those of unknown age."""
    known = past.chosen(past.running)
    use, ages = past.use_per_day()[past.running], known.age[:, np.newaxis]
    if older is None or not older.running.any():
        return InService(known.unit, ages, use, np.zeros(len(known), dtype=bool))
    more = older.chosen(older.running)
    place = {name: at for at, name in enumerate(past.units)}
    unit = np.array([place.get(name, len(past.units)) for name in more.units])[more.unit]
    failed = max(int(past.failed.sum()), 1)
    hazards = _Ordinary(curve, habit, float((past.failed & past.renewed).sum()) / failed)
    before = _run_before(older)[more.unit]
    likely = likely_ages(before, more.age - before, hazards.of_renewal)
    expected, seen = _lately(older, hazards, day)
    return InService(
        unit=np.concatenate([known.unit, unit]),
        ages=np.concatenate([np.repeat(ages, likely.shape[1], axis=1), likely]),
        use=np.concatenate([use, more.use_per_day()]),
        unknown=np.repeat([False, True], [len(known), len(more)]),
        failed=seen,
        expected=expected,
    )


@dataclass(frozen=True, slots=True)
class _Ordinary:
    """Cumulative hazards of a part on an ordinary unit, by age."""

    curve: Baseline
    habit: Habit
    renewing_share: float  # of failures

    def of_failure(self, age: Array) -> Array:
        """Of failing."""
        at = np.maximum(np.asarray(age, float), 0.0) / self.curve.reference
        power = at[..., np.newaxis] ** np.exp(self.curve.log_shape)
        return np.asarray((power * np.exp(self.curve.log_level)) @ self.curve.weights)

    def of_renewal(self, age: Array) -> Array:
        """Of being renewed, at a failure or before one."""
        early = self.habit.inside(age) @ self.habit.rate if self.habit.total else 0.0
        return np.asarray(self.renewing_share * self.of_failure(age) + early)


def _run_before(older: Pieces) -> Array:
    """What each unit ran before the records: its parts' first pieces begin with them."""
    before = np.full(len(older.units), np.inf)
    np.minimum.at(before, older.unit, older.entry)
    return before


def _lately(older: Pieces, hazards: _Ordinary, day: float) -> tuple[float, float]:
    """Failures of parts of unknown age that the curve expects in the last two years, and seen."""
    then = older.chosen(older.begin < day)
    at = np.maximum(day - RECENT_DAYS, then.begin)
    age = then.age_on(at)
    on = (then.end > at) & (then.age > age)
    then, age = then.chosen(on), age[on]
    if len(then) == 0:
        return 0.0, 0.0
    before = _run_before(older)[then.unit]
    ages = likely_ages(before, age - before, hazards.of_renewal)
    run = (then.age - age)[:, np.newaxis]
    expected = (hazards.of_failure(ages + run) - hazards.of_failure(ages)).mean(axis=1).sum()
    return float(expected), float(then.failed.sum())


def _with_room(curve: Baseline, going: InService) -> Baseline:
    """The curve with one more unit, without a record, for units whose parts all have no age."""
    if len(going) == 0 or going.unit.max() < len(curve.failed):
        return curve
    column = np.zeros((len(SPREADS), 1))
    return replace(
        curve,
        failed=np.append(curve.failed, 0.0),
        hazard=np.concatenate([curve.hazard, column], axis=1),
        hazard_slope=np.concatenate([curve.hazard_slope, column], axis=1),
    )


def _curve(past: Pieces) -> tuple[Baseline, str]:
    """The fitted curve; a constant rate where no curve fits (too few failures, all alike)."""
    if past.failed.sum() >= 5:
        try:
            return fit_baseline(past), "life curve"
        except NoFit:
            pass
    return _constant_rate(past), "constant rate"


def _constant_rate(past: Pieces) -> Baseline:
    """Failures per age run, as a curve of shape 1 without spread between units.

    The rate is known as from n + 1/2 failures: with none seen it is half a failure in all the
    running, and very uncertain.
    """
    run = float((past.age - past.entry).sum())
    failures = float(past.failed.sum()) + 0.5
    size = len(SPREADS)
    by_unit = np.bincount(past.unit, weights=(past.age - past.entry), minlength=len(past.units)) * (
        failures / run
    )
    covariance = np.zeros((size, 2, 2))
    covariance[:, 0, 0] = 1.0 / failures
    return Baseline(
        weights=(SPREADS == 0.0).astype(np.float64),
        log_level=np.full(size, np.log(failures)),
        log_shape=np.zeros(size),
        covariance=covariance,
        reference=run,
        failed=past.count_by_unit(past.failed),
        hazard=np.tile(by_unit, (size, 1)),
        hazard_slope=np.zeros((size, len(past.units))),
        oldest=float(past.age.max()),
    )


def _month_spreads(
    curve: Baseline, habit: Habit, past: Pieces, as_of: pd.Timestamp
) -> tuple[float, float]:
    """Relative standard deviation of months beyond chance: of failures, of early removals."""
    ends = day_number(pd.date_range(end=as_of, periods=_LOOKED_BACK + 1, freq="ME"))
    ends = ends[ends >= past.begin.min()] if len(past) else ends[:0]
    if len(ends) < 7:
        return 0.0, 0.0
    start = np.full(len(past.units), ends[0])
    run = run_on_old_curve(curve, past, start=start, stops=ends[1:])
    # each unit's level by its whole record: that of the last look
    last = Running(run.hazard[:, -1:], run.hazard_slope[:, -1:], run.failed[-1:])
    level = expect(curve, last, np.ones(len(past.units), dtype=bool), own_level=False).level
    gained = np.diff(run.hazard, axis=1, prepend=0.0)
    expected = curve.weights @ (level * gained).sum(axis=2)
    observed = np.diff(run.failed.sum(axis=1), prepend=0.0)
    return _beyond_chance(observed, expected), _care_spread(habit, past, ends)


def _care_spread(habit: Habit, past: Pieces, ends: Array) -> float:
    """The same for parts taken off before they failed."""
    if not habit.total:
        return 0.0
    low, expected = past.age_on(np.maximum(ends[0], past.begin)), []
    for end in ends[1:]:
        high = np.maximum(past.age_on(np.maximum(end, past.begin)), low)
        expected.append(float(habit.expected(low, high).sum()))
        low = high
    observed = np.histogram(past.end[past.early], bins=np.append(ends[0], ends[1:]) + 0.5)[0]
    return _beyond_chance(observed.astype(float), np.array(expected))


def _beyond_chance(observed: Array, expected: Array) -> float:
    """Spread between months by moments, from what was seen and expected in each.

    (O - E)^2 has mean E + s^2 E^2 where months differ by s; only what exceeds one standard error
    of that sum, 2 E^2 + E a month, is believed, and at most s = 1.
    """
    excess = float(((observed - expected) ** 2 - expected).sum())
    excess -= float(np.sqrt((2 * expected**2 + expected).sum()))
    return min(1.0, float(np.sqrt(max(excess, 0.0) / max(float((expected**2).sum()), 1e-300))))


def _stretched(
    horizon: Array, months: Array, spread: float, count: int, rng: np.random.Generator
) -> Array:
    """Days of running up to each horizon, (draws, horizons): months of more or less use.

    Months are gamma with mean 1 and standard deviation `spread`, so that a horizon of m months
    differs from its mean by spread / sqrt(m).
    """
    if spread == 0.0:
        return np.tile(horizon, (count, 1))
    steps = np.diff(months, prepend=0.0)
    each = rng.gamma(steps / spread**2, size=(count, len(months))) * spread**2
    return horizon * np.maximum(np.cumsum(each, axis=1) / months, 1e-3)
