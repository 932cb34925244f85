"""What a verdict on a planned fix will take: said when the plan is registered, not afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.fix.baseline import fit_baseline
from rca.causes.fix.pieces import Pieces, day_number
from rca.causes.fix.replay import Calendar, Replay, replay, uses_own_level
from rca.causes.fix.sequential import expected_to_show, fewest_to_miss, most_to_show
from rca.causes.fix.verdict import FEWEST_FAILURES, FixPlan
from rca.errors import NoAnswer

Array = NDArray[np.float64]

RATIOS: Final = (0.15, 0.3, 0.5, 1.0)
"""True ratios for which the chance is told: strong, usual, weak, no effect."""


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Chance of a verdict on a planned fix.

    `chances` has one row for each true ratio and number of months: ratio, months, expected
    (failures had nothing been changed), shown (chance that the effect will have been shown),
    missed (chance that the target will have been ruled out).
    """

    plan: FixPlan
    units: int
    start: pd.Timestamp
    expected_without_failure: float  # expected failures at which none observed shows the effect
    chances: pd.DataFrame

    def chance(self, ratio: float, months: int) -> float:
        """Chance that a fix which truly leaves `ratio` is shown within `months`."""
        rows = self.chances[(self.chances["ratio"] == ratio) & (self.chances["months"] == months)]
        if rows.empty:
            raise NoAnswer(f"no chance was computed for ratio {ratio:g} and {months} months")
        return float(rows["shown"].iloc[0])

    def __str__(self) -> str:
        lines = [f"{self.plan.fix} on {self.units} units from {self.start:%Y-%m-%d}:"]
        for row in self.chances.itertuples():
            lines.append(
                f"if it leaves {row.ratio:g} of the failure rate: {row.shown:.0%} chance that the "
                f"effect is shown within {row.months} months ({row.expected:.1f} failures expected "
                f"without the fix)"
            )
        return "\n".join(lines)


def plan_outlook(
    pieces: Pieces,
    units: Sequence[str],
    plan: FixPlan,
    *,
    start: pd.Timestamp,
    months: tuple[int, ...] = (12, 24),
    ratios: tuple[float, ...] = RATIOS,
    renewed: bool = False,
    calendar: Calendar | None = None,
    draws: int = 2000,
    seed: int = 0,
) -> Outlook:
    """Chance of a verdict, were `units` given the fix on the day `start`.

    The parts in service are carried on at their use so far (from new where the fix renews them),
    failures after the fix are drawn as Poisson with mean ratio x expected x a gamma error of the
    expectation's own worth, and the monthly rule is applied to each draw.

    Raises
    ------
    NoAnswer
        With fewer than 5 failures so far, or no treated unit in service.
    NoFit
        Where the failures so far fit no life curve.
    """
    day = float(day_number([start])[0])
    past = pieces.until(day)
    if past.failed.sum() < FEWEST_FAILURES:
        raise NoAnswer(
            f"{int(past.failed.sum())} failures so far: {FEWEST_FAILURES} are needed to plan on",
            next_step="gather failures of like units, or plan a check of the cause itself",
        )
    treated = np.isin(past.units, np.array(list(units), dtype=object))
    ends = pd.date_range(start + pd.Timedelta(days=1), periods=max(months), freq="ME")
    looks = day_number(ends)
    coming = past.carried_on(day).carried_on(looks[-1], from_new=treated if renewed else None)
    course = replay(
        fit_baseline(past),
        coming,
        fix_day=np.where(treated, day, np.inf),
        looks=looks,
        known=0,
        own_level=uses_own_level(plan.chosen_by),
        calendar=calendar,
    )
    if course.expected[-1] <= 1e-9:
        raise NoAnswer("none of the units to be treated has this part in service")
    shown, missed = _chances(course, np.array(ratios), plan.target_ratio, draws, seed)
    at = [number - 1 for number in months]
    table = pd.DataFrame(
        {
            "ratio": np.repeat(ratios, len(months)),
            "months": np.tile(months, len(ratios)),
            "expected": np.tile(course.expected[at], len(ratios)),
            "shown": shown[:, at].reshape(-1),
            "missed": missed[:, at].reshape(-1),
        }
    )
    return Outlook(
        plan=plan,
        units=int(treated.sum()),
        start=start,
        expected_without_failure=float(
            expected_to_show(0, course.worth[-1], target=plan.target_ratio)
        ),
        chances=table,
    )


def _chances(
    course: Replay, ratios: Array, target: float, draws: int, seed: int
) -> tuple[Array, Array]:
    """Share of the draws decided by each look, for each ratio: (ratios, looks) twice."""
    rng = np.random.default_rng(seed)
    curves = (course.expected_by_curve, course.worth_by_curve, course.weights)
    most = most_to_show(*curves, course.expected, course.worth, target=target)
    fewest = fewest_to_miss(*curves, course.expected, target=target)
    worth = float(course.worth[-1])
    error = rng.gamma(worth, 1.0 / worth, size=(1, draws, 1))
    mean = ratios[:, np.newaxis, np.newaxis] * course.monthly * error
    seen = np.cumsum(rng.poisson(mean), axis=-1)
    missed = np.logical_or.accumulate(seen >= fewest, axis=-1)
    # the target ruled out first stays so; an effect shown first is final
    shown = np.logical_or.accumulate((seen <= most) & ~missed, axis=-1)
    missed = np.logical_or.accumulate(missed & ~shown, axis=-1)
    return shown.mean(axis=1), missed.mean(axis=1)
