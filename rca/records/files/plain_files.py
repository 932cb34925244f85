"""Texts, bytes, JSON and tables, written whole or not at all."""

import hashlib
import json
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd

from rca.errors import Changed, NotWritten, Problem, Refused
from rca.records.files.csv_bytes import csv_bytes
from rca.records.files.spreadsheet import spreadsheet_safe


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
        raise not_written(path, error) from error


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
    write_bytes(path, csv_bytes(spreadsheet_safe(frame)))


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
        raise not_written(path, error) from error


def read_frame(path: Path) -> pd.DataFrame:
    """Read a table that `write_frame` wrote."""
    return pd.read_parquet(path)


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
        raise not_written(target, error) from error


def sha256(path: Path) -> str:
    """Return the hash of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def not_written(path: Path, error: OSError) -> NotWritten:
    """Say that a file or folder could not be written, why, and what to look at."""
    step = "check that the folder exists, may be written to, and that the disk has room"
    reason = error.strerror or str(error)
    return NotWritten(f"{path.name} could not be written: {reason}", next_step=step)
