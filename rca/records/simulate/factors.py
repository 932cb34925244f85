"""What raises or lowers the failure rate of a part on its units: lasting, and from day to day."""

import numpy as np

from rca.records.simulate.draws import Array, Draws, Flags, Whole
from rca.records.simulate.hazard import Steps
from rca.records.simulate.planted import CausePlan, FixPlan, PartPlan
from rca.records.simulate.running import FAR, MONTH, Scale
from rca.records.simulate.world import World, day_of, swing


def unit_factors(part: PartPlan, world: World, draws: Draws) -> Array:
    """Lasting factor of each unit on a part: its spread and the levels of its attributes."""
    factor = world.factor * draws.gamma(len(world.begin), part.spread)
    for column, levels in part.effects.items():
        factor = factor * world.units[column].map(dict(levels)).fillna(1.0).to_numpy(float)
    return factor


class Factors:
    """Causes, fixes and season on all slots (unit and position) of one part.

    `found` holds, for each cause of the part, the day on which a repair removed it from each
    slot; `fix_days` the first day, for each unit, that lies behind a fix (infinite = none).
    """

    def __init__(self, part: PartPlan, world: World, unit: Whole, scale: Scale) -> None:
        self._part, self._world, self._unit, self._scale = part, world, unit, scale
        self.causes = [one for one in world.plan.causes if part.name in one.targets]
        self.found = {cause.name: np.full(len(unit), np.inf) for cause in self.causes}
        self.fix_days: dict[str, Array] = {}

    def carried(self, cause: CausePlan, rows: Whole, day: Array) -> Flags:
        """True where slots carry the cause at their days, shape (rows,) or (rows, days)."""
        held = self._world.spells[cause.name].hold(self._unit[rows], day)
        if cause.name not in self.found:
            return held
        found = self.found[cause.name][rows]
        return held & (day < (found[:, None] if day.ndim == 2 else found))

    def acting(self, cause: CausePlan, rows: Whole, day: Array) -> Flags:
        """True where slots carry the cause together with the one that it needs."""
        held = self.carried(cause, rows, day)
        if cause.needs:
            held &= self._world.spells[cause.needs].hold(self._unit[rows], day)
        return held

    def steps(self, rows: Whole, mode: str) -> Steps:
        """Lay everything that changes with time along the meter or the days of these slots."""
        unit = self._unit[rows]
        causes = [cause for cause in self.causes if cause.mode in ("", mode)]
        fixes = [fix for fix in self._world.plan.fixes
                 if fix.name in self.fix_days and fix.mode in ("", mode)]  # fmt: skip
        edges = self._edges(causes, fixes, rows)
        if not edges:
            return Steps(np.zeros((len(rows), 0)), np.ones((len(rows), 1)))
        days = np.sort(np.column_stack(edges), axis=1)
        inside = _day_inside_each_piece(days)
        levels = np.ones_like(inside)
        for cause in causes:
            acting = self.acting(cause, rows, inside)
            levels[acting] *= cause.targets[self._part.name]
        for fix in fixes:
            begin, end = self._fix_span(fix, unit)
            levels[(begin[:, None] <= inside) & (inside < end[:, None])] *= fix.ratio
        if self._part.season:
            levels *= swing(inside, self._part.season, self._part.season_peak)
        places = self._scale.place(np.repeat(unit, days.shape[1]), days.ravel())
        return Steps(places.reshape(days.shape), levels)

    def _edges(self, causes: list[CausePlan], fixes: list[FixPlan], rows: Whole) -> list[Array]:
        """Days on which something may change, in columns."""
        unit, world = self._unit[rows], self._world
        edges = [self.found[cause.name][rows] for cause in causes]
        for name in {name for cause in causes for name in (cause.name, cause.needs) if name}:
            edges += [world.spells[name].begins[unit], world.spells[name].ends[unit]]
        edges += [np.column_stack(self._fix_span(fix, unit)) for fix in fixes]
        if self._part.season:
            months = np.arange(world.begin.min(), world.end.max(), MONTH)
            edges.append(np.tile(months, (len(rows), 1)))
        return edges

    def _fix_span(self, fix: FixPlan, unit: Whole) -> tuple[Array, Array]:
        begin = self.fix_days[fix.name][unit]
        end = day_of(fix.until) if fix.until else np.inf
        return begin, np.where(np.isfinite(begin), end, np.inf)


def _day_inside_each_piece(days: Array) -> Array:
    """Return a day before, between and after the sorted days of each row."""
    far = np.full(len(days), FAR)
    low = np.column_stack((-far, np.minimum(days, FAR)))
    high = np.column_stack((np.minimum(days, FAR), far))
    return (low + high) / 2
