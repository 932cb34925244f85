"""Who was watched, and when: rows that lie outside are set aside, names are spelled alike."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, RcaError, Refused
from rca.records.conditions import rows_where
from rca.records.schema import nearest
from rca.records.set_aside import no_set_aside, set_aside_rows
from rca.records.settings import FLEET_FILE, Settings
from rca.records.tables import CheckedTable

NO_DAY = np.datetime64("NaT", "s")
MOST_HINTS = 20  # unknown units for which the nearest known one is looked up


class Kept:
    """The rows of each table that are still in use, their lines, and what was set aside."""

    def __init__(self, checked: Mapping[str, CheckedTable]) -> None:
        self.checked = checked
        self.frames = {name: table.frame for name, table in checked.items()}
        self.lines = {name: table.lines for name, table in checked.items()}
        self.files = {name: table.files for name, table in checked.items()}
        self.aside = [table.set_aside for table in checked.values()]

    def drop(
        self,
        table: str,
        mask: NDArray[np.bool_],
        column: str,
        values: Any,
        rule: str | NDArray[Any],
        step: str | NDArray[Any],
    ) -> None:
        """Set aside the rows of one table where `mask` is true."""
        if not mask.any():
            return
        lines, file = self.lines[table], self.files[table]
        self.aside.append(
            set_aside_rows(
                mask, table=table, file=file, lines=lines, column=column, values=values,
                rule=rule, next_step=step,
            )
        )  # fmt: skip
        self.frames[table] = self.frames[table][~mask].reset_index(drop=True)
        self.lines[table], self.files[table] = lines[~mask], file[~mask]

    def any_after(self, cutoff: date) -> bool:
        """Tell whether the repairs reach beyond the cut-off."""
        return bool((self.checked["repairs"].frame["date"] > pd.Timestamp(cutoff)).any())

    def listed(self) -> pd.DataFrame:
        """Return all rows and cells set aside so far."""
        filled = [one for one in self.aside if len(one)]
        return pd.concat(filled, ignore_index=True) if filled else no_set_aside()


def records_span(
    repairs: pd.DataFrame, settings: Settings, *, until: date | None, known_to: date | None
) -> tuple[date, date]:
    """Return the first day of the records and the last one that counts.

    Both from fleet.yaml, or else from the repairs; nothing counts after `until`, the last day
    asked for, or after `known_to`, today.
    """
    days = repairs["date"]
    if known_to is not None:
        days = days[days <= pd.Timestamp(known_to)]
    if days.empty and not (settings.records_begin and settings.cutoff):
        rule = "all repairs lie in the future, and records_begin and cutoff are not stated"
        raise Refused([Problem(FLEET_FILE, 0, "", "", rule, "correct the dates of the repairs")])
    first = settings.records_begin or days.min().date()
    last = min(day for day in (settings.cutoff or days.max().date(), until, known_to) if day)
    if first > last:
        rule = f"lies after {last}, the last day that counts"
        step = "ask for a later month, or correct records_begin or cutoff"
        raise Refused([Problem(FLEET_FILE, 0, "records_begin", str(first), rule, step)])
    return first, last


def drop_repeated_names(kept: Kept) -> None:
    """Set aside the rows of units and parts that stand in their table before."""
    for table, key in (("units", "unit"), ("parts", "part")):
        if table in kept.frames:
            names = kept.frames[table][key]
            kept.drop(table, names.duplicated().to_numpy(), key, names,
                      "stands in the table before, and the first row counts",
                      "keep one row of it")  # fmt: skip


def drop_impossible_units(kept: Kept) -> None:
    """Complete the dates of units; set aside those that were retired before they began."""
    if "units" not in kept.frames:
        return
    units = kept.frames["units"]
    absent = [name for name in ("in_service", "retired") if name not in units.columns]
    kept.frames["units"] = units = units.assign(**dict.fromkeys(absent, NO_DAY))
    early = (units["retired"] < units["in_service"]).to_numpy()
    kept.drop("units", early, "retired", units["retired"], "lies before in_service of the unit",
              "correct one of the two")  # fmt: skip


def watch_units(
    units: pd.DataFrame | None, repairs: pd.DataFrame, first: date, cutoff: date
) -> pd.DataFrame:
    """Return the span in which each unit's repairs would be in the table."""
    begin, end = np.datetime64(first, "s"), np.datetime64(cutoff, "s")
    if units is None:
        names = sorted(repairs["unit"].unique().astype(str))
        return pd.DataFrame({"unit": names, "watched_from": begin, "watched_to": end})
    own = units["records_begin"].fillna(begin) if "records_begin" in units.columns else begin
    start = np.maximum(units["in_service"].fillna(begin), own)
    stop = np.minimum(units["retired"].fillna(end), end)
    watch = pd.DataFrame(
        {"unit": units["unit"].astype(str), "watched_from": start, "watched_to": stop}
    )
    return watch[watch["watched_from"] <= watch["watched_to"]].reset_index(drop=True)


def drop_unwatched(
    kept: Kept, watch: pd.DataFrame, cutoff: date, *, future_from: date | None
) -> None:
    """Set aside rows of unknown units, and rows outside the span in which the unit was watched.

    `future_from` is today where no cut-off is stated: dates after it are told to be wrong.
    """
    home = "units" if "units" in kept.frames else "repairs"
    for table in ("repairs", "readings", "fixes"):
        if table not in kept.frames:
            continue
        if table != home:
            _drop_unknown_units(kept, table, home)
        days = kept.frames[table]["date"]
        if future_from is not None:
            future = days.to_numpy() > np.datetime64(future_from)
            kept.drop(table, future, "date", days, "lies in the future", "correct the date")
        days = kept.frames[table]["date"]
        after = days.to_numpy() > np.datetime64(cutoff)
        kept.drop(table, after, "date", days, f"lies after the cut-off {cutoff}",
                  "none needed: it counts once the cut-off is later")  # fmt: skip
    _drop_repairs_outside(kept, watch)


def _drop_unknown_units(kept: Kept, table: str, home: str) -> None:
    """Spell units as the table `home` does; set aside the rows of units that are not in it."""
    column = kept.frames[table]["unit"]
    names = column.cat.categories
    known = {str(name).casefold(): str(name) for name in kept.frames[home]["unit"].unique()}
    lost = np.array([name.casefold() not in known for name in names], dtype=bool)
    said = f"is not in the {home} table, or its row there was set aside"
    steps = _steps_for(list(names[lost]), list(known.values()), home)
    step = np.array([steps.get(name, "") for name in names] + [""], dtype=object)
    mapped = [known.get(name.casefold(), "") for name in names]
    kept.frames[table] = kept.frames[table].assign(unit=renamed(column, mapped))
    codes = column.cat.codes.to_numpy()
    kept.drop(table, np.append(lost, False)[codes], "unit", column, said, step[codes])


def _steps_for(lost: list[str], known: list[str], home: str) -> dict[str, str]:
    """Say of each unknown unit what to do, with the nearest known one for the first few."""
    add = f"add the unit to the {home} table"
    close = {name: nearest(name, known) for name in lost[:MOST_HINTS]}
    return {name: f"is it {close[name]!r}? Else {add}" if close.get(name) else add for name in lost}


def _drop_repairs_outside(kept: Kept, watch: pd.DataFrame) -> None:
    repairs = kept.frames["repairs"]
    spans = watch.set_index("unit").reindex(repairs["unit"].cat.categories)
    code = repairs["unit"].cat.codes.to_numpy()
    start, stop = (spans[name].to_numpy()[code] for name in ("watched_from", "watched_to"))
    day = repairs["date"].to_numpy()
    early = (day < start) | np.isnat(start)
    kept.drop("repairs", early, "date", repairs["date"],
              "lies before the unit's records begin or before it entered service",
              "check records_begin, and in_service of the unit")  # fmt: skip
    late = (day > stop)[~early]
    kept.drop("repairs", late, "date", kept.frames["repairs"]["date"],
              "lies after the unit was retired", "check retired of the unit")  # fmt: skip


def drop_doubled_repairs(kept: Kept) -> None:
    """Set aside rows that repeat an earlier one in every column; few distinct values come first."""
    repairs = kept.frames["repairs"]
    alike = repairs.duplicated(["unit", "date", "part"], keep=False).to_numpy()
    doubled = np.zeros(len(repairs), dtype=bool)
    doubled[alike] = repairs[alike].duplicated().to_numpy()
    kept.drop("repairs", doubled, "", "", "repeats an earlier row in every column",
              "delete it, or give the rows different orders if both happened")  # fmt: skip


def align_parts(kept: Kept) -> list[str]:
    """Spell the parts of repairs as the parts table does; return notes on those not in it."""
    if "parts" not in kept.frames:
        return []
    repairs = kept.frames["repairs"]
    column = repairs["part"]
    known = {str(name).casefold(): str(name) for name in kept.frames["parts"]["part"]}
    names = column.cat.categories
    kept.frames["repairs"] = repairs.assign(
        part=renamed(column, [known.get(name.casefold(), name) for name in names])
    )
    counts = column.value_counts()
    strange = [name for name in names if name.casefold() not in known and counts.get(name, 0)]
    notes = []
    for name in sorted(strange, key=lambda name: (-counts[name], name))[:MOST_HINTS]:
        close = nearest(name, known.values())
        hint = f"; if it is {close!r}, set values: {{part: {{{name}: {close}}}}}" if close else ""
        notes.append(f"part {name!r} ({counts[name]} rows) is not in the parts table{hint}")
    return notes


def renamed(column: pd.Series, names: list[str]) -> pd.Categorical:
    """Give the categories of a column new names, of which several may be equal."""
    distinct = list(dict.fromkeys(names))
    place = {name: number for number, name in enumerate(distinct)}
    code = np.array([place[name] for name in names] + [-1], dtype=np.int32)
    return pd.Categorical.from_codes(code[column.cat.codes.to_numpy()], categories=distinct)


def places_of(kept: Kept, watch: pd.DataFrame) -> pd.DataFrame | None:
    """Lay out which unit carries which part at which position; None without a parts table.

    Raises
    ------
    Refused
        A condition of the parts table cannot be read.
    """
    if "parts" not in kept.frames:
        return None
    units = kept.frames.get("units", watch[["unit"]])
    names = units["unit"].astype(str)
    rows: list[pd.DataFrame] = []
    problems: list[Problem] = []
    parts = kept.frames["parts"].to_dict("records")
    where = zip(kept.files["parts"], kept.lines["parts"], strict=True)
    for (file, line), part in zip(where, parts, strict=True):
        condition = str(part.get("fitted_to") or "all")
        try:
            carrying = names[rows_where(units, condition)]
        except RcaError as error:
            problems.append(
                Problem(file, int(line), "fitted_to", condition, error.message, error.next_step)
            )
            continue
        for position in str(part.get("positions") or "").split(";"):
            spot = {"unit": carrying, "part": str(part["part"])}
            rows.append(pd.DataFrame({**spot, "position": " ".join(position.split())}))
    if problems:
        raise Refused(problems)
    nothing = pd.DataFrame({"unit": [], "part": [], "position": []}, dtype=object)
    return pd.concat(rows, ignore_index=True) if rows else nothing
