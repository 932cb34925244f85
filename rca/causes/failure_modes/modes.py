"""The failure-mode table: one row a mode of a part, from records and investigations together.

Order of rows: severity first, then occurrence, then detection. Occurrence is a rate per unit-year
with exact limits and the grades that these limits span; detection is the share caught before it
took effect. The product of grades is made only on request, beside the stability of its ranking.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM
from rca.causes.case.exposure import (
    DAYS_PER_YEAR,
    day_number,
    folded,
    watched_spans,
    within_spans,
)
from rca.causes.case.investigation import Investigation
from rca.causes.failure_modes.mode_counts import before_after, detection, occurrence
from rca.causes.failure_modes.scales import (
    BUS_TESTING,
    STEPS_OF_THREE,
    OccurrenceScale,
    SeverityScale,
)
from rca.causes.failure_modes.table import NOT_STATED, ModeRow, ModeTable
from rca.errors import NoAnswer, Problem, Refused
from rca.records.fleet import Fleet


def mode_table(
    fleet: Fleet,
    investigations: Sequence[Investigation] = (),
    *,
    severity_scale: SeverityScale = BUS_TESTING,
    occurrence_scale: OccurrenceScale = STEPS_OF_THREE,
    confidence: float = 0.95,
    states: Mapping[tuple[str, str], str] | None = None,
) -> ModeTable:
    """Make the failure-mode table of a fleet.

    Parameters
    ----------
    fleet
        The records; modes are those of failures and of what an inspection led to mend.
    investigations
        Their problem gives effect and severity, their ends the causes, their escape the present
        checks, their fixes the actions. A mode without any row has a line
        too, from its upper limit.
    severity_scale, occurrence_scale
        Scales in use; `rca.causes.failure_modes.scales` reads a user's own.
    confidence
        Of all intervals.
    states
        How each cause stands, by investigation and cause, to be told beside it.

    Raises
    ------
    NoAnswer
        No row is marked as a failure: the reason is not recorded.
    Refused
        An investigation names a severity that the scale does not have.
    """
    _demand_severities(investigations, severity_scale)
    if not fleet.repairs["reason"].astype(str).eq("failure").any():
        step = "say in fleet.yaml how rows are to be read"
        raise NoAnswer("no repair row is marked as a failure", next_step=step)
    counted = _Counted.of(fleet)
    rows = [
        _row(fleet, counted, part, mode, investigations, occurrence_scale, confidence, states or {})
        for part, mode in _modes(fleet, counted, investigations)
    ]
    worst_first = sorted(rows, key=lambda row: _order(row, severity_scale))
    return ModeTable(tuple(worst_first), severity_scale, occurrence_scale)


def _demand_severities(cases: Iterable[Investigation], scale: SeverityScale) -> None:
    problems = [
        Problem(
            case.file or case.id,
            case.problem.line,
            "problem.severity",
            case.problem.severity,
            f"is not a grade of the scale in use: {scale.name}",
            scale.step(case.problem.severity),
        )
        for case in cases
        if case.problem.severity and scale.place(case.problem.severity) is None
    ]
    if problems:
        raise Refused(problems)


@dataclass(frozen=True, slots=True, eq=False)
class _Counted:
    """All failures and all that was caught, inside the watch, and who carries what."""

    spans: pd.DataFrame
    events: pd.DataFrame  # unit, day, part, mode (folded), caught
    carriers: dict[str, set[str]]  # part (folded) -> units; empty: not known, all carry all

    @classmethod
    def of(cls, fleet: Fleet) -> "_Counted":
        spans = watched_spans(fleet)
        rows = fleet.repairs
        reason, action = rows["reason"].astype(str), rows["action"].astype(str)
        caught = reason.eq("inspection") & ~action.isin(["inspected", "none", ""])
        events = pd.DataFrame(
            {
                "unit": rows["unit"].astype(str),
                "day": day_number(rows["date"]),
                "part": folded(rows["part"]),
                "mode": folded(rows["mode"]),
                "position": rows["position"].astype(str),
                "caught": caught,
            }
        )[reason.eq("failure") | caught]
        events = events.drop_duplicates().reset_index(drop=True)
        places = fleet.places
        by_part = [] if places is None else places.groupby(folded(places["part"]))["unit"]
        carriers = {str(part): set(units.astype(str)) for part, units in by_part}
        return cls(spans, within_spans(spans, events), carriers)

    def spans_of(self, part: str) -> pd.DataFrame:
        """Watched spans of the units that carry a part."""
        units = self.carriers.get(part.casefold())
        return self.spans if units is None else self.spans[self.spans["unit"].isin(units)]

    def events_of(self, part: str, mode: str, spans: pd.DataFrame) -> pd.DataFrame:
        """Events of a mode of a part; mode "" is the one that was not stated."""
        all_ = self.events
        kept = (all_["part"] == part.casefold()) & (all_["mode"] == mode.casefold())
        return all_[kept & all_["unit"].isin(spans["unit"])]


def _modes(
    fleet: Fleet, counted: _Counted, cases: Iterable[Investigation]
) -> list[tuple[str, str]]:
    """Part and mode of every line: from the records, then those only investigated."""
    rows = fleet.repairs[["part", "mode"]].astype(str).drop_duplicates()
    spelled = {(part.casefold(), mode.casefold()): (part, mode) for part, mode in rows.to_numpy()}
    seen = counted.events[["part", "mode"]].drop_duplicates().sort_values(["part", "mode"])
    found = {
        (part, mode): spelled.get((part, mode), (part, mode)) for part, mode in seen.to_numpy()
    }
    for case in cases:
        if case.part:
            found.setdefault((case.part.casefold(), case.mode.casefold()), (case.part, case.mode))
    return list(found.values())


def _row(
    fleet: Fleet,
    counted: _Counted,
    part: str,
    mode: str,
    cases: Iterable[Investigation],
    scale: OccurrenceScale,
    confidence: float,
    states: Mapping[tuple[str, str], str],
) -> ModeRow:
    spans = counted.spans_of(part)
    events = counted.events_of(part, mode, spans)
    failures = events[~events["caught"]]
    caught = len(events) - len(failures)
    years = float((spans["end"] - spans["begin"]).sum()) / DAYS_PER_YEAR
    about = [c for c in cases if c.part.casefold() == part.casefold() and _same_mode(c, mode)]
    fixes = [fix for case in about for fix in case.fixes.values()]
    changes = [
        before_after(fleet, fix, spans, failures, scale, confidence)
        for fix in fixes
        if fix.kind != "correction"
    ]
    return ModeRow(
        part=part,
        mode=mode or NOT_STATED,
        effect=_joined(case.problem.effect for case in about),
        severity=next((case.problem.severity for case in about if case.problem.severity), ""),
        occurrence=occurrence(len(failures), years, scale, confidence=confidence),
        detection=detection(caught, len(failures), confidence=confidence),
        effect_probability=next(
            (one for case in about if (one := case.problem.effect_probability) is not None), None
        ),
        causes=tuple(
            _with_state(case.says(name), states.get((case.id, name), ""))
            for case in about
            for name in case.ends(PROBLEM)
        ),
        controls=tuple(case.says(name) for case in about for name in case.below(NOT_CAUGHT)),
        actions=tuple(f"{fix.kind}: {fix.does}" for fix in fixes),
        investigations=tuple(case.id for case in about),
        changes=tuple(one for one in changes if one is not None),
    )


def _with_state(says: str, state: str) -> str:
    return f"{says} ({state})" if state else says


def _same_mode(case: Investigation, mode: str) -> bool:
    return case.mode.casefold() == mode.casefold()


def _joined(texts: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))


def _order(row: ModeRow, scale: SeverityScale) -> tuple[float, float, float]:
    place = scale.place(row.severity)
    share = row.detection.share
    return (
        len(scale.grades) + 1 if place is None else place,
        -row.occurrence.rate,
        1.0 if share is None else share,
    )
