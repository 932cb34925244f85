"""Counts, cost and downtime by part, each with its interval: where the trouble and money lie.

Three costs are never mixed: the cost of a row, of an order, of downtime. A blank is unknown, not
0, and so is a 0 on a replacement or repair; every sum says how many of its rows had a value.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.life.sample import Interval
from rca.records.fleet import Fleet, safety_critical_parts

Floats = NDArray[np.float64]
RESAMPLES = 1000


@dataclass(frozen=True, slots=True)
class Total:
    """A sum over repair rows: `known` of `rows` rows had a value."""

    value: float
    interval: Interval
    known: int
    rows: int

    def __str__(self) -> str:
        return f"{self.value:,.0f} ({self.interval}), from {self.known} of {self.rows} rows"


def known_costs(fleet: Fleet) -> pd.Series:
    """Return each row's cost; a 0 on a replacement or repair counts as unknown, credits stay."""
    worked = fleet.repairs["action"].isin(["replaced", "repaired"])
    return fleet.repairs["cost"].mask(worked & fleet.repairs["cost"].eq(0))


def totals_by_part(fleet: Fleet, *, seed: int) -> dict[str, dict[str, Total | None]]:
    """Return for each part its "failures", "cost" and "downtime" of unplanned and planned work.

    Failures count rows with reason failure, one a unit, position and day. Limits at 95 % come
    from resampling whole units, as the rows of one unit are not independent. None: nothing known.
    """
    repairs = fleet.repairs
    if repairs.empty:
        return {}
    place = ["unit", "part", "position", "date"]
    failed = repairs["reason"].eq("failure") & ~(
        repairs.assign(f=repairs["reason"].eq("failure")).duplicated([*place, "f"])
    )
    columns = {
        "failures": failed.astype(float).where(failed),
        "cost": known_costs(fleet),
        "downtime": repairs["downtime_hours"],
    }
    unit, units = pd.factorize(repairs["unit"].astype(str))
    part, parts = pd.factorize(repairs["part"].astype(str), sort=True)
    rng = np.random.default_rng(seed)
    share = np.full(len(units), 1 / max(len(units), 1))
    draws = rng.multinomial(len(units), share, RESAMPLES).astype(float)
    rows = np.bincount(part, minlength=len(parts))
    found: dict[str, dict[str, Total | None]] = {str(name): {} for name in parts}
    for name, column in columns.items():
        values = column.to_numpy(dtype=float)
        has = ~np.isnan(values)
        known = np.bincount(part[has], minlength=len(parts))
        table = np.zeros((len(units), len(parts)))
        np.add.at(table, (unit[has], part[has]), values[has])
        low, high = np.quantile(draws @ table, [0.025, 0.975], axis=0)
        sums = table.sum(axis=0)
        for place_, part_name in enumerate(parts):
            interval = Interval(float(low[place_]), float(high[place_]), method="units resampled")
            total = Total(float(sums[place_]), interval, int(known[place_]), int(rows[place_]))
            nothing = known[place_] == 0 and name != "failures"
            found[str(part_name)][name] = None if nothing else total
    return found


def order_of_importance(fleet: Fleet, totals: dict[str, dict[str, Total | None]]) -> list[str]:
    """Return the parts that failed: safety-critical first, then by cost, downtime and failures.

    Cost and downtime have no common unit, so a part's place is the better of its two ranks, and
    their sum where two parts tie.
    """
    critical = safety_critical_parts(fleet)
    failed = [name for name, total in totals.items() if _of(total, "failures") > 0]
    cost, downtime = (_ranks(failed, totals, key) for key in ("cost", "downtime"))

    def place(name: str) -> tuple[bool, int, int, float, str]:
        ranks = cost[name], downtime[name]
        failures = _of(totals[name], "failures")
        return name not in critical, min(ranks), sum(ranks), -failures, name

    return sorted(failed, key=place)


def _ranks(
    names: list[str], totals: dict[str, dict[str, Total | None]], key: str
) -> dict[str, int]:
    """Rank names by a total, the largest first."""
    ordered = sorted(names, key=lambda name: -_of(totals[name], key))
    return {name: rank for rank, name in enumerate(ordered)}


def _of(total: dict[str, Total | None], key: str) -> float:
    found = total.get(key)
    return found.value if found is not None else 0.0
