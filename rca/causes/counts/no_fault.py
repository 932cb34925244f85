"""Parts that came off and were good: the share of removals in which no fault was found."""

from dataclasses import dataclass

import pandas as pd
from scipy.special import betaincinv

from rca.life.sample import Interval
from rca.records.fleet import Fleet

FOUND_GOOD = "no fault found"


@dataclass(frozen=True, slots=True)
class NoFaultFound:
    """Repair rows of one part: without fault, and failed; their share with Clopper-Pearson limits.

    A share says nothing of why good parts come off; mostly it is a test that is missing.
    """

    part: str
    without_fault: int
    failed: int
    interval: Interval

    @property
    def share(self) -> float:
        """Rows without fault over rows without fault or failed."""
        return self.without_fault / (self.without_fault + self.failed)

    def __str__(self) -> str:
        rows = self.without_fault + self.failed
        return (
            f"{self.part}: no fault found on {self.without_fault} of {rows} rows ({self.interval})"
        )


def no_fault_found(fleet: Fleet) -> tuple[NoFaultFound, ...]:
    """Count, for each part with at least one such row, the most first."""
    reason = fleet.repairs["reason"].astype(str)
    counts = pd.crosstab(fleet.repairs["part"].astype(str), reason)
    if FOUND_GOOD not in counts.columns:
        return ()
    rows = counts[counts[FOUND_GOOD] > 0]
    failed = rows["failure"] if "failure" in rows.columns else rows[FOUND_GOOD] * 0
    found = [
        NoFaultFound(str(part), int(good), int(bad), _limits(int(good), int(good + bad)))
        for part, good, bad in zip(rows.index, rows[FOUND_GOOD], failed, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: (-one.without_fault, one.part)))


def _limits(count: int, of: int) -> Interval:
    low = float(betaincinv(count, of - count + 1, 0.025)) if count else 0.0
    high = float(betaincinv(count + 1, of - count, 0.975)) if count < of else 1.0
    return Interval(low, high, method="Clopper-Pearson")
