"""summary.json: the findings as plain data, the one source of every number on the page.

Numbers with intervals are {"value", "lower", "upper"}; what is unknown or unbounded is null, and
`why_null` beside it says why. Nothing is computed here but rounding to seven figures.
"""

import math
from collections.abc import Mapping
from typing import Any

from rca.causes.advice import five_lines, next_steps
from rca.causes.changes import changed_answers, restated
from rca.causes.findings import Findings
from rca.causes.parts import PartFinding
from rca.causes.standing_causes import CauseFinding
from rca.causes.totals import Total
from rca.causes.units import UnitFinding
from rca.causes.upstream import sentence
from rca.life.sample import Interval

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


def summary(findings: Findings, *, last: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return all that summary.json holds, in the order in which the page shows it.

    `last` is the summary of the run before, to tell what changed since.
    """
    fleet = findings.fleet
    account = fleet.account("repairs")
    aside = findings.set_aside
    whole = aside[aside["scope"].eq("row") & aside["table"].eq("repairs")]
    fixes = [verdict.summary() for verdict in findings.fixes]
    changed_answers(fixes, last)
    return {
        "schema": SCHEMA,
        "fleet": fleet.name,
        "month": findings.month,
        "cutoff": f"{fleet.cutoff:%Y-%m-%d}",
        "meter_unit": fleet.settings.meter_unit,
        "currency": fleet.settings.currency or None,
        "seed": findings.seed,
        "last_month": last.get("month") if last else None,
        "lines": five_lines(findings),
        "next_steps": next_steps(findings),
        "records": {
            "read": account.read,
            "used": account.used,
            "set_aside": account.set_aside,
            "set_aside_by_reason": _counts(whole["rule"]),
            "spoiled_cells_by_reason": _counts(aside.loc[aside["scope"].ne("row"), "rule"]),
            "lives_left_out": _left_out(findings),
        },
        "parts": [_part(one, findings) for one in findings.parts],
        "units": [_unit(one) for one in findings.units],
        "fixes": fixes,
        "causes": [_cause(one) for one in findings.causes],
        "forecast": _forecast(findings),
        "restated": restated(findings, last),
        "blocked": [{"result": name, "reason": why} for name, why in findings.blocked],
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
