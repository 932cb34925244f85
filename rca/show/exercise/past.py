"""The records of a case as they stand at the cut-off, with the traps that lie in records."""

from dataclasses import dataclass, replace

import pandas as pd

from rca.records.simulate import FaultPlan, SimulatedFleet, simulate, with_faults
from rca.show.exercise.planting import plan_of
from rca.show.exercise.setting import Setting

ODOMETERS = 9
DUPLICATES = 4


@dataclass(frozen=True, slots=True, eq=False)
class Past:
    """The fleet as the student gets it, and what else is known of it.

    `whole` is the same before traps were laid in the records; `meter_lost` tells for units whose
    meter was replaced how much less it shows now.
    """

    fleet: SimulatedFleet
    whole: SimulatedFleet
    meter_lost: dict[str, float]


def make_past(setting: Setting, *, seed: int) -> Past:
    """Simulate the fleet of a case and cut its records at the cut-off."""
    whole = _cut(simulate(plan_of(setting), seed=seed), setting)
    odometers = ODOMETERS if "odometer replaced" in setting.traps else 0
    faults = FaultPlan(duplicates=DUPLICATES, odometers_replaced=odometers)
    fleet = with_faults(whole, faults, seed=seed)
    lost = _meter_lost(whole.readings, fleet.readings) if odometers else {}
    if "survivors missing" in setting.traps:
        fleet = _without_survivors(fleet, setting.scenario.part)
    return Past(fleet, whole, lost)


def _cut(fleet: SimulatedFleet, setting: Setting) -> SimulatedFleet:
    last = pd.Timestamp(setting.cutoff)
    return replace(
        fleet,
        plan=replace(fleet.plan, cutoff=setting.cutoff, fixes=()),
        repairs=fleet.repairs[fleet.repairs["date"] <= last].reset_index(drop=True),
        readings=fleet.readings[fleet.readings["date"] <= last].reset_index(drop=True),
        fixes=fleet.fixes.iloc[:0],
    )


def _meter_lost(before: pd.DataFrame, after: pd.DataFrame) -> dict[str, float]:
    """Units whose last reading is lower than it was, and by how much."""
    last = [table.groupby("unit", sort=False)["meter"].last() for table in (before, after)]
    lost = last[0] - last[1]
    return {str(unit): float(value) for unit, value in lost[lost > 0].items()}


def _without_survivors(fleet: SimulatedFleet, part: str) -> SimulatedFleet:
    """Keep only the units on which the part was ever replaced, as an order list would give them."""
    mine = fleet.repairs[(fleet.repairs["part"] == part) & (fleet.repairs["action"] == "replaced")]
    kept = set(mine["unit"])
    tables = {
        name: getattr(fleet, name)[getattr(fleet, name)["unit"].isin(kept)].reset_index(drop=True)
        for name in ("repairs", "units", "readings")
    }
    return replace(fleet, **tables)
