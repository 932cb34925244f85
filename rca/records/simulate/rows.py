"""From simulated lives to the rows that a workshop would write down."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.columns import REASONS
from rca.records.simulate.draws import Array, Draws, Flags, Whole
from rca.records.simulate.planted import CausePlan, PartPlan, RowPlan, SignPlan
from rca.records.simulate.renewals import FAILURE, PartLives
from rca.records.simulate.world import World, dates_of

Names = NDArray[np.object_]

COLUMNS = (
    "unit", "date", "part", "position", "meter", "action", "reason", "mode", "cause_addressed",
    "complaint", "cause", "correction", "cost", "downtime_hours", "system", "lot", "fitted_date",
    "fitted_meter", "order", "fault_code",
)  # fmt: skip
"""Columns of the repairs table, in the order in which they are written."""

_DAY = "day"
"""Working column: the exact day, cut off to `date` when the table is finished."""


def repair_table(
    world: World, lives: dict[str, PartLives], draws: Draws, *, watched: bool = True
) -> pd.DataFrame:
    """Write all rows of a fleet, in order of date, unit and part; orders are numbered.

    With `watched` only what happened since records begin is written.
    """
    frames: list[pd.DataFrame] = []
    for part in world.plan.parts:
        frames += _part_frames(part, lives[part.name], world, draws.child(part.name))
    for cause in world.plan.causes:
        frames += _sign_frames(cause, world, lives, draws.child("sign", cause.name))
    frames += _fix_frames(world, lives, draws.child("fix"))
    table = pd.concat([one for one in frames if len(one)] or frames[:1], ignore_index=True)
    place = table["place"].to_numpy(dtype=np.int64)
    day = table[_DAY].to_numpy(dtype=float)
    begin = world.watched_from if watched else world.begin
    return _finish(table[(begin[place] <= day) & (day < world.end[place])])


def _finish(table: pd.DataFrame) -> pd.DataFrame:
    """Put the rows in order and give each unit's rows of one day one order number."""
    table = table.assign(date=dates_of(table[_DAY].to_numpy(dtype=float)))
    table = table.sort_values(["date", "place", "part", "position", _DAY], kind="stable")
    new = table[["date", "place"]].ne(table[["date", "place"]].shift()).any(axis=1)
    numbers = np.cumsum(new.to_numpy())
    names = np.array([f"W{100_000 + number}" for number in range(len(table) + 1)], dtype=object)
    return table.assign(order=names[numbers])[list(COLUMNS)].reset_index(drop=True)


def _frame(
    world: World, part: PartPlan, unit: Whole, day: Array, columns: dict[str, Any]
) -> pd.DataFrame:
    """Fill one row for each unit and day; what `columns` does not say is blank or unknown."""
    plain: dict[str, Any] = {
        "place": unit,
        "unit": world.units["unit"].to_numpy(dtype=object)[unit],
        _DAY: day,
        "part": part.name,
        "position": "",
        "meter": np.maximum(np.floor(world.running.meter(unit, day)), 0.0),
        "mode": "",
        "cause_addressed": "",
        "complaint": "",
        "cause": "",
        "correction": "",
        "cost": np.nan,
        "downtime_hours": np.nan,
        "system": part.system,
        "lot": "",
        "fitted_date": np.full(len(unit), np.datetime64("NaT"), dtype="datetime64[ns]"),
        "fitted_meter": np.nan,
        "fault_code": "",
    }
    return pd.DataFrame({**plain, **columns}, index=np.arange(len(unit)))


def _part_frames(
    part: PartPlan, lives: PartLives, world: World, draws: Draws
) -> Iterator[pd.DataFrame]:
    yield _life_rows(part, lives, world, draws.child("lives"))
    if part.tested_good:
        yield _tested_rows(part, lives, world, draws.child("tests"))
    if part.inspected_at_visits and world.plan.visit_every_days:
        yield _visit_rows(part, lives, world, draws.child("visits"))


def _life_rows(part: PartPlan, lives: PartLives, world: World, draws: Draws) -> pd.DataFrame:
    """One row for each piece of a life that was ended by work on the part."""
    ended = np.flatnonzero(lives.reason >= 0)
    failed = lives.reason[ended] == FAILURE
    renewed, mode = lives.renewed[ended], lives.mode[ended]
    mends = np.array(part.mends, dtype=object)[draws.choose(len(ended), [1.0] * len(part.mends))]
    action = np.where(renewed, "replaced", mends)
    stated = draws.chance(len(ended), part.mode_stated)
    names = np.array([one.name for one in part.all_modes] + [""], dtype=object)
    known = draws.chance(len(ended), part.fitted_known) & renewed
    unit, fitted_day = lives.unit[ended], lives.fitted_day[ended]
    fitted_meter = np.maximum(np.floor(world.running.meter(unit, fitted_day)), 0.0)
    columns = {
        "position": np.array(part.positions, dtype=object)[lives.position[ended]],
        "action": action,
        "reason": np.array(REASONS, dtype=object)[lives.reason[ended]],
        "mode": np.where(stated, names[mode], ""),
        "cause_addressed": _addressed(part, lives, ended, draws),
        **_texts(part, mode, action, lives.reason[ended], draws),
        **_burden(part, failed, renewed, draws),
        "lot": _lot_names(part, lives.next_lot[ended], draws),
        "fitted_date": np.where(known, dates_of(fitted_day), np.datetime64("NaT")),
        "fitted_meter": np.where(known, fitted_meter, np.nan),
    }
    return _frame(world, part, unit, lives.end_day[ended], columns)


def _addressed(part: PartPlan, lives: PartLives, ended: Whole, draws: Draws) -> Names:
    failed = lives.reason[ended] == FAILURE
    said_no = failed & draws.chance(len(ended), part.cause_stated)
    return np.where(lives.found[ended], "yes", np.where(said_no, "no", ""))


def _texts(
    part: PartPlan, mode: Whole, action: Names, reason: Whole, draws: Draws
) -> dict[str, Names]:
    """Complaint, cause and correction of failures, from the phrases of their modes."""
    count = len(mode)
    plain = np.array([f"{part.name} {word}" for word in action], dtype=object)
    texts: dict[str, Names] = {}
    for column in ("complaint", "cause", "correction"):
        words = np.full(count, "", dtype=object)
        for number, plan in enumerate(part.all_modes):
            mine = np.flatnonzero(mode == number)
            phrases = getattr(plan, f"{column}s") or _DEFAULT_WORDS[column](plan.name)
            words[mine] = _pick(phrases, len(mine), draws)
        texts[column] = words
    no_fault = reason == REASONS.index("no fault found")
    texts["complaint"] = np.where(no_fault, _pick(part.modes[0].complaints, count, draws),
                                  texts["complaint"])  # fmt: skip
    texts["cause"] = np.where(no_fault, "tests good on the bench", texts["cause"])
    own = (action == "replaced") & (texts["correction"] != "")
    texts["correction"] = np.where(own, texts["correction"], plain)
    return texts


_DEFAULT_WORDS = {
    "complaint": lambda mode: (f"{mode} reported",),
    "cause": lambda mode: (mode,),
    "correction": lambda _: ("",),
}


def _pick(phrases: Sequence[str], count: int, draws: Draws) -> Names:
    words = np.array(list(phrases) or [""], dtype=object)
    return words[draws.choose(count, [1.0] * len(words))]


def _burden(part: PartPlan, failed: Flags, renewed: Flags, draws: Draws) -> dict[str, Any]:
    """Cost and hours of downtime: a mend costs a third, work that was planned has its own cost."""
    count = len(failed)
    cost = np.where(failed, np.where(renewed, 1.0, 0.35) * part.failure_cost, part.planned_cost)
    hours = part.downtime_hours * np.where(failed, np.where(renewed, 1.0, 0.5), 0.4)
    hours = hours * draws.gamma(count, 0.3)
    return {
        "cost": np.round(cost * draws.lognormal(count, 0.2), 2),
        "downtime_hours": np.maximum(np.round(hours * 2) / 2, 0.5),
    }


def _lot_names(part: PartPlan, lot: Whole, draws: Draws) -> Names:
    if part.lots is None:
        return np.full(len(lot), "", dtype=object)
    names = ["", *(lot_name(part, number) for number in range(1, part.lots.count + 1))]
    written = draws.chance(len(lot), part.lots.recorded)
    return np.where(written, np.array(names, dtype=object)[lot], "")


def lot_name(part: PartPlan, number: int) -> str:
    """Name of the lot with this number, as it stands in the records."""
    return f"{part.lots.prefix}{number:02d}" if part.lots and number else ""


def _tested_rows(part: PartPlan, lives: PartLives, world: World, draws: Draws) -> pd.DataFrame:
    """Tests of good parts that find no fault: the part stays where it is."""
    first = np.flatnonzero((lives.fitting == 0) & (lives.piece == 0))
    unit = lives.unit[first]
    slot, day = draws.events(part.tested_good / 365.25, world.begin[unit], world.end[unit])
    columns = {
        "position": np.array(part.positions, dtype=object)[lives.position[first][slot]],
        "action": "inspected",
        "reason": "no fault found",
        "complaint": _pick(part.modes[0].complaints, len(slot), draws),
        "cause": "no fault found on test",
        "correction": f"{part.name} tested, left in place",
        "cost": np.round(0.15 * part.planned_cost * draws.lognormal(len(slot), 0.2), 2),
        "downtime_hours": 1.0,
    }
    return _frame(world, part, unit[slot], day, columns)


def _visit_rows(part: PartPlan, lives: PartLives, world: World, draws: Draws) -> pd.DataFrame:
    """Looks at the part, at one of its positions, at the unit's regular visits."""
    units, every = np.unique(lives.unit), world.plan.visit_every_days
    visits = np.arange(-1, (world.end.max() - world.visit.min()) / every + 1)
    days = world.visit[units][:, None] + every * visits
    place = np.repeat(units, days.shape[1])
    looked = draws.chance(place.size, part.inspected_at_visits)
    columns = {
        "position": _pick(part.positions, int(looked.sum()), draws),
        "action": "inspected",
        "reason": "inspection",
        "correction": f"{part.name} inspected",
        "cost": np.round(0.1 * part.planned_cost * draws.lognormal(int(looked.sum()), 0.2), 2),
        "downtime_hours": 0.5,
    }
    return _frame(world, part, place[looked], days.ravel()[looked], columns)


def _sign_frames(
    cause: CausePlan, world: World, lives: dict[str, PartLives], draws: Draws
) -> Iterator[pd.DataFrame]:
    """Rows that tell of a hidden cause, and the same rows on units without it."""
    last = _removed_by_fix(cause, world, lives)
    for number, sign in enumerate(cause.signs):
        stream = draws.child(str(number))
        found = [
            _around_failures(cause, sign, part, world, lives[part.name], stream)
            for part in world.plan.parts
            if part.name in cause.targets
        ]
        spells = world.spells[cause.name]
        unit, spell = np.nonzero(np.isfinite(spells.begins))
        first = stream.chance(len(unit), sign.at_begin)
        found.append((unit[first], spells.begins[unit[first], spell[first]] + 0.3))
        units, days = (np.concatenate(one) for one in zip(*found, strict=True))
        kept = days < last[units]
        everywhere = stream.events(sign.per_year / 365.25, world.begin, world.end)
        unit = np.concatenate((units[kept], everywhere[0]))
        yield _planned_rows(
            sign.row, world, unit, np.concatenate((days[kept], everywhere[1])), stream
        )


def _removed_by_fix(cause: CausePlan, world: World, lives: dict[str, PartLives]) -> Array:
    """First day on each unit without the cause, because a fix removed it (infinite = never)."""
    last = np.full(len(world.begin), np.inf)
    for fix in world.plan.fixes:
        if fix.cause == cause.name:
            last = np.minimum(last, lives[fix.part].fix_days[fix.name])
    return last


def _around_failures(
    cause: CausePlan, sign: SignPlan, part: PartPlan, world: World, lives: PartLives, draws: Draws
) -> tuple[Whole, Array]:
    """Units and days of signs around failures that the cause acted on, within the failed life."""
    column = [one.name for one in world.plan.causes].index(cause.name)
    names = np.array([*(mode.name for mode in part.all_modes), ""], dtype=object)
    aimed = (names[lives.mode] == cause.mode) | (cause.mode == "")
    failed = np.flatnonzero((lives.reason == FAILURE) & aimed & lives.under[:, column])
    failed = failed[draws.chance(len(failed), sign.share)]
    lag = draws.uniform(len(failed), *sign.lag)
    age = lives.end_day[failed] - lives.fitted_day[failed]
    lag = np.minimum(lag, 0.9 * age)
    return lives.unit[failed], lives.end_day[failed] - lag


def _planned_rows(
    row: RowPlan, world: World, unit: Whole, day: Array, draws: Draws
) -> pd.DataFrame:
    """Rows as a `RowPlan` words them, on the units and days given."""
    known = {part.name: part for part in world.plan.parts}
    part = known.get(row.part) or PartPlan(row.part, modes=())
    cost = np.round(row.cost * draws.lognormal(len(unit), 0.2), 2) if row.cost else np.nan
    columns: dict[str, Any] = {
        "action": row.action,
        "reason": row.reason,
        "mode": row.mode,
        "fault_code": row.fault_code,
        "complaint": row.complaint,
        "cause": row.cause,
        "correction": row.correction,
        "cause_addressed": row.cause_addressed,
        "cost": cost,
        "downtime_hours": row.downtime_hours or np.nan,
    }
    return _frame(world, part, unit, day, columns)


def _fix_frames(world: World, lives: dict[str, PartLives], draws: Draws) -> Iterator[pd.DataFrame]:
    """The work done on each treated unit, where a fix leaves a row."""
    for fix in world.plan.fixes:
        if fix.leaves:
            days = lives[fix.part].fix_days[fix.name]
            unit = np.flatnonzero(np.isfinite(days))
            yield _planned_rows(fix.leaves, world, unit, days[unit] + 0.4, draws.child(fix.name))
