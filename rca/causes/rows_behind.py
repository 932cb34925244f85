"""The rows behind every figure: tables that go beside the page, so that each number can be traced.

Names are those of the files below `rows/` without their ending; `summary.json` gives the one of
each part and fix.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from rca.causes.counts.merit_sums import MONTHS, monthly_sums
from rca.causes.counts.parts import PartFinding, choose_scale
from rca.causes.counts.units import unit_shares
from rca.causes.findings import Findings
from rca.causes.fix.verdict import Verdict
from rca.causes.fixes import applied_to
from rca.records.safe_names import file_name

SHARES_OF = 8  # parts, in order of importance, whose units are listed one by one
_REPAIRS = (
    "unit", "date", "part", "position", "meter", "action", "reason", "mode", "cause_addressed",
    "complaint", "cause", "correction", "cost", "downtime_hours", "system", "lot", "order",
)  # fmt: skip


def part_rows_name(part: str) -> str:
    """Return the name of the table with the repair rows of a part."""
    return f"repairs-{file_name(part)}"


def part_lives_name(part: str) -> str:
    """Return the name of the table with the lives of a part."""
    return f"lives-{file_name(part)}"


def part_units_name(part: str) -> str:
    """Return the name of the table with the failures of each unit beside those expected."""
    return f"units-{file_name(part)}"


def fix_rows_name(fix: str) -> str:
    """Return the name of the table with the treated units of a fix and their failures."""
    return f"fix-{file_name(fix)}"


def rows_behind(findings: Findings) -> Iterator[tuple[str, pd.DataFrame]]:
    """Give each table with its name."""
    repairs = marked_repairs(findings)
    by_part = dict(tuple(repairs.groupby(repairs["part"].astype(str), sort=False)))
    for one in findings.whole_parts:
        yield part_rows_name(one.part), by_part[one.part]
        yield part_lives_name(one.part), lives_of_part(findings, one)
    for one in findings.whole_parts[:SHARES_OF]:
        if (shares := unit_shares(findings.lives, one)) is not None:
            yield part_units_name(one.part), shares.table
    for verdict in findings.fixes:
        yield fix_rows_name(verdict.plan.fix), rows_of_fix(findings, verdict)
    clean = repairs["reason"].astype(str).eq("no fault found")
    yield "no-fault-found", repairs[clean]
    yield "all-repairs", repairs
    yield "months", monthly_table(findings)
    yield "forecast", forecast_table(findings)


def marked_repairs(findings: Findings) -> pd.DataFrame:
    """Return all repair rows used, with their line and what each counts as.

    Columns beside those of the table: line; failure, window_complete, came_back (yes or blank).
    """
    fleet, events = findings.fleet, findings.events
    repairs = fleet.repairs[[name for name in _REPAIRS if name in fleet.repairs.columns]]
    marks = {}
    for name, column in (
        ("failure", np.ones(len(events), dtype=bool)),
        ("window_complete", events["complete"].to_numpy()),
        ("came_back", events["repeat"].to_numpy()),
    ):
        mark = np.full(len(repairs), "", dtype=object)
        mark[events["row"].to_numpy()[column]] = "yes"
        marks[name] = mark
    table = repairs.assign(**marks)
    table.insert(0, "line", fleet.lines_of("repairs"))
    return table


def lives_of_part(findings: Findings, one: PartFinding) -> pd.DataFrame:
    """Return the pieces of lives of a part on its own scale, each with the line that ended it."""
    rows = findings.lives.of(one.part)
    entry, age = f"entry_{one.scale}", f"age_{one.scale}"
    known = rows[rows[age].notna()]
    return pd.DataFrame(
        {
            "line": _lines(findings, known["row"]),
            "unit": known["unit"],
            "position": known["position"],
            "fitting": known["fitting"],
            "piece": known["piece"],
            "begin": known["begin"].dt.strftime("%Y-%m-%d"),
            "end": known["end"].dt.strftime("%Y-%m-%d"),
            f"watched_from_age_{_word(one)}": known[entry].round(1),
            f"age_{_word(one)}": known[age].round(1),
            "failed": np.where(known["failed"], "yes", ""),
            "ended_by": known["ended_by"],
            "mode": known["mode"],
            "lot": known["lot"],
        }
    )


def _word(one: PartFinding) -> str:
    return one.unit_of_age.replace(" ", "_")


def _lines(findings: Findings, rows: pd.Series) -> pd.Series:
    """Return lines in the repairs file of rows, blank where no repair ended the life."""
    lines = findings.fleet.lines_of("repairs")
    row = rows.to_numpy(int)
    if not len(lines):
        return pd.Series("", index=rows.index)
    text = np.where(row >= 0, lines[np.maximum(row, 0)].astype(str), "")
    return pd.Series(text, index=rows.index)


def rows_of_fix(findings: Findings, verdict: Verdict) -> pd.DataFrame:
    """Return the treated units of a fix, and their failures of its part (and mode) after it.

    Column what: "treated" or "failure after the fix"; the latter are those the verdict counts.
    """
    plan = verdict.plan
    applied = applied_to(findings.fleet, plan.fix)
    first = applied.groupby("unit")["date"].min()
    failures = failures_after(findings, verdict, first)
    readings = applied["reading"] if "reading" in applied.columns else np.nan
    treated = pd.DataFrame(
        {
            "what": "treated",
            "unit": applied["unit"],
            "date": applied["date"].dt.strftime("%Y-%m-%d"),
            "position": "",
            "reading": readings,
            "mode": "",
            "line": "",
        }
    )
    after = pd.DataFrame(
        {
            "what": "failure after the fix",
            "unit": failures["unit"],
            "date": failures["end"].dt.strftime("%Y-%m-%d"),
            "position": failures["position"],
            "reading": np.nan,
            "mode": failures["mode"],
            "line": _lines(findings, failures["row"]),
        }
    )
    return pd.concat([treated, after], ignore_index=True) if len(after) else treated


def failures_after(findings: Findings, verdict: Verdict, first: pd.Series) -> pd.DataFrame:
    """Return the pieces of lives that failed after their unit's fix, as the verdict counts them.

    Parameters
    ----------
    first
        First day of the fix by unit; a failure on that day lies before it.
    """
    rows = findings.lives.of(verdict.plan.part)
    scale = choose_scale(findings.fleet, rows)
    failed = rows["failed"].astype(bool) & (rows[f"age_{scale}"] > rows[f"entry_{scale}"])
    if verdict.plan.mode:
        failed &= rows["mode"].eq(verdict.plan.mode)
    rows = rows[failed & rows["unit"].isin(first.index)]
    return rows[rows["end"].to_numpy() > rows["unit"].map(first).to_numpy()]


def monthly_table(findings: Findings) -> pd.DataFrame:
    """Return the sums behind the figures of merit, a row a month, units added up."""
    sums = monthly_sums(findings.fleet, findings.lives, findings.events, month=findings.month)
    months = pd.period_range(end=pd.Period(findings.month, freq="M"), periods=MONTHS, freq="M")
    columns = {name: np.nansum(table, axis=0).round(2) for name, table in sums.items()}
    return pd.DataFrame({"month": months.astype(str), **columns})


def forecast_table(findings: Findings) -> pd.DataFrame:
    """Return the parts in service from which the forecast starts, with their age, by unit."""
    tables = []
    for one in findings.whole_parts:
        if one.part not in findings.forecasts:
            continue
        rows = findings.lives.of(one.part)
        rows = rows[rows["ended_by"].eq("cut-off") & rows[f"age_{one.scale}"].notna()]
        tables.append(
            pd.DataFrame(
                {
                    "part": one.part,
                    "unit": rows["unit"],
                    "position": rows["position"],
                    "age": rows[f"age_{one.scale}"].round(1),
                    "unit_of_age": one.unit_of_age,
                }
            )
        )
    if not tables:
        return pd.DataFrame(columns=["part", "unit", "position", "age", "unit_of_age"])
    return pd.concat(tables, ignore_index=True)
