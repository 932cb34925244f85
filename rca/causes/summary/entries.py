"""Causes, units, forecasts and figures of merit as plain data for summary.json."""

from typing import Any

from rca.causes.backlog import OpenCause
from rca.causes.counts.merit import Measured, Merit
from rca.causes.counts.no_fault import NoFaultFound
from rca.causes.counts.safety_repeats import SafetyRepeat
from rca.causes.counts.units import UnitFinding
from rca.causes.extent import CONFIDENCE, Extent
from rca.causes.findings import Findings
from rca.causes.fix.words import Effect
from rca.causes.plain_numbers import number, with_limits
from rca.causes.planning.forecast import Count
from rca.causes.standing_causes import CauseFinding
from rca.life.sample import Interval


def open_cause_data(one: OpenCause) -> dict[str, Any]:
    """Return one entry of `open_causes`."""
    return {
        "investigation": one.investigation,
        "title": one.title,
        "part": one.part,
        "opened": None if one.opened is None else str(one.opened),
        "age_days": one.age_days,
        "owes": one.owes,
        "owner": one.owner or None,
        "due": None if one.due is None else str(one.due),
        "overdue": one.overdue,
        "containment": one.containment,
        "contained": one.contained,
        "ends": one.ends,
        "unproved": one.unproved,
    }


def backlog_data(findings: Findings) -> dict[str, Any]:
    """Return all of `backlog`."""
    one = findings.backlog
    effects = [str(fix.effect) for fix in findings.fixes]
    shown = [fix for fix in findings.fixes if fix.shown_month is not None]
    return {
        "open": len(one.causes),
        "closed": one.closed,
        "median_age": number(one.median_age),
        "ninetieth_age": number(one.ninetieth_age),
        "overdue": one.overdue,
        "uncontained": one.uncontained,
        "unproved": one.unproved,
        "verdicts": {str(word): effects.count(str(word)) for word in Effect},
        "verified": sum(fix.verified for fix in findings.fixes),
        "ever_shown": len(shown),
        "since_relapsed": sum(fix.effect is Effect.RELAPSED for fix in shown),
    }


def back_test_data(findings: Findings) -> list[dict[str, Any]]:
    """How often past forecasts held, by part and months ahead."""
    return [
        {
            "part": part,
            "months": int(str(months)),
            "what": str(what),
            "forecasts": len(rows),
            "inside80": int(rows["inside80"].sum()),
            "inside95": int(rows["inside95"].sum()),
            "expected": number(float(rows["expected"].sum())),
            "came": int(rows["actual"].sum()),
        }
        for part, table in findings.back_tests.items()
        for (months, what), rows in table.groupby(["months", "what"])
    ]


def merit_data(one: Merit) -> dict[str, Any]:
    """Return one entry of `figures_of_merit`."""
    return {
        "figure": one.name,
        "unit": one.unit,
        "definition": one.definition,
        "counted": one.counted,
        "per": one.per,
        "month": _measured(one.month, one.why_null),
        "before": _measured(one.before, one.why_null or "nothing to measure then"),
        "year": _measured(one.year, one.why_null or "nothing to measure"),
        "changed": one.changed,
        "note": one.note or None,
    }


def _measured(one: Measured | None, why_null: str) -> dict[str, Any]:
    if one is None:
        return with_limits(None, None, why_null=why_null, count=None, of=None)
    why = "no failure: only a lower limit is known" if not one.count else ""
    return with_limits(
        one.value, one.interval, why_null=why, count=number(one.count), of=number(one.of)
    )


def no_fault_data(one: NoFaultFound) -> dict[str, Any]:
    """Return one entry of `no_fault_found`."""
    return {
        "part": one.part,
        "without_fault": one.without_fault,
        "failed": one.failed,
        "share": with_limits(one.share, one.interval),
    }


def safety_repeat_data(one: SafetyRepeat) -> dict[str, Any]:
    """Return one entry of `safety_repeats`."""
    return {
        "key": one.key,
        "part": one.part,
        "unit": one.unit,
        "position": one.position,
        "first": str(one.first),
        "again": str(one.again),
        "says": str(one),
    }


def forecast_data(findings: Findings) -> list[dict[str, Any]]:
    """Return all of `forecast`: new parts needed, and the failures among what needs them."""
    return [
        {
            "part": part,
            "months": row.months,
            **_count(row.parts),
            "failures": _count(row.failures),
            "in_service": forecast.in_service,
            "of_unknown_age": forecast.of_unknown_age,
            "failures_behind": forecast.failures,
            "removals_behind": forecast.removals,
        }
        for part, forecast in findings.forecasts.items()
        for row in forecast.rows
    ]


def _count(one: Count) -> dict[str, Any]:
    return {
        "expected": number(one.expected),
        "lower80": one.lower80,
        "upper80": one.upper80,
        "lower95": one.lower95,
        "upper95": one.upper95,
    }


def unit_data(one: UnitFinding) -> dict[str, Any]:
    """Return one entry of `units`."""
    return {
        "unit": one.unit,
        "part": one.part,
        "failures": one.failures,
        "expected": number(one.expected),
        "shrunk_ratio": with_limits(one.ratio, Interval(one.lower, one.upper)),
    }


def cause_data(one: CauseFinding) -> dict[str, Any]:
    """Return one entry of `causes`."""
    return {
        "investigation": one.investigation,
        "part": one.part,
        "cause": one.cause,
        "says": one.says,
        "layer": one.layer,
        "supported": one.supported,
        "why_not": one.why_not or None,
        "is_end": one.is_end,
        "review": list(one.review),
    }


def extent_data(one: Extent) -> dict[str, Any]:
    """Return one entry of `extents`."""
    return {
        "part": one.part,
        "candidate": one.candidate,
        "kind": one.kind,
        "first": list(one.first),
        "first_of": one.first_of,
        "why_first": one.why_first,
        "population": one.population,
        "where": one.where,
        "confidence": CONFIDENCE,
        "samples": [{"share": number(share), "inspect": count} for share, count in one.samples],
    }
