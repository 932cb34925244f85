"""The product of grades of a failure-mode table, on request only, with how stable its ranking is.

Grades are ordinal, so that their product has no unit, and equal products may mean very different
risks: of the 1000 products of three grades from 1 to 10 only 120 values differ.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.failure_modes.modes import ModeRow, ModeTable

Floats = NDArray[np.float64]


def product_of_grades(
    table: ModeTable, *, draws: int = 4000, seed: int = 1, confidence: float = 0.95
) -> pd.DataFrame:
    """The product of severity, occurrence and detection grades, with how stable its ranking is.

    Severity counts from its best grade (1) to its worst;
    detection in ten steps of the share missed (1 = under a tenth missed). Rates are drawn from
    Gamma(events + 1/2, unit-years) and shares from their Jeffreys posterior; `rank_low` and
    `rank_high` hold the ranks of the middle of the draws. Modes without a severity have none.
    """
    rows = [row for row in table.rows if row.severity]
    if not rows:
        return pd.DataFrame(columns=["part", "mode", "product", "rank", "rank_low", "rank_high"])
    generator = np.random.default_rng(seed)
    steps = len(table.severity_scale.grades)
    severity = np.array([steps + 1 - (table.severity_scale.place(r.severity) or 0) for r in rows])
    point = np.array([_point_grades(row) for row in rows]).prod(axis=1) * severity
    drawn = np.array([_drawn_grades(row, table, draws, generator) for row in rows])
    ranks = _ranks(drawn * severity[:, None])
    tail = (1 - confidence) / 2
    low, high = np.quantile(ranks, [tail, 1 - tail], axis=1, method="nearest")
    return pd.DataFrame(
        {
            "part": [row.part for row in rows],
            "mode": [row.mode for row in rows],
            "product": point.astype(int),
            "rank": _ranks(point[:, None])[:, 0],
            "rank_low": low.astype(int),
            "rank_high": high.astype(int),
        }
    ).sort_values(["rank", "part", "mode"], ignore_index=True)


def _ranks(products: Floats) -> Floats:
    """Rank of each row within each column, 1 = the largest product; equals share the best rank."""
    larger = products[None, :, :] > products[:, None, :]
    return larger.sum(axis=1) + 1


def missed_grade(share_missed: float) -> int:
    """Detection as a grade from 1 to 10 by the share that passes the checks unseen."""
    return min(10, int(share_missed * 10) + 1)


def _point_grades(row: ModeRow) -> tuple[int, int]:
    share = row.detection.share
    return row.occurrence.grade, 10 if share is None else missed_grade(1 - share)


def _drawn_grades(
    row: ModeRow, table: ModeTable, draws: int, generator: np.random.Generator
) -> Floats:
    """Drawn products of the occurrence and detection grades of one mode."""
    rates = generator.gamma(row.occurrence.events + 0.5, 1 / row.occurrence.unit_years, draws)
    occur = np.searchsorted(table.occurrence_scale.bounds, rates, side="right") + 1
    missed = generator.beta(row.detection.reached + 0.5, row.detection.caught + 0.5, draws)
    return occur * np.minimum(10, (missed * 10).astype(int) + 1)
