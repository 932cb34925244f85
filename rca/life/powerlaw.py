"""Power-law process: a repaired unit whose rate of events rises or falls with a power of age."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, gammaincinv

from rca.errors import NoAnswer, NoFit, RcaError
from rca.life.curves import normal_quantile, quantile_by_units
from rca.life.histories import Codes, Histories
from rca.life.limits import Profile, fall_to
from rca.life.power_likelihood import (
    LARGEST,
    SMALLEST,
    PowerLikelihood,
    best_shape_at_rate,
    peak,
)
from rca.life.sample import Array, Interval
from rca.life.trend import FEWEST_UNITS

Method = Literal["likelihood", "wald", "units", "exact"]

_FARTHEST = 20.0  # distance in logs from the estimate at which a rate counts as without limit


@dataclass(frozen=True, slots=True)
class PowerCurve:
    """Expected events of one unit by an age: (age / scale) ** shape.

    Attributes
    ----------
    shape
        No unit: below 1 the rate falls with age, 1 constant, above 1 it rises. It is the trend of
        a repaired unit, not the shape of the lives of its parts.
    reference, mean
        The largest age watched, and the expected events of one unit by that age.
    """

    shape: float
    reference: float
    mean: float

    @property
    def scale(self) -> float:
        """Age by which one event a unit is expected; 0 or inf where that is out of all range."""
        log_scale = math.log(self.reference) - math.log(self.mean) / self.shape
        return math.exp(log_scale) if log_scale < 709 else math.inf

    def expected(self, age: ArrayLike) -> Array:
        """Return the expected number of events of one unit from age 0 to `age`."""
        share = np.asarray(age, dtype=np.float64) / self.reference
        expected: Array = self.mean * share**self.shape
        return expected

    def rate(self, age: ArrayLike) -> Array:
        """Return the rate of events at `age`, per unit of age; 1 / rate is the time between."""
        share = np.asarray(age, dtype=np.float64) / self.reference
        rate: Array = self.mean * self.shape / self.reference * share ** (self.shape - 1)
        return rate


@dataclass(frozen=True, slots=True, eq=False)
class PowerLaw(PowerCurve):
    """A power-law process fitted by maximum likelihood, with its intervals.

    Attributes
    ----------
    log_likelihood
        At the maximum.
    n_events, n_units, units_with_events
        Events, units watched, and units that had any event.
    common_end
        The age at which watching ended where all units were watched from age 0 to one and the
        same age, else nan: some limits exist only there.
    """

    log_likelihood: float
    n_events: int
    n_units: int
    unit_of_age: str
    common_end: float
    units_with_events: int
    likelihood: PowerLikelihood = field(repr=False)
    scores: Array = field(repr=False)  # (n_units, 2): of each unit, by shape and by level

    @property
    def modified(self) -> PowerCurve:
        """The curve with the shape made less biased, (n - 1) / n times that of likelihood.

        The modified estimate of the NIST/SEMATECH e-Handbook, section 8.4.5.2, for one system; a
        report must name which of the two it uses.
        """
        if self.n_events < 2:
            raise NoFit("The modified estimate needs two events.")
        shape = self.shape * (self.n_events - 1) / self.n_events
        mean = math.exp(self.likelihood.best_level(shape))
        return PowerCurve(shape, self.reference, mean)

    def interval(self, *, confidence: float = 0.95, method: Method = "likelihood") -> Interval:
        """Interval for the shape.

        - "likelihood": what a likelihood-ratio test would not refuse;
        - "wald": normal on the log scale;
        - "units": normal on the log scale with the spread between units in place of the Poisson
          law; for fleets whose units differ or whose events come in bursts; refused with fewer
          than 10 units that have events, with Student's t below 40;
        - "exact": chi-square limits, shape * chi2(., 2 n) / (2 n), only where all units were
          watched from age 0 to one age.
        """
        if method == "exact":
            self._demand_common_end("Exact limits of the shape")
            n, tail = self.n_events, (1 - confidence) / 2
            low, high = (self.shape * float(gammaincinv(n, p)) / n for p in (tail, 1 - tail))
            return Interval(low, high, confidence, method)
        if method == "likelihood":
            return self._by_likelihood(confidence)
        return self._by_spread(self.shape, np.array([1 / self.shape, 0.0]), confidence, method)

    def rate_interval(
        self, age: float, *, confidence: float = 0.95, method: Method = "likelihood"
    ) -> Interval:
        """Interval for the rate at `age`: "likelihood", "wald" or "units" as in `interval`.

        "exact" is the two-sided limit of the NIST/SEMATECH e-Handbook, section 8.4.5.2, for the
        rate at the end of watching, about the modified estimate; only where all units were
        watched from age 0 to one age.
        """
        if method == "exact":
            return self._rate_at_end(age, confidence)
        if method == "likelihood":
            return self._rate_by_likelihood(age, confidence)
        gradient = np.array([1 / self.shape + math.log(age / self.likelihood.reference), 1.0])
        return self._by_spread(float(self.rate(age)), gradient, confidence, method)

    def _by_spread(self, value: float, gradient: Array, confidence: float, method: str) -> Interval:
        """Limits about the log of `value`, whose derivatives by (shape, level) are `gradient`."""
        error = math.sqrt(gradient @ self._covariance(method) @ gradient)
        units = self.units_with_events if method == "units" else math.inf
        factor = math.exp(float(quantile_by_units(units, confidence)) * error)
        return Interval(value / factor, value * factor, confidence, method)

    def _rate_at_end(self, age: float, confidence: float) -> Interval:
        self._demand_common_end("Limits of this form")
        if age != self.common_end:
            raise NoAnswer(f"These limits hold at the end of watching, {self.common_end:g}.")
        n, z, rate = self.n_events, normal_quantile(confidence), float(self.modified.rate(age))
        longest = n * (n - 1) / (n - z * math.sqrt(n / 2)) ** 2 if 2 * n > z * z else math.inf
        shortest = n * (n - 1) / (n + z * z / 4 + math.sqrt(n * z * z / 2 + z**4 / 16)) ** 2
        return Interval(rate / longest, rate / shortest, confidence, "exact")

    def _demand_common_end(self, what: str) -> None:
        if math.isnan(self.common_end):
            raise NoAnswer(
                f"{what} exist only where all units were watched from age 0 to the same age.",
                next_step='use method="likelihood"',
            )

    def _by_likelihood(self, confidence: float) -> Interval:
        def profile(log_shape: float) -> tuple[float, float]:
            shape = math.exp(log_shape)
            slopes = self.likelihood.at(shape, self.likelihood.best_level(shape))
            return slopes.value, shape * slopes.shape

        best, bounds = math.log(self.shape), (math.log(SMALLEST), math.log(LARGEST))
        return self._where_it_falls(profile, best, bounds, confidence)

    def _rate_by_likelihood(self, age: float, confidence: float) -> Interval:
        x = math.log(age / self.likelihood.reference)
        shape = self.shape

        def profile(log_rate: float) -> tuple[float, float]:
            nonlocal shape
            shape = best_shape_at_rate(self.likelihood, log_rate, x, shape)
            slopes = self.likelihood.at(shape, log_rate - math.log(shape) - shape * x)
            return slopes.value, slopes.level

        best = math.log(age * float(self.rate(age)))
        bounds = best - _FARTHEST, best + _FARTHEST
        return self._where_it_falls(profile, best, bounds, confidence, divisor=age)

    def _where_it_falls(
        self,
        profile: Profile,
        best: float,
        bounds: tuple[float, float],
        confidence: float,
        *,
        divisor: float = 1.0,
    ) -> Interval:
        """Interval of exp(argument) / divisor in which `profile` stays near its top."""
        normal_quantile(confidence)  # demands a confidence between 0 and 1
        drop = float(chdtri(1, 1 - confidence)) / 2
        ends, notes = [], []
        sides = ((-1, 0.0, "lower"), (1, math.inf, "upper"))
        for bound, (sign, none, side) in zip(bounds, sides, strict=True):
            end = fall_to(
                profile,
                best=best,
                top=self.log_likelihood,
                drop=drop,
                start=best + sign * math.sqrt(2 * drop / self.n_events),
                bound=bound,
            )
            ends.append(none if end == bound else math.exp(end) / divisor)
            if end == bound:
                notes.append(f"no {side} limit: the records allow any value on that side")
        return Interval(ends[0], ends[1], confidence, "likelihood", "; ".join(notes))

    def _covariance(self, method: str) -> Array:
        """Covariance of (shape, level), from the curvature or from the spread between units."""
        if method == "units" and self.units_with_events < FEWEST_UNITS:
            raise NoAnswer(
                f"Only {self.units_with_events} units had events: their spread tells too little.",
                next_step='use method="likelihood", which takes all events as independent',
            )
        if method not in ("wald", "units"):
            raise RcaError(
                f'method must be "likelihood", "wald", "units" or "exact", not {method!r}'
            )
        slopes = self.likelihood.at(self.shape, self.likelihood.best_level(self.shape))
        curvature = [
            [slopes.shape_shape, slopes.shape_level],
            [slopes.shape_level, slopes.level_level],
        ]
        bread: Array = np.linalg.inv(-np.array(curvature))
        return bread if method == "wald" else bread @ (self.scores.T @ self.scores) @ bread

    def __str__(self) -> str:
        return (
            f"power-law process, {self.n_events} events on {self.n_units} units: "
            f"shape {self.shape:.4g} ({self.interval()}), one event a unit by {self.scale:.4g} "
            f"{self.unit_of_age}"
        ).rstrip()


def fit_power_law(histories: Histories) -> PowerLaw:
    """Fit a power-law process by maximum likelihood, units watched over ages of any kind.

    Each unit's events form a Poisson process with the mean (age / scale) ** shape, watched
    between its own ages, gaps left out. With b = shape and stretches from S to T,

        l = n ln b - n b ln scale + (b - 1) sum ln t - sum (T^b - S^b) / scale^b,

    which is the likelihood of Weibull lives that each begin, unfailed, at the age at which the
    last one ended. It is concave in b along its best scale, so the maximum is the one root of the
    score n/b + sum ln t = n sum (T^b ln T - S^b ln S) / sum (T^b - S^b). The closed form
    n / sum ln(T/t) solves it only where all units share one end.

    Raises
    ------
    NoFit
        Without an event; with an event at age 0; where all events lie at the largest age watched
        (shape without upper bound); where, all units being watched late, the likelihood rises
        toward shape 0.

    References
    ----------
    Crow (1974); Rigdon & Basu (2000), Statistical Methods for the Reliability of Repairable
    Systems (both from memory); NIST/SEMATECH e-Handbook, section 8.4.5.2, for one system.
    """
    ages = histories.event_age
    if not len(ages):
        raise NoFit("No event: a trend has no estimate.", next_step="give the rate's upper limit")
    if (ages == 0).any():
        raise NoFit(
            f"{(ages == 0).sum()} events lie at age 0, where a power law has no rate.",
            next_step="count age 0 as half a day",
        )
    if ages.min() >= histories.end.max():
        raise NoFit(
            f"All events lie at {histories.end.max():g}, the largest age watched: the shape has "
            "no upper bound.",
            next_step="wait until units have been watched beyond that age",
        )
    likelihood = PowerLikelihood.of(histories)
    if histories.start.all() and likelihood.rise(SMALLEST) <= 0:
        raise NoFit(
            "All units came under observation late, and the likelihood only rises as the shape "
            "falls to 0: the rate falls with age faster than any power law with a mean.",
            next_step="show the mean cumulative function instead",
        )
    shape = peak(likelihood.rise, guess=1.0)
    ends = histories.end
    same = not histories.start.any() and ends.min() == ends.max()
    return PowerLaw(
        shape=shape,
        reference=likelihood.reference,
        mean=math.exp(likelihood.best_level(shape)),
        log_likelihood=likelihood.at(shape, likelihood.best_level(shape)).value,
        n_events=len(ages),
        n_units=len(histories),
        unit_of_age=histories.unit_of_age,
        common_end=float(ends[0]) if same else math.nan,
        units_with_events=int(np.count_nonzero(histories.events)),
        likelihood=likelihood,
        scores=_scores(histories, likelihood, shape),
    )


def _scores(histories: Histories, likelihood: PowerLikelihood, shape: float) -> Array:
    """Return each unit's derivatives of the log-likelihood by shape and by level."""
    n = len(histories.units)
    scale = math.exp(likelihood.best_level(shape))

    def by_unit(codes: Codes, values: Array) -> Array:
        return np.bincount(codes, weights=values, minlength=n).astype(np.float64)

    moments = []
    for edge in (histories.start, histories.end):
        x = np.log(np.where(edge > 0, edge, 1.0) / likelihood.reference)
        power = np.where(edge > 0, np.exp(shape * x), 0.0)
        moments.append((power, power * x))
    (power_0, moment_0), (power_1, moment_1) = moments
    log_age = np.log(histories.event_age / likelihood.reference)
    events = histories.events
    by_shape = events / shape + by_unit(histories.event_unit, log_age)
    by_shape -= scale * by_unit(histories.stretch_unit, moment_1 - moment_0)
    by_level = events - scale * by_unit(histories.stretch_unit, power_1 - power_0)
    return np.column_stack((by_shape, by_level))
