"""From a fleet folder to a finished report: papermill runs the workbook, the page is made of it.

A report appears whole or not at all: `OUT/2026-10/` (a rerun makes `2026-10.2`), and only then
does `OUT/latest` point at it. Rows behind its figures lie in `rows/`.
"""

import json
import logging
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from rca.errors import NotWritten, Problem, RcaError, Refused
from rca.records import files
from rca.records.groups import Group
from rca.records.number_style import NumberStyle
from rca.records.safe_names import file_name
from rca.records.settings import Settings, read_settings
from rca.show.running import runs
from rca.show.running.execution import WorkbookFailed, run_workbook, secrets_in
from rca.show.running.manifest import input_hashes, manifest, refuse_if_changed

log = logging.getLogger("rca.report")

WORKBOOK = "monthly_report.ipynb"
DONE, ATTENTION = 0, 3
PARAMETERS = (
    "fleet_folder", "month", "group_attribute", "group_value", "out_folder", "earlier_runs", "seed",
)  # fmt: skip
REFUSED_FILE: Final = "refused.json"
"""Where the workbook leaves what it refused, for the process that runs it."""
NEAR: Final = 3
"""Folders up from a run beyond which the path to its fleet says more of the machine than of it."""
TIME_LIMIT: Final = 60.0
"""Minutes after which a report is given up."""


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
    group: Group | None = None,
    time_limit: float = TIME_LIMIT,
    kernel_manager: type | None = None,
) -> Report:
    """Run the monthly workbook on a fleet folder and write the report below `out`.

    Parameters
    ----------
    month
        YYYY-MM; default the last complete month in the fleet's time zone.
    group
        Report only these units, as a fleet of its own.
    time_limit
        Minutes after which the run is given up.
    kernel_manager
        Class that starts the kernel; None for an ordinary one.

    Raises
    ------
    Refused
        The data cannot be used, or changed while it was read.
    Busy
        Another run is writing below `out`.
    NotWritten
        The folder cannot be written to, or the disk is full.
    RcaError
        The workbook failed or took too long; its notebook is kept in `OUT/failed/`.
    """
    fleet_folder, out = Path(fleet_folder).resolve(), Path(out).resolve()
    settings = read_settings(fleet_folder)
    with runs.only_run(out):
        before = input_hashes(fleet_folder, settings)
        with runs.new_run(out) as run:
            parameters = {
                "fleet_folder": _from(run.work, fleet_folder),
                "month": month or "",
                "group_attribute": group.attribute if group else "",
                "group_value": group.value if group else "",
                "out_folder": ".",
                "earlier_runs": "..",
                "seed": seed,
            }
            log.info("%s: the workbook starts", settings.name)
            _run(run.work, parameters, settings, out, time_limit, kernel_manager)
            summary = read_summary(run.work)
            assert summary is not None
            refuse_if_changed(before, input_hashes(fleet_folder, settings))
            run.name = summary["month"]
            log.info("%s, %s: the page is made", summary["fleet"], run.name)
            _finish(run, out, summary, before, parameters, settings)
            attention = _new_attention(out, summary)
        folder = run.folder
        assert folder is not None
        runs.point_at_latest(out)
    log.info("%s, %s: done, %s", summary["fleet"], run.name, folder.name)
    return Report(folder, summary, ATTENTION if attention else DONE, attention)


def _from(work: Path, folder: Path) -> str:
    """Return the path of a folder from the run's own, so that no path of the machine is kept."""
    try:
        return Path(os.path.relpath(folder, work)).as_posix()
    except ValueError:  # on another drive
        return folder.as_posix()


def _shown(folder: str) -> dict[str, str]:
    """Return what the notebook shows of the path of a fleet that lies far from the reports."""
    climbs = Path(folder).parts.count("..")
    near = not Path(folder).is_absolute() and climbs <= NEAR
    return {} if near else {folder: Path(folder).name}


def _run(
    work: Path,
    parameters: Mapping[str, Any],
    settings: Settings,
    out: Path,
    time_limit: float,
    kernel_manager: type | None,
) -> None:
    """Execute the workbook; turn what stopped it into the kit's own errors."""
    target = work / "report.ipynb"
    names = [source.database_env for source in settings.sources.values()]
    secrets = secrets_in([*names, settings.people.salt_env])
    try:
        run_workbook(
            files.shipped("workbooks") / WORKBOOK,
            target,
            parameters=parameters,
            seconds=60 * time_limit,
            secrets=secrets,
            shown=_shown(parameters["fleet_folder"]),
            kernel_manager=kernel_manager,
        )
    except WorkbookFailed as error:
        if (work / REFUSED_FILE).is_file():
            problems = json.loads((work / REFUSED_FILE).read_text(encoding="utf-8"))
            raise Refused([Problem(**one) for one in problems]) from None
        if error.kind == NotWritten.__name__:
            step = "check that the folder may be written to and that the disk has room"
            raise NotWritten(error.message, next_step=step) from None
        now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
        kept = runs.keep_failed(target, out, name=f"{now}-{os.getpid()}")
        error.next_step = f"the notebook as far as it ran is kept: {kept}"
        raise


def _finish(
    run: runs.Run,
    out: Path,
    summary: Mapping[str, Any],
    inputs: Mapping[str, str],
    parameters: Mapping[str, Any],
    settings: Settings,
) -> None:
    """Make the page and the manifest, and see that no secret stands in anything written."""
    from rca.show.running.export import notebook_to_page

    title = f"{summary['fleet']}, {summary['month']}"
    made = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    style = NumberStyle(**summary["numbers"])
    page = notebook_to_page(run.work / "report.ipynb", title=title, made=made, style=style)
    files.write_text(run.work / "report.html", page)
    last = runs.newest_before(out, summary["month"])
    shown = {key: parameters[key] for key in ("group_attribute", "group_value", "seed")}
    about = manifest(
        run.work,
        inputs,
        parameters={"month": summary["month"], **shown},
        compared_with=last.name if last else None,
    )
    files.write_json(run.work / "manifest.json", about)
    names = [source.database_env for source in settings.sources.values()]
    secrets = secrets_in([*names, settings.people.salt_env])
    for path in sorted(run.work.rglob("*")) if secrets else ():
        if path.is_file() and any(one.encode() in path.read_bytes() for one in secrets):
            step = "take the secret out of the records, or out of the query in fleet.yaml"
            raise RcaError(f"{path.name} would hold a secret, so nothing is kept", next_step=step)


def read_summary(folder: Path | None) -> dict[str, Any] | None:
    """Return the summary of a run's folder; None where there is no run or no summary."""
    path = None if folder is None else folder / "summary.json"
    if path is None or not path.is_file():
        return None
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def _new_attention(out: Path, summary: Mapping[str, Any]) -> tuple[str, ...]:
    """Tell what needs a person and was not told by an earlier run of the same month."""
    earlier = read_summary(runs.newest_of(out, summary["month"])) or {}
    told = {one["key"] for one in earlier.get("attention", [])}
    return tuple(one["says"] for one in summary["attention"] if one["key"] not in told)


def group_folder(group: Group) -> str:
    """Return the name of a group's folder below the output folder."""
    return file_name(group.value) if group.value else "not-stated"
