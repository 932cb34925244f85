"""In which order a column writes day, month and year; told apart from what cannot be decided."""

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.cells import CLEARLY_BEST, DATE_ORDERS, parse_days
from rca.records.column_reader import MOST_UNREADABLE

_FORMS = (
    ("YYYY-MM-DD", r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}"),
    ("YYYYMMDD", r"(?:19|20)\d{6}"),
    ("number/number/YYYY", r"\d{1,2}[-/.]\d{1,2}[-/.]\d{4}"),
    ("number/number/YY", r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}"),
    ("day month name year", r"\d{1,2}[- ][A-Za-z]{3,9}[- ]\d{2,4}"),
    ("month name day year", r"[A-Za-z]{3,9} \d{1,2},? \d{4}"),
    ("month name and year", r"[A-Za-z]{3,9}[-/ ]\d{2,4}"),
    ("month and year", r"\d{1,2}[-/.]\d{4}|\d{4}[-/.]\d{1,2}"),
    ("spreadsheet day number", r"[1-6]\d{4}(?:\.\d+)?"),
)
_CLOCK = r"(?:[T ]\d{1,2}:\d{2}.*)?"
_KNOWN = tuple((name, re.compile(form + _CLOCK)) for name, form in _FORMS)
WITHOUT_DAY = ("month name and year", "month and year")
NO_DATES = (*WITHOUT_DAY, "spreadsheet day number")
ENOUGH = 0.99


@dataclass(frozen=True, slots=True)
class DateReading:
    """How the dates of one column are written; all counts are cells.

    `orders` lists the orders that read nearly all cells (or far more than any other order), the
    best first; two or more differ in meaning, so that they cannot be decided. `forms` counts the
    ways of writing.
    """

    cells: int
    forms: Counter[str]
    unread: dict[str, int]  # by order
    orders: tuple[str, ...]
    only: int  # cells that the first order alone reads
    either: int  # cells that another order would read as another day
    examples: tuple[str, ...]
    in_sequence: dict[str, float]  # share of rows not before the row above, by order

    @property
    def share(self) -> float:
        """Share of the filled cells that the best order reads."""
        best = min(self.unread.values(), default=self.cells)
        return 1 - best / self.cells if self.cells else 0.0

    @property
    def decided(self) -> str:
        """Return the only order that reads the column, "" where there is none or another."""
        return self.orders[0] if len(self.orders) == 1 else ""


def form_of(text: str) -> str:
    """Name the way in which a date is written, "" where it looks like none."""
    return next((name for name, known in _KNOWN if known.fullmatch(text)), "")


def read_date_order(
    texts: list[str], codes: NDArray[np.int32], *, timezone: str = "UTC"
) -> DateReading:
    """Try every order on the distinct texts of a column.

    Parameters
    ----------
    texts
        Distinct cells, "" for a blank one.
    codes
        For each row its place in `texts`, -1 for a missing cell.
    """
    counts = np.bincount(codes[codes >= 0], minlength=len(texts))
    filled = np.array([bool(text) for text in texts], dtype=bool)
    cells = int(counts[filled].sum())
    series = pd.Series(texts, dtype=object)
    days = {order: parse_days(series, order, timezone) for order in DATE_ORDERS}
    unread = {o: int(counts[filled & np.isnat(d)].sum()) for o, d in days.items()}
    ranked = sorted(DATE_ORDERS, key=lambda order: unread[order])
    good = [o for o in ranked if cells and unread[o] <= (1 - ENOUGH) * cells]
    rest = [o for o in good[1:] if _differ(days[good[0]], days[o])]
    best = ranked[0]
    clear = all(unread[o] > unread[best] + CLEARLY_BEST * cells for o in ranked[1:])
    if not good and clear and unread[best] <= MOST_UNREADABLE * cells:
        good = [best]
    orders = (good[0], *rest) if good else ()
    others = [days[o] for o in ranked[1:]]
    read = ~np.isnat(days[best])
    alone = read & np.all([np.isnat(other) for other in others], axis=0)
    either = read & np.any([~np.isnat(o) & (o != days[best]) for o in others], axis=0)
    shown = [texts[p] for p in np.flatnonzero(either if rest else filled)[:4]]
    forms: Counter[str] = Counter()
    for text, count in zip(texts, counts, strict=True):
        if text:
            forms[form_of(text) or "no date"] += int(count)
    return DateReading(
        cells, forms, unread, orders,
        int(counts[alone].sum()), int(counts[either].sum()), tuple(shown),
        {order: _in_sequence(days[order], codes) for order in orders},
    )  # fmt: skip


def _differ(one: NDArray[np.datetime64], other: NDArray[np.datetime64]) -> bool:
    both = ~np.isnat(one) & ~np.isnat(other)
    return bool((one[both] != other[both]).any())


def _in_sequence(days: NDArray[np.datetime64], codes: NDArray[np.int32]) -> float:
    """Return the share of rows whose day is not before (or, if more, not after) the row above."""
    row = days[codes[codes >= 0]]
    row = row[~np.isnat(row)]
    if len(row) < 3:
        return 0.0
    step = np.diff(row).astype(np.int64)
    return float(max((step >= 0).mean(), (step <= 0).mean()))
