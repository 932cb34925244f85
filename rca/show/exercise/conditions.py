"""On which units each suspected condition is there: from the truth, or by chance where innocent."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rca.records.simulate.draws import Array, Draws, Flags
from rca.records.simulate.simulated import SimulatedFleet
from rca.show.exercise.planting import BAD_LOT
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.setting import HIDDEN, Setting

INNOCENT, DECOY = 0.08, 0.5
"""Share of units with a condition that does no harm: usually, and where it is a decoy."""


@dataclass(frozen=True, slots=True, eq=False)
class Conditions:
    """Flags of each suspect on units that failed and on sound ones; the units in order drawn.

    failed
        Units whose part failed in the last year before the cut-off, the latest first.
    sound
        Units without a failure in the last two years, in an order drawn; where there are fewer
        than needed, those that failed longest ago.
    on_failed, on_sound
        Suspect to flags, as long as these lists.
    """

    failed: tuple[str, ...]
    sound: tuple[str, ...]
    on_failed: Mapping[str, Flags]
    on_sound: Mapping[str, Flags]


def conditions_of(
    setting: Setting, fleet: SimulatedFleet, draws: Draws, *, wanted: int
) -> Conditions:
    """Draw which units are looked at, and where each condition is there."""
    part, cutoff = setting.scenario.part, pd.Timestamp(setting.cutoff)
    lives = fleet.truth.lives
    lives = lives[(lives["part"] == part) & (lives["ended_on"] <= cutoff) & lives["failed"]]
    last = lives.sort_values("ended_on", kind="stable").drop_duplicates("unit", keep="last")
    last = last.sort_values("ended_on", ascending=False, kind="stable")
    failed = last.head(max(wanted, int((last["ended_on"] > cutoff - pd.Timedelta("365D")).sum())))
    sound = _sound_units(fleet, last, cutoff, draws, wanted)
    running = _running(fleet, part, cutoff)
    return Conditions(
        tuple(failed["unit"]),
        tuple(sound),
        _flags(setting, fleet, failed, draws.child("failed"), failed=True),
        _flags(setting, fleet, running.loc[sound].reset_index(), draws.child("sound"),
               failed=False),
    )  # fmt: skip


def _sound_units(
    fleet: SimulatedFleet, last: pd.DataFrame, cutoff: pd.Timestamp, draws: Draws, wanted: int
) -> list[str]:
    """Units that have not failed for long, drawn; those that failed longest ago fill up."""
    ended = last.set_index("unit")["ended_on"]
    names = fleet.units["unit"].to_numpy()[np.argsort(draws.uniform(len(fleet.units)))]
    never = pd.Timestamp("1900-01-01")
    days = pd.Series([ended.get(name, never) for name in names], index=names)
    old = days <= cutoff - pd.Timedelta("730D")
    if old.sum() >= wanted:
        return list(days.index[old][:wanted])
    return list(days.sort_values(kind="stable").index[:wanted])


def _running(fleet: SimulatedFleet, part: str, cutoff: pd.Timestamp) -> pd.DataFrame:
    """The life that runs on each unit at the cut-off."""
    lives = fleet.truth.lives
    mine = lives[(lives["part"] == part) & (lives["fitted_on"] <= cutoff)]
    return mine.sort_values(["unit", "fitting", "piece"]).groupby("unit").tail(1).set_index("unit")


def _flags(
    setting: Setting, fleet: SimulatedFleet, lives: pd.DataFrame, draws: Draws, *, failed: bool
) -> dict[str, Flags]:
    """Flags of every suspect on these lives."""
    units = fleet.units.set_index("unit").loc[lives["unit"]]
    place, count = setting.scenario, len(lives)
    there = {
        "duty": (units["duty"] == place.duty[1]).to_numpy(),
        "environment": (units["surroundings"] == place.surroundings[1]).to_numpy(),
        "lot": (lives["lot"] == f"L{BAD_LOT:02d}").to_numpy(),
        "fitting": (units["depot"] == setting.depot).to_numpy()
        & (lives["fitting"] > 0).to_numpy(),
        "age": draws.child("age").chance(count, _worn(setting, failed)),
    }  # fmt: skip
    for name in HIDDEN:
        there[name] = _hidden(setting, fleet, lives, name, draws.child(name), failed)
    return {name: np.asarray(there[name], dtype=bool) for name in SUSPECTS}


def _worn(setting: Setting, failed: bool) -> float:
    """Share of parts that are worn to the limit."""
    if setting.kind == "age":
        return 0.95 if failed else 0.12
    return 0.18 if failed else 0.12


def _hidden(
    setting: Setting,
    fleet: SimulatedFleet,
    lives: pd.DataFrame,
    name: str,
    draws: Draws,
    failed: bool,
) -> Flags:
    """Hidden condition: true where it was planted, else by chance."""
    if name in setting.guilty:
        causes = fleet.truth.causes
        carrying = set(causes.loc[causes["cause"] == name, "unit"])
        return lives["unit"].isin(carrying).to_numpy()
    share = DECOY if name in setting.decoys else INNOCENT
    if setting.effect_part and setting.scenario.signs[name] == setting.effect_part:
        share = 0.75 if failed else 0.15
    return draws.chance(len(lives), share)


def readings_of(setting: Setting, suspect: str, there: Flags, draws: Draws) -> Array:
    """Readings of a suspect's quantity on units with and without the condition.

    A share `Setting.error` of them tells the wrong thing: taken in the wrong state, or on a unit
    put right since.
    """
    one = setting.scenario.suspects[suspect].reading
    wrong = draws.child("wrong").chance(len(there), setting.error)
    seen = there ^ wrong
    spread = 0.09 * abs(one.bad - one.good)
    noise = np.clip(draws.child("noise").normal(len(there)), -2.5, 2.5)
    return np.round(np.where(seen, one.bad, one.good) + spread * noise, one.digits)


def outside(setting: Setting, suspect: str, readings: Array) -> Flags:
    """Which readings lie outside the limit."""
    one = setting.scenario.suspects[suspect].reading
    return readings > one.limit if one.at_most else readings < one.limit
