"""What a log says of a student's path, taken with care: a log may hold anything."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rca.show.exercise.log import Step
from rca.show.exercise.questions import LONGEST_TEXT


@dataclass(frozen=True, slots=True)
class Repaired:
    """One repair: its id, reason, and the answers that stood at that moment."""

    repair: str
    reason: str
    cause: str
    needed: float | None
    measure: str


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict: word, reason, confidence (0 to 100) and ratio."""

    word: str
    reason: str
    confidence: float | None
    ratio: float | None


@dataclass(frozen=True, slots=True)
class Facts:
    """The path of one student."""

    bought: tuple[str, ...] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)
    beliefs: tuple[tuple[str, float], ...] = ()
    answers: Mapping[str, Any] = field(default_factory=dict)
    repairs: tuple[Repaired, ...] = ()
    verdicts: tuple[Judged, ...] = ()
    finished: bool = False
    investigation_sha256: str = ""
    begun: str = ""
    ended: str = ""

    def number(self, question: str) -> float | None:
        """Answer to a question as a number; None where there is none."""
        return number_of(self.answers.get(question))

    def text(self, question: str) -> str:
        """Answer to a question as text; "" where there is none."""
        return text_of(self.answers.get(question))

    @property
    def confidence(self) -> float | None:
        """How sure the student is of the cause, 0 to 1; None where not said."""
        value = self.number("confidence")
        return None if value is None else min(max(value / 100, 0.0), 1.0)


def facts_of(steps: Sequence[Step], *, known_clues: Mapping[str, int]) -> Facts:
    """Read the path from the steps of a log; clues that the case does not know are passed over."""
    reasons: dict[str, str] = {}
    beliefs: list[tuple[str, float]] = []
    answers: dict[str, Any] = {}
    repairs: list[Repaired] = []
    verdicts: list[Judged] = []
    finished, sha = False, ""
    for step in steps:
        said = step.details
        if step.does == "buy" and text_of(said.get("clue")) in known_clues:
            reasons.setdefault(text_of(said["clue"]), text_of(said.get("reason")))
            sure = number_of(said.get("confidence"))
            if text_of(said.get("leading")) and sure is not None:
                beliefs.append((text_of(said["leading"]), min(max(sure / 100, 0.0), 1.0)))
        elif step.does == "answer":
            answers[text_of(said.get("question"))] = said.get("value")
        elif step.does == "repair":
            repairs.append(
                Repaired(
                    text_of(said.get("repair")), text_of(said.get("reason")),
                    text_of(said.get("cause")), number_of(said.get("needed")),
                    text_of(said.get("measure")),
                )
            )  # fmt: skip
        elif step.does == "verdict":
            verdicts.append(
                Judged(text_of(said.get("word")), text_of(said.get("reason")),
                       number_of(said.get("confidence")), number_of(said.get("ratio")))
            )  # fmt: skip
        elif step.does == "finish":
            finished, sha = True, text_of(said.get("investigation_sha256"))
    return Facts(
        bought=tuple(reasons),
        reasons=reasons,
        beliefs=tuple(beliefs),
        answers=answers,
        repairs=tuple(repairs),
        verdicts=tuple(verdicts),
        finished=finished,
        investigation_sha256=sha,
        begun=steps[0].at if steps else "",
        ended=steps[-1].at if steps else "",
    )


def text_of(value: Any) -> str:
    """A value as text, "" where it is none; never longer than an answer may be."""
    return value[:LONGEST_TEXT] if isinstance(value, str) else ""


def number_of(value: Any) -> float | None:
    """A value as a finite number; None where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
