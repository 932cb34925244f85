"""What the debrief workbook opens: a marked class, and one case of it to replay."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from rca.errors import RcaError
from rca.show.exercise import debrief
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.debrief import ClassResult
from rca.show.exercise.making import read_keys
from rca.show.workbook import find_folder


@dataclass(frozen=True, slots=True, eq=False)
class Debrief:
    """A marked class, and the case of one student with its answer key."""

    result: ClassResult
    entry: Mapping[str, Any]
    key: AnswerKey

    @property
    def student(self) -> str:
        """The student whose case is replayed."""
        return str(self.entry["student"])

    @property
    def best_order(self) -> pd.DataFrame:
        """Best order of purchases of the case."""
        return debrief.best_order(self.key)

    @property
    def bought(self) -> pd.DataFrame:
        """What the student bought, in order."""
        return debrief.path_of(self.entry, self.key)

    def __str__(self) -> str:
        found = debrief.brier_score(self.result)
        return f"{self.result}\n{found}\nreplayed: {self.student}, case {self.key.code}"


def open_debrief(marked_folder: str, instructor_folder: str, *, student: str = "") -> Debrief:
    """Open a marked class for the debrief.

    Parameters
    ----------
    marked_folder
        Folder that `rca class mark` wrote.
    instructor_folder
        Folder with the answer keys, which `rca class make` wrote.
    student
        Whose case is to be replayed; "" for the first one whose key is there.

    Raises
    ------
    Refused
        A folder does not hold what it should.
    RcaError
        No mark counts, or that student is not in the class.
    """
    result = debrief.read_class(find_folder(marked_folder))
    keys = read_keys(find_folder(instructor_folder))
    found = [one for one in result.entries if one["code"] in keys]
    found = [one for one in found if student in ("", one["student"])]
    if not found:
        who = f"{student!r}" if student else "any student"
        step = "check instructor_folder and student in the cell above"
        raise RcaError(f"there is no marked work with an answer key for {who}", next_step=step)
    return Debrief(result, found[0], keys[found[0]["code"]])
