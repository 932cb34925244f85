"""Is a column a meter at all, and where does it run backward, jump, or hold junk."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pyarrow.compute as pc
from numpy.typing import NDArray

from rca.records.cells import parse_days
from rca.records.importing.distinct import Cells
from rca.records.importing.faults import Export, Fault, Kind, row_examples
from rca.records.importing.row_faults import day_of
from rca.records.settings import MOST_USE_A_DAY

_JUNK = (0.0, 1.0, 12345.0, 123456.0, 1234567.0)
ENOUGH_PAIRS = 10
MOST_ROWS = 100_000  # rows from the top by which a column is judged

Floats = NDArray[np.float64]
Days = NDArray[np.datetime64]


def row_days(cells: Cells, name: str, order: str, *, timezone: str = "UTC") -> Days:
    """Return the day of each row of a raw date column, NaT where it cannot be read."""
    if cells.is_typed(name, "date"):
        return cells.series(name).to_numpy().astype("datetime64[D]")
    distinct = cells.distinct(name)
    days = parse_days(pd.Series(distinct.texts, dtype=object), order, timezone)
    return np.append(days, np.datetime64("NaT", "D"))[distinct.codes]


def why_no_meter(cells: Cells, name: str, unit: NDArray[np.int32], days: Days) -> str:
    """Return why a column of numbers is no meter of the unit, "" where it may be one.

    A meter rises with the date. A column that counts the days since the row above (of the same
    unit, in the order of the file) is none, whatever its name says.
    """
    unit, days = unit[:MOST_ROWS], days[:MOST_ROWS]
    value = _values(cells, name)
    known = np.flatnonzero(np.isfinite(value) & ~np.isnat(days) & (unit >= 0))
    above = np.flatnonzero(~np.isnat(days) & (unit >= 0))
    gaps = _gap_to_row_above(unit[above], days[above])
    told = value[above]
    both = np.isfinite(gaps) & np.isfinite(told)
    if both.sum() >= ENOUGH_PAIRS and (told[both] == gaps[both]).mean() > 0.8:
        return (
            f"{int((told[both] == gaps[both]).sum())} of {int(both.sum())} values are the days "
            "since the row above of the same unit"
        )
    order = known[np.lexsort((days[known], unit[known]))]
    same = np.diff(unit[order]) == 0
    later = (np.diff(days[order]).astype(np.int64) > 0) & same
    rises = np.diff(value[order])[later] >= 0
    if later.sum() >= ENOUGH_PAIRS and rises.mean() < 0.7:
        return f"it rises with the date in {int(rises.sum())} of {int(later.sum())} steps only"
    return ""


def _values(cells: Cells, name: str) -> Floats:
    """Return a column as numbers, text around them and marks between thousands left off."""
    if cells.is_typed(name, "number"):
        return cells.series(name).iloc[:MOST_ROWS].to_numpy(dtype=np.float64, na_value=np.nan)
    plain = pc.replace_substring_regex(cells.text(name)[:MOST_ROWS], r"[^0-9.\-]", "")
    numbers = pd.to_numeric(plain.to_pandas(), errors="coerce")
    return numbers.to_numpy(dtype=np.float64, na_value=np.nan)


def _gap_to_row_above(unit: NDArray[np.int32], days: Days) -> Floats:
    """Days since the row above of the same unit, in the order given; NaN for its first row."""
    gaps = np.full(len(unit), np.nan)
    order = np.argsort(unit, kind="stable")
    step = np.diff(days[order].astype(np.int64)).astype(float)
    step[np.diff(unit[order]) != 0] = np.nan
    gaps[order[1:]] = step
    return gaps


def meter_faults(export: Export, meter_unit: str) -> Iterator[Fault]:
    """Look for meters that run backward, jump or are junk; the lives do not trust them."""
    checked, meter = export.checked, export.column("meter")
    if checked is None or meter is None or meter.notna().sum() < 2:
        return
    value = meter.to_numpy(dtype=np.float64)
    known = np.isfinite(value)
    junk = known & (np.isin(value, _JUNK) | _repeated_figure(value))
    unit = checked.frame["unit"].cat.codes.to_numpy()
    backward, jump = _steps(unit, day_of(checked.frame), np.where(junk, np.nan, value), meter_unit)
    most = MOST_USE_A_DAY.get(meter_unit, max(MOST_USE_A_DAY.values()))
    findings = (
        (Kind.METER_JUNK, junk, "meters are 0, 1, one repeated figure or 12345..."),
        (Kind.METER_BACKWARD, backward, "meters are lower than the unit's meter before"),
        (Kind.METER_JUNK, jump, f"meters rise by more than {most:g} {meter_unit} a day"),
    )
    for kind, mask, said in findings:
        if mask.any():
            yield Fault(
                kind, int(mask.sum()), int(known.sum()), said,
                "not believed by the lives unless the meter was replaced",
                column=export.columns.get("meter", "meter"),
                examples=row_examples(checked, mask, ("unit", "date", "meter")),
            )  # fmt: skip


def _repeated_figure(value: Floats) -> NDArray[np.bool_]:
    """Tell meters such as 1111 or 999999."""
    whole = np.where(np.isfinite(value) & (value == np.floor(value)), value, 0)
    repeated = [int(figure * length) for figure in "123456789" for length in range(4, 8)]
    return np.isin(whole, repeated)


def _steps(
    unit: NDArray[np.int32], days: Days, value: Floats, meter_unit: str
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Flag readings below the highest before, and readings that rise too fast from it."""
    backward, jump = np.zeros(len(value), dtype=bool), np.zeros(len(value), dtype=bool)
    known = np.flatnonzero(np.isfinite(value))
    order = known[np.lexsort((value[known], days[known], unit[known]))]
    same = np.diff(unit[order]) == 0
    step, gap = np.diff(value[order]), np.diff(days.astype(np.int64)[order])
    backward[order[1:][same & (step < 0)]] = True
    most = MOST_USE_A_DAY.get(meter_unit, max(MOST_USE_A_DAY.values()))
    jump[order[1:][same & (step > most * (gap + 1))]] = True
    return backward, jump
