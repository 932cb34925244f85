"""Weibull curves fitted to lives by maximum likelihood, with intervals that say what they mean."""

import math
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gamma

from rca.errors import NoFit, RcaError
from rca.life.intervals import (
    FARTHEST,
    Method,
    interval_of,
    sought_life,
    sought_shape,
    sought_survival,
)
from rca.life.likelihood import WeibullLikelihood
from rca.life.peak import (
    LARGEST_SHAPE,
    LEAST_INFORMATION,
    SMALLEST_SHAPE,
    Peak,
    best_level,
    find_peak,
)
from rca.life.sample import Array, Interval, Lives

# With fewer failures a curve of known shape is shown with the next lower shape beside it.
FEW_FAILURES = 8


@dataclass(frozen=True, slots=True, eq=False)
class WeibullFit:
    """R(age) = exp(-(age / scale) ** shape); by age `scale`, 63.2 % have failed.

    Attributes
    ----------
    shape
        No unit; above 1 the failure rate rises with age, below 1 it falls.
    scale
        In `unit`; nan where no life failed: then only limits exist, and `note` says so.
    log_likelihood
        At the maximum; an exact failure counts as its density per `unit`.
    n_failed, n_running
        Lives that failed, and lives last seen without failure.
    covariance
        2 x 2, of (log shape, log scale); 0 for a shape that was given, nan where unknown.
    shape_known
        True where the shape was given, not fitted.
    note
        What a reader must know beside the numbers: no failure, or a scale outside of the ages
        watched; "" where there is nothing.
    """

    shape: float
    scale: float
    log_likelihood: float
    n_failed: float
    n_running: float
    unit: str
    covariance: Array
    shape_known: bool = False
    note: str = ""
    likelihood: WeibullLikelihood = field(repr=False, kw_only=True)

    @property
    def aic(self) -> float:
        """Akaike's criterion: 2 x fitted parameters - 2 x log-likelihood; smaller is better."""
        return 2.0 * (1 if self.shape_known else 2) - 2.0 * self.log_likelihood

    @property
    def mean_life(self) -> float:
        """Mean age at failure in `unit`: scale x Gamma(1 + 1 / shape)."""
        return float(self.scale * gamma(1.0 + 1.0 / self.shape))

    @property
    def one_lower(self) -> "WeibullFit | None":
        """With a known shape and fewer than 8 failures: the answer for a shape one lower.

        None where the shape was fitted, where failures suffice, or where one lower is not
        above 0. Common practice, no source: an assumed shape deserves a look at its neighbour.
        """
        if not self.shape_known or self.n_failed >= FEW_FAILURES or self.shape <= 1:
            return None
        return _fit_scale(self.likelihood, self.shape - 1, self.unit)

    def life(self, share_failed: float) -> float:
        """Age by which `share_failed` (between 0 and 1) have failed; 0.10 gives the B10 life."""
        return self.scale * hazard_of(share_failed) ** (1.0 / self.shape)

    def cumulative_hazard(self, age: ArrayLike) -> Any:
        """Failures to be expected by `age` where each is mended without renewal."""
        return (np.asarray(age, dtype=float) / self.scale) ** self.shape

    def survival(self, age: ArrayLike) -> Any:
        """Share of lives that pass `age` without failure."""
        return np.exp(-self.cumulative_hazard(age))

    def hazard(self, age: ArrayLike) -> Any:
        """Failure rate at `age` among those still running, per `unit`."""
        ages = np.asarray(age, dtype=float)
        return self.shape / self.scale * (ages / self.scale) ** (self.shape - 1.0)

    def interval(
        self, parameter: str, *, confidence: float = 0.95, method: Method = "likelihood"
    ) -> Interval:
        """Interval for "shape" or "scale".

        `method`: "likelihood" (the default) holds what the likelihood-ratio test would not
        refuse; "wald" is normal on the log scale; "chi-square", for a known shape and exact
        ages, takes 2 r + 2 and 2 r degrees of freedom at r failures (right when watching stops
        at a failure, a little wide when it stops at a set age). Without any failure every
        method gives the one-sided limit that such a record would pass with 1 - confidence.
        """
        if parameter == "scale":
            return self.life_interval(-math.expm1(-1.0), confidence=confidence, method=method)
        if parameter != "shape":
            raise RcaError(f'parameter must be "shape" or "scale", not {parameter!r}')
        if self.shape_known:
            return Interval(self.shape, self.shape, confidence, "given", "given, not fitted")
        return interval_of(self, sought_shape, confidence=confidence, method=method)

    def life_interval(
        self, share_failed: float, *, confidence: float = 0.95, method: Method = "likelihood"
    ) -> Interval:
        """Interval for the age by which `share_failed` have failed; methods as in `interval`."""
        about = partial(sought_life, hazard=hazard_of(share_failed))
        return interval_of(self, about, confidence=confidence, method=method)

    def survival_interval(
        self, age: float, *, confidence: float = 0.95, method: Method = "likelihood"
    ) -> Interval:
        """Interval for the share that passes `age`; methods as in `interval`."""
        if not 0 < age < math.inf:
            raise RcaError(f"age must be above 0 and finite, not {age!r}")
        about = partial(sought_survival, age=float(age))
        return interval_of(self, about, confidence=confidence, method=method)

    def __str__(self) -> str:
        head = f"Weibull, {self.n_failed:g} failed, {self.n_running:g} suspended: "
        lower = self.one_lower
        beside = f"; one lower, {lower._in_words()}" if lower else ""
        return head + self._in_words() + beside

    def _in_words(self) -> str:
        unit = self.unit or "units"
        given = " given" if self.shape_known else f", {self.interval('shape')}"
        shape = f"shape {self.shape:.4g}{given}"
        if self.n_failed == 0:
            return f"{shape}; scale above {self.interval('scale').lower:.4g} {unit} (95 %)"
        return (
            f"{shape}; scale {self.scale:.4g} {unit}, {self.interval('scale')}; "
            f"B10 life {self.life(0.1):.4g} {unit}, {self.life_interval(0.1)}"
        )


def fit_weibull(lives: Lives, *, shape: float | None = None) -> WeibullFit:
    """Fit a Weibull curve to lives by maximum likelihood.

    Takes exact, right-, left- and interval-censored lives with or without late entry in any
    mixture. With `shape` given only the scale is fitted; then even no failure gives limits.

    Raises
    ------
    NoFit
        Where the likelihood has no maximum; the message says why and what can be done.
    """
    if not len(lives):
        raise NoFit("there are no lives", next_step="check the selection of part and mode")
    likelihood = WeibullLikelihood.of(lives)
    if shape is not None:
        if not 0 < shape < math.inf:
            raise RcaError(f"shape must be above 0 and finite, not {shape!r}")
        return _fit_scale(likelihood, shape, lives.unit)
    _refuse_without_maximum(likelihood, lives.unit)
    peak = find_peak(likelihood)
    if peak.shape < 1.01 * SMALLEST_SHAPE or abs(peak.level) > FARTHEST * peak.shape:
        raise NoFit(
            "the likelihood only rises toward shape 0: no wear or running-in can be told",
            next_step="add lives watched from new, or give a known shape",
        )
    if peak.shape > 0.99 * LARGEST_SHAPE:
        raise NoFit(
            f"the likelihood still rises at shape {LARGEST_SHAPE:g}: "
            "all failures can lie at nearly one age",
            next_step="if ages are copied or rounded, give them as intervals; "
            "or give a known shape: fit_weibull(lives, shape=...)",
        )
    return _fit_both(likelihood, peak, lives.unit)


def _fit_scale(likelihood: WeibullLikelihood, shape: float, unit: str) -> WeibullFit:
    """Only the scale is fitted: (sum of age ** shape / failures) ** (1 / shape) for exact ages."""
    level = best_level(likelihood, shape)
    if level == math.inf:
        raise NoFit(
            "nothing was ever seen to survive: every failure lies before the first look",
            next_step="look earlier, or state exact ages",
        )
    if level == -math.inf:
        scale, top, variance = math.nan, 0.0, math.nan
        note = "no failure: only lower limits of scale and lives exist, no point estimate"
    else:
        slopes = likelihood.at(shape, level)
        scale = likelihood.reference * math.exp(-level / shape)
        top, variance, note = slopes.value, -1 / (shape**2 * slopes.level_level), ""
    return WeibullFit(
        shape=float(shape),
        scale=scale,
        log_likelihood=top,
        n_failed=likelihood.n_failed,
        n_running=likelihood.n_running,
        unit=unit,
        covariance=np.array([[0.0, 0.0], [0.0, variance]]),
        shape_known=True,
        note=note,
        likelihood=likelihood,
    )


def _fit_both(likelihood: WeibullLikelihood, peak: Peak, unit: str) -> WeibullFit:
    shape, level, slopes = peak
    log_scale = -level / shape
    # Information on (log shape, log scale) from that on (shape, level); the slopes are 0 here.
    hessian = np.array(
        [[slopes.shape_shape, slopes.shape_level], [slopes.shape_level, slopes.level_level]]
    )
    turn = shape * np.array([[1.0, 0.0], [-log_scale, -1.0]])
    (a, b), (_, c) = information = -(turn.T @ hessian @ turn)
    if not (a > 0 and c > 0 and a - b * b / c > LEAST_INFORMATION):
        raise NoFit(
            "the likelihood is flat over a wide range of shapes: the records fix none",
            next_step="give a known shape: fit_weibull(lives, shape=...); or state closer ages",
        )
    return WeibullFit(
        shape=shape,
        scale=likelihood.reference * math.exp(log_scale),
        log_likelihood=slopes.value,
        n_failed=likelihood.n_failed,
        n_running=likelihood.n_running,
        unit=unit,
        covariance=np.linalg.inv(information),
        note=_beyond(likelihood, log_scale),
        likelihood=likelihood,
    )


def _beyond(likelihood: WeibullLikelihood, log_scale: float) -> str:
    """Say where the scale lies outside of all ages at which lives were watched."""
    if log_scale > 0:
        return f"the scale lies beyond the largest age watched, {likelihood.reference:g}"
    if likelihood.late and log_scale < float(likelihood.x.min()):
        return "the scale lies below every age watched"
    return ""


def _refuse_without_maximum(likelihood: WeibullLikelihood, unit: str) -> None:
    """Refuse where the likelihood rises without end toward an infinite shape or a scale of 0.

    The shape has no upper bound when some age lies at or beyond every age up to which a life was
    seen running, and at or before every failure's latest age: all failures can then be put there.
    """
    n_failed = likelihood.n_failed
    if n_failed == 0:
        raise NoFit(
            f"none of the {likelihood.n_running:g} lives failed",
            next_step="give a known shape for a lower limit: fit_weibull(lives, shape=...)",
        )
    if not likelihood.seen_running:
        raise NoFit(
            "nothing was ever seen to survive: every failure lies before the first look",
            next_step="look earlier, or state exact ages",
        )
    last_running, first_high = likelihood.reference, likelihood.first_high
    # At a tie the top still lies at infinity, unless lives are late and no age is exact.
    ends_there = last_running == first_high and (likelihood.n_exact or not likelihood.late)
    if last_running < first_high or ends_there:
        are = "are" if likelihood.n_exact else "can be"
        raise NoFit(
            f"all {n_failed:g} failures {are} at age {last_running:g} {unit}".rstrip()
            + " and nothing ran beyond it: the shape has no upper bound",
            next_step="give a known shape: fit_weibull(lives, shape=...); "
            "or wait until lives have passed that age",
        )


def hazard_of(share_failed: float) -> float:
    """Cumulative hazard by which `share_failed` have failed."""
    if not 0 < share_failed < 1:
        raise RcaError(f"share_failed must lie between 0 and 1, not {share_failed!r}")
    return -math.log1p(-share_failed)
