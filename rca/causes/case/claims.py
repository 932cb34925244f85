"""Claims on the records, computed again at every run: who fails more often than whom.

Failures on the exposed side and on the other side are counted against exposure. A unit that
becomes exposed by a repair counts as not exposed until that day, so that what happened before
is not charged to what came after (no immortal time); the day itself is on neither side. Where the
exposing repair is itself the failure that is counted, it counts for what was before it.
"""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.case.exposure import (
    Days,
    carrying_units,
    day_number,
    repairs_of,
    same_text,
    units_where,
    watched_spans,
    within_spans,
)
from rca.causes.case.observations import Claim
from rca.errors import NoAnswer, NoFit
from rca.life.rates import dispersion, ratio_limits
from rca.life.sample import Interval
from rca.records.conditions import rows_where
from rca.records.fleet import Fleet

Floats = NDArray[np.float64]
FOR_GOOD = 10**6  # days: longer than any record


@dataclass(frozen=True, slots=True)
class Side:
    """Failures, exposure and units on one side of a comparison."""

    failures: int
    exposure: float
    units: int


@dataclass(frozen=True, slots=True)
class RatioFound:
    """How many times as often the exposed side fails; `ratio` None where it is not defined.

    `spread` is the dispersion index of failures between units within the two sides (1 where
    chance alone explains it); the interval is exact for counts divided by it.
    """

    exposed: Side
    others: Side
    ratio: float | None
    interval: Interval
    spread: float
    per: str

    def __str__(self) -> str:
        ratio = "no ratio" if self.ratio is None else f"{self.ratio:.2f} times as often"
        sides = " against ".join(
            f"{side.failures} failures in {side.exposure:,.0f} {self.per} on {side.units} units"
            for side in (self.exposed, self.others)
        )
        uneven = f"; widened for uneven units ({self.spread:.1f})" if self.spread > 1.05 else ""
        return f"{ratio}, {self.interval}{uneven}; {sides}"


def compute_claim(claim: Claim, fleet: Fleet, *, lives: pd.DataFrame | None = None) -> RatioFound:
    """Compute a claim from the records.

    Parameters
    ----------
    claim
        What is compared, with its `part`; see `rca.causes.case.entries.Claim`.
    fleet
        The records. Where a parts table says which units carry the part, only those count.
    lives
        Rows of the lives table; needed for claims per meter unit only.

    Raises
    ------
    NoAnswer
        There is no exposure on one side, or no row is marked as a failure.
    RcaError
        A condition cannot be read or names a column that is not there.
    """
    spans = _spans(claim, fleet, lives)
    spans = spans[spans["unit"].isin(_compared_units(claim, fleet))].reset_index(drop=True)
    if spans.empty:
        raise NoAnswer("no unit was watched", next_step="look at 'among', 'part' and 'until'")
    failures = within_spans(spans, repairs_of(fleet, claim.part, mode=claim.mode))
    spans, failures = _split(claim, fleet, spans, failures)
    return _compare(spans, failures, claim.per)


def _compared_units(claim: Claim, fleet: Fleet) -> set[str]:
    """Units that carry the part, as far as it is known, and meet `among`."""
    units = carrying_units(fleet, claim.part)
    return units & units_where(fleet, claim.among) if claim.among else units


def _spans(claim: Claim, fleet: Fleet, lives: pd.DataFrame | None) -> pd.DataFrame:
    """Watched spans (begin, end] in day numbers, with exposure per day."""
    if claim.per == "meter":
        spans = _meter_spans(claim, lives)
    else:
        spans = watched_spans(fleet).assign(per_day=1.0)
    if claim.until:
        until = int(np.datetime64(claim.until, "D").astype(np.int64))
        spans = spans.assign(end=np.minimum(spans["end"], until))
    return spans[spans["end"] > spans["begin"]]


def _meter_spans(claim: Claim, lives: pd.DataFrame | None) -> pd.DataFrame:
    """Spans of the lives of the part, with the meter run spread evenly over each."""
    if lives is None:
        raise NoAnswer("a claim per meter needs the lives of the part")
    rows = lives[same_text(lives["part"], claim.part)]
    begin, end = day_number(rows["begin"]), day_number(rows["end"])
    run = (rows["age_meter"] - rows["entry_meter"]).to_numpy(float)
    kept = np.isfinite(run) & (run >= 0) & (end > begin)
    per_day = run / np.where(kept, end - begin, 1)
    units = rows["unit"].astype(str).to_numpy()
    spans = pd.DataFrame({"unit": units, "begin": begin, "end": end, "per_day": per_day})
    return spans[kept]


def _split(
    claim: Claim, fleet: Fleet, spans: pd.DataFrame, failures: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Share out exposure (columns exposed, others) and failures (side: 1, 0, or NaN neither)."""
    total = (spans["end"] - spans["begin"]).to_numpy(float)
    exposed, neither, side = total, np.zeros_like(total), np.ones(len(failures))
    if claim.after_repair:
        rows = fleet.repairs[rows_where(fleet.repairs, claim.after_repair)]
        events, within = _days_by_unit(rows), claim.within_days or FOR_GOOD
        exposed, neither = _days_exposed(spans, events, within)
        own = rows[same_text(rows["part"], claim.part)]
        side = _side_of_failures(failures, events, within, _repairs_named(own))
    if claim.units:
        members = units_where(fleet, claim.units)
        belongs = spans["unit"].isin(members).to_numpy()
        exposed, neither = np.where(belongs, exposed, 0.0), np.where(belongs, neither, 0.0)
        side = np.where(failures["unit"].isin(members), side, 0.0)
    rate = spans["per_day"].to_numpy(float)
    shared = spans.assign(exposed=exposed * rate, others=(total - exposed - neither) * rate)
    return shared, failures.assign(side=side)


def _days_by_unit(rows: pd.DataFrame) -> dict[str, Days]:
    """Days of the exposing repairs of each unit, in order."""
    days = pd.Series(day_number(rows["date"]), index=rows["unit"].astype(str).to_numpy())
    return {str(unit): np.unique(one.to_numpy()) for unit, one in days.groupby(level=0)}


def _repairs_named(rows: pd.DataFrame) -> set[tuple[str, int, str]]:
    """Unit, day and position of repairs."""
    units, positions = rows["unit"].astype(str), rows["position"].astype(str)
    return set(zip(units, day_number(rows["date"]).tolist(), positions, strict=True))


def _days_exposed(
    spans: pd.DataFrame, events: dict[str, Days], within: int
) -> tuple[Floats, Floats]:
    """Days of each span that are exposed, and days on neither side (those of a first event)."""
    exposed, neither = np.zeros(len(spans)), np.zeros(len(spans))
    begin, end = spans["begin"].to_numpy(), spans["end"].to_numpy()
    for unit, places in spans.groupby("unit").indices.items():
        days = events.get(str(unit))
        if days is None:
            continue
        first = np.concatenate([[True], np.diff(days) > within])
        start, stop = days[first], days[np.append(first[1:], True)] + within
        exposed[places] = _covered(start, stop, begin[places], end[places])
        neither[places] = _covered(start - 1, start, begin[places], end[places])
    return exposed, neither


def _covered(start: Days, stop: Days, begin: Days, end: Days) -> Floats:
    """Days of each (begin, end] that lie in the disjoint spans (start, stop]."""
    upper = np.minimum(end[:, None], stop[None, :])
    lower = np.maximum(begin[:, None], start[None, :])
    covered: Floats = np.clip(upper - lower, 0, None).sum(axis=1).astype(float)
    return covered


def _side_of_failures(
    failures: pd.DataFrame, events: dict[str, Days], within: int, own: set[tuple[str, int, str]]
) -> Floats:
    """1 exposed, 0 not, NaN on the day of another repair that exposes, with no earlier in reach.

    `own` are exposing repairs of the part itself: such a failure came before the exposure.
    """
    side = np.zeros(len(failures))
    rows = zip(failures["unit"], failures["day"].tolist(), failures["position"], strict=True)
    for place, (unit, day, position) in enumerate(rows):
        days = events.get(unit, np.empty(0, dtype=np.int64))
        before = days[days < day]
        if before.size and day - before[-1] <= within:
            side[place] = 1.0
        elif np.any(days == day) and (unit, day, position) not in own:
            side[place] = np.nan
    return side


def _compare(spans: pd.DataFrame, failures: pd.DataFrame, per: str) -> RatioFound:
    """Ratio of the two failure rates with its interval."""
    exposure = spans.groupby("unit")[["exposed", "others"]].sum()
    observed = pd.DataFrame(
        {
            name: failures.loc[failures["side"] == flag, "unit"].value_counts()
            for name, flag in (("exposed", 1.0), ("others", 0.0))
        }
    )
    observed = observed.reindex(exposure.index).fillna(0.0)
    sides = {}
    for name, word in (("exposed", "on the exposed side"), ("others", "on the other side")):
        if exposure[name].sum() <= 0:
            raise NoAnswer(f"no unit was watched {word}", next_step="check the claim's condition")
        watched = int((exposure[name] > 0).sum())
        sides[name] = Side(int(observed[name].sum()), float(exposure[name].sum()), watched)
    exposed, others = sides["exposed"], sides["others"]
    spread = _spread(observed, exposure)
    ratio = None
    if others.failures:
        ratio = exposed.failures / exposed.exposure / (others.failures / others.exposure)
    return RatioFound(exposed, others, ratio, _interval(exposed, others, spread), spread, per)


def _spread(observed: pd.DataFrame, exposure: pd.DataFrame) -> float:
    """Dispersion index over the units within both sides, not below 1."""
    expected = exposure * (observed.sum() / exposure.sum())
    counts, means = observed.to_numpy().ravel(), expected.to_numpy().ravel()
    known = means > 0
    try:
        return max(1.0, dispersion(counts[known], means[known]).index)
    except NoFit:
        return 1.0


def _interval(exposed: Side, others: Side, spread: float, confidence: float = 0.95) -> Interval:
    """Exact limits for counts divided by the spread; a count below 1 then bounds nothing."""
    x, y = exposed.failures / spread, others.failures / spread
    lower, upper = ratio_limits(x, exposed.exposure, y, others.exposure, confidence=confidence)
    return Interval(
        float(lower) if x >= 1 else 0.0,
        float(upper) if y >= 1 else math.inf,
        confidence,
        "exact, conditional on the total",
        "" if y >= 1 else "too few failures on the other side",
    )
