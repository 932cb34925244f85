"""The public side of a case: what the student's `case.json` says, the same shape in every kind."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files

FILE = "case.json"
FORMAT = 1
MOST_BYTES = 500_000


@dataclass(frozen=True, slots=True)
class Group:
    """A group of clues, such as "bench readings"."""

    id: str
    title: str
    says: str


@dataclass(frozen=True, slots=True)
class Clue:
    """Something that can be bought: its group, what is done, its price and its sealed file."""

    id: str
    group: str
    title: str
    does: str
    price: int
    file: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cause that people at the operator think of; `upstream` of the part, or of its own age."""

    id: str
    says: str
    layer: str
    branch: str


@dataclass(frozen=True, slots=True)
class Repair:
    """Something that can be done about it, with what it costs in the workshops."""

    id: str
    does: str
    cost: int
    file: str


@dataclass(frozen=True, slots=True)
class CaseFile:
    """All that the student is told before buying anything."""

    code: str
    course: str
    title: str
    story: str
    part: str
    unit_word: str
    meter_unit: str
    currency: str
    records_begin: str
    cutoff: str
    budget: int
    rounds: int
    months_after: int
    groups: tuple[Group, ...]
    clues: tuple[Clue, ...]
    candidates: tuple[Candidate, ...]
    repairs: tuple[Repair, ...]
    target_ratio: float = 0.5
    format: int = FORMAT

    def clue(self, clue: str) -> Clue:
        """Return a clue by its id; raises KeyError."""
        return _by_id(self.clues, clue)

    def candidate(self, candidate: str) -> Candidate:
        """Return a candidate by its id; raises KeyError."""
        return _by_id(self.candidates, candidate)

    def repair(self, repair: str) -> Repair:
        """Return a repair by its id; raises KeyError."""
        return _by_id(self.repairs, repair)


def _by_id(entries: Any, name: str) -> Any:
    for one in entries:
        if one.id == name:
            return one
    raise KeyError(name)


def case_text(case: CaseFile) -> str:
    """Return the text of `case.json`."""
    return json.dumps(asdict(case), indent=1, ensure_ascii=False) + "\n"


def read_case(folder: Path) -> CaseFile:
    """Read the public side of the case in a student's folder.

    Raises
    ------
    Refused
        There is no such file, or it is none of this kit's.
    """
    path = folder / FILE
    if path.is_file() and path.stat().st_size > MOST_BYTES:
        raise Refused([Problem(FILE, 0, "", "", "is larger than any case file")])
    return case_of(files.read_text(path))


def case_of(text: str) -> CaseFile:
    """Read the public side of a case from the text of its file; raises Refused."""
    try:
        data = json.loads(text)
        if data["format"] != FORMAT:
            raise ValueError(f"format {data['format']!r} is not the one of this kit")
        lists = {"groups": Group, "clues": Clue, "candidates": Candidate, "repairs": Repair}
        made = {name: tuple(kind(**one) for one in data[name]) for name, kind in lists.items()}
        return CaseFile(**{**data, **made})
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        step = "copy it again from what you were given"
        rule = f"is no case file of this kit ({type(error).__name__}: {str(error)[:80]})"
        raise Refused([Problem(FILE, 0, "", "", rule, step)]) from error
