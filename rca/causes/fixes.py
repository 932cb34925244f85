"""The fixes of a fleet, each judged from its own records: plan, units, readings, verdict."""

from dataclasses import replace
from datetime import date

import pandas as pd

from rca.causes.counts.parts import choose_scale
from rca.causes.fix.pieces import Pieces
from rca.causes.fix.verdict import FixPlan, Verdict, judge
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.settings import FixSettings

NO_UNITS = "no units table: which units ran without failure is unknown"


def judge_fixes(fleet: Fleet, lives: LifeTable) -> tuple[Verdict, ...]:
    """Judge every fix that was applied to a unit, in order of name.

    A fix is known from fleet.yaml or from columns of the fixes table; fleet.yaml wins.
    """
    if fleet.fixes is None:
        return ()
    plans = {name: plan for name in _names(fleet) if (plan := fix_settings(fleet, name))}
    return tuple(_judge_one(fleet, lives, plan) for _, plan in sorted(plans.items()))


def _names(fleet: Fleet) -> list[str]:
    assert fleet.fixes is not None
    return sorted(set(fleet.fixes["fix"].astype(str)))


def fix_settings(fleet: Fleet, name: str) -> FixSettings | None:
    """Return what is said of a fix; None where neither file says which part it is for."""
    stated = {key.casefold(): plan for key, plan in fleet.settings.fixes.items()}
    if name.casefold() in stated:
        return stated[name.casefold()]
    assert fleet.fixes is not None
    rows = fleet.fixes[fleet.fixes["fix"].astype(str) == name]
    said = {
        column: rows[column].dropna().iloc[0]
        for column in ("part", "mode", "cause", "kind", "chosen_by", "target_ratio")
        if column in rows.columns and rows[column].astype(str).ne("").any()
    }
    if "part" not in said:
        return None
    plan = FixSettings(fix=name, part=str(said["part"]))
    return replace(
        plan,
        mode=str(said.get("mode", plan.mode)),
        cause=str(said.get("cause", plan.cause)),
        kind=str(said.get("kind", plan.kind)),
        chosen_by=str(said.get("chosen_by", plan.chosen_by)),
        target_ratio=float(said.get("target_ratio", plan.target_ratio)),
    )


def unexplained_fixes(fleet: Fleet) -> list[str]:
    """Return the fixes in the table of which nothing says for which part they are."""
    return [] if fleet.fixes is None else [n for n in _names(fleet) if not fix_settings(fleet, n)]


def applied_to(fleet: Fleet, fix: str) -> pd.DataFrame:
    """Return the rows of the fixes table for one fix: unit, date, any reading."""
    assert fleet.fixes is not None
    rows = fleet.fixes[fleet.fixes["fix"].astype(str).str.casefold() == fix.casefold()]
    return rows.assign(unit=rows["unit"].astype(str)).reset_index(drop=True)


def first_fix_date(fleet: Fleet, part: str) -> date | None:
    """Return the day of the first fix that concerns a part; None where there is none."""
    if fleet.fixes is None:
        return None
    days = [
        applied_to(fleet, name)["date"].min()
        for name in _names(fleet)
        if (plan := fix_settings(fleet, name)) and plan.part.casefold() == part.casefold()
    ]
    return min(days).date() if days else None


def _judge_one(fleet: Fleet, lives: LifeTable, said: FixSettings) -> Verdict:
    part = _as_spelled(lives, said.part)
    rows = lives.of(part)
    applied = applied_to(fleet, said.fix)
    plan = FixPlan(
        fix=said.fix,
        part=part,
        mode=said.mode or None,
        cause=said.cause,
        kind=said.kind,
        chosen_by=said.chosen_by,
        target_ratio=said.target_ratio,
        registered=pd.Timestamp(said.registered) if said.registered else None,
    )
    pieces = Pieces.from_rows(rows, scale=choose_scale(fleet, rows), mode=plan.mode)
    return judge(
        pieces,
        applied[["unit", "date"]],
        plan,
        looks=month_ends(applied["date"].min().date(), fleet.cutoff),
        readings=_readings(applied, said),
        reasons=_reasons(fleet, said, applied),
    )


def _as_spelled(lives: LifeTable, part: str) -> str:
    """Spell a part as the lives do."""
    names = lives.rows["part"].unique()
    return next((str(name) for name in names if str(name).casefold() == part.casefold()), part)


def month_ends(first: date, last: date) -> list[pd.Timestamp]:
    """Return the ends of the months from `first` on, the last one being `last` itself."""
    ends = pd.date_range(first, last, freq="ME")
    return [*(end for end in ends if end.date() < last), pd.Timestamp(last)]


def _readings(applied: pd.DataFrame, said: FixSettings) -> pd.DataFrame | None:
    """Upstream readings of the fixes table with the limits that fleet.yaml gives for them."""
    if "reading" not in applied.columns or applied["reading"].isna().all():
        return None
    taken = applied.loc[applied["reading"].notna(), ["unit", "date", "reading"]]
    limits = {
        name: float(said.reading[name])
        for name in ("at_least", "at_most", "standard_uncertainty")
        if name in said.reading
    }
    if not {"at_least", "at_most"} & set(limits):
        return None
    return taken.rename(columns={"reading": "value"}).assign(**limits)


def _reasons(fleet: Fleet, said: FixSettings, applied: pd.DataFrame) -> list[str]:
    """What forbids a judgement whatever the failures say."""
    reasons = [] if fleet.units is not None else [NO_UNITS]
    if why := fleet.is_blocked("lives"):
        reasons.append(why)
    for other in _names(fleet):
        plan = fix_settings(fleet, other)
        if plan is None or other.casefold() == said.fix.casefold():
            continue
        if plan.part.casefold() != said.part.casefold():
            continue
        both = applied.merge(applied_to(fleet, other)[["unit", "date"]], on=["unit", "date"])
        if len(both) > 0.2 * len(applied):
            reasons.append(
                f"fix {other!r} was applied to {len(both)} of the same units on the same day: "
                "the two cannot be told apart"
            )
    return reasons
