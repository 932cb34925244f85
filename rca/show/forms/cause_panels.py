"""Panels of the investigation form that shape the graph of causes."""

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.causes.case import editing
from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Cause, Layer, Link
from rca.causes.case.why_chain import gate_sentence
from rca.errors import RcaError
from rca.show.forms.fields import (
    Ticks,
    button,
    choice,
    note,
    on_change,
    row,
    set_options,
    text_field,
    tick,
)
from rca.show.forms.panels import Panel, cause_choice, cause_options, effect_options, offer

LAYERS = [
    ("physical: in the part itself", Layer.PHYSICAL.value),
    ("upstream: what loads, feeds, heats, soils or commands it", Layer.UPSTREAM.value),
    ("human or procedural: what was done or left out", Layer.PROCEDURAL.value),
    ("organisational: what made that the normal thing", Layer.ORGANISATIONAL.value),
]
NO_BRANCH = ("not stated", "")


class AddWhy(Panel):
    """Add an answer to "why"."""

    title = "Add a why"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.effect = choice("Why did this happen?", effect_options(self.case))
        self.says = text_field("Because … (a full sentence)", lines=2)
        self.layer = choice("How far from the broken part", LAYERS)
        self.branch = choice("Branch of the diagram", [NO_BRANCH])
        other, together = ("another way it can happen (OR)", False), (
            "needed together with the others (AND)", True)  # fmt: skip
        self.together = choice("With the other answers", [other, together])
        self.stop = text_field("If the chain stops here: why (may stay blank)")
        return (
            row(self.effect), row(self.says), row(self.layer, self.branch),
            row(self.together, self.stop),
            button("Add this why", self.add, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """List what can be asked why."""
        set_options(self.effect, effect_options(self.case))
        set_options(self.branch, [NO_BRANCH, *self.case.branches])

    def add(self) -> str:
        """Add the cause; the next why is then asked of it."""
        values = (self.says.value, self.effect.value, self.layer.value, self.branch.value)
        says, effect, layer, branch = values
        together, stop = self.together.value, self.stop.value

        def change(data: Any) -> str:
            return editing.add_cause(
                data, says, layer=layer, effect=effect, needed_together=together, branch=branch,
                stop=stop,
            )  # fmt: skip

        said = self.desk.change(f"why: {says}", change)
        self.says.value, self.stop.value = "", ""
        self.effect.value = list(self.case.causes)[-1]
        return said


class Wording(Panel):
    """Change what a cause says, and what is known of it."""

    title = "Wording"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.cause = cause_choice("Cause")
        self.says = text_field("What it says", lines=2)
        self.layer = choice("How far from the broken part", LAYERS)
        self.branch = choice("Branch of the diagram", [NO_BRANCH])
        self.stop = text_field("If the chain stops here: why")
        self.good = choice("Also found on units that did not fail?",
                           [("not stated", ""), "yes", "no", "not checked"])  # fmt: skip
        self.check = choice("What would clear it before the part is refitted", [("nothing", "")])
        self.check_words = text_field("The check in words")
        self.forget = tick("Take away the probability that is stated for it")
        on_change(self.cause, self._fill, self.messages)
        return (
            row(self.cause), row(self.says), row(self.layer, self.branch),
            row(self.stop, self.good), row(self.check, self.check_words), self.forget,
            button("Change it", self.change, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """List the causes and fill in the chosen one."""
        set_options(self.branch, [NO_BRANCH, *self.case.branches])
        offer(self.cause, cause_options(self.case))
        measured = [(f"measurement: {m.quantity}", ("measurement", name))
                    for name, m in self.case.measurements.items()]  # fmt: skip
        tested = [(f"test: {one.does}", ("test", name)) for name, one in self.case.tests.items()]
        words = [("nothing", ""), ("a check in words", "words"), *measured, *tested]
        set_options(self.check, words)
        self._fill()

    def _fill(self) -> None:
        cause = self.case.causes.get(self.cause.value)
        if cause is None:
            return
        self.says.value, self.stop.value = cause.says, cause.stop
        self.layer.value, self.branch.value = cause.layer.value, cause.branch
        self.good.value = cause.also_on_good_units
        self.check.value, self.check_words.value = _check_of(cause)
        stated = cause.probability is not None or cause.prior is not None
        self.forget.layout.display = "" if stated else "none"
        self.forget.value = False

    def change(self) -> str:
        """Write what is filled in."""
        name, values = self.cause.value, self._values()
        if not name:
            raise RcaError("there is no cause yet", next_step="add a why first")
        if not values["says"]:
            raise RcaError("the cause says nothing", next_step="write a full sentence")
        return self.desk.change(
            f"wording of {name}", lambda data: editing.set_cause(data, name, values)
        )

    def _values(self) -> dict[str, Any]:
        chosen = self.check.value
        if isinstance(chosen, tuple):
            check: Any = {chosen[0]: chosen[1]}
        else:
            check = self.check_words.value.strip() if chosen == "words" else ""
        values: dict[str, Any] = {
            "says": self.says.value.strip(),
            "layer": self.layer.value,
            "branch": self.branch.value,
            "stop": self.stop.value.strip(),
            "also_on_good_units": self.good.value,
            "check": check,
        }
        return values | ({"probability": None, "prior": None} if self.forget.value else {})


def _check_of(cause: Cause) -> tuple[Any, str]:
    """What is chosen and what is written for the check of a cause."""
    if cause.check is None:
        return "", ""
    if cause.check.measurement:
        return ("measurement", cause.check.measurement), ""
    if cause.check.test:
        return ("test", cause.check.test), ""
    return "words", cause.check.sentence


class AndOr(Panel):
    """Mark causes of one effect as needed together, or each enough by itself."""

    title = "AND / OR"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.effect = choice("Causes of what?", effect_options(self.case))
        self.now = note("")
        self.causes = Ticks("Which of its causes (two or more)")
        on_change(self.effect, self._list, self.messages)
        return (
            row(self.effect), self.now, self.causes.widget,
            row(button("Needed together (AND)", self.mark_and, self.messages, main=True),
                button("Each is enough (OR)", self.mark_or, self.messages, main=True)),
        )  # fmt: skip

    def refresh(self) -> None:
        """List what has causes."""
        set_options(self.effect, effect_options(self.case))
        self._list()

    def _list(self) -> None:
        gate = self.case.because(self.effect.value)
        names = list(dict.fromkeys(gate.causes())) if gate is not None else []
        self.causes.offer([(f"{self.case.says(name)} ({name})", name) for name in names])
        text = "It has no cause yet." if gate is None else "It has one cause only."
        if gate is not None and len(gate.inputs) > 1:
            text = f"Now: {gate_sentence(gate)} {' · '.join(names)}"
        self.now.value = note(text).value

    def mark_and(self) -> str:
        """Mark what is ticked as needed together."""
        return self._mark("all", "AND")

    def mark_or(self) -> str:
        """Mark each of what is ticked as enough."""
        return self._mark("any", "OR")

    def _mark(self, word: str, said: str) -> str:
        effect, names = self.effect.value, self.causes.value
        return self.desk.change(
            f"{said} for {', '.join(names)}",
            lambda data: editing.join_causes(data, effect, names, word=word),
        )


class Move(Panel):
    """Let a cause lead to something else, or take it out."""

    title = "Move or remove"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.cause = cause_choice("Cause")
        self.now = choice("It leads to", [("nothing", "")])
        self.to = choice("Let it lead to", effect_options(self.case))
        self.too = tick("and let it go on leading to what it leads to now")
        on_change(self.cause, self._list, self.messages)
        return (
            row(self.cause), row(self.now, self.to), self.too,
            row(button("Move it", self.move, self.messages, main=True),
                button("Remove this cause", self.remove, self.messages)),
        )  # fmt: skip

    def refresh(self) -> None:
        """List the causes and where they can lead."""
        offer(self.cause, cause_options(self.case))
        self._list()

    def _list(self) -> None:
        name = self.cause.value
        effects = {link.effect for link in self._links() if link.cause == name}
        options = effect_options(self.case)
        now = [one for one in options if one[1] in effects]
        set_options(self.now, now or [("nothing", "")])
        others = [one for one in options if one[1] != name]
        set_options(self.to, [*others, ("nothing: leave it unconnected", "")])

    def _links(self) -> Sequence[Link]:
        """Every link, those of causes that are not connected too."""
        found = list(self.case.links())
        for name, cause in self.case.causes.items():
            gate = cause.because
            if gate is not None and name not in self._connected():
                found += self.case.links(name)
        return found

    def _connected(self) -> set[str]:
        return {*self.case.below(PROBLEM), *self.case.below(NOT_CAUGHT)}

    def move(self) -> str:
        """Move the cause."""
        name, now, to = self.cause.value, self.now.value, self.to.value
        away = "" if self.too.value else now
        if not name:
            raise RcaError("there is no cause yet", next_step="add a why first")
        said = self.desk.change(
            f"move of {name}",
            lambda data: editing.move_cause(data, name, away_from=away, to=to),
        )
        self.too.value = False
        return said

    def remove(self) -> str:
        """Remove the cause."""
        name = self.cause.value
        if not name:
            raise RcaError("there is no cause yet", next_step="there is nothing to remove")
        return self.desk.change(f"removal of {name}", lambda data: editing.remove_cause(data, name))
