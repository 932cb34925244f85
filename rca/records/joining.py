"""Several files of one table become one: each read by its own rules, every row with its file."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from rca.records.cells import merged_names
from rca.records.columns import table_of
from rca.records.set_aside import no_set_aside
from rca.records.tables import CheckedTable

BLANK_DAY = np.datetime64("NaT", "s")


def joined_tables(entries: Mapping[str, CheckedTable]) -> dict[str, CheckedTable]:
    """Join the files of each table; `entries` are named as in fleet.yaml (`repairs 2`)."""
    files_of: dict[str, list[CheckedTable]] = {}
    for entry, checked in entries.items():
        files_of.setdefault(table_of(entry), []).append(checked)
    return {table: joined(found) for table, found in files_of.items()}


def joined(tables: Sequence[CheckedTable]) -> CheckedTable:
    """Append the rows of several files of one table.

    A column that only some files have is blank in the rows of the others; names that differ in
    case or blanks only are one name across all files. Where a file does not say when orders were
    closed, all its orders count as closed on the day of the repair.
    """
    if len(tables) == 1:
        return tables[0]
    first = tables[0]
    names = list(dict.fromkeys(name for one in tables for name in one.frame.columns))
    notes = [note for one in tables for note in one.notes]
    frames = [_with_closed(one, names, notes) for one in tables]
    aside = [one.set_aside for one in tables if len(one.set_aside)]
    return CheckedTable(
        table=first.table,
        file=" + ".join(one.file for one in tables),
        frame=pd.DataFrame({name: _column(name, frames) for name in names}),
        lines=np.concatenate([one.lines for one in tables]),
        rows_read=sum(one.rows_read for one in tables),
        set_aside=pd.concat(aside, ignore_index=True) if aside else no_set_aside(),
        unused=_unused(tables, names),
        notes=tuple(notes),
        blocked=tuple(block for one in tables for block in one.blocked),
        row_files=np.concatenate([one.files for one in tables]),
    )


def _unused(tables: Sequence[CheckedTable], names: Sequence[str]) -> pd.DataFrame:
    """Append the cells of the rows that were set aside."""
    parts = [one.unused.astype(object) for one in tables if len(one.unused)]
    found = pd.concat(parts, ignore_index=True) if parts else tables[0].unused
    return found.reindex(columns=list(names))


def _with_closed(table: CheckedTable, names: Iterable[str], notes: list[str]) -> pd.DataFrame:
    if table.table != "repairs" or "closed" not in names or "closed" in table.frame.columns:
        return table.frame
    notes.append(f"{table.file} does not say when orders were closed: all are taken as closed")
    return table.frame.assign(closed=table.frame["date"])


def _column(name: str, frames: Sequence[pd.DataFrame]) -> Any:
    """Append one column of all files; where all have names, as names spelled alike."""
    there = [frame[name] for frame in frames if name in frame.columns]
    if all(isinstance(one.dtype, pd.CategoricalDtype) for one in there):
        return _names(name, frames)
    blank = _blank_of(there[0])
    parts = [
        frame[name] if name in frame.columns else pd.Series(blank, index=frame.index)
        for frame in frames
    ]
    if len({str(one.dtype) for one in there}) > 1:
        parts = [part.astype(object) for part in parts]
    return np.concatenate([part.to_numpy() for part in parts])


def _blank_of(column: pd.Series) -> Any:
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        return BLANK_DAY
    return np.nan if pd.api.types.is_numeric_dtype(column.dtype) else ""


def _names(name: str, frames: Sequence[pd.DataFrame]) -> pd.Categorical:
    texts: list[str] = []
    codes = []
    for frame in frames:
        start = len(texts)
        if name in frame.columns:
            texts += map(str, frame[name].cat.categories)
            codes.append(frame[name].cat.codes.to_numpy().astype(np.int64) + start)
        else:
            texts.append("")
            codes.append(np.full(len(frame), start, dtype=np.int64))
    code = np.concatenate(codes)
    spelled = merged_names(texts, np.bincount(code, minlength=len(texts)))
    categories = list(dict.fromkeys(spelled))
    place = {text: number for number, text in enumerate(categories)}
    into = np.array([place[text] for text in spelled], dtype=np.int64)
    return pd.Categorical.from_codes(into[code], categories=categories)
