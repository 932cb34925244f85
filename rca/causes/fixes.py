"""The fixes of a fleet, each judged from its own records: plan, units, readings, verdict."""

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import date

import pandas as pd

from rca.causes.counts.parts import choose_scale
from rca.causes.fix.pieces import Pieces
from rca.causes.fix.verdict import FixPlan, Verdict, judge
from rca.causes.fix_plans import FixOnFile, fixes_on_file
from rca.causes.fix_readings import readings_after_fix
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.settings import FixSettings

NO_UNITS = "no units table: which units ran without failure is unknown"


def judge_fixes(fleet: Fleet, lives: LifeTable) -> tuple[Verdict, ...]:
    """Judge every fix that was applied to a unit, in order of name.

    Its plan is what fixes table, fleet.yaml and investigations say together (`fixes_on_file`).
    """
    applied = _names(fleet)
    plans = {key: one for key, one in fixes_on_file(fleet).items() if key in applied}
    return tuple(_judge_one(fleet, lives, plan, plans.values()) for plan in plans.values())


def _names(fleet: Fleet) -> dict[str, str]:
    """Return the fixes of the fixes table by their name in small letters."""
    if fleet.fixes is None:
        return {}
    return {name.casefold(): name for name in sorted(set(fleet.fixes["fix"].astype(str)))}


def fix_gaps(fleet: Fleet) -> Iterator[tuple[str, str]]:
    """Give each fix on which there can be no answer for want of a row or a word, and why."""
    plans, applied = fixes_on_file(fleet), _names(fleet)
    for key, name in applied.items():
        if key not in plans:
            yield name, "no investigation, nor fleet.yaml, nor the fixes table names its part"
    for key, one in plans.items():
        if key not in applied and one.done is not None and one.done <= fleet.cutoff:
            yield (
                one.said.fix,
                f"its investigation says done on {one.done}, but the fixes table has no unit of it",
            )


def applied_to(fleet: Fleet, fix: str) -> pd.DataFrame:
    """Return the rows of the fixes table for one fix: unit, date, any reading."""
    assert fleet.fixes is not None
    rows = fleet.fixes[fleet.fixes["fix"].astype(str).str.casefold() == fix.casefold()]
    return rows.assign(unit=rows["unit"].astype(str)).reset_index(drop=True)


def first_fix_dates(fleet: Fleet) -> dict[str, date]:
    """Return the day of the first fix of each part that has one; names in small letters."""
    if fleet.fixes is None:
        return {}
    first: dict[str, date] = {}
    for one in fixes_on_file(fleet).values():
        rows = applied_to(fleet, one.said.fix)
        if len(rows):
            part, day = one.said.part.casefold(), rows["date"].min().date()
            first[part] = min(day, first.get(part, day))
    return first


def first_fix_date(fleet: Fleet, part: str) -> date | None:
    """Return the day of the first fix that concerns a part; None where there is none."""
    return first_fix_dates(fleet).get(part.casefold())


def _judge_one(
    fleet: Fleet, lives: LifeTable, one: FixOnFile, others: Collection[FixOnFile]
) -> Verdict:
    plan = plan_of(one.said, part=as_spelled(lives, one.said.part))
    rows = lives.of(plan.part)
    applied = applied_to(fleet, plan.fix)
    readings, told = readings_after_fix(applied, one)
    verdict = judge(
        Pieces.from_rows(rows, scale=choose_scale(fleet, rows), mode=plan.mode),
        applied[["unit", "date"]],
        plan,
        looks=month_ends(applied["date"].min().date(), fleet.cutoff),
        readings=readings,
        reasons=_reasons(fleet, one.said, applied, others),
    )
    notes = (*verdict.notes, *one.differs, *_dates_differ(one, applied), *told)
    return replace(verdict, notes=notes)


def _dates_differ(one: FixOnFile, applied: pd.DataFrame) -> Iterator[str]:
    """Say where the investigation calls a fix done on another day than the fixes table."""
    done = one.done
    if done is None:
        return
    after = applied[applied["date"] > pd.Timestamp(done)]
    if len(after):
        yield (
            f"done: the investigation says {done}, but the fixes table has {len(after)} of "
            f"{len(applied)} rows after it, to {after['date'].max():%Y-%m-%d}; its rows count"
        )


def plan_of(said: FixSettings, *, part: str) -> FixPlan:
    """Return the plan of a fix as the verdict takes it; `part` as the lives spell it."""
    return FixPlan(
        fix=said.fix,
        part=part,
        mode=said.mode or None,
        cause=said.cause,
        kind=said.kind,
        chosen_by=said.chosen_by,
        target_ratio=said.target_ratio,
        registered=pd.Timestamp(said.registered) if said.registered else None,
    )


def as_spelled(lives: LifeTable, part: str) -> str:
    """Spell a part as the lives do."""
    names = lives.rows["part"].unique()
    return next((str(name) for name in names if str(name).casefold() == part.casefold()), part)


def month_ends(first: date, last: date) -> list[pd.Timestamp]:
    """Return the ends of the months from `first` on, the last one being `last` itself."""
    ends = pd.date_range(first, last, freq="ME")
    return [*(end for end in ends if end.date() < last), pd.Timestamp(last)]


def _reasons(
    fleet: Fleet, said: FixSettings, applied: pd.DataFrame, others: Collection[FixOnFile]
) -> list[str]:
    """What forbids a judgement whatever the failures say."""
    reasons = [] if fleet.units is not None else [NO_UNITS]
    if why := fleet.is_blocked("lives"):
        reasons.append(why)
    for other in (one.said for one in others):
        if other.fix == said.fix or other.part.casefold() != said.part.casefold():
            continue
        both = applied.merge(applied_to(fleet, other.fix)[["unit", "date"]], on=["unit", "date"])
        if len(both) > 0.2 * len(applied):
            reasons.append(
                f"fix {other.fix!r} was applied to {len(both)} of the same units on the same day: "
                "the two cannot be told apart"
            )
    return reasons
