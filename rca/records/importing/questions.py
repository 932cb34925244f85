"""What an import has to ask: questions with their choices, and the check of an answer."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from rca.errors import RcaError
from rca.records.columns import TABLES, table_of
from rca.records.schema import did_you_mean

NOT_STATED = "not stated"
LEAVE_OUT = "leave out"
ALL, NONE = "all", "none"

Answer = str | dict[str, str]


@dataclass(frozen=True, slots=True)
class Item:
    """One text of the file inside a question, with what is proposed for it ("" = nothing).

    `sure` tells that the proposal is used without being confirmed.
    """

    text: str
    count: int
    proposed: str = ""
    sure: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that the file alone does not decide.

    `kind` is "choice" (one of `choices`), "day" (one of `choices` or a date YYYY-MM-DD),
    "words" (one of `choices` for each item) or "merge" (a new spelling for each item; "all" and
    "none" take or leave what is proposed). A question with `must` stops the import until it is
    answered; any other is answered by `proposed` unless the person says otherwise.
    """

    id: str
    text: str
    kind: str = "choice"
    choices: tuple[str, ...] = ()
    proposed: str = ""
    why: str = ""
    examples: tuple[str, ...] = ()
    items: tuple[Item, ...] = ()
    must: bool = True

    def read(self, answer: Any) -> Answer:
        """Check an answer and return it in its plain form.

        Raises
        ------
        RcaError
            The answer is not one of the choices, or names a text that was not asked about.
        """
        if self.kind in ("words", "merge"):
            return self._read_items(answer)
        text = str(answer).strip()
        known = {choice.casefold(): choice for choice in self.choices}
        if text.casefold() in known:
            return known[text.casefold()]
        if self.kind == "day" and _is_day(text):
            return text
        allowed = did_you_mean(text, self.choices)
        step = f"a date YYYY-MM-DD, or {allowed}" if self.kind == "day" else allowed
        raise RcaError(f"{self.id}: {text!r} is no answer to this question", next_step=step)

    def _read_items(self, answer: Any) -> Answer:
        if isinstance(answer, str) and self.kind == "merge" and answer in (ALL, NONE):
            return answer
        if not isinstance(answer, Mapping):
            step = "give one line for each: theirs: ours"
            step += f"; or {ALL}, or {NONE}" if self.kind == "merge" else ""
            raise RcaError(f"{self.id}: {answer!r} is no list of words", next_step=step)
        asked = {_folded(item.text): item.text for item in self.items}
        allowed = {choice.casefold(): choice for choice in self.choices}
        out = {}
        for theirs, ours in answer.items():
            if ours is None or str(ours) == "":
                continue  # left blank: not answered yet
            key, value = _folded(str(theirs)), str(ours).strip()
            if key not in asked:
                step = did_you_mean(str(theirs), asked.values())
                raise RcaError(f"{self.id}: {theirs!r} is not asked about", next_step=step)
            if self.kind == "words" and value.casefold() not in allowed:
                step = did_you_mean(value, self.choices)
                raise RcaError(f"{self.id}: {theirs}: {value!r} is not allowed", next_step=step)
            out[asked[key]] = allowed.get(value.casefold(), value)
        return out

    def open_items(self, answer: Answer | None) -> tuple[Item, ...]:
        """Return the items that neither an answer nor a sure proposal settles."""
        given = answer if isinstance(answer, dict) else {}
        return tuple(item for item in self.items if not item.sure and item.text not in given)

    def is_open(self, answer: Answer | None) -> bool:
        """Tell whether the import must wait for this question."""
        if not self.must:
            return False
        return bool(self.open_items(answer)) if self.kind == "words" else answer is None

    def meaning(self, answer: Answer | None) -> Answer:
        """Return what holds now: the answer, completed by what is proposed."""
        if self.kind == "words":
            given = answer if isinstance(answer, dict) else {}
            return {i.text: i.proposed for i in self.items if i.sure} | given
        if self.kind == "merge":
            if answer == ALL:
                return {item.text: item.proposed for item in self.items}
            given = answer if isinstance(answer, dict) else {}
            sure = {} if answer == NONE else {i.text: i.proposed for i in self.items if i.sure}
            return {theirs: ours for theirs, ours in (sure | given).items() if ours}
        if answer is not None:
            return answer
        return "" if self.must else self.proposed

    def how_to_answer(self) -> str:
        """Show a line of an answers file that answers this question."""
        if self.kind in ("words", "merge"):
            open_ = [item for item in self.items if not item.sure] or list(self.items)
            some = ", ".join(f"{item.text}: ..." for item in open_[:3])
            more = f" and {len(open_) - 3} more" if len(open_) > 3 else ""
            allowed = f" ({', '.join(self.choices)})" if self.choices else ""
            return f"for example {self.id}: {{{some}}}{more}{allowed}"
        day = " or a date YYYY-MM-DD" if self.kind == "day" else ""
        return f"for example {self.id}: {' | '.join(self.choices[:12])}{day}"

    def __str__(self) -> str:
        parts = [f"{self.id}: {self.text}"]
        if self.why:
            parts.append(f"  why: {self.why}")
        if self.examples:
            parts.append(f"  for example: {'; '.join(self.examples[:4])}")
        for item in self.items[:40]:
            proposed = item.proposed + ("" if item.sure else " ?")
            parts.append(f"    {item.text!r} ({item.count} rows) -> {proposed.strip()}")
        if self.choices:
            parts.append(f"  choices: {', '.join(self.choices)}")
        if self.proposed:
            parts.append(f"  proposed: {self.proposed}")
        return "\n".join(parts)


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return len(text) == 10


class Desk:
    """Where the parts of an import put their questions and find the answers given so far."""

    def __init__(self, answers: Mapping[str, Any], *, prefix: str = "", about: str = "") -> None:
        self.answers, self.prefix, self.about = answers, prefix, about
        self.questions: list[Question] = []
        self.given: dict[str, Answer] = {}

    def ask(self, question: Question) -> Answer:
        """Put a question; return what holds now ("" or an incomplete list while it is open)."""
        about = f"{self.about}: " if self.about else ""
        question = replace(question, id=self.prefix + question.id, text=about + question.text)
        self.questions.append(question)
        answer = self.answers.get(question.id)
        if answer is not None:
            self.given[question.id] = question.read(answer)
        return question.meaning(self.given.get(question.id))

    def choose(self, question: Question) -> str:
        """Put a question whose answer is one text."""
        return str(self.ask(question))

    def words(self, question: Question) -> dict[str, str]:
        """Put a question whose answer is a list of texts with their meanings."""
        answer = self.ask(question)
        return answer if isinstance(answer, dict) else {}

    def open(self) -> tuple[Question, ...]:
        """Return the questions that the import has to wait for."""
        return tuple(q for q in self.questions if q.is_open(self.given.get(q.id)))


# Questions that exist once for each column or table; in an answers file they stand below these.
GROUPS = (
    "columns", "date_order", "words", "merge", "several", "all_rows", "blank",
    "units", "readings", "parts",
)  # fmt: skip


def flat_answers(answers: Mapping[str, Any], *, inner: str = "") -> dict[str, Any]:
    """Turn `columns: {part: x}` into `columns.part: x`; lists of words stay as they are."""
    flat: dict[str, Any] = {}
    for key, value in answers.items():
        name = f"{inner}{key}"
        below = table_of(inner[:-1]) in TABLES and key in GROUPS
        group = name in GROUPS or FURTHER_FILE.fullmatch(name) or below
        if isinstance(value, Mapping) and group:
            flat |= flat_answers(value, inner=f"{name}.")
        else:
            flat[name] = value
    return flat


FURTHER_FILE = re.compile("repairs [2-9]")
