"""Invented fleets with a known fix, for the operating characteristics of the verdict."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from rca.causes.fix.pieces import Pieces

MONTH = 365.25 / 12
BEFORE, AFTER = 36, 24  # months watched before the fix (day 0), months looked at after


@dataclass(frozen=True)
class Cell:
    """One kind of fleet and fix; the fix leaves `ratio` of the failure rate on treated units."""

    units: int = 60
    shape: float = 1.0
    spread: float = 0.5
    failures: int = 30  # expected in the months before the fix
    applied: str = "all"  # all, half (at random), worst (quarter by past failures), cause (found)
    renewed: bool = False  # parts renewed at the fix
    ratio: float = 1.0
    use_after: float = 1.0  # use in the months after, over that before (all units)
    bad_units: float = 1.0  # hazard of a third of the units (those with the cause), x this


def simulate(cell: Cell, rng: np.random.Generator) -> tuple[Pieces, np.ndarray]:
    """Pieces of one fleet in days, and the day of the fix (0 or inf) for each unit."""
    scale = _scale(cell)
    with_cause = rng.random(cell.units) < 1 / 3
    level = _levels(cell, with_cause, rng)
    entered = rng.uniform(-60, -6, cell.units) * MONTH
    start, age, _ = _run(entered, np.zeros(cell.units), -BEFORE * MONTH, level, scale, cell, rng)
    start, age, before = _run(start, age, 0.0, level, scale, cell, rng)
    treated = _treated(cell, before, with_cause, rng)
    if cell.renewed:
        age = np.where(treated, 0.0, age)
    level = level * np.where(treated, cell.ratio, 1.0)
    _, _, after = _run(start, age, AFTER * MONTH, level, scale, cell, rng, use=cell.use_after)
    unit, entry, out, begin, end, failed = _joined(before, after)
    last = ~failed & (end == AFTER * MONTH)
    pieces = Pieces(
        units=np.array([f"u{number:04d}" for number in range(cell.units)], dtype=object),
        unit=unit.astype(np.int64),
        entry=entry,
        age=out,
        begin=begin,
        end=end,
        failed=failed,
        running=last,
        renewed=failed,
    )
    return pieces, np.where(treated, 0.0, np.inf)


def dated(pieces: Pieces, fixed: pd.Timestamp) -> Pieces:
    """The pieces on the calendar, day 0 being the day `fixed`, in whole days."""
    origin = np.datetime64(fixed, "D")
    begin, end = (origin + np.floor(x).astype("timedelta64[D]") for x in (pieces.begin, pieces.end))
    return Pieces.from_arrays(
        pieces.units[pieces.unit],
        entry=pieces.entry,
        age=pieces.age,
        begin=begin,
        end=end,
        failed=pieces.failed,
        running=pieces.running,
    )


def _joined(before: tuple[np.ndarray, ...], after: tuple[np.ndarray, ...]) -> list[np.ndarray]:
    """The pieces of both times; a life that went on past the fix becomes one piece."""
    before, after = tuple(c.copy() for c in before), tuple(c.copy() for c in after)
    unit, _, out, _, end, failed = before
    open_at = np.flatnonzero(~failed & (end == 0.0))
    first = np.flatnonzero(after[3] == 0.0)
    at = dict(zip(after[0][first], first, strict=True))
    gone = []
    for piece in open_at:
        follows = at.get(unit[piece])
        if follows is not None and after[1][follows] == out[piece]:
            after[1][follows], after[3][follows] = before[1][piece], before[3][piece]
            gone.append(piece)
    return [np.concatenate([np.delete(a, gone), b]) for a, b in zip(before, after, strict=True)]


def _levels(cell: Cell, with_cause: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    if cell.spread > 0:
        level = rng.gamma(1 / cell.spread, cell.spread, cell.units)
    else:
        level = np.ones(cell.units)
    return level * np.where(with_cause, cell.bad_units, 1.0)


def _treated(
    cell: Cell, before: tuple[np.ndarray, ...], with_cause: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    if cell.applied == "all":
        return np.ones(cell.units, dtype=bool)
    if cell.applied == "cause":
        return with_cause if with_cause.sum() >= 2 else np.arange(cell.units) < 2
    if cell.applied == "half":
        return rng.permutation(cell.units) < cell.units // 2
    count = np.bincount(before[0].astype(int)[before[5]], minlength=cell.units)
    worst = np.lexsort((rng.random(cell.units), -count))[: cell.units // 4]
    return np.isin(np.arange(cell.units), worst)


def _run(
    start: np.ndarray,
    age: np.ndarray,
    stop: float,
    level: np.ndarray,
    scale: float,
    cell: Cell,
    rng: np.random.Generator,
    use: float = 1.0,
) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, ...]]:
    """Run every unit on to `stop`, renewing at failure; gives the pieces run, ages in days."""
    start, age = start.copy(), age.copy()
    rows: list[tuple[np.ndarray, ...]] = []
    on = np.flatnonzero(start < stop)
    while len(on):
        more = rng.exponential(size=len(on)) / np.maximum(level[on], 1e-12)  # ratio 0 never fails
        fails_at = scale * ((age[on] / scale) ** cell.shape + more) ** (1 / cell.shape)
        when = start[on] + (fails_at - age[on]) / use
        failed = when <= stop
        end = np.minimum(when, stop)
        # the records know ages in days; wear goes with use
        out = age[on] + (end - start[on])
        keep = out > age[on]
        rows.append(tuple(c[keep] for c in (on, age[on], out, start[on], end, failed)))
        start[on], age[on] = end, np.where(failed, 0.0, age[on] + (end - start[on]) * use)
        on = on[failed]
    return start, age, tuple(np.concatenate(column) for column in zip(*rows, strict=True))


@cache
def _scale_of(shape: float, spread: float, per_unit: float, bad_units: float) -> float:
    """Scale in days at which a unit has `per_unit` failures before the fix, by pilot runs."""
    pilot = Cell(units=4000, shape=shape, spread=spread, bad_units=bad_units)
    low, high = 20.0, 3e6
    for _ in range(25):
        middle = float(np.sqrt(low * high))
        rng = np.random.default_rng(1)
        level = _levels(pilot, rng.random(4000) < 1 / 3, rng)
        entered = rng.uniform(-60, -6, 4000) * MONTH
        start, age, _ = _run(entered, np.zeros(4000), -BEFORE * MONTH, level, middle, pilot, rng)
        *_, rows = _run(start, age, 0.0, level, middle, pilot, rng)
        low, high = (middle, high) if rows[5].sum() / 4000 > per_unit else (low, middle)
    return float(np.sqrt(low * high))


def _scale(cell: Cell) -> float:
    return _scale_of(cell.shape, cell.spread, cell.failures / cell.units, cell.bad_units)
