"""Is a reading inside its limit? Decided with a guard band for the uncertainty of measurement.

A reading y with standard uncertainty u is taken as a normal distribution N(y, u) of the true
value (JCGM 106:2012, section 7, with a flat prior; recalled, text not at hand). It is *inside*
only if it stays inside every limit by ``factor * u``, *outside* only if it lies beyond a limit by
as much; between the two nothing is proved. With factor 1.645 a reading on the edge of acceptance
conforms with probability 0.95 (one-sided; rule as in ISO 14253-1, recalled).
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from scipy.special import ndtr

from rca.causes.case.observations import Measurement, Taken
from rca.causes.case.quantities import convert
from rca.causes.fix.cause_reading import GUARD_FACTOR, Place, place_readings


class Verdict(StrEnum):
    """What a reading proves about its limit."""

    INSIDE = "inside limit"
    OUTSIDE = "outside limit"
    NEITHER = "not proved either way"
    UNKNOWN = "cannot be judged"


VERDICT = {
    Place.INSIDE: Verdict.INSIDE,
    Place.OUTSIDE: Verdict.OUTSIDE,
    Place.UNDECIDED: Verdict.NEITHER,
}


@dataclass(frozen=True, slots=True)
class Conformity:
    """A reading judged against its limits; all values in `unit`.

    `probability` that the true value is inside the limits, `guard` the width kept from them;
    both None where they do not exist, and `reason` says why; `brief` is the reason in a few words.
    """

    verdict: Verdict
    reason: str
    unit: str = ""
    value: float | None = None
    uncertainty: float | None = None
    guard: float | None = None
    probability: float | None = None
    brief: str = ""

    def __str__(self) -> str:
        return f"{self.verdict}: {self.reason}"


def conformity(
    measurement: Measurement, taken: Taken | None, *, guard_factor: float = GUARD_FACTOR
) -> Conformity:
    """Judge one reading of a measurement against its limits."""
    low, high = limits(measurement)
    unit = measurement.unit
    if taken is None or taken.reading is None:
        return Conformity(Verdict.UNKNOWN, "not measured yet", unit)
    if taken.reading == "no reading":
        return Conformity(Verdict.UNKNOWN, "tried, but no reading was obtained", unit)
    if math.isinf(low) and math.isinf(high):
        return Conformity(Verdict.UNKNOWN, "no limit is stated", unit)
    if isinstance(taken.reading, str):
        return _beyond_the_range(measurement, taken.reading, low, high, guard_factor)
    value, spread = _mean_and_spread(measurement, taken)
    instrument = instrument_uncertainty(measurement, value)
    if instrument is None:
        side = "inside" if low <= value <= high else "outside"
        reason = f"{value:g} {unit} reads {side}, but the uncertainty is not stated"
        return Conformity(Verdict.UNKNOWN, reason, unit, value)
    return judge(value, math.hypot(instrument, spread), low, high, guard_factor, unit)


def judge(
    value: float, uncertainty: float, low: float, high: float, factor: float, unit: str = ""
) -> Conformity:
    """Apply the guard band to a value with standard uncertainty, limits -inf or inf if absent."""
    guard = factor * uncertainty
    probability = float(ndtr((high - value) / uncertainty) - ndtr((low - value) / uncertainty))
    place = place_readings(
        [value],
        at_least=low,
        at_most=high,
        standard_uncertainty=uncertainty,
        guard_factor=factor,
    )[0]
    of = f" {unit}" if unit else ""
    reason = (
        f"{_to_uncertainty(value, uncertainty)}{of} with standard uncertainty "
        f"{uncertainty:.2g}{of}, {limit_words(low, high)}{of}, guard band {guard:.2g}{of}; "
        f"inside with probability {probability_words(probability)}"
    )
    if low + guard > high - guard:
        reason += "; the instrument is too coarse for limits so close: no reading can pass"
    brief = f"{_to_uncertainty(value, uncertainty)}{of}, {limit_words(low, high)}{of}"
    return Conformity(VERDICT[place], reason, unit, value, uncertainty, guard, probability, brief)


def _to_uncertainty(value: float, uncertainty: float) -> str:
    """A value with no more decimals than its uncertainty bears: to a tenth of it."""
    decimals = max(0, 1 - math.floor(math.log10(uncertainty)))
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"


def probability_words(value: float) -> str:
    """A probability as text that never says 0 or 1 for what is only near it."""
    if value < 0.001:
        return "below 0.001"
    return "above 0.999" if value > 0.999 else f"{value:.3f}"


def limits(measurement: Measurement) -> tuple[float, float]:
    """Lower and upper limit in the unit of the reading; -inf and inf where there is none."""
    unit = measurement.limit_unit or measurement.unit
    low, high = measurement.at_least, measurement.at_most
    return (
        -math.inf if low is None else convert(low, unit, measurement.unit),
        math.inf if high is None else convert(high, unit, measurement.unit),
    )


def limit_words(low: float, high: float) -> str:
    """Say two limits in words."""
    if math.isinf(low):
        return "no limit" if math.isinf(high) else f"limit at most {high:.6g}"
    if math.isinf(high):
        return f"limit at least {low:.6g}"
    return f"limits {low:.6g} to {high:.6g}"


def instrument_uncertainty(measurement: Measurement, value: float) -> float | None:
    """Standard uncertainty of one reading in its unit; None where it is not stated.

    An accuracy specification is a half-width a without a distribution: u = a / sqrt(3)
    (rectangular; GUM, JCGM 100:2008, 4.3.7). An expanded uncertainty U gives U / k.
    """
    if measurement.standard_uncertainty is not None:
        return measurement.standard_uncertainty
    if measurement.expanded_uncertainty is not None:
        return measurement.expanded_uncertainty / measurement.coverage_factor
    accuracy = measurement.accuracy
    if accuracy is None:
        return None
    relative = accuracy.percent_of_reading / 100 * abs(value)
    width = relative + accuracy.counts * accuracy.resolution + accuracy.fixed
    return width / math.sqrt(3) if width > 0 else None


def _mean_and_spread(measurement: Measurement, taken: Taken) -> tuple[float, float]:
    """Mean of the readings and the standard uncertainty of that mean (GUM, 4.2.3)."""
    unit = taken.unit or measurement.unit
    readings = taken.reading if isinstance(taken.reading, tuple) else (taken.reading,)
    values = [convert(float(one), unit, measurement.unit) for one in readings if one is not None]
    n = len(values)
    mean = math.fsum(values) / n
    if n == 1:
        return mean, 0.0
    variance = math.fsum((value - mean) ** 2 for value in values) / (n - 1)
    return mean, math.sqrt(variance / n)


def _beyond_the_range(
    measurement: Measurement, word: str, low: float, high: float, factor: float
) -> Conformity:
    """Judge "over-range" or "open circuit": the true value lies above the instrument's range."""
    unit, top = measurement.unit, measurement.range
    if top is None:
        return Conformity(Verdict.UNKNOWN, f"{word}, but the range is not stated", unit)
    uncertainty = instrument_uncertainty(measurement, top)
    if uncertainty is None:
        return Conformity(Verdict.UNKNOWN, f"{word}; the uncertainty is not stated", unit)
    least = top - factor * uncertainty
    if least > high:
        verdict = Verdict.OUTSIDE
    elif least >= low and math.isinf(high):
        verdict = Verdict.INSIDE
    else:
        verdict = Verdict.NEITHER
    reason = f"{word}: above {top:g} {unit}, {limit_words(low, high)}"
    return Conformity(verdict, reason, unit, None, uncertainty, factor * uncertainty)


def reading_words(measurement: Measurement, taken: Taken | None) -> str:
    """Show a reading as a person wrote it, with its unit; "" while it is not taken."""
    if taken is None or taken.reading is None:
        return ""
    unit = taken.unit or measurement.unit
    if isinstance(taken.reading, str):
        return taken.reading
    values = taken.reading if isinstance(taken.reading, tuple) else (taken.reading,)
    return f"{', '.join(f'{value:g}' for value in values)} {unit}"
