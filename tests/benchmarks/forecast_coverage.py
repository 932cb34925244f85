"""Coverage of the parts forecast on invented fleets: does what happens lie in the interval.

Run `python -m tests.benchmarks.forecast_coverage [fleets]` from the project's folder; it prints
the table of the section "Forecast" of the README beside it (seeded; some 3 minutes of one core at
the default 400 fleets a row).
"""

import sys
from collections.abc import Iterator

import numpy as np
import pandas as pd

from rca.causes.planning.forecast import MONTHS, forecast_parts
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


def one_forecast(cell: Cell, rng: np.random.Generator, draws: int = 600) -> list[tuple[bool, ...]]:
    """For each horizon: expected, inside 80 %, inside 95 %, below the lower 95 % limit."""
    pieces = dated(simulate(cell, rng)[0], DAY)
    made = forecast_parts(pieces, as_of=DAY, draws=draws, seed=int(rng.integers(1 << 30)))
    start = float((DAY - pd.Timestamp("1970-01-01")).days)
    rows = []
    for row in made.rows:
        stop = start + float((DAY + pd.DateOffset(months=row.months) - DAY).days)
        actual = int((pieces.failed & (pieces.end > start) & (pieces.end <= stop)).sum())
        rows.append(
            (
                row.expected,
                row.lower80 <= actual <= row.upper80,
                row.lower95 <= actual <= row.upper95,
                actual,
            )
        )
    return rows


def table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """Coverage of the 80 and 95 % intervals, by cell and horizon."""
    yield "| fleet | months | expected, mean | actual, mean | 80 % covers | 95 % covers |"
    yield "|---|---|---|---|---|---|"
    for name, cell in CELLS.items():
        runs = np.array(
            [one_forecast(cell, rng) for _ in range(fleets // (4 if cell.units > 1000 else 1))],
            dtype=float,
        )
        for k, months in enumerate(MONTHS):
            expected, inside80, inside95, actual = runs[:, k].mean(axis=0)
            yield (
                f"| {name} | {months} | {expected:.1f} | {actual:.1f} | "
                f"{100 * inside80:.1f} | {100 * inside95:.1f} |"
            )


if __name__ == "__main__":
    for line in table(int(sys.argv[1]) if len(sys.argv) > 1 else 400, np.random.default_rng(7)):
        print(line, flush=True)
