"""An invented, faultless export of repairs, into which tests put one fault at a time."""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

TODAY = date(2025, 6, 1)
PARTS = ("coolant pump", "brake pad", "aftercooler", "hydraulic hose", "wheel bearing")
MODES = ("leak", "worn", "no output", "burst", "noise", "seized")
WORDS = (
    "reports", "finds", "heavy", "slight", "steady", "sudden", "under", "load", "at", "idle",
    "after", "start", "on", "slope", "when", "cold", "again", "during", "shift", "near", "run",
    "and", "stopped", "pressure", "charge", "temperature", "drops", "rises",
)  # fmt: skip


def faultless(rows: int = 300, *, seed: int = 1) -> pd.DataFrame:
    """Return an export with nothing wrong in it: ISO dates, rising odometers, plain words."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.integers(0, 900, rows))
    unit = rng.integers(0, 20, rows)
    dates = [date(2022, 3, 14) + timedelta(days=int(day)) for day in days]
    return pd.DataFrame(
        {
            "Order No": [f"W{70000 + 7 * place}" for place in range(rows)],
            "Unit No": [f"T{101 + int(u)}" for u in unit],
            "Date Opened": [one.isoformat() for one in dates],
            "Date Closed": [(one + timedelta(days=2)).isoformat() for one in dates],
            "Component": rng.choice(PARTS, rows),
            "Side": rng.choice(["Left", "Right"], rows),
            "Odometer km": [str(one) for one in 20_000 + 977 * unit + 83 * days],
            "Action": rng.choice(["Replaced", "Repaired"], rows),
            "Order Type": rng.choice(["Breakdown", "Planned"], rows, p=[0.8, 0.2]),
            "Failure Mode": rng.choice(MODES, rows),
            "Complaint": [_sentence(rng) for _ in range(rows)],
            "Cost": [f"{50 + 900 * one:.2f}" for one in rng.random(rows)],
            "Downtime Hours": [f"{1 + 20 * one:.1f}" for one in rng.random(rows)],
            "Lot": rng.choice(["K14", "K15", "K16"], rows),
            "Depot": rng.choice(["North", "South"], rows),
        }
    )


def _sentence(rng: np.random.Generator) -> str:
    return " ".join(rng.choice(WORDS, int(rng.integers(3, 12))))


def with_cells(frame: pd.DataFrame, column: str, cells: dict[int, str]) -> pd.DataFrame:
    """Return the export with some cells of a column changed, by row from 0."""
    changed = frame.copy()
    values = list(changed[column])
    for row, cell in cells.items():
        values[row] = cell
    changed[column] = values
    return changed


def write(
    folder: Path,
    frame: pd.DataFrame,
    *,
    name: str = "export.csv",
    encoding: str = "utf-8",
    delimiter: str = ",",
    above: Sequence[str] = (),
) -> Path:
    """Write an export as CSV text."""
    path = folder / name
    text = frame.to_csv(index=False, sep=delimiter, lineterminator="\n")
    path.write_bytes(("".join(f"{line}\n" for line in above) + text).encode(encoding))
    return path
