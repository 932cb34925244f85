"""What the workbooks call: each function shows one thing and computes nothing itself."""

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from rca.causes.advice import rising_parts
from rca.causes.counts.units import unit_shares
from rca.causes.findings import Findings, open_findings
from rca.causes.rows_behind import rows_behind
from rca.causes.since_last.row_changes import RowChanges, compare_rows, known_rows
from rca.causes.summary.whole import summary as make_summary
from rca.errors import Refused
from rca.life.recurrence import Histories
from rca.records import files
from rca.records.groups import Group
from rca.records.meters import day_number
from rca.show import page
from rca.show.figures import fixes as fix_figures
from rca.show.figures import plots as figures
from rca.show.figures import screen as screen_figures
from rca.show.page import Section
from rca.show.running import runs
from rca.show.running.report import REFUSED_FILE, read_summary

ROWS = "rows"
KNOWN_ROWS = "known_rows.parquet"
MOST_FUNNELS = 3
MOST_OVER_TIME = 4
MOST_CANDIDATES = 14
MOST_LAGS = 6


def open_month(
    fleet_folder: str,
    *,
    month: str = "",
    group: tuple[str, str] = ("", ""),
    out_folder: str = "",
    earlier_runs: str = "",
    seed: int = 0,
) -> tuple[Findings, dict[str, Any]]:
    """Compute the findings of a fleet and month, and the summary that the page shows.

    A relative fleet folder that is not found here is looked for beside the workbooks.

    Parameters
    ----------
    group
        Attribute and value of the units to report as a fleet of their own; ("", "") for all.
    out_folder
        Where what was refused is left for whoever runs the workbook; "" nowhere.
    earlier_runs
        Folder of the earlier runs, to tell what changed since the last one; "" for none.
    """
    try:
        findings = open_findings(
            find_folder(fleet_folder),
            month=month or None,
            seed=seed,
            group=Group(*group) if group[0] else None,
        )
    except Refused as error:
        if out_folder:
            problems = [dataclasses.asdict(one) for one in error.problems]
            files.write_json(Path(out_folder) / REFUSED_FILE, problems)
        raise
    last, rows = last_run(findings, earlier_runs)
    return findings, make_summary(findings, last=last, rows=rows)


def last_run(
    findings: Findings, earlier_runs: str
) -> tuple[dict[str, Any] | None, RowChanges | None]:
    """Return the summary of the last run of an earlier month, and its rows beside today's."""
    folder = runs.newest_before(Path(earlier_runs), findings.month) if earlier_runs else None
    last = read_summary(folder)
    if folder is None or last is None or not (folder / KNOWN_ROWS).is_file():
        return last, None
    then = files.read_frame(folder / KNOWN_ROWS)
    now = known_rows(findings.fleet, findings.events)
    return last, compare_rows(then, now, cutoff=last["cutoff"])


def find_folder(folder: str) -> Path:
    """Return the folder as given, or beside the workbooks where it is not found from here."""
    given = Path(folder)
    if given.is_dir() or given.is_absolute():
        return given
    beside = files.shipped("workbooks").parent / given
    return beside if beside.is_dir() else given


def save(
    findings: Findings, summary: Mapping[str, Any], *, folder: str, earlier_runs: str = ""
) -> None:
    """Write the summary, what was set aside, and the rows behind every figure into a folder.

    Nothing is written where no folder is given.
    """
    if not folder:
        return
    out = Path(folder)
    files.write_json(out / "summary.json", summary)
    files.write_csv(out / "set_aside.csv", findings.set_aside)
    files.write_frame(out / KNOWN_ROWS, known_rows(findings.fleet, findings.events))
    files.make_folder(out / ROWS)
    for name, table in _tables(findings, earlier_runs):
        files.write_csv(out / ROWS / f"{name}.csv", table)


def _tables(findings: Findings, earlier_runs: str) -> Iterator[tuple[str, pd.DataFrame]]:
    yield from rows_behind(findings)
    _, changed = last_run(findings, earlier_runs)
    if changed is not None:
        yield "changes", changed.rows
    causes = [
        {**dataclasses.asdict(one), "review": "; ".join(one.review)} for one in findings.causes
    ]
    yield "causes", pd.DataFrame(causes)
    if findings.back_tests:
        tests = [table.assign(part=part) for part, table in findings.back_tests.items()]
        yield "back-test", pd.concat(tests, ignore_index=True)


def main_figure(findings: Findings) -> go.Figure:
    """The one figure of the first page: repeats beside chance for the parts that matter most."""
    return figures.repeat_figure(findings.whole_parts[: page.MOST_PARTS])


def part_pages(
    findings: Findings, summary: Mapping[str, Any], *, folder: str = ""
) -> Iterator[Section | go.Figure]:
    """Each part that failed, with its life plot, chain of causes and the fixes that concern it."""
    style = findings.fleet.settings.numbers
    yield Section('<h2 id="parts">Part by part</h2>')
    for one in findings.whole_parts[: page.MOST_PARTS]:
        yield part_text(findings, summary, one.part, folder=folder)
        if one.failures:
            yield figures.life_plot(one, style=style)
        yield from _verdict_figures(findings, one.part)
    yield page.fixes_section(summary, folder=folder)
    rest = [one.part for one in findings.whole_parts[page.MOST_PARTS :]]
    if rest:
        yield Section("<h2>The other parts</h2>")
    for name in rest:
        yield part_text(findings, summary, name, folder=folder)
        yield from _verdict_figures(findings, name)


def _verdict_figures(findings: Findings, part: str) -> Iterator[go.Figure]:
    for verdict in findings.fixes:
        if verdict.plan.part == part and len(verdict.path):
            yield fix_figures.verdict_figure(verdict)


def part_text(
    findings: Findings, summary: Mapping[str, Any], part: str, *, folder: str = ""
) -> Section:
    """One part in words and numbers, with the why-chains of its investigations."""
    chains = tuple(_chains(findings, part))
    return page.part_section(summary, part, chains=chains, folder=folder)


def _chains(findings: Findings, part: str) -> Iterator[tuple[int, str]]:
    """Give the place of each investigation of a part among all, and its why-chain."""
    for place, one in enumerate(findings.cases):
        if one.case.part.casefold() == part.casefold():
            yield place, one.why_chain_text()


def totals_figures(findings: Findings) -> Iterator[Section | go.Figure]:
    """Failures, cost and downtime by part, each with its limits and the share so far."""
    currency = findings.fleet.settings.currency or "currency not stated"
    yield Section(
        '<h2 id="money">Failures, cost and downtime by part</h2><p>The fifteen largest, with the '
        "range that holds the true sum 95 times in 100; the percentage is the share so far.</p>"
    )
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
            style = findings.fleet.settings.numbers
            yield figures.totals_figure(rows, title=title, unit=unit, style=style)


def upstream_pages(findings: Findings, summary: Mapping[str, Any]) -> Iterator[Section | go.Figure]:
    """What comes before the failures or goes with them: how strongly, and how long before."""
    yield page.upstream_section(summary)
    if findings.screen is None:
        return
    found = [*_rows(findings.screen.found), *_rows(findings.screen.explained)]
    others = findings.screen.nearest.sort_values("p", kind="stable")
    rows = [*found, *_rows(others)][: max(len(found), MOST_CANDIDATES)]
    if rows:
        yield screen_figures.forest_figure(
            rows, title="Candidates of all parts", name_target=True,
            style=findings.fleet.settings.numbers,
        )  # fmt: skip
    yield from _lag_figures(findings, found)


def part_upstream(findings: Findings, part: str) -> Iterator[go.Figure]:
    """The same for one part."""
    if findings.screen is None:
        return
    every = (findings.screen.found, findings.screen.explained, findings.screen.nearest)
    found, explained, others = (_rows(one[one["target"] == part]) for one in every)
    rows = [*found, *explained, *others]
    if rows:
        title = f"{part}: what comes before or goes with its failures"
        style = findings.fleet.settings.numbers
        yield screen_figures.forest_figure(rows, title=title, style=style)
    yield from _lag_figures(findings, [*found, *explained])


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return table.to_dict("records")


def _lag_figures(findings: Findings, rows: list[dict[str, Any]]) -> Iterator[go.Figure]:
    assert findings.screen is not None
    events = [row for row in rows if row["kind"] == "event"]
    for row in events[:MOST_LAGS]:
        lags = findings.screen.lags[row["target"], row["candidate"]]
        yield screen_figures.lag_figure(row, lags)


def unit_pages(
    findings: Findings, summary: Mapping[str, Any], *, folder: str = ""
) -> Iterator[Section | go.Figure]:
    """Units with more than their share, and the funnel of the parts that they belong to."""
    yield page.units_section(summary, folder=folder)
    parts = list(dict.fromkeys(one.part for one in findings.units))
    for name in parts[:MOST_FUNNELS]:
        shares = unit_shares(findings.lives, findings.part(name))
        if shares is not None:
            yield figures.funnel_figure(shares)


def over_time(findings: Findings) -> Iterator[Section | go.Figure]:
    """Failures a unit against the time watched: of all parts, and of those that fail more often."""
    yield Section(
        '<h2 id="time">Failures over time</h2><p>Mean number of failures a unit since it was first '
        "watched. A line that bends upward means that failures come ever faster.</p>"
    )
    if len(findings.events) == 0:
        yield Section("<p>No failure is on record.</p>")
        return
    yield repeats_figure(findings)
    for part in rising_parts(findings.whole_parts)[:MOST_OVER_TIME]:
        yield repeats_figure(findings, part)


def units_figure(findings: Findings, part: str) -> go.Figure | None:
    """Failures of each unit against expected ones; None where there are too few failures."""
    shares = unit_shares(findings.lives, findings.part(part))
    return None if shares is None else figures.units_figure(shares)


def repeats_figure(findings: Findings, part: str = "") -> go.Figure:
    """Mean cumulative number of failures a unit against the time watched; "" for all parts."""
    watch = findings.fleet.watch
    start = day_number(watch["watched_from"].to_numpy()).astype(float)
    end = day_number(watch["watched_to"].to_numpy()).astype(float) + 1
    units = watch["unit"].astype(str)
    events = findings.events
    events = events[events["part"] == part] if part else events
    since = dict(zip(units, start, strict=True))
    histories = Histories.of(
        units.to_numpy(),
        np.zeros(len(units)),
        end - start,
        event_unit=events["unit"].to_numpy(),
        event_age=events["day"].to_numpy() - events["unit"].map(since).to_numpy() + 0.5,
        unit_of_age="days",
    )
    title = f"{part or 'All parts'}: failures a unit since watching began"
    return figures.cumulative_figure(histories, title=title, y="failures a unit")


def show_all(things: Iterable[Any]) -> None:
    """Show each of several sections and figures, in a notebook."""
    from IPython.display import display

    for thing in things:
        if thing is not None:
            display(thing)


def check_lines(findings: Findings) -> str:
    """A few rounded numbers that the tests of the workbooks compare."""
    rows = findings.fleet.account("repairs")
    first = "".join(f"; first: {one.part}" for one in findings.whole_parts[:1])
    return "\n".join(
        [
            f"{rows.read} rows read = {rows.used} used + {rows.set_aside} set aside",
            f"{len(findings.whole_parts)} parts failed{first}",
            *(f"{one.plan.fix}: {one.effect}, cause {one.cause_answer}" for one in findings.fixes),
        ]
    )
