"""A fleet folder and its meaning: the checked tables, who was watched and when, what is missing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from rca.errors import Problem, RcaError, Refused
from rca.records import files
from rca.records.columns import TABLES
from rca.records.conditions import rows_where
from rca.records.schema import nearest
from rca.records.set_aside import no_set_aside, set_aside_rows
from rca.records.settings import FLEET_FILE, Settings, read_settings
from rca.records.tables import CheckedTable, check_table


@dataclass(frozen=True, slots=True)
class RowAccount:
    """Rows of one table: read = used + set aside."""

    table: str
    read: int
    set_aside: int

    @property
    def used(self) -> int:
        """Rows that serve at least one result."""
        return self.read - self.set_aside


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """Checked records up to a day: the one thing that every later room starts from.

    `repairs`, `units`, `parts`, `readings`, `fixes` are data frames (None where the fleet has no
    such table); `watch` has one row a unit with `watched_from` and `watched_to`, both inclusive;
    `places` says which unit carries which part at which position (None without a parts table).
    """

    settings: Settings
    cutoff: date
    repairs: pd.DataFrame
    units: pd.DataFrame | None
    parts: pd.DataFrame | None
    readings: pd.DataFrame | None
    fixes: pd.DataFrame | None
    watch: pd.DataFrame
    places: pd.DataFrame | None
    accounts: tuple[RowAccount, ...]
    set_aside: pd.DataFrame
    notes: tuple[str, ...]
    blocked: tuple[tuple[str, str], ...]
    investigations: Mapping[str, Any]

    @property
    def name(self) -> str:
        """Name of the fleet as the page shows it."""
        return self.settings.name

    def account(self, table: str) -> RowAccount:
        """Return the row account of one table."""
        return next(one for one in self.accounts if one.table == table)

    def is_blocked(self, result: str) -> str:
        """Return why a result is blocked, "" where it is not."""
        return next((why for name, why in self.blocked if name == result), "")

    def __str__(self) -> str:
        rows = self.account("repairs")
        return (
            f"{self.name}: {rows.read} repair rows read, {rows.used} used, "
            f"{rows.set_aside} set aside; {len(self.watch)} units; cut-off {self.cutoff}"
        )


def read_fleet(folder: Path | str, *, until: date | None = None) -> Fleet:
    """Read and check a fleet folder, with its records up to `until` or its cut-off.

    Raises
    ------
    Refused
        Something makes every result wrong or impossible; all such problems are listed at once.
    """
    folder = Path(folder)
    settings = read_settings(folder)
    checked = _read_tables(settings)
    return assemble(settings, checked, until=until, investigations=_read_investigations(folder))


def _read_tables(settings: Settings) -> dict[str, CheckedTable]:
    """Read every table; collect the problems of all before refusing."""
    checked: dict[str, CheckedTable] = {}
    problems: list[Problem] = []
    for table, source in settings.sources.items():
        try:
            raw = files.read_table(source)
            checked[table] = check_table(
                raw, table, rules=settings.rules[table], timezone=settings.timezone
            )
        except Refused as error:
            problems += error.problems
    if not problems and checked["repairs"].rows_read == 0:
        name = settings.sources["repairs"].name
        problems.append(Problem(name, 1, "", "", "the table has a header but no rows"))
    if problems:
        raise Refused(problems)
    return checked


def _read_investigations(folder: Path) -> dict[str, Any]:
    """Read the investigation files of the folder as they stand, in order of name."""
    place = folder / "investigations"
    if not place.is_dir():
        return {}
    found = sorted([*place.glob("*.yaml"), *place.glob("*.yml")])
    return {path.name: files.read_yaml(path) for path in found}


def assemble(
    settings: Settings,
    checked: Mapping[str, CheckedTable],
    *,
    until: date | None = None,
    investigations: Mapping[str, Any] | None = None,
) -> Fleet:
    """Make a fleet of checked tables: align names, find who was watched, set rows aside."""
    notes = [note for table in checked.values() for note in table.notes]
    aside = [table.set_aside for table in checked.values()]
    lines = {name: table.lines for name, table in checked.items()}
    frames = {name: table.frame for name, table in checked.items()}

    def drop(table: str, mask: np.ndarray, column: str, values: Any, rule: Any, step: str) -> None:
        if mask.any():
            aside.append(
                set_aside_rows(
                    mask,
                    table=table,
                    file=checked[table].file,
                    lines=lines[table],
                    column=column,
                    values=values,
                    rule=rule,
                    next_step=step,
                )
            )
            frames[table] = frames[table][~mask].reset_index(drop=True)
            lines[table] = lines[table][~mask]

    repairs = _with_all_columns(frames["repairs"])
    frames["repairs"] = repairs
    first, last = _records_span(repairs, settings)
    cutoff = min(last, until) if until else last
    for table, key in (("units", "unit"), ("parts", "part")):
        if table in frames:
            again = frames[table][key].duplicated().to_numpy()
            drop(table, again, key, frames[table][key],
                 "stands in the table a second time", "keep one row")  # fmt: skip
    units = _finished_units(frames.get("units"))
    watch = _watch(units, frames["repairs"], settings, first, cutoff)
    places = None
    if "parts" in frames:
        carrying = watch[["unit"]] if units is None else units
        file = checked["parts"].file
        places = _places(carrying, frames["parts"], file=file, lines=lines["parts"])
    for table in ("repairs", "readings", "fixes"):
        if table in frames:
            _drop_unwatched(table, frames, units, watch, cutoff, drop)
    repairs = frames["repairs"]
    doubled = _duplicated(repairs)
    drop("repairs", doubled, "", "", "repeats an earlier row in every column",
         "delete it, or give the rows different orders if both happened")  # fmt: skip
    repairs = _aligned(frames["repairs"], "part", frames.get("parts"), "part", notes)
    accounts = tuple(
        RowAccount(
            name,
            checked[name].rows_read,
            sum(int((one["scope"].eq("row") & one["table"].eq(name)).sum()) for one in aside),
        )
        for name in checked
    )
    fleet = Fleet(
        settings=settings,
        cutoff=cutoff,
        repairs=repairs,
        units=units,
        parts=frames.get("parts"),
        readings=frames.get("readings"),
        fixes=frames.get("fixes"),
        watch=watch,
        places=places,
        accounts=accounts,
        set_aside=pd.concat([a for a in aside if len(a)], ignore_index=True)
        if any(len(a) for a in aside)
        else no_set_aside(),
        notes=tuple(notes),
        blocked=(),
        investigations=dict(investigations or {}),
    )
    return replace(fleet, blocked=tuple(_blocked(fleet, checked)), notes=(*notes, *_gaps(fleet)))


def _duplicated(repairs: pd.DataFrame) -> np.ndarray:
    """Tell which rows repeat an earlier one in every column; few distinct values come first."""
    first = ["unit", "date", "part"]
    alike = repairs.duplicated(first, keep=False).to_numpy()
    doubled = np.zeros(len(repairs), dtype=bool)
    doubled[alike] = repairs[alike].duplicated().to_numpy()
    return doubled


def _with_all_columns(repairs: pd.DataFrame) -> pd.DataFrame:
    """Give repairs every column of the design, blank where the file has none."""
    blank: dict[str, Any] = {}
    for column in TABLES["repairs"]:
        if column.name not in repairs.columns and column.name not in ("order_cost", "closed"):
            blank[column.name] = {
                "number": np.nan,
                "date": np.datetime64("NaT", "s"),
            }.get(column.kind, "")
            if column.kind in ("name", "word"):
                blank[column.name] = pd.Categorical.from_codes(
                    np.zeros(len(repairs), dtype=np.int8), categories=[""]
                )
    return repairs.assign(**blank)


def _records_span(repairs: pd.DataFrame, settings: Settings) -> tuple[date, date]:
    """First and last day of the records, from fleet.yaml or else from the repairs."""
    days = repairs["date"]
    first = settings.records_begin or days.min().date()
    last = settings.cutoff or days.max().date()
    if first > last:
        rule = f"records_begin {first} lies after the cut-off {last}"
        raise Refused([Problem(FLEET_FILE, 0, "records_begin", str(first), rule)])
    return first, last


def _finished_units(units: pd.DataFrame | None) -> pd.DataFrame | None:
    if units is None:
        return None
    blank = {
        name: np.datetime64("NaT", "s")
        for name in ("in_service", "retired")
        if name not in units.columns
    }
    return units.assign(**blank)


def _watch(
    units: pd.DataFrame | None,
    repairs: pd.DataFrame,
    settings: Settings,
    first: date,
    cutoff: date,
) -> pd.DataFrame:
    """Span in which each unit's repairs would be in the table."""
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


def _drop_unwatched(
    table: str,
    frames: dict[str, pd.DataFrame],
    units: pd.DataFrame | None,
    watch: pd.DataFrame,
    cutoff: date,
    drop: Any,
) -> None:
    """Set aside rows of unknown units, and rows outside the span in which the unit was watched."""
    frame = frames[table]
    if units is not None:
        names = frame["unit"]
        known = {str(name).casefold(): str(name) for name in units["unit"]}
        mapped = [known.get(name.casefold(), "") for name in names.cat.categories]
        lost = [name for name in names.cat.categories if name.casefold() not in known]
        close = [nearest(name, known.values()) for name in lost[:50]]
        hints = [f"the nearest is {one!r}" for one in close[:3] if one]
        step = "add the unit to the units table" + (f" ({'; '.join(hints)})" if hints else "")
        frames[table] = frame.assign(unit=_renamed(names, mapped))
        strange = _cells(names, np.array([not to for to in mapped]))
        drop(table, strange, "unit", names, "is not in the units table", step)
        frame = frames[table]
    after = frame["date"].to_numpy() > np.datetime64(cutoff)
    drop(table, after, "date", frame["date"], f"lies after the cut-off {cutoff}",
         "none needed: it counts once the cut-off is later")  # fmt: skip
    if table != "repairs":
        return
    frame = frames[table]
    spans = watch.set_index("unit").reindex(frame["unit"].cat.categories)
    code = frame["unit"].cat.codes.to_numpy()
    start, stop = (spans[name].to_numpy()[code] for name in ("watched_from", "watched_to"))
    day = frame["date"].to_numpy()
    early = (day < start) | np.isnat(start)
    drop(table, early, "date", frame["date"],
         "lies before the unit's records begin or before it entered service",
         "check records_begin, and in_service of the unit")  # fmt: skip
    late = (day > stop)[~early]
    drop(table, late, "date", frames[table]["date"], "lies after the unit was retired",
         "check retired of the unit")  # fmt: skip


def _cells(column: pd.Series, by_category: np.ndarray) -> np.ndarray:
    """Spread an answer given for each category over the cells; False for missing cells."""
    return np.append(by_category, False)[column.cat.codes.to_numpy()]


def _renamed(column: pd.Series, names: list[str]) -> pd.Categorical:
    """Give the categories of a column new names, of which several may be equal."""
    distinct = list(dict.fromkeys(names))
    place = {name: number for number, name in enumerate(distinct)}
    code = np.array([place[name] for name in names] + [-1], dtype=np.int32)
    return pd.Categorical.from_codes(code[column.cat.codes.to_numpy()], categories=distinct)


def _aligned(
    frame: pd.DataFrame, column: str, reference: pd.DataFrame | None, key: str, notes: list[str]
) -> pd.DataFrame:
    """Spell the names of a column as the reference table does; tell of names not in it."""
    if reference is None:
        return frame
    known = {str(name).casefold(): str(name) for name in reference[key]}
    current = frame[column].cat.categories
    spelled = [known.get(name.casefold(), name) for name in current]
    strange = [name for name in current if name and name.casefold() not in known]
    counts = frame[column].value_counts()
    for name in sorted((n for n in strange if counts.get(n, 0)), key=lambda n: -counts[n])[:20]:
        close = nearest(name, known.values())
        hint = f"; if it is {close!r}, map it under values: {{{column}: ...}}" if close else ""
        notes.append(f"{column} {name!r} ({counts[name]} rows) is not in the {key}s table{hint}")
    return frame.assign(**{column: _renamed(frame[column], spelled)})


def _blocked(fleet: Fleet, checked: Mapping[str, CheckedTable]) -> list[tuple[str, str]]:
    """Results that these tables cannot give, or would give wrongly."""
    blocked = list(fleet.settings.blocked.items())
    if "reason" not in checked["repairs"].frame.columns and not fleet.settings.reason_stated:
        why = "no reason column: fleet.yaml must say how rows are to be read (values: reason)"
        blocked.append(("lives", why))
    costs = fleet.repairs["cost"]
    if costs.notna().sum() == 0:
        blocked.append(("money", "the repairs table has no costs"))
    elif why := _costs_do_not_add_up(fleet.repairs):
        blocked.append(("money", why))
    if fleet.readings is None and fleet.repairs["meter"].notna().sum() < 2:
        blocked.append(("meter lives", "no meter readings, in a table of their own or at repairs"))
    for name in ("readings", "repairs"):
        frame = fleet.readings if name == "readings" else fleet.repairs
        if frame is not None and "meter_unit" in frame.columns:
            found = set(frame["meter_unit"].astype(str).str.strip()) - {
                "",
                fleet.settings.meter_unit,
            }
            if found:
                why = f"{name} has meters in {', '.join(sorted(found))}, fleet.yaml says "
                blocked.append(("meter lives", why + fleet.settings.meter_unit))
    return blocked


def _costs_do_not_add_up(repairs: pd.DataFrame) -> str:
    """Compare the rows' costs with the orders' totals where the table states both."""
    if "order_cost" not in repairs.columns or not repairs["order"].ne("").any():
        return ""
    stated = repairs[repairs["order"].ne("") & repairs["order_cost"].notna()]
    orders = stated.groupby("order").agg(rows=("cost", "sum"), total=("order_cost", "first"))
    wrong = orders[(orders["rows"] - orders["total"]).abs() > 0.01 * orders["total"].abs() + 0.01]
    if len(wrong) <= 0.01 * len(orders):
        return ""
    return (
        f"costs do not add up: in {len(wrong)} of {len(orders)} orders the rows differ from the "
        f"order's total, first in order {wrong.index[0]}"
    )


def _gaps(fleet: Fleet) -> list[str]:
    """Say what the absent tables cost."""
    gaps = []
    if fleet.units is None:
        gaps.append(
            "no units table: retirements and survivors without repairs are unknown; "
            "rates by unit and rates of the fleet are left out"
        )
    if fleet.parts is None:
        gaps.append(
            "no parts table: only lives that begin at a recorded renewal are used, since which "
            "units carry which part is unknown"
        )
    if fleet.fixes is None:
        gaps.append("no fixes table: no verdict on fixes")
    blank = fleet.repairs["position"].eq("")
    placed = fleet.repairs.loc[~blank, "part"].unique()
    count = int((blank & fleet.repairs["part"].isin(placed)).sum())
    if count:
        gaps.append(
            f"{count} repair rows of parts with positions state none: no life can be told from them"
            if fleet.parts is not None
            else f"{count} repair rows state no position: blank counts as a position of its own"
        )
    return gaps


def _places(
    units: pd.DataFrame, parts: pd.DataFrame, *, file: str, lines: np.ndarray
) -> pd.DataFrame:
    """Lay out which unit carries which part at which position."""
    names = units["unit"].astype(str)
    rows: list[pd.DataFrame] = []
    problems: list[Problem] = []
    for line, part in zip(lines, parts.to_dict("records"), strict=True):
        condition = str(part.get("fitted_to") or "all")
        try:
            carrying = names[rows_where(units, condition)]
        except RcaError as error:
            fault = Problem(
                file, int(line), "fitted_to", condition, error.message, error.next_step
            )  # fmt: skip
            problems.append(fault)
            continue
        positions = [" ".join(p.split()) for p in str(part.get("positions") or "").split(";")]
        for position in positions:
            slot = {"unit": carrying, "part": str(part["part"]), "position": position}
            rows.append(pd.DataFrame(slot))
    if problems:
        raise Refused(problems)
    nothing = pd.DataFrame({"unit": [], "part": [], "position": []}, dtype=object)
    return pd.concat(rows, ignore_index=True) if rows else nothing


def last_complete_month(fleet_cutoff: date, *, now: date) -> str:
    """Return the last month that had ended by `now`, as YYYY-MM, not later than the cut-off's."""
    year, month = (now.year, now.month - 1) if now.month > 1 else (now.year - 1, 12)
    return min(f"{year:04d}-{month:02d}", f"{fleet_cutoff:%Y-%m}")


def today(timezone: str) -> date:
    """Return today's date in a time zone."""
    return datetime.now(ZoneInfo(timezone)).date()


def safety_critical_parts(fleet: Fleet) -> frozenset[str]:
    """Return the parts that the parts table flags as safety-critical."""
    if fleet.parts is None or "safety_critical" not in fleet.parts.columns:
        return frozenset()
    flagged = fleet.parts["safety_critical"].astype(str).eq("yes")
    return frozenset(fleet.parts.loc[flagged, "part"].astype(str))
