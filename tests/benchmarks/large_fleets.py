"""The whole page for large fleets: time and memory at three sizes (section "Report").

python -m tests.benchmarks.large_fleets [units ...]
"""

import runpy
import sys
import tempfile
from dataclasses import replace
from datetime import date
from pathlib import Path

from rca.records.files import write_text
from rca.records.simulate import csv_texts, fleet_yaml, simulate
from tests.benchmarks.weighing import BIN, ROOT, run_and_weigh

SEED = 20261105
LONGER = {"records_begin": date(2020, 11, 1), "last_in_service": date(2025, 1, 31)}
"""So that 5 000 units have some 300 000 repair rows."""
UNITS = (1_250, 2_500, 5_000)


def large_fleet(folder: Path, units: int) -> int:
    """Write the plan of the demo with so many units and longer records; return the rows."""
    plan = runpy.run_path(str(ROOT / "data_demo" / "make_demo.py"))["PLAN"]
    fleet = simulate(replace(plan, units=units, **LONGER), seed=SEED)
    folder.mkdir()
    for name, text in csv_texts(fleet).items():
        write_text(folder / name, text)
    more = {"currency": "EUR", "timezone": "Europe/Vienna"}
    write_text(folder / "fleet.yaml", fleet_yaml(fleet, more=more))
    return len(fleet.tables["repairs"])


def main(*sizes: int) -> None:
    """Make each fleet and its report, and print the table."""
    print("| units | repair rows | wall, s | processor, s | s per 100 000 rows | memory, MiB |")
    print("|---|---|---|---|---|---|")
    for units in sizes or UNITS:
        with tempfile.TemporaryDirectory() as place:
            rows = large_fleet(Path(place) / "fleet", units)
            took = run_and_weigh(
                BIN / "rca", "report", Path(place) / "fleet", "--month", "2026-10",
                "--out", Path(place) / "out", cwd=Path(place),
            )  # fmt: skip
        each = took.processor / rows * 100_000
        spent = f"{took.wall:.0f} | {took.processor:.0f} | {each:.1f} | {took.memory:.0f}"
        print(f"| {units:,} | {rows:,} | {spent} |", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
