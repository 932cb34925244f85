"""How much proves something: success runs, planned sizes, failures needed, clean samples."""

import math

import numpy as np
from scipy.special import betaincc, betaincinv, gammaincinv, ndtri

from rca.errors import RcaError

# Sizes above this are no plan; the search stops there.
_MOST_UNITS = 1e12


def units_to_demonstrate(
    reliability: float,
    *,
    confidence: float = 0.9,
    failures_allowed: int = 0,
    times_life: float = 1.0,
    shape: float = 1.0,
) -> int:
    """Smallest number of units whose test, with at most so many failures, shows a reliability.

    The smallest n with P(at most `failures_allowed` failures among n) <= 1 - confidence where a
    unit passes with probability R^(k^shape): each runs k = `times_life` times the life for which
    the reliability R is claimed, lives being Weibull with a known shape. Without failures and at
    k = 1 this is n = ln(1 - confidence) / ln R, rounded up (success run; common practice).

    Returns
    -------
    int
        Number of units, each run without replacement.
    """
    _demand_shares(reliability=reliability, confidence=confidence)
    _demand_positive(times_life=times_life, shape=shape)
    allowed = _demand_count(failures_allowed)
    fails = -math.expm1(times_life**shape * math.log(reliability))

    def too_few(units: int) -> bool:
        # A hair of tolerance: 0.9^n = 0.1 hit exactly must count as reached.
        chance = betaincc(allowed + 1, units - allowed, fails)  # at most so many fail
        return bool(chance > (1 - confidence) * (1 + 1e-12))

    enough = allowed + 1
    while too_few(enough):
        enough *= 2
        if enough > _MOST_UNITS:
            raise RcaError(f"more than {_MOST_UNITS:g} units would be needed")
    short = allowed
    while enough - short > 1:
        middle = (short + enough) // 2
        short, enough = (middle, enough) if too_few(middle) else (short, middle)
    return enough


def time_to_demonstrate(
    life: float, reliability: float, *, units: int, shape: float, confidence: float = 0.9
) -> float:
    """Time that each of `units` must run without failure to show a reliability at `life`.

    life * (ln(1 - confidence) / (units * ln reliability)) ** (1 / shape), lives being Weibull with
    a known shape; in the unit of `life`. Common practice, no source; closed form.
    """
    _demand_shares(reliability=reliability, confidence=confidence)
    _demand_positive(life=life, shape=shape, units=units)
    return life * (math.log1p(-confidence) / (units * math.log(reliability))) ** (1 / shape)


def reliability_shown(units: int, *, failures: int = 0, confidence: float = 0.9) -> float:
    """Lower one-sided limit of the share that passes, from `failures` among `units` tested.

    Clopper & Pearson (1934), Biometrika 26 (from memory); without failures
    (1 - confidence) ** (1 / units).
    """
    _demand_shares(confidence=confidence)
    failed = _demand_count(failures)
    if units < 1 or failed > units:
        raise RcaError(f"{failed} failures among {units} units cannot be")
    return 0.0 if failed == units else float(1 - betaincinv(failed + 1, units - failed, confidence))


def expected_needed(failures_allowed: int = 0, *, confidence: float = 0.95) -> float:
    """Failures to be expected at the old rate before so few mean anything.

    The smallest E with P(at most `failures_allowed` | Poisson mean E) <= 1 - confidence: 2.996
    for none at 95 %, the old rate being taken as known ("rule of three").
    """
    _demand_shares(confidence=confidence)
    return float(gammaincinv(_demand_count(failures_allowed) + 1, confidence))


def failures_needed(
    ratio: float, *, share: float = 0.5, power: float = 0.8, confidence: float = 0.95
) -> int:
    """Failures in all, over two groups, for a one-sided test to find a hazard ratio.

    d = (z_confidence + z_power)^2 / (share (1 - share) (ln ratio)^2), rounded up, with `share` of
    the units in one group. Schoenfeld (1981), Biometrika 68 (from memory).
    """
    _demand_shares(share=share, power=power, confidence=confidence)
    _demand_positive(ratio=ratio)
    if ratio == 1:
        raise RcaError("a ratio of 1 is no difference: no number of failures can show it")
    quantiles = float(ndtri(confidence) + ndtri(power))
    return math.ceil(quantiles**2 / (share * (1 - share) * math.log(ratio) ** 2))


def _demand_shares(**values: float) -> None:
    for name, value in values.items():
        if not 0 < value < 1:
            raise RcaError(f"{name} must lie between 0 and 1, is {value:g}")


def _demand_positive(**values: float) -> None:
    for name, value in values.items():
        if not (value > 0 and math.isfinite(value)):
            raise RcaError(f"{name} must be above 0, is {value:g}")


def _demand_count(value: int) -> int:
    if value < 0 or value != int(value):
        raise RcaError(f"a number of failures must be whole and not below 0, is {value:g}")
    return int(value)


def units_to_inspect(population: int, share: float, *, confidence: float = 0.95) -> int:
    """Smallest random sample of a finite population that, clean, bounds the share affected.

    The smallest n for which more than `share` of the population affected, that is
    d = floor(share * population) + 1 units or more, would leave none of n in the sample with a
    chance of at most 1 - confidence: C(N - d, n) / C(N, n), hypergeometric, drawing without
    replacement (discovery sampling; G. J. Hahn & W. Q. Meeker, Statistical Intervals, 1991, and
    the zero-acceptance plans of ISO 2859-2, both from memory). For a large population this is the
    success run ln(1 - confidence) / ln(1 - share).

    Parameters
    ----------
    population
        Number of units, all of which could be drawn.
    share
        Share affected that a clean sample is to rule out, between 0 and 1.

    Returns
    -------
    int
        Number of units to inspect, at most all.
    """
    _demand_shares(share=share, confidence=confidence)
    units = _demand_count(population)
    if units < 1:
        raise RcaError("there is no unit to inspect")
    affected = math.floor(share * units) + 1
    # of n inspected none is affected: falls with n, 0 once fewer sound units are left than n
    chance, inspected = 1.0, 0
    while chance > (1 - confidence) * (1 + 1e-12) and inspected < units:
        chance *= max(units - affected - inspected, 0) / (units - inspected)
        inspected += 1
    return inspected


def share_affected_at_most(
    inspected: int, *, affected: int = 0, population: int, confidence: float = 0.95
) -> float:
    """Upper one-sided limit of the share affected, from a random sample of a finite population.

    The largest d / population for which so few affected ones in the sample still have a chance
    above 1 - confidence: hypergeometric (Hahn & Meeker, 1991, from memory).
    """
    from scipy.stats import hypergeom

    _demand_shares(confidence=confidence)
    found = _demand_count(affected)
    if not 0 <= found <= inspected <= population or inspected < 1:
        raise RcaError(f"{found} affected among {inspected} of {population} units cannot be")
    count = np.arange(found, population - (inspected - found) + 1)
    likely = hypergeom.cdf(found, population, count, inspected) > 1 - confidence
    return float(count[likely].max() / population)
