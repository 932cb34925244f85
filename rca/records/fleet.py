"""A fleet folder and its meaning: the checked tables, who was watched and when, what is missing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.columns import TABLES, table_of
from rca.records.gaps import MONEY, blocked_results, gaps
from rca.records.groups import Group, only_group
from rca.records.joining import joined_tables
from rca.records.people import with_pseudonyms
from rca.records.set_aside import refuse_if_none_is_left
from rca.records.settings import Settings, read_settings
from rca.records.tables import CheckedTable, check_table
from rca.records.watching import (
    Kept,
    align_parts,
    drop_doubled_repairs,
    drop_impossible_units,
    drop_repeated_names,
    drop_unwatched,
    places_of,
    records_span,
    watch_units,
)


@dataclass(frozen=True, slots=True)
class RowAccount:
    """Rows of one table: read = used + set aside."""

    table: str
    read: int
    set_aside: int
    file: str = ""

    @property
    def used(self) -> int:
        """Rows that serve at least one result."""
        return self.read - self.set_aside


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """Checked records up to a day: the one thing that every later room starts from.

    `repairs`, `units`, `parts`, `readings`, `fixes` are data frames (None where the fleet has no
    such table); `watch` has one row a unit with `watched_from` and `watched_to`, both inclusive;
    `places` says which unit carries which part at which position (None without a parts table);
    `lines` gives for each row of a table its line in the file, `files` the name of that file.
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
    lines: Mapping[str, NDArray[np.int64]]
    files: Mapping[str, NDArray[np.object_]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Name of the fleet as the page shows it."""
        return self.settings.name

    def account(self, table: str) -> RowAccount:
        """Return the row account of one table."""
        return next(one for one in self.accounts if one.table == table)

    def lines_of(self, table: str) -> NDArray[Any]:
        """Return where each row of a table stands: its line, with its file where it has several."""
        lines, names = self.lines[table], self.files.get(table)
        if names is None or not (names[:-1] != names[1:]).any():
            return lines
        return np.array([f"{n}, line {k}" for n, k in zip(names, lines, strict=True)], dtype=object)

    def is_blocked(self, result: str) -> str:
        """Return why a result is blocked, "" where it is not."""
        return next((why for name, why in self.blocked if name == result), "")

    def __str__(self) -> str:
        rows = self.account("repairs")
        return (
            f"{self.name}: {rows.read} repair rows read, {rows.used} used, "
            f"{rows.set_aside} set aside; {len(self.watch)} units; cut-off {self.cutoff}"
        )


def read_fleet(
    folder: Path | str, *, until: date | None = None, group: Group | None = None
) -> Fleet:
    """Read and check a fleet folder, with its records up to `until` or its cut-off.

    Parameters
    ----------
    group
        Read only the units of this group, as a fleet of its own.

    Raises
    ------
    Refused
        Something makes every result wrong or impossible; all such problems are listed at once.
    """
    return Source.of(folder, group=group).fleet(until=until)


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A fleet folder as read once, from which fleets up to several days can be made."""

    settings: Settings
    checked: Mapping[str, CheckedTable]
    investigations: Mapping[str, Any]
    known_to: date

    @classmethod
    def of(cls, folder: Path | str, *, group: Group | None = None) -> "Source":
        """Read and check the tables of a folder, of one group of units or of all."""
        folder = Path(folder)
        settings = read_settings(folder)
        checked = read_tables(settings)
        known_to = today(settings.timezone)
        if group is not None:
            settings, checked = only_group(settings, checked, group, known_to=known_to)
        return cls(settings, checked, _read_investigations(folder), known_to)

    def fleet(self, *, until: date | None = None) -> Fleet:
        """Make the fleet with its records up to `until` or its cut-off."""
        return assemble(
            self.settings,
            self.checked,
            until=until,
            known_to=self.known_to,
            investigations=self.investigations,
        )


def read_tables(settings: Settings) -> dict[str, CheckedTable]:
    """Read every table, names of people replaced; collect the problems of all before refusing."""
    checked: dict[str, CheckedTable] = {}
    problems: list[Problem] = []
    for entry, source in settings.sources.items():
        try:
            raw = files.read_table(source)
            checked[entry] = check_table(
                raw, table_of(entry), rules=settings.rules[entry], timezone=settings.timezone
            )
        except Refused as error:
            problems += error.problems
    checked = joined_tables(checked)
    if not problems and checked["repairs"].rows_read == 0:
        name = settings.sources["repairs"].name
        problems.append(Problem(name, 1, "", "", "the table has a header but no rows"))
    if problems:
        raise Refused(problems)
    people = settings.people
    return with_pseudonyms(checked, columns=people.columns, salt_env=people.salt_env)


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
    known_to: date | None = None,
    investigations: Mapping[str, Any] | None = None,
) -> Fleet:
    """Make a fleet of checked tables: align names, find who was watched, set rows aside.

    Parameters
    ----------
    until
        Last day asked for.
    known_to
        Last day of which anything can be known, mostly today; None sets no limit.
    """
    notes = [note for table in checked.values() for note in table.notes]
    kept = Kept(checked)
    kept.frames["repairs"] = _with_all_columns(kept.frames["repairs"], notes)
    first, cutoff = records_span(kept.frames["repairs"], settings, until=until, known_to=known_to)
    drop_repeated_names(kept)
    drop_impossible_units(kept)
    watch = watch_units(kept.frames.get("units"), kept.frames["repairs"], first, cutoff)
    if watch.empty:
        raise Refused([_nobody_watched(checked["units"].file, first, cutoff)])
    places = places_of(kept, watch)
    drop_unwatched(kept, watch, cutoff, future_from=None if settings.cutoff else known_to)
    drop_doubled_repairs(kept)
    if not kept.any_after(cutoff):  # an early month may well have no repairs yet
        left = len(kept.frames["repairs"])
        refuse_if_none_is_left(left, kept.listed(), table="repairs")
    notes += align_parts(kept)
    notes += gaps(kept.frames, watch)
    if known_to and settings.cutoff and settings.cutoff > known_to:
        notes.append(f"the cut-off {settings.cutoff} lies in the future: read up to {known_to}")
    blocked = blocked_results(kept.frames, checked, settings)
    if any(result == MONEY for result, _ in blocked):
        unknown = [name for name in ("cost", "order_cost") if name in kept.frames["repairs"]]
        kept.frames["repairs"] = kept.frames["repairs"].assign(**dict.fromkeys(unknown, np.nan))
    listed = kept.listed()
    return Fleet(
        settings=settings,
        cutoff=cutoff,
        repairs=kept.frames["repairs"],
        units=kept.frames.get("units"),
        parts=kept.frames.get("parts"),
        readings=kept.frames.get("readings"),
        fixes=kept.frames.get("fixes"),
        watch=watch,
        places=places,
        accounts=_accounts(checked, listed),
        set_aside=listed,
        notes=tuple(notes),
        blocked=tuple(blocked),
        investigations=dict(investigations or {}),
        lines=kept.lines,
        files=kept.files,
    )


def _nobody_watched(file: str, first: date, cutoff: date) -> Problem:
    rule = f"no unit was in service at any time from {first} to {cutoff}"
    return Problem(file, 0, "in_service", "", rule, "check in_service, retired and records_begin")


def _accounts(checked: Mapping[str, CheckedTable], listed: pd.DataFrame) -> tuple[RowAccount, ...]:
    """Count for each table the rows read and those set aside as a whole."""
    rows = listed.loc[listed["scope"] == "row", "table"].value_counts()
    return tuple(
        RowAccount(name, table.rows_read, int(rows.get(name, 0)), table.file)
        for name, table in checked.items()
    )


def _with_all_columns(repairs: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Give repairs every column of the design, blank where the file has none.

    `order_cost` and `closed` mean something by being there at all, so a `closed` column without
    one date is left out: else every order would count as open.
    """
    if "closed" in repairs.columns and repairs["closed"].isna().all():
        notes.append("no row states when its order was closed: all orders are taken as closed")
        repairs = repairs.drop(columns="closed")
    blank: dict[str, Any] = {}
    for column in TABLES["repairs"]:
        if column.name in repairs.columns or column.name in ("order_cost", "closed"):
            continue
        blank[column.name] = {"number": np.nan, "date": np.datetime64("NaT", "s")}.get(
            column.kind, ""
        )
        if column.kind in ("name", "word"):
            codes = np.zeros(len(repairs), dtype=np.int8)
            blank[column.name] = pd.Categorical.from_codes(codes, categories=[""])
    return repairs.assign(**blank)


def today(timezone: str) -> date:
    """Return today's date in a time zone."""
    return datetime.now(ZoneInfo(timezone)).date()


def safety_critical_parts(fleet: Fleet) -> frozenset[str]:
    """Return the parts that the parts table flags as safety-critical."""
    if fleet.parts is None or "safety_critical" not in fleet.parts.columns:
        return frozenset()
    flagged = fleet.parts["safety_critical"].astype(str).eq("yes")
    return frozenset(fleet.parts.loc[flagged, "part"].astype(str))
