"""The panels of the exercise form for looking: questions, clues, evidence.

Each holds its fields, says what its buttons did, and is brought up to date by `refresh`.
"""

from collections.abc import Sequence
from typing import Any, Protocol

import ipywidgets as widgets

from rca.causes.case.entries import PROBLEM
from rca.causes.case.investigation import Investigation
from rca.errors import RcaError
from rca.show.exercise.play import Play, Stage
from rca.show.exercise.questions import Question
from rca.show.forms import exercise_text
from rca.show.forms.bearing import Bearing
from rca.show.forms.fields import (
    Messages,
    button,
    choice,
    note,
    number_of,
    on_change,
    row,
    set_options,
    text_field,
    words,
)
from rca.show.forms.panels import cause_options, effect_options, shortened
from rca.show.forms.tables import paragraph
from rca.show.numbers import whole

OPEN = "-"
NOT_YET = ("nothing yet", OPEN)


class Host(Protocol):
    """The form that a panel works for."""

    @property
    def play(self) -> Play:
        """The case as it is worked on."""
        ...

    @property
    def investigation(self) -> Investigation | None:
        """The student's investigation, None while it is not open."""
        ...

    def refresh(self) -> None:
        """Show the work as it stands now."""
        ...

    def read_investigation(self) -> None:
        """Read the investigation file after something was written into it."""
        ...


class Questions:
    """The questions of one stage; each answer is saved as soon as its field is left."""

    def __init__(self, host: Host, stage: str) -> None:
        self.host, self.messages = host, Messages()
        self.fields = {one.id: self._field(one) for one in host.play.questions(stage)}
        lines = [self._line(one) for one in host.play.questions(stage)]
        self.widget = widgets.VBox([*lines, self.messages.widget])

    def _field(self, question: Question) -> widgets.Widget:
        given = self.host.play.answers().get(question.id)
        if question.kind == "choice":
            known = OPEN if given is None else given
            held = choice(question.asks, [("choose …", OPEN), *question.choices], known)
        else:
            unit = f" ({question.unit})" if question.unit else ""
            said = "" if given is None else f"{given:g}" if isinstance(given, float) else given
            lines = 3 if question.kind == "text" else 1
            held = text_field(f"{question.asks}{unit}", said, lines=lines)
            held.continuous_update = False
        on_change(held, lambda: self._save(question, held), self.messages)
        return held

    def _line(self, question: Question) -> widgets.Widget:
        help_ = [note(question.help)] if question.help else []
        return widgets.VBox([row(self.fields[question.id]), *help_])

    def _save(self, question: Question, field: widgets.Widget) -> None:
        play = self.host.play
        if question.kind == "choice":
            if field.value == OPEN and question.id not in play.answers():
                return
            value: Any = None if field.value == OPEN else field.value
        elif question.kind == "text":
            value = field.value
        else:
            value = number_of(field)
        play.answer(question.id, value)
        self.messages.say("Saved.")
        self.host.refresh()


class Shop:
    """Clues: chosen, reasoned, bought, and read again."""

    def __init__(self, host: Host) -> None:
        self.host, self.messages = host, Messages()
        play = host.play
        groups = [(one.title, one.id) for one in play.case.groups]
        self.group = choice("Kind of clue", groups)
        self.clue = choice("Clue", [NOT_YET])
        self.about = words()
        self.reason = text_field(
            "Why this one, and what will you do upon each answer? (asked first, kept in the log)",
            lines=2,
        )
        leading = [(shortened(one.says), one.id) for one in play.case.candidates]
        self.leading = choice("Which cause leads at the moment?", [("none yet", ""), *leading])
        self.sure = text_field("How sure are you of it, in percent? (may stay blank)")
        self.buy_button = button("Buy this clue", self.buy, self.messages, main=True)
        self.again = choice("Read again", [("nothing is bought yet", OPEN)])
        self.shown, self.all = words(), words()
        on_change(self.group, self._list_clues, self.messages)
        on_change(self.clue, self._tell_clue, self.messages)
        on_change(self.again, self._show, self.messages)
        self.widget = widgets.VBox([
            row(self.group, self.clue), self.about, row(self.reason),
            row(self.leading, self.sure), self.buy_button, self.messages.widget,
            row(self.again), self.shown, self.all,
        ])  # fmt: skip
        self.refresh()

    def buy(self) -> str:
        """Log the reason, then pay and show the result."""
        if self.clue.value == OPEN:
            raise RcaError("no clue is chosen", next_step="choose one in the list above")
        play, sure = self.host.play, number_of(self.sure)
        result = play.buy(
            self.clue.value, reason=self.reason.value, leading=self.leading.value, confidence=sure
        )
        self.reason.value = ""
        self.host.refresh()
        self.again.value = result.id
        return f"Bought: {result.title}. It stands below, and can be read again at any time."

    def refresh(self) -> None:
        """Bring prices, money and what was bought up to date."""
        play = self.host.play
        self._list_clues()
        bought = [(play.case.clue(one).title, one) for one in play.bought]
        set_options(self.again, bought or [("nothing is bought yet", OPEN)])
        self.buy_button.disabled = play.stage is not Stage.LOOKING
        table = exercise_text.offers_html(play.case, play.offers())
        self.all.value = (
            f"<details><summary>Everything that can be bought</summary>{table}</details>"
        )
        self._show()

    def _list_clues(self) -> None:
        case = self.host.play.case
        offers = [one for one in self.host.play.offers() if one.group == self.group.value]
        options = [
            (f"{one.title} ({'bought' if one.bought else f'{whole(one.price)} {case.currency}'})",
             one.id)
            for one in offers
        ]  # fmt: skip
        set_options(self.clue, options or [NOT_YET])
        self._tell_clue()

    def _tell_clue(self) -> None:
        play = self.host.play
        chosen = next((one for one in play.offers() if one.id == self.clue.value), None)
        group = next((one for one in play.case.groups if one.id == self.group.value), None)
        says = [group.says] if group is not None else []
        if chosen is not None:
            says.append(f"{chosen.does}.")
            says += [f"Not to be had: {chosen.why_not}."] if chosen.why_not else []
        self.about.value = "".join(paragraph(one, kind="small") for one in says)

    def _show(self) -> None:
        known = self.again.value in self.host.play.bought
        result = self.host.play.result(self.again.value) if known else None
        self.shown.value = exercise_text.result_html(result) if result is not None else ""


class Evidence:
    """The causes of the case sheet and the bought clues, put into the investigation."""

    def __init__(self, host: Host) -> None:
        self.host, self.messages = host, Messages()
        self.candidate = choice("Cause from the case sheet", [NOT_YET])
        self.effect = choice("It would bring about", [NOT_YET])
        self.clue = choice("Clue that you have bought", [NOT_YET])
        self.shows = text_field("What it shows, in your own words, with its numbers", lines=2)
        self.bearing = Bearing()
        self.widget = widgets.VBox([
            row(self.candidate, self.effect),
            button("Add this cause", self.add, self.messages),
            row(self.clue), row(self.shows), self.bearing.widget,
            button("Add this as evidence", self.cite, self.messages),
            self.messages.widget,
        ])  # fmt: skip
        self.refresh()

    def add(self) -> str:
        """Write a cause of the case sheet into the investigation."""
        if self.candidate.value == OPEN:
            raise RcaError("no cause is chosen", next_step="choose one in the list")
        says = self.host.play.case.candidate(self.candidate.value).says
        self.host.play.add_candidate(self.candidate.value, effect=self.effect.value)
        self.host.read_investigation()
        return f"Added: {says}"

    def cite(self) -> str:
        """Write a bought clue into the investigation as evidence."""
        if self.clue.value == OPEN:
            raise RcaError("no clue is chosen", next_step="buy one first, then choose it here")
        given = self.bearing.arguments()
        self.host.play.cite(
            self.clue.value, shows=self.shows.value, supports=given["causes"],
            contradicts=given["against"], if_true=given["if_true"],
        )  # fmt: skip
        self.shows.value = ""
        self.bearing.clear()
        self.host.read_investigation()
        return "Added as evidence; the links below say what it does to them."

    def refresh(self) -> None:
        """List causes that are not in the investigation yet, effects, and bought clues."""
        case, play = self.host.investigation, self.host.play
        within = case.causes if case is not None else {}
        left = [(shortened(o.says), o.id) for o in play.case.candidates if o.id not in within]
        set_options(self.candidate, left or [("all are added", OPEN)])
        effects = effect_options(case) if case is not None else [("the problem", PROBLEM)]
        set_options(self.effect, effects)
        bought = [(play.case.clue(one).title, one) for one in play.bought]
        set_options(self.clue, bought or [("nothing is bought yet", OPEN)])
        if case is not None and cause_options(case) != self._offered:
            self.bearing.offer(case)
            self._offered = cause_options(case)

    _offered: Sequence[Any] = ()
