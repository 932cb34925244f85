"""Faults that show between rows: duplicates, close events, impossible or heaped dates, costs."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.importing.faults import MONEY, Export, Fault, Kind, row_examples
from rca.records.tables import CheckedTable

DAY = np.timedelta64(1, "D")
CLOSE_DAYS = 3
FIRST_BELIEVABLE = np.datetime64("1950-01-01", "D")
GRIDS = (30, 28, 21, 15, 14, 10, 7, 5)  # days between services; the longest that fits is told
_SHOWN = ("unit", "date", "part", "position")

Flags = NDArray[np.bool_]


def row_faults(export: Export) -> Iterator[Fault]:
    """Look for all faults of this kind; needs checked rows."""
    checked = export.checked
    if checked is None or checked.frame.empty:
        return
    yield from _set_aside(checked)
    if "date" not in checked.frame.columns:
        return
    yield from _duplicates(checked)
    yield from _close_events(checked)
    yield from _order_of_rows(checked)
    yield from _date_range(checked, np.datetime64(export.today, "D"))
    yield from _date_sequence(checked)
    yield from _heaped_dates(checked)
    yield from _costs(export, checked)


def _set_aside(checked: CheckedTable) -> Iterator[Fault]:
    """Tell of cells that the reader could not use, by column and rule."""
    listed = checked.set_aside
    listed = listed[listed["next_step"].ne("set_aside in fleet.yaml") & listed["column"].ne("")]
    for (column, rule, scope), rows in listed.groupby(["column", "rule", "scope"], sort=False):
        kind = Kind.BLANK_CELL if rule == "must not be blank" else Kind.UNREADABLE
        done = "rows set aside" if scope == "row" else f"cells not used for {scope}"
        shown = tuple(f"line {r.line}: {r.value!r}" for r in rows.head(3).itertuples())
        yield Fault(kind, len(rows), checked.rows_read, f"cells: {rule}", done,
                    column=str(column), examples=shown)  # fmt: skip


def day_of(frame: pd.DataFrame, name: str = "date") -> NDArray[np.datetime64]:
    """Return a date column as days."""
    return frame[name].to_numpy().astype("datetime64[D]")


def _keys(frame: pd.DataFrame, columns: tuple[str, ...]) -> NDArray[np.int64]:
    """Number the distinct combinations of some name columns, row by row."""
    key = np.zeros(len(frame), dtype=np.int64)
    for name in columns:
        if name in frame.columns:
            column = frame[name]
            key = key * (len(column.cat.categories) + 1) + column.cat.codes.to_numpy() + 1
    return key


def _duplicates(checked: CheckedTable) -> Iterator[Fault]:
    """Tell rows that are the same in every column from several rows of one event."""
    frame = checked.frame
    if "part" not in frame:
        return
    event = pd.DataFrame(
        {"key": _keys(frame, ("unit", "part", "position")), "day": day_of(frame).astype(np.int64)}
    )
    alike = event.duplicated(keep=False).to_numpy()
    exact = np.zeros(len(frame), dtype=bool)
    if alike.any():
        exact[alike] = frame[alike].duplicated().to_numpy()
    if exact.any():
        yield Fault(Kind.DUPLICATE, int(exact.sum()), len(frame),
                    "rows repeat an earlier row in every column", "set aside, the first one kept",
                    examples=row_examples(checked, exact, _SHOWN))  # fmt: skip
    rest = np.flatnonzero(~exact)
    again = np.zeros(len(frame), dtype=bool)
    again[rest] = event.iloc[rest].duplicated().to_numpy()
    if again.any():
        yield Fault(
            Kind.SAME_EVENT, int(again.sum()), len(frame),
            "rows name the unit, part, position and day of an earlier row but differ elsewhere",
            "kept; for lives they are one repair (the failure wins), each row's cost counts",
            examples=row_examples(checked, again, _SHOWN),
        )  # fmt: skip


def one_cost_on_several_rows(frame: pd.DataFrame) -> Flags:
    """Tell rows that repeat unit, day, complaint and cost (not 0) of a row above, not all else."""
    cost = frame["cost"].to_numpy()
    event = pd.DataFrame(
        {"unit": frame["unit"].cat.codes, "day": day_of(frame).astype(np.int64), "cost": cost}
    )
    known = np.isfinite(cost) & (cost != 0)
    alike = np.flatnonzero(event.duplicated(keep=False).to_numpy() & known)
    mask = np.zeros(len(frame), dtype=bool)
    if len(alike):
        some = event.iloc[alike].assign(text=frame["complaint"].to_numpy()[alike])
        again = some.duplicated().to_numpy() & ~frame.iloc[alike].duplicated().to_numpy()
        mask[alike[again]] = True
    return mask


def _close_events(checked: CheckedTable) -> Iterator[Fault]:
    """Count rows that follow a row of the same unit and part within a few days."""
    frame = checked.frame
    if "part" not in frame:
        return
    key, day = _keys(frame, ("unit", "part", "position")), day_of(frame).astype(np.int64)
    order = np.lexsort((day, key))
    gap = np.diff(day[order])
    close = np.diff(key[order]).astype(bool) ^ True
    close &= (gap > 0) & (gap <= CLOSE_DAYS)
    if close.any():
        mask = np.zeros(len(frame), dtype=bool)
        mask[order[1:][close]] = True
        yield Fault(
            Kind.CLOSE_EVENTS, int(close.sum()), len(frame),
            f"rows follow one of the same unit, part and position within {CLOSE_DAYS} days",
            "kept apart; only rows of one day are one repair",
            examples=row_examples(checked, mask, _SHOWN),
        )  # fmt: skip


def _order_of_rows(checked: CheckedTable) -> Iterator[Fault]:
    frame = checked.frame
    unit, day = _keys(frame, ("unit",)), day_of(frame).astype(np.int64)
    order = np.argsort(unit, kind="stable")
    back = (np.diff(day[order]) < 0) & (np.diff(unit[order]) == 0)
    forth = (np.diff(day[order]) > 0) & (np.diff(unit[order]) == 0)
    wrong = back if back.sum() <= forth.sum() else forth
    if wrong.any():
        mask = np.zeros(len(frame), dtype=bool)
        mask[order[1:][wrong]] = True
        yield Fault(
            Kind.NOT_IN_ORDER, int(wrong.sum()), len(frame),
            "rows stand out of date order within their unit",
            "sorted by date; a column that counts from the row above is then wrong",
            examples=row_examples(checked, mask, ("unit", "date")),
        )  # fmt: skip


def _date_range(checked: CheckedTable, today: np.datetime64) -> Iterator[Fault]:
    days = day_of(checked.frame)
    for mask, said in (
        (days > today, f"rows are dated after the day of the import ({today})"),
        (days < FIRST_BELIEVABLE, f"rows are dated before {FIRST_BELIEVABLE}"),
    ):
        if mask.any():
            yield Fault(
                Kind.DATE_RANGE, int(mask.sum()), len(days), said,
                "set aside: they lie outside the records", column="date",
                examples=row_examples(checked, mask, ("unit", "date")),
            )  # fmt: skip


def _date_sequence(checked: CheckedTable) -> Iterator[Fault]:
    """Tell rows whose dates contradict each other."""
    frame = checked.frame
    day = day_of(frame)
    pairs = (("closed", "closed before it was opened", -1), ("fitted_date", "fitted after it", 1))
    for name, said, sign in pairs:
        if name not in frame.columns:
            continue
        gap = (day_of(frame, name) - day) / DAY
        mask = np.nan_to_num(gap * sign) > 0
        if mask.any():
            yield Fault(Kind.DATE_SEQUENCE, int(mask.sum()), len(frame), f"rows say {said}",
                        "kept, by the date of the repair", column=name,
                        examples=row_examples(checked, mask, ("unit", "date", name)))  # fmt: skip


def _heaped_dates(checked: CheckedTable) -> Iterator[Fault]:
    """Tell dates that heap on the first of the month, and gaps that heap on a grid of days."""
    frame = checked.frame
    days = day_of(frame)
    first = days == days.astype("datetime64[M]").astype("datetime64[D]")
    if len(days) >= 20 and first.mean() > 0.2:
        yield Fault(Kind.HEAPED, int(first.sum()), len(days),
                    "rows are dated the first of a month", _HEAPED_DONE, column="date")  # fmt: skip
    if "part" not in frame:
        return
    key, day = _keys(frame, ("unit", "part", "position")), days.astype(np.int64)
    order = np.lexsort((day, key))
    gap = np.diff(day[order])[np.diff(key[order]) == 0]
    gap = gap[gap > 0]
    grid, share = _grid(gap)
    if grid:
        yield Fault(
            Kind.HEAPED, int((gap % grid == 0).sum()), len(gap),
            f"gaps between repairs of one part are multiples of {grid} days "
            f"({share:.0%}; by chance {1 / grid:.0%})", _HEAPED_DONE, column="date",
        )  # fmt: skip


_HEAPED_DONE = "kept; ages are then known to the interval only, and many are equal"


def _grid(gaps: NDArray[np.int64]) -> tuple[int, float]:
    """Return the longest grid of days on which at least half of the gaps lie, 0 = none."""
    if len(gaps) < 50:
        return 0, 0.0
    for grid in GRIDS:
        share = float((gaps % grid == 0).mean())
        if share > 0.5:
            return grid, share
    return 0, 0.0


def _costs(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    cost = export.column("cost")
    if cost is None:
        return
    below = cost.to_numpy() < 0
    if below.any():
        yield Fault(Kind.NEGATIVE_COST, int(below.sum()), len(below), "rows have a negative cost",
                    "kept as credits", column=export.columns["cost"],
                    examples=row_examples(checked, below, ("unit", "date", "cost")))  # fmt: skip
    yield from _totals(export, checked, cost.to_numpy())


def _totals(export: Export, checked: CheckedTable, cost: NDArray[np.float64]) -> Iterator[Fault]:
    """Compare the cost with the sum of some other columns of money, where there are such."""
    names = [
        name
        for name in checked.frame.columns
        if name in export.contents and export.contents[name].numbers >= 0.8
    ][:8]
    some = slice(None, None, max(1, len(cost) // 5000))
    parts = _parts_of_total(
        cost[some], {name: _numbers(checked.frame[name].iloc[some], export) for name in names}
    )
    if not parts:
        return
    total = sum(_numbers(checked.frame[name], export) for name in parts)
    wrong = np.isfinite(cost) & (np.abs(total - cost) > 0.01 * np.abs(cost) + 0.01)
    if wrong.any():
        yield Fault(
            Kind.TOTALS, int(wrong.sum()), len(cost),
            f"rows have a cost that is not the sum of {' + '.join(parts)}", "kept as written",
            MONEY if wrong.mean() > 0.01 else "", column=export.columns["cost"],
            examples=row_examples(checked, wrong, ("cost", *parts)),
        )  # fmt: skip


def _numbers(column: pd.Series, export: Export) -> NDArray[np.float64]:
    """Return further columns as numbers, 0 where blank or unreadable."""
    text = column.astype(str)
    if export.rules.thousands:
        text = text.str.replace(export.rules.thousands, "", regex=False)
    text = text.str.replace(export.rules.decimal, ".", regex=False)
    return np.nan_to_num(pd.to_numeric(text, errors="coerce").to_numpy(dtype=np.float64))


def _parts_of_total(cost: NDArray[np.float64], money: dict[str, NDArray[np.float64]]) -> list[str]:
    """Find the columns whose sum is the cost in most rows where at least two are not zero."""
    for size in (2, 3, 4):
        for names in combinations(money, size):
            columns = np.array([money[name] for name in names])
            used = ((columns != 0).sum(axis=0) >= 2) & np.isfinite(cost)
            gap = np.abs(columns.sum(axis=0)[used] - cost[used])
            if used.sum() >= 10 and (gap <= 0.01 * np.abs(cost[used]) + 0.01).mean() > 0.7:
                return list(names)
    return []
