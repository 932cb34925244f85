"""The instructor's key of one case: what is true, what every clue says, and the right numbers."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from rca.errors import Problem, Refused


@dataclass(frozen=True, slots=True)
class AnswerKey:
    """Everything that marking and debrief need of a case.

    guilty
        The true causes, ids of suspects; `right_repairs` remove one of them. `effect` is the
        suspect whose part fails as a consequence ("" = none).
    level, share_of_budget, separation
        Level as measured: the share of the budget that the best order of purchases spends until
        the truth leads every other explanation by 20 to 1, and the logarithm (base 10) of its
        lead with every clue bought.
    outcomes, prices, order
        What each clue says, its price, and the best order: clue, price, spent, bits, leader,
        share.
    numbers
        Question to {"value", ...}: what the kit finds in the student's own data, with the limits
        and the values of well-known mistakes.
    courses
        One entry a course of repairs: round, right, verdict, accepted words, observed, expected,
        ratio, naive_ratio.
    """

    code: str
    student: str
    course: str
    scenario: str
    kind: str
    guilty: tuple[str, ...]
    right_repairs: tuple[str, ...]
    traps: tuple[str, ...]
    effect: str
    level: str
    wanted_level: str
    share_of_budget: float
    separation: float
    budget: int
    outcomes: Mapping[str, str]
    prices: Mapping[str, int]
    order: Sequence[Mapping[str, Any]]
    patterns: tuple[str, ...]
    numbers: Mapping[str, Mapping[str, Any]]
    courses: Sequence[Mapping[str, Any]]
    attempt: int
    kit: str

    def course_of(self, repairs: Sequence[str], number: int) -> Mapping[str, Any]:
        """Return the course after the repair of a round, given all repairs made."""
        right = next(
            (n for n, one in enumerate(repairs[:number], 1) if one in self.right_repairs), 0
        )
        return next(one for one in self.courses if one["round"] == number and one["right"] == right)


def key_text(key: AnswerKey) -> str:
    """Return the key as the text of its file."""
    return json.dumps(asdict(key), indent=1, ensure_ascii=False) + "\n"


def key_of_text(text: str, *, file: str) -> AnswerKey:
    """Read a key; raises Refused where it is none."""
    try:
        data = json.loads(text)
        for name in ("guilty", "right_repairs", "traps", "patterns"):
            data[name] = tuple(data[name])
        return AnswerKey(**data)
    except (ValueError, KeyError, TypeError) as error:
        rule = f"is no answer key of this kit ({type(error).__name__})"
        step = "make the case again with rca class again"
        raise Refused([Problem(file, 0, "", "", rule, step)]) from error
