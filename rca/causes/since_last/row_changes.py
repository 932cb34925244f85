"""Rows of two runs compared: which came, came late, were corrected or withdrawn since the last."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rca.causes.counts.totals import known_costs
from rca.records.fleet import Fleet

CONTENT: Final = (
    "table", "unit", "date", "part", "position", "action", "reason", "mode", "cause_addressed",
    "cost", "downtime_hours", "meter", "lot", "order", "closed", "reading",
)  # fmt: skip
"""What makes a row the same as in the last run; free text moves no figure."""
FLAGS: Final = ("failure", "came_back")
_SAME_ROW = (
    ["table", "unit", "date", "part", "position", "order"],
    ["table", "unit", "part", "order"],
    ["table", "unit", "date", "part"],
)  # pairs a corrected row with what it was, the closest pairing first
NEW, LATE, CORRECTED, WITHDRAWN = "new", "late", "corrected", "withdrawn"


def known_rows(fleet: Fleet, events: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that the figures of this run rest on, to be kept for the next run.

    Columns `CONTENT` as text or numbers, line (in its file), failure (the row counts as one) and
    came_back (a repeat followed). Repairs, fixes and units; of fixes `part` is the fix, of units
    `date` and `closed` are in_service and retired.
    """
    repairs = fleet.repairs
    failure, came_back = np.zeros(len(repairs), dtype=bool), np.zeros(len(repairs), dtype=bool)
    failure[events["row"]] = True
    came_back[events.loc[events["repeat"], "row"]] = True
    tables = [
        _with_content(
            repairs.assign(cost=known_costs(fleet), line=fleet.lines["repairs"]), "repairs"
        ).assign(failure=failure, came_back=came_back)
    ]
    if fleet.fixes is not None:
        fixes = fleet.fixes.drop(columns=["part", "mode"], errors="ignore")
        fixes = fixes.rename(columns={"fix": "part"}).assign(line=fleet.lines["fixes"])
        tables.append(_with_content(fixes, "fixes").assign(**dict.fromkeys(FLAGS, False)))
    if fleet.units is not None:
        units = fleet.units[["unit", "in_service", "retired"]].rename(
            columns={"in_service": "date", "retired": "closed"}
        )
        content = _with_content(units.assign(line=fleet.lines["units"]), "units")
        tables.append(content.assign(**dict.fromkeys(FLAGS, False)))
    return pd.concat(tables, ignore_index=True)


def _with_content(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    made: dict[str, object] = {"table": table}
    for name in CONTENT[1:]:
        if name not in frame.columns:
            made[name] = np.nan if name in ("cost", "downtime_hours", "meter", "reading") else ""
        elif pd.api.types.is_datetime64_any_dtype(frame[name].dtype):
            made[name] = frame[name].dt.strftime("%Y-%m-%d").fillna("").astype(object)
        elif pd.api.types.is_numeric_dtype(frame[name].dtype):
            made[name] = frame[name].to_numpy(float)
        else:
            made[name] = frame[name].astype(str).to_numpy(dtype=object)
    lines = frame["line"].to_numpy(np.int64)
    return pd.DataFrame({**made, "line": lines}, index=pd.RangeIndex(len(frame)))


@dataclass(frozen=True, slots=True, eq=False)
class RowChanges:
    """Rows that differ between two runs.

    `rows` has how (new, late, corrected, withdrawn), table, line (0 where withdrawn), unit, date,
    part, position, order, reason, mode, what (of a corrected row: which cells), and for failure,
    cost and downtime_hours what the row adds now less what it added then. New rows are dated
    after the last run's cut-off, late ones before.
    """

    rows: pd.DataFrame

    def of(self, *, part: str = "", table: str = "repairs") -> pd.DataFrame:
        """Return the changed rows of one table, and of one part (of fixes: one fix)."""
        rows = self.rows[self.rows["table"] == table]
        return rows[rows["part"].str.casefold() == part.casefold()] if part else rows

    def __str__(self) -> str:
        return counted(self.rows) or "no row changed"


def counted(rows: pd.DataFrame) -> str:
    """Say how many rows changed and how: "12 new rows, 1 late"."""
    counts = rows["how"].value_counts()
    said = [f"{counts[how]} {how}" for how in (NEW, LATE, CORRECTED, WITHDRAWN) if how in counts]
    if not said:
        return ""
    first, *rest = said
    many = "row" if first.startswith("1 ") else "rows"
    return ", ".join([f"{first} {many}", *rest])


def compare_rows(then: pd.DataFrame, now: pd.DataFrame, *, cutoff: str) -> RowChanges:
    """Compare the rows of the last run, whose cut-off was `cutoff` (YYYY-MM-DD), with today's."""
    added, gone = _unmatched(then, now)
    pairs = []
    for keys in _SAME_ROW:
        pair, added, gone = _paired(added, gone, keys)
        pairs.append(pair)
    late = added["date"].le(cutoff) & added["table"].ne("units")
    parts = [
        _told(added.assign(how=np.where(late, LATE, NEW)), sign=1.0),
        _told(gone.assign(how=WITHDRAWN, line=0), sign=-1.0),
        *(_corrected(pair) for pair in pairs),
    ]
    filled = [one for one in parts if len(one)]
    rows = pd.concat(filled, ignore_index=True) if filled else parts[0]
    return RowChanges(rows.sort_values(["table", "part", "date", "unit", "line"], kind="stable"))


def _numbered_keys(frame: pd.DataFrame, columns: Sequence[str]) -> pd.Series:
    """Return a hash of some columns, equal rows told apart by their number among themselves."""
    text = frame[list(columns)].astype(str)
    key = pd.Series(pd.util.hash_pandas_object(text, index=False).to_numpy(), index=frame.index)
    number = key.groupby(key).cumcount()
    return key + number.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)


def _unmatched(then: pd.DataFrame, now: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    before, after = (_numbered_keys(frame, CONTENT) for frame in (then, now))
    return now[~after.isin(before)], then[~before.isin(after)]


def _paired(
    added: pd.DataFrame, gone: pd.DataFrame, keys: list[str]
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Pair rows that are gone with rows that came, by some of their cells."""
    if added.empty or gone.empty:
        return added.iloc[:0].merge(gone.iloc[:0], how="cross"), added, gone
    one, other = (frame.assign(pair=_numbered_keys(frame, keys)) for frame in (added, gone))
    pair = one.merge(other, on="pair", suffixes=("", "_then"))
    return (
        pair,
        added[~one["pair"].isin(pair["pair"])],
        gone[~other["pair"].isin(pair["pair"])],
    )


_TOLD = (
    "how", "table", "line", "unit", "date", "part", "position", "order", "reason", "mode", "what",
    "failure", "cost", "downtime_hours",
)  # fmt: skip


def _told(rows: pd.DataFrame, *, sign: float) -> pd.DataFrame:
    rows = rows.assign(
        what="",
        failure=sign * rows["failure"].astype(float),
        cost=sign * rows["cost"].fillna(0.0),
        downtime_hours=sign * rows["downtime_hours"].fillna(0.0),
    )
    return rows[list(_TOLD)]


def _corrected(pair: pd.DataFrame) -> pd.DataFrame:
    if pair.empty:
        return pd.DataFrame(columns=list(_TOLD))
    cells = [name for name in CONTENT if name != "table"]
    differs = {
        name: pair[name].astype(str).to_numpy() != pair[f"{name}_then"].astype(str).to_numpy()
        for name in cells
    }
    what = [
        "; ".join(
            f"{name} was {pair[f'{name}_then'].iloc[row]}, is {pair[name].iloc[row]}"
            for name in cells
            if differs[name][row]
        )
        for row in range(len(pair))
    ]
    moved = {
        name: pair[name].fillna(0.0).astype(float) - pair[f"{name}_then"].fillna(0.0).astype(float)
        for name in ("failure", "cost", "downtime_hours")
    }
    return pair.assign(how=CORRECTED, what=what, **moved)[list(_TOLD)]
