"""A student's folder of the class exercise, built for a test; all invented."""

from functools import cache
from pathlib import Path

from rca.records import files
from rca.show.exercise.building import BuiltCase, build_case

SECRET = b"a course secret that is no secret"


@cache
def built(student: str = "student-1", level: str = "easy") -> BuiltCase:
    """One case with its answer key; the same for every test."""
    return build_case(SECRET, student, level=level)


def student_folder(place: Path, student: str = "student-1", *, workbook: bool = False) -> Path:
    """Write a student's folder, with the workbook beside the case if wanted."""
    for name, data in built(student).files.items():
        files.make_folder((place / name).parent)
        files.write_bytes(place / name, data)
    if workbook:
        book = "class_exercise.ipynb"
        files.write_text(place / book, files.read_text(files.shipped("workbooks") / book))
    return place
