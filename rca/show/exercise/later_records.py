"""The months after a repair: which sealed file holds them, and the records up to their end.

What follows depends on whether a repair so far was the right one, and in which round; one sealed
file for each such course. A small file for each repair says (sealed) whether it is right: it holds
the token that opens the course.
"""

import io
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from rca.errors import Problem, Refused
from rca.records import files
from rca.show.exercise.case_file import CaseFile, Repair
from rca.show.exercise.seal import key_of

Unsealed = Callable[[str, bytes], Any]


def day_after_rounds(case: CaseFile, rounds: int) -> date:
    """Calendar day once so many repairs have been made and watched; the cut-off after none."""
    day = date.fromisoformat(case.cutoff)
    return month_end_after(day, rounds * (case.months_after + 1))


def month_end_after(day: date, months: int) -> date:
    """Last day of the month that ends `months` months after the month whose last day is given."""
    first = day + timedelta(days=1)
    month = first.month - 1 + months
    return date(first.year + month // 12, month % 12 + 1, 1) - timedelta(days=1)


def repair_key(code: str, repair: str, token: str) -> bytes:
    """Key of the file that says what a repair does."""
    return key_of(code, f"repair {repair}", token)


def course_key(code: str, number: int, token: str, course: str) -> bytes:
    """Key of the months after the repair of a round, on one of the courses things can take."""
    return key_of(code, f"round {number}", token, course)


def opened_rounds(
    case: CaseFile, made: Sequence[str], number: int, *, unsealed: Unsealed, token: str
) -> Mapping[str, Any]:
    """Open the months after the repair of round `number`, given all repairs made up to it.

    The file of a repair says which class it is of, and the months of each round say which file
    and token come next for each class.
    """
    content: Mapping[str, Any] = {}
    for place, repair in enumerate(made[:number], start=1):
        says = unsealed(case.repair(repair).file, repair_key(case.code, repair, token))
        course = content["next"][says["class"]] if content else says["first"]
        content = unsealed(course["file"], course_key(case.code, place, token, course["token"]))
    return content


def write_records(
    fleet: Path, place: Path, case: CaseFile, content: Mapping[str, Any], number: int,
    repair: Repair,
) -> None:  # fmt: skip
    """Write a fleet folder with the part's records up to the end of a round, unless it is there."""
    if (place / "fleet.yaml").exists():
        return
    files.make_folder(place)
    tables = {name: _table(fleet / f"{name}.csv") for name in ("repairs", "units", "readings")}
    repairs = tables["repairs"]
    repairs = repairs[repairs["part"].str.strip().str.casefold() == case.part.casefold()]
    later = {name: _from_text(content[name]) for name in ("repairs", "readings", "fixes")}
    written = {
        "repairs": pd.concat([repairs, later["repairs"]], ignore_index=True).fillna(""),
        "readings": pd.concat([tables["readings"], later["readings"]], ignore_index=True),
        "units": tables["units"],
        "parts": _table(fleet / "parts.csv").query("part == @case.part"),
        "fixes": later["fixes"],
    }
    for name, table in written.items():
        files.write_text(place / f"{name}.csv", table.to_csv(index=False, lineterminator="\n"))
    files.write_text(place / "fleet.yaml", _settings(fleet, content, case))


def _settings(fleet: Path, content: Mapping[str, Any], case: CaseFile) -> str:
    data = files.read_yaml(fleet / "fleet.yaml")
    data["cutoff"] = content["seen_until"]
    data["tables"]["fixes"] = {"file": "fixes.csv"}
    data["fixes"] = {
        name: {
            "part": case.part,
            "kind": "corrective",
            "chosen_by": content["chosen_by"],
            "target_ratio": case.target_ratio,
        }
        for name in content["fix_names"]
    }
    return files.yaml_text(data)


def _table(path: Path) -> pd.DataFrame:
    if not path.is_file():
        step = "copy the folder `fleet` again from what you were given"
        raise Refused([Problem(f"fleet/{path.name}", 0, "", "", "the file is missing", step)])
    return _from_text(files.read_text(path))


def _from_text(text: str) -> pd.DataFrame:
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
