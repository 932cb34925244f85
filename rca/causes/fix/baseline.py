"""What to expect had nothing changed: the old life curve and each unit's own level.

The cumulative hazard of a part of age t on unit i is u_i H(t) with H(t) = A (t / reference)^shape
and u_i drawn from a gamma distribution of mean 1 and variance v, the spread between units. Given
n_i failures and H_i, the sum over the unit's lives of H(age out) - H(age in), the unit's lives have
the marginal likelihood (J. P. Klein, Biometrics 48, 1992; L. Duchateau & P. Janssen, The Frailty
Model, 2008; both from memory), with a = 1 / v,

    sum over failures log h(t) + sum over units
        [lnG(a + n_i) - lnG(a) + a ln a - (a + n_i) ln(a + H_i)]         (v = 0: - H_i)

It is maximised over log A and log shape for each of a few spreads, and the spreads are weighted by
prior x maximised likelihood: few failures cannot tell which spread it is, so none is chosen.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from rca.causes.fix.pieces import Pieces
from rca.errors import NoFit

Array = NDArray[np.float64]

SPREADS: Final = np.array([0.0, 0.2, 0.5, 1.0, 2.0])
"""Variances of the units' levels that are tried."""
PRIOR: Final = np.array([0.40, 0.15, 0.15, 0.15, 0.15])
"""Their weights before seeing any failure."""
_SHAPES: Final = (0.05, 25.0)  # a maximum outside is no life curve but a lack of information


@dataclass(frozen=True, slots=True, eq=False)
class Baseline:
    """The life curve before the fix, for each spread between units.

    Arrays have the spreads on their first axis (length 5); units follow the order of the pieces'
    `units`. H(t) = exp(log_level) (t / reference)^shape.
    """

    weights: Array  # (spreads,) probability of each spread
    log_level: Array  # (spreads,) log A
    log_shape: Array  # (spreads,)
    covariance: Array  # (spreads, 2, 2) of (log A, log shape)
    reference: float  # geometric mean of the failure ages
    failed: Array  # (units,) n_i
    hazard: Array  # (spreads, units) H_i
    hazard_slope: Array  # (spreads, units) dH_i / d log shape
    oldest: float  # largest age watched

    @property
    def failures(self) -> int:
        """Number of failures behind the curve."""
        return int(self.failed.sum())

    @property
    def shape(self) -> float:
        """Shape of the life curve, averaged over the spreads."""
        return float(self.weights @ np.exp(self.log_shape))

    @property
    def spread(self) -> float:
        """Variance of the units' levels, averaged over the spreads tried."""
        return float(self.weights @ SPREADS)

    def __str__(self) -> str:
        return (
            f"life curve before the fix: shape {self.shape:.2f} from {self.failures} failures on "
            f"{int((self.failed > 0).sum())} of {len(self.failed)} units, spread between units "
            f"{self.spread:.2f}"
        )

    def cumulative(self, log_age: Array) -> tuple[Array, Array]:
        """H and dH / d log shape at log(age / reference); shape (spreads, ages)."""
        shape = np.exp(self.log_shape)[:, np.newaxis]
        bend = shape * log_age
        hazard = np.exp(self.log_level[:, np.newaxis] + bend)
        return hazard, hazard * np.where(np.isfinite(bend), bend, 0.0)

    def log_age(self, age: Array) -> Array:
        """log(age / reference), -inf at age 0."""
        with np.errstate(divide="ignore"):
            return np.log(age / self.reference)


def fit_baseline(pieces: Pieces) -> Baseline:
    """Fit the old life curve to all comparable units, treated ones included.

    `pieces` must hold only what was known before the first fix (`Pieces.until`): a baseline that
    sees the months after a fix is taught by it.

    Raises
    ------
    NoFit
        Without two different failure ages, or where the likelihood has no maximum.
    """
    ages = pieces.age[pieces.failed]
    if len(ages) == 0:
        raise NoFit("no failure before the fix: there is no old life curve")
    reference = float(np.exp(np.mean(np.log(ages))))
    likelihood = _Likelihood.of(pieces, reference)
    start = np.array([np.log(len(ages) / max(likelihood.exposure_at_shape_one(), 1e-12)), 0.0])
    points, values, covariances = [], [], []
    for spread in SPREADS:
        point, value, covariance = _maximise(likelihood, float(spread), start)
        points.append(point)
        values.append(value)
        covariances.append(covariance)
        start = point
    log_weight = np.log(PRIOR) + np.array(values)
    weights = np.exp(log_weight - log_weight.max())
    place = np.array(points)
    hazard, slope = likelihood.by_unit(place[:, 0], place[:, 1])
    return Baseline(
        weights=weights / weights.sum(),
        log_level=place[:, 0],
        log_shape=place[:, 1],
        covariance=np.array(covariances),
        reference=reference,
        failed=likelihood.failed,
        hazard=hazard,
        hazard_slope=slope,
        oldest=float(pieces.age.max()),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Likelihood:
    """The pieces, reduced to what the likelihood needs."""

    log_out: Array  # log(age / reference)
    log_in: Array  # log(entry / reference) of the pieces that entered late
    unit_out: NDArray[np.int64]
    unit_in: NDArray[np.int64]
    failed: Array  # (units,)
    sum_log: float  # sum of log(age / reference) over failures; 0 for one reference

    @classmethod
    def of(cls, pieces: Pieces, reference: float) -> "_Likelihood":
        late = pieces.entry > 0
        log_out = np.log(pieces.age / reference)
        return cls(
            log_out=log_out,
            log_in=np.log(pieces.entry[late] / reference),
            unit_out=pieces.unit,
            unit_in=pieces.unit[late],
            failed=pieces.count_by_unit(pieces.failed),
            sum_log=float(log_out[pieces.failed].sum()),
        )

    def exposure_at_shape_one(self) -> float:
        """Total time watched over the reference age."""
        return float(np.exp(self.log_out).sum() - np.exp(self.log_in).sum())

    def _sum(self, at_out: Array, at_in: Array) -> Array:
        size = len(self.failed)
        total = np.bincount(self.unit_out, weights=at_out, minlength=size).astype(np.float64)
        return total - np.bincount(self.unit_in, weights=at_in, minlength=size)

    def by_unit(self, log_level: Array, log_shape: Array) -> tuple[Array, Array]:
        """H_i and dH_i / d log shape at each of several points; shape (points, units)."""
        pairs = [
            self.terms(np.array(point))[:2] for point in zip(log_level, log_shape, strict=True)
        ]
        return np.array([pair[0] for pair in pairs]), np.array([pair[1] for pair in pairs])

    def terms(self, point: Array) -> tuple[Array, Array, Array]:
        """H_i and its first and second derivative by log shape, each (units,)."""
        shape = np.exp(point[1])
        bend_out, bend_in = shape * self.log_out, shape * self.log_in
        h_out, h_in = np.exp(point[0] + bend_out), np.exp(point[0] + bend_in)
        first_out, first_in = h_out * bend_out, h_in * bend_in
        return (
            self._sum(h_out, h_in),
            self._sum(first_out, first_in),
            self._sum(first_out * (1.0 + bend_out), first_in * (1.0 + bend_in)),
        )

    def value(self, point: Array, spread: float) -> float:
        """Log likelihood, without the constant -sum of log ages."""
        return self._value(point, spread, self.terms(point)[0])

    def _value(self, point: Array, spread: float, hazard: Array) -> float:
        n = self.failed
        total = n.sum() * (point[0] + point[1]) + np.exp(point[1]) * self.sum_log
        if spread == 0.0:
            return float(total - hazard.sum())
        a = 1.0 / spread
        rising = gammaln(a + n) - gammaln(a) - n * np.log(a)
        return float(total + np.sum(rising - (a + n) * np.log1p(spread * hazard)))

    def slopes(self, point: Array, spread: float) -> tuple[float, Array, Array]:
        """Value, gradient and second derivatives by (log A, log shape)."""
        h, first, second = self.terms(point)
        n, shape = self.failed, np.exp(point[1])
        mean = (1.0 + spread * n) / (1.0 + spread * h)
        pull = spread * mean / (1.0 + spread * h)  # zero without spread
        bend = shape * self.sum_log
        gradient = np.array([n.sum() - mean @ h, n.sum() + bend - mean @ first])
        cross = -(mean @ first) + pull @ (h * first)
        curvature = np.array(
            [
                [-(mean @ h) + pull @ (h * h), cross],
                [cross, bend - mean @ second + pull @ (first * first)],
            ]
        )
        return self._value(point, spread, h), gradient, curvature


def _maximise(likelihood: _Likelihood, spread: float, start: Array) -> tuple[Array, float, Array]:
    """Damped Newton search; returns the point, the log likelihood and the covariance."""
    point = start.copy()
    value, gradient, curvature = likelihood.slopes(point, spread)
    for _ in range(100):
        step = _uphill(gradient, curvature)
        step = step * min(1.0, 1.0 / max(np.abs(step).max(), 1e-12))
        while likelihood.value(point + step, spread) < value - 1e-10 and np.abs(step).max() > 1e-12:
            step = step / 2.0
        point = point + step
        value, gradient, curvature = likelihood.slopes(point, spread)
        if not _SHAPES[0] < np.exp(point[1]) < _SHAPES[1]:
            break
        if np.abs(step).max() < 1e-9:
            return point, value, _covariance(curvature)
    raise NoFit(
        "the failures before the fix fit no life curve (the likelihood has no maximum)",
        next_step="it needs failures at different ages, and lives that were watched past them",
    )


def _uphill(gradient: Array, curvature: Array) -> Array:
    """Newton step where the surface bends down, else a step along its steeper eigenvectors."""
    root, axes = np.linalg.eigh(-curvature)
    floor = 1e-6 * max(float(np.abs(root).max()), 1e-12)
    return axes @ ((axes.T @ gradient) / np.maximum(np.abs(root), floor))


def _covariance(curvature: Array) -> Array:
    """Inverse of minus the second derivatives."""
    if np.linalg.eigvalsh(-curvature).min() <= 0.0:
        raise NoFit("the failures before the fix do not fix the life curve (flat likelihood)")
    return np.linalg.inv(-curvature).astype(np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Running:
    """What each unit ran up from its start to each of several looks, on the old curve.

    hazard, hazard_slope
        W_i and dW_i / d log shape: shape (spreads, looks, units).
    failed
        O_i, failures from the start to each look: shape (looks, units).
    """

    hazard: Array
    hazard_slope: Array
    failed: Array


def run_on_old_curve(
    baseline: Baseline, pieces: Pieces, *, start: Array, stops: Array, above: float = 0.0
) -> Running:
    """Cumulative hazard that the units ran up between `start` and each of `stops`.

    `start` holds a day for each unit (inf = takes no part), `stops` days of shape (looks,) or
    (looks, units). Only the running at ages above `above` counts.
    """
    looks, size = len(stops), len(pieces.units)
    by_unit = stops[:, np.newaxis] if stops.ndim == 1 else stops
    by_unit = np.broadcast_to(by_unit, (looks, size))
    live = pieces.chosen(np.isfinite(start)[pieces.unit] & (pieces.end > start[pieces.unit]))
    low = np.maximum(live.age_on(start[live.unit]), above)
    from_hazard, from_slope = baseline.cumulative(baseline.log_age(low))
    hazard = np.zeros((len(baseline.weights), looks, size))
    slope, failed = np.zeros_like(hazard), np.zeros((looks, size))
    for look in range(looks):
        stop = by_unit[look][live.unit]
        high = np.maximum(live.age_on(stop), low)
        on = np.flatnonzero(high > low)
        to_hazard, to_slope = baseline.cumulative(baseline.log_age(high[on]))
        for row in range(len(baseline.weights)):
            for sums, upto, since in (
                (hazard, to_hazard, from_hazard),
                (slope, to_slope, from_slope),
            ):
                gained = upto[row] - since[row, on]
                sums[row, look] = np.bincount(live.unit[on], weights=gained, minlength=size)
        failed[look] = live.count_by_unit(live.failed & (live.end <= stop))
    return Running(hazard=hazard, hazard_slope=slope, failed=failed)


def unit_levels(
    failed: Array, hazard: Array, *, spread: float | Array, level: float | Array = 1.0
) -> tuple[Array, Array]:
    """Level of each unit and its variance, given its own record: g (a + n) / (a + g H).

    The empirical-Bayes estimate (E. Hauer, D. W. Harwood, F. M. Council & M. S. Griffith,
    Transportation Research Record 1784, 2002, 126-131): between the common `level` g and the unit's
    own n / H, with a = 1 / `spread`; without spread every unit has level g, known for sure.
    """
    below = 1.0 + spread * level * hazard
    mean = level * (1.0 + spread * failed) / below
    return mean, level * spread * mean / below


@dataclass(frozen=True, slots=True, eq=False)
class Expectation:
    """Failures that a group would have had, nothing changed: arrays (spreads, looks)."""

    mean: Array
    variance: Array
    step: Array  # expected between the look before and this one
    level: Array  # (spreads, looks, members): level of each unit


def expect(
    baseline: Baseline, running: Running, members: NDArray[np.bool_], *, own_level: bool
) -> Expectation:
    """Failures that `members` would have had, each unit shrunk by its own history.

    Given the curve, the marginal likelihood of a ratio r of the failure rate since the start is

        O ln r - sum (a + n_i + O_i) ln(a + H_i + r W_i)

    Its maximum r solves O = r E with E = sum W_i (a + n_i + O_i) / (a + H_i + r W_i): each unit's
    level is judged from its record before and after, the latter taken at the ratio r. This E is
    what is returned. (Levels from before alone, r = 0 in E, overstate E by up to a quarter under
    wear-out with r near 1: bad units fail, get young parts, and so run up little W_i.)

    The common level g of `unit_levels` is 1, the fleet, or with `own_level` the level of the
    members themselves, (sum n_i + 1/2) / (sum H_i + 1/2): for units that were chosen because the
    cause was found on them. The variance adds, by the delta method through the solution, the
    uncertainty of the curve, of each unit's level, and of g.
    """
    spread = SPREADS[:, np.newaxis, np.newaxis]
    n, h = baseline.failed[members], baseline.hazard[:, np.newaxis, members]
    h_slope = baseline.hazard_slope[:, np.newaxis, members]
    w, w_slope = running.hazard[:, :, members], running.hazard_slope[:, :, members]
    since = running.failed[:, members]
    total = h.sum(axis=2) + 0.5 if own_level else np.ones((len(SPREADS), 1))
    common = ((n.sum() + 0.5) / total if own_level else total)[:, :, np.newaxis]
    ratio = _settle(n, h, since, w, spread=spread, common=common)[:, :, np.newaxis]
    level, variance = unit_levels(n + since, h + ratio * w, spread=spread, level=common)
    mean, doubt = (level * w).sum(axis=2), (variance * w * w).sum(axis=2)
    through = mean / np.maximum(mean - ratio[:, :, 0] * doubt, 1e-9 * mean + 1e-300)
    by_level = (level * w).sum(axis=2)
    by_a = by_level - (variance * w * (h + ratio * w)).sum(axis=2)
    by_shape = (level * w_slope - variance * w * (h_slope + ratio * w_slope)).sum(axis=2)
    doubt = through * doubt
    if own_level:
        below = 1.0 + spread * common * (h + ratio * w)
        by_common = (level * w / (common * below)).sum(axis=2)
        share = common[:, :, 0] / total
        by_a -= by_common * share * h.sum(axis=2)
        by_shape -= by_common * share * h_slope.sum(axis=2)
        doubt += (through * by_common * common[:, :, 0]) ** 2 / (n.sum() + 0.5)
    slope = np.stack([by_a, by_shape], axis=-1) * through[:, :, np.newaxis]
    curve = np.einsum("vki,vij,vkj->vk", slope, baseline.covariance, slope)
    gained = np.diff(w, axis=1, prepend=0.0)
    return Expectation(
        mean=mean, variance=curve + doubt, step=(level * gained).sum(axis=2), level=level
    )


def _settle(n: Array, h: Array, since: Array, w: Array, *, spread: Array, common: Array) -> Array:
    """Ratio r that solves O = sum r W_i level_i(r), by Newton's method; (spreads, looks).

    The right side rises from 0 with falling slope in r, so a start below the root climbs to it.
    """
    observed = since.sum(axis=1)
    ratio = np.zeros(w.shape[:2])
    for _ in range(60):
        level, variance = unit_levels(
            n + since, h + ratio[:, :, np.newaxis] * w, spread=spread, level=common
        )
        mean = (level * w).sum(axis=2)
        slope = mean - ratio * (variance * w * w).sum(axis=2)
        step = (observed - ratio * mean) / np.maximum(slope, 1e-300)
        step = np.where((observed > 0) & (mean > 0), step, 0.0)
        ratio = ratio + step
        if np.all(np.abs(step) <= 1e-9 * ratio):
            break
    return ratio
