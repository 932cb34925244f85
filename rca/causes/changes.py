"""What differs from the last run: changed answers on fixes, and figures that were restated."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from rca.causes.findings import Findings, month_end
from rca.records.meters import day_number


def changed_answers(now: list[dict[str, Any]], last: Mapping[str, Any] | None) -> None:
    """Add to each fix `changed_from` and `why_changed`, null where the last run said the same."""
    before = {fix["fix"]: fix for fix in (last or {}).get("fixes", [])}
    for fix in now:
        old = before.get(fix["fix"])
        fix["changed_from"] = fix["why_changed"] = None
        if old is None or (old["effect"], old["cause_answer"]) == (
            fix["effect"],
            fix["cause_answer"],
        ):
            continue
        fix["changed_from"] = {"effect": old["effect"], "cause_answer": old["cause_answer"]}
        fix["why_changed"] = _why(old, fix)


def _why(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """Say which figures moved between two runs."""
    names = {"units": "treated units", "observed": "failures seen", "expected": "expected failures"}
    moved = [
        f"{words} {_plain(old.get(key))} to {_plain(new.get(key))}"
        for key, words in names.items()
        if old.get(key) != new.get(key)
    ]
    if old["cause_answer"] != new["cause_answer"]:
        moved.append("new readings of the upstream cause")
    return ", ".join(moved) or "the plan was changed"


def _plain(value: Any) -> str:
    if value is None:
        return "not known"
    return f"{value:.3g}" if isinstance(value, float) else str(value)


def restated(findings: Findings, last: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    """List failure counts of the last run that today's records tell otherwise."""
    if not last or last.get("month", "") > findings.month:
        return []
    end = day_number_of(last["month"])
    events = findings.events[findings.events["day"] <= end]
    counts = events["part"].value_counts()
    found = []
    for part in (one for one in last.get("parts", []) if one["mode"] is None):
        then, now = part["failures_recorded"], int(counts.get(part["part"], 0))
        if then != now:
            late = f"rows were {'added' if now > then else 'removed'} or corrected"
            found.append(
                {
                    "figure": f"failures of {part['part']} to {last['month']}",
                    "last_run": then,
                    "now": now,
                    "why": f"{late} after the run of {last['month']}",
                }
            )
    return found


def day_number_of(month: str) -> int:
    """Return the last day of a month as days since 1970."""
    return int(day_number(np.array([np.datetime64(month_end(month))]))[0])
