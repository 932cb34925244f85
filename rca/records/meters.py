"""Meter readings to the use of each unit at any day: what is believed, mended, or estimated.

A unit's readings should rise, and not faster than the most that a unit can run in a day. Where
they do not, the cheapest explanation is taken: a reading that does not fit is not trusted
(cost 1 each), or the meter was replaced and counts from a new start (cost 2.5, so that at least
three later readings must speak for it; no cost where the table says so). Common practice, no
source.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RECENT_DAYS = 90
REPLACED_COST = 2.5
MOST_UNTRUSTED = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Meters:
    """Believed readings, sorted by unit and day; `use` runs on through meter replacements.

    `unit` are codes into `names`; `untrusted` lists readings not believed; `replaced` the units
    whose meter was replaced; `days_only` the units without a usable meter.
    """

    names: pd.Index
    unit: Ints
    day: Ints
    use: Floats
    untrusted: pd.DataFrame
    replaced: frozenset[str]
    days_only: frozenset[str]

    def at(self, unit: Ints, day: Ints) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the use of units at days, and whether it lies outside their readings (estimated).

        Between readings use is interpolated; outside, the unit's own use over the nearest 90 days
        with readings goes on. NaN where the unit has fewer than two readings.
        """
        use = np.full(len(unit), np.nan)
        estimated = np.zeros(len(unit), dtype=bool)
        if not len(self.unit):
            return use, estimated
        first = np.searchsorted(self.unit, unit, side="left")
        last = np.searchsorted(self.unit, unit, side="right") - 1
        known = last > first
        key, wanted = _packed(self.unit, self.day), _packed(unit, day)
        right = np.clip(np.searchsorted(key, wanted, side="left"), first + 1, np.maximum(last, 1))
        before, after = day < self.day[np.minimum(first, len(key) - 1)], day > self.day[last]
        left = right - 1
        near_end = (
            np.searchsorted(key, _packed(unit, self.day[last] - RECENT_DAYS), side="right") - 1
        )
        left = np.where(after, np.clip(near_end, first, last - 1), left)
        right = np.where(after, last, right)
        start = self.day[np.minimum(first, len(key) - 1)]
        near_start = np.searchsorted(key, _packed(unit, start + RECENT_DAYS), side="left")
        left = np.where(before, first, left)
        right = np.where(before, np.clip(near_start, first + 1, last), right)
        left, right = (np.clip(one, 0, len(key) - 1) for one in (left, right))
        span = np.maximum(self.day[right] - self.day[left], 1)
        slope = (self.use[right] - self.use[left]) / span
        base = np.where(after, right, left)
        value = self.use[base] + slope * (day - self.day[base])
        use[known] = value[known]
        estimated[known] = (before | after)[known]
        return use, estimated


def _packed(unit: Ints, day: Ints) -> Ints:
    """Unit and day in one number that sorts by unit, then day."""
    return unit.astype(np.int64) * 2**24 + (day + 2**22)


def day_number(days: pd.Series | NDArray[np.datetime64]) -> Ints:
    """Return days since 1970-01-01; NaT becomes the smallest integer."""
    return np.asarray(days).astype("datetime64[D]").astype(np.int64)


def believed_meters(fleet: Fleet, units: pd.Index) -> Meters:
    """Sort out the meter readings of a fleet; `units` fixes the codes of the units."""
    readings = _all_readings(fleet, units)
    unit, day = readings["code"].to_numpy(np.int64), readings["day"].to_numpy(np.int64)
    meter, stated = readings["meter"].to_numpy(np.float64), readings["stated"].to_numpy(bool)
    most = fleet.settings.most_use_a_day
    keep, use, resets = np.ones(len(unit), dtype=bool), meter.copy(), np.zeros(len(unit), bool)
    for code in _units_in_doubt(unit, day, meter, stated, most):
        rows = slice(*np.searchsorted(unit, [code, code + 1]))
        keep[rows], resets[rows] = _cheapest_reading(day[rows], meter[rows], stated[rows], most)
        chain = np.flatnonzero(keep[rows]) + rows.start
        use[chain] = _run_on(day[chain], meter[chain], resets[chain])
    bad = readings[~keep]
    total, untrusted = (np.bincount(one, minlength=len(units)) for one in (unit, unit[~keep]))
    spoiled = untrusted > MOST_UNTRUSTED * total
    keep &= ~spoiled[unit]
    keep[keep] = _last_of_each_day(unit[keep], day[keep])
    days_only = units[np.bincount(unit[keep], minlength=len(units)) < 2]
    return Meters(
        names=units,
        unit=unit[keep],
        day=day[keep],
        use=use[keep],
        untrusted=bad[["date", "meter", "table", "file", "line"]].assign(unit=units[bad["code"]]),
        replaced=frozenset(units[np.unique(unit[resets])].astype(str)),
        days_only=frozenset(days_only.astype(str)),
    )


def _units_in_doubt(
    unit: Ints, day: Ints, meter: Floats, stated: NDArray[np.bool_], most_a_day: float
) -> Ints:
    """Return the codes of units whose meter falls, rises too fast, or was replaced."""
    rise, span = np.diff(meter), np.maximum(np.diff(day), 1)
    odd = (rise < 0) | (rise > most_a_day * span) | stated[1:]
    return np.unique(unit[1:][odd & (unit[1:] == unit[:-1])])


def _last_of_each_day(unit: Ints, day: Ints) -> NDArray[np.bool_]:
    """Tell which of the sorted readings is the last of its unit and day."""
    last = np.ones(len(unit), dtype=bool)
    last[:-1] = (unit[1:] != unit[:-1]) | (day[1:] != day[:-1])
    return last


_COLUMNS = ("code", "day", "date", "meter", "stated", "table", "file", "line")


def _all_readings(fleet: Fleet, units: pd.Index) -> pd.DataFrame:
    """Readings of the table and of the repairs, in order of unit and day; equal ones once."""
    tables = []
    for name, frame in (("readings", fleet.readings), ("repairs", fleet.repairs)):
        if frame is None or "meter" not in frame.columns:
            continue
        known = frame["meter"].notna().to_numpy()
        rows = frame[known]
        stated = np.zeros(len(rows), dtype=bool)
        if name == "readings" and "meter_replaced" in rows.columns:
            stated = rows["meter_replaced"].astype(str).eq("yes").to_numpy()
        code = units.get_indexer(pd.Index(rows["unit"].astype(str)))
        day, date, meter = day_number(rows["date"]), rows["date"].to_numpy(), rows["meter"]
        file, line = fleet.files[name][known], fleet.lines[name][known]
        cells = (code, day, date, meter.to_numpy(), stated, name, file, line)
        tables.append(pd.DataFrame(dict(zip(_COLUMNS, cells, strict=True))))
    everything = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=_COLUMNS)
    everything = everything[everything["code"] >= 0]
    # A new meter's first reading stands after the old one's last of the same day.
    everything = everything.sort_values(["code", "day", "stated", "meter"], kind="stable")
    return everything.drop_duplicates(["code", "day", "meter", "stated"]).reset_index(drop=True)


def _cheapest_reading(
    day: Ints, meter: Floats, stated: NDArray[np.bool_], most_a_day: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell which readings of one unit are trusted, and at which the meter starts anew.

    Shortest path over the readings: a step from one trusted reading to a later one costs 1 for
    each reading skipped, and REPLACED_COST where the meter falls.
    """
    n = len(day)
    best = np.arange(n, dtype=np.float64)  # cost of starting the chain at j: all before skipped
    come_from = np.full(n, -1)
    reset = np.zeros(n, dtype=bool)
    for j in range(1, n):
        i = np.arange(j)
        span = np.maximum(day[j] - day[:j], 1)
        rise = meter[j] - meter[:j]
        fits = (rise >= 0) & (rise <= most_a_day * span)
        fresh = (rise < 0) | stated[j]
        cost = best[:j] + (j - i - 1)
        step = np.where(fits, 0.0, np.where(fresh, 0.0 if stated[j] else REPLACED_COST, np.inf))
        total = cost + step
        choice = int(np.argmin(total))
        if total[choice] < best[j]:
            best[j], come_from[j] = total[choice], choice
            reset[j] = bool(stated[j] or not fits[choice])
    end = int(np.argmin(best + (n - 1 - np.arange(n))))
    trusted = np.zeros(n, dtype=bool)
    place = end
    while place >= 0:
        trusted[place] = True
        place = int(come_from[place])
    return trusted, reset & trusted


def _run_on(day: Ints, meter: Floats, resets: NDArray[np.bool_]) -> Floats:
    """Use that runs on through replacements; the gap is filled at the use before it."""
    use = meter.copy()
    for place in np.flatnonzero(resets):
        back = max(0, int(np.searchsorted(day, day[place - 1] - RECENT_DAYS)))
        span = max(day[place - 1] - day[back], 1)
        pace = (use[place - 1] - use[back]) / span
        gap = pace * (day[place] - day[place - 1])
        use[place:] = meter[place:] - meter[place] + use[place - 1] + gap
    return use
