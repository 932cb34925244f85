"""The simulated units: their attributes, their use, and the hidden states they are in."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.conditions import rows_where
from rca.records.simulate.draws import Array, Draws, Flags, Whole
from rca.records.simulate.plan import FleetPlan
from rca.records.simulate.planted import CausePlan, Shares
from rca.records.simulate.running import MONTH, Running

EPOCH = date(1970, 1, 1)


def day_of(day: date) -> float:
    """Day number of a date: days since 1970-01-01."""
    return float((day - EPOCH).days)


def dates_of(days: Array) -> NDArray[np.datetime64]:
    """Dates of day numbers, the time of day cut off; what is not finite gives no date."""
    finite = np.isfinite(days)
    whole = np.floor(np.where(finite, days, 0)).astype(np.int64).astype("datetime64[D]")
    return np.where(finite, whole, np.datetime64("NaT")).astype("datetime64[ns]")


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """Spans of days in which units are in a hidden state; arrays of shape (units, spells)."""

    begins: Array  # infinite where unused
    ends: Array

    def hold(self, unit: Whole, day: Array) -> Flags:
        """True where `unit` is in the state at `day`; `day` may have further columns."""
        days = day if day.ndim == 2 else day[:, None]
        begins, ends = self.begins[unit][:, None, :], self.ends[unit][:, None, :]
        inside = np.asarray(((begins <= days[:, :, None]) & (days[:, :, None] < ends)).any(axis=2))
        return inside if day.ndim == 2 else inside[:, 0]


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """All that the lives of the parts depend on; days are day numbers.

    `units` has the columns of the units table; `begin` and `end` are the days between which
    each unit is in service (`end` is the first moment after it); `visit` is the day of a regular
    visit of each unit, from which its others are counted.
    """

    plan: FleetPlan
    units: pd.DataFrame
    begin: Array
    end: Array
    running: Running
    visit: Array
    spells: Mapping[str, Spells]
    factor: Array  # of each unit, on the failure rate of all its parts

    @property
    def watched_from(self) -> Array:
        """First day on which a unit's repairs are in the records."""
        return np.maximum(self.begin, day_of(self.plan.records_begin))

    def where(self, condition: str) -> Flags:
        """True for the units that fulfil a condition on their columns."""
        return rows_where(self.units, condition).to_numpy(dtype=bool)


def make_world(plan: FleetPlan, draws: Draws) -> World:
    """Draw the units of a fleet, their use, and the hidden causes on them."""
    units, begin, end, daily = _units(plan, draws.child("units"))
    running = _running(plan, begin, daily, draws.child("use"))
    visit = day_of(plan.records_begin) + draws.child("visits").uniform(
        plan.units, 0, plan.visit_every_days
    )
    factor = draws.child("unit factor").gamma(plan.units, plan.spread)
    world = World(plan, units, begin, end, running, visit, {}, factor)
    spells = {cause.name: _spells(cause, world, draws.child("cause", cause.name))
              for cause in plan.causes}  # fmt: skip
    return replace(world, spells=spells)


def _units(plan: FleetPlan, draws: Draws) -> tuple[pd.DataFrame, Array, Array, Array]:
    """Draw the units table, in-service and end days, and each unit's mean daily use."""
    count = plan.units
    model = draws.choose(count, [one.share for one in plan.models])
    begin = np.floor(
        draws.uniform(count, day_of(plan.first_in_service), day_of(plan.last_in_service) + 1)
    )
    last = day_of(plan.cutoff) + 1
    leave = begin + 365.25 * draws.exponential(count) / max(plan.retired_per_year, 1e-12)
    # Units that were gone before records begin are in nobody's list: they stay.
    retired = (leave < last - 1) & (leave > max(day_of(plan.records_begin), begin.min()))
    end = np.where(retired, np.floor(leave) + 1, last)
    columns: dict[str, object] = {
        "unit": _unit_names(plan, model),
        "in_service": dates_of(begin),
        "retired": dates_of(np.where(retired, end - 1, np.inf)),
        "model": np.array([one.name for one in plan.models], dtype=object)[model],
    }
    columns["depot"] = _levels(plan.depots, draws, count)
    for name in dict.fromkeys(name for one in plan.models for name in one.attributes):
        columns[name] = [plan.models[place].attributes.get(name, "") for place in model]
    daily = np.array([one.daily_use for one in plan.models])[model]
    daily = daily * draws.lognormal(count, plan.use_spread)
    for attribute in plan.attributes:
        level = _levels(attribute.shares, draws, count)
        for depot, shares in attribute.by_depot.items():
            level = np.where(columns["depot"] == depot, _levels(shares, draws, count), level)
        columns[attribute.name] = level
        daily = daily * np.array([attribute.use.get(str(one), 1.0) for one in level])
    return pd.DataFrame(columns), begin, end, daily


def _levels(shares: Shares, draws: Draws, count: int) -> NDArray[np.object_]:
    names = np.array(list(shares), dtype=object)
    return names[draws.choose(count, list(shares.values()))]


def _unit_names(plan: FleetPlan, model: Whole) -> list[str]:
    """Number the units through the fleet, behind the prefix of their model."""
    digits = max(3, len(str(plan.units)))
    return [f"{plan.models[kind].prefix}-{number:0{digits}d}" for number, kind in
            enumerate(model, start=1)]  # fmt: skip


def _running(plan: FleetPlan, begin: Array, daily: Array, draws: Draws) -> Running:
    first = float(begin.min())
    bins = math.ceil((day_of(plan.cutoff) + 2 - first) / MONTH) + 1
    middle = first + (np.arange(bins) + 0.5) * MONTH
    noise = draws.lognormal(plan.units * bins, plan.use_noise).reshape(plan.units, bins)
    season = swing(middle, plan.season, plan.season_peak)
    return Running.from_daily_use(
        daily[:, None] * season * noise, first_day=first, in_service=begin
    )


def swing(day: NDArray[Any], size: float, peak_month: int) -> Array:
    """Yearly swing around 1 by `size`, highest in the middle of the month given."""
    peak = (peak_month - 0.5) * MONTH
    return np.maximum(1 + size * np.cos(2 * np.pi * (day - peak) / 365.25), 0.02)


def _spells(cause: CausePlan, world: World, draws: Draws) -> Spells:
    """Draw when each unit is in the hidden state: from a day on, or again and again."""
    count = world.plan.units
    eligible = np.flatnonzero(world.where(cause.where))
    chosen = eligible[draws.sample(len(eligible), round(cause.share * len(eligible)))]
    low, high = (day_of(one) for one in cause.begins)
    first = draws.uniform(count, low, high + 1)
    if math.isinf(cause.lasts_days):
        begins, ends = first[:, None], np.full((count, 1), np.inf)
    else:
        begins, ends = _again_and_again(cause, first, day_of(world.plan.cutoff), draws)
    mine = np.isin(np.arange(count), chosen)[:, None]
    begins = np.where(mine, np.maximum(begins, world.begin[:, None]), np.inf)
    return Spells(begins, np.where(mine, ends, np.inf))


def _again_and_again(
    cause: CausePlan, first: Array, last: float, draws: Draws
) -> tuple[Array, Array]:
    """Draw spells and gaps in turn; with no `every_days` there is one spell of a set length."""
    if math.isinf(cause.every_days):
        return first[:, None], (first + cause.lasts_days)[:, None]
    span = max(last - float(first.min()), 0.0)
    spells = int(2 * span / (cause.lasts_days + cause.every_days)) + 10
    size = len(first) * spells
    lasts = cause.lasts_days * draws.exponential(size).reshape(len(first), spells)
    gaps = cause.every_days * draws.exponential(size).reshape(len(first), spells)
    ends = first[:, None] + np.cumsum(lasts + gaps, axis=1) - gaps
    return ends - lasts, ends
