"""summary.json: the findings as plain data, the one source of every number on the page.

Numbers with intervals are {"value", "lower", "upper"}; what is unknown or unbounded is null, and
`why_null` beside it says why. Nothing is computed here but rounding to seven figures.
"""

import math
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from rca.causes.advice import five_lines, next_steps, rows_after
from rca.causes.attention import what_needs_a_person
from rca.causes.backlog import OpenCause
from rca.causes.changes import changed_answers, changes, moves, restated
from rca.causes.findings import Findings
from rca.causes.fixes import applied_to
from rca.causes.merit import Measured, Merit
from rca.causes.no_fault import NoFaultFound, no_fault_found
from rca.causes.parts import PartFinding
from rca.causes.row_changes import RowChanges
from rca.causes.rows_behind import fix_rows_name, part_lives_name, part_rows_name
from rca.causes.safety_repeats import SafetyRepeat
from rca.causes.standing_causes import CauseFinding
from rca.causes.totals import Total
from rca.causes.units import UnitFinding
from rca.causes.upstream import sentence
from rca.causes.verdict import Verdict
from rca.causes.words import Effect
from rca.causes.worth import PartWorth
from rca.life.sample import Interval
from rca.records.months import month_end

SCHEMA = "rca-summary-1"
FIGURES = 7


def number(value: float | None) -> float | int | None:
    """Return a number as JSON can hold it: seven figures, None where it is not a number."""
    if value is None or not math.isfinite(value):
        return None
    if float(value).is_integer() and abs(value) < 2**53:
        return int(value)
    return float(f"{value:.{FIGURES}g}")


def with_limits(
    value: float | None, interval: Interval | None, *, why_null: str = "", **more: Any
) -> dict[str, Any]:
    """Return value, lower and upper; `why_null` appears only where one of them is null."""
    lower = interval.lower if interval is not None else None
    upper = interval.upper if interval is not None else None
    found: dict[str, Any] = {
        "value": number(value),
        "lower": number(lower),
        "upper": number(upper),
        **more,
    }
    if None in (found["value"], found["lower"], found["upper"]):
        note = interval.note if interval is not None else ""
        found["why_null"] = why_null or note or "no limit exists"
    return found


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
    fixes = [_rounded(_fix(verdict)) for verdict in findings.fixes]
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
        "parts": [_part(one, findings) for one in findings.parts],
        "units": [_unit(one) for one in findings.units],
        "fixes": fixes,
        "causes": [_cause(one) for one in findings.causes],
        "open_causes": [_open_cause(one) for one in findings.backlog.causes],
        "backlog": _backlog(findings),
        "forecast": _forecast(findings),
        "back_test": _back_test(findings),
        "figures_of_merit": [_merit(one) for one in findings.merits],
        "no_fault_found": [_no_fault(one) for one in no_fault_found(fleet)],
        "safety_repeats": [_safety_repeat(one) for one in findings.safety_repeats],
        "blocked": [{"result": name, "reason": why} for name, why in findings.blocked],
    }
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


def _rounded(data: Any) -> Any:
    """Round every number in plain data to seven figures; what is none becomes null."""
    if isinstance(data, dict):
        return {key: _rounded(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_rounded(value) for value in data]
    return number(data) if isinstance(data, float) else data


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


def _part(one: PartFinding, findings: Findings) -> dict[str, Any]:
    trend = one.trend
    return {
        "part": one.part,
        "mode": one.mode,
        "safety_critical": one.safety_critical,
        "units": one.units,
        "failures_recorded": one.failures_recorded,
        "lives": one.lives,
        "failures": one.failures,
        "suspended": one.suspended,
        "left_out": one.left_out,
        "meter_unit": one.unit_of_age,
        "cost": _total(one.totals["cost"], one.mode),
        "downtime_hours": _total(one.totals["downtime"], one.mode),
        "rows": part_rows_name(one.part),
        "lives_rows": part_lives_name(one.part),
        "repeat_rate": _repeat(one),
        "shape": _of_curve(one, "shape"),
        "scale": _of_curve(one, "scale"),
        "b10": _of_curve(one, "b10"),
        "trend": None
        if trend is None
        else {
            "direction": trend.direction(),
            "p": number(min(1.0, 2 * min(trend.laplace_p, trend.chi_square_p))),
            "events": trend.n_events,
        },
        "later_lives_ratio": _later(one, findings),
        "pattern": _pattern(one, findings),
        "upstream": _upstream(one, findings),
        "upstream_says": None
        if one.mode is not None or findings.screen is None
        else findings.screen.text(one.part),
        "money": None if one.mode is not None else _money(findings.worth.get(one.part)),
        "other_first_lives": [
            {"treatment": name, "shape": number(shape), "scale": number(scale)}
            for name, (shape, scale) in one.other_first_lives.items()
        ],
    }


def _total(total: Total | None, mode: str | None) -> dict[str, Any]:
    if total is None:
        why = "not told apart by failure mode" if mode else "no row of this part has a value"
        return with_limits(None, None, why_null=why, known_rows=0, rows=0)
    return with_limits(total.value, total.interval, known_rows=total.known, rows=total.rows)


def _repeat(one: PartFinding) -> dict[str, Any] | None:
    repeat = one.repeat
    if repeat is None:
        return None
    return with_limits(
        repeat.value,
        repeat.interval,
        why_null="no failure has a complete window",
        chance=number(repeat.chance),
        chance_constant=number(repeat.chance_constant),
        repeats=repeat.repeats,
        complete=repeat.complete,
        window_days=repeat.window_days,
        window_meter=number(repeat.window_meter),
    )


def _of_curve(one: PartFinding, what: str) -> dict[str, Any]:
    if one.fit is None:
        return with_limits(None, None, why_null=one.no_fit)
    values: Mapping[str, float] = {
        "shape": one.fit.shape,
        "scale": one.fit.scale,
        "b10": one.b10,
    }
    return with_limits(values[what], one.limits(what))


def _pattern(one: PartFinding, findings: Findings) -> dict[str, Any] | None:
    pattern = findings.patterns.get(one.part) if one.mode is None else None
    if pattern is None:
        return None
    return {
        "reading": str(pattern.reading),
        "certainty": pattern.certainty or None,
        "how": pattern.how,
        "where": pattern.where,
        "because": list(pattern.because),
    }


def _later(one: PartFinding, findings: Findings) -> dict[str, Any] | None:
    pattern = findings.patterns.get(one.part) if one.mode is None else None
    if pattern is None or pattern.later is None:
        return None
    return with_limits(pattern.later.ratio, pattern.later.interval)


def _upstream(one: PartFinding, findings: Findings) -> list[dict[str, Any]]:
    if one.mode is not None or findings.screen is None:
        return []
    rows = findings.screen.of(one.part).to_dict("records")
    return [
        {
            "candidate": row["candidate"],
            "kind": row["kind"],
            "word": row["word"],
            "ratio": with_limits(row["ratio"], Interval(row["lower"], row["upper"])),
            "q": number(row["q"]),
            "events": number(row["events"]),
            "expected": number(row["expected"]),
            "window_days": number(row["window_days"]),
            "lag_days": number(row["lag_median"]),
            "says": sentence(row),
        }
        for row in rows
    ]


def _forecast(findings: Findings) -> list[dict[str, Any]]:
    return [
        {
            "part": part,
            "months": row.months,
            "expected": number(row.expected),
            "lower80": row.lower80,
            "upper80": row.upper80,
            "lower95": row.lower95,
            "upper95": row.upper95,
        }
        for part, forecast in findings.forecasts.items()
        for row in forecast.rows
    ]


def _unit(one: UnitFinding) -> dict[str, Any]:
    return {
        "unit": one.unit,
        "part": one.part,
        "failures": one.failures,
        "expected": number(one.expected),
        "shrunk_ratio": with_limits(one.ratio, Interval(one.lower, one.upper)),
    }


def _cause(one: CauseFinding) -> dict[str, Any]:
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


def _fix(verdict: Verdict) -> dict[str, Any]:
    """Both answers on a fix, its plan, and what was assumed."""
    plan = verdict.plan
    shown = verdict.shown_month
    why = "; ".join(verdict.reasons) or "no failure was to be expected yet, or none happened"
    return {
        **verdict.summary(),
        "ratio": with_limits(verdict.ratio, verdict.ratio_interval, why_null=why),
        "kind": plan.kind,
        "chosen_by": str(plan.chosen_by),
        "target_ratio": plan.target_ratio,
        "registered": None if plan.registered is None else f"{plan.registered:%Y-%m-%d}",
        "cause_why": verdict.cause.why or None,
        "shown_month": None if shown is None else f"{shown:%Y-%m}",
        "reasons": list(verdict.reasons),
        "notes": list(verdict.notes),
        "rows": fix_rows_name(plan.fix),
    }


def _open_cause(one: OpenCause) -> dict[str, Any]:
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


def _backlog(findings: Findings) -> dict[str, Any]:
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


def _back_test(findings: Findings) -> list[dict[str, Any]]:
    """How often past forecasts held, by part and months ahead."""
    return [
        {
            "part": part,
            "months": int(str(months)),
            "forecasts": len(rows),
            "inside80": int(rows["inside80"].sum()),
            "inside95": int(rows["inside95"].sum()),
            "expected": number(float(rows["expected"].sum())),
            "came": int(rows["actual"].sum()),
        }
        for part, table in findings.back_tests.items()
        for months, rows in table.groupby("months")
    ]


def _merit(one: Merit) -> dict[str, Any]:
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


def _no_fault(one: NoFaultFound) -> dict[str, Any]:
    return {
        "part": one.part,
        "without_fault": one.without_fault,
        "failed": one.failed,
        "share": with_limits(one.share, one.interval),
    }


def _safety_repeat(one: SafetyRepeat) -> dict[str, Any]:
    return {
        "key": one.key,
        "part": one.part,
        "unit": one.unit,
        "position": one.position,
        "first": str(one.first),
        "again": str(one.again),
        "says": str(one),
    }


def _money(one: PartWorth | None) -> dict[str, Any] | None:
    """What a part costs and what would pay; each answer null where `why_not` says why."""
    if one is None:
        return None
    rate, age, cause = one.cost_rate, one.replacement, one.cause
    return {
        "per": one.unit_of_running,
        "cost_rate": None
        if rate is None
        else with_limits(
            1000 * rate.value,
            Interval(1000 * rate.interval.lower, 1000 * rate.interval.upper),
            rows=rate.rows,
            unknown=rate.unknown,
            units=rate.units,
        ),
        "replace_at": None
        if age is None
        else with_limits(age.age, age.age_interval, saving=number(age.saving)),
        "cause_worth": None
        if cause is None
        else with_limits(cause.saving, cause.saving_interval, horizon=number(cause.horizon)),
        "why_not": dict(one.why_not),
    }
