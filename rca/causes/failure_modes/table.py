"""The failure-mode table as a result: its rows, its frame, its matrix, its criticality numbers."""

from dataclasses import dataclass

import pandas as pd

from rca.causes.failure_modes.criticality import (
    ItemCriticality,
    ModeCriticality,
    counted_criticality,
    item_criticality,
)
from rca.causes.failure_modes.mode_counts import BeforeAfter, Detection, Occurrence
from rca.causes.failure_modes.scales import OccurrenceScale, SeverityScale

NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True)
class ModeRow:
    """One failure mode of one part.

    `effect_probability` is the share of its failures that have the stated effect; None where no
    investigation states it.
    """

    part: str
    mode: str
    effect: str
    severity: str
    occurrence: Occurrence
    detection: Detection
    effect_probability: float | None
    causes: tuple[str, ...]
    controls: tuple[str, ...]
    actions: tuple[str, ...]
    investigations: tuple[str, ...]
    changes: tuple[BeforeAfter, ...]


@dataclass(frozen=True, slots=True)
class ModeTable:
    """Rows in order of severity, then occurrence, then detection, and the scales in use."""

    rows: tuple[ModeRow, ...]
    severity_scale: SeverityScale
    occurrence_scale: OccurrenceScale

    def to_frame(self) -> pd.DataFrame:
        """One line a mode, every number in a column of its own, unknown left blank."""
        return pd.DataFrame([_line(row) for row in self.rows])

    def mode_criticality(self, row: ModeRow, *, years: float = 1.0) -> ModeCriticality | None:
        """Criticality number Cm of a mode over `years`; None where no severity is stated.

        The effect is taken as sure where no investigation tells its share.
        """
        if not row.severity:
            return None
        seen = row.occurrence
        return counted_criticality(
            row.mode,
            row.severity,
            events=seen.events,
            exposure=seen.unit_years,
            effect_probability=1.0 if row.effect_probability is None else row.effect_probability,
            time=years,
            confidence=seen.interval.confidence,
        )

    def item_criticalities(self, *, years: float = 1.0) -> list[tuple[str, ItemCriticality]]:
        """Criticality number Cr of each part, by severity, modes without one left out."""
        parts = dict.fromkeys(row.part for row in self.rows if row.severity)
        found = []
        for part in parts:
            rows = [row for row in self.rows if row.part == part and row.severity]
            numbers = [one for row in rows if (one := self.mode_criticality(row, years=years))]
            confidence = rows[0].occurrence.interval.confidence
            found += [(part, one) for one in item_criticality(numbers, confidence=confidence)]
        return found

    def matrix(self) -> pd.DataFrame:
        """Severity down, occurrence grade across; each cell names the modes that lie there."""
        grades = range(1, len(self.occurrence_scale.bounds) + 2)
        severities = [*self.severity_scale.grades, NOT_STATED]
        cells: dict[str, dict[int, list[str]]] = {
            severity: {grade: [] for grade in grades} for severity in severities
        }
        for row in self.rows:
            cells[row.severity or NOT_STATED][row.occurrence.grade].append(
                f"{row.part}: {row.mode}"
            )
        named = {
            severity: {grade: "; ".join(held) for grade, held in line.items()}
            for severity, line in cells.items()
        }
        frame = pd.DataFrame.from_dict(named, orient="index", columns=list(grades))
        return frame.rename_axis("severity").rename_axis(columns="occurrence grade")

    def __str__(self) -> str:
        graded = sum(bool(row.severity) for row in self.rows)
        return f"failure-mode table of {len(self.rows)} modes, {graded} with a severity"


def _line(row: ModeRow) -> dict[str, object]:
    """One line of the table as plain cells."""
    seen, found = row.occurrence, row.detection
    change = row.changes[-1] if row.changes else None
    return {
        "part": row.part,
        "mode": row.mode,
        "effect": row.effect,
        "severity": row.severity or NOT_STATED,
        "failures": seen.events,
        "unit_years": round(seen.unit_years, 2),
        "rate_per_unit_year": seen.rate,
        "rate_lower": seen.interval.lower,
        "rate_upper": seen.interval.upper,
        "occurrence_grade": seen.grade,
        "grade_from": seen.grade_low,
        "grade_to": seen.grade_high,
        "grade_is_upper_limit": seen.from_upper_limit,
        "effect_probability": row.effect_probability,
        "caught_before_effect": found.caught,
        "share_caught": found.share,
        "share_lower": found.interval.lower if found.interval else None,
        "share_upper": found.interval.upper if found.interval else None,
        "causes": "; ".join(row.causes),
        "present_checks_fail_because": "; ".join(row.controls),
        "actions": "; ".join(row.actions),
        "investigations": ", ".join(row.investigations),
        "fix": change.fix if change else "",
        "failures_before": change.before.events if change else None,
        "unit_years_before": round(change.before.unit_years, 2) if change else None,
        "failures_after": change.after.events if change else None,
        "unit_years_after": round(change.after.unit_years, 2) if change else None,
        "ratio_after_to_before": change.ratio.value if change else None,
        "ratio_lower": change.ratio.lower if change else None,
        "ratio_upper": change.ratio.upper if change else None,
    }
