"""An answered import becomes a fleet folder that repeats it without questions."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rca.errors import NotWritten
from rca.records import files
from rca.records.columns import Rules
from rca.records.importing.table_proposal import TableProposal
from rca.records.settings import FLEET_FILE


def fleet_data(tables: Mapping[str, TableProposal], settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return the contents of fleet.yaml; faults that spoil a result block it there."""
    names = file_names(tables)
    written = {
        name: _table(table, names[name])
        for name, table in tables.items()
        if table.export is not None
    }
    return {**settings, "tables": written}


def file_names(tables: Mapping[str, TableProposal]) -> dict[str, str]:
    """Name each table's copy like its file; two files of one name get the table's name before."""
    names: dict[str, str] = {}
    for name, table in tables.items():
        file = table.path.name
        names[name] = file if file not in names.values() else f"{name}_{file}"
    return names


def _table(table: TableProposal, file: str) -> dict[str, Any]:
    """State how one file is to be read; what its kind of file settles is left out."""
    assert table.export is not None
    assert table.source is not None
    source, rules = table.source, table.export.rules
    out: dict[str, Any] = {"file": file}
    if not file.lower().endswith((".xlsx", ".parquet")):
        out |= {"encoding": source.encoding, "delimiter": source.delimiter}
    if file.lower().endswith(".xlsx"):
        out["sheet"] = source.sheet
    if source.header_line != 1:
        out["header_line"] = source.header_line
    return out | _rules(rules)


def _rules(rules: Rules) -> dict[str, Any]:
    stated: dict[str, Any] = {
        "columns": dict(rules.columns),
        "date_order": rules.date_order if isinstance(rules.date_order, str)
        else dict(rules.date_order),
        "decimal": rules.decimal,
        "thousands": rules.thousands,
        "affixes": list(rules.affixes),
        "missing": [word for word in rules.missing if word],
        "values": {ours: dict(words) for ours, words in rules.values.items()},
        "set_aside": {name: dict(patterns) for name, patterns in rules.set_aside.items()},
    }  # fmt: skip
    return {key: value for key, value in stated.items() if value or key == "missing"}


def fleet_text(
    tables: Mapping[str, TableProposal], settings: Mapping[str, Any], *, notes: list[str]
) -> str:
    """Return the text of fleet.yaml, with what was found as comments above it."""
    heads = [
        "# Written by an import; it repeats the import without questions. Every line may be",
        "# changed by hand. What was found in the files:",
        *(f"#   {' '.join(note.split())}" for note in notes),
    ]
    return "\n".join(heads) + "\n" + files.yaml_text(fleet_data(tables, settings))


def write_folder(tables: Mapping[str, TableProposal], out: Path, text: str) -> Path:
    """Copy the files and write fleet.yaml into a new folder, whole or not at all.

    Raises
    ------
    NotWritten
        The folder exists already, or cannot be written.
    """
    if out.exists():
        step = "choose another name; an import never changes a folder that exists"
        raise NotWritten(f"{out.name} exists already", next_step=step)
    names = file_names(tables)
    with files.folder_that_appears_whole(out) as work:
        for name, table in tables.items():
            files.copy_file(table.path, work / names[name])
        files.write_text(work / FLEET_FILE, text)
    return out
