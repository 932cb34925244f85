"""What the kit itself reads in a case's records: the yardstick of every number that is asked."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.causes.counts.parts import choose_scale, fit_or_reason, sample_of
from rca.causes.counts.repeats import failures_of
from rca.causes.pattern.reading import Pattern, read_pattern
from rca.causes.screen.upstream import Screen, screen_upstream
from rca.life.weibull import WeibullFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable, build_lives


@dataclass(frozen=True, slots=True, eq=False)
class RecordStudy:
    """Lives, screen, pattern and counts of the part that a case is about.

    replaced
        Rows in which the part was replaced, for whatever reason: what a count gives that takes
        every replacement for a failure.
    failed_only_shape
        Shape of the curve if survivors are left out: the value of a well-known mistake.
    """

    part: str
    scale: str
    lives: LifeTable
    screen: Screen
    pattern: Pattern
    fit: WeibullFit | None
    failures: int
    replaced: int
    running: int
    listed_units: int
    failed_only_shape: float

    @property
    def shape(self) -> float:
        """Shape of the life curve; nan without a curve."""
        return self.fit.shape if self.fit is not None else math.nan


def study_records(fleet: Fleet, part: str, *, seed: int = 0) -> RecordStudy:
    """Study the records of one part as a report would, without what a case does not ask."""
    lives = build_lives(fleet)
    rows = lives.of(part)
    scale = choose_scale(fleet, rows)
    events = failures_of(fleet)
    mine = fleet.repairs[fleet.repairs["part"].astype(str) == part]
    fit, _ = fit_or_reason(sample_of(rows, scale=scale))
    return RecordStudy(
        part=part,
        scale=scale,
        lives=lives,
        screen=screen_upstream(
            fleet.repairs, fleet.watch, lives=lives.rows, units=fleet.units, targets=[part],
            scales={part: scale}, seed=seed,
        ),
        pattern=read_pattern(rows, scale=scale, units=fleet.units, seed=seed),
        fit=fit,
        failures=int((events["part"].astype(str) == part).sum()),
        replaced=int((mine["action"].astype(str) == "replaced").sum()),
        running=_running(fleet),
        listed_units=len(fleet.watch),
        failed_only_shape=_failed_only(rows, scale),
    )  # fmt: skip


def _running(fleet: Fleet) -> int:
    """Units in service at the cut-off: each carries one of the part."""
    last = pd.to_datetime(fleet.watch["watched_to"])
    return int((last >= pd.Timestamp(fleet.cutoff)).sum())


def _failed_only(rows: pd.DataFrame, scale: str) -> float:
    failed = rows[rows["failed"].to_numpy(dtype=bool)]
    if len(failed) < 2 or np.isnan(failed[f"age_{scale}"]).all():
        return math.nan
    fit, _ = fit_or_reason(sample_of(failed, scale=scale))
    return fit.shape if fit is not None else math.nan
