"""Restore or replace: how long restored parts last against new ones, and what each way costs.

Spells after restoring (repaired, cleaned, adjusted) are set against spells after replacing. The
mean time without failure is counted up to a horizon, for beyond the oldest spell nothing is known.
Intervals resample whole units.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.causes.case.entries import Costs
from rca.causes.counts.spells import Spells, expected_failures, mean_until, resampled_means
from rca.causes.fix.part_and_cause import RateRatio, stratified_ratio
from rca.errors import NoAnswer
from rca.life.sample import Interval

Floats = NDArray[np.float64]
RESTORED = ("repaired", "cleaned", "adjusted")
NEW = ("replaced",)
FEWEST_FAILURES = 3
FEWEST_DRAWS = 50
_AT_ONCE = 1_000_000  # spells x resamples that are counted at once


@dataclass(frozen=True, slots=True)
class SpellGroup:
    """Spells of one kind: how many, failures, units, and mean time without failure to a horizon."""

    name: str
    spells: int
    failures: int
    units: int
    mean: float


@dataclass(frozen=True, slots=True)
class RestoredLives:
    """Restored parts against new ones, both followed up to `horizon`.

    `ratio` is restored over new in mean time without failure; `rate_ratio` the ratio of failure
    rates at equal age inside the same units (None there where no unit had both).
    """

    restored: SpellGroup
    new: SpellGroup
    horizon: float
    unit: str
    ratio: float
    interval: Interval
    rate_ratio: RateRatio

    def __str__(self) -> str:
        return (
            f"restored parts last {self.ratio:.2f} times as long as new ones ({self.interval}) "
            f"within {self.horizon:g} {self.unit}; {self.restored.failures} failures in "
            f"{self.restored.spells} restored spells, {self.new.failures} in {self.new.spells} new"
        )


@dataclass(frozen=True, slots=True)
class Way:
    """One way of going on: failures to expect within the horizon, and the money."""

    name: str
    failures: float
    failures_interval: Interval
    cost: float
    cost_interval: Interval
    spells: int


def compare_restored(
    spells: pd.DataFrame,
    *,
    horizon: float | None = None,
    unit: str = "days",
    restored: Collection[str] = RESTORED,
    new: Collection[str] = NEW,
    confidence: float = 0.95,
    resamples: int = 400,
    seed: int = 1,
) -> RestoredLives:
    """Compare spells after restoring with spells after replacing.

    Parameters
    ----------
    spells
        From `rca.causes.counts.spells.spells_after_work`.
    horizon
        Age up to which time without failure is counted; default: as far as both are followed.
    unit
        Unit of the ages, for the words.
    restored, new
        Actions that count as restoring and as fitting a new part.

    Raises
    ------
    NoAnswer
        A group has fewer than 3 failures, or is not followed to the horizon.
    """
    groups = (
        _enough(spells[spells["action"].isin(restored)], "restored"),
        _enough(spells[spells["action"].isin(new)], "new"),
    )
    until = min(one.followed for one in groups) if horizon is None else horizon
    means = [mean_until(one, until) for one in groups]
    drawn = _resampled_ratios(groups, until, resamples, seed)
    both = spells[spells["action"].isin([*restored, *new])]
    rate_ratio = stratified_ratio(
        np.unique(both["unit"], return_inverse=True)[1].astype(np.int64),
        treated=both["action"].isin(restored).to_numpy(),
        entry=both["entry"].to_numpy(float),
        age=both["age"].to_numpy(float),
        failed=both["failed"].to_numpy(bool),
        confidence=confidence,
    )
    return RestoredLives(
        restored=_counted("restored", groups[0], means[0]),
        new=_counted("new", groups[1], means[1]),
        horizon=until,
        unit=unit,
        ratio=means[0] / means[1],
        interval=_interval(drawn, confidence),
        rate_ratio=rate_ratio,
    )


def ways_to_go_on(
    spells: pd.DataFrame,
    costs: Costs,
    *,
    horizon: float,
    confidence: float = 0.95,
    resamples: int = 200,
    seed: int = 1,
) -> tuple[tuple[Way, ...], tuple[str, ...]]:
    """What restoring, replacing, and replacing with and without the upstream cause will cost.

    At the start the part has just failed; each way puts one part in at once and another at every
    failure within the horizon. Costs come from `costs`: restored_part, new_part, each_failure
    (labour and downtime, without the part), and cause_removed once.

    Returns
    -------
    The ways that can be computed, cheapest first, and a sentence for each that cannot.
    """
    replaced = spells[spells["action"].isin(NEW)]
    plans = (
        ("restore each time", spells[spells["action"].isin(RESTORED)], costs.restored_part, 0.0),
        ("replace each time", replaced, costs.new_part, 0.0),
        (
            "replace, cause left in place",
            replaced[replaced["cause_addressed"] == "no"],
            costs.new_part,
            0.0,
        ),
        (
            "replace, cause removed",
            replaced[replaced["cause_addressed"] == "yes"],
            costs.new_part,
            costs.cause_removed,
        ),
    )
    ways, missing = [], []
    for name, group, price, once in plans:
        if price is None or once is None or costs.each_failure is None:
            missing.append(f"{name}: a cost is not stated")
            continue
        try:
            failures, limits = _failures_to_expect(
                _enough(group, name), horizon, confidence, resamples, seed
            )
        except NoAnswer as error:
            missing.append(f"{name}: {error.message}")
            continue
        each, first = price + costs.each_failure, once + price
        low, high = first + limits.lower * each, first + limits.upper * each
        money = replace(limits, lower=low, upper=high)
        cost = first + failures * each
        ways.append(Way(name, failures, limits, cost, money, len(group)))
    return tuple(sorted(ways, key=lambda one: one.cost)), tuple(missing)


def _failures_to_expect(
    group: Spells, horizon: float, confidence: float, resamples: int, seed: int
) -> tuple[float, Interval]:
    """Expected failures within the horizon, with their interval."""
    drawn = _resampled(group, lambda one: expected_failures(one, horizon), resamples, seed)
    return expected_failures(group, horizon), _interval(drawn, confidence)


def break_even_share(costs: Costs) -> float | None:
    """Share of a new part's life that a restored part must reach to cost the same per time.

    With each failure costing f besides the part, a restored part at price a and a new one at b
    cost the same per time where life(restored) / life(new) = (a + f) / (b + f). None where a
    cost is not stated.
    """
    a, b, f = costs.restored_part, costs.new_part, costs.each_failure
    if a is None or b is None or f is None or b + f == 0:
        return None
    return (a + f) / (b + f)


def break_even_horizon(costs: Costs) -> float | None:
    """Time after which removing the upstream cause has paid, in the unit of the stated lives.

    Leaving it costs (b + f) / life_with_cause per time, removing it c once and
    (b + f) / life_without_cause per time. inf where it never pays, None where a number is not
    stated.
    """
    b, f, c = costs.new_part, costs.each_failure, costs.cause_removed
    short, long = costs.life_with_cause, costs.life_without_cause
    if b is None or f is None or c is None or short is None or long is None:
        return None
    saved = (b + f) * (1 / short - 1 / long)
    return c / saved if saved > 0 else float("inf")


def _enough(rows: pd.DataFrame, name: str) -> Spells:
    failures = int(rows["failed"].sum())
    if failures < FEWEST_FAILURES:
        raise NoAnswer(
            f"{failures} failures in {len(rows)} spells ({name}) are too few",
            next_step=f"wait for {FEWEST_FAILURES}, or use the break-even of a single case",
        )
    return Spells.of(rows)


def _counted(name: str, group: Spells, mean: float) -> SpellGroup:
    units = len(np.unique(group.unit))
    return SpellGroup(name, len(group.age), int(group.failed.sum()), units, mean)


def _resampled(
    group: Spells, statistic: Callable[[Spells], float], resamples: int, seed: int
) -> Floats:
    """Statistic of resampled units; draws in which it has no answer are left out."""
    names, code = np.unique(group.unit, return_inverse=True)
    drawn = []
    for times in _draws(len(names), resamples, np.random.default_rng(seed)):
        picked = group.drawn(times[code])
        try:
            if picked.age.size:
                drawn.append(statistic(picked))
        except NoAnswer:
            continue
    return np.array(drawn)


def _resampled_ratios(
    groups: tuple[Spells, Spells], horizon: float, resamples: int, seed: int
) -> Floats:
    """Ratio of the mean times without failure in resampled units, where there is one."""
    names, code = np.unique(np.concatenate([one.unit for one in groups]), return_inverse=True)
    first, second = code[: groups[0].unit.size], code[groups[0].unit.size :]
    step = max(1, _AT_ONCE // len(code))
    generator, ratios = np.random.default_rng(seed), []
    for done in range(0, resamples, step):
        times = _draws(len(names), min(step, resamples - done), generator)
        above = resampled_means(groups[0], horizon, times[:, first])
        ratios.append(above / resampled_means(groups[1], horizon, times[:, second]))
    drawn = np.concatenate(ratios)
    return drawn[np.isfinite(drawn)]


def _draws(units: int, resamples: int, generator: np.random.Generator) -> NDArray[np.int64]:
    """How often each unit is drawn in each resample, (resamples, units)."""
    times = [
        np.bincount(generator.integers(0, units, units), minlength=units) for _ in range(resamples)
    ]
    return np.array(times, dtype=np.int64)


def _interval(drawn: Floats, confidence: float) -> Interval:
    """Percentile interval of resampled values."""
    if len(drawn) < FEWEST_DRAWS:
        raise NoAnswer("too few units to resample", next_step="wait for more of them")
    tail = (1 - confidence) / 2
    lower, upper = np.quantile(drawn, [tail, 1 - tail])
    note = f"{len(drawn)} resamples of units"
    return Interval(float(lower), float(upper), confidence, "resampled units, percentile", note)
