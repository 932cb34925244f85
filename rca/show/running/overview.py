"""The page over many reports: one line each, what is new, and which failed and why."""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rca.records import files
from rca.show import page
from rca.show.running import runs
from rca.show.running.report import DONE, read_summary


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one report: its folder and what is new, or why it failed."""

    name: str
    place: str  # folder of its reports below the common one
    folder: str = ""  # of the report made
    attention: tuple[str, ...] = ()
    error: str = ""
    exit_code: int = DONE
    lines: Mapping[str, str] | None = None
    fleet: str = ""
    month: str = ""


def write_overview(work: Path, outcomes: Sequence[Outcome], *, out: Path) -> None:
    """Write overview.html and overview.json into `work`, a run folder below `out`."""
    rows = [_row(one, out) for one in outcomes]
    files.write_json(work / "overview.json", {"schema": "rca-overview-1", "reports": rows})
    made = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    html = page.overview(rows, made=made)
    files.write_text(work / "overview.html", html)


def _row(one: Outcome, out: Path) -> dict[str, Any]:
    """One report: where it is, its lines and counts; for one that failed, the last good one."""
    place = out / one.place
    last_good = None if not one.error else runs.latest(place)
    folder = one.folder or (last_good.name if last_good else "")
    summary = read_summary(place / folder) if folder else None
    return {
        **dataclasses.asdict(one),
        "lines": dict(one.lines) if one.lines else None,
        "attention": list(one.attention),
        "last_good": last_good.name if last_good else None,
        "page": f"../{one.place}/{folder}/report.html" if folder else None,
        **_counts(summary),
    }


def _counts(summary: Mapping[str, Any] | None) -> dict[str, Any]:
    """Failures and cost of all parts of a report, null where there is none."""
    if summary is None:
        return {"failures": None, "repeats": None, "cost": None, "currency": None, "used": None}
    whole = [one for one in summary["parts"] if one["mode"] is None]
    costs = [one["cost"]["value"] for one in whole if one["cost"]["value"] is not None]
    rates = [one["repeat_rate"] for one in whole if one["repeat_rate"]]
    return {
        "failures": sum(one["failures_recorded"] for one in whole),
        "repeats": sum(one["repeats"] for one in rates),
        "cost": float(f"{sum(costs):.7g}") if costs else None,
        "currency": summary["currency"],
        "used": summary["records"]["used"],
    }
