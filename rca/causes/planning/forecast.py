"""How many parts will be needed: failures of the parts now in service and of those that follow.

Every draw takes a spread between units, a life curve and each unit's level from what the records
leave possible (`baseline`), lets every part in service run on from its age at its own use, fail,
be renewed and fail again, and counts. So the interval holds chance, the uncertainty of the curve,
the units' own records and months that differ; not new units, retirements, planned replacements or
a change of use that has not yet begun.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.fix.baseline import SPREADS, Baseline, expect, fit_baseline, run_on_old_curve
from rca.causes.fix.pieces import Pieces, day_number
from rca.errors import NoAnswer, NoFit

Array = NDArray[np.float64]

MONTHS: Final = (1, 3, 12)
"""Months ahead for which parts are forecast."""
_CELLS = 500_000  # parts x draws held at once
_ENOUGH = 2_500_000  # parts x draws in all: large fleets need fewer draws


@dataclass(frozen=True, slots=True)
class PartsNeeded:
    """Parts needed within `months` from the day of the forecast, with prediction intervals."""

    months: int
    expected: float
    lower80: int
    upper80: int
    lower95: int
    upper95: int

    def __str__(self) -> str:
        return (
            f"{self.expected:.1f} parts in {self.months} months "
            f"({self.lower80} to {self.upper80} at 80 %, {self.lower95} to {self.upper95} at 95 %)"
        )


@dataclass(frozen=True, slots=True)
class Forecast:
    """Parts needed from `as_of` on, for the parts in service that day."""

    as_of: pd.Timestamp
    in_service: int
    failures: int  # behind the life curve
    renewing_share: float  # share of failures that took a new part
    month_spread: float  # relative standard deviation of a month beyond chance
    curve: str  # "life curve" or, where none fits, "constant rate"
    rows: tuple[PartsNeeded, ...]

    def within(self, months: int) -> PartsNeeded:
        """The row for a number of months."""
        for row in self.rows:
            if row.months == months:
                return row
        raise NoAnswer(f"no forecast was made for {months} months")

    def __str__(self) -> str:
        parts = "; ".join(str(row) for row in self.rows)
        return f"from {self.as_of:%Y-%m-%d}, {self.in_service} parts in service: {parts}"


def forecast_parts(
    pieces: Pieces,
    *,
    as_of: pd.Timestamp,
    months: Sequence[int] = MONTHS,
    draws: int = 2000,
    seed: int = 0,
) -> Forecast:
    """Parts needed within each number of `months` after the day `as_of`.

    Parameters
    ----------
    pieces
        All pieces of the part, failures of every mode, on the scale on which it wears.
    as_of
        Day up to which the records are used.
    draws
        Simulated futures; fewer for large fleets (but at least 400).

    Raises
    ------
    NoAnswer
        Without a part in service on that day.
    """
    past = pieces.until(float(day_number([as_of])[0]))
    going = past.chosen(past.running)
    if len(going) == 0:
        raise NoAnswer(f"no part is in service on {as_of:%Y-%m-%d}, so none can fail")
    months = sorted(set(months))
    rng = np.random.default_rng(seed)
    count = int(np.clip(_ENOUGH // len(going), 400, draws))
    curve, label = _curve(past)
    spread = _month_spread(curve, past, as_of)
    horizon = np.array([(as_of + pd.DateOffset(months=m) - as_of).days for m in months], float)
    use = past.use_per_day()[past.running]
    ends = _stretched(horizon, np.array(months, float), spread, count, rng)
    failed, renewed = int(past.failed.sum()), int((past.failed & past.renewed).sum())
    share = rng.beta(renewed + 0.5, failed - renewed + 0.5, count) if failed else np.ones(count)
    share = np.ones(count) if renewed == failed else share
    parts = _count_parts(curve, going, use, ends, share, rng)
    return Forecast(
        as_of=as_of,
        in_service=len(going),
        failures=failed,
        renewing_share=renewed / failed if failed else 1.0,
        month_spread=spread,
        curve=label,
        rows=tuple(_row(m, parts[:, k]) for k, m in enumerate(months)),
    )


def _row(months: int, counts: NDArray[np.int64]) -> PartsNeeded:
    """Mean and quantiles: at most 10 (2.5) % of the futures lie beyond each limit."""
    limits = np.quantile(counts, [0.1, 0.9, 0.025, 0.975], method="inverted_cdf")
    return PartsNeeded(months, float(counts.mean()), *(int(limit) for limit in limits))


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


def _month_spread(curve: Baseline, past: Pieces, as_of: pd.Timestamp) -> float:
    """Relative standard deviation between months beyond chance, from the last 24 months.

    By moments: (O - E)^2 has mean E + s^2 E^2 where months differ by s; only what exceeds one
    standard error of that sum, 2 E^2 + E a month, is believed, and at most s = 1.
    """
    ends = day_number(pd.date_range(end=as_of, periods=25, freq="ME"))
    ends = ends[ends >= past.begin.min()]
    if len(ends) < 7:
        return 0.0
    start = np.full(len(past.units), ends[0])
    run = run_on_old_curve(curve, past, start=start, stops=ends[1:])
    level = expect(curve, run, np.ones(len(past.units), dtype=bool), own_level=False).level[:, -1:]
    gained = np.diff(run.hazard, axis=1, prepend=0.0)
    expected = curve.weights @ (level * gained).sum(axis=2)
    observed = np.diff(run.failed.sum(axis=1), prepend=0.0)
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


def _count_parts(
    curve: Baseline,
    going: Pieces,
    use: Array,
    ends: Array,
    share: Array,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Parts needed in each draw by each horizon: (draws, horizons)."""
    draws = len(ends)
    counts = np.zeros(ends.shape, dtype=np.int64)
    chunk = max(1, _CELLS // len(going))
    for first in range(0, draws, chunk):
        some = slice(first, min(first + chunk, draws))
        counts[some] = _run_on(curve, going, use, ends[some], share[some], rng)
    return counts


def _run_on(
    curve: Baseline,
    going: Pieces,
    use: Array,
    ends: Array,
    share: Array,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Let every part in service fail and be renewed up to the last horizon, in each draw."""
    draws = len(ends)
    log_level, shape, level = _possible(curve, draws, rng)
    counts = np.zeros(ends.shape, dtype=np.int64)
    last = ends.max(axis=1)
    start = going.age / curve.reference
    daily = use / curve.reference
    # of the parts now in service most fail in no draw: find those that do before any more work
    power = shape[:, np.newaxis]
    base = np.exp(power * np.log(start))
    reach = np.exp(power * np.log(start + last[:, np.newaxis] * daily)) - base
    rate = np.maximum(np.exp(log_level)[:, np.newaxis] * level, 1e-300)
    wait = rng.standard_exponential((draws, len(going)))
    draw, part = np.nonzero(wait <= rate[:, going.unit] * reach)
    unit = going.unit[part]
    fails = (base[draw, part] + wait[draw, part] / rate[draw, unit]) ** (1.0 / shape[draw])
    day = (fails - start[part]) / daily[part]
    while len(draw):
        new = rng.random(len(draw)) < share[draw]
        for horizon in range(ends.shape[1]):
            counted = draw[new & (day <= ends[draw, horizon])]
            counts[:, horizon] += np.bincount(counted, minlength=draws)
        age = np.where(new, 0.0, fails)
        more = rng.standard_exponential(len(draw)) / rate[draw, going.unit[part]]
        fails = (age ** shape[draw] + more) ** (1.0 / shape[draw])
        day = day + (fails - age) / daily[part]
        on = np.flatnonzero(day <= last[draw])
        draw, part, day, fails = draw[on], part[on], day[on], fails[on]
    return counts


def _possible(curve: Baseline, draws: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Draws of log A, shape and the units' levels that the records leave possible.

    Log shape is normal about its maximum; A, given the shape, is gamma about its own (a rate
    known from n failures is gamma with n, not lognormal); a unit's level is gamma with its record,
    whose H follows the drawn curve to first order.
    """
    row = rng.choice(len(SPREADS), size=draws, p=curve.weights)
    of_a, of_shape = curve.covariance[row, 0, 0], curve.covariance[row, 1, 1]
    shared = curve.covariance[row, 0, 1]
    bend = rng.normal(size=draws) * np.sqrt(of_shape)
    slant = np.divide(shared, of_shape, out=np.zeros(draws), where=of_shape > 0)
    worth = 1.0 / np.maximum(of_a - slant * shared, 1e-9)
    rise = slant * bend + np.log(rng.gamma(worth) / worth)
    hazard = curve.hazard[row]
    slope = curve.hazard_slope[row] / np.maximum(hazard, 1e-300)
    moved = rise[:, np.newaxis] + slope * bend[:, np.newaxis]
    hazard = hazard * np.exp(np.clip(moved, -20, 20))
    spread = SPREADS[row][:, np.newaxis]
    sure = spread == 0.0
    inverse = 1.0 / np.where(sure, 1.0, spread)
    level = rng.gamma(inverse + curve.failed) / (inverse + hazard)
    shape = np.exp(curve.log_shape[row] + bend)
    return curve.log_level[row] + rise, shape, np.where(sure, 1.0, level)


def back_test(
    pieces: Pieces,
    *,
    as_of: Sequence[pd.Timestamp],
    months: Sequence[int] = (1, 3),
    draws: int = 600,
    seed: int = 0,
) -> pd.DataFrame:
    """What would have been forecast on past days, beside what then happened.

    One row for each day of `as_of` and number of months that have fully passed: as_of, months,
    expected, lower80, upper80, lower95, upper95, actual, inside80, inside95. Only units with the
    part in service on the day are counted.
    """
    known_to = float(pieces.end.max())
    rows = []
    for day in as_of:
        over = [m for m in months if day_number([day + pd.DateOffset(months=m)])[0] <= known_to]
        if not over or not pieces.until(float(day_number([day])[0])).running.any():
            continue
        made = forecast_parts(pieces, as_of=day, months=over, draws=draws, seed=seed)
        rows += [_compared(pieces, day, row) for row in made.rows]
    return pd.DataFrame(rows, columns=[*_BACK_TEST])


_BACK_TEST = (
    "as_of",
    "months",
    "expected",
    "lower80",
    "upper80",
    "lower95",
    "upper95",
    "actual",
    "inside80",
    "inside95",
)


def _compared(pieces: Pieces, day: pd.Timestamp, row: PartsNeeded) -> dict[str, object]:
    """One forecast beside what happened on the units that had the part in service."""
    start, stop = day_number([day, day + pd.DateOffset(months=row.months)])
    past = pieces.until(float(start))
    units = np.unique(past.unit[past.running])
    counted = pieces.failed & pieces.renewed & (pieces.end > start) & (pieces.end <= stop)
    actual = int((counted & np.isin(pieces.unit, units)).sum())
    return {
        "as_of": day,
        "months": row.months,
        "expected": row.expected,
        "lower80": row.lower80,
        "upper80": row.upper80,
        "lower95": row.lower95,
        "upper95": row.upper95,
        "actual": actual,
        "inside80": row.lower80 <= actual <= row.upper80,
        "inside95": row.lower95 <= actual <= row.upper95,
    }
