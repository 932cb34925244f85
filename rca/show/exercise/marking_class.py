"""Mark a whole class: read what was handed in, write feedback, gradebook and debrief data.

OUT/feedback/NAME.html    for each student
OUT/gradebook.csv         one row a student, as far as a gradebook can read it
OUT/for_a_person.csv      free text with suggested points; filled-in points count at the next run
OUT/class.json            for the debrief
OUT/problems.csv          what could not be read, or was altered
"""

import csv
import io
import os
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pandas as pd

from rca.errors import Problem, RcaError
from rca.records import files
from rca.records.fleet import Fleet, read_fleet
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.feedback import feedback_page, for_a_person
from rca.show.exercise.making import COURSE, RUBRIC, read_course, read_keys
from rca.show.exercise.marking import NOT_BEGUN, StudentMark, class_entry, mark_work
from rca.show.exercise.roster import Student
from rca.show.exercise.rubric import CRITERIA, Rubric, read_rubric
from rca.show.exercise.submissions import Work, read_submissions

GRADEBOOK, PERSON, CLASS, PROBLEMS = (
    "gradebook.csv", "for_a_person.csv", "class.json", "problems.csv",
)  # fmt: skip
FORMAT = 1
FEW = 12  # so few students are marked without further processes


@dataclass(frozen=True, slots=True, eq=False)
class ClassMarks:
    """All marks, what was wrong with files, and the folder that holds the pages."""

    marks: tuple[StudentMark, ...]
    missing: tuple[str, ...]
    problems: tuple[Problem, ...]
    folder: Path

    def __str__(self) -> str:
        withheld = sum(bool(one.withheld) for one in self.marks)
        return (
            f"{len(self.marks)} marked, of them {withheld} withheld; {len(self.missing)} handed "
            f"nothing in; {len(self.problems)} problems with files"
        )


def mark_class(
    handed_in: Path,
    instructor: Path,
    out: Path,
    *,
    processes: int = 2,
    executor: Executor | None = None,
) -> ClassMarks:
    """Mark everything handed in below a folder.

    Parameters
    ----------
    handed_in
        Folders and zips as students sent them, by any name.
    instructor
        The folder `instructor` that `rca class make` wrote.
    out
        Folder for the pages; what stands there is written anew, points set by a person are kept.
    processes, executor
        As in `making.make_class`.

    Raises
    ------
    Refused
        There is no key, or the marking sheet cannot be read.
    """
    keys, rubric = read_keys(instructor), read_rubric(instructor / RUBRIC)
    names = _students(instructor)
    files.make_folder(out / "feedback")
    by_person, problems = points_by_person(out / PERSON, rubric)
    works, unread = read_submissions(handed_in, tuple(keys))
    problems += unread
    works = {code: work for code, work in works.items() if work.is_begun}
    orders = [(works[code], keys[code], by_person.get(code, {})) for code in works]
    marked = _marked(orders, rubric, instructor.parent / "students", names, processes, executor)
    marks = []
    for mark, page, problem in marked:
        if problem is not None:
            problems = (*problems, problem)
        if mark is not None:
            marks.append(mark)
            files.write_text(out / "feedback" / f"{_page_name(mark, names)}.html", page)
    missing = tuple(code for code in keys if code not in works)
    done = ClassMarks(tuple(marks), missing, problems, out)
    _write(done, keys, names, out)
    return done


def _students(instructor: Path) -> dict[str, Student]:
    course = instructor / COURSE
    if not course.is_file():
        return {}
    return {one.code: one for one in read_course(course).students}


def _page_name(mark: StudentMark, names: Mapping[str, Student]) -> str:
    return names.get(mark.student, Student(mark.student)).folder


Order = tuple[Work, AnswerKey, Mapping[str, float]]
Marked = tuple[StudentMark | None, str, Problem | None]


def _marked(
    orders: Sequence[Order],
    rubric: Rubric,
    students: Path,
    names: Mapping[str, Student],
    processes: int,
    executor: Executor | None,
) -> list[Marked]:
    one = partial(mark_one, rubric=rubric, students=students, names=dict(names))
    if executor is not None:
        return list(executor.map(one, orders))
    if processes < 2 or len(orders) <= FEW:
        return [one(order) for order in orders]
    context = get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context, initializer=_one_thread) as pool:
        return list(pool.map(one, orders, chunksize=4))


def _one_thread() -> None:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def mark_one(
    order: Order, *, rubric: Rubric, students: Path, names: Mapping[str, Student]
) -> Marked:
    """Mark one student and write the page; whatever goes wrong is a problem, never an end."""
    work, key, by_person = order
    student = names.get(key.student, Student(key.student))
    try:
        fleet = _fleet(students / student.folder / "fleet", work)
        mark = mark_work(work, key, rubric, fleet=fleet, by_person=by_person)
        return mark, feedback_page(mark, key, name=student.name), None
    except Exception as error:  # a fault of the kit on odd work must not stop the class
        rule = f"could not be marked ({type(error).__name__}: {str(error)[:200]})"
        place = work.places[0] if work.places else key.code
        return None, "", Problem(place, 0, "", "", rule, "mark it by hand, and report it")


def _fleet(folder: Path, work: Work) -> Fleet | None:
    """The instructor's copy of the student's records, where a claim has to be checked on them."""
    if "claim:" not in work.investigation and "record:" not in work.investigation:
        return None
    try:
        return read_fleet(folder)
    except RcaError:
        return None


def points_by_person(
    path: Path, rubric: Rubric
) -> tuple[dict[str, dict[str, float]], tuple[Problem, ...]]:
    """Read the points that a person filled in, by case and criterion; the mean of several rows."""
    if not path.is_file():
        return {}, ()
    found: dict[str, dict[str, list[float]]] = {}
    problems = []
    reader = csv.DictReader(io.StringIO(files.read_text(path)))
    for line, row in enumerate(reader, start=2):
        said = (row.get("points") or "").strip()
        criterion = (row.get("criterion") or "").strip()
        if not said or criterion not in CRITERIA:
            continue
        try:
            value = float(said.replace(",", "."))
        except ValueError:
            problems.append(Problem(path.name, line, "points", said[:20], "is no number"))
            continue
        if not 0 <= value <= rubric.points[criterion]:
            rule = f"must lie between 0 and {rubric.points[criterion]:g}"
            problems.append(Problem(path.name, line, "points", said[:20], rule))
            continue
        found.setdefault(row.get("case") or "", {}).setdefault(criterion, []).append(value)
    means = {
        code: {name: sum(values) / len(values) for name, values in one.items()}
        for code, one in found.items()
    }
    return means, tuple(problems)


# What is written --------------------------------------------------------------------------


def _write(
    done: ClassMarks, keys: Mapping[str, AnswerKey], names: Mapping[str, Student], out: Path
) -> None:
    rows = [_gradebook_row(one, names) for one in done.marks]
    rows += [_missing_row(keys[code], names) for code in done.missing]
    files.write_csv(out / GRADEBOOK, pd.DataFrame(rows))
    kept = _filled_in(out / PERSON)
    sheet = [row for one in done.marks for row in for_a_person(one)]
    for row in sheet:
        row["points"] = kept.get((row["case"], row["criterion"], row["what"]), "")
    columns = ["case", "student", "criterion", "what", "text", "suggested", "most", "points"]
    files.write_csv(out / PERSON, pd.DataFrame(sheet, columns=columns))
    problems = pd.DataFrame(
        [(one.file, one.line, one.column, one.value, one.rule, one.next_step)
         for one in done.problems],
        columns=["file", "line", "column", "value", "rule", "next_step"],
    )  # fmt: skip
    files.write_csv(out / PROBLEMS, problems)
    entries = [class_entry(one, keys[one.code]) for one in done.marks]
    content = {
        "format": FORMAT,
        "students": entries,
        "missing": [keys[code].student for code in done.missing],
        "problems": [str(one) for one in done.problems],
    }
    files.write_json(out / CLASS, content)


def _filled_in(path: Path) -> dict[tuple[str, str, str], str]:
    """Points already filled in, by case, criterion and what was read."""
    if not path.is_file():
        return {}
    reader = csv.DictReader(io.StringIO(files.read_text(path)))
    return {
        (row.get("case") or "", row.get("criterion") or "", row.get("what") or ""):
        row.get("points") or ""
        for row in reader
    }  # fmt: skip


def _gradebook_row(mark: StudentMark, names: Mapping[str, Student]) -> dict[str, Any]:
    student = names.get(mark.student, Student(mark.student))
    return {
        "student": student.code,
        "name": student.name,
        "case": mark.code,
        "points": "" if mark.total is None else mark.total,
        **{one.criterion: one.points for one in mark.marks},
        "to_look_at": "; ".join(mark.flags),
    }


def _missing_row(key: AnswerKey, names: Mapping[str, Student]) -> dict[str, Any]:
    student = names.get(key.student, Student(key.student))
    return {
        "student": student.code, "name": student.name, "case": key.code, "points": "",
        "to_look_at": NOT_BEGUN,
    }  # fmt: skip
