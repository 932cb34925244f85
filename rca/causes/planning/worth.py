"""What each part costs and what would pay: cost per running, age replacement, part or cause."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.causes.counts.spells import spells_after_work
from rca.causes.counts.totals import known_costs
from rca.causes.fix.part_and_cause import RepairComparison, compare_repairs
from rca.causes.fix.verdict import Verdict
from rca.causes.planning.money import (
    AgeReplacement,
    CostRate,
    PartOrCause,
    age_replacement,
    cost_rate,
    part_or_cause,
)
from rca.causes.planning.restore import RESTORED, RestoredLives, compare_restored
from rca.errors import NoAnswer, RcaError
from rca.life.sample import Interval
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable
from rca.records.meters import day_number

Answer = TypeVar("Answer")
HORIZON_DAYS = 730.0
RESAMPLES = 1000


@dataclass(frozen=True, slots=True)
class PartWorth:
    """Money questions of one part; each answer is None where its `why_not` says why.

    Attributes
    ----------
    cost_rate
        Cost of all its repairs per `unit_of_running` of the units that carry it.
    replacement
        Age at which replacing before failure costs least; only where wear is shown.
    repairs
        Lives after repairs that also removed the cause against lives after part-only repairs.
    restored
        How long restored parts last against new ones.
    cause
        An ordinary unit over `horizon` with the part alone renewed, or with the cause removed as
        `cause_from` has shown; `worth_at_most` is what removing the cause may cost a unit.
    cause_from
        The fix whose ratio was taken, or the repairs that also removed the cause.
    """

    part: str
    unit_of_running: str
    cost_rate: CostRate | None
    replacement: AgeReplacement | None
    repairs: RepairComparison | None
    restored: RestoredLives | None
    cause: PartOrCause | None
    cause_from: str
    why_not: Mapping[str, str]

    @property
    def early_replacement_pays(self) -> bool:
        """Running to failure costs clearly more (over 5 %) than replacing at the best age."""
        return self.replacement is not None and bool(np.isfinite(self.replacement.flat_to))

    def __str__(self) -> str:
        answers = (self.cost_rate, self.replacement, self.repairs, self.restored, self.cause)
        said = [str(one) for one in answers if one is not None]
        return f"{self.part}: " + "; ".join(said or ["no answer"])


def worth_of_parts(
    fleet: Fleet,
    lives: LifeTable,
    parts: Sequence[PartFinding],
    fixes: Sequence[Verdict],
    *,
    seed: int,
) -> dict[str, PartWorth]:
    """Answer the money questions of every part that failed."""
    running = {scale: _running(fleet, lives, scale) for scale in ("meter", "days")}
    costs = known_costs(fleet)
    return {
        one.part: _worth(fleet, lives, one, fixes, running[one.scale], costs, seed)
        for one in parts
        if one.mode is None
    }


def _running(fleet: Fleet, lives: LifeTable, scale: str) -> pd.Series:
    """What each unit ran while watched, on the meter or in days; unknown meters are left out."""
    begin = day_number(fleet.watch["watched_from"].to_numpy())
    end = day_number(fleet.watch["watched_to"].to_numpy())
    names = pd.Index(fleet.watch["unit"].astype(str))
    if scale == "days":
        return pd.Series((end - begin + 1).astype(float), index=names)
    code = np.arange(len(names))
    ran = lives.meters.at(code, end)[0] - lives.meters.at(code, begin)[0]
    return pd.Series(ran, index=names).dropna()


def _worth(
    fleet: Fleet,
    lives: LifeTable,
    one: PartFinding,
    fixes: Sequence[Verdict],
    running: pd.Series,
    costs: pd.Series,
    seed: int,
) -> PartWorth:
    failure_cost = _stated(fleet, one.part, "failure_cost")
    why: dict[str, str] = {}
    repairs = _or_why(why, "repairs", _repairs, lives, one)
    shown = _or_why(why, "cause", _ratio_shown, one, fixes, repairs)
    return PartWorth(
        part=one.part,
        unit_of_running=one.unit_of_age,
        cost_rate=_or_why(why, "cost_rate", _cost_rate, fleet, one, running, costs, seed),
        replacement=_or_why(why, "replacement", _replacement, fleet, one, failure_cost),
        repairs=repairs,
        restored=_or_why(why, "restored", _restored, fleet, lives, one, seed),
        cause=None
        if shown is None
        else _or_why(why, "cause", _cause, one, shown, running, fleet, failure_cost),
        cause_from="" if shown is None else shown[0],
        why_not=why,
    )


def _or_why(
    why: dict[str, str], name: str, ask: Callable[..., Answer], *given: Any
) -> Answer | None:
    """Ask, or keep the reason why there is no answer."""
    try:
        return ask(*given)
    except RcaError as trouble:
        why[name] = trouble.message
        return None


def _stated(fleet: Fleet, part: str, column: str) -> float | None:
    """Return a cost from the parts table, None where it is not stated."""
    if fleet.parts is None or column not in fleet.parts.columns:
        return None
    values = fleet.parts.loc[fleet.parts["part"].astype(str) == part, column].dropna()
    return float(values.iloc[0]) if len(values) else None


def _cost_rate(
    fleet: Fleet, one: PartFinding, running: pd.Series, costs: pd.Series, seed: int
) -> CostRate:
    if why := fleet.is_blocked("money"):
        raise NoAnswer(why)
    carrying = running
    if fleet.places is not None:
        here = fleet.places["part"] == one.part
        carrying = running[running.index.isin(fleet.places.loc[here, "unit"])]
    rows = fleet.repairs["part"].eq(one.part)
    units = fleet.repairs.loc[rows, "unit"].astype(str)
    units = units[units.isin(carrying.index)]
    return cost_rate(units, costs[units.index], run=carrying, draws=RESAMPLES, seed=seed)


def _replacement(fleet: Fleet, one: PartFinding, failure_cost: float | None) -> AgeReplacement:
    if one.fit is None:
        raise NoAnswer(one.no_fit)
    possible = np.exp(
        np.random.default_rng(0).multivariate_normal(
            np.log([one.fit.shape, one.fit.scale]), one.fit.covariance, 500
        )
    )
    return age_replacement(
        one.fit.shape,
        one.fit.scale,
        shape_lower=one.fit.interval("shape").lower,
        planned_cost=_stated(fleet, one.part, "planned_cost"),
        failure_cost=failure_cost,
        possible=possible,
    )


def _repairs(lives: LifeTable, one: PartFinding) -> RepairComparison:
    rows = lives.of(one.part)
    if not rows["cause_addressed"].eq("yes").any() or not rows["cause_addressed"].eq("no").any():
        raise NoAnswer(
            "no repairs of both kinds are recorded in the column cause_addressed, yes and no"
        )
    return compare_repairs(rows, scale=one.scale)


def _restored(fleet: Fleet, lives: LifeTable, one: PartFinding, seed: int) -> RestoredLives:
    rows = lives.of(one.part)
    done = fleet.repairs.loc[rows.loc[rows["row"] >= 0, "row"], "action"]
    if not (done.isin(RESTORED).any() or rows["begun_by"].isin(RESTORED).any()):
        raise NoAnswer(f"none was restored ({', '.join(RESTORED)})")
    spells = spells_after_work(rows, fleet.repairs, scale=one.scale)
    return compare_restored(spells, unit=one.unit_of_age, seed=seed)


def _ratio_shown(
    one: PartFinding, fixes: Sequence[Verdict], repairs: RepairComparison | None
) -> tuple[str, float, Interval]:
    """Failure rate left where the cause is removed, its limits, and what showed it.

    The fix of this part of which most is known; without a fix the repairs that also removed the
    cause, within units. A ratio without an upper limit is not known well enough.
    """
    mine = [fix for fix in fixes if fix.plan.part == one.part and fix.ratio_interval is not None]
    found: list[tuple[str, float | None, Interval | None]] = [
        (fix.plan.fix, fix.ratio, fix.ratio_interval)
        for fix in sorted(mine, key=lambda verdict: -(verdict.expected or 0.0))
    ]
    if repairs is not None:
        within = repairs.within_units
        found.append(("repairs that also removed the cause", within.ratio, within.interval))
    if not found:
        raise NoAnswer("no fix of this part and no repair with its cause has shown a ratio")
    name, ratio, interval = found[0]
    if ratio is None or interval is None or not np.isfinite(interval.upper):
        raise NoAnswer("the failure rate that is left with the cause removed is not known well")
    return name, ratio, interval


def _cause(
    one: PartFinding,
    shown: tuple[str, float, Interval],
    running: pd.Series,
    fleet: Fleet,
    failure_cost: float | None,
) -> PartOrCause:
    """What removing the cause is worth an ordinary unit, by the ratio that was shown."""
    if failure_cost is None:
        raise NoAnswer("the parts table states no failure_cost")
    if one.fit is None:
        raise NoAnswer(one.no_fit)
    days = _running_days(fleet, running)
    return part_or_cause(
        one.fit.shape,
        one.fit.scale,
        ratio=shown[1],
        ratio_interval=shown[2],
        failure_cost=failure_cost,
        cause_cost=0.0,
        horizon=HORIZON_DAYS * float(running.sum()) / days,
    )


def _running_days(fleet: Fleet, running: pd.Series) -> float:
    watch = fleet.watch[fleet.watch["unit"].astype(str).isin(running.index)]
    begin, end = (day_number(watch[name].to_numpy()) for name in ("watched_from", "watched_to"))
    return float((end - begin + 1).sum())
