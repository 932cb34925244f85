"""The one reader and writer of files: tables, YAML, and folders that appear whole or not at all."""

import difflib
import gzip
import hashlib
import importlib.resources
import io
import json
import math
import os
import re
import shutil
import tempfile
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.resolver import VersionedResolver

from rca.errors import Changed, NotWritten, Problem, RcaError, Refused
from rca.records.delimited import split_text, unique_names, without_blank_rows

TABLE_ENDINGS = (".csv", ".csv.gz", ".zip", ".xlsx", ".parquet")
NOT_A_WORKBOOK = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, KeyError, TypeError, ValueError, SyntaxError,
)  # fmt: skip
MOST_YAML_ENTRIES = 100_000
_INDENTED_LIST = re.compile(r"^( *)\S.*:[ \t]*(?:#.*)?\n(?:[ \t]*(?:#.*)?\n)*\1 +- ", re.MULTILINE)
_PLAIN = (dict, list, str, int, float, type(None))


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
    if not os.path.isfile(path):
        rule = "is a folder, not a table" if os.path.isdir(path) else "the file does not exist"
        raise Refused([_fault(source, rule, _files_near(path))])
    kind = path.name.lower()
    if kind.endswith((".csv", ".csv.gz", ".zip", ".txt", ".tsv")):
        return _read_csv(source)
    if kind.endswith(".xlsx"):
        return _read_xlsx(source)
    if kind.endswith(".parquet"):
        return _read_parquet(source)
    step = f"save it as one of {', '.join(TABLE_ENDINGS)}"
    raise Refused([_fault(source, "unknown kind of file", step)])


def _fault(source: TableSource, rule: str, next_step: str = "", line: int = 0) -> Problem:
    return Problem(source.name, line, "", "", rule, next_step)


def _files_near(path: Path) -> str:
    """Say which tables the folder does hold."""
    if not os.path.isdir(path.parent):
        return f"the folder {path.parent.name} does not exist either"
    there = sorted(p.name for p in path.parent.iterdir() if p.name.lower().endswith(TABLE_ENDINGS))
    close = difflib.get_close_matches(path.name, there, n=1)
    hint = f"did you mean {close[0]!r}? " if close else ""
    return f"{hint}tables in this folder: {', '.join(there) or 'none'}"


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
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile, RuntimeError) as error:
        why = getattr(error, "strerror", None) or str(error)  # without the path of the file
        raise Refused([Problem(path.name, 0, "", "", f"cannot be read: {why}")]) from error
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
        with closing(book):
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
    except (pyarrow.ArrowException, OSError, ValueError) as error:
        why = str(error).replace(str(source.path), source.name).splitlines()[0][:100]
        raise Refused([_fault(source, f"is not a readable Parquet file: {why}")]) from error
    named = any(name is not None for name in frame.index.names)
    return _typed_table(source, frame.reset_index(drop=not named))


def _typed_table(source: TableSource, frame: pd.DataFrame) -> RawTable:
    """Number the rows of a table without lines from 1, and tell columns of one name apart."""
    frame = frame.set_axis(unique_names([str(name) for name in frame.columns]), axis=1)
    return RawTable(source.name, frame, np.arange(1, len(frame) + 1))


def _read_database(source: TableSource) -> RawTable:
    """Run the query; the address comes from the environment and is never kept or shown."""
    import sqlalchemy

    address = os.environ.get(source.database_env)
    if not address:
        step = "set it to the database address (for example sqlite:///fleet.db) before the run"
        raise Refused([_fault(source, f"the environment has no {source.database_env}", step)])
    if not re.match(r"\s*(select|with)\b", source.query, re.IGNORECASE):
        raise Refused([_fault(source, "the query must only read: it begins with SELECT or WITH")])
    try:
        engine = sqlalchemy.create_engine(address)
        connection = engine.connect()
    except Exception as error:  # whatever a driver raises may hold the address
        kind = type(error).__name__
        step = f"check the address in {source.database_env} and that its driver is installed"
        raise Refused([_fault(source, f"no connection ({kind})", step)]) from None
    try:
        result = connection.exec_driver_sql(source.query)
        header, rows = list(result.keys()), result.fetchall()
    except sqlalchemy.exc.SQLAlchemyError as error:
        said = str(getattr(error, "orig", None) or type(error).__name__)
        raise Refused([_fault(source, f"the query failed: {said}", "try it by hand")]) from None
    finally:
        connection.close()
        engine.dispose()
    return _typed_table(source, pd.DataFrame(map(tuple, rows), columns=header))


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
    return yaml_of(read_text(path), file=path.name)


def read_text(path: Path) -> str:
    """Read a text file.

    Raises
    ------
    Refused
        The file is missing or is not text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise Refused([Problem(path.name, 0, "", "", "the file does not exist")]) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        step = "save it as UTF-8 text"
        raise Refused([Problem(path.name, line, "", "", "is not UTF-8 text", step)]) from error
    except OSError as error:
        raise Refused(
            [Problem(path.name, 0, "", "", f"cannot be read: {error.strerror}")]
        ) from error


def yaml_of(text: str, *, file: str) -> Any:
    """Return what YAML text says, with its comments, order and line numbers; dates stay text.

    Raises
    ------
    Refused
        It is not YAML, or holds more than plain values; with the line in `file`.
    """
    try:
        data = _yaml().load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark
        line = mark.line + 1 if mark else 0
        rule = f"is not valid YAML: {error.problem}"
        step = "indent with spaces, quote text that contains ': ' or begins with a sign"
        raise Refused([Problem(file, line, "", "", rule, step)]) from error
    except RecursionError as error:
        raise Refused([Problem(file, 0, "", "", "is nested too deeply")]) from error
    except (YAMLError, ValueError) as error:
        rule = f"is not valid YAML: {str(error).splitlines()[0]}"
        raise Refused([Problem(file, 0, "", "", rule)]) from error
    if problem := _odd_entry(data, file):
        raise Refused([problem])
    return data


def _odd_entry(data: Any, file: str) -> Problem | None:
    """Find the first entry that is no plain text, number, list or group of keys.

    Tags could name things other than data; aliases can blow a short file up beyond all memory.
    """
    waiting: list[tuple[Any, int, str]] = [(data, 0, "")]
    for _ in range(MOST_YAML_ENTRIES):
        if not waiting:
            return None
        entry, line, key = waiting.pop()
        tagged = str(getattr(entry, "tag", None)) != "None"
        if tagged or not isinstance(entry, _PLAIN):
            step = "write plain text, numbers, lists and keys, without tags (!...)"
            return Problem(file, line, key, str(entry)[:80], "is no plain value", step)
        if isinstance(entry, float) and not math.isfinite(entry):
            return Problem(file, line, key, str(entry), "is no finite number")
        if isinstance(entry, dict | list):
            inside = entry.items() if isinstance(entry, dict) else enumerate(entry)
            waiting += [(one, line_of(entry, (name,)) or line, str(name)) for name, one in inside]
    rule = f"holds more than {MOST_YAML_ENTRIES} entries, aliases counted each time"
    return Problem(file, 0, "", "", rule, "write it without aliases (*name) inside one another")


def yaml_text(data: Any, *, like: str = "") -> str:
    """Write out `data` as YAML text, comments and order kept.

    With `like`, the text that the data was read from, lines are not folded anew and lists keep
    their indentation, so that what was not changed stays as it was.
    """
    yaml = _yaml()
    if like:
        yaml.width = 1_000_000
        if _INDENTED_LIST.search(like):
            yaml.indent(mapping=2, sequence=4, offset=2)
    stream = io.StringIO()
    yaml.dump(data, stream)
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
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file of bytes, whole or not at all; errors as of `write_text`."""
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        raise _not_written(path, error) from error


def write_text_over(path: Path, text: str, *, read: str) -> None:
    """Write a text file over one that was read before, unless somebody changed it meanwhile.

    Parameters
    ----------
    read
        The text as it was read; "" where the file did not exist.

    Raises
    ------
    Changed
        The file holds something else now; it is left as it is.
    NotWritten
        The folder is read-only or full; the file is left as it is.
    """
    now = read_text(path) if path.exists() else ""
    if now != read:
        step = "look at it, then put your changes on top of it, or keep yours beside it"
        raise Changed(f"{path.name} was changed by someone else since it was read", next_step=step)
    write_text(path, text)


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


def copy_folder(source: Path, target: Path) -> None:
    """Copy a folder with all in it but hidden files and caches.

    Raises
    ------
    NotWritten
        The copy cannot be made; what was copied so far stays.
    """
    try:
        leave_out = shutil.ignore_patterns(".*", "__pycache__")
        shutil.copytree(source, target, ignore=leave_out)
    except OSError as error:
        raise _not_written(target, error) from error


def make_folder(path: Path) -> None:
    """Make a folder and those above it.

    Raises
    ------
    NotWritten
        It cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _not_written(path, error) from error


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


def write_frame(path: Path, frame: pd.DataFrame) -> None:
    """Write a table with its exact types (Parquet), for the kit to read again.

    Raises
    ------
    NotWritten
        The folder is missing, read-only or full.
    """
    try:
        frame.to_parquet(path, index=False)
    except OSError as error:
        raise _not_written(path, error) from error


def read_frame(path: Path) -> pd.DataFrame:
    """Read a table that `write_frame` wrote."""
    return pd.read_parquet(path)


_FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060]*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?")


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before text, headings too, that a spreadsheet would run as a formula.

    Numbers stay as they are, also where a cell holds one as text.
    """
    safe = {_without_formula(str(name)): _harmless(frame[name]) for name in frame.columns}
    return pd.DataFrame(safe, index=frame.index)


def _harmless(column: pd.Series) -> pd.Series:
    kind = column.dtype
    if pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_datetime64_any_dtype(kind):
        return column
    cells = column.astype(object)
    changed = {
        text: _without_formula(text)
        for text in cells.dropna().unique()
        if isinstance(text, str) and _without_formula(text) != text
    }
    return cells.map(lambda cell: changed.get(cell, cell)) if changed else cells


def _without_formula(text: str) -> str:
    return "'" + text if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


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


def _rename_to_free_name(work: Path, wanted: Path) -> None:
    number = _last_number(wanted.parent, wanted.name) + 1
    while True:
        target = wanted if number == 1 else wanted.with_name(f"{wanted.name}.{number}")
        if not target.exists():
            os.rename(work, target)
            return
        number += 1


def newest_run(parent: Path, name: str) -> Path:
    """Return the newest of `name`, `name.2`, `name.3`, ... below `parent`."""
    number = _last_number(parent, name)
    return parent / name if number <= 1 else parent / f"{name}.{number}"


def _last_number(parent: Path, name: str) -> int:
    """Return the highest number of the runs called `name`, 0 where there is none."""
    tails = [path.name.removeprefix(name) for path in parent.glob(f"{name}*")]
    numbers = [int(tail[1:]) for tail in tails if re.fullmatch(r"\.[1-9]\d{0,8}", tail)]
    return max(numbers, default=1 if "" in tails else 0)


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
