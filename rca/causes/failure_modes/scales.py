"""Scales of the failure-mode table: severity in words, occurrence as a rate.

Shipped are two public severity scales and one of our own for occurrence that is defined by a
formula. Scales of handbooks that are under copyright are not shipped; a user loads the one that
he may use from a file.
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from rca.errors import Refused
from rca.records.schema import Fault, did_you_mean, placed, schema_problems, without_blanks


@dataclass(frozen=True, slots=True)
class SeverityScale:
    """Grades of severity, the worst first, each with its meaning, and where they are from."""

    name: str
    source: str
    grades: Mapping[str, str]

    def place(self, grade: str) -> int | None:
        """Place of a grade, 1 = the worst; None for "" (not graded)."""
        names = list(self.grades)
        return names.index(grade) + 1 if grade in names else None

    def step(self, grade: str) -> str:
        """What to do where a grade is not one of this scale."""
        return did_you_mean(grade, self.grades)


BUS_TESTING = SeverityScale(
    "failure classes of the US federal bus testing programme",
    "Altoona bus-testing reliability class definitions (Federal Transit Administration)",
    {
        "physical safety": "people may be hurt",
        "road call": "the unit cannot go on and is fetched or mended on the road",
        "unit change": "the unit is exchanged for another during its work",
        "bad order": "mended without disturbing the work",
    },
)
EFFECT_CATEGORIES = SeverityScale(
    "severity categories of MIL-STD-1629A",
    "MIL-STD-1629A, restated in public lecture slides; meanings shortened",
    {
        "catastrophic": "death, or loss of the unit",
        "critical": "severe injury or major damage",
        "marginal": "minor injury or damage, delay or degraded work",
        "minor": "unscheduled repair only",
    },
)
SEVERITY_SCALES = {"bus testing": BUS_TESTING, "effect categories": EFFECT_CATEGORIES}


@dataclass(frozen=True, slots=True)
class OccurrenceScale:
    """Grades of occurrence 1, 2, ... by failures per unit-year; `bounds` part them."""

    name: str
    source: str
    bounds: tuple[float, ...]

    def grade(self, rate: float) -> int:
        """Grade of a rate in failures per unit-year; a rate on a bound has the higher grade."""
        return bisect_right(self.bounds, rate) + 1

    def words(self, grade: int) -> str:
        """Range of a grade in words."""
        if grade <= 1:
            return f"below {self.bounds[0]:.2g} failures per unit-year"
        if grade > len(self.bounds):
            return f"{self.bounds[-1]:.2g} failures per unit-year or more"
        low, high = self.bounds[grade - 2], self.bounds[grade - 1]
        return f"{low:.2g} to {high:.2g} failures per unit-year"


STEPS_OF_THREE = OccurrenceScale(
    "steps of three",
    "this kit: each grade is three times as many failures per unit-year as the one before, "
    "from 1 in 1000 unit-years",
    tuple(0.001 * 3**step for step in range(9)),
)


_TEXT = {"type": ["string", "number"], "x-rule": "must be text"}
_SEVERITY = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "source", "grades"],
    "properties": {
        "name": _TEXT,
        "source": _TEXT | {"description": "Where the scale is from."},
        "grades": {
            "type": "object",
            "minProperties": 2,
            "additionalProperties": _TEXT,
            "description": "Each grade with its meaning, the worst first, at least two.",
        },
    },
}
_OCCURRENCE = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "source", "bounds"],
    "properties": {
        "name": _TEXT,
        "source": _TEXT | {"description": "Where the scale is from."},
        "bounds": {
            "type": "array",
            "minItems": 1,
            "items": {"type": "number", "exclusiveMinimum": 0},
            "description": "Failures per unit-year that part the grades, rising.",
        },
    },
}


def severity_scale(data: Any, *, file: str = "") -> SeverityScale:
    """Read a user's own severity scale: name, source, and grades from the worst to the least.

    Raises
    ------
    Refused
        A key is missing or of the wrong kind, with its line.
    """
    plain = _checked(data, _SEVERITY, file)
    grades = {str(grade): str(meaning) for grade, meaning in plain["grades"].items()}
    return SeverityScale(str(plain["name"]), str(plain["source"]), grades)


def occurrence_scale(data: Any, *, file: str = "") -> OccurrenceScale:
    """Read a user's own occurrence scale: name, source, and rising bounds per unit-year.

    Raises
    ------
    Refused
        A key is missing or of the wrong kind, or the bounds do not rise; with its line.
    """
    plain = _checked(data, _OCCURRENCE, file)
    bounds = plain["bounds"]
    if any(high <= low for low, high in pairwise(bounds)):
        fault = Fault(("bounds",), "", "must rise", "put the smallest first, each once")
        raise Refused([placed(fault, data, file)])
    return OccurrenceScale(str(plain["name"]), str(plain["source"]), tuple(map(float, bounds)))


def _checked(data: Any, schema: Mapping[str, Any], file: str) -> Any:
    """Return the plain data of a scale's file that keeps to its schema."""
    if problems := schema_problems(data, schema, file=file, keep_blanks=False):
        raise Refused(problems)
    return without_blanks(data)
