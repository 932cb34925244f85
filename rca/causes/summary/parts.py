"""One part, or one mode of it, as plain data for summary.json."""

from collections.abc import Mapping
from typing import Any

from rca.causes.counts.parts import PartFinding
from rca.causes.counts.totals import Total
from rca.causes.findings import Findings
from rca.causes.plain_numbers import number, with_limits
from rca.causes.rows_behind import part_lives_name, part_rows_name
from rca.causes.screen.upstream import sentence
from rca.causes.summary.money import money_data
from rca.life.sample import Interval


def part_data(one: PartFinding, findings: Findings) -> dict[str, Any]:
    """Return one entry of `parts`."""
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
        "money": None if one.mode is not None else money_data(findings.worth.get(one.part)),
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
