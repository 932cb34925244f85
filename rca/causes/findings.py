"""All results of a fleet and month: what page, workbook, command line and summary.json show.

One function, `find`, computes everything once; nobody else computes anything.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from rca.causes.backlog import Backlog, open_causes
from rca.causes.case.assessment import Assessment
from rca.causes.counts.merit import Merit, figures_of_merit
from rca.causes.counts.parts import FEW_FAILURES, PartFinding, modes_of, study_part
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.counts.safety_repeats import SafetyRepeat, safety_repeats
from rca.causes.counts.totals import Total, order_of_importance, totals_by_part
from rca.causes.counts.units import UnitFinding, units_with_more_than_their_share
from rca.causes.extent import Extent, extents_of
from rca.causes.fix.outlook import Outlook
from rca.causes.fix.verdict import Verdict
from rca.causes.fixes import fix_gaps, judge_fixes
from rca.causes.hypotheses import read_patterns, screen
from rca.causes.outlooks import PlannedFix, open_outlooks, planned_fixes
from rca.causes.pattern.reading import Pattern
from rca.causes.planning.forecast import Forecast
from rca.causes.planning.needs import back_test_needs, forecast_needs
from rca.causes.planning.worth import PartWorth, worth_of_parts
from rca.causes.screen.upstream import Screen
from rca.causes.standing_causes import CauseFinding, assess_cases, standing_causes
from rca.records.fleet import Fleet
from rca.records.groups import Group
from rca.records.lives import FIRST_LIVES, LifeTable, build_lives_each_way, life_notes
from rca.records.months import read_month

NO_TOTALS: dict[str, Total | None] = {"failures": None, "cost": None, "downtime": None}


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """Everything the kit says of one fleet at the end of one month.

    `parts` come in order of importance, each followed by its modes with enough failures;
    `events` are the failures with their repeat windows; `set_aside` lists every row or cell not
    used, with its reason; `blocked` the results that were not given, with theirs. `outlooks` tells,
    for each fix without a verdict, what one will still take. `group` says
    whose units these are where they are not the whole fleet: then no investigation is assessed.
    """

    fleet: Fleet
    month: str
    lives: LifeTable
    parts: tuple[PartFinding, ...]
    patterns: Mapping[str, Pattern]
    screen: Screen | None
    extents: tuple[Extent, ...]
    forecasts: Mapping[str, Forecast]
    back_tests: Mapping[str, pd.DataFrame]
    merits: tuple[Merit, ...]
    backlog: Backlog
    safety_repeats: tuple[SafetyRepeat, ...]
    worth: Mapping[str, PartWorth]
    units: tuple[UnitFinding, ...]
    fixes: tuple[Verdict, ...]
    outlooks: Mapping[str, Outlook]
    planned: tuple[PlannedFix, ...]
    causes: tuple[CauseFinding, ...]
    cases: tuple[Assessment, ...]
    totals: Mapping[str, dict[str, Total | None]]
    events: pd.DataFrame
    set_aside: pd.DataFrame
    blocked: tuple[tuple[str, str], ...]
    seed: int
    group: Group | None = None

    def part(self, name: str, mode: str | None = None) -> PartFinding:
        """Return the finding on a part, or on one of its modes."""
        return next(one for one in self.parts if one.part == name and one.mode == mode)

    @property
    def whole_parts(self) -> tuple[PartFinding, ...]:
        """The parts without their modes, in order of importance."""
        return tuple(one for one in self.parts if one.mode is None)

    def __str__(self) -> str:
        failures = sum(one.failures_recorded for one in self.whole_parts)
        return (
            f"{self.fleet.name}, {self.month}: {len(self.whole_parts)} parts with {failures} "
            f"failures, {len(self.fixes)} fixes, {len(self.blocked)} results blocked"
        )


def find(fleet: Fleet, *, month: str, seed: int = 0, group: Group | None = None) -> Findings:
    """Compute all findings from the records of `fleet`, which must end with `month`.

    Parameters
    ----------
    seed
        Of every resampling and simulation; the same records and seed give the same numbers.
    group
        Whose units `fleet` holds, where it was read for one group only. Investigations speak of
        the whole fleet and are then left to its own report.
    """
    events = failures_of(fleet)
    totals = totals_by_part(fleet, seed=seed)
    lives, others = _all_lives(fleet)
    events = repeat_events(fleet, lives.meters, events)
    names = order_of_importance(fleet, totals)
    of_part = events.groupby("part", sort=False).indices
    parts: list[PartFinding] = []
    for name in names:
        own = events.take(of_part.get(name, []))
        parts += _study(fleet, lives, name, own, totals[name], others, seed)
    cases = assess_cases(fleet, lives) if group is None else ()
    fixes = judge_fixes(fleet, lives)
    patterns = read_patterns(fleet, lives, parts, seed=seed)
    screened = screen(fleet, lives, parts, seed=seed)
    units = units_with_more_than_their_share(fleet, lives, parts)
    aside = pd.concat([fleet.set_aside, life_notes(fleet, lives)], ignore_index=True)
    return Findings(
        fleet=fleet,
        month=month,
        lives=lives,
        parts=tuple(parts),
        patterns=patterns,
        screen=screened,
        extents=extents_of(fleet, lives, screened, patterns, units, fixes),
        forecasts=forecast_needs(fleet, lives, others[FIRST_LIVES[1]], parts, seed=seed),
        back_tests=back_test_needs(fleet, lives, others[FIRST_LIVES[1]], parts, seed=seed),
        merits=figures_of_merit(fleet, lives, events, month=month, seed=seed),
        backlog=open_causes(cases, fixes, on=fleet.cutoff),
        safety_repeats=safety_repeats(fleet, events),
        units=units,
        worth=worth_of_parts(fleet, lives, parts, fixes, seed=seed),
        fixes=fixes,
        outlooks=open_outlooks(fixes, seed=seed),
        planned=planned_fixes(fleet, lives, seed=seed),
        causes=standing_causes(cases),
        cases=cases,
        totals=totals,
        events=events,
        set_aside=aside,
        blocked=tuple(_blocked(fleet, parts)),
        seed=seed,
        group=group,
    )


def _all_lives(fleet: Fleet) -> tuple[LifeTable, dict[str, LifeTable]]:
    """Lives by the strict rule, and beside them by the two others for first lives."""
    proved, *rest = build_lives_each_way(fleet).values()
    return proved, {table.first_lives: table for table in rest}


def _study(
    fleet: Fleet,
    lives: LifeTable,
    name: str,
    events: pd.DataFrame,
    totals: dict[str, Total | None],
    others: dict[str, LifeTable],
    seed: int,
) -> list[PartFinding]:
    """Study a part, and each of its stated modes that has enough failures."""
    whole = study_part(
        fleet, lives, name, events=events, totals=totals, others=others, seed=seed
    )  # fmt: skip
    modes = [mode for mode, count in modes_of(events, name) if mode and count >= FEW_FAILURES]
    if len(modes) < 2:
        return [whole]
    return [
        whole,
        *(
            study_part(
                fleet, lives, name, events=events, totals=NO_TOTALS, mode=mode,
                scale=whole.scale, seed=seed,
            )
            for mode in modes
        ),
    ]  # fmt: skip


def _blocked(fleet: Fleet, parts: Sequence[PartFinding]) -> list[tuple[str, str]]:
    """Results that are not given, each with its reason."""
    blocked = list(fleet.blocked)
    for one in parts:
        if one.fit is None and one.mode is None:
            blocked.append((f"life of {one.part}", one.no_fit))
    blocked += [(f"fix {name}", why) for name, why in fix_gaps(fleet)]
    return blocked


def open_findings(
    folder: Path | str, *, month: str | None = None, seed: int = 0, group: Group | None = None
) -> Findings:
    """Read a fleet folder and compute its findings for a month (default: the last complete one).

    Raises
    ------
    Refused
        The folder cannot be used, or its records do not reach the month.
    """
    fleet, month = read_month(folder, month=month, group=group)
    return find(fleet, month=month, seed=seed, group=group)
