"""One part studied on a selection of the records: a failure mode, a scale, some units, a period.

The same functions as for the whole fleet, on fewer records. A period that begins later than the
records keeps what was known before: a life that already ran then enters late, at the age that it
had reached (left truncation; for example Klein and Moeschberger 2003, section 3.4).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd

from rca.causes.counts.parts import FEW_FAILURES, SCALES, PartFinding, modes_of, study_part
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.findings import NO_TOTALS, Findings
from rca.causes.fixes import first_fix_date
from rca.causes.hypotheses import lives_before_fix, screen
from rca.causes.pattern.reading import ORDINARY_SPREAD, Pattern, read_pattern
from rca.causes.screen.upstream import Screen
from rca.errors import RcaError
from rca.records.cells import cell_text
from rca.records.columns import TABLES
from rca.records.fleet import Fleet, read_fleet
from rca.records.groups import Group
from rca.records.lives import LifeTable, build_lives
from rca.records.schema import did_you_mean

MOST_LEVELS = 25  # an attribute with more values does not name groups of units


@dataclass(frozen=True, slots=True)
class Selection:
    """What is looked at: a part, and where given a mode, a scale, units and a period.

    `scale` is "meter", "days" or "" for the one that the lives allow; `begin` and `end` are the
    first and the last day, both included.
    """

    part: str
    mode: str | None = None
    scale: str = ""
    group: Group | None = None
    begin: date | None = None
    end: date | None = None

    @property
    def is_whole(self) -> bool:
        """Tell whether all records of the part are looked at, on the usual scale."""
        return not (self.scale or self.group or self.begin or self.end)

    def __str__(self) -> str:
        named = [self.part, self.mode or "all failure modes", str(self.group or "all units")]
        period = f"{self.begin or 'the beginning'} to {self.end or 'the end'} of the records"
        named.append(period if self.begin or self.end else "whole record")
        return ", ".join(named + ([f"by {self.scale}"] if self.scale else []))


@dataclass(frozen=True, slots=True, eq=False)
class PartStudy:
    """All that the records say of one selection.

    Attributes
    ----------
    findings
        Findings of the selected records, with this part (and mode) only.
    finding, pattern
        The part or mode that was asked for, and the reading of its failures.
    rows
        The pieces of lives behind it; failures of other modes are suspensions.
    screened_alone
        Whether what comes before was looked for anew, in this selection alone.
    """

    selection: Selection
    findings: Findings
    finding: PartFinding
    pattern: Pattern | None
    rows: pd.DataFrame
    screened_alone: bool

    def __str__(self) -> str:
        return f"{self.selection}: {self.finding}"


def groups_of(fleet: Fleet) -> tuple[Group, ...]:
    """Return the groups that the attributes of the units table name, of two units or so each."""
    if fleet.units is None:
        return ()
    own = {column.name for column in TABLES["units"]}
    names = [str(name) for name in fleet.units.columns if name not in own]
    found = []
    for name in names:
        values = sorted({cell_text(one) for one in fleet.units[name].unique()} - {""})
        if 1 < len(values) <= min(MOST_LEVELS, len(fleet.units) // 2):
            found += [Group(name, value) for value in values]
    return tuple(found)


def study_selection(whole: Findings, folder: Path | str, selection: Selection) -> PartStudy:
    """Study one part on a selection of a fleet's records.

    Parameters
    ----------
    whole
        Findings of the whole fleet, from `open_findings`; what is not narrowed is taken from it.
    folder
        The fleet folder, read again where the selection names units or an earlier end.

    Raises
    ------
    RcaError
        There is no such part, mode or scale, or the period holds no records.
    """
    _check(whole, selection)
    if selection.is_whole:
        fleet, lives, events = whole.fleet, whole.lives, whole.events
    else:
        fleet, lives, events = _selected(whole, folder, selection)
    parts = _parts(whole, fleet, lives, events, selection)
    found = replace(
        whole,
        fleet=fleet,
        lives=lives,
        events=events,
        parts=parts,
        patterns={},
        screen=_screen(whole, fleet, lives, parts, selection),
        fixes=tuple(one for one in whole.fixes if one.plan.part == selection.part),
        totals={selection.part: dict(NO_TOTALS)},
        units=(),
        forecasts={name: one for name, one in whole.forecasts.items() if name == selection.part},
        extents=tuple(one for one in whole.extents if one.part == selection.part),
    )
    finding = found.part(selection.part, selection.mode)
    pattern = _pattern(whole, fleet, lives, finding)
    rows = _of_mode(lives.of(selection.part), selection.mode)
    found = replace(found, patterns={} if pattern is None else {selection.part: pattern})
    return PartStudy(selection, found, finding, pattern, rows, not selection.is_whole)


def lives_from(rows: pd.DataFrame, begin: date) -> pd.DataFrame:
    """Return the pieces of lives from a day on; a piece that ran already enters late.

    The day itself counts: a failure on it is inside.
    """
    cut = pd.Timestamp(begin) - pd.Timedelta(days=1)
    rows = rows[rows["end"] > cut].copy()
    across = (rows["begin"] < cut).to_numpy()
    share = ((cut - rows["begin"]) / (rows["end"] - rows["begin"])).where(across, 0.0).to_numpy()
    for scale in SCALES:
        entry, age = rows[f"entry_{scale}"].to_numpy(), rows[f"age_{scale}"].to_numpy()
        rows[f"entry_{scale}"] = entry + share * (age - entry)
    rows["begin"] = rows["begin"].where(~across, cut)
    return rows


def _check(whole: Findings, selection: Selection) -> None:
    names = [one.part for one in whole.whole_parts]
    if selection.part not in names:
        step = did_you_mean(selection.part, names)
        raise RcaError(f"no part {selection.part!r} failed in these records", next_step=step)
    if selection.scale not in ("", *SCALES):
        raise RcaError(f"there is no scale {selection.scale!r}", next_step="take days or meter")
    modes = [mode for mode, _ in modes_of(whole.events, selection.part)]
    if selection.mode is not None and selection.mode not in modes:
        step = did_you_mean(selection.mode, modes)
        raise RcaError(f"{selection.part} has no failure mode {selection.mode!r}", next_step=step)
    begin, end = selection.begin or date.min, selection.end or whole.fleet.cutoff
    if end > whole.fleet.cutoff:
        step = f"choose a last day up to {whole.fleet.cutoff}"
        raise RcaError(f"the records end on {whole.fleet.cutoff}", next_step=step)
    if begin > end:
        step = "choose a first day before the last one"
        raise RcaError(f"the period ends on {end}, before it begins", next_step=step)


def _selected(
    whole: Findings, folder: Path | str, selection: Selection
) -> tuple[Fleet, LifeTable, pd.DataFrame]:
    """Read the selected records; lives and events of all parts, from the first day on."""
    fleet, lives = whole.fleet, whole.lives
    if selection.group is not None or selection.end is not None:
        until = selection.end or whole.fleet.cutoff
        fleet = read_fleet(folder, until=until, group=selection.group)
        if fleet.watch.empty:
            step = "choose other units or a later last day"
            raise RcaError("no unit was watched then", next_step=step)
        lives = build_lives(fleet)
    events = repeat_events(fleet, lives.meters, failures_of(fleet))
    if selection.begin is None:
        return fleet, lives, events
    begin = np.datetime64(selection.begin, "s")
    watch = fleet.watch[fleet.watch["watched_to"] >= begin]
    watch = watch.assign(watched_from=np.maximum(watch["watched_from"], begin))
    if watch.empty:
        raise RcaError("no unit was watched then", next_step="choose an earlier first day")
    first = int(np.datetime64(selection.begin, "D").astype(np.int64))
    return (
        replace(fleet, watch=watch.reset_index(drop=True)),
        replace(lives, rows=lives_from(lives.rows, selection.begin)),
        events[events["day"] >= first].reset_index(drop=True),
    )


def _parts(
    whole: Findings, fleet: Fleet, lives: LifeTable, events: pd.DataFrame, selection: Selection
) -> tuple[PartFinding, ...]:
    """The part, and its modes with enough failures or the one that was asked for."""
    name = selection.part
    known = {one.mode: one for one in whole.parts if one.part == name} if selection.is_whole else {}

    def study(mode: str | None, scale: str | None) -> PartFinding:
        return known.get(mode) or study_part(
            fleet, lives, name, events=events, totals=NO_TOTALS, mode=mode, scale=scale,
            seed=whole.seed,
        )  # fmt: skip

    part = study(None, selection.scale or None)
    modes = [mode for mode, count in modes_of(events, name) if mode and count >= FEW_FAILURES]
    modes = modes if len(modes) > 1 else []
    if selection.mode is not None and selection.mode not in modes:
        modes = [*modes, selection.mode]
    return (part, *(study(mode, part.scale) for mode in modes))


def _of_mode(rows: pd.DataFrame, mode: str | None) -> pd.DataFrame:
    """Take failures of other modes as suspensions."""
    if mode is None:
        return rows
    failed = rows["failed"].to_numpy(dtype=bool) & rows["mode"].eq(mode).to_numpy(dtype=bool)
    return rows.assign(failed=failed)


def _pattern(
    whole: Findings, fleet: Fleet, lives: LifeTable, finding: PartFinding
) -> Pattern | None:
    """Read the pattern as `read_patterns` does, the other parts' spread from the whole fleet."""
    if finding.mode is None and fleet is whole.fleet:
        same_scale = finding.scale == whole.part(finding.part).scale
        if same_scale and finding.part in whole.patterns:
            return whole.patterns[finding.part]
    others = [
        one.spread
        for name, one in whole.patterns.items()
        if name != finding.part and one.spread is not None
    ]
    day = first_fix_date(fleet, finding.part)
    rows = _of_mode(lives_before_fix(lives, finding.part, day=day), finding.mode)
    if rows.empty:
        return None
    return read_pattern(
        rows,
        scale=finding.scale,
        units=fleet.units,
        spread_of_other_parts=median(others) if others else ORDINARY_SPREAD,
        seed=whole.seed,
    )


def _screen(
    whole: Findings,
    fleet: Fleet,
    lives: LifeTable,
    parts: Sequence[PartFinding],
    selection: Selection,
) -> Screen | None:
    if selection.is_whole:
        return whole.screen
    repairs = fleet.repairs
    if selection.begin is not None:
        repairs = repairs[repairs["date"] >= pd.Timestamp(selection.begin)]
        repairs = repairs.reset_index(drop=True)
    return screen(replace(fleet, repairs=repairs), lives, parts, seed=whole.seed)
