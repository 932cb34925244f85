"""Repeat repairs: the same part fails again on the same unit and position within a window."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaincinv

from rca.life.sample import Interval
from rca.life.weibull import WeibullFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.meters import Meters, day_number

Floats = NDArray[np.float64]
RESAMPLES = 2000


@dataclass(frozen=True, slots=True)
class RepeatRate:
    """Share of failures that were followed by another one within the window.

    Attributes
    ----------
    repeats, complete
        Failures followed by a repeat, of those whose window lies wholly before the cut-off.
    value, interval
        Their share; limits are the wider of resampling whole units and exact binomial ones.
    chance
        The share that the part's own life curve would give in that window, nan without a curve.
    chance_constant
        The same for a constant failure rate, which is usual but hides early failures.
    window_days, window_meter
        A repeat comes within both; the meter counts where it is known.
    """

    repeats: int
    complete: int
    failures: int
    interval: Interval
    chance: float
    chance_constant: float
    window_days: int
    window_meter: float | None
    meter_unit: str

    @property
    def value(self) -> float:
        """Share of repeats, nan where no window is complete."""
        return self.repeats / self.complete if self.complete else math.nan

    @property
    def beyond_chance(self) -> bool:
        """Whether even the lower limit lies above what the life curve would give."""
        return self.interval.lower > self.chance

    def __str__(self) -> str:
        window = f"{self.window_days} days"
        if self.window_meter:
            window += f" and {self.window_meter:g} {self.meter_unit}"
        if not self.complete:
            return f"repeat rate unknown: no failure has a complete window of {window}"
        return (
            f"{self.value:.1%} ({self.interval.lower:.1%} to {self.interval.upper:.1%}) of "
            f"failures came back within {window}: {self.repeats} of {self.complete}"
        )


def failures_of(fleet: Fleet) -> pd.DataFrame:
    """List failures, one a unit, part, position and day, with the repair row that stands for it.

    Columns unit, part, position (text), mode, day (days since 1970), row; sorted by place and day.
    Orders still open are not among them.
    """
    repairs = fleet.repairs
    failed = repairs["reason"].eq("failure").to_numpy()
    if "closed" in repairs.columns:
        failed &= repairs["closed"].notna().to_numpy()
    rows = repairs[failed]
    frame = pd.DataFrame(
        {
            "unit": rows["unit"].astype(str),
            "part": rows["part"].astype(str),
            "position": rows["position"].astype(str).str.casefold(),
            "mode": rows["mode"].astype(str),
            "day": day_number(rows["date"].to_numpy()),
            "row": np.flatnonzero(failed),
        }
    )
    frame = frame.sort_values(["part", "unit", "position", "day", "row"], kind="stable")
    return frame.drop_duplicates(["part", "unit", "position", "day"]).reset_index(drop=True)


def repeat_events(fleet: Fleet, meters: Meters, failures: pd.DataFrame) -> pd.DataFrame:
    """Tell for each failure whether its window is complete and whether a repeat came in it.

    Adds columns complete, repeat, window (the days in which a repeat would have counted), and
    again: the day of a repeat, also where its window is not complete yet; -1 none.
    """
    days, most = fleet.settings.repeat_days, fleet.settings.repeat_meter
    watched = fleet.watch.assign(unit=fleet.watch["unit"].astype(str)).set_index("unit")
    code = watched.index.get_indexer(pd.Index(failures["unit"])).astype(np.int64)
    last = day_number(watched["watched_to"].to_numpy())[code]
    day = failures["day"].to_numpy()
    place = failures[["part", "unit", "position"]]
    same = place.eq(place.shift(-1)).all(axis=1).to_numpy()
    following = np.where(same, np.roll(day, -1), np.iinfo(np.int32).max)
    gap = following - day
    window = np.full(len(day), float(days))
    repeat, complete = gap <= days, day + days <= last
    if most and len(day):
        use, _ = meters.at(code, day)
        use_next, _ = meters.at(code, np.where(same, following, last))
        use_last, _ = meters.at(code, last)
        known = ~np.isnan(use)
        repeat &= ~known | (use_next - use <= most)
        complete |= known & (use_last - use > most)
        pace = _pace(meters, code)
        with np.errstate(divide="ignore", invalid="ignore"):
            window = np.where(known & (pace > 0), np.minimum(days, most / pace), float(days))
    again = np.where(repeat, following, -1)
    return failures.assign(complete=complete, repeat=repeat & complete, window=window, again=again)


def _pace(meters: Meters, code: NDArray[np.int64]) -> Floats:
    """Mean use a day of each unit over its own readings."""
    first = np.searchsorted(meters.unit, code, side="left")
    last = np.searchsorted(meters.unit, code, side="right") - 1
    pace = np.full(len(code), np.nan)
    known = last > first
    span = meters.day[last[known]] - meters.day[first[known]]
    pace[known] = (meters.use[last[known]] - meters.use[first[known]]) / np.maximum(span, 1)
    return pace


def repeat_rate(
    events: pd.DataFrame,
    *,
    fleet: Fleet,
    lives: LifeTable,
    curve: WeibullFit | None,
    rate_a_day: float,
    seed: int,
) -> RepeatRate:
    """Summarise the repeat events of one part.

    Parameters
    ----------
    events
        Rows of `repeat_events` for one part.
    curve
        Life curve of the part in days; None where no fit exists.
    rate_a_day
        Failures a day at one place, for the constant-rate level.

    Notes
    -----
    Chance after a renewal is F(window) of a new part; after a mend without renewal it is
    1 - S(age + window) / S(age); where the age is unknown, the constant-rate level.
    """
    use = events[events["complete"]]
    window = use["window"].to_numpy()
    constant = -np.expm1(-rate_a_day * window)
    return RepeatRate(
        repeats=int(use["repeat"].sum()),
        complete=len(use),
        failures=len(events),
        interval=_limits(use, seed),
        chance=_chance(use, lives, curve, constant) if curve is not None else math.nan,
        chance_constant=float(constant.mean()) if len(use) else math.nan,
        window_days=fleet.settings.repeat_days,
        window_meter=fleet.settings.repeat_meter,
        meter_unit=fleet.settings.meter_unit,
    )


def _chance(use: pd.DataFrame, lives: LifeTable, curve: WeibullFit, constant: Floats) -> float:
    if use.empty:
        return math.nan
    ended = lives.of(str(use["part"].iloc[0]))
    ended = ended[ended["row"] >= 0].set_index("row")
    renewed = use["row"].map(ended["renewed"])
    age = use["row"].map(ended["age_days"]).to_numpy(dtype=float)
    start = np.where(renewed.eq(True).to_numpy(dtype=bool), 0.0, age)
    window = use["window"].to_numpy()
    hazard = curve.cumulative_hazard(start + window) - curve.cumulative_hazard(start)
    return float(np.where(np.isnan(hazard), constant, -np.expm1(-hazard)).mean())


def _limits(use: pd.DataFrame, seed: int) -> Interval:
    """Limits at 95 %: resampled units, widened to the exact binomial limits where those are wider.

    Resampling alone would give 0 to 0 where no repeat was seen, and says little with few units.
    """
    repeats, n = int(use["repeat"].sum()), len(use)
    if n == 0:
        return Interval(0.0, 1.0, method="none", note="no failure has a complete window")
    low = float(betaincinv(repeats, n - repeats + 1, 0.025)) if repeats else 0.0
    high = float(betaincinv(repeats + 1, n - repeats, 0.975)) if repeats < n else 1.0
    by_unit = use.groupby("unit")["repeat"].agg(["sum", "size"]).to_numpy(dtype=float)
    kinds, units = np.unique(by_unit, axis=0, return_counts=True)  # units alike are drawn as one
    rng = np.random.default_rng(seed)
    draws = rng.multinomial(len(by_unit), units / len(by_unit), RESAMPLES)
    sums = draws @ kinds
    share = sums[:, 0] / sums[:, 1]
    spread = np.quantile(share, [0.025, 0.975])
    return Interval(
        min(low, float(spread[0])), max(high, float(spread[1])), method="units resampled"
    )
