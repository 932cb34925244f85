"""What a case shows to the student: stages, offers, results of clues, months after a repair."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import pandas as pd


class Stage(StrEnum):
    """Where the work stands."""

    LOOKING = "looking"
    JUDGING = "judging"
    DECIDING = "deciding"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class Offer:
    """A clue or a repair that can be had now, or why not.

    `price` is money from the budget for a clue; the cost in the workshops for a repair, which is
    added up but never refused for want of money. `why_not` is "" where it can be had; `bought`
    tells that it was had already.
    """

    id: str
    group: str
    title: str
    does: str
    price: int
    bought: bool
    why_not: str


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """What a clue shows: `paragraphs` of plain text and a `table` (empty where there is none).

    `kind` tells how we know (measured, recorded, observed, told); `found_on` is the day on the
    calendar of the case, `price` what was paid.
    """

    id: str
    title: str
    kind: str
    found_on: str
    price: int
    paragraphs: tuple[str, ...]
    table: pd.DataFrame
    survey: Mapping[str, Mapping[str, int]] = field(default_factory=dict)

    def __str__(self) -> str:
        rows = f"\n{self.table.to_string(index=False)}" if len(self.table) else ""
        return "\n".join((f"{self.title} ({self.kind}, {self.found_on})", *self.paragraphs)) + rows


@dataclass(frozen=True, slots=True, eq=False)
class After:
    """The months after one repair.

    months
        One row a month: month, units (repaired), unit_days (days that they ran since the
        repair), failures (of the part on them).
    first_failure_after
        Months from the repair to the first failure of the part on a repaired unit; None where
        none came in these months.
    records
        Fleet folder with the part's records up to the end of these months, the repair among the
        fixes, so that the kit can be run on it.
    """

    round: int
    repair: str
    applied_on: str
    seen_until: str
    units: int
    chosen_by: str
    paragraphs: tuple[str, ...]
    months: pd.DataFrame
    first_failure_after: float | None
    records: Path

    def __str__(self) -> str:
        return "\n".join((*self.paragraphs, self.months.to_string(index=False)))
