"""One part (or one failure mode of it) studied: its lives, curve, repeats, trend and totals."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.causes.counts.repeats import RepeatRate, repeat_rate
from rca.causes.counts.totals import Total
from rca.errors import NoFit
from rca.life.recurrence import Histories
from rca.life.sample import Interval, Lives
from rca.life.trend import Trend, trend_tests
from rca.life.weibull import WeibullFit, fit_weibull
from rca.records.fleet import Fleet, safety_critical_parts
from rca.records.lives import LifeTable
from rca.records.meters import day_number

SCALES = ("meter", "days")
SHARE_WITH_METER = 0.9  # below this share of lives with a known meter, lives are told in days
FEW_FAILURES = 5  # a failure mode with fewer has no row of its own


@dataclass(frozen=True, slots=True, eq=False)
class PartFinding:
    """What the records say of one part; with `mode`, of one of its failure modes.

    Attributes
    ----------
    units
        Units that carry the part, by the parts table; without one, units with a life of it.
    lives, failures, suspended
        Pieces of lives that could be used; lives = failures + suspended.
    left_out
        Pieces left out because the age of a first life is not proved.
    fit
        Weibull curve on `scale` in `unit_of_age`; None where `no_fit` says why.
    other_first_lives
        Shape and scale if first lives of unknown age were taken as original or as new: how much
        hangs on leaving them out.
    """

    part: str
    mode: str | None
    safety_critical: bool
    units: int
    failures_recorded: int
    lives: int
    failures: int
    suspended: int
    left_out: int
    scale: str
    unit_of_age: str
    sample: Lives | None
    fit: WeibullFit | None
    no_fit: str
    totals: dict[str, Total | None]
    repeat: RepeatRate | None
    trend: Trend | None
    other_first_lives: dict[str, tuple[float, float]]

    @property
    def b10(self) -> float:
        """Age by which a tenth have failed; nan without a curve."""
        return self.fit.life(0.1) if self.fit is not None else math.nan

    def limits(self, what: str) -> Interval | None:
        """Interval of "shape", "scale" or "b10"; None without a curve."""
        if self.fit is None:
            return None
        return self.fit.life_interval(0.1) if what == "b10" else self.fit.interval(what)

    def __str__(self) -> str:
        name = f"{self.part}, {self.mode}" if self.mode else self.part
        curve = str(self.fit) if self.fit is not None else f"no curve: {self.no_fit}"
        return f"{name}: {self.lives} lives, {self.failures} failed. {curve}"


def choose_scale(fleet: Fleet, rows: pd.DataFrame) -> str:
    """Return "meter" where nearly all lives of the part have meter ages, else "days"."""
    if fleet.is_blocked("meter lives") or rows.empty:
        return "days"
    return "meter" if rows["age_meter"].notna().mean() >= SHARE_WITH_METER else "days"


def sample_of(
    rows: pd.DataFrame, *, scale: str, mode: str | None = None, unit: str = ""
) -> Lives | None:
    """Return the lives in `rows` on one scale; failures of other modes are suspensions."""
    entry, age = rows[f"entry_{scale}"].to_numpy(), rows[f"age_{scale}"].to_numpy()
    known = ~np.isnan(age)
    if not known.any():
        return None
    failed = rows["failed"].to_numpy(dtype=bool)
    if mode is not None:
        failed = failed & (rows["mode"].to_numpy(dtype=object) == mode)
    return Lives.right_censored(age[known], failed[known], entry=entry[known], unit=unit)


def fit_or_reason(sample: Lives | None) -> tuple[WeibullFit | None, str]:
    """Fit a Weibull curve, or say why there is none."""
    if sample is None:
        return None, "no life of this part has a known age"
    try:
        return fit_weibull(sample), ""
    except NoFit as trouble:
        return None, trouble.message


def study_part(
    fleet: Fleet,
    lives: LifeTable,
    part: str,
    *,
    events: pd.DataFrame,
    totals: dict[str, Total | None],
    mode: str | None = None,
    scale: str | None = None,
    others: dict[str, LifeTable] | None = None,
    seed: int = 0,
) -> PartFinding:
    """Study one part, or one of its modes with all other modes as suspensions.

    Parameters
    ----------
    events
        Rows of `repeats.repeat_events` of the whole fleet.
    others
        Life tables under other treatments of first lives, by name, to show what hangs on it.
    """
    rows = lives.of(part)
    scale = scale or choose_scale(fleet, rows)
    unit = fleet.settings.meter_unit if scale == "meter" else "days"
    sample = sample_of(rows, scale=scale, mode=mode, unit=unit)
    fit, no_fit = fit_or_reason(sample)
    own = events[events["part"] == part]
    own = own if mode is None else own[own["mode"] == mode]
    failed = int(sample.n_failed) if sample is not None else 0
    size = len(sample) if sample is not None else 0
    out = lives.left_out
    return PartFinding(
        part=part,
        mode=mode,
        safety_critical=part in safety_critical_parts(fleet),
        units=_units_with(fleet, rows, part),
        failures_recorded=len(own),
        lives=size,
        failures=failed,
        suspended=size - failed,
        left_out=int(out.loc[out["part"] == part, "pieces"].sum()) if len(out) else 0,
        scale=scale,
        unit_of_age=unit,
        sample=sample,
        fit=fit,
        no_fit=no_fit,
        totals=totals,
        repeat=_repeats(fleet, lives, rows, own, seed) if mode is None else None,
        trend=_trend(fleet, own),
        other_first_lives=_others(others or {}, part, scale, mode),
    )


def _units_with(fleet: Fleet, rows: pd.DataFrame, part: str) -> int:
    places = fleet.places
    if places is None:
        return int(rows["unit"].nunique())
    return int(places.loc[places["part"].str.casefold() == part.casefold(), "unit"].nunique())


def _repeats(
    fleet: Fleet, lives: LifeTable, rows: pd.DataFrame, own: pd.DataFrame, seed: int
) -> RepeatRate | None:
    if own.empty:
        return None
    curve, _ = fit_or_reason(sample_of(rows, scale="days"))
    return repeat_rate(
        own,
        fleet=fleet,
        lives=lives,
        curve=curve,
        rate_a_day=len(own) / max(_place_days(fleet, own), 1),
        seed=seed,
    )


def _place_days(fleet: Fleet, own: pd.DataFrame) -> float:
    """Days for which places of the part were watched: all by the parts table, else those seen."""
    watch = fleet.watch.assign(unit=fleet.watch["unit"].astype(str)).set_index("unit")
    days = day_number(watch["watched_to"].to_numpy()) - day_number(watch["watched_from"].to_numpy())
    length = pd.Series(days + 1, index=watch.index)
    places = fleet.places
    part = str(own["part"].iloc[0])
    if places is not None and (places["part"] == part).any():
        return float(length.reindex(places.loc[places["part"] == part, "unit"]).sum())
    return float(length.reindex(own.drop_duplicates(["unit", "position"])["unit"]).sum())


def _trend(fleet: Fleet, own: pd.DataFrame) -> Trend | None:
    """Test whether failures grow more frequent over the calendar, within units."""
    if len(own) < FEW_FAILURES:
        return None
    watch = fleet.watch[fleet.watch["unit"].astype(str).isin(own["unit"])]
    start = day_number(watch["watched_from"].to_numpy()).astype(float)
    end = day_number(watch["watched_to"].to_numpy()).astype(float) + 1
    origin = start.min()
    histories = Histories.of(
        watch["unit"].astype(str).to_numpy(),
        start - origin,
        end - origin,
        event_unit=own["unit"].to_numpy(),
        event_age=own["day"].to_numpy() - origin + 0.5,
        unit_of_age="days",
    )
    try:
        return trend_tests(histories)
    except NoFit:
        return None


def _others(
    others: dict[str, LifeTable], part: str, scale: str, mode: str | None
) -> dict[str, tuple[float, float]]:
    found = {}
    for name, table in others.items():
        fit, _ = fit_or_reason(sample_of(table.of(part), scale=scale, mode=mode))
        if fit is not None:
            found[name] = (fit.shape, fit.scale)
    return found


def modes_of(events: pd.DataFrame, part: str) -> list[tuple[str, int]]:
    """Return the failure modes of a part with their counts, most frequent first; "" not stated."""
    counts = events.loc[events["part"] == part, "mode"].value_counts()
    return [(str(mode), int(count)) for mode, count in counts.items()]
