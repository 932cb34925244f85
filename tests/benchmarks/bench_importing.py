"""Time of an import against the time in which pandas reads the same CSV file, seeded.

Run `python -m tests.benchmarks.bench_importing [rows]` from the project's folder (1 000 000 rows
take some two minutes and 2 GB). It writes an invented export into a temporary folder and prints
the tables of the section "Imports" of the README beside it.
"""

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from rca.records.fleet import read_fleet
from rca.records.importing import Proposal, propose, write_fleet_folder
from tests.records.invented_export import PARTS, TODAY, WORDS

SEED = 20261101
ROUNDS = 3


def write_export(path: Path, rows: int) -> None:
    """Write an export of 12 columns with running text, rising meters and sides in four ways."""
    rng = np.random.default_rng(SEED)
    unit = rng.integers(0, 1000, rows)
    day = np.sort(rng.integers(0, 3000, rows))
    words = np.array(WORDS)[rng.integers(0, len(WORDS), (rows, 6))]
    pd.DataFrame(
        {
            "Work Order": np.arange(rows) + 100_000,
            "Unit No": np.char.add("T", (unit + 100).astype(str)),
            "Date": pd.Series(np.datetime64("2015-01-01") + day).dt.strftime("%d/%m/%Y"),
            "Component": rng.choice([f"{part} {n}" for part in PARTS for n in range(8)], rows),
            "Side": rng.choice(["Left", "Right", "LH", "RH", ""], rows),
            "Odometer km": 20_000 + 41 * unit + 83 * day,
            "Action": rng.choice(["Replace", "Repair", "Adjust", "Inspect"], rows),
            "Type": rng.choice(["Breakdown", "Planned", "Accident"], rows),
            "Description": [" ".join(row) for row in words],
            "Cost": np.round(rng.gamma(2, 150, rows), 2),
            "Downtime hours": np.round(rng.gamma(2, 5, rows), 1),
            "Depot": rng.choice(["North", "South", "East"], rows),
        }
    ).to_csv(path, index=False)


def seconds(call: Callable[[], object]) -> tuple[float, float]:
    """Shortest wall and processor time of a call."""
    best = (np.inf, np.inf)
    for _ in range(ROUNDS):
        wall, work = time.perf_counter(), time.process_time()
        call()
        best = (
            min(best[0], time.perf_counter() - wall),
            min(best[1], time.process_time() - work),
        )
    return best


def main(rows: int) -> None:
    """Print the times and their ratio to pandas."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "export.csv"
        write_export(path, rows)
        folders = iter(Path(place) / f"fleet{n}" for n in range(100))
        found: list[Proposal] = []

        def whole() -> None:
            found[:] = [propose(path, today=TODAY)]
            write_fleet_folder(found[0], next(folders))

        calls = {
            "pandas reads the file": lambda: pd.read_csv(path),
            "the import: propose, check, write": whole,
            "the written folder is read again": lambda: read_fleet(Path(place) / "fleet0"),
        }
        times = {name: seconds(call) for name, call in calls.items()}
        base = times["pandas reads the file"]
        print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB, {len(found[0].faults)} faults\n")
        print("| step | seconds | ratio | processor seconds | ratio |")
        print("| --- | --- | --- | --- | --- |")
        for name, (wall, work) in times.items():
            ratio = f"{wall / base[0]:.1f} | {work:.1f} | {work / base[1]:.1f}"
            print(f"| {name} | {wall:.1f} | {ratio} |")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"\npeak memory {peak:.1f} GB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
