"""Saved work of students, read with care: what it is, whose it is, and what is wrong with it.

Folders and zips may have any name: a case is recognised by the code inside its files. Nothing of
a submission is run, unpacked onto the disk or followed out of its folder; whatever is too large,
no text, or no work of this exercise is left alone, and reported where it looks like work.
"""

import json
import os
import re
import zipfile
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rca.errors import Problem
from rca.show.exercise.log import Step, sound_steps

MOST_BYTES = 5_000_000
MOST_YAML = 120_000
MOST_FILES = 100_000
MOST_IN_ZIP = 2_000
MOST_UNPACKED = 50_000_000
SNIFFED = 4_096
DEEPEST = 12

_INVESTIGATION = re.compile(r"^investigation:[ \t]*[\"']?([\w-]+)", re.MULTILINE)
_WORK_NAMES = re.compile(r"(log|investigation)[^/]*\.(jsonl|json|ya?ml|txt)$", re.I)


@dataclass(frozen=True, slots=True)
class Found:
    """One file of a submission, by its place below the folder that was given."""

    place: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Work:
    """The work on one case: steps of the log as far as its chain holds, and the investigation.

    `altered` is what is wrong with the log ("" = nothing); `places` where the files were.
    """

    code: str
    steps: tuple[Step, ...] = ()
    altered: str = ""
    investigation: str = ""
    places: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def is_begun(self) -> bool:
        """Whether anything was done; False for a folder as it was handed out."""
        return bool(self.steps or self.investigation or self.altered)


@dataclass
class _Gathered:
    logs: list[tuple[tuple[Step, ...], Problem | None, str]] = field(default_factory=list)
    investigations: list[tuple[str, str]] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    cases: list[str] = field(default_factory=list)


def read_submissions(
    folder: Path, codes: Collection[str]
) -> tuple[dict[str, Work], tuple[Problem, ...]]:
    """Read all work below a folder, by case code; with what could not be read or belongs to nobody.

    Parameters
    ----------
    folder
        Holds folders and zips as students sent them, in any order and by any name.
    codes
        Codes of the cases of the course.
    """
    problems: list[Problem] = []
    gathered: dict[str, _Gathered] = defaultdict(_Gathered)
    for group in _groups(folder, problems):
        _take(group, codes, gathered, problems)
    return {code: _work(code, one) for code, one in sorted(gathered.items())}, tuple(problems)


# Finding files ----------------------------------------------------------------------------


def _groups(folder: Path, problems: list[Problem]) -> Iterator[list[Found]]:
    """Files that came together: those of one first-level folder, or of one zip."""
    seen = 0
    by_top: dict[str, list[Found]] = defaultdict(list)
    for path, place in _files(folder, problems):
        seen += 1
        if seen > MOST_FILES:
            problems.append(Problem(folder.name, 0, "", "", f"holds more than {MOST_FILES} files"))
            break
        if path.suffix.lower() == ".zip":
            yield list(_unzipped(path, place, problems))
            continue
        data = _sniffed(path, place, problems)
        if data is not None:
            by_top[place.partition("/")[0] if "/" in place else ""].append(Found(place, data))
    yield from by_top.values()


def _files(folder: Path, problems: list[Problem]) -> Iterator[tuple[Path, str]]:
    """Every ordinary file below the folder; links and other special files are reported."""
    for top, names, held in os.walk(folder, followlinks=False):
        here = Path(top)
        if len(here.relative_to(folder).parts) >= DEEPEST:
            problems.append(Problem(here.name, 0, "", "", "is nested too deeply"))
            names.clear()
            continue
        for name in sorted(names):
            if (here / name).is_symlink():
                problems.append(_linked(here / name, folder))
        names[:] = sorted(name for name in names if not (here / name).is_symlink())
        for name in sorted(held):
            path = here / name
            if path.is_symlink():
                problems.append(_linked(path, folder))
            elif path.is_file():
                yield path, _shown(path.relative_to(folder).as_posix())
            else:
                problems.append(Problem(_shown(name), 0, "", "", "is no ordinary file"))


def _linked(path: Path, folder: Path) -> Problem:
    place = _shown(path.relative_to(folder).as_posix())
    return Problem(place, 0, "", "", "is a link and was not followed", "ask for the file itself")


def _shown(text: str) -> str:
    """A name that can be printed: no control characters, no broken Unicode, not too long."""
    plain = text.encode("utf-8", "replace").decode()
    return "".join(one if one.isprintable() else "?" for one in plain)[:200]


def _sniffed(path: Path, place: str, problems: list[Problem]) -> bytes | None:
    """Content of a file that looks like work; None for anything else."""
    try:
        with path.open("rb") as stream:
            head = stream.read(SNIFFED)
            if not _looks_like_work(head, place):
                return None
            size = os.fstat(stream.fileno()).st_size
            if size > MOST_BYTES:
                problems.append(_too_large(place, size))
                return None
            return head + stream.read(MOST_BYTES)
    except OSError as error:
        problems.append(Problem(place, 0, "", "", f"cannot be read: {error.strerror}"))
        return None


def _looks_like_work(head: bytes, place: str) -> bool:
    if _WORK_NAMES.search(place):
        return True
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    return (start.startswith(b"{") and (b'"does"' in head or b'"code"' in head)) or (
        b"investigation:" in head
    )


def _too_large(place: str, size: int) -> Problem:
    rule = f"has {size} bytes, more than any work of this exercise"
    return Problem(place, 0, "", "", rule, "ask for the file that the notebook wrote")


def _unzipped(path: Path, place: str, problems: list[Problem]) -> Iterator[Found]:
    """Files of a zip that look like work, read in memory and never beyond the limits."""
    left = MOST_UNPACKED
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            if len(entries) > MOST_IN_ZIP:
                problems.append(Problem(place, 0, "", "", f"holds {len(entries)} files"))
                return
            for entry in entries:
                inside = f"{place}/{_shown(entry.filename)}"
                if entry.is_dir():
                    continue
                if entry.file_size > MOST_BYTES:
                    if _WORK_NAMES.search(entry.filename):
                        problems.append(_too_large(inside, entry.file_size))
                    continue
                with archive.open(entry) as stream:
                    data = stream.read(MOST_BYTES + 1)
                left -= len(data)
                if left < 0:
                    rule = "unpacks to more than any work of this exercise"
                    problems.append(Problem(place, 0, "", "", rule))
                    return
                if _looks_like_work(data[:SNIFFED], inside) and len(data) <= MOST_BYTES:
                    yield Found(inside, data)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, ValueError, EOFError,
            zipfile.LargeZipFile) as error:  # fmt: skip
        rule = f"is no zip that can be read ({type(error).__name__})"
        problems.append(Problem(place, 0, "", "", rule, "ask for it again"))


# Whose it is ------------------------------------------------------------------------------


def _take(
    group: list[Found],
    codes: Collection[str],
    gathered: dict[str, _Gathered],
    problems: list[Problem],
) -> None:
    """Sort the files of one group to the cases whose codes they hold."""
    texts = [(one.place, text) for one in group
             if (text := _text(one, problems)) is not None]  # fmt: skip
    stated = {code for _, text in texts if (code := _code_stated(text)) in codes}
    for place, text in texts:
        stripped = text.lstrip()
        if stripped.startswith("{"):
            if _is_log(stripped):
                _take_log(place, text, codes, stated, gathered, problems)
            elif (code := _code_stated(text)) in codes:
                gathered[code].cases.append(place)
        elif match := _INVESTIGATION.search(text):
            code = match.group(1)
            owner = code if code in codes else next(iter(stated)) if len(stated) == 1 else ""
            if not owner:
                rule = "is an investigation of no case of this course"
                problems.append(Problem(place, 0, "investigation", code[:40], rule))
            elif len(text) > MOST_YAML:
                problems.append(_too_large(place, len(text)))
                gathered[owner].broken.append(f"{place} is too large")
            else:
                gathered[owner].investigations.append((place, text))
        elif _WORK_NAMES.search(place):
            problems.append(Problem(place, 0, "", "", "is no work of this exercise"))
            if len(stated) == 1:
                gathered[next(iter(stated))].broken.append(f"{place} cannot be read")


def _is_log(text: str) -> bool:
    """Whether a text is a log: its steps stand on one line each."""
    first = text.lstrip().partition("\n")[0][:SNIFFED]
    return first.startswith("{") and '"does"' in first


def _text(found: Found, problems: list[Problem]) -> str | None:
    try:
        return found.data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = found.data.count(b"\n", 0, error.start) + 1
        step = "ask for the file as the notebook wrote it"
        problems.append(Problem(found.place, line, "", "", "is not UTF-8 text", step))
        return None


def _code_stated(text: str) -> str:
    """The case code that a case file or an investigation states; "" where it does not."""
    if match := _INVESTIGATION.search(text[:SNIFFED]):
        return match.group(1)
    if not text.lstrip().startswith("{") or len(text) > 500_000 or _is_log(text):
        return ""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        return ""
    code = data.get("code") if isinstance(data, Mapping) else None
    return code if isinstance(code, str) else ""


def _take_log(
    place: str,
    text: str,
    codes: Collection[str],
    stated: set[str],
    gathered: dict[str, _Gathered],
    problems: list[Problem],
) -> None:
    """Find whose log it is: the case with whose code its chain begins."""
    first = text.splitlines()[0] if text else ""
    for code in codes:
        if sound_steps(first, code=code)[0]:
            steps, broken = sound_steps(text, code=code, file=place)
            gathered[code].logs.append((steps, broken, place))
            if broken:
                problems.append(broken)
            return
    if len(stated) == 1:
        code = next(iter(stated))
        steps, broken = sound_steps(text, code=code, file=place)
        gathered[code].logs.append((steps, broken, place))
        if broken:
            problems.append(broken)
        return
    problems.append(Problem(place, 1, "", "", "is the log of no case of this course"))


def _work(code: str, held: _Gathered) -> Work:
    """Choose the furthest log and its investigation; say what else there was."""
    notes = list(held.broken)
    logs = sorted(held.logs, key=lambda one: (one[1] is None, len(one[0])), reverse=True)
    if len({one[0][-1].hash if one[0] else "" for one in logs}) > 1:
        notes.append(f"{len(logs)} different logs; the furthest sound one counts: {logs[0][2]}")
    steps, broken, place = logs[0] if logs else ((), None, "")
    altered = str(broken) if broken else ""
    text, where = _investigation(held, place)
    if not logs:
        notes.append("there is no log")
    if not held.investigations:
        notes.append("there is no investigation file")
    elif len({one[1] for one in held.investigations}) > 1:
        count = len(held.investigations)
        notes.append(f"{count} different investigation files; the one by the log counts: {where}")
    return Work(code, steps, altered, text, tuple(filter(None, (place, where))), tuple(notes))


def _investigation(held: _Gathered, log_place: str) -> tuple[str, str]:
    """The investigation that lies nearest to the log."""

    def near(one: tuple[str, str]) -> tuple[int, int]:
        shared = zip(one[0].split("/"), log_place.split("/"), strict=False)
        return (sum(mine == other for mine, other in shared), len(one[1]))

    if not held.investigations:
        return "", ""
    place, text = max(held.investigations, key=near)
    return text, place
