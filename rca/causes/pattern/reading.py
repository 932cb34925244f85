"""What pattern the failures of a part have: one reading, how and where, each with its evidence.

Tests decide whether a place or time may be named (lot, depot, a few units, a burst, two kinds of
failure; Holm over all at 5 %); scores decide which; the shape of the life curve speaks only where
no place is even hinted at; else "not enough to say". A reading is a hypothesis: it names where to
look, never a cause.

Two methods were put through one simulation (tests/benchmarks/README.md). The simpler one, an
order of tests, was wrong in 36, 39 and 22 % of fleets with 20, 50 and 150 failures, this one in
13, 10 and 2 %. Kept from the other: later lives judged by each unit's own past. Added: a yearly
season competes with a burst, for which it was taken in a third of seasonal fleets.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from rca.causes.pattern.calendar import Window
from rca.causes.pattern.later_lives import LaterLives
from rca.causes.pattern.models import Level
from rca.causes.pattern.part_lives import PartLives, day_text
from rca.causes.pattern.study import Studied, study
from rca.causes.pattern.words import evidence, not_shown
from rca.errors import NoFit
from rca.life.sample import Interval

FEWEST_FAILURES = 10
ORDINARY_SPREAD = 0.1
LEAST_WEIGHT, LEAST_SHARE = 0.5, 0.7
HINT = 0.2
CLEAR_WEIGHT, CLEAR_FAILURES = 0.95, 50
RANDOM_SHAPE = (0.6, 1.6)
CLEARLY, POINTS_TO = "clearly", "points to"


class Reading(StrEnum):
    """What the failures look like."""

    EARLY = "early"
    RANDOM = "random"
    WEAR_OUT = "wear-out"
    LOT = "bad lot"
    DEPOT = "one depot"
    UNITS = "a few units"
    BURST = "a burst in time"
    MIXED = "mixed modes"
    OPEN = "not enough to say"


PLACES = {
    "lot": Reading.LOT,
    "depot": Reading.DEPOT,
    "units": Reading.UNITS,
    "burst": Reading.BURST,
    "mixed": Reading.MIXED,
}


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """The reading of one part's failures and what it rests on.

    reading, how, where
        The one reading; the age line (early, random, wear-out, mixed modes or "unsure"); the
        place or time line ("lot L7", "depot North", "a few units", ... or "none shown").
    certainty
        "clearly", "points to", or "" where nothing is read.
    because
        Plain sentences with numbers, intervals and counts.
    shape
        Weibull shape of all lives, with its 95 % interval (None without a curve).
    p, weight
        Of each place or time tested; weight of each model, summing to 1.
    lot, depot, burst
        The level or window that stands out most, read or not.
    spread
        Variance of the units' factors in the best fit without a factor for later lives.
    later
        Later lives against earlier ones within units.
    """

    reading: Reading
    how: str
    where: str
    certainty: str
    because: tuple[str, ...]
    failures: int
    shape: float | None
    shape_interval: Interval | None
    p: Mapping[str, float]
    weight: Mapping[str, float]
    lot: Level | None
    depot: Level | None
    burst: Window | None
    spread: float | None
    later: LaterLives | None

    def __str__(self) -> str:
        if self.reading is Reading.OPEN:
            return self.because[0]
        verb = "look clearly like" if self.certainty == CLEARLY else "point to"
        return f"The records {verb}: {self.reading} ({self.how}; {self.where})."


def read_pattern(
    pieces: pd.DataFrame,
    *,
    scale: str,
    units: pd.DataFrame | None = None,
    depot: str = "depot",
    spread_of_other_parts: float = ORDINARY_SPREAD,
    seed: int = 0,
) -> Pattern:
    """Read the pattern of one part's failures before its first fix.

    Parameters
    ----------
    pieces
        Rows of `LifeTable` of one part; pieces of unknown age on `scale` are not used.
    scale
        "days" or "meter".
    units, depot
        Unit table and the name of its column that tells where units are kept.
    spread_of_other_parts
        Ordinary variance of the units' factors: the median `Pattern.spread` of the other parts
        on the same units; duty alone would else pass for "a few units". At least 0.1 is used.
    """
    lives = PartLives.of(pieces, scale=scale, units=units, depot=depot)
    if lives.failures < FEWEST_FAILURES:
        return _silent(lives, f"{lives.failures} failures, {FEWEST_FAILURES} are needed")
    try:
        studied = study(
            lives, ordinary_spread=max(spread_of_other_parts, ORDINARY_SPREAD), seed=seed
        )
    except NoFit as trouble:
        return _silent(lives, trouble.message)
    reading, certainty, why = _rule(studied)
    how = (
        Reading.MIXED.value
        if reading is Reading.MIXED
        else _how(studied.shape_of_a_unit) or "unsure"
    )
    return Pattern(
        reading=reading,
        how=how,
        where=_where(reading, studied),
        certainty=certainty,
        because=tuple(_because(reading, certainty, why, studied)),
        failures=lives.failures,
        shape=studied.shape,
        shape_interval=studied.interval,
        p=studied.p,
        weight=studied.weight,
        lot=studied.level("lot"),
        depot=studied.level("depot"),
        burst=studied.burst,
        spread=studied.spread,
        later=studied.later,
    )


def _silent(lives: PartLives, why: str) -> Pattern:
    """No reading, and why."""
    because = (f"not enough to say: {why}",)
    return Pattern(
        Reading.OPEN, "unsure", "none shown", "", because, lives.failures, None, None, {}, {},
        None, None, None, None, None,
    )  # fmt: skip


def _rule(studied: Studied) -> tuple[Reading, str, str]:
    """Reading, certainty, and where nothing is read the reason."""
    weight, kept, failures = studied.weight, studied.kept(), studied.lives.failures
    if kept:
        best = max(kept, key=lambda name: weight[name])
        among = sum(weight[name] for name in kept)
        if best == "burst" and weight.get("season", 0.0) > HINT:
            return Reading.OPEN, "", "a burst in time and a yearly season fit about alike"
        if weight[best] >= LEAST_WEIGHT and weight[best] >= LEAST_SHARE * among:
            clear = weight[best] >= CLEAR_WEIGHT and failures >= CLEAR_FAILURES
            return PLACES[best], CLEARLY if clear else POINTS_TO, ""
        alike = sorted({*kept, max(weight, key=lambda name: weight[name])})
        return Reading.OPEN, "", f"{' and '.join(map(_plain, alike))} cannot be told apart"
    hints = [name for name in PLACES if weight.get(name, 0.0) > HINT]
    if hints:
        names = " or ".join(_plain(name) for name in hints)
        return Reading.OPEN, "", f"there is a hint of {names}, but chance could do as much"
    how = _how(studied.shape_of_a_unit)
    if how:
        clear = failures >= CLEAR_FAILURES and how != Reading.RANDOM
        return Reading(how), CLEARLY if clear else POINTS_TO, ""
    return Reading.OPEN, "", "the shape may be below or above 1, and no place or time stands out"


def _because(reading: Reading, certainty: str, why: str, studied: Studied) -> list[str]:
    """The reading in a sentence, then its evidence."""
    failures, lives = studied.lives.failures, len(studied.lives)
    if reading is Reading.OPEN:
        first = f"not enough to say: {why} ({failures} failures)"
    else:
        verb = "look clearly like" if certainty == CLEARLY else "point to"
        first = f"the records {verb}: {reading} ({failures} failures in {lives} pieces of lives)"
    lines = [first, *evidence(studied)]
    return lines if reading in PLACES.values() else [*lines, not_shown(failures)]


def _plain(name: str) -> str:
    """Name of a model in words."""
    words = {
        "ageing": "plain ageing",
        "random": "random failures",
        "season": "a yearly season",
    }
    return words.get(name) or str(PLACES[name])


def _how(interval: Interval) -> str:
    """Early, random or wear-out by the 95 % interval of the shape; "" where it is undecided."""
    if interval.upper < 1:
        return Reading.EARLY.value
    if interval.lower > 1:
        return Reading.WEAR_OUT.value
    if interval.lower > RANDOM_SHAPE[0] and interval.upper < RANDOM_SHAPE[1]:
        return Reading.RANDOM.value
    return ""


def _where(reading: Reading, studied: Studied) -> str:
    """Place or time line."""
    lot, depot, window = studied.level("lot"), studied.level("depot"), studied.burst
    if reading is Reading.LOT and lot is not None:
        return f"lot {lot.name}"
    if reading is Reading.DEPOT and depot is not None:
        return f"depot {depot.name}"
    if reading is Reading.BURST and window is not None:
        return f"from {day_text(window.begin)} to {day_text(window.end)}"
    return Reading.UNITS.value if reading is Reading.UNITS else "none shown"
