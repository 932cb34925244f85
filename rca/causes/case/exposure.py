"""Who carries a part, how long they were watched, and which failures count."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import NoAnswer
from rca.records.conditions import rows_where
from rca.records.fleet import Fleet

Days = NDArray[np.int64]
DAYS_PER_YEAR = 365.25


def carrying_units(fleet: Fleet, part: str) -> set[str]:
    """Units that carry a part, by the parts table; without one, all units that were watched."""
    units = set(fleet.watch["unit"].astype(str))
    if fleet.places is None:
        return units
    here = same_text(fleet.places["part"], part)
    return units & set(fleet.places.loc[here, "unit"].astype(str))


def units_where(fleet: Fleet, condition: str) -> set[str]:
    """Units whose row in the units table meets a condition."""
    if fleet.units is None:
        raise NoAnswer("there is no units table", next_step="add one, with the column named")
    return set(fleet.units.loc[rows_where(fleet.units, condition), "unit"].astype(str))


def watched_spans(fleet: Fleet) -> pd.DataFrame:
    """Columns unit, begin, end: each unit was watched on the days (begin, end]."""
    begin = day_number(fleet.watch["watched_from"]) - 1
    end = day_number(fleet.watch["watched_to"])
    units = fleet.watch["unit"].astype(str).to_numpy()
    return pd.DataFrame({"unit": units, "begin": begin, "end": end})


def repairs_of(fleet: Fleet, part: str, *, mode: str = "", reason: str = "failure") -> pd.DataFrame:
    """Columns unit, day, position of each repair of a part; same unit, position, day is one.

    `mode` "" takes all modes.

    Raises
    ------
    NoAnswer
        No row of the whole table is marked as a failure: the reason is not recorded.
    """
    repairs = fleet.repairs
    reasons = repairs["reason"].astype(str)
    if not reasons.eq("failure").any():
        step = "say in fleet.yaml how rows are to be read"
        raise NoAnswer("no repair row is marked as a failure", next_step=step)
    rows = repairs[reasons.eq(reason) & same_text(repairs["part"], part)]
    if mode:
        rows = rows[same_text(rows["mode"], mode)]
    rows = rows.drop_duplicates(["unit", "position", "date"])
    units, positions = (rows[name].astype(str).to_numpy() for name in ("unit", "position"))
    return pd.DataFrame({"unit": units, "day": day_number(rows["date"]), "position": positions})


def within_spans(spans: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Events (unit, day, ...) that fall into a span of their unit; each once."""
    numbered = events.assign(number=np.arange(len(events)))
    both = numbered.merge(spans[["unit", "begin", "end"]], on="unit")
    kept = both[(both["day"] > both["begin"]) & (both["day"] <= both["end"])]
    return kept.drop_duplicates("number")[list(events.columns)].reset_index(drop=True)


def folded(column: pd.Series) -> pd.Series:
    """Text without outer spaces and case."""
    return column.astype(str).str.strip().str.casefold()


def same_text(column: pd.Series, text: str) -> "pd.Series[bool]":
    """Whether each cell is `text`, outer spaces and case aside."""
    return folded(column) == text.strip().casefold()


def day_number(dates: pd.Series) -> Days:
    """Whole days since 1970-01-01."""
    numbers: Days = dates.to_numpy().astype("datetime64[D]").astype(np.int64)
    return numbers
