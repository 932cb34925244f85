"""The lives of one part on all units: exact renewal processes, run round by round.

In each round every part in service gets its next event: the earliest of its failure modes, its
planned replacement, a recall or refit, and the removals of good parts. Where a fix begins, all
lives are stopped on that day, the units to be treated are chosen from what has happened so far,
and the lives run on; that is exact, since a part's future depends on its age alone.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rca.records.columns import REASONS
from rca.records.simulate.draws import Array, Draws, Flags, Whole
from rca.records.simulate.factors import Factors, unit_factors
from rca.records.simulate.hazard import EarlyWeibull, next_failure
from rca.records.simulate.planted import REMOVALS, FixPlan, PartPlan
from rca.records.simulate.running import FAR, Scale
from rca.records.simulate.world import World, day_of

FAILURE = REASONS.index("failure")


@dataclass(frozen=True, slots=True, eq=False)
class PartLives:
    """Pieces of lives of one part; arrays of one length, places on the part's own scale.

    `lot` is the number of the lot of this life's part and `next_lot` that of the part fitted at
    its end (0 = none known). `under` has a column for each cause of the plan: true where it
    acted on the part at the end of the piece; `found` tells that the repair removed one.
    `factors` is the lasting factor of each unit of the fleet, and `fix_days` the day of each fix
    on each unit (infinite = not treated).
    """

    unit: Whole
    position: Whole
    fitting: Whole
    piece: Whole
    fitted: Array
    begin: Array
    end: Array
    fitted_day: Array
    end_day: Array
    reason: Whole  # code of REASONS, -1 = still running
    mode: Whole  # -1 = no failure
    renewed: Flags
    lot: Whole
    next_lot: Whole
    under: Flags
    found: Flags
    factors: Array
    fix_days: dict[str, Array]


def part_lives(part: PartPlan, world: World, draws: Draws) -> PartLives:
    """Simulate all lives of one part in a fleet, from each unit's first day in service."""
    run = _Run(part, world, draws)
    mine = (fix for fix in world.plan.fixes if fix.part == part.name)
    for fix in sorted(mine, key=lambda fix: fix.start):
        run.to(day_of(fix.start))
        run.begin(fix)
    run.to(np.inf)
    return run.lives()


class _Run:
    """The state of all fitted parts of one family while time runs on."""

    def __init__(self, part: PartPlan, world: World, draws: Draws) -> None:
        self.part, self.world, self.draws = part, world, draws
        self.scale = Scale(world.running, part.scale_on == "meter")
        carrying = np.flatnonzero(world.where(part.fitted_to))
        self.unit = np.repeat(carrying, len(part.positions))
        self.position = np.tile(np.arange(len(part.positions)), len(carrying))
        self.rows = np.arange(len(self.unit))
        self.lasting = unit_factors(part, world, draws.child("units"))
        self.factors = Factors(part, world, self.unit, self.scale)
        self.recalled = self._recall_places()
        self.careless = self._careless_units()
        self.refits: list[Array] = []
        self.fitted = self.scale.place(self.unit, world.begin[self.unit])
        self.now, self.begun = self.fitted.copy(), self.fitted.copy()
        self.fitting, self.piece, self.lot = (np.zeros_like(self.rows) for _ in range(3))
        self.badly_fitted = np.zeros(len(self.rows), dtype=bool)
        self.planned = self._next_plan(self.rows)
        self.events: list[dict[str, NDArray]] = []
        self._lay_steps()

    def _lay_steps(self) -> None:
        self.steps = [self.factors.steps(self.rows, mode.name) for mode in self.part.all_modes]

    def _recall_places(self) -> Array:
        recall, draws = self.part.recall, self.draws.child("recall")
        if recall is None:
            return np.full(len(self.unit), FAR)
        units = len(self.world.begin)
        day = day_of(recall.start) + draws.uniform(units, 0, recall.over_days)
        day = np.where(draws.chance(units, recall.share), day, np.inf)
        return self.scale.place(self.unit, day[self.unit])

    def _careless_units(self) -> Flags:
        plan = self.part.workmanship
        return self.world.where(plan.where) if plan else np.zeros(len(self.world.begin), bool)

    def to(self, horizon: float) -> None:
        """Let every life run to the day `horizon` or to the end of its unit."""
        begin, end = self.world.begin[self.unit], self.world.end[self.unit]
        limit = self.scale.place(self.unit, np.clip(horizon, begin, end))
        rows = np.flatnonzero(self.now < limit)
        while rows.size:
            rows = self._round(rows, limit)

    def _round(self, rows: Whole, limit: Array) -> Whole:
        """Give each of these slots its next event; return the slots still on their way."""
        place, reason, mode = self._next_event(rows)
        place = self._wait_for_visit(rows, place, reason, limit)
        happens = place < limit[rows]
        self.now[rows[~happens]] = limit[rows[~happens]]
        rows = rows[happens]
        self._end_pieces(rows, place[happens], reason[happens], mode[happens])
        return rows

    def _next_event(self, rows: Whole) -> tuple[Array, Whole, Whole]:
        """Place, reason and mode of what ends the pieces of these slots."""
        failures = np.stack([self._next_failure(rows, n) for n in range(len(self.part.all_modes))])
        places = {name: self._next_removal(rows, name) for name in REMOVALS}
        places["failure"] = failures.min(axis=0)
        places["planned"] = self._ahead(rows, self.planned[rows])
        places["recall"] = self._next_recall(rows)
        for refit in self.refits:
            places["other"] = np.minimum(places["other"], self._ahead(rows, refit[rows]))
        table = np.stack([places[name] for name in REASONS])
        reason = table.argmin(axis=0)
        mode = np.where(reason == FAILURE, failures.argmin(axis=0), -1)
        return table.min(axis=0), reason, mode

    def _next_failure(self, rows: Whole, number: int) -> Array:
        mode, plan = self.part.all_modes[number], self.part.workmanship
        early, until = np.ones(len(rows)), math.inf
        if plan:
            early, until = np.where(self.badly_fitted[rows], plan.factor, 1.0), plan.until
        lasting = self.lasting[self.unit[rows]] * self._lot_factor(rows)
        place = next_failure(
            EarlyWeibull(mode.shape, mode.scale, early, until),
            self.steps[number].take(rows),
            fitted=self.fitted[rows],
            now=self.now[rows],
            factor=lasting,
            amount=self.draws.exponential(len(rows)),
        )
        threatens = number < len(self.part.modes) or self.badly_fitted[rows]
        return np.where(threatens, place, FAR)

    def _lot_factor(self, rows: Whole) -> Array:
        lots = self.part.lots
        if lots is None:
            return np.ones(len(rows))
        factors = np.ones(lots.count + 1)
        factors[list(lots.bad)] = lots.factor
        return factors[self.lot[rows]]

    def _ahead(self, rows: Whole, place: Array) -> Array:
        return np.where(place > self.now[rows], place, FAR)

    def _next_recall(self, rows: Whole) -> Array:
        place = self._ahead(rows, self.recalled[rows])
        if self.part.recall is None or not self.part.recall.lot:
            return place
        return np.where(self.lot[rows] == self.part.recall.lot, place, FAR)

    def _next_removal(self, rows: Whole, reason: str) -> Array:
        rate = self.part.removals.get(reason, 0.0) / 365.25
        if rate == 0:
            return np.full(len(rows), FAR)
        unit = self.unit[rows]
        day = self.scale.day(unit, self.now[rows]) + self.draws.exponential(len(rows)) / rate
        return self.scale.place(unit, day)

    def _wait_for_visit(self, rows: Whole, place: Array, reason: Whole, limit: Array) -> Array:
        """Let some failures wait, unrepaired, for the unit's next regular visit."""
        every, share = self.world.plan.visit_every_days, self.part.found_at_visits
        if not (every and share):
            return place
        unit = self.unit[rows]
        waits = self.draws.chance(len(rows), share) & (reason == FAILURE) & (place < limit[rows])
        day, phase = self.scale.day(unit, place), self.world.visit[unit]
        visit = self.scale.place(unit, phase + np.ceil((day - phase) / every) * every)
        return np.where(waits & (visit < limit[rows]), visit, place)

    def _end_pieces(self, rows: Whole, place: Array, reason: Whole, mode: Whole) -> None:
        """Write down the pieces that end, and begin the next ones."""
        day = self.scale.day(self.unit[rows], place)
        renewed = (reason != FAILURE) | ~self.draws.chance(len(rows), self.part.mended)
        next_lot = np.where(renewed, self._lot_at(day), 0)
        self._write_down(rows, place, day, reason, mode, renewed, next_lot)
        self.now[rows] = self.begun[rows] = place
        self.piece[rows] = np.where(renewed, 0, self.piece[rows] + 1)
        fresh = rows[renewed]
        self.fitted[fresh] = place[renewed]
        self.fitting[fresh] += 1
        self.lot[fresh] = next_lot[renewed]
        plan = self.part.workmanship
        if plan:
            slip = self.draws.chance(len(fresh), plan.share)
            self.badly_fitted[fresh] = slip & self.careless[self.unit[fresh]]
        self.planned[fresh] = self._next_plan(fresh)

    def _next_plan(self, rows: Whole) -> Array:
        """Place of the planned replacement of the part now fitted, about the planned age."""
        if self.part.planned_at is None:
            return np.full(len(rows), FAR)
        age = self.part.planned_at * (1 + 0.05 * np.clip(self.draws.normal(len(rows)), -3, 3))
        kept = self.draws.chance(len(rows), self.part.planned_kept)
        return np.where(kept, self.fitted[rows] + age, FAR)

    def _lot_at(self, day: Array) -> Whole:
        """Number of the lot fitted at each day (0 = before the first known lot)."""
        lots = self.part.lots
        if lots is None:
            return np.zeros(len(day), dtype=np.int64)
        place = np.floor((day - day_of(lots.first_day)) / lots.days_each).astype(np.int64) + 1
        number = np.clip(place, 0, lots.count)
        if lots.mixed:
            any_lot = 1 + self.draws.choose(len(day), [1.0] * lots.count)
            return np.where(number > 0, any_lot, 0)
        earlier = self.draws.chance(len(day), lots.carried_over) & (number > 1)
        return np.where(earlier, number - 1, number)

    def _write_down(
        self, rows: Whole, place: Array, day: Array, reason: Whole, mode: Whole,
        renewed: Flags, next_lot: Whole,
    ) -> None:  # fmt: skip
        under, found = self._causes_at(rows, day, mode)
        self.events.append(
            {
                "unit": self.unit[rows],
                "position": self.position[rows],
                "fitting": self.fitting[rows],
                "piece": self.piece[rows],
                "fitted": self.fitted[rows],
                "begin": self.begun[rows],
                "end": place,
                "end_day": day,
                "reason": reason,
                "mode": mode,
                "renewed": renewed,
                "lot": self.lot[rows],
                "next_lot": next_lot,
                "under": under,
                "found": found,
            }
        )

    def _causes_at(self, rows: Whole, day: Array, mode: Whole) -> tuple[Flags, Flags]:
        """Tell which causes act where pieces end, and let repairs find and remove some of them."""
        under = np.zeros((len(rows), len(self.world.plan.causes)), dtype=bool)
        found = np.zeros(len(rows), dtype=bool)
        names = np.array(["", *[one.name for one in self.part.all_modes]], dtype=object)[mode + 1]
        for column, cause in enumerate(self.world.plan.causes):
            if self.part.name not in cause.targets:
                continue
            under[:, column] = self.factors.acting(cause, rows, day)
            if cause.found_at_repair:
                aimed = (mode >= 0) & ((names == cause.mode) | (cause.mode == ""))
                hit = under[:, column] & aimed & self.draws.chance(len(rows), cause.found_at_repair)
                self.factors.found[cause.name][rows[hit]] = day[hit]
                for number, one in enumerate(self.part.all_modes):
                    self.steps[number].put(rows[hit], self.factors.steps(rows[hit], one.name))
                found |= hit
        return under, found

    def begin(self, fix: FixPlan) -> None:
        """Choose the units for a fix as they stand on its first day, and lower their hazard."""
        start, world, draws = day_of(fix.start), self.world, self.draws.child("fix", fix.name)
        there = (world.begin <= start) & (start < world.end) & world.where(fix.where)
        there &= np.isin(np.arange(len(world.begin)), self.unit)
        chosen = self._choose(fix, np.flatnonzero(there), draws)
        days = np.full(len(world.begin), np.inf)
        days[chosen] = np.floor(start + draws.uniform(len(chosen), 0, fix.over_days + 1))
        days[days >= world.end] = np.inf
        # What fails on the day of the fix failed before it: the new rate holds from the next day.
        self.factors.fix_days[fix.name] = days + 1
        if fix.refit:
            self.refits.append(self.scale.place(self.unit, days[self.unit] + 0.999))
        self._lay_steps()

    def _choose(self, fix: FixPlan, units: Whole, draws: Draws) -> Whole:
        if fix.chosen_by == "most failures":
            failures = self._failures_so_far(fix)[units]
            worst_first = np.lexsort((draws.uniform(len(units)), -failures))
            return np.sort(units[worst_first[: round(fix.share * len(units))]])
        if fix.chosen_by == "cause found":
            cause = next(one for one in self.world.plan.causes if one.name == fix.cause)
            day = np.full(len(self.rows), day_of(fix.start))
            units = np.intersect1d(units, self.unit[self.factors.carried(cause, self.rows, day)])
        return units[draws.sample(len(units), round(fix.share * len(units)))]

    def _failures_so_far(self, fix: FixPlan) -> Whole:
        """Failures of the part on each unit that are in the records by now."""
        counts = np.zeros(len(self.world.begin), dtype=np.int64)
        names = np.array([mode.name for mode in self.part.all_modes], dtype=object)
        for event in self.events:
            counted = event["end_day"] >= self.world.watched_from[event["unit"]]
            counted &= event["reason"] == FAILURE
            if fix.mode:
                counted &= names[event["mode"]] == fix.mode
            np.add.at(counts, event["unit"][counted], 1)
        return counts

    def lives(self) -> PartLives:
        """Close the books; the parts still in service are the last pieces."""
        nothing, never = np.full(len(self.rows), -1), np.zeros(len(self.rows), dtype=bool)
        end_day = self.world.end[self.unit] - 0.5  # some time on the last day
        self._write_down(
            self.rows, self.now, end_day, nothing, nothing, never, np.zeros_like(self.rows)
        )
        joined = {name: np.concatenate([event[name] for event in self.events])
                  for name in self.events[0]}  # fmt: skip
        return PartLives(
            **joined,
            fitted_day=self.scale.day(joined["unit"], joined["fitted"]),
            factors=self.lasting,
            fix_days={name: day - 1 for name, day in self.factors.fix_days.items()},
        )
