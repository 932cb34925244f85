"""Every month of the demo in turn: what changed and whether it is explained (section "Report").

python -m tests.benchmarks.months_of_demo [first month]
"""

import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pandas as pd

from rca.causes.findings import open_findings
from rca.causes.since_last.changes import FIGURES, ranking
from rca.causes.since_last.row_changes import compare_rows, known_rows
from rca.causes.summary.whole import summary

FLEET = Path(__file__).parents[2] / "data_demo" / "fleet"
STEPS = ("new", "late", "corrected", "withdrawn", "recounted")


def history(first: str) -> list[dict[str, Any]]:
    """Summaries of all months from `first` on, each compared with the one before."""
    told: list[dict[str, Any]] = []
    then = None
    for month in pd.period_range(first, "2026-10", freq="M").astype(str):
        found = open_findings(FLEET, month=month)
        now = known_rows(found.fleet, found.events)
        last = told[-1] if told else None
        rows = None if last is None else compare_rows(then, now, cutoff=last["cutoff"])
        told.append(summary(found, last=last, rows=rows))
        then = now
        fixes = "; ".join(f"{one['fix']}: {one['effect']}" for one in told[-1]["fixes"])
        kinds = pd.Series([one["kind"] for one in told[-1]["changes"]]).value_counts().to_dict()
        print(
            f"{month}  {fixes or 'no fix yet'}  changes {kinds}  new {len(told[-1]['attention'])}"
        )
    return told


def unexplained(last: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """List what differs between two months and is not accounted for."""
    missing = []
    said = {(one["kind"], one["about"]) for one in now["changes"]}
    then, today = ranking(last), ranking(now)
    ranked = {**then, **today}
    for part in ranked:
        places = then.get(part), today.get(part)
        if places[0] != places[1] and min(p or 9 for p in places) <= 8:
            missing += [] if ("rank", part) in said else [f"rank of {part}"]
    before = {one["fix"]: one for one in last["fixes"]}
    for fix in now["fixes"]:
        old = before.get(fix["fix"])
        if old and old["effect"] != fix["effect"] and not fix["why_changed"]:
            missing.append(f"verdict on {fix['fix']}")
    moved = {(one["part"], one["figure"]): one for one in now["moves"]}
    after = {one["part"]: one for one in now["parts"] if one["mode"] is None}
    for old in (one for one in last["parts"] if one["mode"] is None):
        for figure in FIGURES:
            values = [
                one["failures_recorded"] if figure == "failures" else one[figure]["value"] or 0
                for one in (old, after[old["part"]])
            ]
            move = moved.get((old["part"], figure))
            change = sum(move[step] for step in STEPS) if move else 0
            if abs(values[1] - values[0] - change) > 1e-5 * max(values[1], 1):
                missing.append(f"{figure} of {old['part']}")
    return missing


def main(first: str = "2023-06") -> None:
    """Print each month, then whatever is not explained."""
    told = history(first)
    missing = [
        f"{now['month']}: {one}" for last, now in pairwise(told) for one in unexplained(last, now)
    ]
    verdicts = sum(
        one["kind"] == "verdict" and one["was"] is not None
        for run in told
        for one in run["changes"]
    )
    print(f"{len(told)} months, {verdicts} changed verdicts, not explained: {missing or 'nothing'}")


if __name__ == "__main__":
    main(*sys.argv[1:])
