"""What a report was made from: hashes of the files read, versions, parameters; never a secret."""

import os
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.settings import FLEET_FILE, Settings

NOT_READ = "cannot be read"
VERSIONS_OF = ("rca-workbooks", "numpy", "scipy", "pandas", "plotly", "papermill", "nbconvert")


def input_hashes(folder: Path, settings: Settings) -> dict[str, str]:
    """Hash the files that a report of a fleet folder is made from, by their path in it.

    A database has no hash; of it only the name of its table is told. A file that cannot be read
    has none either: the reader says what is wrong with it, and whether another name was meant.
    """
    places = {FLEET_FILE: folder / FLEET_FILE}
    found: dict[str, str] = {}
    for source in settings.sources.values():
        if source.query:
            found[source.name] = "not a file"
        else:
            places[_inside(source.path, folder)] = source.path
    for path in sorted((folder / "investigations").glob("*.y*ml")):
        places[_inside(path, folder)] = path
    for name, path in places.items():
        try:
            found[name] = files.sha256(path)
        except OSError:
            found[name] = NOT_READ
    return dict(sorted(found.items()))


def _inside(path: Path, folder: Path) -> str:
    return Path(os.path.relpath(path, folder)).as_posix()


def refuse_if_changed(before: Mapping[str, str], after: Mapping[str, str]) -> None:
    """Refuse inputs of which a file changed, came or went while the report was made.

    Raises
    ------
    Refused
        They differ; every such file is named.
    """
    step = "run again when the export into the folder has ended"
    problems = [
        Problem(name, 0, "", "", "changed while it was read", step)
        for name in sorted(before.keys() | after.keys())
        if before.get(name) != after.get(name)
    ]
    if problems:
        raise Refused(problems)


def manifest(
    work: Path,
    inputs: Mapping[str, str],
    *,
    parameters: Mapping[str, Any],
    compared_with: str | None,
) -> dict[str, Any]:
    """Return what the report in `work` was made from and what it consists of."""
    outputs = sorted(path for path in work.rglob("*") if path.is_file())
    return {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "parameters": dict(parameters),
        "compared_with": compared_with,
        "inputs": dict(inputs),
        "outputs": {path.relative_to(work).as_posix(): files.sha256(path) for path in outputs},
        "versions": {name: version(name) for name in VERSIONS_OF}
        | {"python": ".".join(map(str, sys.version_info[:3]))},
    }
