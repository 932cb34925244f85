"""Invented lives of one part with a planted pattern, for the pattern reading.

Day by day, every unit's part fails with its Weibull hazard times what is planted; a failure renews
it. Lots are those of the part fitted, depots those of the unit.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

BEGIN = np.datetime64("2021-01-01")
TRUTHS = {
    "early": "early",
    "random": "random",
    "wear-out": "wear-out",
    "lot": "bad lot",
    "units": "a few units",
    "depot": "one depot",
    "burst": "a burst in time",
    "mixed": "mixed modes",
}
SHAPES = {"early": 0.6, "random": 1.0, "wear-out": 3.0, "spread": 1.0, "season": 1.0}


@dataclass(frozen=True)
class Case:
    """One kind of fleet; `effect` is the factor planted, `spread` the units' ordinary variance."""

    truth: str
    failures: int
    effect: float = 0.0
    units: int = 100
    days: int = 3 * 365
    spread: float = 0.06
    lots_by_date: bool = False
    late_entry: bool = False
    planned_removals: bool = False

    @property
    def factor(self) -> float:
        strong = {"lot": 6.0, "depot": 4.0, "units": 8.0, "burst": 8.0, "later": 6.0}
        return self.effect or strong.get(self.truth, 1.0)


def make_lives(case: Case, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return pieces of lives and the units with their depots."""
    shape = SHAPES.get(case.truth, float(rng.choice([1.0, 2.0])))
    rows, depot = _simulate(case, shape, _scale(case, shape), rng)
    return rows, depot


@lru_cache(maxsize=256)
def _scale(case: Case, shape: float) -> float:
    """Scale at which such fleets have about the number of failures wanted."""
    low, high = np.log(100.0), np.log(30000.0)
    for _ in range(6):
        middle = (low + high) / 2
        rows, _ = _simulate(case, shape, float(np.exp(middle)), np.random.default_rng(1))
        low, high = (middle, high) if rows["failed"].sum() > case.failures else (low, middle)
    return float(np.exp((low + high) / 2))


def _simulate(
    case: Case, shape: float, scale: float, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    n, days = case.units, case.days
    start = rng.integers(0, days // 2, n)
    depot = rng.integers(0, 5, n)
    rate = _rates(case, start, depot, rng)
    age = np.where(case.late_entry & (rng.random(n) < 0.4), rng.integers(1, 600, n), 0).astype(
        float
    )
    entry, begun, fitting = age.copy(), start.copy(), np.zeros(n, dtype=int)
    lot, early = _lots(case, start, rng), rng.random(n) < 0.5
    out: list[tuple[np.ndarray, ...]] = []

    def close(who: np.ndarray, day: int, failed: bool) -> None:
        ended = np.maximum(age[who] - 0.5 * failed, entry[who] + 0.5)
        out.append(
            (who, fitting[who], begun[who], np.full(len(who), day), entry[who], ended,
             np.full(len(who), failed), lot[who])
        )  # fmt: skip

    for day in range(days):
        on = start <= day
        factor = rate[:, day]
        if case.truth == "lot":
            factor = factor * np.where(lot == 0, case.factor, 1.0)
        if case.truth == "later":
            factor = factor * np.where((depot == 0) & (fitting > 0), case.factor, 1.0)
        if case.truth == "mixed":
            falling = (8 * (age + 1) / scale) ** 0.6 - (8 * age / scale) ** 0.6
            rising = ((age + 1) / scale) ** 3.5 - (age / scale) ** 3.5
            hazard = np.where(early, falling, rising)
        else:
            hazard = ((age + 1) / scale) ** shape - (age / scale) ** shape
        fails = on & (rng.random(n) < -np.expm1(-hazard * factor))
        age = age + on
        renewed = fails | (case.planned_removals & on & (rng.random(n) < 1 / 700))
        for who, failed in (
            (np.flatnonzero(fails), True),
            (np.flatnonzero(renewed & ~fails), False),
        ):
            if len(who):
                close(who, day, failed)
        again = np.flatnonzero(renewed)
        age[again] = entry[again] = 0.0
        begun[again] = day
        fitting[again] += 1
        lot[again] = _lots(case, np.full(len(again), day), rng)
        early[again] = rng.random(len(again)) < 0.5
    close(np.flatnonzero(age > entry), days, False)
    return _frame(out), pd.DataFrame(
        {"unit": np.arange(n).astype(str), "depot": np.array(list("ABCDE"))[depot]}
    )


def _rates(
    case: Case, start: np.ndarray, depot: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Factor of each unit on each day."""
    level = rng.gamma(1 / case.spread, case.spread, case.units)
    rate = np.repeat(level[:, None], case.days, axis=1)
    if case.truth == "depot":
        rate[depot == 0] *= case.factor
    if case.truth == "units":
        for unit in rng.choice(case.units, case.units // 5, replace=False):
            rate[unit, rng.integers(start[unit], case.days) :] *= case.factor
    if case.truth == "burst":
        length = int(rng.integers(60, 121))
        first = int(rng.integers(case.days // 4, case.days - length))
        rate[:, first : first + length] *= case.factor
    if case.truth == "season":
        phase = rng.random() * 2 * np.pi
        rate = rate * (1 + 0.7 * np.sin(np.arange(case.days) * 2 * np.pi / 365 + phase))
    return rate


def _lots(case: Case, day: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Lot of parts fitted on a day: one of six, or the sixth of the time it was fitted in."""
    if case.lots_by_date:
        return np.minimum(day * 6 // case.days, 5)
    return rng.integers(0, 6, len(day))


def _frame(out: list[tuple[np.ndarray, ...]]) -> pd.DataFrame:
    unit, fitting, begin, end, entry, age, failed, lot = (
        np.concatenate(column) for column in zip(*out, strict=True)
    )
    return pd.DataFrame(
        {
            "unit": unit.astype(str),
            "position": "",
            "fitting": fitting,
            "piece": 0,
            "begin": BEGIN + begin.astype("timedelta64[D]"),
            "end": BEGIN + end.astype("timedelta64[D]"),
            "entry_days": entry,
            "age_days": age,
            "failed": failed.astype(bool),
            "lot": np.array([f"L{k}" for k in range(6)])[lot],
        }
    )
