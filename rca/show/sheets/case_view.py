"""A single case from its file to its sheets; the records of a fleet are welcome, not needed.

What a case stands on is kept in its sheets and in every report, so that either can be named later
to say what changed in its evidence since.
"""

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.parsing import parse_investigation
from rca.causes.case_ways import CaseWays, ways_of_case
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.since_last.row_changes import RowChanges, compare_rows, known_rows
from rca.causes.since_last.standing_evidence import (
    EvidenceChange,
    Standing,
    evidence_changes,
    standing,
)
from rca.errors import Problem, Refused
from rca.records import files
from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import LifeTable, build_lives
from rca.show.sheets.bench import STANDS_ON, case_sheets

KNOWN_ROWS: Final = "known_rows.parquet"
_KEPT = re.compile(rf'<script type="application/json" id="{STANDS_ON}">(.*?)</script>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class CaseView:
    """A case as it stands today, and what changed in its evidence since an earlier run.

    `since` names that run: the month of a report, or the file of earlier sheets; "" for none.
    `ways` are the ways of going on with the part; None without records or stated costs.
    """

    assessed: Assessment
    since: str = ""
    changed: tuple[EvidenceChange, ...] = ()
    ways: CaseWays | None = None


def open_case(
    file: Path, *, fleet_folder: Path | None = None, since: Path | None = None
) -> CaseView:
    """Read an investigation file and assess it, on the records of a fleet where one is named.

    Parameters
    ----------
    since
        Folder of a report, or earlier sheets of the same case, to compare with.

    Raises
    ------
    Refused
        A file or a folder cannot be used.
    """
    case = parse_investigation(files.read_yaml(file), file=file.name)
    if fleet_folder is None:
        assessed, rows, ways = assess(case), None, None
    else:
        fleet = read_fleet(fleet_folder)
        lives = build_lives(fleet)
        assessed = assess(case, fleet=fleet, lives=lives.rows)
        ways = ways_of_case(case, fleet, lives)
        rows = None if since is None else _rows_since(since, fleet, lives)
    if since is None:
        return CaseView(assessed, ways=ways)
    name, kept = _kept(since)
    own = [one for one in kept if one["investigation"] == case.id]
    changed = evidence_changes([standing(assessed)], own, rows=rows)
    return CaseView(assessed, name, tuple(changed), ways)


def write_sheets(view: CaseView, path: Path) -> None:
    """Write the sheets of a case as one self-contained, printable page."""
    page = case_sheets(view.assessed, since=view.since, changed=view.changed, ways=view.ways)
    files.write_text(path, page)


def _kept(since: Path) -> tuple[str, list[Standing]]:
    """Return the name of an earlier run, and what its investigations stood on."""
    try:
        if since.is_dir():
            summary: dict[str, Any] = json.loads(files.read_text(since / "summary.json"))
            return summary["month"], summary["investigations"]
        found = _KEPT.search(files.read_text(since))
        if found is not None:
            return since.name, [json.loads(found[1])]
    except (KeyError, TypeError, json.JSONDecodeError):
        pass  # neither of the two: said below
    step = "name the folder of a report of this kit, or sheets written by rca case show --out"
    raise Refused([Problem(since.name, 0, "", "", "holds no evidence to compare with", step)])


def _rows_since(since: Path, fleet: Fleet, lives: LifeTable) -> RowChanges | None:
    """Compare today's rows with those of a report; None where it has none."""
    if not (since / KNOWN_ROWS).is_file():
        return None
    events = repeat_events(fleet, lives.meters, failures_of(fleet))
    cutoff = json.loads(files.read_text(since / "summary.json"))["cutoff"]
    then = files.read_frame(since / KNOWN_ROWS)
    return compare_rows(then, known_rows(fleet, events), cutoff=cutoff)
