"""Invented fleets whose parts fail, are replaced as planned, and are older than the records."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.causes.fix.pieces import Pieces, day_number
from tests.benchmarks.verdict_fleets import MONTH

RECORDS, AHEAD = -36 * MONTH, 12 * MONTH
"""Days on which the records begin and the last forecast ends; day 0 is that of the forecast."""


@dataclass(frozen=True)
class Kept:
    """One kind of fleet; ages are told in scales of the failure curve.

    `planned` is the age of planned replacement (5 % about it), kept for a share `kept` of the
    lives; `good` the removals of good parts a scale; `mended` the share of failures mended.
    """

    units: int = 300
    shape: float = 2.5
    spread: float = 0.2
    scale: float = 500.0  # days
    planned: float = np.inf
    kept: float = 1.0
    good: float = 0.0
    mended: float = 0.0
    unknown: bool = False  # lives begun before the records have no known age


def kept_fleet(cell: Kept, rng: np.random.Generator, day: pd.Timestamp) -> tuple[Pieces, Pieces]:
    """Pieces of known age, and first lives of unknown age as if original."""
    level = rng.gamma(1 / cell.spread, cell.spread, cell.units) if cell.spread else np.ones(1)
    level = np.broadcast_to(level, cell.units)
    first = rng.uniform(-90, -6, cell.units) * MONTH
    born, now = first.copy(), first.copy()
    rows: list[np.ndarray] = []
    on = np.arange(cell.units)
    plan = _plans(cell, len(on), rng)
    while len(on):
        age = now[on] - born[on]
        more = rng.exponential(size=len(on)) / level[on]
        fails = cell.scale * ((age / cell.scale) ** cell.shape + more) ** (1 / cell.shape)
        end = np.minimum(fails, plan)
        failed = fails <= plan
        renewed = ~failed | (rng.random(len(on)) >= cell.mended)
        rows.append(np.column_stack([on, born[on], now[on], born[on] + end, failed, renewed]))
        now[on] = born[on] + end
        born[on] = np.where(renewed, now[on], born[on])
        plan = np.where(renewed, _plans(cell, len(on), rng), plan)
        still = now[on] < AHEAD
        on, plan = on[still], plan[still]
    unit, start, begin, end, failed, renewed = np.concatenate(rows).T
    seen = end > RECORDS
    unit, start, begin, end, failed, renewed = (
        column[seen] for column in (unit.astype(int), start, begin, end, failed > 0, renewed > 0)
    )
    over = end > AHEAD
    begin, end = np.maximum(begin, RECORDS), np.minimum(end, AHEAD)
    older = cell.unknown & (start < RECORDS)
    start = np.where(older, first[unit], start)  # as if original
    origin = np.datetime64(day, "D")
    names = np.array([f"u{number:04d}" for number in range(cell.units)], dtype=object)

    def pieces(which: np.ndarray) -> Pieces:
        days = [origin + np.floor(x[which]).astype("timedelta64[D]") for x in (begin, end)]
        return Pieces.from_arrays(
            names[unit[which]],
            entry=(begin - start)[which],
            age=np.maximum(end - start, begin - start + 0.5)[which],
            begin=days[0],
            end=days[1],
            failed=(failed & ~over)[which],
            running=over[which],
            renewed=(renewed & ~over)[which],
        )

    return pieces(~older), pieces(older)


def _plans(cell: Kept, size: int, rng: np.random.Generator) -> np.ndarray:
    """Age at which each part will be taken off before it fails; inf for never."""
    planned = np.full(size, np.inf)
    if np.isfinite(cell.planned):
        age = cell.planned * cell.scale * (1 + 0.05 * rng.normal(size=size).clip(-3, 3))
        planned = np.where(rng.random(size) < cell.kept, age, np.inf)
    if cell.good:
        planned = np.minimum(planned, rng.exponential(cell.scale / cell.good, size))
    return planned


def came(known: Pieces, unknown: Pieces, *, day: pd.Timestamp, months: int) -> tuple[int, int]:
    """Failures and renewals within so many months after the day."""
    start, stop = day_number([day, day + pd.DateOffset(months=months)])
    failed = renewed = 0
    for one in (known, unknown):
        inside = (one.end > start) & (one.end <= stop)
        failed += int((inside & one.failed).sum())
        renewed += int((inside & one.renewed).sum())
    return failed, renewed
