"""Folders of runs: one at a time, whole or not at all, the last good one always reachable.

`OUT/2026-10/` is a run, `OUT/2026-10.2/` its rerun, `OUT/latest` points at the newest run of the
latest month. Hidden folders `.run.*` are at work; one left by a killed run goes with the next run.
"""

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from rca.errors import Busy, NotWritten
from rca.records import files

AT_WORK = ".run."
LATEST = "latest"
FAILED = "failed"
MOST_FAILED = 20  # notebooks of failed runs that are kept
_RUN = re.compile(r"(\d{4}-\d{2})(?:\.([1-9]\d{0,8}))?")


@contextmanager
def only_run(out: Path) -> Iterator[None]:
    """Hold the lock of an output folder; a run that was killed leaves no lock behind.

    Raises
    ------
    Busy
        Another run holds it.
    NotWritten
        The folder cannot be made or written to.
    """
    lock = FileLock(out / ".lock")
    try:
        out.mkdir(parents=True, exist_ok=True)
        lock.acquire(timeout=0)
    except Timeout as error:
        step = "wait for it to end; a run that was killed holds no lock"
        raise Busy("another run is writing to this folder", next_step=step) from error
    except (OSError, NotImplementedError) as error:
        raise _not_written(out, error) from error
    try:
        yield
    finally:
        lock.release()


@dataclass(slots=True)
class Run:
    """A run at work in a hidden folder; `name` is what the folder will be called at the end."""

    work: Path
    name: str = ""
    folder: Path | None = None


@contextmanager
def new_run(out: Path) -> Iterator[Run]:
    """Give a hidden working folder that becomes `OUT/name` (or `name.2`, ...) at the end.

    Call it under `only_run`: hidden folders of killed runs are removed first.

    Raises
    ------
    NotWritten
        The folder cannot be written to, or the disk is full; nothing that existed changes.
    """
    sweep(out)
    try:
        work = Path(tempfile.mkdtemp(dir=out, prefix=AT_WORK))
    except OSError as error:
        raise _not_written(out, error) from error
    run = Run(work)
    try:
        yield run
        work.chmod(0o755)
        _settle(work)
        run.folder = _next_free(out, run.name)
        work.rename(run.folder)
        _settle(out, deep=False)
    except OSError as error:
        shutil.rmtree(work, ignore_errors=True)
        raise _not_written(out, error) from error
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise


def sweep(out: Path) -> None:
    """Remove hidden folders that killed runs have left; the lock must be held."""
    for left in out.glob(f"{AT_WORK}*"):
        shutil.rmtree(left, ignore_errors=True)


def _settle(folder: Path, *, deep: bool = True) -> None:
    """Have the system write files and folder names to the disk, so that no power cut loses them."""
    if not hasattr(os, "O_DIRECTORY"):
        return  # folders cannot be opened on this system
    places = [folder, *folder.rglob("*")] if deep else [folder]
    for place in places:
        handle = os.open(place, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _next_free(out: Path, name: str) -> Path:
    newest = newest_of(out, name)
    if newest is None:
        return out / name
    found = _RUN.fullmatch(newest.name)
    assert found is not None
    return out / f"{name}.{int(found[2] or 1) + 1}"


def runs(out: Path) -> list[tuple[str, int, Path]]:
    """List finished runs: month, number, folder; in the order of month and number."""
    found = []
    for path in out.glob("[0-9][0-9][0-9][0-9]-[0-9][0-9]*"):
        name = _RUN.fullmatch(path.name)
        if name and path.is_dir():
            found.append((name[1], int(name[2] or 1), path))
    return sorted(found)


def this_month() -> str:
    """Return the month of today, for a run that made nothing."""
    return datetime.now(UTC).strftime("%Y-%m")


def newest_of(out: Path, month: str) -> Path | None:
    """Return the newest run of a month; None where there is none."""
    own = [path for when, _, path in runs(out) if when == month]
    return own[-1] if own else None


def newest_before(out: Path, month: str) -> Path | None:
    """Return the newest run of the latest month before `month`; None where there is none."""
    earlier = [path for when, _, path in runs(out) if when < month]
    return earlier[-1] if earlier else None


def point_at_latest(out: Path) -> Path | None:
    """Let `OUT/latest` name the newest run of the latest month; return that run's folder."""
    found = runs(out)
    if not found:
        return None
    folder = found[-1][2]
    files.point_to(out / LATEST, folder)
    return folder


def latest(out: Path) -> Path | None:
    """Return the folder that `OUT/latest` names, whether it is a link or a text file."""
    pointer = out / LATEST
    if pointer.is_dir():
        return pointer.resolve()
    if pointer.is_file():
        folder = out / pointer.read_text(encoding="utf-8").strip()
        return folder if folder.is_dir() else None
    return None


def keep_failed(notebook: Path, out: Path, *, name: str) -> str:
    """Keep the notebook of a failed run in `OUT/failed/`, the newest twenty; say where."""
    kept = out / FAILED / f"{name}.ipynb"
    try:
        kept.parent.mkdir(exist_ok=True)
        shutil.copyfile(notebook, kept)
        for old in sorted(kept.parent.glob("*.ipynb"))[:-MOST_FAILED]:
            old.unlink()
    except OSError:
        return "nowhere, since the folder could not be written to"
    return f"{FAILED}/{kept.name}"


def _not_written(out: Path, error: Exception) -> NotWritten:
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    step = "check that the folder may be written to and the disk has room; the last report is whole"
    return NotWritten(f"{out.name} cannot be written to: {reason}", next_step=step)
