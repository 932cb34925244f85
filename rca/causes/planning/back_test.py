"""Would past forecasts have been right: what was forecast on past days, beside what then came."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from rca.causes.fix.pieces import Pieces, day_number
from rca.causes.planning.forecast import PartsNeeded, forecast_parts

FAILURES, NEW_PARTS = "failures", "new parts"
"""What a row of the back-test counts."""
_COLUMNS = (
    "as_of", "months", "what", "expected", "lower80", "upper80", "lower95", "upper95", "actual",
    "inside80", "inside95",
)  # fmt: skip


def back_test(
    pieces: Pieces,
    *,
    as_of: Sequence[pd.Timestamp],
    unknown: Pieces | None = None,
    months: Sequence[int] = (1, 3),
    draws: int = 600,
    seed: int = 0,
) -> pd.DataFrame:
    """What would have been forecast on past days, beside what then happened.

    Two rows, failures and new parts, for each day of `as_of` and number of months that have fully
    passed: as_of, months, what, expected, lower80, upper80, lower95, upper95, actual, inside80,
    inside95. Only units with the part in service on the day are counted; `unknown` as in
    `forecast_parts`.
    """
    every = [pieces] if unknown is None or len(unknown) == 0 else [pieces, unknown]
    known_to = float(pieces.end.max())
    rows: list[dict[str, object]] = []
    for day in as_of:
        over = [m for m in months if day_number([day + pd.DateOffset(months=m)])[0] <= known_to]
        start = float(day_number([day])[0])
        if not over or not any(one.until(start).running.any() for one in every):
            continue
        made = forecast_parts(
            pieces, as_of=day, unknown=unknown, months=over, draws=draws, seed=seed
        )
        for row in made.rows:
            rows += _compared(every, day, row)
    return pd.DataFrame(rows, columns=[*_COLUMNS])


def _compared(
    every: Sequence[Pieces], day: pd.Timestamp, row: PartsNeeded
) -> Iterator[dict[str, object]]:
    """One forecast beside what happened on the units that had the part in service."""
    start, stop = day_number([day, day + pd.DateOffset(months=row.months)])
    failed, renewed = _came(every, float(start), float(stop))
    for what, count, actual in (
        (FAILURES, row.failures, failed),
        (NEW_PARTS, row.parts, renewed),
    ):
        yield {
            "as_of": day,
            "months": row.months,
            "what": what,
            "expected": count.expected,
            "lower80": count.lower80,
            "upper80": count.upper80,
            "lower95": count.lower95,
            "upper95": count.upper95,
            "actual": actual,
            "inside80": count.lower80 <= actual <= count.upper80,
            "inside95": count.lower95 <= actual <= count.upper95,
        }


def _came(every: Sequence[Pieces], start: float, stop: float) -> tuple[int, int]:
    """Failures and renewals after one day up to another, on units in service on the first."""
    names = [(one, one.until(start)) for one in every]
    units = np.unique(np.concatenate([past.units[past.unit[past.running]] for _, past in names]))
    failed = renewed = 0
    for one, _ in names:
        theirs = pd.Index(one.units).isin(units)[one.unit]
        inside = (one.end > start) & (one.end <= stop) & theirs
        failed += int((inside & one.failed).sum())
        renewed += int((inside & one.renewed).sum())
    return failed, renewed
