"""One group of a fleet's units, such as a depot, read as a fleet of its own."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from rca.errors import Problem, Refused
from rca.records.cells import cell_text
from rca.records.columns import TABLES
from rca.records.schema import did_you_mean
from rca.records.settings import Settings
from rca.records.tables import CheckedTable
from rca.records.watching import records_span

NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True)
class Group:
    """The units whose attribute (a column of the units table) has one value, "" blank."""

    attribute: str
    value: str

    def __str__(self) -> str:
        return f"{self.attribute} {self.value or NOT_STATED}"


def group_values(checked: Mapping[str, CheckedTable], attribute: str) -> list[str]:
    """Return the values of an attribute of the units, in order, "" (blank) last.

    Raises
    ------
    Refused
        There is no units table, or no such column in it.
    """
    texts = {cell_text(one) for one in _attribute(checked, attribute).unique()}
    return sorted(texts - {""}) + ([""] if "" in texts else [])


def only_group(
    settings: Settings,
    checked: Mapping[str, CheckedTable],
    group: Group,
    *,
    known_to: date | None = None,
) -> tuple[Settings, dict[str, CheckedTable]]:
    """Keep the rows of the units of one group; the span of the records stays the whole fleet's.

    Rows that were set aside before their unit was known belong to no group; they are counted on
    the page of every group, so that rows read are still rows used and rows set aside.
    """
    first, last = records_span(checked["repairs"].frame, settings, until=None, known_to=known_to)
    values = _attribute(checked, group.attribute).map(cell_text)
    units = checked["units"].frame["unit"].astype(str)[(values == group.value).to_numpy()]
    chosen = frozenset(name.casefold() for name in units)
    tables = {
        name: _only(table, chosen) if "unit" in table.frame.columns else table
        for name, table in checked.items()
    }
    settings = replace(
        settings,
        name=f"{settings.name}, {group}",
        records_begin=first,
        cutoff=settings.cutoff or last,
    )
    return settings, tables


def _attribute(checked: Mapping[str, CheckedTable], attribute: str) -> pd.Series:
    if "units" not in checked:
        rule = "needs a units table with such a column"
        raise Refused([Problem("--each", 0, "", attribute, rule, "add one to fleet.yaml")])
    frame = checked["units"].frame
    own = {column.name for column in TABLES["units"]}
    known = [str(name) for name in frame.columns if name not in own]
    if attribute not in known:
        rule, step = "is no attribute of the units", did_you_mean(attribute, known)
        raise Refused([Problem("--each", 0, "", attribute, rule, step)])
    return frame[attribute]


def _only(table: CheckedTable, units: frozenset[str]) -> CheckedTable:
    names = table.frame["unit"]
    folded = pd.Series(names.astype(str).to_numpy(dtype=object)).str.casefold()
    keep = folded.isin(units).to_numpy()
    frame = table.frame[keep]
    if isinstance(names.dtype, pd.CategoricalDtype):
        frame = frame.assign(unit=frame["unit"].cat.remove_unused_categories())
    lines, files, aside = table.lines[keep], table.files[keep], table.set_aside
    rows = aside["scope"].eq("row")
    kept = pd.MultiIndex.from_arrays([files, lines])
    theirs = pd.MultiIndex.from_arrays([aside["file"], aside["line"]]).isin(kept)
    return replace(
        table,
        frame=frame.set_axis(pd.RangeIndex(len(frame)), axis=0),
        lines=lines,
        rows_read=len(lines) + int(rows.sum()),
        set_aside=aside[rows | theirs].reset_index(drop=True),
        row_files=files,
    )
