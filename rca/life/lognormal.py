"""Lognormal curves fitted to lives by maximum likelihood: the usual rival of the Weibull curve."""

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr, ndtr, ndtri

from rca.errors import NoFit, RcaError
from rca.life.sample import Array, Lives

_LOG_ROOT_2PI = 0.5 * math.log(2.0 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class LognormalFit:
    """ln(age at failure) is normal with mean ln(median) and standard deviation spread.

    Attributes
    ----------
    median
        Age by which half have failed, in `unit`.
    spread
        Standard deviation of ln(age), no unit.
    """

    median: float
    spread: float
    log_likelihood: float
    n_failed: float
    n_running: float
    unit: str

    @property
    def aic(self) -> float:
        """Akaike's criterion: 2 x fitted parameters - 2 x log-likelihood; smaller is better."""
        return 4.0 - 2.0 * self.log_likelihood

    def life(self, share_failed: float) -> float:
        """Age by which `share_failed` (between 0 and 1) have failed; 0.10 gives the B10 life."""
        if not 0 < share_failed < 1:
            raise RcaError(f"share_failed must lie between 0 and 1, not {share_failed!r}")
        return self.median * math.exp(self.spread * float(ndtri(share_failed)))

    def survival(self, age: ArrayLike) -> Any:
        """Share of lives that pass `age` without failure."""
        with np.errstate(divide="ignore"):
            log_age = np.log(np.asarray(age, dtype=float))
        return ndtr((math.log(self.median) - log_age) / self.spread)

    def cumulative_hazard(self, age: ArrayLike) -> Any:
        """Minus the log of the share that passes `age`."""
        with np.errstate(divide="ignore"):
            log_age = np.log(np.asarray(age, dtype=float))
        return -log_ndtr((math.log(self.median) - log_age) / self.spread)

    def __str__(self) -> str:
        return (
            f"Lognormal, {self.n_failed:g} failed, {self.n_running:g} suspended: "
            f"median {self.median:.4g} {self.unit or 'units'}, spread of ln(age) {self.spread:.4g}"
        )


def fit_lognormal(lives: Lives) -> LognormalFit:
    """Fit a lognormal curve to lives of every kind by maximum likelihood.

    Newton's method in slope = 1 / spread and offset = ln(median) / spread, in which the
    likelihood without late entry is concave (Burridge 1981, from memory).

    Raises
    ------
    NoFit
        Where the likelihood has no maximum.
    """
    failed = ~lives.running
    if not failed.any():
        raise NoFit("no life failed", next_step="give a known shape to fit_weibull for a limit")
    survived = np.maximum(lives.low, lives.entry)
    seen = survived > lives.entry
    if not seen.any() or survived[seen].max() <= lives.high.min():
        raise NoFit(
            "all failures can lie at one age and nothing ran beyond it: the spread tends to 0",
            next_step="wait until lives have passed that age",
        )
    terms = _Terms.of(lives)
    log_slope, offset = _climb(terms)
    if not -7 < log_slope < 14:
        raise NoFit(
            "the likelihood only rises toward a spread without end",
            next_step="add lives watched from new, or take the known shape of a Weibull curve",
        )
    slope = math.exp(log_slope)
    return LognormalFit(
        median=math.exp(terms.centre + terms.width * offset / slope),
        spread=terms.width / slope,
        log_likelihood=terms.at(np.array([log_slope, offset]))[0],
        n_failed=lives.n_failed,
        n_running=lives.n_running,
        unit=lives.unit,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Terms:
    """What the likelihood needs, by kind, in y = (ln age - centre) / width.

    ends, weight
        Where a suspension ended (+ count) or a late life began (- count).
    low, high, from_new
        Ends of interval-censored lives; `low` is 0 where they begin at age 0.
    """

    centre: float
    width: float
    exact: Array
    exact_count: Array
    ends: Array
    weight: Array
    low: Array
    high: Array
    from_new: NDArray[np.bool_]
    count: Array

    @classmethod
    def of(cls, lives: Lives) -> "_Terms":
        exact, running = lives.exact, lives.running
        between, late = ~(exact | running), lives.entry > 0
        survived = np.maximum(lives.low, lives.entry)
        failed_at = np.log(np.where(between, lives.high, lives.low)[~running])
        centre, width = float(failed_at.mean()), max(float(failed_at.std()), 0.05)
        from_new = survived[between] == 0

        def y(age: Array) -> Array:
            return (np.log(age) - centre) / width

        return cls(
            centre=centre,
            width=width,
            exact=y(lives.low[exact]),
            exact_count=lives.count[exact],
            ends=y(np.concatenate([lives.low[running], lives.entry[late]])),
            weight=np.concatenate([lives.count[running], -lives.count[late]]),
            low=np.where(from_new, 0.0, y(np.where(from_new, 1.0, survived[between]))),
            high=y(lives.high[between]),
            from_new=from_new,
            count=lives.count[between],
        )

    def at(self, point: Array) -> tuple[float, Array, Array]:
        """Log-likelihood, gradient and Hessian in (ln slope, offset); z = slope y - offset."""
        slope, offset = math.exp(point[0]), float(point[1])
        n = float(self.exact_count.sum())
        low = np.where(self.from_new, -40.0, slope * self.low - offset)
        between, cross = _between(low, slope * self.high - offset, self.count)
        kinds = [
            _exact(slope * self.exact - offset, self.exact_count),
            _survived(slope * self.ends - offset, self.weight),
            between,
        ]
        y = np.concatenate([self.exact, self.ends, self.low, self.high])
        first = np.concatenate([kind.first for kind in kinds])
        second = np.concatenate([kind.second for kind in kinds])
        log_age = self.centre + self.width * self.exact
        value = n * (point[0] - math.log(self.width)) - float(self.exact_count @ log_age)
        value += sum(kind.value for kind in kinds)
        # The chain rule: z changes by y with the slope and by -1 with the offset.
        d_slope, d_offset = n / slope + float(first @ y), -float(first.sum())
        slope_slope = -n / slope**2 + float(second @ y**2 + 2 * cross @ (self.low * self.high))
        slope_offset = -float(second @ y + cross @ (self.low + self.high))
        offset_offset = float(second.sum() + 2 * cross.sum())
        gradient = np.array([slope * d_slope, d_offset])
        by_log = slope**2 * slope_slope + slope * d_slope
        hessian = np.array([[by_log, slope * slope_offset], [slope * slope_offset, offset_offset]])
        return value, gradient, hessian


class _ByZ(NamedTuple):
    """Terms of one kind: their sum, and first and second derivatives in each z, with counts."""

    value: float
    first: Array
    second: Array


def _exact(z: Array, count: Array) -> _ByZ:
    """ln phi(z), phi the normal density."""
    return _ByZ(float(count @ (-0.5 * z * z - _LOG_ROOT_2PI)), -count * z, -count)


def _survived(z: Array, weight: Array) -> _ByZ:
    """ln Q(z), Q the normal upper tail; its slope is minus the hazard phi / Q."""
    log_q = log_ndtr(-z)
    hazard = np.exp(-0.5 * z * z - _LOG_ROOT_2PI - log_q)
    return _ByZ(float(weight @ log_q), -weight * hazard, -weight * hazard * (hazard - z))


def _between(low: Array, high: Array, count: Array) -> tuple[_ByZ, Array]:
    """ln(Q(low) - Q(high)); derivatives in low, then in high, and the mixed one."""
    log_share = _log_share(low, high)
    f, g = (np.exp(-0.5 * z * z - _LOG_ROOT_2PI - log_share) for z in (low, high))
    first = np.concatenate([-count * f, count * g])
    second = np.concatenate([count * (low * f - f * f), -count * (high * g + g * g)])
    return _ByZ(float(count @ log_share), first, second), count * f * g


def _log_share(z_low: Array, z_high: Array) -> Array:
    """ln(Q(z_low) - Q(z_high)), from the tail on which both are small."""
    mirrored = z_low + z_high < 0
    near = log_ndtr(-np.where(mirrored, -z_high, z_low))
    far = log_ndtr(-np.where(mirrored, -z_low, z_high))
    return near + np.log(-np.expm1(far - near))


def _climb(terms: _Terms) -> tuple[float, float]:
    """(ln slope, offset) of highest likelihood: trust region first, then plain Newton steps."""
    point = minimize(
        lambda p: -terms.at(p)[0],
        np.zeros(2),
        jac=lambda p: -terms.at(p)[1],
        hess=lambda p: -terms.at(p)[2],
        method="trust-exact",
        options={"gtol": 1e-5 * float(terms.count.sum() + terms.exact_count.sum())},
    ).x
    for _ in range(3):
        _, gradient, hessian = terms.at(point)
        if not -7 < point[0] < 14 or hessian[0, 0] >= 0 or np.linalg.det(hessian) <= 0:
            break
        point = point - np.linalg.solve(hessian, gradient)
    return float(point[0]), float(point[1])
