"""What a verdict on each open fix will still take, and on fixes that are planned only."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from rca.causes.counts.parts import choose_scale
from rca.causes.fix.outlook import Outlook, outlook_from_now, plan_outlook
from rca.causes.fix.pieces import Pieces
from rca.causes.fix.verdict import FixPlan, Verdict
from rca.causes.fix_plans import fixes_on_file
from rca.causes.fixes import NO_UNITS, as_spelled, plan_of
from rca.errors import NoAnswer, NoFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable


@dataclass(frozen=True, slots=True, eq=False)
class PlannedFix:
    """A fix that fleet.yaml or an investigation names and that no unit has got yet.

    `outlook` tells of a fix on all units with a part of known age in service, begun on the day
    on which the records end; None where `why_not` says why.
    """

    plan: FixPlan
    outlook: Outlook | None
    why_not: str = ""

    def __str__(self) -> str:
        return str(self.outlook) if self.outlook is not None else f"{self.plan.fix}: {self.why_not}"


def open_outlooks(fixes: Sequence[Verdict], *, seed: int) -> dict[str, Outlook]:
    """Chance of a verdict from now on, for each fix on which none is out."""
    found = {}
    for verdict in fixes:
        try:
            found[verdict.plan.fix] = outlook_from_now(verdict, seed=seed)
        except NoAnswer:
            continue  # the verdict is out, or its reasons say why none can be given
    return found


def planned_fixes(fleet: Fleet, lives: LifeTable, *, seed: int) -> tuple[PlannedFix, ...]:
    """Every fix on file that has been applied to no unit, set down by the last day."""
    applied = set() if fleet.fixes is None else set(fleet.fixes["fix"].astype(str).str.casefold())
    last = fleet.cutoff
    found = []
    for name, one in fixes_on_file(fleet).items():
        said = one.said
        if name in applied or (said.registered is not None and said.registered > last):
            continue
        if one.done is not None and one.done <= last:
            continue  # done, by its investigation: rows of the fixes table are missing
        plan = plan_of(said, part=as_spelled(lives, said.part))
        found.append(_planned(fleet, lives, plan, seed))
    return tuple(found)


def _planned(fleet: Fleet, lives: LifeTable, plan: FixPlan, seed: int) -> PlannedFix:
    why = NO_UNITS if fleet.units is None else fleet.is_blocked("lives")
    rows = lives.of(plan.part)
    if why or rows.empty:
        return PlannedFix(plan, None, why or f"no life of {plan.part} has a known age")
    pieces = Pieces.from_rows(rows, scale=choose_scale(fleet, rows), mode=plan.mode)
    start, units = pd.Timestamp(fleet.cutoff), _in_service(pieces)
    try:
        return PlannedFix(plan, plan_outlook(pieces, units, plan, start=start, seed=seed))
    except (NoAnswer, NoFit) as trouble:
        return PlannedFix(plan, None, trouble.message)


def _in_service(pieces: Pieces) -> list[str]:
    """Units with a part of known age in service when last seen."""
    running: list[str] = pieces.units[pieces.count_by_unit(pieces.running) > 0].tolist()
    return running
