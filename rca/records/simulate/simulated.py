"""A simulated fleet: its tables as the records would show them, and the truth behind them."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.records.columns import REASONS
from rca.records.simulate.draws import Array, Draws
from rca.records.simulate.plan import FleetPlan
from rca.records.simulate.renewals import PartLives, part_lives
from rca.records.simulate.rows import lot_name, repair_table
from rca.records.simulate.world import World, dates_of, make_world


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What only the plan knows.

    lives
        One row a piece of a life, from the unit's first day on: unit, part, position, fitting,
        piece, scale ("meter" or "days"), begin_age, end_age, fitted_on, ended_on, failed, mode,
        reason ("" = still running when last seen), renewed, lot, and `under` (the hidden causes
        that acted on the part at its end, joined by ";").
    causes
        One row a spell: cause, unit, begins, ends (no date = never).
    fixes
        One row a treated unit: fix, part, unit, date, ratio.
    factors
        Lasting factor of each unit (row) on the failure rate of each part (column).
    faults
        One row a planted record fault: fault, table, row, unit, column, was, now.
    """

    lives: pd.DataFrame
    causes: pd.DataFrame
    fixes: pd.DataFrame
    factors: pd.DataFrame
    faults: pd.DataFrame

    def fault_counts(self) -> dict[str, int]:
        """Count the planted record faults of each kind."""
        return {str(name): int(count) for name, count in Counter(self.faults["fault"]).items()}


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedFleet:
    """Tables with the columns of a fleet folder, and the truth; nothing in the tables tells it."""

    plan: FleetPlan
    repairs: pd.DataFrame
    units: pd.DataFrame
    parts: pd.DataFrame
    readings: pd.DataFrame
    fixes: pd.DataFrame
    truth: Truth

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """All tables by name."""
        names = ("repairs", "units", "parts", "readings", "fixes")
        return {name: getattr(self, name) for name in names}

    def __str__(self) -> str:
        failures = int(self.repairs["reason"].eq("failure").sum())
        faults = sum(self.truth.fault_counts().values())
        return (
            f"{self.plan.name} (invented): {len(self.units)} units, {len(self.parts)} parts, "
            f"{len(self.repairs)} repair rows of which {failures} failures, "
            f"{len(self.readings)} readings, {faults} record faults planted"
        )


def simulate(plan: FleetPlan, *, seed: int) -> SimulatedFleet:
    """Simulate a fleet; the same plan and seed give the same tables, byte for byte.

    Raises
    ------
    RcaError
        The plan contradicts itself, or a condition in it cannot be read.
    """
    draws = Draws(seed)
    world = make_world(plan, draws)
    lives = {part.name: part_lives(part, world, draws.child("part", part.name))
             for part in plan.parts}  # fmt: skip
    return SimulatedFleet(
        plan=plan,
        repairs=repair_table(world, lives, draws.child("rows")),
        units=world.units,
        parts=_parts(plan),
        readings=_readings(world, draws.child("readings")),
        fixes=_fixes(world, lives)[["fix", "unit", "date"]],
        truth=Truth(
            lives=_true_lives(world, lives),
            causes=_true_causes(world),
            fixes=_fixes(world, lives),
            factors=pd.DataFrame(
                {name: one.factors for name, one in lives.items()}, index=world.units["unit"]
            ),
            faults=no_faults(),
        ),
    )


def no_faults() -> pd.DataFrame:
    """Return an empty list of planted record faults."""
    columns = ("fault", "table", "row", "unit", "column", "was", "now")
    return pd.DataFrame({name: pd.Series(dtype=object) for name in columns})


def _parts(plan: FleetPlan) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "part": [part.name for part in plan.parts],
            "system": [part.system for part in plan.parts],
            "positions": [";".join(part.positions) for part in plan.parts],
            "fitted_to": [part.fitted_to for part in plan.parts],
            "safety_critical": ["yes" if part.safety_critical else "no" for part in plan.parts],
            "planned_cost": [part.planned_cost for part in plan.parts],
            "failure_cost": [part.failure_cost for part in plan.parts],
        }
    )


def _readings(world: World, draws: Draws) -> pd.DataFrame:
    """Readings about every so many days, the first on the first day watched."""
    every, begin = world.plan.reading_every_days, world.watched_from
    most = int((world.end - begin).max() / every) + 1
    steps = every * np.arange(most)
    late = draws.uniform(len(begin) * most, 0.0, 0.3 * every).reshape(len(begin), most)
    late[:, 0] = 0.5
    days = begin[:, None] + steps + late
    unit, number = np.nonzero(days < world.end[:, None])
    day = days[unit, number]
    return pd.DataFrame(
        {
            "unit": world.units["unit"].to_numpy()[unit],
            "date": dates_of(day),
            "meter": np.maximum(np.floor(world.running.meter(unit, day)), 0.0),
        }
    )


def _fixes(world: World, lives: dict[str, PartLives]) -> pd.DataFrame:
    frames = []
    for fix in world.plan.fixes:
        days: Array = lives[fix.part].fix_days[fix.name]
        treated = np.flatnonzero(np.isfinite(days))
        frames.append(
            pd.DataFrame(
                {
                    "fix": fix.name,
                    "part": fix.part,
                    "unit": world.units["unit"].to_numpy()[treated],
                    "date": dates_of(days[treated]),
                    "ratio": fix.ratio,
                }
            )
        )
    blank = pd.DataFrame({name: pd.Series(dtype=object)
                          for name in ("fix", "part", "unit", "date", "ratio")})  # fmt: skip
    return pd.concat(frames, ignore_index=True) if frames else blank


def _true_causes(world: World) -> pd.DataFrame:
    columns: dict[str, list] = {"cause": [], "unit": [], "begins": [], "ends": []}
    for name, spells in world.spells.items():
        unit, spell = np.nonzero(spells.begins < world.end[:, None])
        columns["cause"] += [name] * len(unit)
        columns["unit"] += list(world.units["unit"].to_numpy()[unit])
        columns["begins"] += list(dates_of(spells.begins[unit, spell]))
        columns["ends"] += list(dates_of(spells.ends[unit, spell]))
    return pd.DataFrame(columns)


def _true_lives(world: World, lives: dict[str, PartLives]) -> pd.DataFrame:
    reasons = np.array([*REASONS, ""], dtype=object)
    causes = [cause.name for cause in world.plan.causes]
    frames = []
    for part in world.plan.parts:
        one = lives[part.name]
        modes = np.array([*(mode.name for mode in part.all_modes), ""], dtype=object)
        lots = [
            lot_name(part, number) for number in range((part.lots.count if part.lots else 0) + 1)
        ]
        frames.append(
            pd.DataFrame(
                {
                    "unit": world.units["unit"].to_numpy()[one.unit],
                    "part": part.name,
                    "position": np.array(part.positions, dtype=object)[one.position],
                    "fitting": one.fitting,
                    "piece": one.piece,
                    "scale": part.scale_on,
                    "begin_age": one.begin - one.fitted,
                    "end_age": one.end - one.fitted,
                    "fitted_on": dates_of(one.fitted_day),
                    "ended_on": dates_of(one.end_day),
                    "failed": one.mode >= 0,
                    "mode": modes[one.mode],
                    "reason": reasons[one.reason],
                    "renewed": one.renewed,
                    "lot": np.array(lots, dtype=object)[one.lot],
                    "under": _joined(one.under, causes),
                }
            )
        )
    table = pd.concat(frames, ignore_index=True)
    return table.sort_values(["part", "unit", "position", "fitting", "piece"],
                             kind="stable", ignore_index=True)  # fmt: skip


def _joined(under: np.ndarray, causes: list[str]) -> np.ndarray:
    """Names of the causes that are true in each row, joined by ';'."""
    code = under @ (1 << np.arange(len(causes))) if causes else np.zeros(len(under), dtype=int)
    names = {
        int(one): ";".join(name for bit, name in enumerate(causes) if one >> bit & 1)
        for one in np.unique(code)
    }
    return np.array([names[int(one)] for one in code], dtype=object)
