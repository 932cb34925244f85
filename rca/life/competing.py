"""Failure modes that compete for the same part: each mode's share of all lives by an age."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rca.errors import NoFit, RcaError
from rca.life.curves import Estimate, StepCurve, most_unseen, normal_quantile
from rca.life.nonparametric import kaplan_meier
from rca.life.risksets import labels
from rca.life.sample import Array, Lives

_NOTHING_SEEN = "no failure by this mode so far: exact limit from the number watched"
_ALL = 1 - 1e-12  # a share that is 1 but for rounding


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class IncidenceCurve(StepCurve):
    """Share of all lives that end by one mode, against age; one row a failure age of any mode.

    `failed` is how many failed by this mode at each row.
    """

    mode: str
    failed: Array

    @property
    def incidence(self) -> Array:
        """Share of lives that have failed by this mode up to the age of each row."""
        return self.value

    def _nothing_seen(self, step: int) -> bool:
        return step < 0 or self.value[step] == 0

    def _before_first_step(self, age: float) -> Estimate:
        upper = float(-np.expm1(-self._most_unseen(age)))
        at_risk = self.watch.watched_at(age)
        return Estimate(0.0, 0.0, 0.0, upper, at_risk, self.confidence, _NOTHING_SEEN)

    def __str__(self) -> str:
        return (
            f"cumulative incidence of {self.mode}, {self.failed.sum():g} failures; {self._span()}"
        )


def cumulative_incidence(
    lives: Lives, mode: ArrayLike, *, since: float = 0.0, confidence: float = 0.95
) -> dict[str, IncidenceCurve]:
    """Estimate the share of lives that end by each mode, with late entry and counts.

    I_k(t) = sum over failure ages u <= t of S(u-) d_k / Y, with S by Kaplan-Meier over all modes
    (Aalen-Johansen). The incidences and S add up to 1. With delta = I_k(t) - I_k(u), the variance
    sums over u what the multinomial law of the failures at u gives,

        S(u-)^2 p (1 - p) / Y  -  2 S(u-) delta p / Y  +  delta^2 q / (Y (1 - q)),

    p = d_k / Y, q = d / Y; it is Greenwood's where there is one mode. Limits on the log(-log) scale
    of 1 - I, as for `kaplan_meier`.

    1 - Kaplan-Meier of one mode with the others as suspensions answers another question, what
    would happen if the other modes did not exist, and is always the larger.

    Parameters
    ----------
    mode
        One label a life; only those of failed lives count. A failure of unknown mode ("") is a
        mode of its own: its share is told, not spread over the others.

    References
    ----------
    Aalen & Johansen (1978), Scand. J. Stat. 5; Marubini & Valsecchi (1995), section 10.3, for the
    variance (both from memory).
    """
    z = normal_quantile(confidence)
    everything = kaplan_meier(lives, since=since, confidence=confidence)
    names, code = labels("mode", mode, len(lives))
    ages, at_risk = everything.age, everything.at_risk
    used = lives.exact & (lives.low > since) & (lives.low <= everything.end)
    row = np.searchsorted(ages, lives.low[used])
    before = np.concatenate(([1.0], everything.survival[:-1]))
    curves = {}
    for place in np.unique(code[lives.exact]):
        weight = lives.count[used] * (code[used] == place)
        failed = np.bincount(row, weights=weight, minlength=len(ages)).astype(np.float64)
        incidence = np.cumsum(before * failed / at_risk)
        variance = _variance(incidence, before, failed, everything.failed, at_risk)
        lower, upper = _limits(incidence, z * np.sqrt(variance))
        unseen = incidence == 0
        upper[unseen] = -np.expm1(-most_unseen(everything.watch, ages[unseen], confidence))
        curves[str(names[place])] = IncidenceCurve(
            age=ages,
            at_risk=at_risk,
            value=incidence,
            standard_error=np.sqrt(variance),
            lower=lower,
            upper=upper,
            watch=everything.watch,
            confidence=confidence,
            unit_of_age=lives.unit,
            note=everything.note,
            mode=str(names[place]) or "mode not stated",
            failed=failed,
        )
    return curves


def lives_of_mode(lives: Lives, mode: ArrayLike, *, of: str) -> Lives:
    """Return the lives with the failures of every other mode as suspensions.

    The life curve of one mode is fitted to these. A life known only to have failed between two
    looks by another mode is a suspension at the first of them.

    Raises
    ------
    NoFit
        Where no life failed by this mode.
    """
    names = np.asarray(mode)
    if names.shape != lives.low.shape:
        raise RcaError(f"mode has shape {names.shape}, there are {len(lives)} lives")
    failed = ~lives.running & (names == of)
    if not failed.any():
        others = ", ".join(sorted({str(name) for name in names[~lives.running]})) or "none"
        raise NoFit(f"No life failed by {of!r}.", next_step=f"modes that occurred: {others}")
    # A suspension needs a time under watch: one that never ran past its entry says nothing.
    kept = failed | (lives.low > lives.entry)
    return Lives(
        lives.low[kept],
        np.where(failed, lives.high, np.inf)[kept],
        lives.entry[kept],
        lives.count[kept],
        lives.unit,
    )


def _variance(
    incidence: Array, before: Array, failed: Array, all_failed: Array, at_risk: Array
) -> Array:
    """Return the variance after each row: three sums, the square of delta multiplied out."""
    p, q = failed / at_risk, all_failed / at_risk
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.where(q < 1, q / (at_risk * (1 - q)), 0.0)  # delta is 0 once S is 0
    own = np.cumsum(before**2 * p * (1 - p) / at_risk)
    mixed, mixed_first = _sums(before * p / at_risk, incidence)
    even, even_first = _sums(greenwood, incidence)
    even_second = np.cumsum(greenwood * incidence**2)
    crossed = incidence * mixed - mixed_first
    squared = incidence**2 * even - 2 * incidence * even_first + even_second
    return np.maximum(own - 2 * crossed + squared, 0.0)


def _sums(terms: Array, incidence: Array) -> tuple[Array, Array]:
    return np.cumsum(terms), np.cumsum(terms * incidence)


def _limits(incidence: Array, margin: Array) -> tuple[Array, Array]:
    """Return limits of 1 - incidence on the log(-log) scale, turned back.

    Where all have failed by this mode, the lower limit is that of the step before.
    """
    lower, upper = np.zeros_like(incidence), np.ones_like(incidence)
    inner, full = (incidence > 0) & (incidence < _ALL), incidence >= _ALL
    rest = 1 - incidence[inner]
    power = np.exp(margin[inner] / (rest * -np.log(rest)))
    lower[inner], upper[inner] = 1 - rest ** (1 / power), 1 - rest**power
    if full.any() and inner.any():
        lower[full] = lower[inner][-1]
    return lower, upper
