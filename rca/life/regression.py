"""What goes with early failure: proportional hazards with late entry, errors by unit."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from rca.errors import NoFit, RcaError
from rca.life.curves import normal_quantile
from rca.life.histories import Codes
from rca.life.risksets import RiskSets, labels
from rca.life.sample import Array, Lives

FEWEST_CLUSTERS = 20
_WIDEST = 30.0  # log hazard ratio between two lives beyond which none is taken for finite


@dataclass(frozen=True, slots=True)
class HazardRatio:
    """How many times the failure rate grows with one step more of a covariate, others equal."""

    value: float
    lower: float
    upper: float
    p_value: float
    confidence: float = 0.95

    def __str__(self) -> str:
        limits = f"{self.lower:.4g} to {self.upper:.4g}, {self.confidence:.0%}"
        return f"{self.value:.4g} ({limits}; p = {self.p_value:.3g})"


@dataclass(frozen=True, slots=True, eq=False)
class ProportionalHazards:
    """A fitted proportional-hazards model; `coefficient` holds log hazard ratios.

    `covariance` is by unit where clusters were given (`n_clusters` > 0), else from the curvature.
    """

    covariates: tuple[str, ...]
    coefficient: Array
    covariance: Array
    log_likelihood: float
    null_log_likelihood: float
    n_failed: float
    n_lives: float
    n_clusters: int
    note: str = ""

    @property
    def standard_error(self) -> Array:
        """Standard error of each coefficient."""
        return np.sqrt(np.diag(self.covariance))

    def ratio(self, covariate: str, *, confidence: float = 0.95) -> HazardRatio:
        """Hazard ratio of one covariate with Wald limits on the log scale."""
        if covariate not in self.covariates:
            raise RcaError(f"no covariate {covariate!r}; there are {', '.join(self.covariates)}")
        place = self.covariates.index(covariate)
        value, error = float(self.coefficient[place]), float(self.standard_error[place])
        margin = normal_quantile(confidence) * error
        p_value = 2 * float(ndtr(-abs(value) / error))
        return HazardRatio(
            math.exp(value), math.exp(value - margin), math.exp(value + margin), p_value, confidence
        )

    def __str__(self) -> str:
        ratios = "; ".join(f"{name} {self.ratio(name)}" for name in self.covariates)
        by = f", errors by {self.n_clusters} units" if self.n_clusters else ""
        note = f"; {self.note}" if self.note else ""
        return f"hazard ratios, {self.n_failed:g} of {self.n_lives:g} failed{by}: {ratios}{note}"


def proportional_hazards(
    lives: Lives,
    covariates: Mapping[str, ArrayLike],
    *,
    strata: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> ProportionalHazards:
    """Fit h(age | x) = h0(age) exp(x' coefficient) by partial likelihood, ties by Efron.

    A life is at risk at the failures of its stratum with entry < age at failure <= its age. With
    `cluster` the covariance is I^-1 (sum over clusters of s s') I^-1, where s is the sum of the
    score residuals of a cluster's lives. Computed here because, with late entry, tied ages and
    clusters at once, neither library at hand has it right: statsmodels 0.15.0 counts a life as at
    risk at its own entry age and has wrong score residuals under ties and late entry, lifelines
    0.30.3 has wrong clustered errors under late entry (shown in the tests, which agree with each
    where it is right).

    Parameters
    ----------
    covariates
        Name to column, one value a life; a factor needs one column of 0 and 1 for each level
        but one. A data frame of such columns serves.
    strata
        One label a life: each stratum has a baseline hazard of its own.
    cluster
        One label a life, the unit: its lives may be alike.

    Raises
    ------
    NoFit
        Where no finite ratio exists: a covariate that is constant, follows from others, or goes
        one way at every failure.

    References
    ----------
    Cox (1972), J. R. Stat. Soc. B 34; Efron (1977), J. Am. Stat. Assoc. 72; Lin & Wei (1989),
    J. Am. Stat. Assoc. 84 (all from memory).
    """
    names, x = _columns(covariates, len(lives))
    sets = RiskSets.of(lives, strata=strata)
    centre = np.average(x, axis=0, weights=lives.count)
    spread = np.sqrt(np.average((x - centre) ** 2, axis=0, weights=lives.count))
    if (spread == 0).any():
        constant = names[int(np.flatnonzero(spread == 0)[0])]
        raise NoFit(f"{constant} is the same for all lives, so it has no hazard ratio.")
    model = _Partial(sets, (x - centre) / spread, _tie_shares(sets))
    coefficient, slopes, null = _maximum(model, names)
    covariance = np.linalg.inv(slopes.information).astype(np.float64)
    n_clusters = 0
    if cluster is not None:
        units, code = labels("cluster", cluster, len(lives))
        n_clusters = len(units)
        residuals = model.score_residuals(coefficient) * lives.count[:, None]
        sums = np.column_stack([np.bincount(code, weights=column) for column in residuals.T])
        covariance = covariance @ (sums.T @ sums) @ covariance
    few = 0 < n_clusters < FEWEST_CLUSTERS
    return ProportionalHazards(
        names,
        coefficient / spread,
        covariance / np.outer(spread, spread),
        slopes.value,
        null,
        lives.n_failed,
        lives.n_failed + lives.n_running,
        n_clusters,
        f"only {n_clusters} units: these errors may be too small" if few else "",
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Slopes:
    value: float
    gradient: Array
    information: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Partial:
    """Efron's partial likelihood of standardised covariates `x`, one row a life.

    Of d failures at one age the l-th (l = 0 .. d - 1) meets a risk set in which those d count
    1 - l/d each. `ties` holds the failure time and the share l/d of each such term.
    """

    sets: RiskSets
    x: Array
    ties: tuple[Codes, Array]

    def at(self, coefficient: Array) -> _Slopes:
        """Log-likelihood, its gradient, and minus its second derivatives."""
        weight, log_scale = self._weight(coefficient)
        n = self.x.shape[1]
        total = self._term(weight)
        information = np.empty((n, n))
        with np.errstate(divide="ignore", invalid="ignore"):  # where hazards differ too much
            mean = np.column_stack([self._term(weight * x) / total for x in self.x.T])
            for i in range(n):
                for j in range(i, n):
                    second = (self._term(weight * self.x[:, i] * self.x[:, j]) / total).sum()
                    information[i, j] = information[j, i] = second - mean[:, i] @ mean[:, j]
            log_total = np.log(total).sum()
        failed = self.sets.failed
        seen = self.x[failed].T @ self.sets.count[failed]
        value = seen @ coefficient - log_total - log_scale * len(total)
        return _Slopes(float(value), seen - mean.sum(axis=0), information)

    def spread(self, coefficient: Array) -> float:
        """Largest log hazard ratio between two lives."""
        return float(np.ptp(self.x @ coefficient))

    def score_residuals(self, coefficient: Array) -> Array:
        """Each life's own part of the gradient (per copy, where a life counts several times)."""
        weight, _ = self._weight(coefficient)
        weight = weight / self.sets.count
        at, share = self.ties
        total = self._term(weight * self.sets.count)
        sets, times = self.sets, len(self.sets.deaths)
        residuals = np.empty_like(self.x)
        for place, column in enumerate(self.x.T):
            mean = self._term(weight * self.sets.count * column) / total
            parts = {
                name: np.bincount(at, weights=values, minlength=times)
                for name, values in {
                    "all": 1 / total,
                    "all mean": mean / total,
                    "tied": share / total,
                    "tied mean": share * mean / total,
                    "mean": mean,
                }.items()
            }
            run = [np.concatenate(([0.0], np.cumsum(parts[k]))) for k in ("all", "all mean")]
            plain, by_mean = (sums[sets.beyond] - sums[sets.first] for sums in run)
            residual = -weight * (column * plain - by_mean)
            own = sets.failed
            residual[own] += column[own] - (parts["mean"] / sets.deaths)[sets.at]
            lighter = column[own] * parts["tied"][sets.at] - parts["tied mean"][sets.at]
            residual[own] += weight[own] * lighter
            residuals[:, place] = residual
        return residuals

    def _weight(self, coefficient: Array) -> tuple[Array, float]:
        """Count times relative hazard, divided by exp of the second number against overflow."""
        log_hazard = self.x @ coefficient
        top = float(log_hazard.max())
        return self.sets.count * np.exp(log_hazard - top), top

    def _term(self, values: Array) -> Array:
        """Sum over the risk set of each term."""
        at, share = self.ties
        return self.sets.at_risk(values)[at] - share * self.sets.failing(values)[at]


def _tie_shares(sets: RiskSets) -> tuple[Codes, Array]:
    deaths = sets.deaths.astype(np.intp)
    if (deaths != sets.deaths).any():
        raise RcaError("proportional hazards needs whole-number counts of failures")
    at = np.repeat(np.arange(len(deaths)), deaths)
    return at, (np.arange(len(at)) - (np.cumsum(deaths) - deaths)[at]) / deaths[at]


def _maximum(model: _Partial, names: tuple[str, ...]) -> tuple[Array, _Slopes, float]:
    """Newton from 0, halving steps that do not rise; refuse a likelihood without a maximum."""
    coefficient = np.zeros(len(names))
    slopes = model.at(coefficient)
    null = slopes.value
    for _ in range(50):
        if not np.isfinite(slopes.information).all():
            break
        values, vectors = np.linalg.eigh(slopes.information)
        if values[0] <= 1e-10 * max(values[-1], 1.0) or model.spread(coefficient) > _WIDEST:
            break
        step = vectors @ ((vectors.T @ slopes.gradient) / values)
        if np.abs(step).max() < 1e-10:
            return coefficient, slopes, null
        tried = model.at(coefficient + step)
        while tried.value < slopes.value - 1e-9 * abs(slopes.value) and np.abs(step).max() > 1e-10:
            step = step / 2
            tried = model.at(coefficient + step)
        coefficient, slopes = coefficient + step, tried
    weakest = names[int(np.abs(vectors[:, 0]).argmax())]
    raise NoFit(
        f"No finite hazard ratio for {weakest}: it follows from the other covariates, or goes one "
        "way at every failure.",
        next_step="leave it out, join levels, or compare groups by log_rank",
    )


def _columns(covariates: Mapping[str, ArrayLike], length: int) -> tuple[tuple[str, ...], Array]:
    names = tuple(str(name) for name in covariates)
    if not names:
        raise RcaError("no covariate was given")
    columns = [np.asarray(covariates[name], dtype=np.float64) for name in covariates]
    for name, column in zip(names, columns, strict=True):
        if column.shape != (length,):
            raise RcaError(f"{name} has shape {column.shape}, there are {length} lives")
        if not np.isfinite(column).all():
            raise RcaError(
                f"{name} is unknown in {(~np.isfinite(column)).sum()} of {length} lives",
                next_step="leave these lives out and say how many",
            )
    return names, np.column_stack(columns)
