"""What `rca class` does: options in, one call, lines out."""

import sys
from collections.abc import Sequence
from pathlib import Path

from rca.errors import RcaError
from rca.show.exercise.making import Made, make_again, make_class, new_course, read_course
from rca.show.exercise.marking_class import mark_class
from rca.show.exercise.roster import numbered, read_roster


def make(
    out: Path,
    *,
    roster: Path | None,
    students: int | None,
    course_file: Path | None,
    name: str,
    level: str,
    kind: str,
    traps: Sequence[str],
    processes: int,
) -> int:
    """Make a class and say where it is; return the exit code (1 where a case failed)."""
    if sum(one is not None for one in (roster, students, course_file)) != 1:
        raise RcaError("give --roster, or --students, or --course: one of the three")
    if course_file is not None:
        course = read_course(course_file)
    else:
        who = read_roster(roster) if roster is not None else numbered(students or 0)
        course = new_course(who, name=name, level=level, kind=kind, traps=traps or None)
    made = make_class(course, out, processes=processes, said=_said)
    failed = [one for one in made if one.error]
    print(f"{len(made) - len(failed)} cases: {out / 'students'}, to hand out: {out / 'hand_out'}")
    print(f"keys, marking sheet and course secret: {out / 'instructor'} (keep it to yourself)")
    return 1 if failed else 0


def _said(one: Made) -> None:
    if one.error:
        print(f"{one.student.code}: {one.error}", file=sys.stderr)
        return
    spent = f"the best order spends {one.share_of_budget:.0%} of the budget"
    print(f"{one.student.code}: {one.code}, {one.level} ({spent})", file=sys.stderr)


def again(course_file: Path, student: str, *, out: Path | None) -> int:
    """Make one student's case again; return the exit code."""
    made = make_again(course_file, student, out)
    _said(made)
    return 1 if made.error else 0


def mark(handed_in: Path, *, instructor: Path, out: Path, processes: int) -> int:
    """Mark a class and say what came of it; 3 where a person has to look at something."""
    done = mark_class(handed_in, instructor, out, processes=processes)
    print(done)
    print(f"gradebook: {out / 'gradebook.csv'}, pages for the students: {out / 'feedback'}")
    for problem in done.problems:
        print(f"needs a person: {problem}", file=sys.stderr)
    return 3 if done.problems or any(one.withheld for one in done.marks) else 0
