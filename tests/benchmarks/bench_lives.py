"""Speed of the way from repair rows to lives, against pandas reading the same rows from Parquet.

Run `python -m tests.benchmarks.bench_lives [rows]` from the project's folder (default 1 000 000
rows, half a minute). It makes an invented fleet (seeded) in a temporary folder and prints the table
of the section "Lives" of the README beside it. Each step runs in a process of its own, so that the
peak of its memory is its own; the shortest processor time of a few turns counts.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

SEED = 20261101
ROWS = 1_000_000
UNITS, PARTS, POSITIONS, DAYS = 5_000, 40, 2, 2_000
TURNS = 3
FLEET = """name: Invented fleet of the benchmark
records_begin: 2020-01-01
cutoff: 2025-12-31
tables:
  repairs: {repairs}
  units: units.parquet
  parts: parts.parquet
  readings: readings.parquet
"""


def write_fleet(folder: Path, rows: int) -> None:
    """Write an invented fleet: `rows` repairs, and a reading a unit and month."""
    rng = np.random.default_rng(SEED)
    start = np.datetime64("2020-01-01")

    def names(kind: str, count: int) -> np.ndarray:
        return np.char.add(f"{kind} ", rng.integers(0, count, rows).astype(str))

    repairs = pd.DataFrame(
        {
            "unit": names("U", UNITS),
            "date": start + rng.integers(0, DAYS, rows).astype("timedelta64[D]"),
            "part": names("part", PARTS),
            "position": names("place", POSITIONS),
            "action": rng.choice(["replaced", "repaired", "cleaned", "inspected"], rows),
            "reason": rng.choice(["failure", "planned", "inspection"], rows),
            "mode": rng.choice(["leak", "crack", "wear", ""], rows),
            "cost": rng.gamma(2, 100, rows).round(2),
            "order": np.char.add("W", np.arange(rows).astype(str)),
        }
    )
    repairs.to_parquet(folder / "repairs.parquet", index=False)
    repairs.to_csv(folder / "repairs.csv", index=False)
    unit = [f"U {n}" for n in range(UNITS)]
    pd.DataFrame({"unit": unit, "in_service": start}).to_parquet(folder / "units.parquet")
    places = ";".join(f"place {n}" for n in range(POSITIONS))
    part = [f"part {n}" for n in range(PARTS)]
    parts = pd.DataFrame({"part": part, "positions": places, "fitted_to": "all"})
    parts.to_parquet(folder / "parts.parquet")
    months = 60
    readings = pd.DataFrame(
        {
            "unit": np.repeat(unit, months),
            "date": np.tile(start + 30 * np.arange(months).astype("timedelta64[D]"), UNITS),
            "meter": np.tile(3_000.0 * np.arange(months), UNITS),
        }
    )
    readings.to_parquet(folder / "readings.parquet", index=False)
    (folder / "fleet.yaml").write_text(FLEET.format(repairs="repairs.parquet"), encoding="utf-8")
    (folder / "csv").mkdir()
    for name in ("units", "parts", "readings"):
        (folder / "csv" / f"{name}.parquet").write_bytes((folder / f"{name}.parquet").read_bytes())
    (folder / "csv" / "repairs.csv").write_bytes((folder / "repairs.csv").read_bytes())
    text = FLEET.format(repairs="repairs.csv")
    (folder / "csv" / "fleet.yaml").write_text(text, encoding="utf-8")


def to_lives(folder: Path) -> str:
    """The whole way: read and check the folder, make the lives."""
    from rca.records.fleet import read_fleet
    from rca.records.lives import build_lives

    return str(build_lives(read_fleet(folder)))


STEPS: dict[str, Callable[[Path], object]] = {
    "pandas reads the Parquet file": lambda folder: len(
        pd.read_parquet(folder / "repairs.parquet")
    ),
    "rca: Parquet to lives": to_lives,
    "pandas reads the CSV file": lambda folder: len(
        pd.read_csv(folder / "repairs.csv", dtype=str, keep_default_na=False)
    ),
    "rca: CSV to lives": lambda folder: to_lives(folder / "csv"),
}


def measure(step: str, folder: Path) -> dict[str, object]:
    """Shortest processor seconds of a few turns, and the peak memory of this process in GB."""
    seconds, said = [], None
    for _ in range(TURNS):
        begin = time.process_time()
        said = STEPS[step](folder)
        seconds.append(time.process_time() - begin)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return {"seconds": min(seconds), "peak": peak, "said": str(said)}


def apart(*words: str) -> dict[str, object]:
    """Run this script in a small process of its own; a big parent would count as its memory."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_lives", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return found


def main(rows: int) -> None:
    """Measure each step in its own process and print the table."""
    with tempfile.TemporaryDirectory() as place:
        apart("--write", str(rows), place)
        found = {step: apart("--step", step, place) for step in STEPS}
    base = found["pandas reads the Parquet file"]["seconds"]
    print(f"pandas {pd.__version__}, {rows} repair rows, {UNITS} units, {PARTS} parts")
    print(f"{found['rca: Parquet to lives']['said']}\n")
    print("| step | processor seconds | times pandas' Parquet | peak memory, GB |")
    print("|---|---|---|---|")
    for step, one in found.items():
        ratio, seconds = one["seconds"] / base, one["seconds"]
        print(f"| {step} | {seconds:.2f} | {ratio:.1f} | {one['peak']:.2f} |")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--step"]:
        print(json.dumps(measure(sys.argv[2], Path(sys.argv[3]))))
    elif sys.argv[1:2] == ["--write"]:
        write_fleet(Path(sys.argv[3]), int(sys.argv[2]))
        print(json.dumps({}))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
