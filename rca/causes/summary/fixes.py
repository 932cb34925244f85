"""Fixes and their outlooks as plain data for summary.json."""

from typing import Any

import pandas as pd

from rca.causes.fix.outlook import Outlook
from rca.causes.fix.verdict import FixPlan, Verdict
from rca.causes.outlooks import PlannedFix
from rca.causes.plain_numbers import number, with_limits
from rca.causes.rows_behind import fix_rows_name


def fix_data(verdict: Verdict, outlook: Outlook | None) -> dict[str, Any]:
    """Both answers on a fix, its plan, what was assumed, and what an answer will still take."""
    plan = verdict.plan
    why = "; ".join(verdict.reasons) or "no failure was to be expected yet, or none happened"
    return {
        **verdict.summary(),
        "ratio": with_limits(verdict.ratio, verdict.ratio_interval, why_null=why),
        **_plan(plan),
        "cause_why": verdict.cause.why or None,
        "shown_month": _month(verdict.shown_month),
        "reasons": list(verdict.reasons),
        "notes": list(verdict.notes),
        "outlook": None if outlook is None else outlook_data(outlook),
        "rows": fix_rows_name(plan.fix),
    }


def planned_data(one: PlannedFix) -> dict[str, Any]:
    """Return one entry of `planned_fixes`."""
    return {
        "fix": one.plan.fix,
        "part": one.plan.part,
        "mode": one.plan.mode,
        "cause": one.plan.cause,
        **_plan(one.plan),
        "outlook": None if one.outlook is None else outlook_data(one.outlook),
        "why_not": one.why_not or None,
    }


def _plan(plan: FixPlan) -> dict[str, Any]:
    return {
        "kind": plan.kind,
        "chosen_by": str(plan.chosen_by),
        "target_ratio": plan.target_ratio,
        "registered": None if plan.registered is None else f"{plan.registered:%Y-%m-%d}",
    }


def outlook_data(one: Outlook) -> dict[str, Any]:
    """Return the chance of a verdict, and the failures and months that would decide it."""
    return {
        "units": one.units,
        "start": f"{one.start:%Y-%m-%d}",
        "first_month": _month(one.first_month),
        "failure_free_months": one.failure_free_months,
        "likely_month": _month(one.likely_month),
        "draws": one.draws,
        "deciding": [
            {
                "months": int(row["months"]),
                "month": _month(row["month"]),
                "at_most": None if row["at_most"] < 0 else int(row["at_most"]),
                "from_on": int(row["from_on"]),
            }
            for row in one.deciding.to_dict("records")
        ],
        "chances": [
            {
                "ratio": number(row["ratio"]),
                "months": int(row["months"]),
                "expected": number(row["expected"]),
                "shown": number(row["shown"]),
                "missed": number(row["missed"]),
            }
            for row in one.chances.to_dict("records")
        ],
    }


def _month(day: pd.Timestamp | None) -> str | None:
    return None if day is None else f"{day:%Y-%m}"
