"""From a path to a table source: container, encoding, delimiter, sheet and header line."""

import csv
import io
import itertools
from dataclasses import dataclass, field
from pathlib import Path

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.cells import cell_text
from rca.records.files import TABLE_ENDINGS, RawTable, TableSource
from rca.records.importing.faults import Fault, Kind
from rca.records.importing.guessing import (
    ASKED,
    CERTAIN,
    CODE_PAGES,
    DELIMITERS,
    SAMPLE,
    Guess,
    damaged_characters,
    guess_delimiter,
    guess_encoding,
    guess_header_line,
)
from rca.records.importing.questions import Desk, Question

LINES = 200  # looked at for the names of the columns
TEXT_ENDINGS = (".csv", ".csv.gz", ".zip", ".txt", ".tsv")
MARKS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright stroke"}


@dataclass(slots=True)
class Sniffed:
    """How a file is to be read as far as its bytes tell; `source` is None while that is open."""

    source: TableSource | None = None
    guesses: dict[str, Guess] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)


def sniff(path: Path, desk: Desk) -> Sniffed:
    """Find out how a file is to be read.

    Raises
    ------
    Refused
        The file is missing, empty, of an unknown kind, or holds no names of columns.
    """
    if not path.is_file():
        raise Refused([Problem(path.name, 0, "", "", "the file does not exist")])
    kind = path.name.lower()
    if kind.endswith(TEXT_ENDINGS):
        return _sniff_text(path, desk)
    if kind.endswith(".xlsx"):
        return _sniff_workbook(path, desk)
    if kind.endswith(".parquet"):
        found = Guess("parquet", CERTAIN, "by its ending; cells have types of their own")
        return Sniffed(TableSource(path), {"container": found})
    step = f"save it as one of {', '.join(TABLE_ENDINGS)}"
    raise Refused([Problem(path.name, 0, "", "", "unknown kind of file", step)])


def _sniff_text(path: Path, desk: Desk) -> Sniffed:
    data = files.file_bytes(path)
    if not data.strip():
        step = "it needs a header line and rows"
        raise Refused([Problem(path.name, 0, "", "", "the file is empty", step)])
    out = Sniffed()
    encoding = _encoding(data, desk, out)
    if not encoding:
        return out
    text = data[:SAMPLE].decode(encoding, errors="replace").removeprefix("\ufeff")
    text = text[: text.rfind("\n") + 1] or text
    delimiter = _delimiter(text, desk, out)
    if not delimiter:
        return out
    header = _header_line(path, _first_lines(text, delimiter), out)
    out.source = TableSource(path, delimiter=delimiter, encoding=encoding, header_line=header)
    _tell_container(path, out, delimiter)
    return out


def _first_lines(text: str, delimiter: str) -> list[list[str]]:
    """Return the first lines of the file, each split; a cell may go on over several of them."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    lines: list[list[str]] = []
    for row in itertools.islice(reader, LINES):
        lines += [row] + [[]] * (reader.line_num - len(lines) - 1)
    return lines


def _encoding(data: bytes, desk: Desk, out: Sniffed) -> str:
    guess = guess_encoding(data)
    out.guesses["encoding"] = guess
    encoding = guess.value
    if guess.sure == ASKED:
        encoding = desk.choose(
            Question("encoding", "Which code page makes these words read right?",
                     choices=guess.others or CODE_PAGES, proposed=guess.value, why=guess.why,
                     examples=guess.examples)
        )  # fmt: skip
        out.faults.append(
            Fault(Kind.ENCODING, 1, 1, "file is not Unicode text",
                  f"read as {encoding}" if encoding else "asked",
                  "" if encoding else "everything, until it is answered", examples=guess.examples)
        )  # fmt: skip
    elif data.startswith(b"\xef\xbb\xbf") or guess.value != "utf-8":
        out.faults.append(
            Fault(Kind.ENCODING, 1, 1, f"file: {guess.why}", f"read as {guess.value}")
        )
    if encoding and not data.isascii():
        damage = damaged_characters(data.decode(encoding, errors="replace"))
        for name, count in damage.items():
            said = {"lost": "characters were lost", "doubled": "letters were read as two"}[name]
            out.faults.append(
                Fault(Kind.DAMAGED_TEXT, count, 0, f"{said} in an earlier conversion",
                      "kept as they stand; export again as UTF-8 to mend them")
            )  # fmt: skip
    return encoding


def _delimiter(text: str, desk: Desk, out: Sniffed) -> str:
    guess = guess_delimiter(text)
    out.guesses["delimiter"] = guess
    if guess.sure != ASKED:
        return guess.value
    marks = guess.others or DELIMITERS
    named = {MARKS[mark]: mark for mark in marks}
    answer = desk.choose(
        Question("delimiter", "Which mark stands between the columns?", choices=tuple(named),
                 proposed=MARKS.get(guess.value, ""), why=guess.why, examples=guess.examples)
    )  # fmt: skip
    return named.get(answer, "")


def _header_line(path: Path, rows: list[list[str]], out: Sniffed) -> int:
    guess = guess_header_line(rows)
    out.guesses["header line"] = guess
    if not guess.value:
        step = "put a line with the names of the columns above the rows"
        raise Refused([Problem(path.name, 1, "", "", guess.why, step)])
    if guess.value != "1":
        above = int(guess.value) - 1
        out.faults.append(
            Fault(Kind.CONTAINER, above, 0, "lines stand above the names of the columns",
                  "not read", examples=guess.examples)
        )  # fmt: skip
    return int(guess.value)


def _tell_container(path: Path, out: Sniffed, delimiter: str) -> None:
    packed = path.name.lower().endswith((".gz", ".zip"))
    if delimiter == "," and not packed:
        return
    said = f"columns are split by the {MARKS[delimiter]}" + (", the file is packed" * packed)
    out.faults.append(Fault(Kind.CONTAINER, 1, 1, said, "read so"))


def _sniff_workbook(path: Path, desk: Desk) -> Sniffed:
    sheets = files.sheet_names(path)
    sheet = sheets[0]
    out = Sniffed(guesses={"container": Guess("xlsx", CERTAIN, f"{len(sheets)} sheet(s)")})
    if len(sheets) > 1:
        sheet = desk.choose(
            Question("sheet", "Which sheet holds the records?", choices=tuple(sheets),
                     why=f"the workbook has {len(sheets)} sheets")
        )  # fmt: skip
        if not sheet:
            return out
    source = TableSource(path, sheet=sheet)
    raw = files.read_table(source)
    header = _header_line(path, _first_rows(raw), out)
    out.source = TableSource(path, sheet=sheet, header_line=header)
    return out


def _first_rows(raw: RawTable) -> list[list[str]]:
    """Return the first lines of a sheet as text; pandas' own names count as blank."""
    header = ["" if str(n).startswith("Unnamed:") else str(n) for n in raw.frame.columns]
    out = [header]
    body = raw.frame.head(50).to_numpy(dtype=object)
    for line, row in zip(raw.lines[:50].tolist(), body, strict=True):
        out += [[]] * (line - 1 - len(out)) + [[cell_text(cell) for cell in row]]
    return out
