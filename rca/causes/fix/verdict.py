"""Has the fix worked: two answers, the cause and the effect, replayed from the records.

Lives are cut at each unit's own fix date; what was expected had nothing changed comes from
`baseline`, the looks and the rule from `replay`, the cause from `cause_reading`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.fix.baseline import Baseline, fit_baseline
from rca.causes.fix.cause_reading import CauseCheck, check_cause
from rca.causes.fix.pieces import Pieces, day_number
from rca.causes.fix.replay import Calendar, Course, Replay, follow_rule, replay, uses_own_level
from rca.causes.fix.sequential import SHOWN_AT, expected_to_show, fewest_to_miss, most_to_show
from rca.causes.fix.words import CauseAnswer, ChosenBy, Effect
from rca.errors import NoFit, RcaError
from rca.life.sample import Interval

Array = NDArray[np.float64]

FEWEST_FAILURES: Final = 5
"""Failures before the fix without which nothing is judged."""
HORIZON: Final = 24
"""Months ahead for which a verdict month is sought."""
USUAL_RATIO: Final = 0.3
"""Failure rate that a fix which works is taken to leave, until its own record says more."""
_NOTHING = 1e-6  # expected failures below which nothing was run since the fix


@dataclass(frozen=True, slots=True)
class FixPlan:
    """What a fix is meant to do and how its units were chosen, as registered."""

    fix: str
    part: str
    mode: str | None = None
    cause: str = ""
    kind: str = "corrective"  # or "containment"
    chosen_by: str = ChosenBy.OTHER
    target_ratio: float = 0.5  # failure rate after over that before which the fix must reach
    registered: pd.Timestamp | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.target_ratio < 1.0:
            raise RcaError(
                f"fix {self.fix}: target_ratio is {self.target_ratio:g}",
                next_step="give the failure rate after the fix over that before, between 0 and 1",
            )
        if self.chosen_by not in tuple(ChosenBy):
            raise RcaError(
                f"fix {self.fix}: chosen_by is {self.chosen_by!r}",
                next_step="use one of: " + ", ".join(ChosenBy),
            )

    def changes_from(self, earlier: "FixPlan") -> tuple[str, ...]:
        """What was changed since the plan was `earlier`, one line an entry."""
        return tuple(
            f"{entry.name} was {getattr(earlier, entry.name)}, is {getattr(self, entry.name)}"
            for entry in fields(self)
            if getattr(self, entry.name) != getattr(earlier, entry.name)
        )


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """Two answers on one fix: is the cause removed, and has the effect been shown.

    `ratio` is the failure rate at equal age after the fix over that before; None is unknown.
    `path` has one row a look: month, observed, expected, worth, ratio, lower, upper,
    evidence_shown, evidence_missed, most_to_show (with so many failures or fewer the effect would
    be shown; -1: not even with none), fewest_to_miss (with so many or more the target is missed),
    group_observed, group_expected, relapse_score, effect. `ahead` carries month, expected, worth,
    most_to_show and fewest_to_miss on into the coming months, with what each month adds (monthly).
    """

    plan: FixPlan
    effect: Effect
    cause: CauseCheck
    units: int
    baseline_failures: int
    applied_from: pd.Timestamp | None = None
    applied_to: pd.Timestamp | None = None
    observed: int | None = None
    expected: float | None = None
    expected_beyond_seen: float | None = None
    ratio: float | None = None
    ratio_interval: Interval | None = None
    worth: float | None = None  # the expectation is known as well as from so many failures
    expected_needed: float | None = None
    earliest_month: pd.Timestamp | None = None
    likely_month: pd.Timestamp | None = None
    shown_month: pd.Timestamp | None = None
    ratio_when_shown: float | None = None
    relapsed_month: pd.Timestamp | None = None
    group_units: int = 0
    group_observed: float | None = None
    group_expected: float | None = None
    reasons: tuple[str, ...] = ()  # why the effect cannot be judged
    notes: tuple[str, ...] = ()  # what was assumed
    path: pd.DataFrame = field(default_factory=pd.DataFrame)
    ahead: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def cause_answer(self) -> CauseAnswer:
        """Removed, still present or not checked."""
        return self.cause.answer

    @property
    def verified(self) -> bool:
        """Verified effective: effect shown and cause removed."""
        return self.effect is Effect.SHOWN and self.cause_answer is CauseAnswer.REMOVED

    def __str__(self) -> str:
        words = f"{self.plan.fix}: cause {self.cause_answer}, effect: {self.effect}"
        if self.reasons:
            return f"{words} ({'; '.join(self.reasons)})"
        if self.expected is None:
            return f"{words} ({self.units} units, no look yet)"
        words += f"; {self.observed} failures on {self.units} units, {self.expected:.1f} expected"
        if self.ratio is not None and self.ratio_interval is not None:
            words += f", ratio {self.ratio:.2f} ({self.ratio_interval})"
        if self.effect is Effect.TOO_EARLY and self.expected_needed is not None:
            words += f"; {self.expected_needed:.1f} more expected failures needed"
        return words

    def summary(self) -> dict[str, Any]:
        """The row of summary.json: days and months as text, unknown and unbounded as None."""
        plan, limits = self.plan, self.ratio_interval
        return {
            "fix": plan.fix,
            "part": plan.part,
            "mode": plan.mode,
            "cause": plan.cause,
            "units": self.units,
            "applied_from": _text(self.applied_from, "%Y-%m-%d"),
            "observed": self.observed,
            "expected": self.expected,
            "expected_beyond_seen": self.expected_beyond_seen,
            "ratio": {
                "value": self.ratio,
                "lower": None if limits is None else limits.lower,
                "upper": None if limits is None or np.isinf(limits.upper) else limits.upper,
            },
            "cause_answer": str(self.cause_answer),
            "effect": str(self.effect),
            "verified": self.verified,
            "expected_needed": self.expected_needed,
            "earliest_month": _text(self.earliest_month, "%Y-%m"),
            "likely_month": _text(self.likely_month, "%Y-%m"),
        }


def _text(date: pd.Timestamp | None, form: str) -> str | None:
    return None if date is None else date.strftime(form)


def judge(
    pieces: Pieces,
    applied: pd.DataFrame,
    plan: FixPlan,
    *,
    looks: Sequence[pd.Timestamp] | pd.DatetimeIndex,
    readings: pd.DataFrame | None = None,
    reasons: Sequence[str] = (),
    calendar: Calendar | None = None,
) -> Verdict:
    """Judge one fix as if one had looked at every month's end of `looks`.

    Parameters
    ----------
    pieces
        All pieces of the part on all comparable units, treated or not, with the failures of the
        plan's mode; on one scale.
    applied
        Columns unit, date: one row a treated unit (its first date counts; what happens on that
        day lies before the fix).
    looks
        Ends of months; those before the first fix are passed over, and nothing after the last is
        used.
    readings
        Upstream readings after the fix, as `check_cause` takes them.
    reasons
        What the caller knows that forbids a judgement (coding changed, exposure unknown, another
        fix on the same units and day).
    calendar
        How far use and season may have shifted.
    """
    ends = pd.DatetimeIndex(pd.to_datetime(list(looks))).sort_values()
    if len(ends) == 0:
        raise RcaError("no month's end to look at", next_step="give at least one look")
    done = _first_dates(applied, ends[-1])
    known = pieces.until(float(day_number(ends[-1:])[0]))
    verdict = Verdict(
        plan=plan,
        effect=Effect.TOO_EARLY,
        cause=check_cause(readings, done, until=ends[-1]),
        units=len(done),
        baseline_failures=int(known.failed.sum()),
    )
    if len(done) == 0:
        return replace(verdict, notes=("the fix has been applied to no unit yet",))
    first = done["date"].min()
    past = known.until(float(day_number([first])[0]))
    verdict = replace(
        verdict,
        applied_from=first,
        applied_to=done["date"].max(),
        baseline_failures=int(past.failed.sum()),
    )
    baseline, why_not = _old_curve(past, done, reasons=reasons, units=known.units)
    if baseline is None:
        return replace(verdict, effect=Effect.CANNOT_JUDGE, reasons=why_not)
    ends = ends[ends > first]
    if len(ends) == 0:
        return replace(verdict, notes=("no month has ended since the fix",))
    fix_day = _fix_days(known, done)
    return _follow(verdict, baseline, known, fix_day=fix_day, ends=ends, calendar=calendar)


def _first_dates(applied: pd.DataFrame, last: pd.Timestamp) -> pd.DataFrame:
    """One row a treated unit: unit and its first fix date, up to the last look."""
    dates = pd.DataFrame(
        {"unit": applied["unit"], "date": pd.to_datetime(applied["date"]).dt.normalize()}
    )
    dates = dates[dates["date"] <= last]
    return dates.groupby("unit", as_index=False, sort=True)["date"].min()


def _fix_days(pieces: Pieces, done: pd.DataFrame) -> Array:
    """Day of the fix for each unit of the pieces, inf where untreated."""
    days = pd.Series(day_number(done["date"]), index=done["unit"].to_numpy(dtype=object))
    found: Array = days.reindex(pieces.units).fillna(np.inf).to_numpy(dtype=np.float64)
    return found


def _old_curve(
    past: Pieces, done: pd.DataFrame, *, reasons: Sequence[str], units: NDArray[np.object_]
) -> tuple[Baseline | None, tuple[str, ...]]:
    """The curve before the fix, or every reason why the effect cannot be judged."""
    why = list(reasons)
    failures, treated = int(past.failed.sum()), len(done)
    unknown = treated - int(np.isin(done["unit"].to_numpy(dtype=object), units).sum())
    if failures < FEWEST_FAILURES:
        why.append(f"only {failures} failures before the fix, {FEWEST_FAILURES} are the fewest")
    elif past.failed.all():
        why.append("no surviving part is known before the fix: what was at risk is unknown")
    if treated < 2:
        why.append("fewer than 2 units were treated")
    if unknown > treated / 5:
        why.append(f"no age of the part is known on {unknown} of the {treated} treated units")
    if why:
        return None, tuple(why)
    try:
        return fit_baseline(past), ()
    except NoFit as trouble:
        return None, (trouble.message,)


def _follow(
    verdict: Verdict,
    baseline: Baseline,
    known: Pieces,
    *,
    fix_day: Array,
    ends: pd.DatetimeIndex,
    calendar: Calendar | None,
) -> Verdict:
    """Replay the looks and the months ahead, apply the rule and fill in the verdict."""
    plan, count, now = verdict.plan, len(ends), len(ends) - 1
    coming = pd.date_range(ends[-1] + pd.Timedelta(days=1), periods=HORIZON, freq="ME")
    days = day_number(ends.append(coming))
    whole = replay(
        baseline,
        known.carried_on(float(days[-1])),
        fix_day=fix_day,
        looks=days,
        known=count,
        own_level=uses_own_level(plan.chosen_by),
        calendar=calendar,
    )
    course = follow_rule(whole.part(slice(count)), target=plan.target_ratio)
    frame = _frame(whole, ends.append(coming), target=plan.target_ratio)
    path = frame.iloc[:count].copy()
    path["relapse_score"] = course.scores
    path["effect"] = [str(word) for word in course.words]
    needed, earliest, likely = still_needed(whole, course, now, target=plan.target_ratio)
    shown, back = course.shown_at, course.relapsed_at
    return replace(
        verdict,
        **_at_look(whole, now),
        effect=course.words[now],
        expected_beyond_seen=whole.beyond,
        expected_needed=needed,
        earliest_month=None if earliest is None else coming[earliest],
        likely_month=None if likely is None else coming[likely],
        shown_month=None if shown is None else ends[shown],
        ratio_when_shown=None if shown is None else float(path["ratio"].iloc[shown]),
        relapsed_month=None if back is None else ends[back],
        notes=_notes(plan, whole, now, course, likely),
        path=path,
        ahead=frame.iloc[count:][_AHEAD].reset_index(drop=True),
    )


_AHEAD = ["month", "expected", "monthly", "worth", "most_to_show", "fewest_to_miss"]


def _at_look(whole: Replay, now: int) -> dict[str, Any]:
    """What stands at the last look."""
    lower, upper = whole.limits()
    expected, group = float(whole.expected[now]), whole.group
    counts = bool(group.expected[now] > 0)
    limits = Interval(
        float(lower[now]),
        float(upper[now]),
        method="exact, given the failures since the fix and the worth of the expectation",
    )
    ran = expected > _NOTHING
    return {
        "observed": int(whole.observed[now]),
        "expected": expected,
        "ratio": float(whole.observed[now] / expected) if ran else None,
        "ratio_interval": limits if ran else None,
        "worth": float(whole.worth[now]),
        "group_units": group.units if counts else 0,
        "group_observed": float(group.observed[now]) if counts else None,
        "group_expected": float(group.expected[now]) if counts else None,
    }


def _frame(whole: Replay, months: pd.DatetimeIndex, *, target: float) -> pd.DataFrame:
    """One row a look, past and coming, with what would decide it."""
    lower, upper = whole.limits()
    curves = (whole.expected_by_curve, whole.worth_by_curve, whole.weights)
    with np.errstate(over="ignore"):
        shown = np.exp(whole.evidence_shown(whole.observed))
        missed = np.exp(whole.evidence_missed(whole.observed, target))
    return pd.DataFrame(
        {
            "month": months,
            "observed": whole.observed.astype(np.int64),
            "expected": whole.expected,
            "monthly": whole.monthly,
            "worth": whole.worth,
            "ratio": whole.observed / whole.expected,
            "lower": lower,
            "upper": upper,
            "evidence_shown": shown,
            "evidence_missed": missed,
            "most_to_show": most_to_show(*curves, whole.expected, whole.worth, target=target),
            "fewest_to_miss": fewest_to_miss(*curves, whole.expected, target=target),
            "group_observed": whole.group.observed,
            "group_expected": whole.group.expected,
        }
    )


def still_needed(
    whole: Replay, course: Course, now: int, *, target: float
) -> tuple[float | None, int | None, int | None]:
    """Expected failures still needed; months ahead of the earliest and likely shown effect.

    Earliest: no further failure comes. Likely: they go on at the ratio seen so far, weighed with
    one failure at the ratio 0.3 that a working fix usually leaves. Nothing is needed once decided.
    """
    if course.decided:
        return 0.0, None, None
    seen, expected = float(whole.observed[now]), float(whole.expected[now])
    goal = float(expected_to_show(seen, whole.worth[now], target=target))
    needed = max(goal - expected, 0.0) if np.isfinite(goal) else None
    likely_ratio = (seen + 1.0) / (expected + 1.0 / USUAL_RATIO)
    earliest, likely = (
        _first_shown(whole, whole.observed_ahead(now, ratio), now, target)
        for ratio in (0.0, likely_ratio)
    )
    return needed, earliest, likely


def _first_shown(whole: Replay, observed: Array, now: int, target: float) -> int | None:
    """Months from `now` to the first look at which this course of failures shows the effect."""
    shown = np.logical_or.accumulate(whole.evidence_shown(observed) >= np.log(SHOWN_AT))
    at = np.flatnonzero((shown & whole.meets(observed, target))[now + 1 :])
    return int(at[0]) if len(at) else None


def _notes(
    plan: FixPlan, whole: Replay, now: int, course: Course, likely: int | None
) -> tuple[str, ...]:
    """What was assumed, in words for the page."""
    notes = [_CHOSEN[ChosenBy(plan.chosen_by)]]
    if whole.group.expected[now] > 0:
        notes.append(f"{whole.group.units} units without the fix in the same months are compared")
    else:
        notes.append("assumes the same use and season as before the fix")
    if whole.worth[now] < 3.0:
        notes.append(
            "the parts run at ages on which the failures before the fix say little: "
            "practically nothing can be shown"
        )
    if not course.decided and likely is None:
        notes.append(
            f"at the rate seen so far no effect is likely to be shown within {HORIZON} months"
        )
    if course.shown_at is not None:
        notes.append("the ratio at the month it was first shown is usually too good: read it again")
    return tuple(notes)


_CHOSEN = {
    ChosenBy.ALL: "all units got the fix: each is expected to fail as its own record and the "
    "fleet's say",
    ChosenBy.CAUSE_FOUND: "units got the fix because the cause was found on them: each is expected "
    "to fail as its own record and that group's before the fix say",
    ChosenBy.MOST_FAILURES: "units were picked for their many failures: part of their fall was to "
    "come anyway and is not credited to the fix",
    ChosenBy.OTHER: "how the units were chosen is not known: they are taken for ordinary ones of "
    "the fleet, which makes a fix look no better than it is",
}
