"""Criticality of failure modes after MIL-STD-1629A, Task 102, with intervals.

    Cm = beta * alpha * lambda_p * t,        Cr = sum of Cm within one severity class,

with beta the conditional probability of the effect given the mode, alpha the mode's share of the
item's failures, lambda_p the item's failure rate and t the time at risk. (Formula read in public
slides that restate the standard, not in the standard itself.) Numbers of different severity
classes are not comparable and are never added.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rca.causes.case.entries import Seen
from rca.errors import RcaError
from rca.life.rates import rate_limits
from rca.life.sample import Interval


@dataclass(frozen=True, slots=True)
class ModeCriticality:
    """Criticality number of one failure mode; `events` over `exposure` where it was counted."""

    mode: str
    severity: str
    value: float
    interval: Interval | None = None
    events: int | None = None
    exposure: float | None = None
    effect_probability: float = 1.0

    def __str__(self) -> str:
        limits = f" ({self.interval})" if self.interval else ""
        return f"{self.mode}, {self.severity}: {self.value:.4g}{limits}"


@dataclass(frozen=True, slots=True)
class ItemCriticality:
    """Criticality of an item within one severity class."""

    severity: str
    value: float
    modes: tuple[str, ...]
    interval: Interval | None = None


def criticality(
    mode: str,
    severity: str,
    *,
    effect_probability: float,
    mode_share: float,
    failure_rate: float,
    time: float,
) -> ModeCriticality:
    """Criticality number of a mode from the four numbers of the formula, all taken as known."""
    for name, value in (("effect_probability", effect_probability), ("mode_share", mode_share)):
        if not 0 <= value <= 1:
            raise RcaError(f"{name} must lie between 0 and 1, is {value:g}")
    value = effect_probability * mode_share * failure_rate * time
    return ModeCriticality(mode, severity, value, effect_probability=effect_probability)


def counted_criticality(
    mode: str,
    severity: str,
    *,
    events: int,
    exposure: float,
    effect_probability: float,
    time: float,
    confidence: float = 0.95,
) -> ModeCriticality:
    """Criticality number from counts: alpha * lambda_p is events of this mode over exposure.

    The interval is exact (Poisson) and takes `effect_probability` as known.
    """
    lower, upper = rate_limits(events, exposure, confidence=confidence)
    scale = effect_probability * time
    interval = Interval(float(lower) * scale, float(upper) * scale, confidence, "exact Poisson")
    value = events / exposure * scale
    return ModeCriticality(mode, severity, value, interval, events, exposure, effect_probability)


def shared_criticality(
    mode: str,
    severity: str,
    *,
    found: Seen,
    failures: int,
    exposure: float,
    effect_probability: float,
    time: float,
    confidence: float = 0.95,
    draws: int = 20_000,
    seed: int = 1,
) -> ModeCriticality:
    """Criticality number where the mode's share comes from teardowns, not from all failures.

    `found` is how often the teardowns showed this mode. The interval draws the share from its
    Jeffreys posterior and the rate from Gamma(failures + 1/2, exposure).
    """
    generator = np.random.default_rng(seed)
    share = generator.beta(found.seen + 0.5, found.of - found.seen + 0.5, draws)
    rate = generator.gamma(failures + 0.5, 1 / exposure, draws)
    scale = effect_probability * time
    tail = (1 - confidence) / 2
    lower, upper = np.quantile(share * rate * scale, [tail, 1 - tail])
    interval = Interval(float(lower), float(upper), confidence, "Jeffreys, simulated")
    value = found.share * failures / exposure * scale
    return ModeCriticality(
        mode, severity, value, interval, None, exposure, effect_probability=effect_probability
    )


def item_criticality(
    modes: Sequence[ModeCriticality],
    *,
    confidence: float = 0.95,
    draws: int = 20_000,
    seed: int = 1,
) -> tuple[ItemCriticality, ...]:
    """Add the modes' numbers within each severity class.

    Where all modes of a class were counted, the interval draws each mode's rate from
    Gamma(events + 1/2, exposure); otherwise there is none.
    """
    classes: Mapping[str, list[ModeCriticality]] = {one.severity: [] for one in modes}
    for one in modes:
        classes[one.severity].append(one)
    return tuple(
        ItemCriticality(
            severity,
            float(sum(one.value for one in held)),
            tuple(one.mode for one in held),
            _sum_interval(held, confidence, draws, seed),
        )
        for severity, held in classes.items()
    )


def _sum_interval(
    modes: Sequence[ModeCriticality], confidence: float, draws: int, seed: int
) -> Interval | None:
    if len(modes) == 1:
        return modes[0].interval
    generator = np.random.default_rng(seed)
    total = np.zeros(draws)
    for one in modes:
        if one.events is None or one.exposure is None:
            return None
        scale = one.value * one.exposure / one.events if one.events else _scale(one)
        total += generator.gamma(one.events + 0.5, 1 / one.exposure, draws) * scale
    tail = (1 - confidence) / 2
    lower, upper = np.quantile(total, [tail, 1 - tail])
    return Interval(float(lower), float(upper), confidence, "Gamma, simulated")


def _scale(one: ModeCriticality) -> float:
    """effect_probability * time of a mode without events, from its upper limit."""
    if one.interval is None or one.exposure is None:
        return 0.0
    _, upper = rate_limits(0, one.exposure, confidence=one.interval.confidence)
    return one.interval.upper / float(upper)
