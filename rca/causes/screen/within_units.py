"""Two ratios that compare a unit only with itself: case series and sequence symmetry."""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import betainc, betaincinv

from rca.life.curves import normal_quantile
from rca.life.sample import Array, Interval

_FARTHEST = 25.0  # |log ratio| beyond which a limit counts as none


def case_series_ratio(
    inside: float,
    events: ArrayLike,
    share: ArrayLike,
    *,
    dispersion: float = 1.0,
    confidence: float = 0.95,
) -> tuple[float, Interval]:
    """Ratio of a unit's failure rate inside certain windows to its rate outside them.

    Given that unit u had n_u failures, each fell inside with probability
    d_u r / (1 + d_u (r - 1)), d_u being the share of its watched, rate-weighted time that lies
    inside. The log-likelihood, with x failures inside in all,

        x log r - sum over units n_u log(1 + d_u (r - 1)),

    has one maximum; limits by likelihood ratio, the drop multiplied by `dispersion` where events
    come in clusters. All that is lasting about a unit cancels.

    Parameters
    ----------
    inside
        Failures inside the windows, over all units.
    events, share
        Failures of each unit, and its share of time inside (0 to 1).

    Returns
    -------
    The ratio (0 or inf where all failures lie on one side) and its interval.

    References
    ----------
    Farrington (1995), Biometrics 51, self-controlled case series (from memory); checked against
    the worked example of Whitaker, Farrington, Spiessens & Musonda (2006), Stat. Med. 25.
    """
    counts, shares = np.asarray(events, dtype=float), np.asarray(share, dtype=float)
    total = float(counts[shares > 0].sum())

    def log_likelihood(log_ratio: float) -> float:
        steps = np.log1p(shares * math.expm1(log_ratio))
        return float(inside * log_ratio - (counts * steps).sum())

    def slope(log_ratio: float) -> float:
        odds = shares * math.exp(log_ratio)
        return float(inside - (counts * odds / (1 - shares + odds)).sum())

    within = float(counts[(shares > 0) & (shares < 1)].sum())
    if within == 0:
        return math.nan, Interval(0.0, math.inf, confidence, "case series", "no contrast in time")
    if inside <= 0:
        best = -_FARTHEST
    elif inside >= total:
        best = _FARTHEST
    else:
        best = float(brentq(slope, -_FARTHEST, _FARTHEST))
    drop = normal_quantile(confidence) ** 2 / 2 * dispersion
    top = log_likelihood(best)

    def below(log_ratio: float) -> float:
        return log_likelihood(log_ratio) - top + drop

    lower, upper = 0.0, math.inf
    if inside > 0 and below(-_FARTHEST) < 0:
        lower = math.exp(brentq(below, -_FARTHEST, best))
    if inside < total and below(_FARTHEST) < 0:
        upper = math.exp(brentq(below, best, _FARTHEST))
    value = 0.0 if inside <= 0 else math.inf if inside >= total else math.exp(best)
    return value, Interval(lower, upper, confidence, "case series, likelihood ratio")


def sequence_ratio(
    before: float, after: float, *, expected_share: float = 0.5, confidence: float = 0.95
) -> tuple[float, Interval]:
    """Ratio of events that came before to those that came after, over what chance would give.

    (before / after) / (s / (1 - s)), s = `expected_share` before by season, trend and cut
    windows; exact binomial (Clopper-Pearson) limits turned into odds. Counts may be fractions
    where they stand for clustered events.

    References
    ----------
    Petri et al. (1988); Hallas (1996), Epidemiology 7:478, sequence symmetry; the share as in the
    null-effect ratio (all from memory). Madsen (2025), Scand. J. Stat. 52:469, shows that the
    ratio over short windows is free of what is lasting about a unit (abstract read).
    """
    tail = (1 - confidence) / 2
    chance = expected_share / (1 - expected_share)
    lower = betaincinv(before, after + 1, tail) if before > 0 else 0.0
    upper = betaincinv(before + 1, after, 1 - tail) if after > 0 else 1.0
    high = upper / (1 - upper) / chance if upper < 1 else math.inf
    value = before / after / chance if after > 0 else math.inf
    limits = Interval(float(lower / (1 - lower) / chance), high, confidence, "exact binomial")
    return float(value), limits


def tail_chance(observed: ArrayLike, total: ArrayLike, chance: ArrayLike) -> Array:
    """Chance of as many as `observed` or more of `total`, half the chance of equality (mid-p).

    Binomial tail by the incomplete beta function, so that counts may be fractions.

    References
    ----------
    Lancaster (1961), J. Am. Stat. Assoc. 56, for the mid-p; Abramowitz & Stegun 26.5.24 for the
    tail (both from memory).
    """

    x = np.asarray(observed, dtype=float)
    n = np.maximum(np.asarray(total, dtype=float), x)
    p = np.clip(chance, 0.0, 1.0)
    tiny = 1e-12
    at_least = np.where(x > 0, betainc(np.maximum(x, tiny), n - x + 1, p), 1.0)
    more = np.where(n > x, betainc(x + 1, np.maximum(n - x, tiny), p), 0.0)
    mid: Array = (at_least + more) / 2
    return mid
