"""summary.json: the findings as plain data, the one source of every number on the page.

Numbers with intervals are {"value", "lower", "upper"}; what is unknown or unbounded is null, and
`why_null` beside it says why. Nothing is computed here but rounding to seven figures.
"""

from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from rca.causes.advice import five_lines, next_steps, rows_after
from rca.causes.counts.no_fault import no_fault_found
from rca.causes.findings import Findings
from rca.causes.fixes import applied_to
from rca.causes.plain_numbers import rounded
from rca.causes.since_last.attention import what_needs_a_person
from rca.causes.since_last.changes import changed_answers, changes, moves, restated
from rca.causes.since_last.row_changes import RowChanges
from rca.causes.since_last.standing_evidence import beside_last_run, standing
from rca.causes.summary.entries import (
    back_test_data,
    backlog_data,
    cause_data,
    extent_data,
    forecast_data,
    merit_data,
    no_fault_data,
    open_cause_data,
    safety_repeat_data,
    unit_data,
)
from rca.causes.summary.fixes import fix_data, planned_data
from rca.causes.summary.parts import part_data
from rca.records.months import month_end

SCHEMA = "rca-summary-1"


def summary(
    findings: Findings, *, last: Mapping[str, Any] | None = None, rows: RowChanges | None = None
) -> dict[str, Any]:
    """Return all that summary.json holds, in the order in which the page shows it.

    Parameters
    ----------
    last
        The summary of the run before, to tell what changed since.
    rows
        Its rows compared with those of `findings`; None where they are not at hand.
    """
    fleet = findings.fleet
    fixes = [
        rounded(fix_data(verdict, findings.outlooks.get(verdict.plan.fix)))
        for verdict in findings.fixes
    ]
    changed_answers(fixes, last, rows, treated=_treated(findings))
    style = fleet.settings.numbers
    found: dict[str, Any] = {
        "schema": SCHEMA,
        "kit": _version(),
        "fleet": fleet.name,
        "group": None
        if findings.group is None
        else {"attribute": findings.group.attribute, "value": findings.group.value},
        "month": findings.month,
        "cutoff": f"{fleet.cutoff:%Y-%m-%d}",
        "provisional": _provisional(findings),
        "meter_unit": fleet.settings.meter_unit,
        "currency": fleet.settings.currency or None,
        "numbers": {"decimal": style.decimal, "thousands": style.thousands},
        "seed": findings.seed,
        "last_month": last.get("month") if last else None,
        "lines": five_lines(findings),
        "next_steps": next_steps(findings),
        "records": _records(findings),
        "parts": [part_data(one, findings) for one in findings.parts],
        "extents": [extent_data(one) for one in findings.extents],
        "units": [unit_data(one) for one in findings.units],
        "fixes": fixes,
        "planned_fixes": [rounded(planned_data(one)) for one in findings.planned],
        "causes": [cause_data(one) for one in findings.causes],
        "investigations": [standing(one) for one in findings.cases],
        "open_causes": [open_cause_data(one) for one in findings.backlog.causes],
        "backlog": backlog_data(findings),
        "forecast": forecast_data(findings),
        "back_test": back_test_data(findings),
        "figures_of_merit": [merit_data(one) for one in findings.merits],
        "no_fault_found": [no_fault_data(one) for one in no_fault_found(fleet)],
        "safety_repeats": [safety_repeat_data(one) for one in findings.safety_repeats],
        "blocked": [{"result": name, "reason": why} for name, why in findings.blocked],
    }
    beside_last_run(found["investigations"], (last or {}).get("investigations"))
    found["changes"] = changes(found, last, rows)
    found["moves"] = moves(found, last, rows)
    found["restated"] = restated(found["moves"], last, rows)
    found["attention"] = what_needs_a_person(found, last)
    return found


def _treated(findings: Findings) -> dict[str, frozenset[str]]:
    """Units of each fix."""
    fixes = [verdict.plan.fix for verdict in findings.fixes]
    return {name: frozenset(applied_to(findings.fleet, name)["unit"]) for name in fixes}


def _version() -> str:
    try:
        return version("rca-workbooks")
    except PackageNotFoundError:
        return "not installed"


def _provisional(findings: Findings) -> str | None:
    """Say why the month is not final; None where its records reach to its end."""
    cutoff = findings.fleet.cutoff
    if cutoff >= month_end(findings.month):
        return None
    return f"records end on {cutoff}, before the month does; its figures will change"


def _records(findings: Findings) -> dict[str, Any]:
    account, aside = findings.fleet.account("repairs"), findings.set_aside
    whole = aside[aside["scope"].eq("row") & aside["table"].eq("repairs")]
    return {
        "read": account.read,
        "used": account.used,
        "set_aside": account.set_aside,
        "after_month": rows_after(findings),
        "set_aside_by_reason": _counts(whole["rule"]),
        "spoiled_cells_by_reason": _counts(aside.loc[aside["scope"].ne("row"), "rule"]),
        "lives_left_out": _left_out(findings),
        "tables": [
            {"table": one.table, "read": one.read, "used": one.used, "set_aside": one.set_aside}
            for one in findings.fleet.accounts
        ],
    }


def _counts(column: Any) -> dict[str, int]:
    """Count equal reasons, most frequent first."""
    return {str(rule): int(count) for rule, count in column.value_counts().items()}


def _left_out(findings: Findings) -> dict[str, int]:
    out = findings.lives.left_out
    return {} if out.empty else _counts(out["reason"].repeat(out["pieces"]))
