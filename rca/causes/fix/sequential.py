"""Evidence on observed against expected failures that may be looked at every month.

The count O after a fix is judged against an expectation E that is itself uncertain. That
uncertainty is one number, the *worth* c of the baseline: E is known as well as if it rested on c
failures. Then O, given a ratio r of the failure rate after to before, is negative binomial with
mean r E and size c (Poisson where c is infinite). The evidence is a ratio of two such likelihoods,
whose expectation under the denominator is 1 at every look, so that P(it ever reaches B) <= 1/B
(Ville's inequality; A. Wald, Sequential Analysis, 1947, for one fixed ratio).
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, gammaincinv, gammaln, logsumexp

Array = NDArray[np.float64]

RATIOS: Final = np.array([0.05, 0.15, 0.3, 0.5])
"""Ratios of failure rates that a fix which works is given equal chances to leave."""
SHOWN_AT: Final = 20.0
"""Evidence for a falling rate at which the effect counts as shown (1 / 0.05)."""
MISSED_AT: Final = 10.0
"""Evidence against the target at which the fix counts as having missed it."""
_LARGE = 1e6  # beyond this worth the difference of log-gammas loses digits: use its series


def log_likelihood(observed: ArrayLike, mean: ArrayLike, worth: ArrayLike) -> Array:
    """Log of the negative binomial likelihood of `observed`, without the term -log O!.

    Size `worth` (inf = Poisson) and mean `mean`; `observed` may be fractional (projections).
    """
    count, mu, size = np.broadcast_arrays(
        np.asarray(observed, float), np.asarray(mean, float), np.asarray(worth, float)
    )
    mu = np.maximum(mu, 1e-300)
    finite = np.isfinite(size) & (size > 0)
    c = np.where(finite, size, 1.0)
    # c -> 0 is no knowledge at all; the caller never asks for it with mean above 0
    rising = np.where(
        c < _LARGE,
        gammaln(c + count) - gammaln(c),
        count * np.log(c) + count * (count - 1) / (2 * c),
    )
    spread = rising - c * np.log1p(mu / c) + count * (np.log(mu) - np.log(c + mu))
    return np.where(finite, spread, count * np.log(mu) - mu)


def log_evidence_shown(
    observed: ArrayLike, expected: ArrayLike, worth: ArrayLike, weights: ArrayLike | None = None
) -> Array:
    """Log evidence that the rate fell: mean over `RATIOS` of NB(r E) against NB(E).

    `expected` and `worth` have the curves (one for each spread between units) on their first
    axis and `weights` their probabilities; without weights there is one curve and no such axis.
    """
    count, e, c, log_w = _curves(observed, expected, worth, weights)
    ratio = RATIOS.reshape((-1,) + (1,) * e.ndim)
    changed = log_likelihood(count, ratio * e, c) + log_w
    same = log_likelihood(count, e, c) + log_w
    return logsumexp(changed, axis=(0, 1)) - np.log(len(RATIOS)) - logsumexp(same, axis=0)


def log_evidence_missed(
    observed: ArrayLike,
    expected: ArrayLike,
    worth: ArrayLike,
    weights: ArrayLike | None = None,
    *,
    target: float = 0.5,
) -> Array:
    """Log evidence that nothing changed against the `target` ratio being met."""
    count, e, c, log_w = _curves(observed, expected, worth, weights)
    same = logsumexp(log_likelihood(count, e, c) + log_w, axis=0)
    met = logsumexp(log_likelihood(count, target * e, c) + log_w, axis=0)
    return same - met


def _curves(
    observed: ArrayLike, expected: ArrayLike, worth: ArrayLike, weights: ArrayLike | None
) -> tuple[Array, Array, Array, Array]:
    """Count, expectation, worth and log weights, with the curves on the first axis."""
    count = np.asarray(observed, float)
    e, c = np.asarray(expected, float), np.asarray(worth, float)
    if weights is None:
        count, e, c = np.broadcast_arrays(count, e, c)
        return count, e[np.newaxis], c[np.newaxis], np.zeros((1,) * (e.ndim + 1))
    w = np.maximum(np.asarray(weights, float), 1e-300)
    return count, e, c, np.log(w).reshape((-1,) + (1,) * (e.ndim - 1))


def ratio_limits(
    observed: ArrayLike, expected: ArrayLike, worth: ArrayLike, *, confidence: float = 0.95
) -> tuple[Array, Array]:
    """Two-sided limits of the ratio of failure rates, exact given O + c failures in all.

    The share p of the failures that fall after the fix has limits Beta(alpha; O, c + 1) and
    Beta(1 - alpha; O + 1, c); the ratio is c p / ((1 - p) E). With c failures seen before the fix
    and a known ratio of exposures these are the Clopper-Pearson limits; with c infinite, the exact
    Poisson limits. The lower limit is 0 where nothing failed.
    """
    tail = (1.0 - confidence) / 2.0
    count, e, c = np.broadcast_arrays(
        np.asarray(observed, float), np.asarray(expected, float), np.asarray(worth, float)
    )
    some = np.maximum(count, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        lower = _odds(some, c + 1.0, tail, scale=c) / e
        upper = _odds(count + 1.0, c, 1.0 - tail, scale=c) / e
    return np.where(count > 0, lower, 0.0), upper


def ratio_upper(
    observed: ArrayLike, expected: ArrayLike, worth: ArrayLike, *, confidence: float = 0.8
) -> Array:
    """One-sided upper limit of the ratio from Beta(O + 1/2, c + 1/2), used in the rule only."""
    count, c = np.asarray(observed, float), np.asarray(worth, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _odds(count + 0.5, c + 0.5, confidence, scale=c) / np.asarray(expected, float)


def _odds(first: Array, second: Array, share: float, *, scale: Array) -> Array:
    """c p / (1 - p) for the `share` quantile p of Beta(first, second); Gamma's as c -> inf."""
    large = ~(scale < 1e9)
    p = betaincinv(first, np.where(large, 1.0, second), share)
    return np.where(large, gammaincinv(first, share), scale * p / (1.0 - p))


def expected_to_show(observed: ArrayLike, worth: ArrayLike, *, target: float = 0.5) -> Array:
    """Expected failures at which `observed` failures show the effect and meet the target.

    Solves evidence = 20 (and the one-sided 80 % limit at the target) for E at the given worth by
    bisection; inf where no expectation would do (a baseline worth too little).
    """
    count, c = np.broadcast_arrays(np.asarray(observed, float), np.asarray(worth, float))
    low, high = np.full(count.shape, 1e-6), np.full(count.shape, 1e7)

    def enough(e: Array) -> NDArray[np.bool_]:
        shown = log_evidence_shown(count, e, c) >= np.log(SHOWN_AT)
        return shown & (ratio_upper(count, e, c) <= target)

    possible = enough(high)
    for _ in range(60):  # halves log(high / low) = 30 down to 1e-17
        middle = np.sqrt(low * high)
        good = enough(middle)
        low, high = np.where(good, low, middle), np.where(good, middle, high)
    return np.where(possible, high, np.inf)


def most_to_show(
    expected: Array,
    worth: Array,
    weights: Array,
    pooled: Array,
    pooled_worth: Array,
    *,
    target: float,
) -> NDArray[np.int64]:
    """Largest count that still shows the effect at each look, -1 where even none would not.

    `expected` and `worth` have shape (curves, looks), `pooled` and `pooled_worth` (looks,).
    """

    def shows(count: Array) -> NDArray[np.bool_]:
        evidence = log_evidence_shown(count, expected, worth, weights)
        return (evidence >= np.log(SHOWN_AT)) & (ratio_upper(count, pooled, pooled_worth) <= target)

    return _last_true(shows, pooled)


def fewest_to_miss(
    expected: Array, worth: Array, weights: Array, pooled: Array, *, target: float
) -> NDArray[np.int64]:
    """Smallest count at each look that speaks tenfold against the target being met."""

    def still_open(count: Array) -> NDArray[np.bool_]:
        evidence = log_evidence_missed(count, expected, worth, weights, target=target)
        return evidence < np.log(MISSED_AT)

    return _last_true(still_open, 4.0 * pooled + 60.0) + 1


def _last_true(holds: Callable[[Array], NDArray[np.bool_]], about: Array) -> NDArray[np.int64]:
    """Largest whole number for which a falling condition holds, by bisection at every look."""
    low = np.full(about.shape, -1, dtype=np.int64)
    high = np.ceil(2.0 * about + 20.0).astype(np.int64)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        good = holds(middle.astype(np.float64)) & (middle >= 0)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return low


def relapse_scores(
    observed: ArrayLike, expected: ArrayLike, *, ratio: float, start: float = 0.0
) -> Array:
    """Score of a return to the old rate, month by month, after a shown effect.

    C = max(0, C + dO ln(1/r) - (1 - r) dE): the log likelihood ratio of the old rate against the
    rate that the fix left, restarted at 0 (J. M. Lucas, Counted data CUSUM's, Technometrics 27,
    1985). `observed` and `expected` are the failures of each month, months on the last axis.
    """
    steps = np.asarray(observed, float) * np.log(1.0 / ratio)
    steps = steps - (1.0 - ratio) * np.asarray(expected, float)
    score = np.full(steps.shape[:-1], start)
    scores = np.empty_like(steps)
    for month in range(steps.shape[-1]):
        score = np.maximum(0.0, score + steps[..., month])
        scores[..., month] = score
    return scores


def relapse_plan(ratio: float) -> tuple[float, float]:
    """Ratio taken as left by the fix, and the score at which its relapse is signalled."""
    return (0.3, 3.0) if ratio <= 0.3 else (0.5, 2.5)
