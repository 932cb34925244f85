"""The panel of the investigation form that states the problem: what is, what is not, no cause."""

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.show.forms.fields import button, note, row, text_field
from rca.show.forms.panels import Panel

HEAD = (("title", "Title"), ("purpose", "Purpose of this investigation"), ("part", "Part"),
        ("mode", "Failure mode, as in the records"), ("unit", "Unit on the bench"))  # fmt: skip
PROBLEM = (("effect", "What it does to the unit or the service"), ("severity", "Severity"),
           ("first_seen", "First seen (YYYY-MM-DD)"), ("trigger", "Why it is looked into now"),
           ("good_units", "What was looked at on like units that did not fail"))  # fmt: skip
QUESTIONS = (("what", "What"), ("where", "Where"), ("when", "When"), ("how_much", "How much"))


class ProblemPanel(Panel):
    """State the problem."""

    title = "The problem"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.statement = text_field("What was seen, with a number and no cause in it", lines=2)
        self.head = {key: text_field(label) for key, label in HEAD}
        self.more = {key: text_field(label) for key, label in PROBLEM}
        self.pairs = {
            key: (text_field(f"{label}: it is"), text_field(f"{label}: it is not"))
            for key, label in QUESTIONS
        }
        self.changes = text_field(
            "What was changed before the first failure (a line each)", lines=3
        )
        return (
            row(self.statement), row(*self.head.values()), row(*self.more.values()),
            note("Like units and times that were spared narrow the search."),
            *(row(*pair) for pair in self.pairs.values()), row(self.changes),
            button("Write this down", self.write, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """Fill in what the file says."""
        case, problem = self.case, self.case.problem
        self.statement.value = problem.statement
        for key, field in self.head.items():
            field.value = getattr(case, key)
        for key, field in self.more.items():
            field.value = getattr(problem, key)
        for key, (is_so, is_not) in self.pairs.items():
            is_so.value, is_not.value = problem.is_is_not.get(key, ("", ""))
        self.changes.value = "\n".join(problem.changes_before)

    def write(self) -> str:
        """Write what was changed in the fields."""
        changed = {key: value for key, value in self._values().items() if value != self._now(key)}
        if not changed:
            return "Nothing was changed."

        def change(data: Any) -> None:
            from rca.causes.case.editing import set_problem

            set_problem(data, changed)

        return self.desk.change("the problem", change)

    def _values(self) -> dict[str, Any]:
        values: dict[str, Any] = {"statement": self.statement.value.strip()}
        values |= {key: field.value.strip() for key, field in self.head.items()}
        values |= {key: field.value.strip() for key, field in self.more.items()}
        for key, (is_so, is_not) in self.pairs.items():
            pair = {"is": is_so.value.strip(), "is_not": is_not.value.strip()}
            values[key] = {name: text for name, text in pair.items() if text}
        lines = [line.strip() for line in self.changes.value.splitlines()]
        return values | {"changes_before": [line for line in lines if line]}

    def _now(self, key: str) -> Any:
        """What the file says, in the form of `_values`."""
        case, problem = self.case, self.case.problem
        if key in self.pairs:
            pair = problem.is_is_not.get(key, ("", ""))
            return {name: text for name, text in zip(("is", "is_not"), pair, strict=True) if text}
        if key == "changes_before":
            return list(problem.changes_before)
        return getattr(case if key in self.head else problem, key)
