"""Which units stand out: shrunk ratios, what the worst gain by themselves, funnel limits."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, gammaln

from rca.errors import NoFit, RcaError
from rca.life.rates import demand_counts
from rca.life.sample import Array

_NODES = 24  # of the sum over the spread; twice as many change no printed digit


@dataclass(frozen=True, slots=True)
class WorstUnits:
    """What the units that look worst are to expect in an equal time, nothing being done.

    units
        Their places in the columns given.
    observed, expected_next
        Events they had, and will have on average in as much exposure again.
    lower, upper
        Between these the number will lie, with the stated confidence.
    """

    units: NDArray[np.intp]
    observed: float
    expected_next: float
    lower: float
    upper: float
    confidence: float

    @property
    def fall(self) -> float:
        """Share by which their events fall by themselves (regression to the mean)."""
        return 1 - self.expected_next / self.observed

    def __str__(self) -> str:
        return (
            f"the worst {len(self.units)} units had {self.observed:g} events and would have "
            f"{self.expected_next:.3g} ({self.lower:.0f} to {self.upper:.0f}, "
            f"{self.confidence:.0%}) in as much running again with nothing done: "
            f"a fall of {self.fall:.0%} by itself"
        )


@dataclass(frozen=True, slots=True, eq=False)
class ShrunkRatios:
    """Each unit's ratio of events to expected events, drawn toward the level of all.

    Attributes
    ----------
    observed, expected
        As given, one row a unit.
    ratio, lower, upper
        Shrunk ratio (posterior mean) and its limits.
    level
        Ratio about which the units lie: 1 where `expected` is right for the whole.
    variance
        Variance of the units' true ratios, relative to the level (posterior mean).
    """

    observed: Array
    expected: Array
    ratio: Array
    lower: Array
    upper: Array
    level: float
    variance: float
    confidence: float
    nodes: "_Nodes" = field(repr=False)

    def worst(self, *, share: float = 0.1) -> WorstUnits:
        """Return what the `share` of units with the highest raw ratios will do by themselves."""
        if not 0 < share <= 1:
            raise RcaError(f"share must lie above 0 and not above 1, is {share:g}")
        n = math.ceil(share * len(self.observed) - 1e-9)
        raw = self.observed / self.expected
        units = np.lexsort((self.observed, raw))[::-1][:n]
        if not self.observed[units].sum():
            raise NoFit("The units chosen had no event.")
        mean, variance = self.nodes.sum_of(self.observed, self.expected, units)
        # Events to come: their mean is uncertain, and they scatter about it (negative binomial).
        lower, upper = _count_limits(mean, variance / mean**2, self.confidence)
        return WorstUnits(
            units, float(self.observed[units].sum()), mean, lower, upper, self.confidence
        )

    def __str__(self) -> str:
        return (
            f"{len(self.ratio)} units, {self.observed.sum():g} events: level {self.level:.3g}, "
            f"standard deviation between units {math.sqrt(self.variance):.2g} of it; shrunk "
            f"ratios {self.ratio.min():.3g} to {self.ratio.max():.3g}"
        )


def shrink(observed: ArrayLike, expected: ArrayLike, *, confidence: float = 0.95) -> ShrunkRatios:
    """Shrink the units' ratios of observed to expected events by a gamma-Poisson law.

    Unit i has Poisson(m_i e_i) events; its true ratio m_i is gamma with mean `level` and variance
    v level^2. Given both, m_i has the mean (a + o_i) / (a / level + e_i), a = 1 / v. The level is
    at its likeliest for each v; v itself is not fixed at one value, which would take a small
    spread for none, but weighted by its likelihood with 1 / (1 + v * mean count) uniform on
    (0, 1). Limits are those of a gamma law with the resulting mean and variance.

    Parameters
    ----------
    observed, expected
        One row a unit: events, and the number that its exposure gives at the common rate, or that
        a life curve gives at the ages which it ran. Above 0 for each.

    Raises
    ------
    NoFit
        Without any event, or with one unit only.

    References
    ----------
    Christiansen & Morris (1997), J. Am. Stat. Assoc. 92, for the uniform prior of the shrinkage and
    the gamma limits; Hauer (1997) for its use on the worst sites (both from memory). Coverage by
    simulation in tests/benchmarks.
    """
    counts = np.asarray(observed, dtype=np.float64)
    means = np.asarray(expected, dtype=np.float64)
    demand_counts(counts, means)
    if counts.sum() == 0 or len(counts) < 2:
        raise NoFit(
            f"{counts.sum():g} events on {len(counts)} units: there is nothing to compare.",
            next_step="give the upper limit of the common rate",
        )
    nodes = _Nodes.of(counts, means)
    ratio, variance = nodes.posterior(counts, means)
    tail, form, unit = (1 - confidence) / 2, ratio**2 / variance, variance / ratio
    return ShrunkRatios(
        counts,
        means,
        ratio,
        gammaincinv(form, tail) * unit,
        gammaincinv(form, 1 - tail) * unit,
        float(nodes.weight @ nodes.level),
        float(nodes.weight @ (1 / nodes.size)),
        confidence,
        nodes,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Funnel:
    """Limits within which a unit's ratio lies by chance, given how much is expected of it.

    A unit is outside where observed > upper * expected or observed < lower * expected; each side
    holds at most half of 1 - confidence. `p_value` is two-sided, for Benjamini-Hochberg over the
    units (scipy.stats.false_discovery_control): of n units alike, n (1 - confidence) stand outside.
    """

    ratio: Array
    lower: Array
    upper: Array
    p_value: Array
    confidence: float

    @property
    def above(self) -> NDArray[np.bool_]:
        """Units with more events than the limits allow."""
        return self.ratio > self.upper

    @property
    def below(self) -> NDArray[np.bool_]:
        """Units with fewer events than the limits allow."""
        return self.ratio < self.lower


def funnel(
    observed: ArrayLike, expected: ArrayLike, *, variance: float = 0.0, confidence: float = 0.95
) -> Funnel:
    """Return exact limits of each unit's ratio around 1.

    Poisson limits, or negative binomial ones with the ordinary `variance` between the units'
    true ratios (`dispersion(...).variance` or `shrink(...).variance`): against Poisson limits
    half of a fleet can stand out where units merely differ. Spiegelhalter (2005), Statistics in
    Medicine 24, for the plot (from memory).
    """
    from scipy.stats import nbinom, poisson  # slow to load

    counts = np.asarray(observed, dtype=np.float64)
    means = np.asarray(expected, dtype=np.float64)
    demand_counts(counts, means)
    if not (variance >= 0 and 0 < confidence < 1):
        raise RcaError(f"variance {variance:g} or confidence {confidence:g} is out of range")
    law = poisson(means)
    if variance > 0:
        law = nbinom(1 / variance, 1 / (1 + variance * means))
    tail = (1 - confidence) / 2
    p_value = 2 * np.minimum(law.cdf(counts), law.sf(counts - 1))
    return Funnel(
        counts / means,
        law.ppf(tail) / means,
        law.ppf(1 - tail) / means,
        np.minimum(p_value, 1.0),
        confidence,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """Possible spreads (size = 1 / v), the likeliest level at each, and their weights.

    `information` is that of the log of the level.
    """

    size: Array
    level: Array
    information: Array
    weight: Array

    @classmethod
    def of(cls, counts: Array, means: Array) -> "_Nodes":
        """Weight the spread over all of its range, then again where the weight lies."""
        low, high = 0.0, 1.0
        for _ in range(3):
            shrinkage = low + (high - low) * (np.arange(_NODES) + 0.5) / _NODES
            nodes = cls._at(shrinkage, counts, means)
            heavy = np.flatnonzero(nodes.weight > 1e-4 * nodes.weight.max())
            cell = (high - low) / _NODES
            low, high = low + cell * max(heavy[0] - 1, 0), low + cell * min(heavy[-1] + 2, _NODES)
        return nodes

    @classmethod
    def _at(cls, shrinkage: Array, counts: Array, means: Array) -> "_Nodes":
        size = counts.mean() * shrinkage / (1 - shrinkage)
        log_level, information = _likeliest_level(size[:, None], counts, means)
        a = size[:, None]
        mean = np.exp(log_level)[:, None] * means
        log_likelihood = (
            gammaln(a + counts)
            - gammaln(a)
            - (a + counts) * np.log1p(mean / a)
            + counts * np.log(mean / a)
        ).sum(axis=1)
        log_weight = log_likelihood - np.log(information) / 2
        weight = np.exp(log_weight - log_weight.max())
        return cls(size, np.exp(log_level), information, weight / weight.sum())

    def posterior(self, counts: Array, means: Array) -> tuple[Array, Array]:
        """Return mean and variance of each unit's true ratio over all nodes."""
        first, second = np.zeros_like(counts), np.zeros_like(counts)
        for size, level, information, weight in self._each():
            rate = size / level + means
            mean = (size + counts) / rate
            by_level = mean * (size / level) / rate
            first += weight * mean
            second += weight * (mean**2 + mean / rate + by_level**2 / information)
        return first, second - first**2

    def sum_of(self, counts: Array, means: Array, units: NDArray[np.intp]) -> tuple[float, float]:
        """Return mean and variance of the units' summed true means."""
        first = second = 0.0
        for size, level, information, weight in self._each():
            rate = size / level + means[units]
            mean = means[units] * (size + counts[units]) / rate
            by_level = float((mean * (size / level) / rate).sum())
            total = float(mean.sum())
            spread = float((means[units] * mean / rate).sum()) + by_level**2 / information
            first += weight * total
            second += weight * (total**2 + spread)
        return first, second - first**2

    def _each(self) -> zip:
        return zip(self.size, self.level, self.information, self.weight, strict=True)


def _likeliest_level(size: Array, counts: Array, means: Array) -> tuple[Array, Array]:
    """Return the log of the likeliest level for each size (a column), and its information.

    The log-likelihood is concave in the log of the level: Newton inside a bracket.
    """
    log_level = np.full(len(size), math.log(counts.sum() / means.sum()))
    low, high = log_level - 40, np.full(len(size), math.log((counts / means).max()) + 1e-9)
    for _ in range(200):
        mean = np.exp(log_level)[:, None] * means
        slope = (size * (counts - mean) / (size + mean)).sum(axis=1)
        information = (size * mean * (size + counts) / (size + mean) ** 2).sum(axis=1)
        step = slope / information
        still = np.abs(step) > 1e-12
        if not still.any():
            break
        low, high = np.where(slope > 0, log_level, low), np.where(slope < 0, log_level, high)
        tried = log_level + step
        tried = np.where((low < tried) & (tried < high), tried, (low + high) / 2)
        log_level = np.where(still, tried, log_level)
    return log_level, information


def _count_limits(mean: float, variance: float, confidence: float) -> tuple[float, float]:
    """Return limits of a count whose mean is gamma with this mean and relative variance."""
    from scipy.stats import nbinom  # slow to load

    law = nbinom(1 / variance, 1 / (1 + variance * mean))
    tail = (1 - confidence) / 2
    return float(law.ppf(tail)), float(law.ppf(1 - tail))
