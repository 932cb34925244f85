"""Faults of real records, laid over a simulated fleet: each planted on purpose, and counted."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import pandas as pd

from rca.errors import RcaError
from rca.records.simulate.draws import Draws, Whole
from rca.records.simulate.simulated import SimulatedFleet, no_faults


@dataclass(frozen=True, slots=True)
class FaultPlan:
    """How many faults of each kind are planted; every faulty row bears one fault only.

    `words` gives truly different spellings of part names, ``{"coolant pump": ("water pump",)}``.
    """

    meters_run_back: int = 0  # a reading typed too low, in the readings table
    meters_jump: int = 0  # a reading typed with a digit too many
    odometers_replaced: int = 0  # from a day on a unit's meter counts from 0 again
    duplicates: int = 0  # a repair row that stands twice
    split_orders: int = 0  # one repair written as two rows of one order, the cost divided
    part_case: int = 0  # the part's name in capitals
    part_spaces: int = 0  # stray spaces in the part's name
    part_words: int = 0  # another name for the part
    blank_positions: int = 0
    missing_costs: int = 0
    zero_costs: int = 0
    missing_meters: int = 0  # repair rows without a meter
    late_dates: int = 0  # a repair dated five years too late
    impossible_dates: int = 0  # 30 February and the like; the date column becomes text
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def with_faults(fleet: SimulatedFleet, plan: FaultPlan, *, seed: int) -> SimulatedFleet:
    """Return the fleet with record faults; `truth.faults` lists every one.

    Rows are named by their place in the tables returned.

    Raises
    ------
    RcaError
        There are not enough rows on which a fault of some kind could be planted.
    """
    return _Planting(fleet, plan, Draws(seed, "faults")).done()


class _Planting:
    """The tables while faults are being planted."""

    def __init__(self, fleet: SimulatedFleet, plan: FaultPlan, draws: Draws) -> None:
        self.fleet, self.plan, self.draws = fleet, plan, draws
        self.repairs, self.readings = fleet.repairs.copy(), fleet.readings.copy()
        self.clean = np.ones(len(self.repairs), dtype=bool)
        self.listed: list[dict[str, Any]] = []

    def done(self) -> SimulatedFleet:
        """Plant all faults in a fixed order and return the new fleet."""
        for kind in (one.name for one in fields(self.plan) if one.name != "words"):
            wanted = getattr(self.plan, kind)
            if wanted:
                plant: Callable[[int, Draws], None] = getattr(self, f"_{kind}")
                plant(wanted, self.draws.child(kind))
        faults = pd.DataFrame(self.listed) if self.listed else no_faults()
        return replace(
            self.fleet,
            repairs=self.repairs,
            readings=self.readings,
            truth=replace(self.fleet.truth, faults=faults),
        )

    def _rows(self, kind: str, wanted: int, eligible: Any, draws: Draws) -> Whole:
        """Draw rows of the repairs that are eligible and bear no fault yet."""
        places = np.flatnonzero(np.asarray(eligible, dtype=bool) & self.clean)
        if len(places) < wanted:
            raise RcaError(f"{kind}: {wanted} rows wanted, only {len(places)} can bear this fault")
        rows = places[draws.sample(len(places), wanted)]
        self.clean[rows] = False
        return rows

    def _note(self, fault: str, table: str, row: int, column: str, was: Any, now: Any) -> None:
        unit = getattr(self, table)["unit"].iat[row]
        self.listed.append(
            {"fault": fault, "table": table, "row": int(row), "unit": unit, "column": column,
             "was": was, "now": now}
        )  # fmt: skip

    def _set(self, kind: str, rows: Whole, column: str, values: list[Any]) -> None:
        place = self.repairs.columns.get_loc(column)
        for row, value in zip(rows, values, strict=True):
            self._note(kind, "repairs", row, column, self.repairs.iat[row, place], value)
            self.repairs.iat[row, place] = value

    # Meters ---------------------------------------------------------------------------

    def _inner_readings(self, kind: str, wanted: int, draws: Draws) -> Whole:
        """Readings with two others of the same unit on either side, none beside another."""
        unit = self.readings["unit"].to_numpy()
        same = np.array([np.roll(unit, shift) == unit for shift in (-2, -1, 1, 2)]).all(axis=0)
        free = same & ~np.isin(unit, [one["unit"] for one in self.listed
                                      if one["table"] == "readings"])  # fmt: skip
        owners = pd.unique(unit[free])
        if len(owners) < wanted:
            raise RcaError(f"{kind}: {wanted} units wanted, only {len(owners)} have the readings")
        chosen = owners[draws.sample(len(owners), wanted)]
        pick = draws.uniform(wanted)
        places = [np.flatnonzero(free & (unit == owner)) for owner in chosen]
        return np.array(
            [one[int(share * len(one))] for one, share in zip(places, pick, strict=True)]
        )

    def _meters_run_back(self, wanted: int, draws: Draws) -> None:
        rows = self._inner_readings("meters_run_back", wanted, draws)
        meter = self.readings["meter"].to_numpy(dtype=float, copy=True)
        low = np.floor(meter[rows] * draws.uniform(wanted, 0.3, 0.7))
        for row, value in zip(rows, low, strict=True):
            self._note("meters_run_back", "readings", row, "meter", meter[row], value)
        meter[rows] = low
        self.readings["meter"] = meter

    def _meters_jump(self, wanted: int, draws: Draws) -> None:
        rows = self._inner_readings("meters_jump", wanted, draws)
        meter = self.readings["meter"].to_numpy(dtype=float, copy=True)
        for row in rows:
            self._note("meters_jump", "readings", row, "meter", meter[row], meter[row] * 10 + 7)
        meter[rows] = meter[rows] * 10 + 7
        self.readings["meter"] = meter

    def _odometers_replaced(self, wanted: int, draws: Draws) -> None:
        """From the day of a reading on, all meters of the unit are counted from that reading."""
        rows = self._inner_readings("odometers_replaced", wanted, draws)
        for row in rows:
            unit, start = self.readings["unit"].iat[row], self.readings["meter"].iat[row]
            for name in ("readings", "repairs"):
                table = getattr(self, name)
                later = table["unit"].eq(unit) & table["meter"].ge(start)
                table.loc[later, "meter"] -= start
            self._note("odometers_replaced", "readings", row, "meter", start, 0.0)

    # Repair rows ----------------------------------------------------------------------

    def _insert(self, rows: Whole, copies: pd.DataFrame) -> None:
        """Put a further row behind each of these rows; the places noted so far move along."""
        order = np.argsort(
            np.concatenate((np.arange(len(self.repairs)), rows + 0.5)), kind="stable"
        )
        moved = np.empty(len(order), dtype=np.int64)
        moved[order] = np.arange(len(order))
        joined = pd.concat([self.repairs, copies], ignore_index=True)
        self.repairs = joined.iloc[order].reset_index(drop=True)
        self.clean = np.append(self.clean, np.zeros(len(copies), dtype=bool))[order]
        for one in self.listed:
            if one["table"] == "repairs":
                one["row"] = int(moved[one["row"]])

    def _duplicates(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("duplicates", wanted, np.ones(len(self.repairs)), draws)
        self._insert(rows, self.repairs.iloc[rows])
        for row in rows + np.arange(1, wanted + 1):
            self._note("duplicates", "repairs", row, "", "", "stands twice")

    def _split_orders(self, wanted: int, draws: Draws) -> None:
        """Divide a repair into a row for the part and a row for the labour."""
        eligible = self.repairs["cost"].gt(50) & self.repairs["action"].eq("replaced")
        rows = self._rows("split_orders", wanted, eligible, draws)
        whole = self.repairs["cost"].to_numpy(dtype=float, copy=True)
        labour = np.round(whole[rows] * draws.uniform(wanted, 0.2, 0.4), 2)
        second = self.repairs.iloc[rows].assign(
            cost=labour, downtime_hours=np.nan, correction="labour", lot=""
        )
        was = whole[rows].copy()
        whole[rows] = np.round(whole[rows] - labour, 2)
        self.repairs["cost"] = whole
        self._insert(rows, second)
        for number, row in enumerate(rows + np.arange(1, wanted + 1)):
            self._note("split_orders", "repairs", row, "cost", was[number], labour[number])

    def _part_case(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("part_case", wanted, np.ones(len(self.repairs)), draws)
        self._set("part_case", rows, "part", [name.upper() for name in self._parts_at(rows)])

    def _part_spaces(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("part_spaces", wanted, self.repairs["part"].str.contains(" "), draws)
        names = [f" {name} ".replace(" ", "  ")[1:] for name in self._parts_at(rows)]
        self._set("part_spaces", rows, "part", names)

    def _part_words(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("part_words", wanted, self.repairs["part"].isin(self.plan.words), draws)
        picks = draws.uniform(wanted)
        names = [self.plan.words[name][int(share * len(self.plan.words[name]))]
                 for name, share in zip(self._parts_at(rows), picks, strict=True)]  # fmt: skip
        self._set("part_words", rows, "part", names)

    def _parts_at(self, rows: Whole) -> list[str]:
        return [str(name) for name in self.repairs["part"].iloc[rows]]

    def _blank_positions(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("blank_positions", wanted, self.repairs["position"].ne(""), draws)
        self._set("blank_positions", rows, "position", [""] * wanted)

    def _missing_costs(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("missing_costs", wanted, self.repairs["cost"].notna(), draws)
        self._set("missing_costs", rows, "cost", [np.nan] * wanted)

    def _zero_costs(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("zero_costs", wanted, self.repairs["cost"].notna(), draws)
        self._set("zero_costs", rows, "cost", [0.0] * wanted)

    def _missing_meters(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("missing_meters", wanted, self.repairs["meter"].notna(), draws)
        self._set("missing_meters", rows, "meter", [np.nan] * wanted)

    def _late_dates(self, wanted: int, draws: Draws) -> None:
        """Date a repair five years late, which is after the cut-off for all records watched."""
        last = pd.Timestamp(self.fleet.plan.cutoff) - pd.DateOffset(years=5)
        rows = self._rows("late_dates", wanted, self.repairs["date"].gt(last), draws)
        dates = [day + pd.DateOffset(years=5) for day in self.repairs["date"].iloc[rows]]
        self._set("late_dates", rows, "date", dates)

    def _impossible_dates(self, wanted: int, draws: Draws) -> None:
        rows = self._rows("impossible_dates", wanted, np.ones(len(self.repairs)), draws)
        years = self.repairs["date"].dt.year.iloc[rows]
        self.repairs["date"] = self.repairs["date"].dt.strftime("%Y-%m-%d").astype(object)
        never = ("02-30", "04-31", "13-05", "09-31")
        dates = [f"{year}-{never[place % 4]}" for place, year in enumerate(years)]
        self._set("impossible_dates", rows, "date", dates)
