"""What a line of the failure-mode table counts: occurrence, detection, before and after a fix."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binomtest

from rca.causes.case.entries import Fix
from rca.causes.case.exposure import DAYS_PER_YEAR, day_number, same_text
from rca.causes.failure_modes.scales import OccurrenceScale
from rca.errors import RcaError
from rca.life.rates import RateRatio, rate_limits, rate_ratio
from rca.life.sample import Interval
from rca.records.fleet import Fleet


@dataclass(frozen=True, slots=True)
class Occurrence:
    """How often: events in unit-years of the units that carry the part, and the grades spanned.

    With no event the grade is that of the upper limit, and `from_upper_limit` is true.
    """

    events: int
    unit_years: float
    rate: float
    interval: Interval
    grade: int
    grade_low: int
    grade_high: int
    from_upper_limit: bool

    def __str__(self) -> str:
        mark = " (no event: from the upper limit)" if self.from_upper_limit else ""
        return (
            f"{self.events} in {self.unit_years:.1f} unit-years, {self.rate:.3g} a unit-year "
            f"({self.interval}), grade {self.grade} of {self.grade_low} to {self.grade_high}{mark}"
        )


@dataclass(frozen=True, slots=True)
class Detection:
    """How many were caught by a check before they took effect; share None where none was seen."""

    caught: int
    reached: int
    share: float | None
    interval: Interval | None

    def __str__(self) -> str:
        if self.share is None:
            return "unknown: none was seen"
        return (
            f"{self.caught} of {self.caught + self.reached} caught before effect, "
            f"{self.share:.0%} ({self.interval})"
        )


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """Failures before and after a fix on each unit; the verdict on the fix stands elsewhere."""

    fix: str
    before: Occurrence
    after: Occurrence
    ratio: RateRatio


def occurrence(
    events: int, unit_years: float, scale: OccurrenceScale, *, confidence: float = 0.95
) -> Occurrence:
    """Rate with exact limits, and the grades from the lower to the upper limit."""
    if unit_years <= 0:
        raise RcaError("no unit-year was watched")
    low, high = map(float, rate_limits(events, unit_years, confidence=confidence))
    rate = events / unit_years
    return Occurrence(
        events,
        unit_years,
        rate,
        Interval(low, high, confidence, "exact Poisson"),
        scale.grade(rate if events else high),
        scale.grade(low),
        scale.grade(high),
        from_upper_limit=events == 0,
    )


def detection(caught: int, reached: int, *, confidence: float = 0.95) -> Detection:
    """Share caught before effect with Clopper-Pearson limits; unknown where none was seen."""
    if caught + reached == 0:
        return Detection(0, 0, None, None)
    limits = binomtest(caught, caught + reached).proportion_ci(confidence, method="exact")
    interval = Interval(float(limits.low), float(limits.high), confidence, "Clopper-Pearson")
    return Detection(caught, reached, caught / (caught + reached), interval)


def before_after(
    fleet: Fleet,
    fix: Fix,
    spans: pd.DataFrame,
    failures: pd.DataFrame,
    scale: OccurrenceScale,
    confidence: float,
) -> BeforeAfter | None:
    """Failures on the treated units before and after; a failure on the day lies before it.

    Parameters
    ----------
    fleet
        The records; its fixes table says when each unit was treated.
    fix
        The fix; without rows in that table all units count from the day it was done.
    spans, failures
        Watched spans of the units that carry the part, and its failures (unit, day) inside them.
    scale, confidence
        For the occurrence before and after.

    Returns
    -------
    None where no unit was watched on both sides.
    """
    day = _fix_days(fleet, fix, spans)
    treated = spans[spans["unit"].isin(day)]
    if treated.empty:
        return None
    at = treated["unit"].map(day)
    before = float((np.minimum(treated["end"], at) - treated["begin"]).clip(lower=0).sum())
    after = float((treated["end"] - np.maximum(treated["begin"], at)).clip(lower=0).sum())
    if before <= 0 or after <= 0:
        return None
    known = failures[failures["unit"].isin(day)]
    late = known["day"] > known["unit"].map(day)
    counts = int((~late).sum()), int(late.sum())
    years = before / DAYS_PER_YEAR, after / DAYS_PER_YEAR
    return BeforeAfter(
        fix.id,
        occurrence(counts[0], years[0], scale, confidence=confidence),
        occurrence(counts[1], years[1], scale, confidence=confidence),
        rate_ratio(counts[1], years[1], counts[0], years[0], confidence=confidence),
    )


def _fix_days(fleet: Fleet, fix: Fix, spans: pd.DataFrame) -> dict[str, int]:
    """Day of the fix on each unit: from the fixes table, else the day the file says for all."""
    if fleet.fixes is not None:
        rows = fleet.fixes[same_text(fleet.fixes["fix"], fix.id)]
        if len(rows):
            first = pd.Series(day_number(rows["date"]), index=rows["unit"].astype(str).to_numpy())
            return {str(unit): int(one.min()) for unit, one in first.groupby(level=0)}
    if not fix.done:
        return {}
    day = int(np.datetime64(fix.done, "D").astype(np.int64))
    return dict.fromkeys(spans["unit"], day)
