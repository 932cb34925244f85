"""From the setting of a case to the plan of its fleet: where the guilty cause is planted."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

from rca.records.simulate import (
    AttributePlan,
    CausePlan,
    FixPlan,
    FleetPlan,
    LotPlan,
    ModelPlan,
    ModePlan,
    PartPlan,
    RowPlan,
    SignPlan,
    WorkmanshipPlan,
)
from rca.show.exercise.later_records import month_end_after
from rca.show.exercise.scenario import OtherPart
from rca.show.exercise.setting import HIDDEN, ROUNDS, Setting

LOTS = 5
BAD_LOT = 4
RATIO = 0.12
"""Failure rate after the right repair, of that before."""


def plan_of(setting: Setting) -> FleetPlan:
    """Return the plan of the fleet up to the last month that any round can reach.

    Its fixes, one a round, change nothing (ratio 1); `with_repair` makes one of them work. Lives
    before a fix are the same whatever its ratio, so that all futures share one past.
    """
    place = setting.scenario
    old = "age unknown" in setting.traps
    first = setting.records_begin - timedelta(days=1_500 if old else 0)
    last = setting.records_begin + timedelta(days=400)
    heavy, harsh = place.duty, place.surroundings
    confounded = "confounded" in setting.traps
    return FleetPlan(
        f"{setting.operator} (invented)",
        (_target(setting), *(_other(one, setting) for one in place.others)),
        units=setting.units,
        records_begin=setting.records_begin,
        cutoff=horizon(setting),
        first_in_service=first,
        last_in_service=last,
        meter_unit=place.meter_unit,
        models=tuple(
            ModelPlan(name, 0.5, place.daily_use, place.prefix) for name in place.models
        ),
        depots=dict.fromkeys(setting.depots, 1.0),
        attributes=(
            AttributePlan(
                "duty", {heavy[0]: 0.66, heavy[1]: 0.34},
                by_depot=_by_depot(setting, heavy) if confounded else {},
            ),
            AttributePlan("surroundings", {harsh[0]: 0.66, harsh[1]: 0.34}),
        ),
        causes=tuple(_causes(setting)),
        fixes=tuple(_fix(setting, number) for number in range(1, ROUNDS + 1)),
        use_spread=0.2,
        season=0.15,
        reading_every_days=60.0,
    )  # fmt: skip


def horizon(setting: Setting) -> date:
    """Last day that any round can reach."""
    return month_end_after(setting.cutoff, ROUNDS * (setting.months_after + 1))


def fix_day(setting: Setting, number: int) -> date:
    """Day on which the repair of a round is done: the 15th of the month after its decision."""
    decided = month_end_after(setting.cutoff, (number - 1) * (setting.months_after + 1))
    return decided + timedelta(days=15)


def seen_until(setting: Setting, number: int) -> date:
    """Last day seen after the repair of a round."""
    return month_end_after(setting.cutoff, number * (setting.months_after + 1))


def with_repair(plan: FleetPlan, number: int, *, setting: Setting) -> FleetPlan:
    """Return the plan, of the target part only, in which the repair of one round is the right one.

    0 leaves all without effect.
    """
    fixes = tuple(
        replace(fix, ratio=RATIO, refit=setting.kind == "age") if place == number else fix
        for place, fix in enumerate(plan.fixes, start=1)
    )
    target = setting.scenario.part
    causes = tuple(replace(one, signs=()) for one in plan.causes)
    parts = tuple(one for one in plan.parts if one.name == target)
    return replace(plan, parts=parts, causes=causes, fixes=fixes)


def _by_depot(setting: Setting, levels: tuple[str, str]) -> Mapping[str, Mapping[str, float]]:
    ordinary, heavy = levels
    return {
        depot: {ordinary: 0.25, heavy: 0.75} if depot == setting.depot
        else {ordinary: 0.85, heavy: 0.15}
        for depot in setting.depots
    }  # fmt: skip


def _target(setting: Setting) -> PartPlan:
    place, kind, traps = setting.scenario, setting.kind, setting.traps
    # Where a cause acts on some units, ordinary failures are fewer, so that about as many
    # failures are recorded in every kind.
    rarer = {"age": 1.0, "lot": 1.25, "fitting": 1.3}.get(kind, 2.1)
    shape = 3.4 if kind == "age" else 1.35
    modes = [ModePlan(place.mode, shape, place.scale * rarer, place.complaints, place.causes)]
    share = 2.2 if "mixed modes" in traps else 7.0
    early = 0.65 if "mixed modes" in traps else 1.2
    modes.append(
        ModePlan(place.other_mode, early, place.scale * share, place.complaints, place.causes)
    )
    effects: dict[str, Mapping[str, float]] = {}
    if kind == "duty":
        effects["duty"] = {place.duty[1]: setting.factor}
    if kind == "environment":
        effects["surroundings"] = {place.surroundings[1]: setting.factor}
    return PartPlan(
        place.part,
        tuple(modes),
        system=place.system,
        spread=0.05,
        effects=effects,
        lots=_lots(setting),
        workmanship=_workmanship(setting),
        removals={"no fault found": 0.12} if "good parts returned" in traps else {},
        planned_cost=400, failure_cost=1_100, downtime_hours=10,
        mode_stated=0.97,
        fitted_known=0.2,
    )  # fmt: skip


def _lots(setting: Setting) -> LotPlan:
    days = 1_350 / LOTS
    return LotPlan(
        setting.records_begin + timedelta(days=45), days, 20, prefix="L",
        bad=(BAD_LOT,) if setting.kind == "lot" else (),
        factor=2.6 * setting.factor if setting.kind == "lot" else 1.0,
        carried_over=0.2, recorded=0.93,
    )  # fmt: skip


def _workmanship(setting: Setting) -> WorkmanshipPlan | None:
    if setting.kind != "fitting":
        return None
    return WorkmanshipPlan(f'depot = "{setting.depot}"', factor=2.2 * setting.factor, share=0.85)


def _other(one: OtherPart, setting: Setting) -> PartPlan:
    return PartPlan(
        one.name,
        (ModePlan(one.mode, 1.3, one.scale, one.complaints, one.causes),),
        system=one.system, spread=0.05, mended=0.3, mends=("repaired", "cleaned"),
        planned_cost=120, failure_cost=260, downtime_hours=3, fitted_known=0.1,
    )  # fmt: skip


def _causes(setting: Setting) -> list[CausePlan]:
    place, begin = setting.scenario, setting.records_begin
    found = []
    early = (begin + timedelta(days=120), begin + timedelta(days=520))
    if setting.kind in HIDDEN:
        if setting.partner:
            found.append(
                CausePlan(
                    setting.partner,
                    {place.part: 1.0},
                    early,
                    share=0.55,
                    signs=(SignPlan(_sign(setting, setting.partner), at_begin=0.7),),
                )
            )
        found.append(
            CausePlan(
                setting.kind,
                {place.part: 1.5 * setting.factor},
                early,
                share=0.62 if setting.partner else 0.38,
                mode=place.mode,
                needs=setting.partner,
                signs=(SignPlan(_sign(setting, setting.kind), share=0.55, lag=(5.0, 55.0)),),
            )
        )
    if setting.effect_part:
        suspect = next(one for one in HIDDEN if place.signs[one] == setting.effect_part)
        found.append(
            CausePlan(
                "effect",
                {place.part: 1.0},
                (begin, begin + timedelta(days=1)),
                signs=(SignPlan(_sign(setting, suspect), share=0.4, lag=(-40.0, -3.0)),),
            )
        )
    return found  # fmt: skip


def _sign(setting: Setting, suspect: str) -> RowPlan:
    part = next(
        one for one in setting.scenario.others if one.name == setting.scenario.signs[suspect]
    )
    return RowPlan(
        part.name, "repaired", "failure", mode=part.mode, complaint=part.complaints[0],
        cause=part.causes[0], correction=f"{part.name} repaired", cost=110, downtime_hours=2,
    )  # fmt: skip


def _fix(setting: Setting, number: int) -> FixPlan:
    picked = "picked worst" in setting.traps
    return FixPlan(
        f"repair {number}",
        setting.scenario.part,
        fix_day(setting, number),
        ratio=1.0,
        over_days=10,
        chosen_by="most failures" if picked else "all units",
        share=0.3 if picked else 1.0,
    )
