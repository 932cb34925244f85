"""Figures of merit of a whole fleet: this month, the month before, twelve months, and their change.

Each is a ratio of two sums over units, so its limits come from resampling whole units, widened to
exact limits where it counts things. Nothing here looks at a single part.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaincinv

from rca.causes.counts.merit_sums import MONTHS, Floats, monthly_sums
from rca.errors import NoFit
from rca.life.histories import Histories
from rca.life.rates import rate_limits, rate_ratio
from rca.life.sample import Interval
from rca.life.trend import trend_tests
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.meters import day_number

DRAWS: Final = 1000
LEVEL: Final = 0.01  # error rate at which a month is called different, for each figure
MOST_UNKNOWN: Final = 0.2
SETTLED: Final = 0.9  # share of a month's windows that must be complete for it to be told
SAME, UP, DOWN = "within chance", "higher, beyond chance", "lower, beyond chance"
UNSAID: Final = "cannot be said"


@dataclass(frozen=True, slots=True)
class Measured:
    """A ratio over one span: `count` over `of`, with 95 % limits."""

    value: float
    interval: Interval
    count: float
    of: float


@dataclass(frozen=True, slots=True)
class Merit:
    """One figure of merit with its definition; what cannot be told is None, and why.

    `changed` compares the month with the twelve before it; `note` says what to keep in mind.
    """

    name: str
    unit: str
    definition: str
    counted: str
    per: str
    month: Measured | None
    before: Measured | None
    year: Measured | None
    changed: str
    why_null: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class _Ratio:
    """Numerator and denominator by unit and month.

    `turned` shows denominator over numerator; single months where `settled` is false are not told.
    """

    name: str
    unit: str
    definition: str
    counted: str
    per: str
    above: Floats
    below: Floats
    scale: float = 1.0
    counts: bool = False
    share: bool = False
    turned: bool = False
    settled: NDArray[np.bool_] = field(default_factory=lambda: np.ones(MONTHS, dtype=bool))
    why_null: str = ""
    note: str = ""


def figures_of_merit(
    fleet: Fleet, lives: LifeTable, events: pd.DataFrame, *, month: str, seed: int
) -> tuple[Merit, ...]:
    """Compute the figures of merit of a fleet for one month.

    Parameters
    ----------
    events
        Rows of `repeats.repeat_events`.
    """
    sums = monthly_sums(fleet, lives, events, month=month)
    note = _trend_note(fleet, events)
    rng = np.random.default_rng(seed)
    size = len(fleet.watch)
    draws = rng.multinomial(size, np.full(size, 1 / size), DRAWS).astype(float)
    return tuple(_merit(ratio, draws) for ratio in _ratios(fleet, sums, note))


def _trend_note(fleet: Fleet, events: pd.DataFrame) -> str:
    """Say whether a mean between failures may be read on into the future."""
    watch = fleet.watch
    start = day_number(watch["watched_from"].to_numpy()).astype(float)
    end = day_number(watch["watched_to"].to_numpy()).astype(float) + 1
    try:
        trend = trend_tests(
            Histories.of(
                watch["unit"].astype(str).to_numpy(),
                start - start.min(),
                end - start.min(),
                event_unit=events["unit"].to_numpy(),
                event_age=events["day"].to_numpy() - start.min() + 0.5,
                unit_of_age="days",
            )
        )
    except NoFit:
        return ""
    said = {
        "rising": "failures grow more frequent on the same units, so the mean falls from year to "
        "year and is no forecast",
        "falling": "failures grow rarer on the same units, so the mean rises from year to year "
        "and is no forecast",
        "none shown": "",
    }
    return said[trend.direction()]


def _ratios(fleet: Fleet, sums: Mapping[str, Floats], trend: str) -> list[_Ratio]:
    """Say what each figure of merit is made of."""
    unit, currency = fleet.settings.meter_unit, fleet.settings.currency or "currency not stated"
    known = ~np.isnan(sums["running"])
    running = np.where(known, sums["running"], 0.0)
    use = "running" if fleet.is_blocked("meter lives") == "" and running.sum() > 0 else "days"
    per, run = (unit, running) if use == "running" else ("days", sums["days"])
    failures = np.where(known, sums["failures"], 0.0) if use == "running" else sums["failures"]
    window = f"{fleet.settings.repeat_days} days"
    if fleet.settings.repeat_meter:
        window += f" and {fleet.settings.repeat_meter:,.0f} {unit}"
    failed = "rows with reason failure, one a unit, part, position and day"
    money = fleet.is_blocked("money")
    return [
        _Ratio(
            f"Mean {'days' if per == 'days' else 'running'} between failures",
            per,
            f"{per} run by all units with a known meter, over their failures ({failed}). "
            "A plain quotient of the month; it says nothing of a single part's life.",
            "failures",
            per,
            failures,
            run,
            counts=True,
            turned=True,
            note=trend,
        ),
        _Ratio(
            "Repairs that came back",
            "share",
            f"failures followed by another of the same part, unit and position within {window}, "
            f"over the failures whose window lies wholly before the cut-off",
            "came back",
            "failures with a complete window",
            sums["repeat"],
            sums["complete"],
            counts=True,
            share=True,
            settled=sums["complete"].sum(axis=0) >= SETTLED * sums["failures"].sum(axis=0),
        ),
        _of_money(
            f"Cost of repairs per 1,000 {per}",
            f"{currency} per 1,000 {per}",
            f"cost of all repair rows over {per} run; rows without a cost are taken to cost what "
            "the others cost on average, up to a fifth of them",
            sums,
            "cost",
            run,
            1000.0,
            per,
            money,
        ),
        _of_money(
            "Downtime of a unit in 30 days",
            "hours",
            "downtime hours of all repair rows over the days for which the units were watched, "
            "times 30. Availability is not told: planned hours are not in the records.",
            sums,
            "downtime",
            sums["days"],
            30.0,
            "unit-days",
            "",
        ),
        _Ratio(
            "Planned share of removals and repairs",
            "share",
            "rows with reason planned over those with reason planned or failure",
            "planned",
            "planned or failed",
            sums["planned"],
            sums["planned"] + sums["failure_rows"],
            counts=True,
            share=True,
        ),
        _Ratio(
            "No fault found",
            "share",
            "rows with reason no fault found over those with reason no fault found or failure",
            "without fault",
            "failed or without fault",
            sums["no_fault_found"],
            sums["no_fault_found"] + sums["failure_rows"],
            counts=True,
            share=True,
        ),
        _Ratio(
            "Failures with their cause stated",
            "share",
            "rows with reason failure whose cause is not blank, over all rows with reason failure",
            "with a cause",
            "failure rows",
            sums["cause_stated"],
            sums["failure_rows"],
            counts=True,
            share=True,
        ),
    ]


def _of_money(
    name: str,
    unit: str,
    definition: str,
    sums: Mapping[str, Floats],
    what: str,
    below: Floats,
    scale: float,
    per: str,
    blocked: str,
) -> _Ratio:
    """Sum of a column that may be blank; refused where more than a fifth of its rows are."""
    rows, known = sums["rows"].sum(), sums[f"{what}_known"].sum()
    why = blocked
    if not why and known < (1 - MOST_UNKNOWN) * rows:
        why = f"{what} is blank on {rows - known:.0f} of {rows:.0f} rows of these months"
    fill = sums["rows"].sum(axis=0) / np.maximum(sums[f"{what}_known"].sum(axis=0), 1)
    return _Ratio(name, unit, definition, what, per, sums[what] * fill, below, scale, why_null=why)


def _merit(ratio: _Ratio, draws: Floats) -> Merit:
    spans = (slice(12, 13), slice(11, 12), slice(1, 13))
    told = [
        ratio.why_null == "" and (place == 2 or ratio.settled[12 - place]) for place in range(3)
    ]
    month, before, year = (
        _measured(ratio, span, draws) if said else None
        for span, said in zip(spans, told, strict=True)
    )
    why = ratio.why_null
    if not why and month is None:
        why = f"no {ratio.per} in the month" if told[0] else "the windows are not complete yet"
    return Merit(
        name=ratio.name,
        unit=ratio.unit,
        definition=ratio.definition,
        counted=ratio.counted,
        per=ratio.per,
        month=month,
        before=before,
        year=year,
        changed=_changed(ratio, draws) if month is not None else UNSAID,
        why_null=why,
        note=ratio.note,
    )


def _measured(ratio: _Ratio, span: slice, draws: Floats) -> Measured | None:
    above, below = ratio.above[:, span].sum(axis=1), ratio.below[:, span].sum(axis=1)
    count, of = float(above.sum()), float(below.sum())
    if of <= 0:
        return None
    drawn = _drawn(above, below, draws)
    low, high = np.quantile(drawn, [0.025, 0.975]) if len(drawn) else (0.0, np.inf)
    if ratio.counts:
        exact = _exact(round(count), of, share=ratio.share)
        low, high = min(low, exact[0]), max(high, exact[1])
    ends = [count / of, float(low), float(high)]
    if ratio.turned:
        turned = [math.inf if one == 0 else 1 / one for one in ends]
        ends = [turned[0], turned[2], turned[1]]
    value, lower, upper = (ratio.scale * one for one in ends)
    method = "units resampled, exact where wider" if ratio.counts else "units resampled"
    return Measured(value, Interval(lower, upper, method=method), count, of)


def _exact(count: int, of: float, *, share: bool) -> tuple[float, float]:
    """Clopper-Pearson limits of a share, exact Poisson limits of a rate."""
    if not share:
        poisson = rate_limits(count, of)
        return float(poisson[0]), float(poisson[1])
    n = round(of)
    low = float(betaincinv(count, n - count + 1, 0.025)) if count else 0.0
    high = float(betaincinv(count + 1, n - count, 0.975)) if count < n else 1.0
    return low, high


def _drawn(above: Floats, below: Floats, draws: Floats) -> Floats:
    under = draws @ below
    return (draws @ above)[under > 0] / under[under > 0]


def _changed(ratio: _Ratio, draws: Floats) -> str:
    """Compare the month with the twelve before: units resampled and, for counts, the exact test."""
    now = ratio.above[:, 12], ratio.below[:, 12]
    then = ratio.above[:, :12].sum(axis=1), ratio.below[:, :12].sum(axis=1)
    count, of, count_then, of_then = (float(one.sum()) for one in (*now, *then))
    if of <= 0 or of_then <= 0 or count + count_then <= 0:
        return UNSAID
    under, under_then = draws @ now[1], draws @ then[1]
    use = (under > 0) & (under_then > 0)
    apart = (draws @ now[0])[use] / under[use] - (draws @ then[0])[use] / under_then[use]
    low, high = np.quantile(apart, [LEVEL / 2, 1 - LEVEL / 2])
    differs = low > 0 or high < 0
    if differs and ratio.counts:
        differs = rate_ratio(round(count), of, round(count_then), of_then).p_value < LEVEL
    if not differs:
        return SAME
    return UP if (count / of > count_then / of_then) != ratio.turned else DOWN
