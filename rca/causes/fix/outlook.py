"""What a verdict on a fix will still take: said when the plan is registered, and until it is out.

Failures to come are drawn as Poisson with mean ratio x expected x a gamma error of the
expectation's own worth, and the monthly rule is applied to each draw. Where failures have been
seen since the fix, the error is drawn given them: gamma with worth + seen over worth + ratio x
expected, the conjugate of the Poisson.
"""

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
from rca.causes.fix.verdict import FEWEST_FAILURES, USUAL_RATIO, FixPlan, Verdict
from rca.causes.fix.words import Effect
from rca.errors import NoAnswer

Array = NDArray[np.float64]

RATIOS: Final = (0.15, 0.3, 0.5, 1.0)
"""True ratios for which the chance is told: strong, usual, weak, no effect."""
MONTHS: Final = (12, 24)
"""Months ahead for which it is told."""
_EVEN = 0.5  # chance from which a month is called likely


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Chance of a verdict on a fix that is planned, or that is still unsettled.

    chances
        One row for each true ratio and number of months: ratio, months, expected (failures by
        then had nothing been changed), shown (chance that the effect will have been shown),
        missed (chance that the target will have been ruled out).
    deciding
        One row for each number of months: months, month, and the further failures in all by then
        that decide it: at most `at_most` show the effect (-1: not even none), `from_on` or more
        rule the target out.
    first_month
        Month by which the effect is shown if no further failure comes; None if not in the time
        looked at.
    likely_month
        Month by which a fix that leaves the usual 0.3 is as likely as not shown; None if not in
        the time looked at.
    draws
        Simulated futures behind the chances.
    """

    plan: FixPlan
    units: int
    start: pd.Timestamp
    expected_without_failure: float  # expected failures at which no further one shows the effect
    chances: pd.DataFrame
    deciding: pd.DataFrame
    first_month: pd.Timestamp | None
    likely_month: pd.Timestamp | None
    draws: int

    def chance(self, ratio: float, months: int) -> float:
        """Chance that a fix which truly leaves `ratio` is shown within `months`."""
        rows = self.chances[(self.chances["ratio"] == ratio) & (self.chances["months"] == months)]
        if rows.empty:
            raise NoAnswer(f"no chance was computed for ratio {ratio:g} and {months} months")
        return float(rows["shown"].iloc[0])

    @property
    def failure_free_months(self) -> int | None:
        """Months without a further failure that would show the effect; None if too many."""
        if self.first_month is None:
            return None
        return (self.first_month.to_period("M") - self.start.to_period("M")).n

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
    months: tuple[int, ...] = MONTHS,
    ratios: tuple[float, ...] = RATIOS,
    renewed: bool = False,
    calendar: Calendar | None = None,
    draws: int = 2000,
    seed: int = 0,
) -> Outlook:
    """Chance of a verdict, were `units` given the fix on the day `start`.

    The parts in service are carried on at their use so far (from new where the fix renews them).

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
    return _outlook(
        plan,
        Coming.of(course, ends, plan.target_ratio),
        units=int(treated.sum()),
        start=start,
        months=months,
        ratios=ratios,
        draws=draws,
        seed=seed,
    )


def outlook_from_now(
    verdict: Verdict,
    *,
    months: tuple[int, ...] = MONTHS,
    ratios: tuple[float, ...] = RATIOS,
    draws: int = 2000,
    seed: int = 0,
) -> Outlook:
    """Chance that a fix which is under way and unsettled is decided within so many more months.

    Raises
    ------
    NoAnswer
        The verdict is out, or cannot be given whatever happens.
    """
    if verdict.effect not in (Effect.TOO_EARLY, Effect.BELOW_TARGET) or verdict.ahead.empty:
        raise NoAnswer(f"nothing is open: {verdict.effect}")
    if verdict.expected_needed == 0.0:
        raise NoAnswer("the target is ruled out: the verdict is out")
    last, ahead = verdict.path.iloc[-1], verdict.ahead
    coming = Coming(
        months=pd.DatetimeIndex(ahead["month"]),
        expected=ahead["expected"].to_numpy(float),
        monthly=ahead["monthly"].to_numpy(float),
        most=ahead["most_to_show"].to_numpy(np.int64),
        fewest=ahead["fewest_to_miss"].to_numpy(np.int64),
        worth=float(ahead["worth"].iloc[-1]),
        seen=int(last["observed"]),
        so_far=float(last["expected"]),
        target=verdict.plan.target_ratio,
    )
    return _outlook(
        verdict.plan,
        coming,
        units=verdict.units,
        start=last["month"],
        months=months,
        ratios=ratios,
        draws=draws,
        seed=seed,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Coming:
    """The coming looks of a fix, and what it has seen so far; arrays have one entry a look."""

    months: pd.DatetimeIndex
    expected: Array  # had nothing been changed, since the fix
    monthly: Array  # the same, since the look before
    most: NDArray[np.int64]  # failures since the fix that still show the effect
    fewest: NDArray[np.int64]  # that rule the target out
    worth: float
    seen: int
    so_far: float  # expected up to now
    target: float

    @classmethod
    def of(cls, course: Replay, months: pd.DatetimeIndex, target: float) -> "Coming":
        """The looks of a fix that begins now."""
        curves = (course.expected_by_curve, course.worth_by_curve, course.weights)
        return cls(
            months=months,
            expected=course.expected,
            monthly=course.monthly,
            most=most_to_show(*curves, course.expected, course.worth, target=target),
            fewest=fewest_to_miss(*curves, course.expected, target=target),
            worth=float(course.worth[-1]),
            seen=0,
            so_far=0.0,
            target=target,
        )

    def chances(self, ratios: Array, *, draws: int, seed: int) -> tuple[Array, Array]:
        """Share of the draws decided by each look, for each ratio: (ratios, looks) twice."""
        rng = np.random.default_rng(seed)
        error = rng.gamma(self.worth + self.seen, size=(1, draws, 1))
        left = ratios[:, np.newaxis, np.newaxis]
        error = error / (self.worth + left * self.so_far)
        seen = self.seen + np.cumsum(rng.poisson(left * self.monthly * error), axis=-1)
        missed = np.logical_or.accumulate(seen >= self.fewest, axis=-1)
        # the target ruled out first stays so; an effect shown first is final
        shown = np.logical_or.accumulate((seen <= self.most) & ~missed, axis=-1)
        missed = np.logical_or.accumulate(missed & ~shown, axis=-1)
        return shown.mean(axis=1), missed.mean(axis=1)

    def month_from(self, reached: NDArray[np.bool_]) -> pd.Timestamp | None:
        """The first month at which something is reached."""
        at = np.flatnonzero(reached)
        return self.months[at[0]] if len(at) else None


def _outlook(
    plan: FixPlan,
    coming: Coming,
    *,
    units: int,
    start: pd.Timestamp,
    months: tuple[int, ...],
    ratios: tuple[float, ...],
    draws: int,
    seed: int,
) -> Outlook:
    usual = ratios if USUAL_RATIO in ratios else (*ratios, USUAL_RATIO)
    shown, missed = coming.chances(np.array(usual), draws=draws, seed=seed)
    at = [number - 1 for number in months]
    count = len(ratios)
    chances = pd.DataFrame(
        {
            "ratio": np.repeat(ratios, len(months)),
            "months": np.tile(months, count),
            "expected": np.tile(coming.expected[at], count),
            "shown": shown[:count, at].reshape(-1),
            "missed": missed[:count, at].reshape(-1),
        }
    )
    deciding = pd.DataFrame(
        {
            "months": months,
            "month": coming.months[at],
            "at_most": np.maximum(coming.most[at] - coming.seen, -1),
            "from_on": np.maximum(coming.fewest[at] - coming.seen, 0),
        }
    )
    goal = expected_to_show(coming.seen, coming.worth, target=coming.target)
    return Outlook(
        plan=plan,
        units=units,
        start=start,
        expected_without_failure=float(goal),
        chances=chances,
        deciding=deciding,
        first_month=coming.month_from(coming.most >= coming.seen),
        likely_month=coming.month_from(shown[usual.index(USUAL_RATIO)] >= _EVEN),
        draws=draws,
    )
