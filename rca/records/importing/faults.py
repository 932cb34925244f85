"""Faults of an export: what was found, how often, what was done, and what it spoils."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from rca.records.columns import Rules
from rca.records.importing.distinct import Cells
from rca.records.importing.headings import Content
from rca.records.tables import CheckedTable

# Results that fleet.yaml blocks by these names until someone has looked at the fault.
MONEY, METER_LIVES = "money", "meter lives"


class Kind(StrEnum):
    """The kinds of faults that an import looks for."""

    DATE_FORM = "date form"
    COLUMN_ABSENT = "column absent"
    DUPLICATE = "exact duplicate"
    SAME_EVENT = "same event on several rows"
    TEXT_CUT = "text cut short"
    BLANK_WORDS = "blank written as a word"
    ENCODING = "encoding"
    DAMAGED_TEXT = "damaged characters"
    CATCH_ALL = "catch-all"
    PLANNED_MIXED = "planned work among failures"
    CLOSE_EVENTS = "events close together"
    SPELLINGS = "several spellings"
    LATE_ENTRY = "age at the first record unknown"
    CONTAINER = "unusual container"
    LEADING_ZEROS = "leading zeros"
    NOT_IN_ORDER = "rows not in date order"
    NUMBER_FORM = "number form"
    TOTALS = "totals do not add up"
    ZERO_COST = "zero cost on real work"
    PLACEHOLDER = "placeholder unit"
    MISNAMED = "column is not what its name says"
    OUTSIDE_CAUSE = "outside cause among failures"
    NEGATIVE_COST = "negative cost"
    DATE_RANGE = "date out of range"
    DATE_SEQUENCE = "dates out of sequence"
    BROKEN_ROW = "broken row"
    SHIFTED_ROW = "shifted row"
    CONTRADICTION = "text contradicts a column"
    HEAPED = "heaped dates"
    EMPTY_COLUMN = "empty column"
    CONSTANT_COLUMN = "constant column"
    DOUBLED_HEADING = "heading stands twice"
    PERSONAL_DATA = "personal data"
    TWO_CLASSES = "two classes in one unit"
    NOT_IN_LIST = "unit missing from the unit list"
    METER_BACKWARD = "meter runs backward"
    METER_JUNK = "impossible meter"
    MIXED_UNITS = "mixed units of measure"
    SEVERAL_VALUES = "several values in one cell"
    END_UNCLEAR = "end of watching unclear"
    NO_RUNNING_UNITS = "no running units"
    OPEN_ORDERS = "orders still open"
    SPREADSHEET_ERROR = "spreadsheet error"
    NO_REPAIR = "failure without a repair"
    CANCELLED = "cancelled or test order"
    BLANK_CELL = "needed cell blank"
    UNREADABLE = "unreadable cell"


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault in one place: how many of how many, examples, and what follows.

    `done` says by which rule it was mended, set aside or kept; `blocked` which results it
    spoils, "" where it spoils none.
    """

    kind: Kind
    count: int
    of: int
    what: str
    done: str
    blocked: str = ""
    column: str = ""
    examples: tuple[str, ...] = ()

    @property
    def blocks_in_fleet(self) -> bool:
        """Tell whether fleet.yaml has to block the result: the records alone do not show it."""
        told = self.kind in (Kind.TOTALS, Kind.SAME_EVENT, Kind.MIXED_UNITS)
        return told and self.blocked in (MONEY, METER_LIVES)

    @property
    def in_short(self) -> str:
        """Say what was found and what follows, without examples."""
        where = f" in {self.column!r}" if self.column else ""
        share = f"{self.count} of {self.of}" if self.of else str(self.count)
        text = f"{self.kind}{where}: {share} {self.what}; {self.done}"
        return text + (f"; blocked: {self.blocked}" if self.blocked else "")

    def __str__(self) -> str:
        return self.in_short + (
            f" (for example {'; '.join(self.examples[:3])})" if self.examples else ""
        )


@dataclass(frozen=True, slots=True, eq=False)
class Export:
    """What the search for faults looks at: raw cells, the rules found, and the checked rows.

    `columns` maps our names to the file's; `checked` is None while open questions keep the rows
    from being read.
    """

    cells: Cells
    table: str
    contents: Mapping[str, Content]
    columns: Mapping[str, str]
    rules: Rules
    checked: CheckedTable | None
    today: date

    @property
    def rows(self) -> int:
        """Rows read, broken ones included."""
        return self.cells.raw.rows_read

    def column(self, ours: str) -> pd.Series | None:
        """Return a checked column by our name, None where there is none."""
        if self.checked is None or ours not in self.checked.frame.columns:
            return None
        return self.checked.frame[ours]

    def checked_text(self, name: str) -> pa.Array:
        """Return a column of the file (by its own name) as text, for the checked rows only."""
        assert self.checked is not None
        text = self.cells.text(name)
        if len(text) == len(self.checked.lines):
            return text
        rows = np.searchsorted(self.cells.raw.lines, self.checked.lines)
        return text.take(pa.array(rows))

    def text_columns(self) -> list[str]:
        """Return the file's columns that hold running text."""
        return [
            name
            for name, content in self.contents.items()
            if content.words >= 2 and content.length >= 10 and content.distinct > 0.1
            and content.dates < 0.8
        ]  # fmt: skip


def raw_examples(
    cells: Cells, name: str, mask: NDArray[np.bool_], most: int = 3
) -> tuple[str, ...]:
    """Show some cells of a raw column with their lines."""
    series = cells.series(name)
    return tuple(
        f"line {cells.line(row)}: {str(series.iloc[row])[:60]!r}"
        for row in np.flatnonzero(mask)[:most]
    )


def row_examples(
    checked: CheckedTable, mask: NDArray[np.bool_], columns: Sequence[str], most: int = 3
) -> tuple[str, ...]:
    """Show some checked rows, by line, with the columns that matter."""
    shown = []
    for row in np.flatnonzero(mask)[:most]:
        cells = [_shown(checked.frame[name].iloc[row]) for name in columns if name in checked.frame]
        shown.append(f"line {int(checked.lines[row])}: {', '.join(cells)}")
    return tuple(shown)


def _shown(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)[:50]
