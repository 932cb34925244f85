"""Rates of events over exposure: exact limits, the ratio of two, and spread between units."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrc, betaincinv, chdtrc, gammaincinv

from rca.errors import NoFit, RcaError
from rca.life.sample import Array, Interval

Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True, slots=True)
class Rate:
    """Events per unit of exposure with exact Poisson limits."""

    count: int
    exposure: float
    lower: float
    upper: float
    confidence: float = 0.95
    unit_of_exposure: str = ""

    @property
    def value(self) -> float:
        """Events per unit of exposure; 0 only where none happened, see `upper` for what may be."""
        return self.count / self.exposure

    @property
    def interval(self) -> Interval:
        """The limits as an interval."""
        return Interval(self.lower, self.upper, self.confidence, "exact Poisson")

    def __str__(self) -> str:
        unit = f" {self.unit_of_exposure}" if self.unit_of_exposure else ""
        return f"{self.value:.4g} per{unit or ' unit of exposure'} ({self.interval}), " + (
            f"{self.count} in {self.exposure:g}{unit}"
        )


@dataclass(frozen=True, slots=True)
class RateRatio:
    """Ratio of two rates, its exact limits, and the p-value that agrees with them.

    `value` is inf where only the second count is 0 and nan where both are.
    """

    value: float
    lower: float
    upper: float
    p_value: float
    counts: tuple[int, int]
    exposures: tuple[float, float]
    null: float = 1.0
    confidence: float = 0.95

    @property
    def interval(self) -> Interval:
        """The limits as an interval."""
        note = "" if sum(self.counts) else "no event in either group"
        return Interval(self.lower, self.upper, self.confidence, "exact conditional", note)

    def __str__(self) -> str:
        (x, y), (s, t) = self.counts, self.exposures
        value = "unknown" if math.isnan(self.value) else f"{self.value:.4g}"
        return (
            f"ratio {value} ({self.interval}), p = {self.p_value:.3g} against "
            f"{self.null:g}; {x} in {s:g} against {y} in {t:g}"
        )


@dataclass(frozen=True, slots=True)
class Dispersion:
    """How unequal the rates of units are, beyond what chance alone gives.

    index
        Sum of (observed - expected)^2 / expected over the units, divided by units - 1, with
        `expected` scaled to the total observed; about 1 where all units share one rate.
    variance
        Moment estimate of the variance of the units' true ratios around 1, not below 0; nan where
        one unit has all of the exposure.
    p_value
        Chance of such an index or a larger one if all units shared one rate.
    """

    index: float
    variance: float
    p_value: float
    units: int
    count: int

    def __str__(self) -> str:
        return (
            f"dispersion index {self.index:.3g} over {self.units} units and {self.count} events "
            f"(p = {self.p_value:.3g} if all units are alike)"
        )


def rate(
    count: int,
    exposure: float,
    *,
    confidence: float = 0.95,
    side: Side = "both",
    unit_of_exposure: str = "",
) -> Rate:
    """Return the rate of `count` events in `exposure` with exact Poisson limits.

    Limits chi2(alpha / 2, 2 x) / 2T and chi2(1 - alpha / 2, 2 x + 2) / 2T; the lower one is 0
    where nothing happened. With `side` "lower" or "upper" the other limit is 0 or inf and the
    whole of alpha lies on one side. Turned over, these are the limits of a mean time between
    failures, which stands only where there is no trend: see `mean_time_between`.

    References
    ----------
    Garwood (1936), Biometrika 28 (from memory); NIST/SEMATECH e-Handbook of Statistical Methods,
    section 8.4.5.1.
    """
    demand_counts(np.asarray([count]), np.asarray([exposure]))
    lower, upper = rate_limits(count, exposure, confidence=confidence, side=side)
    return Rate(
        int(count), float(exposure), float(lower), float(upper), confidence, unit_of_exposure
    )


def rate_limits(
    count: ArrayLike, exposure: ArrayLike, *, confidence: float = 0.95, side: Side = "both"
) -> tuple[Array, Array]:
    """Return exact Poisson limits as in `rate`, for arrays of counts and exposures at once."""
    counts, exposures = np.asarray(count, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    tail = _tail(confidence, side)
    lower, upper = np.zeros_like(counts / exposures), np.full_like(counts / exposures, np.inf)
    if side != "upper":
        lower = np.where(counts > 0, gammaincinv(np.maximum(counts, 1), tail), 0.0) / exposures
    if side != "lower":
        upper = gammaincinv(counts + 1, 1 - tail) / exposures
    return lower, upper


def rate_ratio(
    count: int,
    exposure: float,
    other_count: int,
    other_exposure: float,
    *,
    confidence: float = 0.95,
    null: float = 1.0,
) -> RateRatio:
    """Return the ratio of two rates, first over other, exact given the total count.

    Given x + y, x is binomial with p = r S / (r S + T) at ratio r. The limits turn the
    Clopper-Pearson limits of p into a ratio; the p-value is twice the smaller tail (at most 1),
    so p < 1 - confidence exactly where `null` lies outside the limits. The minimum-likelihood p
    that R, scipy and statsmodels print beside this interval can contradict it.

    References
    ----------
    Przyborowski & Wilenski (1940), Biometrika 31; Clopper & Pearson (1934), Biometrika 26 (both
    from memory).
    """
    counts = np.asarray([count, other_count])
    demand_counts(counts, np.asarray([exposure, other_exposure]))
    if not 0 < null < math.inf:
        raise RcaError(f"null must be above 0, is {null:g}")
    x, y = int(count), int(other_count)
    lower, upper = ratio_limits(x, exposure, y, other_exposure, confidence=confidence)
    share = null * exposure / (null * exposure + other_exposure)
    tails = bdtr(x, x + y, share), bdtrc(x - 1, x + y, share) if x else 1.0
    value = (x / exposure) / (y / other_exposure) if y else (math.inf if x else math.nan)
    return RateRatio(
        value,
        float(lower),
        float(upper),
        float(min(1.0, 2 * min(tails))),
        (x, y),
        (float(exposure), float(other_exposure)),
        null,
        confidence,
    )


def ratio_limits(
    count: ArrayLike,
    exposure: ArrayLike,
    other_count: ArrayLike,
    other_exposure: ArrayLike,
    *,
    confidence: float = 0.95,
) -> tuple[Array, Array]:
    """Return exact limits of rate ratios as in `rate_ratio`, for arrays at once."""
    x, y = np.asarray(count, dtype=np.float64), np.asarray(other_count, dtype=np.float64)
    scale = np.asarray(other_exposure, dtype=np.float64) / np.asarray(exposure, dtype=np.float64)
    tail = _tail(confidence, "both")
    low = np.where(x > 0, betaincinv(np.maximum(x, 1), y + 1, tail), 0.0)
    high = np.where(y > 0, betaincinv(x + 1, np.maximum(y, 1), 1 - tail), 1.0)
    with np.errstate(divide="ignore"):
        return scale * low / (1 - low), scale * high / (1 - high)


def dispersion(count: ArrayLike, expected: ArrayLike) -> Dispersion:
    """Test whether units share one rate, given what each was expected to have.

    The index is conditional on the total N: counts are then multinomial with shares w. Its exact
    mean is 1 and its exact variance 2 / (n - 1) + (sum 1/w - n^2 - 2 n + 2) / (N (n - 1)^2); the
    p-value takes a gamma law of the same mean and variance, which holds where expected counts are
    far below 1 too.

    Parameters
    ----------
    count, expected
        One row a unit: events, and what exposure or a life curve gives for the unit (any scale).

    References
    ----------
    Moments: Haldane (1937), Biometrika 29 (from memory); checked by simulation in the tests.
    """
    counts, weights = np.asarray(count, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    demand_counts(counts, weights)
    n, total = len(counts), float(counts.sum())
    if n < 2 or total < 2:
        raise NoFit(
            f"{total:g} events on {n} units say nothing about a spread between units.",
            next_step="wait for two events on two units at least",
        )
    means = total * weights / weights.sum()
    index = float((((counts - means) ** 2) / means).sum() / (n - 1))
    inverse_shares = float((weights.sum() / weights).sum())
    spread = 2 / (n - 1) + (inverse_shares - n**2 - 2 * n + 2) / (total * (n - 1) ** 2)
    p_value = float(chdtrc(2 / spread, 2 * index / spread))
    # Method of moments: sum (O - E)^2 has the mean sum E (1 - E/N), plus variance * by_variance.
    excess = ((counts - means) ** 2).sum() - (means * (1 - means / total)).sum()
    shares = means / total
    by_variance = (means**2 * (1 - 2 * shares)).sum() + (shares**2).sum() * (means**2).sum()
    told = by_variance > 1e-9 * total**2
    variance = max(0.0, float(excess / by_variance)) if told else math.nan
    return Dispersion(index, variance, p_value, n, int(total))


def _tail(confidence: float, side: Side) -> float:
    if not 0 < confidence < 1:
        raise RcaError(f"confidence must lie between 0 and 1, is {confidence:g}")
    return (1 - confidence) / (2 if side == "both" else 1)


def demand_counts(count: Array, exposure: Array) -> None:
    """Refuse counts that are no counts and exposures that are not positive."""
    if count.shape != exposure.shape or count.ndim != 1:
        raise RcaError(f"counts have shape {count.shape}, exposures {exposure.shape}")
    for good, values, rule in (
        ((count >= 0) & (count == np.floor(count)), count, "a count is a whole number, 0 or more"),
        ((exposure > 0) & np.isfinite(exposure), exposure, "exposure must be above 0"),
    ):
        if not good.all():
            bad = np.flatnonzero(~good)
            raise RcaError(f"{rule}: broken by {len(bad)} of {len(good)}, first {values[bad[0]]:g}")
