"""Failures of safety-critical parts that came back: facts that wait for no statistics."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from rca.records.fleet import Fleet, safety_critical_parts
from rca.records.meters import day_number

LOOK_BACK_DAYS = 365


@dataclass(frozen=True, slots=True)
class SafetyRepeat:
    """A safety-critical part failed again on the same unit and position within the window."""

    part: str
    unit: str
    position: str
    first: date
    again: date

    @property
    def key(self) -> str:
        """Tell this repeat from every other."""
        return "|".join((self.part, self.unit, self.position, str(self.first), str(self.again)))

    def __str__(self) -> str:
        place = f"{self.unit}, {self.position}" if self.position else self.unit
        days = (self.again - self.first).days
        later = "a day later" if days == 1 else f"{days} days later"
        return f"{self.part} on {place} failed on {self.first} and again on {self.again}, {later}"


def safety_repeats(fleet: Fleet, events: pd.DataFrame) -> tuple[SafetyRepeat, ...]:
    """List the repeats of the last year on safety-critical parts, the latest first.

    A repeat counts the day it happens: its window need not be complete.

    Parameters
    ----------
    events
        Rows of `repeats.repeat_events`.
    """
    since = int(day_number(np.array([np.datetime64(fleet.cutoff)]))[0]) - LOOK_BACK_DAYS
    critical = events["part"].isin(safety_critical_parts(fleet))
    rows = events[critical & (events["again"] > since)].sort_values(
        ["again", "part", "unit", "position"], ascending=[False, True, True, True]
    )
    return tuple(
        SafetyRepeat(
            str(row.part), str(row.unit), str(row.position), _day(row.day), _day(row.again)
        )
        for row in rows.itertuples()
    )


def _day(number: object) -> date:
    return np.datetime64(int(str(number)), "D").item()
