"""How far a finding may reach: which units to look at first, and how many bound the share affected.

For an attribute (a lot, a depot, a model) the question is how many of the units that bear it are
affected; for an event, how many of the others that carry the part have what comes before its
failures. A random sample without a single affected unit bounds that share
(`life.demonstration.units_to_inspect`).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from rca.causes.counts.units import UnitFinding
from rca.causes.fix.verdict import Verdict
from rca.causes.fixes import applied_to
from rca.causes.pattern.reading import Pattern
from rca.causes.screen.attributes import levels_of
from rca.causes.screen.upstream import Screen
from rca.life.demonstration import units_to_inspect
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable

SHARES = (0.1, 0.05)
"""Shares affected that a clean sample is to rule out."""
CONFIDENCE = 0.95
MOST_FIRST = 5
_FEWEST = 2


@dataclass(frozen=True, slots=True)
class Extent:
    """What to inspect for one finding on one part.

    first
        Units to look at first, the most telling one first; `first_of` such units in all, and
        `why_first` says why these.
    population
        Units of which the share affected is to be bounded; `where` says which they are.
    samples
        For each share, how many of them to inspect at random: if none is affected, fewer than
        that share are, with 95 % confidence.
    """

    part: str
    candidate: str
    kind: str  # "event", "attribute" or "units"
    first: tuple[str, ...]
    first_of: int
    why_first: str
    population: int
    where: str
    samples: tuple[tuple[float, int], ...]

    def __str__(self) -> str:
        sizes = " or ".join(f"{count} (below {share:.0%})" for share, count in self.samples)
        named = ", ".join(self.first) or "none"
        return f"{self.part}, {self.candidate}: first {named}; of {self.population} inspect {sizes}"


def extents_of(
    fleet: Fleet,
    lives: LifeTable,
    screen: Screen | None,
    patterns: Mapping[str, Pattern],
    units: Sequence[UnitFinding],
    fixes: Sequence[Verdict],
) -> tuple[Extent, ...]:
    """Return the extent of every candidate found, and of patterns that name a lot or a depot.

    Units that have got a fix of the part are left out.
    """
    carriers = _Carriers(fleet, lives, units, fixes)
    found: list[Extent] = []
    if screen is not None:
        for row in screen.found.to_dict("records"):
            found += _of_candidate(carriers, screen, row)
    for part, pattern in patterns.items():
        for attribute, level in _named(pattern):
            name = f"{attribute} = {level}"
            if not any(one.part == part and one.candidate == name for one in found):
                found += carriers.of_attribute(part, attribute, level)
    return tuple(found)


def _named(pattern: Pattern) -> Iterator[tuple[str, str]]:
    """The lot or depot that a pattern reads."""
    for attribute, level in (("lot", pattern.lot), ("depot", pattern.depot)):
        if level is not None and pattern.where.startswith(f"{attribute} {level.name}"):
            yield attribute, level.name


def _of_candidate(
    carriers: "_Carriers", screen: Screen, row: dict[str, object]
) -> Iterator[Extent]:
    part, candidate = str(row["target"]), str(row["candidate"])
    if row["kind"] == "event":
        lags = screen.lags[part, candidate]
        yield from carriers.of_event(part, candidate, lags.unanswered, lags.window_days)
    else:
        attribute, _, level = candidate.partition(" = ")
        yield from carriers.of_attribute(part, attribute, level)


class _Carriers:
    """Units in service with each part, and which of them fail most."""

    def __init__(
        self,
        fleet: Fleet,
        lives: LifeTable,
        units: Sequence[UnitFinding],
        fixes: Sequence[Verdict],
    ) -> None:
        watch = fleet.watch
        last = watch["watched_to"] >= pd.Timestamp(fleet.cutoff)
        self.in_service = set(watch.loc[last, "unit"].astype(str))
        self.fleet, self.lives = fleet, lives
        self.levels = levels_of(fleet.units) if fleet.units is not None else None
        self.fixed: dict[str, set[str]] = {}
        for one in fixes:
            done = set(applied_to(fleet, one.plan.fix)["unit"])
            self.fixed.setdefault(one.plan.part, set()).update(done)
        self.worst = {(one.part, one.unit): one.ratio for one in units}

    def of(self, part: str) -> list[str]:
        """Units in service that carry a part and have got no fix of it."""
        places = self.fleet.places
        if places is not None:
            carrying = places.loc[places["part"].astype(str) == part, "unit"].astype(str)
        else:
            rows = self.lives.of(part)
            carrying = rows.loc[rows["ended_by"] == "cut-off", "unit"].astype(str)
        return sorted((set(carrying) & self.in_service) - self.fixed.get(part, set()))

    def of_event(
        self, part: str, candidate: str, recent: Sequence[str], days: int
    ) -> Iterator[Extent]:
        """First the units on which it happened lately and the part has not failed since."""
        carrying = self.of(part)
        first = [unit for unit in recent if unit in set(carrying)]
        rest = len(carrying) - len(first)
        if rest >= _FEWEST:
            yield Extent(
                part=part,
                candidate=candidate,
                kind="event",
                first=tuple(first[:MOST_FIRST]),
                first_of=len(first),
                why_first=f"it came in the last {days} days and the part has not failed since",
                population=rest,
                where="other units that carry the part" + self._without_fix(part),
                samples=_samples(rest),
            )

    def of_attribute(self, part: str, attribute: str, level: str) -> Iterator[Extent]:
        """The units that bear it; first those with most failures of the part, then the oldest."""
        bearing = (
            self._lot(part, level) if attribute == "lot" else self._level(part, attribute, level)
        )
        if len(bearing) < _FEWEST:
            return
        rows = self.lives.of(part)
        rows = rows[rows["unit"].astype(str).isin(bearing)]
        failures = rows.groupby(rows["unit"].astype(str))["failed"].sum()
        order = sorted(
            bearing,
            key=lambda unit: (
                -self.worst.get((part, unit), 0.0),
                -int(failures.get(unit, 0)),
                unit,
            ),
        )
        yield Extent(
            part=part,
            candidate=f"{attribute} = {level}",
            kind="attribute",
            first=tuple(order[:MOST_FIRST]),
            first_of=len(order),
            why_first="the part has failed there most often",
            population=len(bearing),
            where=("units with a part of that lot in service" if attribute == "lot"
                   else "units of that kind that carry the part") + self._without_fix(part),
            samples=_samples(len(bearing)),
        )  # fmt: skip

    def _without_fix(self, part: str) -> str:
        return " and have no fix of it" if self.fixed.get(part) else ""

    def _lot(self, part: str, lot: str) -> list[str]:
        rows = self.lives.of(part)
        rows = rows[(rows["ended_by"] == "cut-off") & (rows["lot"].astype(str) == lot)]
        bears = set(rows["unit"].astype(str)) & self.in_service
        return sorted(bears - self.fixed.get(part, set()))

    def _level(self, part: str, attribute: str, level: str) -> list[str]:
        if self.levels is None or attribute not in self.levels.code:
            return []
        names = self.levels.names[attribute]
        if level not in names:
            return []
        bears = self.levels.units[self.levels.code[attribute] == names.index(level)]
        return sorted(set(self.of(part)) & set(bears))


def _samples(population: int) -> tuple[tuple[float, int], ...]:
    return tuple(
        (share, units_to_inspect(population, share, confidence=CONFIDENCE)) for share in SHARES
    )
