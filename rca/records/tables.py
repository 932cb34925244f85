"""The tables: raw cells in, typed columns and a list of what was set aside out.

A cell that breaks a rule either sets its whole row aside (scope "row") or becomes unknown, which
spoils only the results named by its scope ("meter", "cost", ...). Nothing is dropped in silence.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records.column_reader import ColumnReader
from rca.records.columns import TABLES, Column, Rules
from rca.records.files import RawTable
from rca.records.schema import did_you_mean, nearest
from rca.records.set_aside import SET_ASIDE_COLUMNS, no_set_aside, refuse_if_none_is_left


@dataclass(frozen=True, slots=True, eq=False)
class CheckedTable:
    """A table whose cells have been read.

    `frame` holds the rows not set aside as a whole, `lines` their lines in the file; `unused` the
    cells of the rows that were; `blocked` the results that a misread column would make wrong.
    """

    table: str
    file: str
    frame: pd.DataFrame
    lines: NDArray[np.int64]
    rows_read: int
    set_aside: pd.DataFrame
    unused: pd.DataFrame
    notes: tuple[str, ...] = ()
    blocked: tuple[tuple[str, str], ...] = ()
    row_files: NDArray[np.object_] | None = None

    @property
    def files(self) -> NDArray[np.object_]:
        """Name of the file of each row; None in `row_files` stands for one file."""
        if self.row_files is not None:
            return self.row_files
        return np.full(len(self.lines), self.file, dtype=object)


def check_table(raw: RawTable, table: str, *, rules: Rules, timezone: str = "UTC") -> CheckedTable:
    """Read every cell of `raw` by the columns and rules of `table`.

    Raises
    ------
    Refused
        A required column is missing or stands there twice, a stated column is not there, the date
        order cannot be decided, or so many cells are unreadable that the table must have been
        misread.
    """
    reader = ColumnReader(raw, table, rules, timezone)
    names = _match_columns(raw, table, rules, reader.notes)
    known = {column.name: column for column in TABLES[table]}
    reader.set_aside_stated(names)
    cells: dict[str, Any] = {}
    for ours, theirs in names.items():
        column = known.get(ours, Column(ours, "name" if table == "units" else "free"))
        cells[ours] = reader.read(column, theirs)
    cells |= _stated_for_all(known, names, rules, len(raw.frame))
    reader.refuse_if_misread()
    keep = ~reader.bad_rows
    frame = pd.DataFrame(cells, index=pd.RangeIndex(len(raw.frame)))
    unused = frame.iloc[:0]
    if not keep.all():
        frame, unused = frame[keep], frame[~keep]
    frame.index = pd.RangeIndex(len(frame))
    broken = pd.DataFrame(
        [
            (table, raw.name, p.line, "", p.value, p.rule, p.next_step, "row")
            for p in raw.broken
        ],
        columns=list(SET_ASIDE_COLUMNS),
    )  # fmt: skip
    parts = [part for part in (broken, *reader.set_aside) if len(part)]
    listed = pd.concat(parts, ignore_index=True) if parts else no_set_aside()
    refuse_if_none_is_left(len(frame), listed, table=table)
    return CheckedTable(
        table, raw.name, frame, raw.lines[keep], raw.rows_read, listed, unused,
        tuple(reader.notes), tuple(reader.blocked),
    )  # fmt: skip


def _match_columns(raw: RawTable, table: str, rules: Rules, notes: list[str]) -> dict[str, Any]:
    """Find for each of our columns the file's column; further columns keep their own names."""
    there = {str(name): name for name in raw.frame.columns}
    problems, matched = _stated_columns(raw, table, rules, list(there))
    for column in TABLES[table]:
        if column.name in rules.columns:
            continue
        alike = [name for name in there if _key(name) == column.name]
        if len(alike) > 1:
            problems.append(_doubled_column(raw, column.name, alike))
        elif alike:
            matched[column.name] = alike[0]
        elif column.required:
            problems.append(_missing_column(raw, table, column.name, list(there)))
    if problems:
        raise Refused(problems)
    taken = set(matched.values())
    known = [column.name for column in TABLES[table]]
    further = [name for name in there if name not in taken and name not in known]
    named = [name for name in further if not name.startswith("Unnamed:")]
    _note_further_columns(raw, table, named, [name for name in known if name not in matched], notes)
    unnamed = [name for name in further if name not in named and _any_cell(raw.frame[there[name]])]
    if unnamed:
        notes.append(
            f"{raw.name}: {len(unnamed)} columns without a name in the header are not read"
        )
    return {
        ours: there[theirs] for ours, theirs in [*matched.items(), *zip(named, named, strict=True)]
    }


def _stated_columns(
    raw: RawTable, table: str, rules: Rules, there: Sequence[str]
) -> tuple[list[Problem], dict[str, str]]:
    """Look up the columns that fleet.yaml names."""
    problems: list[Problem] = []
    matched: dict[str, str] = {}
    required = {column.name for column in TABLES[table] if column.required}
    plainly = {" ".join(name.split()): name for name in there}
    for ours, theirs in rules.columns.items():
        if theirs in there or " ".join(theirs.split()) in plainly:
            matched[ours] = theirs if theirs in there else plainly[" ".join(theirs.split())]
        elif theirs or ours in required:  # "" says that the file has no such column
            rule = f"fleet.yaml reads {ours!r} from a column that is not in the header"
            problems.append(Problem(raw.name, 1, "", theirs, rule, did_you_mean(theirs, there)))
    known = [column.name for column in TABLES[table]]
    for ours in rules.values:
        if ours not in known and ours not in matched and ours not in there:
            rule = f"values names a column that {raw.name} does not have"
            step = did_you_mean(ours, dict.fromkeys([*there, *known]))
            problems.append(Problem("fleet.yaml", 0, f"tables.{table}.values", ours, rule, step))
    return problems, matched


def _any_cell(cells: pd.Series) -> bool:
    return bool((cells.notna() & cells.astype(str).str.strip().ne("")).any())


def _note_further_columns(
    raw: RawTable, table: str, further: Sequence[str], absent: Sequence[str], notes: list[str]
) -> None:
    """Say which further columns look like one of ours that was not found."""
    for name in further:
        if close := nearest(_key(name), absent, likeness=0.75):
            notes.append(
                f"{raw.name}: there is no column {close!r}; if {name!r} is it, set columns: "
                f"{{{close}: {' '.join(name.split())}}} for {table}"
            )


def _doubled_column(raw: RawTable, name: str, alike: Sequence[str]) -> Problem:
    listed = " and ".join(map(repr, alike))
    rule = f"{len(alike)} columns can be {name!r}: {listed}"
    step = f"say which, columns: {{{name}: {alike[0]}}}; or rename one of them in the file"
    return Problem(raw.name, 1, name, "", rule, step)


def _stated_for_all(
    known: Mapping[str, Column], names: Mapping[str, str], rules: Rules, size: int
) -> dict[str, pd.Categorical]:
    """Make the columns that the file lacks and for which `values: {column: {"": word}}` is set."""
    stated = {ours: words.get("", "") for ours, words in rules.values.items()}
    constant = {
        ours: word
        for ours, word in stated.items()
        if word and ours in known and ours not in names and known[ours].kind in ("name", "word")
    }
    for ours, word in constant.items():
        words = known[ours].words
        if words and word not in words:
            rule, step = "is not an allowed word", did_you_mean(word, words)
            raise Refused([Problem("fleet.yaml", 0, f"values.{ours}", word, rule, step)])
    codes = np.zeros(size, dtype=np.int8)
    return {
        ours: pd.Categorical.from_codes(codes, categories=[word]) for ours, word in constant.items()
    }


def _missing_column(raw: RawTable, table: str, name: str, there: list[str]) -> Problem:
    close = nearest(name, there)
    only = there[0] if len(there) == 1 else ""
    mark = next((mark for mark in ";\t|" if mark in only), "")
    if mark:
        shown = '"\\t"' if mark == "\t" else f'"{mark}"'
        step = f"the header looks split by {shown}: set delimiter: {shown} for this table"
    elif close:
        step = f"is it {close!r}? Then set columns: {{{name}: {close}}} for {table} in fleet.yaml"
    else:
        step = f"say which column it is, columns: {{{name}: ...}}; there are: {', '.join(there)}"
    return Problem(raw.name, 1, name, "", f"the table {table} needs a column {name!r}", step[:300])


def _key(name: str) -> str:
    """Fold a header: case, blanks, and the number that tells a repeated name (`unit.1`)."""
    return re.sub(r"[\s_\-]+", "_", re.sub(r"\.\d+$", "", name.strip())).casefold()
