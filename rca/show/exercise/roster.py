"""The list of students: a CSV with a column `name` or `code`, or just a number of them."""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.safe_names import file_name

HEADINGS = {"code": ("code", "student", "id", "number"), "name": ("name", "student name")}
MOST_STUDENTS = 2_000
LONGEST = 100


@dataclass(frozen=True, slots=True)
class Student:
    """One student: `code` decides the case, `name` stands on the feedback ("" = none given)."""

    code: str
    name: str = ""

    @property
    def folder(self) -> str:
        """Name of a folder for this student; two of one name are told apart by their codes."""
        both = self.name and self.name.casefold() != self.code.casefold()
        return file_name(f"{self.name} {self.code}" if both else self.code)


def numbered(count: int) -> tuple[Student, ...]:
    """Return so many students without names: student-001 and so on.

    Raises
    ------
    Refused
        The number is not between 1 and 2000.
    """
    if not 1 <= count <= MOST_STUDENTS:
        rule = f"must lie between 1 and {MOST_STUDENTS}"
        raise Refused([Problem("--students", 0, "", str(count), rule)])
    return tuple(Student(f"student-{number:03d}") for number in range(1, count + 1))


def read_roster(path: Path) -> tuple[Student, ...]:
    """Read the roster; a student without a code has the name as code.

    Raises
    ------
    Refused
        There is no column `name` or `code`, nobody in it, or two with one code.
    """
    text = files.read_text(path)
    head = text.splitlines()[0] if text.strip() else ""
    rows = list(csv.reader(io.StringIO(text), delimiter=";" if ";" in head else ","))
    if not rows:
        raise Refused([Problem(path.name, 0, "", "", "the roster is empty")])
    places = _columns(rows[0], path.name)
    students: dict[str, Student] = {}
    faults = []
    for line, row in enumerate(rows[1:], start=2):
        cells = {what: _cell(row, place) for what, place in places.items()}
        code = cells.get("code") or cells.get("name", "")
        if not code:
            continue
        if len(code) > LONGEST:
            faults.append(Problem(path.name, line, "code", code[:20], "is too long for a code"))
        elif code.casefold() in students:
            step = "give every student a code of their own"
            faults.append(Problem(path.name, line, "code", code, "stands twice", step))
        else:
            students[code.casefold()] = Student(code, cells.get("name", ""))
    if not students and not faults:
        faults.append(Problem(path.name, 0, "", "", "nobody is in the roster"))
    if len(students) > MOST_STUDENTS:
        faults.append(Problem(path.name, 0, "", str(len(students)), "are too many students"))
    if faults:
        raise Refused(faults)
    return tuple(students.values())


def _columns(heading: list[str], file: str) -> dict[str, int]:
    found = {}
    for place, cell in enumerate(heading):
        plain = re.sub(r"[\s_]+", " ", cell.strip().casefold())
        for what, words in HEADINGS.items():
            if plain in words and what not in found:
                found[what] = place
    if not found:
        step = "head one column with name, or with code"
        raise Refused([Problem(file, 1, "", ", ".join(heading)[:60], "has no such column", step)])
    return found


def _cell(row: list[str], place: int) -> str:
    return " ".join(row[place].split()) if place < len(row) else ""
