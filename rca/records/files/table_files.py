"""Tables as they stand in their files: CSV, packed CSV, XLSX, Parquet, a database query."""

import difflib
import gzip
import io
import os
import re
import warnings
import zipfile
import zlib
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records.delimited import split_text, unique_names, without_blank_rows

TABLE_ENDINGS = (".csv", ".csv.gz", ".zip", ".xlsx", ".parquet")
NOT_A_WORKBOOK = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, KeyError, TypeError, ValueError, SyntaxError,
)  # fmt: skip


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
