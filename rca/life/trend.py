"""Is it getting worse: tests of trend pooled over units, and a mean time that says so."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtr, chdtrc, ndtr

from rca.errors import NoAnswer, NoFit
from rca.life.histories import Codes, Histories
from rca.life.rates import rate_limits
from rca.life.sample import Array

FEWEST_UNITS = 10  # with events; below, the spread between units says too little


@dataclass(frozen=True, slots=True)
class Trend:
    """Tests of "the rate does not change with age", each unit with a rate of its own.

    Attributes
    ----------
    laplace, laplace_p
        Laplace's z and its two-sided p: above 0 rising, below 0 falling.
    chi_square, degrees, chi_square_p
        Statistic of MIL-HDBK-189 with its degrees of freedom and two-sided p: SMALL is rising,
        large is falling.
    laplace_units_p, chi_square_units_p
        The same two statistics judged by the spread between units instead of by the Poisson law,
        so that events in bursts are not taken for a trend; nan with fewer than 10 units that
        have events.
    n_events, n_units
        Events used, and units that have any.
    """

    laplace: float
    laplace_p: float
    chi_square: float
    degrees: int
    chi_square_p: float
    laplace_units_p: float
    chi_square_units_p: float
    n_events: int
    n_units: int

    def direction(self, *, level: float = 0.05) -> Literal["rising", "falling", "none shown"]:
        """Return the trend shown at error rate `level`.

        The smaller of the two p-values, doubled because there are two, must not exceed `level`;
        with 10 units or more that have events, so must not the doubled p-value of the same test
        by the spread between units.
        """
        by_laplace = self.laplace_p <= self.chi_square_p
        p = self.laplace_p if by_laplace else self.chi_square_p
        by_units = self.laplace_units_p if by_laplace else self.chi_square_units_p
        if 2 * p > level or 2 * by_units > level:  # nan, not tested, never exceeds
            return "none shown"
        rising = self.laplace > 0 if by_laplace else self.chi_square < self.degrees
        return "rising" if rising else "falling"

    def __str__(self) -> str:
        return (
            f"trend: {self.direction()} ({self.n_events} events on {self.n_units} units; "
            f"Laplace z {self.laplace:.2f}, p = {self.laplace_p:.3g}; MIL-HDBK-189 chi-square "
            f"{self.chi_square:.1f} on {self.degrees}, p = {self.chi_square_p:.3g})"
        )


@dataclass(frozen=True, slots=True)
class MeanTime:
    """Mean time between failures over the ages watched, with its trend statement.

    `value` is nan where nothing failed. `trend` is None where too few events allow no test.
    """

    value: float
    lower: float
    upper: float
    count: int
    exposure: float
    confidence: float
    unit_of_age: str
    trend: Trend | None
    statement: str

    def __str__(self) -> str:
        value = "unknown" if math.isnan(self.value) else f"{self.value:.4g}"
        upper = "no upper limit" if math.isinf(self.upper) else f"{self.upper:.4g}"
        return (
            f"mean time between failures {value} {self.unit_of_age} ({self.lower:.4g} to {upper}, "
            f"{self.confidence:.0%}), {self.count} failures in {self.exposure:g}; {self.statement}"
        )


def trend_tests(histories: Histories, *, ends_at_failure: bool = False) -> Trend:
    """Test for a trend with age, pooled over units that may differ in their rates.

    Given how many events a unit had, under a constant rate they fall evenly over the time for
    which it was watched. With w = watched time before an event and L = watched time of its unit:

    - Laplace: z = sum (w - L/2) / sqrt(sum L^2 / 12);
    - MIL-HDBK-189: 2 sum ln(L / w), chi-square with 2 degrees of freedom an event.

    Late starts and gaps are thus allowed. An event at the first moment watched counts for the
    logarithm as half the shortest positive w of all events.

    Parameters
    ----------
    ends_at_failure
        True where watching ended because of the unit's last event (failure-terminated): then an
        event at the end of watching is that end, and counts in neither sum.

    Raises
    ------
    NoFit
        With fewer than two events.

    References
    ----------
    MIL-HDBK-189; Cox & Lewis (1966) (formulae from memory); the judgement by units as in Lawless,
    Cigsar & Cook (2012), Journal of Quality Technology 44 (from memory).
    """
    before, watched, unit = _watched_time(histories)
    if ends_at_failure:
        open_end = before < watched
        before, watched, unit = before[open_end], watched[open_end], unit[open_end]
    n = len(before)
    if n < 2 or not (before > 0).any():
        raise NoFit(
            f"{n} events within the time watched: no trend can be tested.",
            next_step="wait for more events",
        )
    before = np.maximum(before, before[before > 0].min() / 2)
    late = before - watched / 2
    logs = np.log(watched / before)
    laplace = float(late.sum() / math.sqrt((watched**2).sum() / 12))
    chi_square = float(2 * logs.sum())
    tails = chdtr(2 * n, chi_square), chdtrc(2 * n, chi_square)
    return Trend(
        laplace=laplace,
        laplace_p=_two_sided(laplace),
        chi_square=chi_square,
        degrees=2 * n,
        chi_square_p=min(1.0, 2 * float(min(tails))),
        laplace_units_p=_by_units(late, unit),
        chi_square_units_p=_by_units(1 - logs, unit),
        n_events=n,
        n_units=len(np.unique(unit)),
    )


def mean_time_between(
    histories: Histories,
    *,
    confidence: float = 0.95,
    level: float = 0.05,
    under_trend: Literal["refuse", "label"] = "refuse",
) -> MeanTime:
    """Return the mean time between failures, exposure over count, never without its trend.

    Exact Poisson limits 2 T / chi2(1 - alpha/2, 2 r + 2) and 2 T / chi2(alpha/2, 2 r).

    Raises
    ------
    NoAnswer
        Where a trend is shown at `level`, unless `under_trend` is "label": one mean time then
        says nothing about today.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1.
    """
    count, exposure = len(histories.event_age), float(histories.exposure.sum())
    if exposure <= 0:
        raise NoAnswer("The units were watched for no time at all.")
    lowest, highest = rate_limits(count, exposure, confidence=confidence)
    trend = _trend_if_any(histories)
    statement = str(trend) if trend else f"no trend can be tested on {count} events"
    if trend and trend.direction(level=level) != "none shown":
        if under_trend == "refuse":
            raise NoAnswer(
                f"A mean time between failures would mislead: {trend}.",
                next_step="show the mean cumulative function, the power-law rate at the "
                'present age, or the average labelled as such (under_trend="label")',
            )
        statement = f"an average over the ages watched, NOT the present value: {trend}"
    return MeanTime(
        exposure / count if count else math.nan,
        float(1 / highest),
        float(1 / lowest) if count else math.inf,
        count,
        exposure,
        confidence,
        histories.unit_of_age,
        trend,
        statement,
    )


def _trend_if_any(histories: Histories) -> Trend | None:
    try:
        return trend_tests(histories)
    except NoFit:
        return None


def _watched_time(histories: Histories) -> tuple[Array, Array, Codes]:
    """Return for each event the time its unit was watched before it, and in all, and the unit."""
    length = histories.end - histories.start
    total = histories.exposure
    earlier = np.cumsum(length) - length  # over all units, less what stood there at the unit's own
    first = np.searchsorted(histories.stretch_unit, np.arange(len(total)))
    unit, stretch = histories.event_unit, histories.event_stretch
    before = earlier[stretch] - earlier[first[unit]]
    before = before + histories.event_age - histories.start[stretch]
    return np.clip(before, 0.0, total[unit]), total[unit], unit


def _by_units(terms: Array, unit: Codes) -> float:
    """Two-sided p of the sum of `terms`, of mean 0, by the spread of their sums over units."""
    sums = np.bincount(unit, weights=terms)
    if np.count_nonzero(np.bincount(unit)) < FEWEST_UNITS:
        return math.nan
    return _two_sided(float(sums.sum() / math.sqrt((sums**2).sum())))


def _two_sided(z: float) -> float:
    return 2 * float(ndtr(-abs(z)))
