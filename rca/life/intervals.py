"""Intervals of a Weibull curve: by likelihood, by Wald, by chi-square, or one-sided."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import chdtri, ndtri

from rca.errors import RcaError
from rca.life import limits
from rca.life.peak import LARGEST_SHAPE, SMALLEST_SHAPE
from rca.life.sample import Interval

if TYPE_CHECKING:
    from rca.life.weibull import WeibullFit

Method = Literal["likelihood", "wald", "chi-square"]

FARTHEST = 690.0  # |log| of an age or a hazard at which a limit counts as none


# (failures below, percent covered) by 95 % limits of shape or B10, the lower of the two; from
# tests/benchmarks/weibull_coverage.py, at 2, 3, 4, 6, 8 and 12 failures expected.
_COVERED = {
    ("likelihood", "some running"): ((3, 91), (4, 92), (6, 93), (8, 94)),
    ("likelihood", "all failed"): ((3, 74), (4, 84), (6, 87), (8, 91), (12, 92), (20, 93)),
    ("wald", "some running"): ((3, 81), (4, 83), (6, 85), (8, 88), (12, 90), (20, 91)),
    ("wald", "all failed"): ((3, 58), (4, 71), (6, 77), (8, 83), (12, 86), (20, 88)),
}


@dataclass(frozen=True, slots=True)
class Sought:
    """A quantity, on the scale on which its limits are sought.

    Attributes
    ----------
    best, weights
        Its estimate, and its derivatives by (log shape, log scale).
    profile
        Makes the log-likelihood by this quantity, all else at its best.
    bounds, unbounded
        Where the search ends, and what it means that no limit was found up to there.
    back
        Leads from this scale to the one shown.
    """

    best: float
    weights: tuple[float, float]
    profile: Callable[[], limits.Profile]
    bounds: tuple[float, float]
    unbounded: tuple[str, str]
    back: Callable[[float], float]


def sought_shape(fit: "WeibullFit") -> Sought:
    """The shape, on its log."""
    return Sought(
        best=math.log(fit.shape),
        weights=(1.0, 0.0),
        profile=lambda: limits.along_shape(fit.likelihood, shape=fit.shape),
        bounds=(math.log(SMALLEST_SHAPE), math.log(1e3 * LARGEST_SHAPE)),
        unbounded=(
            "the records allow any shape down to 0",
            "the records allow any shape above the lower limit",
        ),
        back=_exp,
    )


def sought_life(fit: "WeibullFit", hazard: float) -> Sought:
    """The age at which the cumulative hazard is `hazard`, on its log."""
    log_hazard = math.log(hazard)
    return Sought(
        best=math.log(fit.scale) + log_hazard / fit.shape,
        weights=(-log_hazard / fit.shape, 1.0),
        profile=lambda: limits.along_life(
            fit.likelihood,
            shape=fit.shape,
            log_hazard=log_hazard,
            shape_known=fit.shape_known,
        ),
        bounds=(-FARTHEST, FARTHEST),
        unbounded=(
            "the records do not show how early this share fails",
            "the records do not show that this share ever fails",
        ),
        back=_exp,
    )


def sought_survival(fit: "WeibullFit", age: float) -> Sought:
    """The share that passes `age`, on minus the log of the cumulative hazard there."""
    log_hazard = fit.shape * math.log(age / fit.scale)
    return Sought(
        best=-log_hazard,
        weights=(-log_hazard, fit.shape),
        profile=lambda: limits.along_survival(
            fit.likelihood, shape=fit.shape, age=age, shape_known=fit.shape_known
        ),
        bounds=(-FARTHEST, FARTHEST),
        unbounded=(
            "the records allow that no life passes this age",
            "the records allow that every life passes this age",
        ),
        back=lambda minus_log_hazard: math.exp(-_exp(-minus_log_hazard)),
    )


def _exp(log: float) -> float:
    return math.exp(log) if log < 709.0 else math.inf


def interval_of(
    fit: "WeibullFit",
    sought: Callable[["WeibullFit"], Sought],
    *,
    confidence: float,
    method: Method,
) -> Interval:
    """Interval of what `sought` makes of `fit`; one-sided where no life failed."""
    if not 0 < confidence < 1:
        raise RcaError(f"confidence must lie between 0 and 1, not {confidence!r}")
    if method not in ("likelihood", "wald", "chi-square"):
        raise RcaError(f'method must be "likelihood", "wald" or "chi-square", not {method!r}')
    if fit.n_failed == 0:
        return _without_failure(fit, sought, confidence)
    if method == "likelihood":
        return _by_likelihood(fit, sought(fit), confidence)
    shifts = _wald if method == "wald" else _chi_square
    about = sought(fit)
    down, up = shifts(fit, about, confidence)
    ends = about.back(about.best - down), about.back(about.best + up)
    return Interval(ends[0], ends[1], confidence, method, coverage_note(fit, method))


def _by_likelihood(fit: "WeibullFit", sought: Sought, confidence: float) -> Interval:
    """Where the profile has fallen by half a chi-square quantile of 1 degree of freedom."""
    drop = chdtri(1, 1.0 - confidence) / 2
    start = _wald(fit, sought, confidence)
    ends, notes = [], []
    for side in (0, 1):
        sign, bound = (-1, 1)[side], sought.bounds[side]
        end = limits.fall_to(
            sought.profile(),
            best=sought.best,
            top=fit.log_likelihood,
            drop=drop,
            start=sought.best + sign * start[side],
            bound=bound,
        )
        if end == bound:
            notes.append(f"no {('lower', 'upper')[side]} limit: {sought.unbounded[side]}")
        ends.append(sought.back(sign * math.inf if end == bound else end))
    notes.append(coverage_note(fit, "likelihood"))
    note = "; ".join(filter(None, notes))
    return Interval(ends[0], ends[1], confidence, "likelihood", note)


def _wald(fit: "WeibullFit", sought: Sought, confidence: float) -> tuple[float, float]:
    """How far the limits lie below and above the estimate."""
    weights = np.array(sought.weights)
    variance = float(weights @ fit.covariance @ weights)
    half = float(ndtri(0.5 + confidence / 2)) * math.sqrt(max(variance, 0.0))
    return half, half


def _chi_square(fit: "WeibullFit", sought: Sought, confidence: float) -> tuple[float, float]:
    """The same for a known shape: ln H at any age moves as the log of a Poisson mean."""
    if not fit.shape_known or not fit.likelihood.all_exact:
        raise RcaError('method "chi-square" needs a known shape and exact ages')
    tail, r = (1.0 - confidence) / 2, fit.n_failed
    # chdtri takes the upper tail; the log of the scale moves by -1 / shape for each unit of ln H.
    most = math.log(chdtri(2 * r + 2, tail) / (2 * r))
    least = math.log(chdtri(2 * r, 1.0 - tail) / (2 * r))
    per_unit = sought.weights[1] / fit.shape
    return per_unit * most, -per_unit * least


def _without_failure(
    fit: "WeibullFit", sought: Callable[["WeibullFit"], Sought], confidence: float
) -> Interval:
    """The curve under which so clean a record has chance 1 - confidence."""
    exposure = fit.likelihood.sums(fit.shape).s0
    most = -math.log1p(-confidence)
    scale = fit.likelihood.reference * (exposure / most) ** (1 / fit.shape)
    worst = sought(replace(fit, scale=scale))
    return Interval(
        worst.back(worst.best),
        worst.back(math.inf),
        confidence,
        "no failure",
        "no failure: one-sided lower limit, no upper limit",
    )


def coverage_note(fit: "WeibullFit", method: str) -> str:
    """Say what such 95 % limits covered in simulation, where failures are too few for 95 %."""
    if fit.shape_known:
        return ""
    ends = "all failed" if fit.n_running == 0 else "some running"
    for below, covered in _COVERED[method, ends]:
        if fit.n_failed < below:
            return f"with so few failures 95 % limits like these covered {covered} % in simulation"
    return ""
