"""A fix followed month by month: observed, expected, how sure, and the rule's words.

The simulated operating characteristics of the rule are in `tests/benchmarks/README.md`, section
"Verdict".
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rca.causes.fix.baseline import Baseline, expect, run_on_old_curve
from rca.causes.fix.pieces import Pieces
from rca.causes.fix.sequential import (
    MISSED_AT,
    SHOWN_AT,
    log_evidence_missed,
    log_evidence_shown,
    ratio_limits,
    ratio_upper,
    relapse_plan,
    relapse_scores,
)
from rca.causes.fix.words import ChosenBy, Effect

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MONTH_WORTH: Final = 25.0
"""Worth, in failures, of the belief in the same use and season (months differ by some 20 %)."""
_GROUP_FROM = 1.0  # a comparison group counts once it would have had this many failures


@dataclass(frozen=True, slots=True)
class Calendar:
    """How far use and season since the fix may differ from those before it.

    month_worth
        Worth, in failures, of the belief that they do not (25; 10 where use is known to shift).
    reserve
        Added to 1 / worth where no comparison group exists (0, or 1 / 25 where use may shift).
    """

    month_worth: float = MONTH_WORTH
    reserve: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Units not (or not yet) fixed in the same months, at each look."""

    units: int
    observed: Array  # (looks,), 0 where the group is too small to count
    expected: Array  # (looks,)
    factor: Array  # (spreads, looks): what the expectation of the treated is multiplied by
    blur: Array  # (looks,): what it adds to 1 / worth


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """Observed and expected failures of the treated units at each look.

    Arrays by curve have shape (spreads, looks), the others (looks,). `worth` says as how many
    failures the expectation is worth; `monthly` is what was expected since the look before.
    """

    weights: Array  # (spreads,)
    expected_by_curve: Array
    worth_by_curve: Array
    observed: Array
    expected: Array
    worth: Array
    monthly: Array
    group: Group
    beyond: float  # expected by the last known look at ages not watched before the fix

    def evidence_shown(self, observed: Array) -> Array:
        """Log evidence, at each look, that the rate fell."""
        return log_evidence_shown(
            observed, self.expected_by_curve, self.worth_by_curve, self.weights
        )

    def evidence_missed(self, observed: Array, target: float) -> Array:
        """Log evidence, at each look, against the target being met."""
        return log_evidence_missed(
            observed, self.expected_by_curve, self.worth_by_curve, self.weights, target=target
        )

    def meets(self, observed: Array, target: float) -> Flags:
        """At each look: does the one-sided 80 % upper limit of the ratio lie within the target."""
        upper: Array = ratio_upper(observed, self.expected, self.worth)
        return upper <= target

    def limits(self) -> tuple[Array, Array]:
        """Limits (95 %) of the ratio at each look."""
        return ratio_limits(self.observed, self.expected, self.worth)

    def observed_ahead(self, now: int, ratio: float) -> Array:
        """Failures as seen up to look `now`, and from there on `ratio` times those expected."""
        coming = np.where(np.arange(len(self.observed)) > now, self.monthly, 0.0)
        return np.where(
            np.arange(len(self.observed)) > now,
            self.observed[now] + ratio * np.cumsum(coming),
            self.observed,
        )

    def part(self, looks: slice) -> "Replay":
        """The same for some of the looks."""
        return Replay(
            weights=self.weights,
            expected_by_curve=self.expected_by_curve[:, looks],
            worth_by_curve=self.worth_by_curve[:, looks],
            observed=self.observed[looks],
            expected=self.expected[looks],
            worth=self.worth[looks],
            monthly=self.monthly[looks],
            group=self.group,
            beyond=self.beyond,
        )


def replay(
    baseline: Baseline,
    pieces: Pieces,
    *,
    fix_day: Array,
    looks: Array,
    known: int | None = None,
    own_level: bool = False,
    calendar: Calendar | None = None,
) -> Replay:
    """Observed and expected failures of the treated units at each look, and how sure they are.

    For each spread between units the expectation E is scaled by the comparison group's factor,
    and 1 / c = variance / E^2 + what the group adds. Over the spreads: E = sum w E_v and
    c = E^2 / Var with Var = sum w (E_v^2 / c_v + E_v^2) - E^2.

    Parameters
    ----------
    baseline
        The curve from before the first fix.
    pieces
        All pieces; carried on (`Pieces.carried_on`) past looks that lie ahead.
    fix_day
        Day of the fix for each unit of `pieces.units`, inf where untreated.
    looks
        Days of the looks, rising, shape (looks,).
    known
        How many of the looks have been; the rest lie ahead (default: all have been).
    own_level
        Shrink units toward their own group's level: for units chosen as the cause was found.
    """
    calendar, treated = calendar or Calendar(), np.isfinite(fix_day)
    known = len(looks) if known is None else known
    now = max(known - 1, 0)
    run = run_on_old_curve(baseline, pieces, start=fix_day, stops=looks)
    plain = expect(baseline, run, treated, own_level=own_level)
    group = _comparison(
        baseline,
        pieces,
        fix_day=fix_day,
        looks=looks,
        known=known,
        own_level=own_level,
        calendar=calendar,
    )
    w = baseline.weights
    mean = np.maximum(plain.mean, 1e-12)
    inverse = np.maximum(plain.variance / mean**2 + group.blur, 1e-9)
    scaled = mean * group.factor
    pooled = w @ scaled
    variance = w @ (scaled**2 * (inverse + 1.0)) - pooled**2
    return Replay(
        weights=w,
        expected_by_curve=scaled,
        worth_by_curve=1.0 / inverse,
        observed=run.failed.sum(axis=1),
        expected=pooled,
        worth=pooled**2 / np.maximum(variance, 1e-300),
        monthly=(w @ plain.step) * (w @ group.factor),
        group=group,
        beyond=_beyond(
            baseline,
            pieces,
            plain.level[:, now] * group.factor[:, [now]],
            fix_day=fix_day,
            stop=looks[now : now + 1],
        ),
    )


def _beyond(
    baseline: Baseline, pieces: Pieces, level: Array, *, fix_day: Array, stop: Array
) -> float:
    """Expected failures up to `stop` at ages beyond the oldest watched before the fix."""
    run = run_on_old_curve(baseline, pieces, start=fix_day, stops=stop, above=baseline.oldest)
    gained = run.hazard[:, 0, np.isfinite(fix_day)]
    return float(baseline.weights @ (level * gained).sum(axis=1))


def _comparison(
    baseline: Baseline,
    pieces: Pieces,
    *,
    fix_day: Array,
    looks: Array,
    known: int,
    own_level: bool,
    calendar: Calendar,
) -> Group:
    """Untreated units since the first fix; a unit fixed later belongs until its own date.

    Units first watched after the first fix are no group: they may differ in more than the fix.
    Ahead of the last look the group is taken to go on failing as it did.
    """
    first = float(fix_day.min())
    watched = np.zeros(len(pieces.units), dtype=bool)
    watched[pieces.unit[pieces.begin <= first]] = True
    inside = watched & (fix_day > first)
    shape = (len(baseline.weights), len(looks))
    none = np.zeros(len(looks))
    if inside.sum() < 2:
        reserve = np.full(len(looks), calendar.reserve)
        return Group(0, none, none, np.ones(shape), reserve)
    start = np.where(inside, first, np.inf)
    stops = np.minimum(looks[:, np.newaxis], fix_day[np.newaxis, :])
    run = run_on_old_curve(baseline, pieces, start=start, stops=stops)
    by_curve = np.zeros(shape)
    for members in (inside & ~np.isfinite(fix_day), inside & np.isfinite(fix_day)):
        if members.any():
            by_curve += expect(baseline, run, members, own_level=own_level).mean
    expected, observed = baseline.weights @ by_curve, run.failed.sum(axis=1)
    k0 = calendar.month_worth
    if known == 0:
        observed = expected.copy()
    elif known < len(looks):
        pace = (k0 + observed[known - 1]) / (k0 + expected[known - 1])
        observed[known:] += pace * (expected[known:] - expected[known - 1])
    counts = expected >= _GROUP_FROM
    return Group(
        units=int(inside.sum()),
        observed=np.where(counts, observed, 0.0),
        expected=np.where(counts, expected, 0.0),
        factor=np.where(counts, (k0 + observed) / (k0 + by_curve), 1.0),
        blur=np.where(counts, 1.0 / (k0 + observed), calendar.reserve),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The rule's word at each look, where it decided, and the relapse score since."""

    words: tuple[Effect, ...]
    shown_at: int | None  # index of the look
    relapsed_at: int | None
    missed: bool  # the target is ruled out
    scores: Array  # (looks,), NaN before the effect was shown

    @property
    def decided(self) -> bool:
        """No further failure-free running would change the last word to effect shown."""
        return self.missed or self.shown_at is not None


def follow_rule(course: Replay, *, target: float) -> Course:
    """Apply the monthly rule; a shown effect is final but for the relapse watch.

    *Shown* (evidence 20 or more) and *missed* (evidence 10 or more against the target) are
    remembered from look to look. Missed: improved, below target, if shown or the upper 95 % limit
    of the ratio is below 1, else not effective. Not missed, shown, and the target met by the
    one-sided 80 % limit: effect shown. Shown alone: improved, below target. Else too early.
    """
    seen = course.observed
    shown = np.logical_or.accumulate(course.evidence_shown(seen) >= np.log(SHOWN_AT))
    missed = np.logical_or.accumulate(course.evidence_missed(seen, target) >= np.log(MISSED_AT))
    better = shown | (missed & (course.limits()[1] < 1.0))
    words = np.full(len(seen), Effect.TOO_EARLY, dtype=object)
    words[missed] = Effect.NOT_EFFECTIVE
    words[better] = Effect.BELOW_TARGET
    scores = np.full(len(seen), np.nan)
    final = np.flatnonzero(shown & course.meets(seen, target) & ~missed)
    if len(final) == 0:
        return Course(_words(words), None, None, bool(missed[-1]), scores)
    at = int(final[0])
    ratio, limit = relapse_plan(float(seen[at] / course.expected[at]))
    after = slice(at + 1, None)
    scores[at] = 0.0
    scores[after] = relapse_scores(np.diff(seen)[at:], course.monthly[after], ratio=ratio)
    words[at:] = Effect.SHOWN
    back = np.flatnonzero(scores >= limit)
    relapsed = int(back[0]) if len(back) else None
    if relapsed is not None:
        words[relapsed:] = Effect.RELAPSED
    return Course(_words(words), at, relapsed, False, scores)


def _words(words: NDArray[np.object_]) -> tuple[Effect, ...]:
    """The words as they are enumerated (numpy keeps only their text)."""
    return tuple(Effect(word) for word in words)


def uses_own_level(chosen_by: str) -> bool:
    """Whether units so chosen are shrunk toward their own group's level, not the fleet's.

    Units on which the cause was found form a worse group; units picked for their many failures
    (or in an unknown way) must not be credited with falling back to the fleet's level.
    """
    return chosen_by == ChosenBy.CAUSE_FOUND
