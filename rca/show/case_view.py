"""A single case from its file to its sheets; the records of a fleet are welcome, not needed."""

from pathlib import Path

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.parsing import parse_investigation
from rca.records import files
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from rca.show.sheets import case_sheets


def open_case(file: Path, *, fleet_folder: Path | None = None) -> Assessment:
    """Read an investigation file and assess it, on the records of a fleet where one is named.

    Raises
    ------
    Refused
        The file or the folder cannot be used.
    """
    case = parse_investigation(files.read_yaml(file), file=file.name)
    if fleet_folder is None:
        return assess(case)
    fleet = read_fleet(fleet_folder)
    return assess(case, fleet=fleet, lives=build_lives(fleet).rows)


def write_sheets(assessed: Assessment, path: Path) -> None:
    """Write the sheets of a case as one self-contained, printable page."""
    files.write_text(path, case_sheets(assessed))
