"""Delimited text (CSV and its kin) to rows of text cells, each with its line; no file is opened.

Text that keeps the rules of RFC 4180 with one record a line goes through Arrow, text with odd
quotes through pandas. Text with line breaks inside cells, rows of another length than the header,
or NUL characters is split record by record, so that one stray quote costs its own line and not
the rest of the file.
"""

import csv
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as arrow_csv
from numpy.typing import NDArray

from rca.errors import Problem

MOST_LINES_IN_A_ROW = 500  # a quoted cell with more line breaks is taken for a stray quote
NO_MARK = "\x01"  # stands in no file, so that each line is one cell
TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
STRAY = "look for a stray quote or delimiter in this line"
DAMAGED = "holds NUL characters: the file is damaged here"


@dataclass(frozen=True, slots=True, eq=False)
class SplitText:
    """Rows as text cells, the line on which each begins, and the rows that cannot be split."""

    frame: pd.DataFrame
    lines: NDArray[np.int64]
    broken: tuple[Problem, ...] = ()


def split_text(text: str, *, file: str, delimiter: str = ",", header_line: int = 1) -> SplitText:
    """Split delimited text whose column names stand in line `header_line`.

    Empty lines, and rows all of whose cells are blank, are no records.
    """
    if "\n" not in text:
        text = text.replace("\r", "\n")
    text = _from_line(text, header_line).rstrip("\r\n")
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    split = None
    if "\0" not in text:
        split = _split_sound(text, delimiter) or _split_plain(text, delimiter)
    if split is None:
        split = _split_carefully(text, file, delimiter, header_line)
    frame, lines = without_blank_rows(split.frame, split.lines + header_line)
    return SplitText(frame, lines, split.broken)


def _from_line(text: str, line: int) -> str:
    """Return the text from a line (counted from 1) on."""
    place = 0
    for _ in range(line - 1):
        place = text.find("\n", place) + 1
        if not place:
            return ""
    return text[place:]


def _split_sound(text: str, delimiter: str) -> SplitText | None:
    """Split text that keeps the rules of RFC 4180, one record a line; None where it does not.

    Each cell is either quoted as a whole, its inner quotes doubled, or holds no quote at all;
    each row has as many fields as the header.
    """
    data = pa.py_buffer(text.encode())
    quoted = '"' in text
    lines = text.split("\n", 1)[:1]
    header = next(csv.reader(lines, delimiter=delimiter), [])
    names = [str(place) for place in range(len(header))]
    try:
        if quoted and (NO_MARK in text or not _is_quoted_by_the_rules(data, delimiter)):
            return None
        table = _arrow_text(data, names, delimiter=delimiter, quote='"' if quoted else False)
    except (pa.ArrowInvalid, ValueError):  # rows of another length, or one too long for a block
        return None
    if len(header) < 2 or table.num_rows != text.count("\n") + 1:
        return None
    frame = table.slice(1).to_pandas(types_mapper={pa.string(): TEXT}.get)
    frame.columns = pd.Index(unique_names(header))
    return SplitText(frame, np.arange(1, len(frame) + 1))


def _is_quoted_by_the_rules(data: pa.Buffer, delimiter: str) -> bool:
    """Tell whether every line, taken alone, is a record by RFC 4180."""
    lines = _arrow_text(data, ["line"], delimiter=NO_MARK, quote=False)["line"]
    mark = re.escape(delimiter)
    cell = f'(?:"(?:[^"]|"")*"|[^"{mark}]*)'
    return bool(pc.all(pc.match_substring_regex(lines, f"^{cell}(?:{mark}{cell})*$")).as_py())


def _arrow_text(
    data: pa.Buffer, names: list[str], *, delimiter: str, quote: str | bool
) -> pa.Table:
    """Read text with Arrow, every cell as it stands; its first line is a row like the others."""
    return arrow_csv.read_csv(
        data,
        read_options=arrow_csv.ReadOptions(column_names=names, use_threads=False),
        parse_options=arrow_csv.ParseOptions(
            delimiter=delimiter, quote_char=quote, ignore_empty_lines=False
        ),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
        ),
    )


def _split_plain(text: str, delimiter: str) -> SplitText | None:
    """Split text with one record a line, all of the header's length; None where it is not so."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            frame = pd.read_csv(
                io.StringIO(text),
                sep=delimiter,
                dtype=str,
                keep_default_na=False,
                index_col=False,
                skip_blank_lines=False,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning, pd.errors.EmptyDataError):
        return None
    if text.count("\n") != len(frame) or _has_short_rows(text, delimiter, frame.shape[1]):
        return None
    return SplitText(frame, np.arange(1, len(frame) + 1))


def _has_short_rows(text: str, delimiter: str, width: int) -> bool:
    """Tell whether a row has fewer fields than the header: pandas would fill it up with blanks."""
    if '"' in text:
        rows = csv.reader(text.split("\n"), delimiter=delimiter)
        try:
            return any(len(row) < width for row in rows)
        except csv.Error:  # a lone carriage return: left to the careful reading
            return True
    return text.count(delimiter) < (width - 1) * (text.count("\n") + 1)


def _split_carefully(text: str, file: str, delimiter: str, header_line: int) -> SplitText:
    text = text.replace("\r\n", "\n").replace("\r", " ")
    records = _records(text, delimiter)
    header = next(records, (0, [], ""))[1]
    rows: list[list[str]] = []
    lines: list[int] = []
    broken: list[Problem] = []
    for line, row, fault in records:
        if not row:
            continue
        if len(row) != len(header):
            fault = fault or f"the row has {len(row)} fields, the header {len(header)}"
        if fault:
            shown = delimiter.join(row)[:80]
            step = "export the file again" if fault == DAMAGED else STRAY
            broken.append(Problem(file, line + header_line, "", shown, fault, step))
        else:
            rows.append(row)
            lines.append(line)
    frame = pd.DataFrame(rows, columns=unique_names(header), dtype=str)
    return SplitText(frame, np.array(lines, dtype=np.int64), tuple(broken))


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str], str]]:
    """Give each record's line (from 0), its fields, and what is wrong with it ("" if nothing).

    A record over several lines counts only where its quotes are those of a sound file and it has
    as many fields as the header; else its first line alone is set aside.
    """
    physical = text.split("\n")
    place, width = 0, 0
    while place < len(physical):
        line = physical[place]
        used, fault = 1, ""
        if '"' not in line:
            row = line.split(delimiter) if line else []
        else:
            window = physical[place : place + MOST_LINES_IN_A_ROW]
            row, used = _one_record(window, delimiter, strict=False)
            if used > 1 and not _is_sound(window[:used], delimiter, width):
                row, used = _one_record([line], delimiter, strict=False)
                fault = "a quote opens in this line and no sound row follows it"
        if any("\0" in cell for cell in row):
            fault = DAMAGED
        width = width or len(row)
        yield place, row, fault
        place += used


def _one_record(lines: list[str], delimiter: str, *, strict: bool) -> tuple[list[str], int]:
    """Return the fields of the first record in some lines, and the number of lines it takes."""
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=delimiter, strict=strict)
    row = next(reader, [])
    return [cell.removesuffix("\n") for cell in row], reader.line_num


def _is_sound(lines: list[str], delimiter: str, width: int) -> bool:
    """Tell whether a record over several lines is quoted by the rules and has `width` fields."""
    try:
        row, used = _one_record(lines, delimiter, strict=True)
    except csv.Error:
        return False
    return used == len(lines) and len(row) == (width or len(row))


def unique_names(header: list[str]) -> list[str]:
    """Name unnamed and repeated columns as pandas does."""
    seen: dict[str, int] = {}
    names = []
    for place, name in enumerate(header):
        base = name or f"Unnamed: {place}"
        names.append(base if base not in seen else f"{base}.{seen[base]}")
        seen[base] = seen.get(base, 0) + 1
    return names


def without_blank_rows(
    frame: pd.DataFrame, lines: NDArray[np.int64]
) -> tuple[pd.DataFrame, NDArray[np.int64]]:
    """Drop rows with nothing in them: they are no records."""
    if frame.empty or not frame.iloc[:, 0].eq("").any():
        return frame, lines
    blank = frame.eq("").all(axis=1).to_numpy()
    return frame[~blank].reset_index(drop=True), lines[~blank]
