"""Survival and cumulative hazard without a model: Kaplan-Meier and Nelson-Aalen."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from rca.errors import NoFit
from rca.life.curves import Estimate, StepCurve, Watch, normal_quantile
from rca.life.sample import Array, Lives

Limits = Literal["log-log", "log", "plain"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SurvivalCurve(StepCurve):
    """Share still running against age (Kaplan-Meier); one row a failure age."""

    failed: Array

    @property
    def survival(self) -> Array:
        """Share that survives the age of each row, given that it ran at `begin`."""
        return self.value

    def _before_first_step(self, age: float) -> Estimate:
        lower = float(np.exp(-self._most_unseen(age)))
        at_risk = self.watch.watched_at(age)
        return Estimate(1.0, 0.0, lower, 1.0, at_risk, self.confidence, _NOTHING_SEEN)

    def __str__(self) -> str:
        return f"survival, {self.failed.sum():g} failures at {len(self.age)} ages; {self._span()}"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HazardCurve(StepCurve):
    """Cumulative hazard against age (Nelson-Aalen); one row a failure age."""

    failed: Array

    @property
    def cumulative_hazard(self) -> Array:
        """Failures that one part always kept running would have had by the age of each row."""
        return self.value

    def _before_first_step(self, age: float) -> Estimate:
        upper, at_risk = self._most_unseen(age), self.watch.watched_at(age)
        return Estimate(0.0, 0.0, 0.0, upper, at_risk, self.confidence, _NOTHING_SEEN)

    def __str__(self) -> str:
        failures = f"{self.failed.sum():g} failures at {len(self.age)} ages"
        return f"cumulative hazard, {failures}; {self._span()}"


_NOTHING_SEEN = "no failure so far: exact one-sided limit from the number watched"


def kaplan_meier(
    lives: Lives, *, since: float = 0.0, confidence: float = 0.95, limits: Limits = "log-log"
) -> SurvivalCurve:
    """Estimate the share still running at each age, with late entry and counts.

    S(t) = prod over failure ages u <= t of (1 - d / Y), where d failed at u and Y were at risk
    (entry < u <= age); variance by Greenwood, S^2 * sum d / (Y (Y - d)). Pointwise limits on the
    log(-log S) scale, or "log" or "plain"; where S has fallen to 0 the upper limit is that of
    the step before.

    Parameters
    ----------
    lives
        Exact and right-censored lives. A failure comes before a suspension at the same age.
    since
        Age from which the curve counts: survival given that a part ran at that age. Useful where
        the few parts watched from new all failed early and S would be 0 for good.

    Raises
    ------
    NoFit
        Where lives are known only to lie between two ages, or none was watched after `since`.

    References
    ----------
    Kaplan & Meier (1958), J. Am. Stat. Assoc. 53; Kalbfleisch & Prentice (1980), section 1.3, for
    the limits; late entry as in Klein & Moeschberger (2003), section 4.6 (all from memory).
    """
    z = normal_quantile(confidence)
    age, failed, at_risk, watch = _steps(lives, since)
    survival = np.cumprod(1 - failed / at_risk, dtype=np.float64)
    alive = survival > 0
    with np.errstate(divide="ignore"):
        spread = np.sqrt(np.cumsum(failed / (at_risk * (at_risk - failed))))
    lower, upper = (np.full_like(survival, edge) for edge in (0.0, np.nan))
    lower[alive], upper[alive] = _limits(survival[alive], z * spread[alive], limits)
    upper[~alive] = upper[alive][-1] if alive.any() else 1.0
    error = np.full_like(survival, np.nan)
    error[alive] = survival[alive] * spread[alive]
    return SurvivalCurve(
        age=age,
        at_risk=at_risk,
        value=survival,
        standard_error=error,
        lower=lower,
        upper=upper,
        watch=watch,
        confidence=confidence,
        unit_of_age=lives.unit,
        note=_fell_to_zero(age[~alive], watch),
        failed=failed,
    )


def nelson_aalen(lives: Lives, *, since: float = 0.0, confidence: float = 0.95) -> HazardCurve:
    """Estimate the cumulative hazard at each age, with late entry and counts.

    H(t) = sum of d / Y over the failure ages up to t, variance sum d / Y^2; limits on the log
    scale, H * exp(+-z * se / H). Parameters and errors as for `kaplan_meier`.

    References
    ----------
    Nelson (1972), Technometrics 14; Aalen (1978), Ann. Stat. 6 (from memory).
    """
    z = normal_quantile(confidence)
    age, failed, at_risk, watch = _steps(lives, since)
    hazard = np.cumsum(failed / at_risk)
    error = np.sqrt(np.cumsum(failed / at_risk**2))
    factor = np.exp(z * error / hazard)
    return HazardCurve(
        age=age,
        at_risk=at_risk,
        value=hazard,
        standard_error=error,
        lower=hazard / factor,
        upper=hazard * factor,
        watch=watch,
        confidence=confidence,
        unit_of_age=lives.unit,
        failed=failed,
    )


def demand_exact(lives: Lives, method: str) -> None:
    """Refuse lives that are known only to end between two ages."""
    vague = ~(lives.exact | lives.running)
    if vague.any():
        raise NoFit(
            f"{method} needs exact failure ages; {lives.count[vague].sum():g} of "
            f"{lives.count.sum():g} failed at an age known only to lie between two looks.",
            next_step="fit a life distribution instead (fit_weibull), which can use them",
        )


def _steps(lives: Lives, since: float) -> tuple[Array, Array, Array, Watch]:
    """Return failure ages, number failed, number at risk, and the watch they belong to."""
    demand_exact(lives, "A curve without a model")
    kept = lives.low > since
    if not kept.any():
        raise NoFit(
            f"No life was watched after the age of {since:g} {lives.unit}".rstrip() + ".",
            next_step="ask from an earlier age",
        )
    end, count = lives.low[kept], lives.count[kept]
    watch = Watch.of(np.maximum(lives.entry[kept], since), end, count=count)
    gone = lives.exact[kept] & (end <= watch.last)
    age, which = np.unique(end[gone], return_inverse=True)
    failed = np.bincount(which, weights=count[gone], minlength=len(age)).astype(np.float64)
    return age, failed, watch.at_risk(age), watch


def _limits(survival: Array, margin: Array, limits: Limits) -> tuple[Array, Array]:
    """Return the limits of a survival whose log has the standard error `margin` / z."""
    if limits == "plain":
        half = survival * margin
        return np.maximum(survival - half, 0.0), np.minimum(survival + half, 1.0)
    if limits == "log":
        return survival * np.exp(-margin), np.minimum(survival * np.exp(margin), 1.0)
    power = np.exp(margin / -np.log(survival))
    return survival**power, survival ** (1 / power)


def _fell_to_zero(ages_at_zero: Array, watch: Watch) -> str:
    """Say so where an early, small risk set has pinned the curve to 0 while others ran on."""
    if not len(ages_at_zero) or ages_at_zero[0] >= watch.last:
        return ""
    return (
        f"all those at risk failed at {ages_at_zero[0]:g}, so the curve stays 0 although others "
        "were seen running later; count from a later age with since="
    )
