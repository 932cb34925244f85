"""Many Weibull fits in one call: one batched Newton-like climb over all groups at once."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from rca.errors import NoFit, RcaError
from rca.life.likelihood import Sums
from rca.life.peak import LARGEST_SHAPE, LEAST_INFORMATION, LEAST_SPAN, SMALLEST_SHAPE, halley_step
from rca.life.sample import Array, Lives
from rca.life.weibull import FARTHEST, fit_weibull, hazard_of

Integers = NDArray[np.intp]

NO_FAILURE = "no failure"
ALL_AT_END = "all failures at the largest age, nothing ran beyond it"
TOWARD_ZERO = "the likelihood only rises toward shape 0"
TOO_CLOSE = "the failures lie too close together"
FLAT = "the likelihood is flat over a wide range of shapes"
TOO_SHORT = "the lives were watched for too short a span"


@dataclass(frozen=True, slots=True, eq=False)
class WeibullFits:
    """Weibull curves of many groups, one entry a group in every array.

    Where a group has no maximum, `shape`, `scale`, `log_likelihood` and `covariance` are nan and
    `reason` says why; elsewhere `reason` is "". `covariance` is (groups, 2, 2), of (log shape,
    log scale).
    """

    group: NDArray[Any]
    shape: Array
    scale: Array
    log_likelihood: Array
    n_failed: Array
    n_running: Array
    reason: NDArray[np.object_]
    covariance: Array
    unit: str = ""

    def __len__(self) -> int:
        return len(self.group)

    def life(self, share_failed: float) -> Array:
        """Age of each group by which `share_failed` have failed; 0.10 gives the B10 lives."""
        return self.scale * hazard_of(share_failed) ** (1.0 / self.shape)

    def wald_limits(self, parameter: str, *, confidence: float = 0.95) -> tuple[Array, Array]:
        """Lower and upper limits, normal on the log scale, of "shape" or "scale" of each group.

        Likelihood-ratio limits, which cover better with few failures, come from `fit_weibull`.
        """
        if parameter not in ("shape", "scale"):
            raise RcaError(f'parameter must be "shape" or "scale", not {parameter!r}')
        which = ("shape", "scale").index(parameter)
        value = (self.shape, self.scale)[which]
        factor = np.exp(ndtri(0.5 + confidence / 2) * np.sqrt(self.covariance[:, which, which]))
        return value / factor, value * factor

    def __str__(self) -> str:
        fitted = int(np.isfinite(self.shape).sum())
        reasons, counts = np.unique(self.reason[self.reason != ""].astype(str), return_counts=True)
        refused = "".join(
            f"; {count} refused: {reason}" for reason, count in zip(reasons, counts, strict=True)
        )
        return f"{len(self)} groups, {fitted} fitted{refused}"


def fit_weibull_groups(lives: Lives, group: ArrayLike) -> WeibullFits:
    """Fit one Weibull curve to each group of lives by maximum likelihood.

    `group` names the group of each row (numbers or texts, shape as the lives). Exact, running and
    late lives with counts are fitted all at once, as `fit_weibull` would; groups that hold
    interval-censored lives go through `fit_weibull` one by one. Nothing is raised for a group
    without a maximum: its `reason` says why. Fastest where the rows are sorted by group.
    """
    labels, starts, lives = _sorted_by_group(lives, np.asarray(group))
    exact, running = lives.exact, lives.running
    n_failed = np.add.reduceat(lives.count * ~running, starts)
    n_running = np.add.reduceat(lives.count, starts) - n_failed
    reference = np.maximum.reduceat(lives.low, starts)
    first_high = np.minimum.reduceat(lives.high, starts)
    mixed = np.logical_or.reduceat(~(exact | running), starts)
    reason = np.full(len(labels), "", dtype=object)
    reason[reference <= first_high] = ALL_AT_END
    reason[n_failed == 0] = NO_FAILURE
    reason[mixed] = ""
    answer = np.full((6, len(labels)), np.nan)
    ready = (reason == "") & ~mixed
    if ready.any():
        terms = _Terms.of(lives, starts, reference).some(ready)
        answer[:, ready], reason[ready] = _peaks(terms, reference[ready])
    ends = np.append(starts[1:], len(lives))
    for index in np.flatnonzero(mixed):
        rows = slice(starts[index], ends[index])
        answer[:, index], reason[index] = _one(_taken(lives, rows))
    shape, scale, value, var_shape, both, var_scale = answer
    return WeibullFits(
        group=labels,
        shape=shape,
        scale=scale,
        log_likelihood=value,
        n_failed=n_failed,
        n_running=n_running,
        reason=reason,
        covariance=np.moveaxis(np.array([[var_shape, both], [both, var_scale]]), 2, 0),
        unit=lives.unit,
    )


def _sorted_by_group(lives: Lives, group: NDArray[Any]) -> tuple[NDArray[Any], Integers, Lives]:
    """Labels in order, the first row of each, and the lives in that order."""
    if group.shape != lives.low.shape:
        raise RcaError(f"group has shape {group.shape}, the lives have {lives.low.shape}")
    if not len(group):
        raise NoFit("there are no lives", next_step="check the selection of part and mode")
    if not (group[1:] >= group[:-1]).all():
        order = np.argsort(group, kind="stable")
        group = group[order]
        lives = _taken(lives, order)
    starts = np.concatenate([[0], np.flatnonzero(group[1:] != group[:-1]) + 1])
    return group[starts], starts, lives


@dataclass(frozen=True, slots=True, eq=False)
class _Terms:
    """Exact, running and late lives of some groups, in order of group.

    x is the log of age over the group's largest age, `entry` the same of the entry (-1e300 for a
    life watched from new, None if all are), `weight` how many lives (None if 1 each); the rest
    has one entry a group.
    """

    x: Array
    entry: Array | None
    weight: Array | None
    sizes: Integers
    n_exact: Array
    sum_log: Array

    @classmethod
    def of(cls, lives: Lives, starts: Integers, reference: Array) -> "_Terms":
        """Terms of lives that are sorted by group; of use where all are exact or running."""
        sizes = np.diff(starts, append=len(lives))
        log_reference = np.repeat(np.log(np.maximum(reference, 1e-300)), sizes)
        ones = bool((lives.count == 1).all())
        failed = lives.exact if ones else lives.exact * lives.count
        with np.errstate(divide="ignore", invalid="ignore"):  # an interval may begin at age 0
            x = np.log(lives.low)
            x -= log_reference
            sum_log = np.add.reduceat(x * failed, starts)
            late = lives.entry.any()
            entry = np.maximum(np.log(lives.entry) - log_reference, -1e300) if late else None
        return cls(
            x=x,
            entry=entry,
            weight=None if ones else lives.count,
            sizes=sizes,
            n_exact=np.add.reduceat(failed, starts, dtype=float),
            sum_log=sum_log,
        )

    def some(self, groups: NDArray[np.bool_]) -> "_Terms":
        """Only the groups marked true."""
        if groups.all():
            return self
        rows = np.repeat(groups, self.sizes)
        return _Terms(
            x=self.x[rows],
            entry=None if self.entry is None else self.entry[rows],
            weight=None if self.weight is None else self.weight[rows],
            sizes=self.sizes[groups],
            n_exact=self.n_exact[groups],
            sum_log=self.sum_log[groups],
        )

    def sums(self, shape: Array) -> Sums:
        """Sums of weight * exp(shape x) of each group, and derivatives, less those at entry."""
        totals = self._powers(self.x, shape)
        if self.entry is not None:
            totals -= self._powers(self.entry, shape)
        return Sums(*totals)

    def _powers(self, x: Array, shape: Array) -> Array:
        starts = np.cumsum(self.sizes) - self.sizes
        terms = np.repeat(shape, self.sizes)
        terms *= x
        np.exp(terms, out=terms)
        if self.weight is not None:
            terms *= self.weight
        totals = [np.add.reduceat(terms, starts)]
        for _ in range(3):
            terms *= x
            totals.append(np.add.reduceat(terms, starts))
        return np.array(totals)


def _climb(terms: _Terms) -> tuple[Array, Sums]:
    """Peak of each group by Halley's method in a bracket; nan where a group's sums vanish."""
    groups = len(terms.sizes)
    shape, low, high = (
        np.ones(groups),
        np.full(groups, SMALLEST_SHAPE),
        np.full(groups, LARGEST_SHAPE),
    )
    sums, mean_log = np.zeros((4, groups)), terms.sum_log / terms.n_exact
    left = np.arange(groups)
    while len(left):
        here, now = shape[left], terms.sums(shape[left])
        with np.errstate(divide="ignore", invalid="ignore"):
            slope, step = halley_step(here, mean_log[left], *now)
        settled = np.abs(step) < 1e-3 * here  # an error of e becomes one of about e ** 3
        stuck = ~(now.s0 > 0) | (high[left] < low[left] * (1 + 1e-9))
        last = np.where(settled, step, 0.0)
        sums[:, left] = now.moved(last)
        low[left], high[left] = np.where(slope > 0, [here, high[left]], [low[left], here])
        inside = (low[left] < here + step) & (here + step < high[left])
        bold = np.where(inside, here + step, np.sqrt(low[left] * high[left]))
        moving = ~(settled | stuck)
        shape[left] = np.where(moving, bold, here + last)
        if moving.mean() < 0.25:  # settled groups come along as long as they cost little
            terms, left = terms.some(moving), left[moving]
    return shape, Sums(*sums)


def _peaks(terms: _Terms, reference: Array) -> tuple[Array, NDArray[np.object_]]:
    """Shape, scale, log-likelihood and variances of groups of exact lives; nan with a reason."""
    shape, sums = _climb(terms)
    gross = 0.0 if terms.entry is None else terms._powers(terms.x, shape)[0]
    empty = ~(sums.s0 > LEAST_SPAN * gross)
    n, hazard = terms.n_exact, terms.n_exact / np.where(empty, 1.0, sums.s0)
    log_scale = -np.log(hazard) / shape
    value = n * np.log(shape * hazard / reference) + (shape - 1) * terms.sum_log - n
    # Information on (shape, level), turned to (log shape, log scale) as for a single fit.
    shape_shape, shape_level = n / shape**2 + hazard * sums.s2, hazard * sums.s1
    a = shape**2 * (shape_shape - 2 * log_scale * shape_level + log_scale**2 * n)
    b, c = shape**2 * (log_scale * n - shape_level), shape**2 * n
    free = a * c - b * b
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # only where refused below
        scale, *variances = reference * np.exp(log_scale), c / free, -b / free, a / free
    answer = np.array([shape, scale, value, *variances])
    reason = np.full(len(shape), "", dtype=object)
    reason[(shape < 1.01 * SMALLEST_SHAPE) | (np.abs(log_scale) > FARTHEST)] = TOWARD_ZERO
    reason[shape > 0.99 * LARGEST_SHAPE] = TOO_CLOSE
    reason[(reason == "") & ~(free > LEAST_INFORMATION * c)] = FLAT
    reason[empty] = TOO_SHORT
    answer[:, reason != ""] = np.nan
    return answer, reason


def _one(lives: Lives) -> tuple[Array, str]:
    """The same for one group with interval-censored lives."""
    try:
        fit = fit_weibull(lives)
    except NoFit as refusal:
        return np.full(6, np.nan), refusal.message
    (var_shape, both), (_, var_scale) = fit.covariance
    return np.array([fit.shape, fit.scale, fit.log_likelihood, var_shape, both, var_scale]), ""


def _taken(lives: Lives, rows: Any) -> Lives:
    """The lives of some rows, in that order."""
    return Lives(
        low=lives.low[rows],
        high=lives.high[rows],
        entry=lives.entry[rows],
        count=lives.count[rows],
        unit=lives.unit,
    )
