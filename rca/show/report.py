"""From a fleet folder to a finished report: papermill runs the workbook, the page is made of it.

A report appears whole or not at all: `OUT/2026-10/` (a rerun makes `2026-10.2`), and only then
does `OUT/latest` point at it. The notebook of a failed run is kept apart for the engineer.
"""

import json
import os
import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from rca.causes.findings import month_end
from rca.errors import Busy, NotWritten, Problem, RcaError, Refused
from rca.records import files
from rca.records.fleet import last_complete_month, read_fleet, today

WORKBOOK = "monthly_report.ipynb"
DONE, ATTENTION = 0, 3
PARAMETERS = ("fleet_folder", "month", "out_folder", "last_summary", "seed")
VERSIONS_OF = ("rca-workbooks", "numpy", "scipy", "pandas", "plotly", "papermill", "nbconvert")


@dataclass(frozen=True, slots=True)
class Report:
    """A finished report: its folder, its summary, and whether something new needs a person."""

    folder: Path
    summary: Mapping[str, Any]
    exit_code: int
    attention: tuple[str, ...]


def write_report(
    fleet_folder: Path,
    *,
    month: str | None = None,
    out: Path,
    seed: int = 0,
    progress: bool = False,
) -> Report:
    """Run the monthly workbook on a fleet folder and write the report below `out`.

    Parameters
    ----------
    month
        YYYY-MM; default the last complete month in the fleet's time zone.
    progress
        Show papermill's progress on a terminal.

    Raises
    ------
    Refused
        The data cannot be used (nothing is written).
    Busy
        Another run is writing below `out`.
    NotWritten
        The folder cannot be written to.
    RcaError
        The workbook failed; its notebook is kept in `OUT/failed/`.
    """
    fleet_folder, out = Path(fleet_folder).resolve(), Path(out).resolve()
    month = _checked_month(fleet_folder, month)
    with _lock(out):
        last = last_summary(out, month)
        with files.folder_that_appears_whole(out / month) as work:
            parameters = {
                "fleet_folder": str(fleet_folder),
                "month": month,
                "out_folder": str(work),
                "last_summary": str(last) if last else "",
                "seed": seed,
            }
            _run_workbook(work, parameters, failed=out / "failed", progress=progress)
            summary = json.loads((work / "summary.json").read_text(encoding="utf-8"))
            _write_page(work, summary)
            attention = what_needs_a_person(
                summary, json.loads(last.read_text(encoding="utf-8")) if last else None
            )
            _write_manifest(work, fleet_folder, month=month, seed=seed, last=last)
        folder = files.newest_run(out, month)
        files.point_to(out / "latest", folder)
    return Report(folder, summary, ATTENTION if attention else DONE, attention)


def _checked_month(fleet_folder: Path, month: str | None) -> str:
    """Read the records once, so that unusable data is refused before anything is written."""
    fleet = read_fleet(fleet_folder)
    latest = f"{fleet.cutoff:%Y-%m}"
    if month is None:
        return last_complete_month(fleet.cutoff, now=today(fleet.settings.timezone))
    month_end(month)
    if month > latest:
        rule = f"lies after the cut-off {fleet.cutoff}"
        step = f"the latest month that can be reported is {latest}"
        raise Refused([Problem("--month", 0, "", month, rule, step)])
    return month


def _lock(out: Path) -> Any:
    """Hold the lock of an output folder; a run that was killed leaves no lock behind."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        lock = FileLock(out / ".lock", timeout=0)
        lock.acquire()
    except Timeout as error:
        step = "wait for it to end; a crashed run holds no lock"
        raise Busy("another run is writing this report", next_step=step) from error
    except OSError as error:
        step = "check that the folder may be written to and the disk has room"
        raise NotWritten(
            f"{out.name} cannot be written to: {error.strerror}", next_step=step
        ) from error
    return lock


def last_summary(out: Path, month: str) -> Path | None:
    """Return the newest summary of the latest month before `month` that was reported."""
    runs = [
        path.parent.name
        for path in out.glob("[0-9][0-9][0-9][0-9]-[0-9][0-9]*/summary.json")
        if path.parent.name[:7] < month
    ]
    if not runs:
        return None
    latest = max(name[:7] for name in runs)
    return files.newest_run(out, latest) / "summary.json"


def _run_workbook(work: Path, parameters: dict[str, Any], *, failed: Path, progress: bool) -> None:
    """Execute the workbook; keep the notebook of a failed run in a folder of its own."""
    import papermill
    from nbclient.exceptions import CellTimeoutError, DeadKernelError

    source = files.shipped("workbooks") / WORKBOOK
    check_parameters(source, PARAMETERS)
    target = work / "report.ipynb"
    os.environ.setdefault("JUPYTER_PLATFORM_DIRS", "1")
    try:
        papermill.execute_notebook(
            str(source),
            str(target),
            parameters=parameters,
            kernel_name="python3",
            progress_bar=progress and sys.stderr.isatty(),
            cwd=str(work),
            log_output=False,
        )
    except (papermill.PapermillExecutionError, CellTimeoutError, DeadKernelError) as error:
        kept = _keep_failed(target, failed)
        name, value = getattr(error, "ename", type(error).__name__), getattr(error, "evalue", "")
        raise RcaError(
            f"the workbook failed: {name}: {value}",
            next_step=f"the notebook as far as it ran is kept: {kept}",
        ) from error


def check_parameters(workbook: Path, wanted: tuple[str, ...]) -> None:
    """Refuse a workbook without a parameters cell, or with other parameters than these.

    Papermill only warns of both, and then runs with the workbook's own defaults.
    """
    import papermill

    found = set(papermill.inspect_notebook(str(workbook)))
    if found != set(wanted):
        raise RcaError(
            f"{workbook.name} takes {', '.join(sorted(found)) or 'no parameters'}, "
            f"but must take {', '.join(wanted)}",
            next_step="restore its cell tagged parameters",
        )


def _keep_failed(notebook: Path, failed: Path) -> str:
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    try:
        failed.mkdir(exist_ok=True)
        kept = failed / f"{stamp}.ipynb"
        shutil.copyfile(notebook, kept)
    except OSError:
        return "nowhere, since the folder could not be written to"
    return f"{failed.name}/{kept.name}"


def _write_page(work: Path, summary: Mapping[str, Any]) -> None:
    from rca.show.export import notebook_to_page

    notebook = work / "report.ipynb"
    title = f"{summary['fleet']}, {summary['month']}"
    files.write_text(work / "report.html", notebook_to_page(notebook, title=title))


def _write_manifest(
    work: Path, fleet_folder: Path, *, month: str, seed: int, last: Path | None
) -> None:
    """Write what the report was made from; database addresses and the like are never in it."""
    inputs = sorted(path for path in fleet_folder.rglob("*") if path.is_file())
    outputs = sorted(path for path in work.iterdir() if path.name != "report.ipynb")
    manifest = {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "parameters": {"fleet": fleet_folder.name, "month": month, "seed": seed},
        "compared_with": last.parent.name if last else None,
        "inputs": {
            path.relative_to(fleet_folder).as_posix(): files.sha256(path) for path in inputs
        },
        "outputs": {path.name: files.sha256(path) for path in outputs},
        "versions": {name: version(name) for name in VERSIONS_OF}
        | {"python": ".".join(map(str, sys.version_info[:3]))},
    }
    files.write_json(work / "manifest.json", manifest)


def what_needs_a_person(
    summary: Mapping[str, Any], last: Mapping[str, Any] | None
) -> tuple[str, ...]:
    """List what is new since the last run and needs a person.

    A changed answer on a fix, a result newly blocked, a repeat on a safety-critical part. In a
    first run nothing is new but safety-critical repeats.
    """
    found = [
        f"{fix['fix']}: {fix['changed_from']['effect']} became {fix['effect']}"
        for fix in summary["fixes"]
        if fix["changed_from"]
    ]
    if last:
        before = {one["result"] for one in last["blocked"]}
        found += [
            f"newly blocked: {one['result']} ({one['reason']})"
            for one in summary["blocked"]
            if one["result"] not in before
        ]
    repeats_before = {
        one["part"]: (one["repeat_rate"] or {}).get("repeats", 0)
        for one in (last or {}).get("parts", [])
        if one["mode"] is None
    }
    for one in summary["parts"]:
        if one["mode"] is None and one["safety_critical"] and one["repeat_rate"]:
            repeats = one["repeat_rate"]["repeats"]
            if repeats > repeats_before.get(one["part"], 0):
                found.append(f"safety-critical {one['part']}: {repeats} repeats so far")
    return tuple(found)
