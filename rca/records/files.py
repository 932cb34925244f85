"""The one reader and writer of files: tables, YAML, and folders that appear whole or not at all."""

import csv
import gzip
import hashlib
import importlib.resources
import io
import json
import os
import shutil
import tempfile
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError
from ruamel.yaml.resolver import VersionedResolver

from rca.errors import NotWritten, Problem, RcaError, Refused

TABLE_ENDINGS = (".csv", ".csv.gz", ".zip", ".xlsx", ".parquet")


@dataclass(frozen=True, slots=True)
class TableSource:
    """Where a table comes from and how its text is to be read."""

    path: Path
    delimiter: str = ","
    encoding: str = "utf-8"
    header_line: int = 1  # line of the column names; lines above it are no records
    sheet: str | int = 0
    query: str = ""
    database_env: str = ""  # name of the environment variable that holds the database address

    @property
    def name(self) -> str:
        """Name for messages: the file, or the variable that names the database."""
        return self.path.name if not self.query else f"database ${self.database_env}"


@dataclass(frozen=True, slots=True, eq=False)
class RawTable:
    """A table as it stands in its file, nothing judged yet.

    `frame` has text cells (CSV) or typed ones (XLSX, Parquet, database); `lines` gives each
    row's line in the file; `broken` lists rows that cannot be split into the header's columns.
    """

    name: str
    frame: pd.DataFrame
    lines: NDArray[np.int64]
    broken: tuple[Problem, ...] = ()

    @property
    def rows_read(self) -> int:
        """Rows found in the file, broken ones included."""
        return len(self.frame) + len(self.broken)


def read_table(source: TableSource) -> RawTable:
    """Read one table as it stands.

    Raises
    ------
    Refused
        The file is missing, empty, of an unknown kind, or not readable as text.
    """
    if source.query:
        return _read_database(source)
    path = source.path
    if not path.is_file():
        raise Refused([_fault(source, "the file does not exist", _files_near(path))])
    kind = path.name.lower()
    if kind.endswith((".csv", ".csv.gz", ".zip", ".txt", ".tsv")):
        return _read_csv(source)
    if kind.endswith(".xlsx"):
        return _read_xlsx(source)
    if kind.endswith(".parquet"):
        return _read_parquet(source)
    raise Refused(
        [_fault(source, "unknown kind of file", f"use one of {', '.join(TABLE_ENDINGS)}")]
    )


def _fault(source: TableSource, rule: str, next_step: str = "", line: int = 0) -> Problem:
    return Problem(source.name, line, "", "", rule, next_step)


def _files_near(path: Path) -> str:
    """Say which tables the folder does hold."""
    if not path.parent.is_dir():
        return f"the folder {path.parent.name} does not exist either"
    there = sorted(p.name for p in path.parent.iterdir() if p.name.lower().endswith(TABLE_ENDINGS))
    return f"tables in this folder: {', '.join(there) or 'none'}"


def _read_csv(source: TableSource) -> RawTable:
    data = file_bytes(source.path)
    try:
        text = data.decode(_with_byte_order_mark(source.encoding))
    except UnicodeDecodeError as error:
        raise Refused([_not_text(source, data, error)]) from error
    except LookupError as error:
        step = "use a name such as utf-8, cp1252 or utf-16"
        fault = Problem(source.name, 0, "encoding", source.encoding, "is no known encoding", step)
        raise Refused([fault]) from error
    split = split_text(
        text, file=source.name, delimiter=source.delimiter, header_line=source.header_line
    )
    if not len(split.frame.columns):
        step = "it needs a header line with the names of the columns"
        raise Refused([_fault(source, "the file is empty", step, source.header_line)])
    return RawTable(source.name, split.frame, split.lines, split.broken)


def _with_byte_order_mark(encoding: str) -> str:
    return "utf-8-sig" if encoding.lower().replace("_", "-") in ("utf-8", "utf8") else encoding


def _not_text(source: TableSource, data: bytes, error: UnicodeDecodeError) -> Problem:
    """Say where a file is not text in the encoding that was stated, and which one it may be."""
    step = "state the encoding in fleet.yaml, for example encoding: cp1252"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        step = "it begins like UTF-16: set encoding: utf-16"
    elif data.startswith(b"PK"):
        step = "it is packed or a workbook, not text: name it .zip or .xlsx"
    elif data.startswith(b"\x1f\x8b"):
        step = "it is compressed, not text: name it .csv.gz"
    line = data.count(b"\n", 0, error.start) + 1
    value = data[max(error.start - 10, 0) : error.start + 10].decode("ascii", "backslashreplace")
    return Problem(source.name, line, "", value, f"is not readable as {source.encoding}", step)


def file_bytes(path: Path) -> bytes:
    """Return all bytes of a text table, unpacked where it is a .gz or a .zip with one file.

    Raises
    ------
    Refused
        The file cannot be read, or the .zip holds more or fewer than one file.
    """
    try:
        packed = path.read_bytes()
        if path.name.lower().endswith(".gz"):
            return gzip.decompress(packed)
        if path.name.lower().endswith(".zip"):
            return _only_file(packed, path.name)
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile) as error:
        raise Refused([Problem(path.name, 0, "", "", f"cannot be read: {error}")]) from error
    return packed


def _only_file(packed: bytes, name: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        inside = [entry.filename for entry in archive.infolist() if not entry.is_dir()]
        if len(inside) != 1:
            rule = f"holds {len(inside)} files, not one table: {', '.join(inside[:5])}"
            raise Refused([Problem(name, 0, "", "", rule, "unpack it and choose one of them")])
        return archive.read(inside[0])


def sheet_names(path: Path) -> list[str]:
    """Return the names of an XLSX workbook's sheets, in their order.

    Raises
    ------
    Refused
        The file is not a readable XLSX workbook.
    """
    import openpyxl

    try:
        book = openpyxl.load_workbook(path, read_only=True)
    except (zipfile.BadZipFile, OSError, KeyError) as error:
        raise Refused([Problem(path.name, 0, "", "", "is not a readable XLSX workbook")]) from error
    names = [str(name) for name in book.sheetnames]
    book.close()
    return names


def _read_xlsx(source: TableSource) -> RawTable:
    """Read one sheet with its true numbers and dates; formulas give the values last computed."""
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and the like that the reader does not know
            book = openpyxl.load_workbook(source.path, read_only=True, data_only=True)
            sheets = {sheet.title: sheet for sheet in book.worksheets}
            name = source.sheet
            if isinstance(name, int) and 0 <= name < len(sheets):
                name = list(sheets)[name]
            if name not in sheets:
                step = f"sheets of this workbook: {', '.join(sheets)}"
                fault = Problem(source.name, 0, "sheet", str(name), "is not in the workbook", step)
                raise Refused([fault])
            sheets[name].reset_dimensions()  # the stated size of a sheet is often wrong
            rows = list(sheets[name].iter_rows(min_row=source.header_line, values_only=True))
            book.close()
    except NOT_A_WORKBOOK as error:
        raise Refused([_fault(source, "is not a readable XLSX workbook")]) from error
    if not rows or not rows[0]:
        step = "it needs a header line with the names of the columns"
        raise Refused([_fault(source, "the sheet is empty", step, source.header_line)])
    width = max(map(len, rows))
    cells = [[*row, *[None] * (width - len(row))] for row in rows]
    header = unique_names(["" if name is None else str(name) for name in cells[0]])
    blank = [["" if cell is None else cell for cell in row] for row in cells[1:]]
    frame = pd.DataFrame(blank, columns=header, dtype=object)
    lines = np.arange(len(frame), dtype=np.int64) + source.header_line + 1
    return RawTable(source.name, *without_blank_rows(frame, lines))


def _read_parquet(source: TableSource) -> RawTable:
    import pyarrow

    try:
        frame = pd.read_parquet(source.path)
    except (pyarrow.ArrowInvalid, OSError) as error:
        raise Refused([_fault(source, "is not a readable Parquet file")]) from error
    return RawTable(source.name, frame.reset_index(drop=True), np.arange(1, len(frame) + 1))


def _read_database(source: TableSource) -> RawTable:
    """Run the query; the address comes from the environment and is never kept or shown."""
    import sqlalchemy

    address = os.environ.get(source.database_env)
    if not address:
        step = "set it to the database address (for example sqlite:///fleet.db) before the run"
        raise Refused([_fault(source, f"the environment has no {source.database_env}", step)])
    try:
        engine = sqlalchemy.create_engine(address)
        with engine.connect() as connection:
            frame = pd.read_sql_query(sqlalchemy.text(source.query), connection)
    except (sqlalchemy.exc.SQLAlchemyError, ImportError) as error:
        kind = type(error).__name__
        raise Refused([_fault(source, f"the query failed ({kind})", "try it by hand")]) from None
    finally:
        if "engine" in locals():
            engine.dispose()
    return RawTable(source.name, frame, np.arange(1, len(frame) + 1))


class _TextDates(VersionedResolver):
    """Leaves dates as the text that the person wrote."""

    def resolve(self, kind: Any, value: Any, implicit: Any) -> Any:
        tag = super().resolve(kind, value, implicit)
        if str(tag) == "tag:yaml.org,2002:timestamp":
            return super().resolve(kind, "text", implicit)
        return tag


def _yaml() -> YAML:
    yaml = YAML(typ="rt")
    yaml.Resolver = _TextDates
    yaml.preserve_quotes = True
    yaml.width = 100
    return yaml


def read_yaml(path: Path) -> Any:
    """Read a YAML file with its comments, order and line numbers; dates stay text.

    Raises
    ------
    Refused
        The file is missing, is not text, or is not YAML; with the line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise Refused([Problem(path.name, 0, "", "", "the file does not exist")]) from error
    except (OSError, UnicodeDecodeError) as error:
        raise Refused([Problem(path.name, 0, "", "", f"cannot be read: {error}")]) from error
    try:
        return _yaml().load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark
        line = mark.line + 1 if mark else 0
        rule = f"is not valid YAML: {error.problem}"
        step = "indent with spaces, quote text that contains ': ' or begins with a sign"
        raise Refused([Problem(path.name, line, "", "", rule, step)]) from error
    except (ValueError, RecursionError) as error:
        raise Refused([Problem(path.name, 0, "", "", f"is not valid YAML: {error}")]) from error


def yaml_text(data: Any) -> str:
    """Write out `data` as YAML text, comments and order kept."""
    stream = io.StringIO()
    _yaml().dump(data, stream)
    return stream.getvalue()


def write_yaml(path: Path, data: Any) -> None:
    """Write `data` as YAML, whole or not at all."""
    write_text(path, yaml_text(data))


def line_of(data: Any, keys: tuple[str | int, ...]) -> int:
    """Line (from 1) of the entry reached by `keys` in data from `read_yaml`; 0 if not known."""
    line = 0
    for key in keys:
        marks = getattr(data, "lc", None)
        if marks is None or marks.data is None or key not in marks.data:
            break
        line = marks.data[key][0] + 1
        data = data[key]
    return line


def write_text(path: Path, text: str) -> None:
    """Write a text file, whole or not at all.

    Raises
    ------
    NotWritten
        The folder is missing, read-only or full; an earlier file stays as it was.
    """
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        raise _not_written(path, error) from error


def copy_file(source: Path, target: Path) -> None:
    """Copy a file byte for byte.

    Raises
    ------
    NotWritten
        The copy cannot be made, for example because the disk is full.
    """
    try:
        shutil.copyfile(source, target)
    except OSError as error:
        raise _not_written(target, error) from error


def write_new_text(path: Path, text: str) -> None:
    """Write a text file that must not exist yet.

    Raises
    ------
    Refused
        The file exists already; it is left as it is.
    """
    if path.exists():
        rule, step = "exists already and is left as it is", "name a new file"
        raise Refused([Problem(path.name, 0, "", "", rule, step)])
    write_text(path, text)


def write_json(path: Path, data: Any) -> None:
    """Write `data` as JSON text, whole or not at all; NaN is refused."""
    write_text(path, json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def write_csv(path: Path, frame: pd.DataFrame) -> None:
    """Write a table as CSV, whole or not at all, its text made harmless for spreadsheets."""
    write_text(path, spreadsheet_safe(frame).to_csv(index=False, lineterminator="\n"))


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    safe = frame.copy()
    for column in safe.columns:
        if safe[column].dtype == object or pd.api.types.is_string_dtype(safe[column].dtype):
            text = safe[column].astype(str)
            risky = text.str.match(r"^\s*[=+\-@\t\r]") & ~text.str.match(r"^-?\d+(\.\d+)?$")
            safe[column] = text.where(~risky, "'" + text)
    return safe


def _not_written(path: Path, error: OSError) -> NotWritten:
    step = "check that the folder exists, may be written to, and that the disk has room"
    reason = error.strerror or str(error)
    return NotWritten(f"{path.name} could not be written: {reason}", next_step=step)


@contextmanager
def folder_that_appears_whole(wanted: Path) -> Iterator[Path]:
    """Give a hidden working folder that is renamed to a free name like `wanted` at the end.

    A run that fails or is killed leaves at most a hidden folder; nothing that existed changes.
    After the block, `wanted` (or `wanted.2`, `wanted.3`, ... when taken) holds all of it.

    Raises
    ------
    NotWritten
        The parent cannot be made or written to.
    """
    try:
        wanted.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(dir=wanted.parent, prefix=f".{wanted.name}."))
    except OSError as error:
        raise _not_written(wanted, error) from error
    try:
        yield work
        os.chmod(work, 0o755)
        _rename_to_free_name(work, wanted)
    except OSError as error:
        shutil.rmtree(work, ignore_errors=True)
        raise _not_written(wanted, error) from error
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise


def _rename_to_free_name(work: Path, wanted: Path) -> Path:
    number = 1
    while True:
        target = wanted if number == 1 else wanted.with_name(f"{wanted.name}.{number}")
        if not target.exists():
            os.rename(work, target)
            return target
        number += 1


def newest_run(parent: Path, name: str) -> Path:
    """Return the newest of `name`, `name.2`, `name.3`, ... below `parent`."""
    number = 1
    while (parent / f"{name}.{number + 1}").exists():
        number += 1
    return parent / name if number == 1 else parent / f"{name}.{number}"


def point_to(pointer: Path, target: Path) -> None:
    """Let `pointer` name the folder `target` in one step; a text file where links fail."""
    temporary = pointer.with_name(f".{pointer.name}.new")
    try:
        temporary.unlink(missing_ok=True)
        try:
            temporary.symlink_to(target.name, target_is_directory=True)
        except (OSError, NotImplementedError):
            temporary.write_text(target.name + "\n", encoding="utf-8")
        os.replace(temporary, pointer)
    except OSError as error:
        raise _not_written(pointer, error) from error


def sha256(path: Path) -> str:
    """Return the hash of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def shipped(name: str) -> Path:
    """Find `workbooks` or `data_demo`: beside the package in a checkout, inside it in a wheel."""
    package = Path(str(importlib.resources.files("rca")))
    for place in (package / "_shipped" / name, package.parent / name):
        if place.is_dir():
            return place
    raise RcaError(f"the folder {name} is not part of this installation", next_step="reinstall")


def package_json(name: str) -> Any:
    """Read a JSON file that travels inside the package, such as `records/fleet.schema.json`."""
    text = importlib.resources.files("rca").joinpath(name).read_text(encoding="utf-8")
    return json.loads(text)
