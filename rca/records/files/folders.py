"""Folders that appear whole or not at all, numbered runs, and the pointer to one of them."""

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rca.records.files.plain_files import not_written


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
        raise not_written(wanted, error) from error
    try:
        yield work
        os.chmod(work, 0o755)
        _rename_to_free_name(work, wanted)
    except OSError as error:
        shutil.rmtree(work, ignore_errors=True)
        raise not_written(wanted, error) from error
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
        raise not_written(pointer, error) from error


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
        raise not_written(target, error) from error


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
        raise not_written(path, error) from error
