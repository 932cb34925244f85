"""Make a class: a folder and a zip for each student, and the instructor's folder apart.

    OUT/students/NAME/      the student's case (also as OUT/hand_out/NAME.zip)
    OUT/instructor/         course.json (with the course secret), keys/, cases.csv, rubric.yaml

Students are made in processes of an executor; one that fails stops no other. The same course file
makes the same folders again, byte by byte.
"""

import json
import os
import secrets
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pandas as pd

from rca.errors import Problem, RcaError, Refused
from rca.records import files
from rca.show.exercise.answer_key import AnswerKey, key_of_text, key_text
from rca.show.exercise.building import BuiltCase, build_case
from rca.show.exercise.case_sheet import case_sheet
from rca.show.exercise.packing import packed
from rca.show.exercise.roster import Student

COURSE, RUBRIC, CASES, KEYS = "course.json", "rubric.yaml", "cases.csv", "keys"
NOTEBOOK = "class_exercise.ipynb"
FORMAT = 1
FEW = 3  # so few students are made without further processes


@dataclass(frozen=True, slots=True)
class Course:
    """A course: with it any case can be made again. `secret` is 128 bits, as hexadecimal digits.

    `kind` and `traps` are "" and None where they are drawn for each student.
    """

    name: str
    secret: str
    level: str = "middle"
    kind: str = ""
    traps: tuple[str, ...] | None = None
    students: tuple[Student, ...] = ()
    format: int = FORMAT


@dataclass(frozen=True, slots=True)
class Made:
    """What became of one student's case: its code and folder, or why there is none."""

    student: Student
    code: str = ""
    folder: str = ""
    level: str = ""
    share_of_budget: float = 0.0
    error: str = ""


def new_course(
    students: Sequence[Student],
    *,
    name: str = "",
    level: str = "middle",
    kind: str = "",
    traps: Sequence[str] | None = None,
) -> Course:
    """Return a new course with a secret of its own."""
    chosen = None if traps is None else tuple(traps)
    return Course(name, secrets.token_hex(16), level, kind, chosen, tuple(students))


def read_course(path: Path) -> Course:
    """Read a course file; raises Refused where it is none."""
    try:
        data = json.loads(files.read_text(path))
        data["students"] = tuple(Student(**one) for one in data["students"])
        data["traps"] = None if data["traps"] is None else tuple(data["traps"])
        course = Course(**data)
        if len(bytes.fromhex(course.secret)) < 16 or course.format != FORMAT:
            raise ValueError("secret or format")
    except (ValueError, KeyError, TypeError) as error:
        rule = f"is no course file of this kit ({type(error).__name__})"
        raise Refused([Problem(path.name, 0, "", "", rule)]) from error
    return course


def make_class(
    course: Course,
    out: Path,
    *,
    processes: int = 2,
    executor: Executor | None = None,
    said: Callable[[Made], None] | None = None,
) -> tuple[Made, ...]:
    """Make all cases of a course below `out`, which must not hold anything yet.

    Parameters
    ----------
    processes
        Cases made at the same time.
    executor
        Another executor of `concurrent.futures` instead of local processes.
    said
        Called with each case once it is made.

    Raises
    ------
    Refused
        `out` is not empty.
    NotWritten
        It cannot be written to.
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        step = "name a new folder; nothing was changed"
        raise Refused([Problem(out.name, 0, "", "", "is not empty", step)])
    _lay_out(course, out)
    done = {one.student.code: one for one in _made(course, out, processes, executor, said)}
    made = tuple(done[one.code] for one in course.students)
    files.write_csv(out / "instructor" / CASES, _cases(made))
    return made


def make_again(course_file: Path, student: str, out: Path | None = None) -> Made:
    """Make the case of one student of a course again, where it was or below `out`.

    Raises
    ------
    Refused
        The student is not in the course, or there is a folder in the way.
    """
    course = read_course(course_file)
    wanted = student.casefold()
    known = {one.code.casefold(): one for one in course.students}
    known |= {one.name.casefold(): one for one in course.students if one.name}
    if wanted not in known:
        step = "add the student to the roster, or look up the code in cases.csv"
        raise Refused([Problem(course_file.name, 0, "students", student, "is not known", step)])
    place = out if out is not None else course_file.parent.parent
    one = known[wanted]
    folder = place / "students" / one.folder
    if folder.exists():
        step = "move it away first, so that no work is lost"
        raise Refused([Problem(f"students/{one.folder}", 0, "", "", "exists already", step)])
    _lay_out(course, place)
    return make_one(course, one, place)


def _lay_out(course: Course, out: Path) -> None:
    for name in ("students", "hand_out", f"instructor/{KEYS}"):
        files.make_folder(out / name)
    if not (out / "instructor" / RUBRIC).exists():
        files.write_text(out / "instructor" / RUBRIC, default_rubric_text())
    if not (out / "instructor" / COURSE).exists():
        text = json.dumps(asdict(course), indent=1, ensure_ascii=False) + "\n"
        files.write_text(out / "instructor" / COURSE, text)


def default_rubric_text() -> str:
    """Return the rubric file that ships with the kit."""
    import importlib.resources

    place = importlib.resources.files("rca").joinpath("show", "exercise", RUBRIC)
    return place.read_text(encoding="utf-8")


def _made(
    course: Course,
    out: Path,
    processes: int,
    executor: Executor | None,
    said: Callable[[Made], None] | None,
) -> Iterator[Made]:
    if executor is None and (processes < 2 or len(course.students) <= FEW):
        for one in course.students:
            yield _told(make_one(course, one, out), said)
        return
    pool = executor or ProcessPoolExecutor(
        min(processes, len(course.students)), mp_context=get_context("spawn"),
        initializer=_one_thread,
    )  # fmt: skip
    lean = replace(course, students=())
    try:
        waiting = {pool.submit(make_one, lean, one, out): one for one in course.students}
        for future in as_completed(waiting):
            failed = future.exception()
            made = (
                future.result() if failed is None
                else Made(waiting[future], error=f"{type(failed).__name__}: {failed}")
            )  # fmt: skip
            yield _told(made, said)
    finally:
        if executor is None:
            pool.shutdown(cancel_futures=True)


def _told(made: Made, said: Callable[[Made], None] | None) -> Made:
    if said is not None:
        said(made)
    return made


def _one_thread() -> None:
    """Each process has one core; more threads only wait."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def make_one(course: Course, student: Student, out: Path) -> Made:
    """Make the case of one student: folder, zip and key."""
    try:
        built = build_case(
            bytes.fromhex(course.secret),
            student.code,
            course=course.name,
            level=course.level,
            kind=course.kind,
            traps=course.traps,
        )
        held = student_files(built)
        _write(out / "students" / student.folder, held)
        whole = packed({f"{student.folder}/{name}": data for name, data in held.items()})
        files.write_bytes(out / "hand_out" / f"{student.folder}.zip", whole)
        text = key_text(built.key)
        files.write_text(out / "instructor" / KEYS / f"{built.case.code}.json", text)
    except RcaError as error:
        return Made(student, error=error.message)
    except Exception as error:  # whatever it is, the others of the class go on
        return Made(student, error=f"{type(error).__name__}: {error}")
    key = built.key
    return Made(student, key.code, student.folder, key.level, key.share_of_budget)


def student_files(built: BuiltCase) -> dict[str, bytes]:
    """Return everything in a student's folder: the case, its sheet, and the notebook."""
    held = {**built.files, "case_sheet.html": case_sheet(built.case).encode()}
    notebook = _notebook()
    return {**held, NOTEBOOK: notebook} if notebook else held


@cache
def _notebook() -> bytes:
    """The notebook of the exercise as shipped; empty where this copy of the kit has none."""
    path = files.shipped("workbooks") / NOTEBOOK
    return path.read_bytes() if path.is_file() else b""


def _write(folder: Path, held: dict[str, bytes]) -> None:
    """Write a folder that appears whole."""
    with files.folder_that_appears_whole(folder) as work:
        for name, data in held.items():
            path = work / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)


def _cases(made: Sequence[Made]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = [
        {
            "student": one.student.code,
            "name": one.student.name,
            "case": one.code,
            "folder": one.folder,
            "level": one.level,
            "share_of_budget": one.share_of_budget,
            "error": one.error,
        }
        for one in made
    ]
    return pd.DataFrame(rows)


def read_keys(instructor: Path) -> dict[str, AnswerKey]:
    """Read all answer keys of a course, by case code.

    Raises
    ------
    Refused
        There is none.
    """
    found = {}
    for path in sorted((instructor / KEYS).glob("*.json")):
        key = key_of_text(files.read_text(path), file=path.name)
        found[key.code] = key
    if not found:
        step = "name the folder `instructor` that rca class make wrote"
        raise Refused([Problem(f"{instructor.name}/{KEYS}", 0, "", "", "holds no key", step)])
    return found
