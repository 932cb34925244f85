"""Coverage of the parts forecast on invented fleets: does what happens lie in the interval.

Run `python -m tests.benchmarks.forecast_coverage [fleets]` from the project's folder; it prints
the tables of the section "Forecast" of the README beside it (seeded; some 6 minutes of one core at
the default 400 fleets a row).
"""

import sys
from collections.abc import Iterator

import numpy as np
import pandas as pd

from rca.causes.planning.forecast import MONTHS, Count, forecast_parts
from tests.benchmarks.forecast_fleets import Kept, came, kept_fleet
from tests.benchmarks.verdict_fleets import Cell, dated, simulate

DAY = pd.Timestamp("2024-01-01")

CELLS = {
    "constant rate, equal units": Cell(units=300, failures=100, spread=0.0),
    "constant rate, strong spread": Cell(units=300, failures=100, spread=1.5),
    "early failures": Cell(units=300, failures=200, shape=0.8),
    "wear-out": Cell(units=300, failures=100, shape=2.5),
    "wear-out, strong spread": Cell(units=300, failures=150, shape=2.5, spread=1.5),
    "60 units, 100 failures": Cell(units=60, failures=100, shape=1.8),
    "30 failures": Cell(units=300, failures=30, shape=1.8),
    "10 failures": Cell(units=300, failures=10, shape=1.8),
    "large fleet": Cell(units=2000, failures=800, shape=1.8),
}


KEPT = {
    "planned at 0.7 of the scale, kept for 70 %": Kept(shape=4.0, planned=0.7, kept=0.7),
    "planned at 0.5 of the scale, kept for 95 %": Kept(shape=3.0, planned=0.5, kept=0.95),
    "good parts taken off as often as failed ones": Kept(shape=1.5, good=1.0),
    "planned, 60 units": Kept(units=60, shape=4.0, planned=0.7, kept=0.7),
    "planned, 40 % of failures mended": Kept(shape=2.0, planned=0.8, kept=0.7, mended=0.4),
    "wear-out, first lives of unknown age": Kept(scale=900.0, unknown=True),
    "random, first lives of unknown age": Kept(shape=1.0, scale=900.0, unknown=True),
    "planned, first lives of unknown age": Kept(
        shape=4.0, scale=900.0, planned=0.8, kept=0.7, unknown=True
    ),
}


def one_forecast(cell: Cell, rng: np.random.Generator, draws: int = 600) -> list[tuple[float, ...]]:
    """For each horizon: expected failures, inside 80 %, inside 95 %, failures that came."""
    pieces = dated(simulate(cell, rng)[0], DAY)
    made = forecast_parts(pieces, as_of=DAY, draws=draws, seed=int(rng.integers(1 << 30)))
    start = float((DAY - pd.Timestamp("1970-01-01")).days)
    rows = []
    for row in made.rows:
        stop = start + float((DAY + pd.DateOffset(months=row.months) - DAY).days)
        actual = int((pieces.failed & (pieces.end > start) & (pieces.end <= stop)).sum())
        rows.append(_compared(row.failures, actual))
    return rows


def one_kept(cell: Kept, rng: np.random.Generator, draws: int = 600) -> list[tuple[float, ...]]:
    """The same for failures, then for new parts, at each horizon."""
    known, unknown = kept_fleet(cell, rng, DAY)
    made = forecast_parts(
        known, unknown=unknown, as_of=DAY, draws=draws, seed=int(rng.integers(1 << 30))
    )
    rows = []
    for row in made.rows:
        failed, renewed = came(known, unknown, day=DAY, months=row.months)
        rows += [_compared(row.failures, failed), _compared(row.parts, renewed)]
    return rows


def _compared(count: Count, actual: int) -> tuple[float, ...]:
    return (
        count.expected,
        count.lower80 <= actual <= count.upper80,
        count.lower95 <= actual <= count.upper95,
        actual,
    )


def table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """Coverage of the 80 and 95 % intervals, by cell and horizon."""
    yield "| fleet | months | expected, mean | actual, mean | 80 % covers | 95 % covers |"
    yield "|---|---|---|---|---|---|"
    for name, cell in CELLS.items():
        count = fleets // (4 if cell.units > 1000 else 1)
        runs = np.array([one_forecast(cell, rng) for _ in range(count)], dtype=float)
        for k, months in enumerate(MONTHS):
            yield f"| {name} | {months} | {_covered(runs[:, k])} |"


def kept_table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """The same where parts are also taken off before they fail, or of unknown age."""
    yield "| fleet | months | what | expected, mean | actual, mean | 80 % covers | 95 % covers |"
    yield "|---|---|---|---|---|---|---|"
    for name, cell in KEPT.items():
        runs = np.array([one_kept(cell, rng) for _ in range(fleets)], dtype=float)
        for k, months in enumerate(MONTHS):
            for what, place in (("failures", 2 * k), ("new parts", 2 * k + 1)):
                yield f"| {name} | {months} | {what} | {_covered(runs[:, place])} |"


def _covered(runs: np.ndarray) -> str:
    expected, inside80, inside95, actual = runs.mean(axis=0)
    return f"{expected:.1f} | {actual:.1f} | {100 * inside80:.1f} | {100 * inside95:.1f}"


if __name__ == "__main__":
    for make, seed in ((table, 7), (kept_table, 8)):
        asked = int(sys.argv[1]) if len(sys.argv) > 1 else 400
        for line in make(asked, np.random.default_rng(seed)):
            print(line, flush=True)
        print()
