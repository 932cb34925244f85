"""The questions of an import as fields: one card a question, filled in and read back."""

import html
from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.records.importing import Item, Question
from rca.show.forms.fields import Messages, button, choice, day_field, row, text_field, tick, words
from rca.show.forms.tables import paragraph

CHOOSE = ("choose …", "")
ITEMS_A_PAGE = 18


class Card:
    """One question with its fields; `answer` is None while nothing is filled in.

    `widget` shows the question with why it is asked, examples, and what is proposed.
    """

    def __init__(self, question: Question, given: Any = None) -> None:
        self.question = question
        self._fields = _fields_for(question, given)
        said = words(_about(question))
        parts = [self._fields.widget, said]
        self.widget = widgets.VBox(parts if question.kind in ("choice", "day") else parts[::-1])
        self.widget.add_class("rca-card")

    @property
    def answer(self) -> Any:
        """The answer as `Proposal.answer` takes it; None where nothing was filled in."""
        return self._fields.answer

    def take_proposal(self) -> None:
        """Fill in what is proposed, where the person has filled in nothing yet."""
        self._fields.take_proposal()


def _about(question: Question) -> str:
    parts = []
    if question.kind in ("words", "merge"):
        parts.append(f"<h4>{html.escape(question.text)}</h4>")
    if question.why:
        parts.append(paragraph(_sentence(question.why), kind="small"))
    if question.examples:
        parts.append(paragraph(f"For example: {'; '.join(question.examples[:4])}", kind="small"))
    if question.proposed and question.kind in ("choice", "day"):
        parts.append(paragraph(f"Proposed: {question.proposed}", kind="small"))
    return "".join(parts)


def _sentence(text: str) -> str:
    """Begin a remark like a sentence."""
    return text[:1].upper() + text[1:]


def _fields_for(question: Question, given: Any) -> "_Choice | _Day | _Words | _Merge":
    if question.kind == "day":
        return _Day(question, given)
    if question.kind == "words":
        return _Words(question, given)
    return _Merge(question, given) if question.kind == "merge" else _Choice(question, given)


class _Choice:
    """One of several answers."""

    def __init__(self, question: Question, given: Any) -> None:
        self.question = question
        self.field = choice(question.text, [CHOOSE, *question.choices], given or "")
        self.widget = row(self.field)

    @property
    def answer(self) -> Any:
        return self.field.value or None

    def take_proposal(self) -> None:
        if not self.field.value and self.question.proposed in self.question.choices:
            self.field.value = self.question.proposed


class _Day:
    """One of several days, or another one."""

    def __init__(self, question: Question, given: Any) -> None:
        self.question = question
        known = given if given in question.choices else ""
        self.field = choice(question.text, [CHOOSE, *question.choices], known)
        self.other = day_field("or another day")
        self.widget = row(self.field, self.other)

    @property
    def answer(self) -> Any:
        if self.other.value is not None:
            return self.other.value.isoformat()
        return self.field.value or None

    def take_proposal(self) -> None:
        if self.answer is None and self.question.proposed in self.question.choices:
            self.field.value = self.question.proposed


class _Words:
    """A meaning for each word of the file."""

    def __init__(self, question: Question, given: Any) -> None:
        self.question = question
        known = given if isinstance(given, dict) else {}
        self.fields = {item.text: self._field(item, known) for item in question.items}
        self.widget = _paged(list(self.fields.values()))

    def _field(self, item: Item, known: dict[str, str]) -> widgets.Dropdown:
        hint = f", perhaps {item.proposed}" if item.proposed and not item.sure else ""
        label = f"{item.text!r} ({item.count} rows{hint})"
        value = known.get(item.text, item.proposed if item.sure else "")
        return choice(label, [CHOOSE, *self.question.choices], value)

    @property
    def answer(self) -> Any:
        said = {text: field.value for text, field in self.fields.items() if field.value}
        return said or None

    def take_proposal(self) -> None:
        for item in self.question.items:
            if item.proposed and not self.fields[item.text].value:
                self.fields[item.text].value = item.proposed


class _Merge:
    """A table of spellings: each is ticked, and its new name may be changed."""

    def __init__(self, question: Question, given: Any) -> None:
        self.question = question
        known = given if isinstance(given, dict) else {}
        self.rows = {item.text: self._row(item, known, given) for item in question.items}
        self.messages = Messages()
        buttons = [
            button("Tick all", lambda: self._tick_all(True), self.messages),
            button("Tick none", lambda: self._tick_all(False), self.messages),
        ]
        lines = [row(box, name) for box, name in self.rows.values()]
        self.widget = widgets.VBox([row(*buttons), self.messages.widget, _paged(lines, grid=False)])

    def _row(self, item: Item, known: dict[str, str], given: Any) -> tuple[Any, Any]:
        ticked = item.text in known or given == "all" or (item.sure and given is None)
        why = f"; {item.why}" if item.why else ""
        box = tick(f"{item.text!r} ({item.count} rows{why}) means", ticked)
        box.add_class("rca-merge")
        return box, text_field(f"Name for {item.text!r}", known.get(item.text, item.proposed))

    def _tick_all(self, value: bool) -> str:
        for box, _ in self.rows.values():
            box.value = value
        return f"{len(self.rows)} ticked" if value else "none ticked"

    @property
    def answer(self) -> Any:
        """New names of what is ticked; "none" where nothing is."""
        said = {text: name.value.strip() for text, (box, name) in self.rows.items() if box.value}
        return said or "none"

    def take_proposal(self) -> None:
        for box, name in self.rows.values():
            box.value = bool(name.value)


def _paged(fields: Sequence[widgets.Widget], *, grid: bool = True) -> widgets.Widget:
    """Show many fields a page at a time, so that none is out of reach."""
    held = widgets.VBox([])
    held.add_class("rca-fields" if grid else "rca-lines")
    pages = [fields[i : i + ITEMS_A_PAGE] for i in range(0, len(fields), ITEMS_A_PAGE)] or [[]]
    held.children = tuple(pages[0])
    if len(pages) == 1:
        return held
    names = [(f"{i + 1} of {len(pages)}", i) for i in range(len(pages))]
    place = choice("Page of this list", names)

    def turn(_: Any) -> None:
        held.children = tuple(pages[place.value])

    place.observe(turn, names="value")
    return widgets.VBox([row(place), held])
