"""What the workbooks call: each function shows one thing and computes nothing itself."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go

from rca.causes.findings import Findings, open_findings
from rca.causes.summary import summary as make_summary
from rca.causes.units import unit_shares
from rca.life.recurrence import Histories
from rca.records import files
from rca.records.meters import day_number
from rca.show import figures, page
from rca.show.page import Section


def open_month(
    fleet_folder: str, *, month: str = "", last_summary: str = "", seed: int = 0
) -> tuple[Findings, dict[str, Any]]:
    """Compute the findings of a fleet and month, and the summary that the page shows.

    A relative folder that is not found here is looked for beside the workbooks.
    """
    findings = open_findings(find_folder(fleet_folder), month=month or None, seed=seed)
    last = json.loads(Path(last_summary).read_text(encoding="utf-8")) if last_summary else None
    return findings, make_summary(findings, last=last)


def find_folder(folder: str) -> Path:
    """Return the folder as given, or beside the workbooks where it is not found from here."""
    given = Path(folder)
    if given.is_dir() or given.is_absolute():
        return given
    beside = files.shipped("workbooks").parent / given
    return beside if beside.is_dir() else given


def save(findings: Findings, summary: Mapping[str, Any], *, folder: str) -> None:
    """Write summary.json and set_aside.csv into a folder; nothing where no folder is given."""
    if folder:
        files.write_json(Path(folder) / "summary.json", summary)
        files.write_csv(Path(folder) / "set_aside.csv", findings.set_aside)


def main_figure(findings: Findings) -> go.Figure:
    """The one figure of the first page: repeats beside chance for the parts that matter most."""
    return figures.repeat_figure(findings.whole_parts[: page.MOST_PARTS])


def part_pages(findings: Findings, summary: Mapping[str, Any]) -> Iterator[Section | go.Figure]:
    """Each part that failed, with its life plot, chain of causes and the fixes that concern it."""
    yield Section("<h2>Part by part</h2>")
    for one in findings.whole_parts[: page.MOST_PARTS]:
        yield part_text(findings, summary, one.part)
        if one.failures:
            yield figures.life_plot(one)
        for verdict in findings.fixes:
            if verdict.plan.part == one.part and len(verdict.path):
                yield figures.verdict_figure(verdict)
    rest = [one.part for one in findings.whole_parts[page.MOST_PARTS :]]
    if rest:
        yield Section("<h2>The other parts</h2>")
    for name in rest:
        yield part_text(findings, summary, name)


def part_text(findings: Findings, summary: Mapping[str, Any], part: str) -> Section:
    """One part in words and numbers, with the why-chains of its investigations."""
    return page.part_section(summary, part, chains=tuple(_chains(findings, part)))


def _chains(findings: Findings, part: str) -> Iterator[dict[str, str]]:
    for one in findings.cases:
        if one.case.part.casefold() == part.casefold():
            yield {"title": one.case.title or one.case.id, "text": one.why_chain_text()}


def totals_figures(findings: Findings) -> Iterator[go.Figure]:
    """Failures, cost and downtime by part, each with its limits."""
    currency = findings.fleet.settings.currency or "currency not stated"
    for key, title, unit in (
        ("failures", "Failures by part", "failures"),
        ("cost", "Cost of all repairs by part", currency),
        ("downtime", "Downtime by part", "hours"),
    ):
        rows = [
            (name, total.value, total.interval.lower, total.interval.upper)
            for name, all_three in findings.totals.items()
            if (total := all_three[key]) is not None and total.value > 0
        ]
        if rows:
            yield figures.totals_figure(rows, title=title, unit=unit)


def units_figure(findings: Findings, part: str) -> go.Figure | None:
    """Failures of each unit against expected ones; None where there are too few failures."""
    shares = unit_shares(findings.lives, findings.part(part))
    return None if shares is None else figures.units_figure(shares)


def repeats_figure(findings: Findings, part: str) -> go.Figure:
    """Mean cumulative number of a part's failures a unit against the time watched."""
    watch = findings.fleet.watch
    start = day_number(watch["watched_from"].to_numpy()).astype(float)
    end = day_number(watch["watched_to"].to_numpy()).astype(float) + 1
    units = watch["unit"].astype(str)
    events = findings.events[findings.events["part"] == part]
    since = dict(zip(units, start, strict=True))
    histories = Histories.of(
        units.to_numpy(),
        np.zeros(len(units)),
        end - start,
        event_unit=events["unit"].to_numpy(),
        event_age=events["day"].to_numpy() - events["unit"].map(since).to_numpy() + 0.5,
        unit_of_age="days",
    )
    return figures.cumulative_figure(
        histories, title=f"{part}: failures a unit since watching began", y="failures a unit"
    )


def show_all(things: Iterator[Any]) -> None:
    """Show each of several sections and figures, in a notebook."""
    from IPython.display import display

    for thing in things:
        if thing is not None:
            display(thing)


def check_lines(findings: Findings) -> str:
    """A few rounded numbers that the tests of the workbooks compare."""
    rows = findings.fleet.account("repairs")
    first = findings.whole_parts[0]
    return "\n".join(
        [
            f"{rows.read} rows read = {rows.used} used + {rows.set_aside} set aside",
            f"{len(findings.whole_parts)} parts failed; first: {first.part}",
            *(f"{one.plan.fix}: {one.effect}, cause {one.cause_answer}" for one in findings.fixes),
        ]
    )
