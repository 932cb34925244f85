"""Resampling of whole units: intervals that allow for lives of one unit being alike.

Lives of one unit share its duty, its driver and its faults. A fit that takes each life as a fresh
draw then has intervals that are too short; drawing whole units with replacement, each with all
its lives, keeps what they share (Davison & Hinkley 1997, section 2.4, from memory).
"""

import math
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from rca.errors import NoAnswer, RcaError
from rca.life.batch import fit_weibull_groups
from rca.life.sample import Array, Interval, Lives
from rca.life.weibull import WeibullFit, fit_weibull, hazard_of

_BATCH_CELLS = 1_000_000  # draws x units that are made from one seed
_NODES = 20
_FEWEST_FITTED = 0.9

Statistic = Callable[[Array], Array]


def resample_units(
    statistic: Statistic,
    n_units: int,
    *,
    draws: int = 2000,
    seed: int = 0,
    executor: Executor | None = None,
) -> Array:
    """Draw `n_units` units with replacement `draws` times and compute `statistic` of each draw.

    Parameters
    ----------
    statistic
        Takes how often each unit was drawn, shape (batch, n_units), and returns one row a draw,
        shape (batch, m). With a process executor it must be picklable.
    executor
        Anything with the `map` of `concurrent.futures`; None computes here. Each batch of draws
        has its own seed, so that the numbers are the same either way.

    Returns
    -------
    array of shape (draws, m)
    """
    if n_units < 2:
        raise NoAnswer(
            f"resampling needs at least 2 units, here are {n_units}",
            next_step="use the likelihood-ratio interval of the fit",
        )
    batch = max(1, _BATCH_CELLS // n_units)
    sizes = [min(batch, draws - done) for done in range(0, draws, batch)]
    seeds = np.random.SeedSequence(seed).spawn(len(sizes))
    one = partial(_batch, statistic, n_units)
    parts = (executor.map if executor else map)(one, sizes, seeds)
    return np.concatenate(list(parts))


def _batch(statistic: Statistic, n_units: int, size: int, seed: np.random.SeedSequence) -> Array:
    return statistic(draw_counts(n_units, size, np.random.default_rng(seed)))


def draw_counts(n_units: int, draws: int, rng: np.random.Generator) -> Array:
    """How often each unit comes up in each draw; shape (draws, n_units), rows sum to n_units."""
    picked = rng.integers(0, n_units, (draws, n_units), dtype=np.int32)
    picked += np.arange(0, draws * n_units, n_units, dtype=np.int32)[:, None]
    counts = np.bincount(picked.ravel(), minlength=draws * n_units)
    return counts.reshape(draws, n_units).astype(float)


@dataclass(frozen=True, slots=True, eq=False)
class WeibullBootstrap:
    """Weibull curves of resampled units beside the curve of all of them.

    `shape` and `scale` hold one entry a draw, nan where a draw has no fit.
    """

    fit: WeibullFit
    shape: Array
    scale: Array
    n_units: int

    def interval(self, parameter: str, *, confidence: float = 0.95) -> Interval:
        """Percentile interval of "shape" or "scale"."""
        if parameter not in ("shape", "scale"):
            raise RcaError(f'parameter must be "shape" or "scale", not {parameter!r}')
        return self._percentiles(self.shape if parameter == "shape" else self.scale, confidence)

    def life_interval(self, share_failed: float, *, confidence: float = 0.95) -> Interval:
        """Percentile interval of the age by which `share_failed` have failed."""
        hazard = hazard_of(share_failed)
        return self._percentiles(self.scale * hazard ** (1.0 / self.shape), confidence)

    def _percentiles(self, values: Array, confidence: float) -> Interval:
        if not 0 < confidence < 1:
            raise RcaError(f"confidence must lie between 0 and 1, not {confidence!r}")
        fitted = values[np.isfinite(values)]
        if len(fitted) < _FEWEST_FITTED * len(values):
            raise NoAnswer(
                f"only {len(fitted)} of {len(values)} resamples could be fitted: too few failures",
                next_step="use the likelihood-ratio interval of the fit",
            )
        tail = (1.0 - confidence) / 2
        lower, upper = np.quantile(fitted, [tail, 1.0 - tail])
        without = len(values) - len(fitted)
        note = f"{without} of {len(values)} resamples had no fit and are left out" * (without > 0)
        return Interval(float(lower), float(upper), confidence, "bootstrap by unit", note)

    def __str__(self) -> str:
        return (
            f"{len(self.shape)} resamples of {self.n_units} units: "
            f"shape {self.fit.shape:.4g} ({self.interval('shape')}), "
            f"scale {self.fit.scale:.4g} {self.fit.unit} ({self.interval('scale')})"
        )


def bootstrap_weibull(
    lives: Lives,
    unit: ArrayLike,
    *,
    draws: int = 2000,
    seed: int = 0,
    executor: Executor | None = None,
) -> WeibullBootstrap:
    """Fit a Weibull curve to `draws` resamples of whole units.

    `unit` names the unit of each life. Lives with exact ages are fitted all at once; with
    interval-censored lives each draw is fitted on its own, which is slow.

    Raises
    ------
    NoFit
        Where the lives themselves have no fit.
    NoAnswer
        With fewer than two units.
    """
    names, code = np.unique(np.asarray(unit), return_inverse=True)
    if code.shape != lives.low.shape:
        raise RcaError(f"unit has shape {code.shape}, the lives have {lives.low.shape}")
    fit = fit_weibull(lives)
    statistic = (
        _Refit(lives, code) if not fit.likelihood.all_exact else _refit_fast(fit, lives, code)
    )
    answer = resample_units(statistic, len(names), draws=draws, seed=seed, executor=executor)
    return WeibullBootstrap(fit, answer[:, 0], answer[:, 1], len(names))


@dataclass(frozen=True, slots=True, eq=False)
class _Refit:
    """Shape and scale of each draw, every draw fitted as a group of weighted lives."""

    lives: Lives
    code: NDArray[np.intp]

    def __call__(self, counts: Array) -> Array:
        weight = counts[:, self.code] * self.lives.count
        draw, row = np.nonzero(weight)
        sample = Lives(
            low=self.lives.low[row],
            high=self.lives.high[row],
            entry=self.lives.entry[row],
            count=weight[draw, row],
            unit=self.lives.unit,
        )
        fits = fit_weibull_groups(sample, draw)
        return np.column_stack([fits.shape, fits.scale])


@dataclass(frozen=True, slots=True, eq=False)
class _RefitFast:
    """Shape and scale of each draw from sums at a few shapes, for lives of exact ages.

    The likelihood needs of a draw its number of failures, their sum of x, and S(shape), a sum of
    powers. S of a draw is the drawn sum of S of units, so one matrix product gives it at 20
    shapes for all draws; ln S between them is a Chebyshev series in ln(shape), good to 1e-10.
    Draws whose peak lies outside the range go to `exact`.

    Attributes
    ----------
    middle, reach
        The range is middle - reach to middle + reach in ln(shape).
    table
        (units, 20 + 2): S at the nodes, number of failures, sum of x.
    """

    middle: float
    reach: float
    reference: float
    table: Array
    exact: _Refit

    def __call__(self, counts: Array) -> Array:
        sums = counts @ self.table
        n, sum_log = sums[:, -2], sums[:, -1]
        with np.errstate(divide="ignore", invalid="ignore"):
            series = _from_nodes() @ np.log(sums[:, :-2]).T
            place, inside = self._peaks(series, sum_log / n)
            level = np.log(n) - chebyshev.chebval(place, series, tensor=False)
            shape = np.exp(self.middle + self.reach * place)
            answer = np.column_stack([shape, self.reference * np.exp(-level / shape)])
        if not inside.all():
            answer[~inside] = self.exact(counts[~inside])
        return answer

    def _peaks(self, series: Array, mean_log: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Where 1 / shape + mean_log = (ln S)', as a place in -1 to 1, by Newton's method."""
        first = chebyshev.chebder(series)
        second = chebyshev.chebder(first)
        place = np.zeros(series.shape[1])
        for _ in range(8):
            pull = np.exp(self.middle + self.reach * place) * mean_log * self.reach
            slope = self.reach + pull - chebyshev.chebval(place, first, tensor=False)
            bend = self.reach * pull - chebyshev.chebval(place, second, tensor=False)
            step = -slope / bend
            place = np.clip(place + step, -1.0, 1.0)
            if np.abs(step).max() < 1e-12:
                break
        return place, (np.abs(step) < 1e-9) & (np.abs(place) < 1.0)


def _refit_fast(fit: WeibullFit, lives: Lives, code: NDArray[np.intp]) -> _RefitFast:
    middle = math.log(fit.shape)
    # The likelihood-ratio width tells how far draws scatter; twice that holds nearly all.
    reach = min(4.0 * math.sqrt(fit.covariance[0, 0]) + 0.1, 1.2)
    nodes = np.exp(middle + reach * chebyshev.chebpts1(_NODES))
    x = np.log(lives.low / fit.likelihood.reference)
    late = lives.entry > 0
    x_entry = np.log(lives.entry[late] / fit.likelihood.reference)
    failed = lives.count * lives.exact
    columns = [
        np.bincount(code, lives.count * np.exp(shape * x))
        - np.bincount(code[late], lives.count[late] * np.exp(shape * x_entry), code.max() + 1)
        for shape in nodes
    ]
    columns += [np.bincount(code, failed), np.bincount(code, failed * x)]
    reference = fit.likelihood.reference
    return _RefitFast(middle, reach, reference, np.column_stack(columns), _Refit(lives, code))


def _from_nodes() -> Array:
    """Matrix that turns values at Chebyshev points into coefficients of the series."""
    points = chebyshev.chebpts1(_NODES)
    matrix = np.asarray(chebyshev.chebvander(points, _NODES - 1).T * (2.0 / _NODES), dtype=float)
    matrix[0] /= 2.0
    return matrix
