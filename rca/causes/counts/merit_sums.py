"""What a fleet ran, failed, spent and lost in each of thirteen months, unit by unit."""

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.counts.totals import known_costs
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.meters import day_number
from rca.records.months import month_end

Floats = NDArray[np.float64]

MONTHS: Final = 13  # the month, and the twelve before it


def monthly_sums(
    fleet: Fleet, lives: LifeTable, events: pd.DataFrame, *, month: str
) -> Mapping[str, Floats]:
    """Return sums by unit (row of `fleet.watch`) and month, the month asked for last.

    Keys: days, running (meter; NaN unknown), failures, repeats, complete, rows, cost, cost_known,
    downtime, downtime_known, planned, no_fault_found, failure_rows, cause_stated.
    """
    last = pd.Period(month, freq="M")
    periods = pd.period_range(end=last, periods=MONTHS, freq="M")
    starts = day_number(periods.start_time.to_numpy())
    ends = np.append(starts[1:], day_number(np.array([np.datetime64(month_end(month))])) + 1)
    found: dict[str, Floats] = dict(_watched(fleet, lives, starts, ends))
    units = pd.Index(fleet.watch["unit"].astype(str))

    def add(name: str, unit: pd.Series, day: NDArray[np.int64], value: Floats) -> None:
        row = units.get_indexer(pd.Index(unit.astype(str)))
        column = np.searchsorted(starts, day, side="right") - 1
        use = (row >= 0) & (column >= 0) & (day < ends[-1]) & ~np.isnan(value)
        table = np.zeros((len(units), MONTHS))
        np.add.at(table, (row[use], column[use]), value[use])
        found[name] = table

    day = events["day"].to_numpy()
    add("failures", events["unit"], day, np.ones(len(events)))
    for name in ("repeat", "complete"):
        add(name, events["unit"], day, events[name].to_numpy(float))
    rows = fleet.repairs
    days, reason = day_number(rows["date"].to_numpy()), rows["reason"]
    cost, downtime = known_costs(fleet).to_numpy(float), rows["downtime_hours"].to_numpy(float)
    stated = rows["cause"].astype(str).str.strip().ne("")
    for name, value in (
        ("rows", np.ones(len(rows))),
        ("cost", cost),
        ("cost_known", (~np.isnan(cost)).astype(float)),
        ("downtime", downtime),
        ("downtime_known", (~np.isnan(downtime)).astype(float)),
        ("planned", reason.eq("planned").to_numpy(float)),
        ("no_fault_found", reason.eq("no fault found").to_numpy(float)),
        ("failure_rows", reason.eq("failure").to_numpy(float)),
        ("cause_stated", (reason.eq("failure") & stated).to_numpy(float)),
    ):
        add(name, rows["unit"], days, value)
    return found


def _watched(
    fleet: Fleet, lives: LifeTable, starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> Mapping[str, Floats]:
    """Days watched and meter run by unit and month."""
    begin = day_number(fleet.watch["watched_from"].to_numpy())[:, np.newaxis]
    end = day_number(fleet.watch["watched_to"].to_numpy())[:, np.newaxis] + 1
    low, high = np.maximum(starts, begin), np.minimum(ends, end)
    days = np.maximum(high - low, 0)
    code = np.repeat(np.arange(len(days)), MONTHS)
    at_low, at_high = (
        lives.meters.at(code, edge.ravel())[0].reshape(days.shape)
        for edge in (np.minimum(low, high), high)
    )
    return {"days": days.astype(float), "running": np.where(days > 0, at_high - at_low, 0.0)}
