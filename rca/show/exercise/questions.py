"""What is asked of every student, whatever the case: the same questions in the same words."""

from dataclasses import dataclass
from typing import Any

from rca.errors import RcaError
from rca.show.exercise.case_file import CaseFile

PATTERNS = (
    "early", "random", "wear-out", "bad lot", "one depot", "a few units", "mixed modes",
    "not enough to say",
)  # fmt: skip
"""Words for the pattern of the failures, those of `rca.causes.pattern`."""

VERDICTS = (
    "effect shown", "improved, below target", "not effective", "too early", "cannot judge",
    "only regression to the mean",
)  # fmt: skip
"""Words for the verdict: those of the kit, and the one that a picked group of units calls for."""

LONGEST_TEXT = 5_000


@dataclass(frozen=True, slots=True)
class Question:
    """One question: `kind` is text, number, choice or percent; `choices` are (label, value).

    `stage` is "records" (can be answered from the records at once), "cause" (before the first
    repair at the latest), "plan" (before a repair) or "after" (once the months after it are seen).
    """

    id: str
    stage: str
    kind: str
    asks: str
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    help: str = ""


def questions_of(case: CaseFile) -> tuple[Question, ...]:
    """Return the questions of a case, in the order in which they are best answered."""
    causes = tuple((one.says, one.id) for one in case.candidates)
    part = case.part
    return (
        Question(
            "problem", "records", "text",
            f"State the problem with the {part}: what is seen, where, since when, how much. "
            "No cause in it.",
        ),
        Question(
            "is_not", "records", "text",
            "Where and when is it NOT seen, although it could be? Which like units are spared?",
        ),
        Question(
            "left_out", "records", "text",
            "Which rows did you not count, how many, and why?",
        ),
        Question(
            "failures", "records", "number",
            f"How many failures of the {part} are in the records up to the cut-off?", "failures",
            help="Planned removals, recalls, accidents and parts that tested good are no failures.",
        ),
        Question(
            "running", "records", "number",
            f"On how many units was the {part} running at the cut-off?", "units",
            help="Units on which it never failed count too: what they have run tells as much.",
        ),
        Question(
            "shape", "records", "number",
            f"Shape of the life curve (Weibull) of the {part}, all modes together", "",
            help=f"Fitted to all lives on the meter ({case.meter_unit}), survivors included.",
        ),
        Question(
            "pattern", "records", "choice", "What pattern do the failures have?",
            choices=tuple((one, one) for one in PATTERNS),
        ),
        Question("cause", "cause", "choice", "Which upstream cause do you name?", choices=causes),
        Question(
            "cause_two", "cause", "choice",
            "Is a second cause needed together with it (only both at once do harm)?",
            choices=(("no, one is enough", ""), *causes),
        ),
        Question(
            "runner_up", "cause", "choice",
            "If you are wrong, which one is it then?", choices=(("none", ""), *causes),
        ),
        Question(
            "confidence", "cause", "percent", "How sure are you of the cause that you named?", "%",
        ),
        Question(
            "traps", "cause", "text",
            "What in these records could have misled you, and how did you see it?",
        ),
        Question(
            "not_caught", "cause", "text",
            "Which check should have caught it earlier, and why did it not?",
        ),
        Question(
            "needed", "plan", "number",
            "How many failures must be expected, had nothing changed, before the months after the "
            f"repair can show a rate below {case.target_ratio:g} times the old one, if not a "
            "single failure comes?", "failures",
            help="Registered before the repair; what comes after may not change it.",
        ),
        Question(
            "measure", "plan", "text",
            "What will be measured, on which units, until when, and what result ends it?",
        ),
        Question(
            "expected", "after", "number",
            "How many failures were to be expected on the repaired units in these months, had "
            "nothing changed?", "failures",
        ),
    )  # fmt: skip


def checked(question: Question, value: Any) -> Any:
    """Return the answer in its kind; blank stays None (text: "").

    Raises
    ------
    RcaError
        It is no number, out of range, no choice of the question, or too long a text.
    """
    if value is None or (isinstance(value, str) and not value.strip()):
        return "" if question.kind in ("text", "choice") else None
    if question.kind in ("number", "percent"):
        return _number(question, value)
    text = str(value).strip()
    if question.kind == "choice" and text not in {one for _, one in question.choices}:
        raise RcaError(f"{text!r} is no answer to: {question.asks}", next_step="choose one listed")
    if len(text) > LONGEST_TEXT:
        raise RcaError(
            f"the answer has {len(text)} characters, {LONGEST_TEXT} are the most",
            next_step="say it shorter",
        )
    return text


def _number(question: Question, value: Any) -> float:
    try:
        number = float(str(value).replace(",", ".")) if isinstance(value, str) else float(value)
    except (TypeError, ValueError) as error:
        raise RcaError(f"{value!r} is no number", next_step="write for example 12.5") from error
    most = 100.0 if question.kind == "percent" else 1e9
    if not 0 <= number <= most:
        raise RcaError(f"{value!r} must lie between 0 and {most:g}")
    return number
