"""One part's failures tested against every kind of event and every attribute of the run."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.causes.screen.attributes import (
    AttributeTest,
    Exchange,
    Levels,
    judge_attribute,
    lots_of,
    shares_of_units,
)
from rca.causes.screen.background import Array, Background, Ints
from rca.causes.screen.before_after import count_before
from rca.causes.screen.company import WINDOWS, Company, Failures, clustering_of, company_of
from rca.causes.screen.occurrences import Occurrences
from rca.errors import NoFit

FEWEST_FAILURES = 10
FEWEST_PAIRS = 6
"""A pair is tested where at least so many events lie near failures, before OR after: a choice
that does not look at the direction and so costs nothing."""
LOOKS_SLOPE = 3.0


def looks(failures: float) -> float:
    """Factor on every p for the monthly reruns: 1 + 3 log(failures / 10), at least 1."""
    return 1.0 + LOOKS_SLOPE * max(0.0, math.log(failures / FEWEST_FAILURES)) if failures else 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What all targets share."""

    events: Occurrences
    background: Background
    clustering: Array
    pairs: Ints  # (later kind, earlier kind) events up to 240 days apart

    @classmethod
    def of(cls, events: Occurrences) -> "Run":
        """Rates, clustering and pairs of all kinds of events."""
        background = Background.of(events)
        pairs = count_before(
            events.unit, events.day, events.code, window=int(WINDOWS[-1]), n_codes=len(events.names)
        )
        return cls(events, background, clustering_of(events, background), pairs)

    def failing_parts(self) -> list[str]:
        """Parts with a failure, by name."""
        pairs = zip(self.events.names, self.events.is_failure, strict=True)
        return [name for name, fails in pairs if fails]

    def failures_of(self, target: str) -> tuple[int, Failures]:
        """Kind and failures of a part; -1 and none where it never failed."""
        for kind, name in enumerate(self.events.names):
            if name == target and self.events.is_failure[kind]:
                return kind, Failures.of(*self.events.of(kind), self.events)
        none = np.zeros(0, dtype=np.int64)
        return -1, Failures.of(none, none, self.events)

    def candidates(self, target: int) -> Ints:
        """Kinds of other parts with enough events near the target's failures, either side."""
        near = self.pairs[target] + self.pairs[:, target]
        own = np.array([part == self.events.names[target] for part in self.events.part])
        return np.flatnonzero((near >= FEWEST_PAIRS) & ~own)


@dataclass(frozen=True, slots=True, eq=False)
class TargetTests:
    """One target's tests before they are judged together with all others'."""

    name: str
    kind: int
    failures: Failures
    company: Company | None
    attributes: tuple[AttributeTest, ...]
    exchanges: Mapping[str, tuple[Exchange, Ints]]  # attribute -> carriers and their levels

    @classmethod
    def of(
        cls,
        run: Run,
        name: str,
        lives: pd.DataFrame | None,
        levels: Levels,
        *,
        scale: str,
        seed: int,
    ) -> "TargetTests":
        """Test one part; with fewer than 10 failures nothing is tested."""
        kind, failures = run.failures_of(name)
        if len(failures) < FEWEST_FAILURES:
            return cls(name, kind, failures, None, (), {})
        kinds = run.candidates(kind)
        company = None
        if len(kinds):
            company = company_of(
                failures,
                run.events,
                run.background,
                kinds=kinds,
                yardstick=~run.events.is_mode[kinds],
                clustering=run.clustering,
            )
        exchanges = _exchanges(lives, levels, scale, seed) if lives is not None else {}
        tests = [
            judge_attribute(exchange, attribute, code, names)
            for attribute, (exchange, code, names) in exchanges.items()
        ]
        kept = {attribute: (exchange, code) for attribute, (exchange, code, _) in exchanges.items()}
        return cls(name, kind, failures, company, tuple(one for one in tests if one), kept)

    @property
    def p(self) -> Array:
        """p of every pair tested, events first, multiplied for the monthly looks."""
        of_events = self.company.p() if self.company is not None else np.zeros(0)
        every = np.concatenate([of_events, [one.p for one in self.attributes]])
        return np.minimum(1.0, every * looks(len(self.failures)))

    @property
    def n_events(self) -> int:
        """How many of the tests are of events; those of attributes follow."""
        return len(self.company.kinds) if self.company is not None else 0


def _exchanges(
    lives: pd.DataFrame, levels: Levels, scale: str, seed: int
) -> dict[str, tuple[Exchange, Ints, tuple[str, ...]]]:
    """Carriers of the part and their levels, for every attribute and for lots."""
    try:
        shares = shares_of_units(lives, scale=scale)
    except NoFit:
        return {}
    if shares.failures < FEWEST_FAILURES:
        return {}
    exchange = Exchange(shares, seed)
    row = levels.units.get_indexer(shares.carriers)
    found = {
        attribute: (exchange, np.where(row >= 0, code[row], -1), levels.names[attribute])
        for attribute, code in levels.code.items()
    }
    lots = lots_of(lives, scale=scale)
    if lots is not None:
        found["lot"] = (Exchange(lots[0], seed), *lots[1:])
    return found
