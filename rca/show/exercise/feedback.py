"""The page that a student gets back: points with their reasons, the truth, and the best order."""

from typing import Any

from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.marking import StudentMark
from rca.show.exercise.menu import CURRENCY
from rca.show.exercise.rubric import CRITERIA
from rca.show.exercise.scenarios import SCENARIOS
from rca.show.exercise.suspicion import explanation_words
from rca.show.exercise.traps import TRAPS
from rca.show.sheets.bench import sheet_style, sheet_templates


def feedback_page(mark: StudentMark, key: AnswerKey, *, name: str = "") -> str:
    """Return the feedback of one student as one self-contained page; all text is escaped."""
    place = SCENARIOS[key.scenario]
    return (
        sheet_templates()
        .get_template("exercise/feedback.html.j2")
        .render(
            css=sheet_style(),
            name=name or mark.student,
            mark=mark,
            key=key,
            criteria=CRITERIA,
            currency=CURRENCY,
            most=sum(one.most for one in mark.marks),
            truth=[place.suspects[one] for one in key.guilty],
            named=[place.suspects[one].says for one in _named(mark) if one in place.suspects],
            traps=[(trap, TRAPS[trap], mark.traps.get(trap, "cannot tell")) for trap in key.traps],
            clue_title=_clue_title,
            in_words=explanation_words,
        )
    )


def _named(mark: StudentMark) -> list[str]:
    said = (mark.facts.text("cause"), mark.facts.text("cause_two"))
    return [one for one in said if one]


def _clue_title(clue: str) -> str:
    """A clue's id in words."""
    return clue.replace("-", ": ", 1)


def for_a_person(mark: StudentMark) -> list[dict[str, Any]]:
    """Rows of the sheet on which a person marks free text; `points` is left blank."""
    return [
        {
            "case": mark.code,
            "student": mark.student,
            "criterion": one.criterion,
            "what": what,
            "text": text,
            "suggested": one.points,
            "most": one.most,
            "points": "",
        }
        for one in mark.marks
        for what, text in one.for_a_person
    ]
