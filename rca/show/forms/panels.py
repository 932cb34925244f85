"""What the panels of the investigation form share: the case that is worked on, lists of causes."""

from collections.abc import Callable, Sequence
from typing import Any, Protocol

import ipywidgets as widgets

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM
from rca.causes.case.investigation import Investigation
from rca.records.fleet import Fleet
from rca.show.forms.fields import Messages, Option, choice, set_options

MOST_LETTERS = 52  # of a sentence in a list, which would else cut it without saying so


class Desk(Protocol):
    """The form that a panel works for."""

    fleet: Fleet | None

    @property
    def case(self) -> Investigation:
        """The case as it stands."""
        ...

    def change(self, label: str, change: Callable[[Any], Any]) -> str:
        """Make a change and say what became of it."""
        ...


class Panel:
    """One kind of change: its fields, and how they are kept up to date with the case."""

    title = ""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.messages = Messages()
        self.widget = widgets.VBox([*self.fields(), self.messages.widget])
        self.refresh()

    @property
    def case(self) -> Investigation:
        """The case as it stands."""
        return self.desk.case

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        raise NotImplementedError

    def refresh(self) -> None:
        """Bring lists of causes and the like up to date."""


def shortened(text: str) -> str:
    """Return a sentence that fits into a list."""
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1]}…"


def cause_options(case: Investigation) -> list[Option]:
    """Every cause by its sentence."""
    return [(shortened(one.says), name) for name, one in case.causes.items()]


def effect_options(case: Investigation) -> list[Option]:
    """The problem, its not being caught, and every cause: whatever can be asked why."""
    return [
        (shortened(case.problem.statement), PROBLEM),
        ("It was not caught earlier", NOT_CAUGHT),
        *cause_options(case),
    ]


def cause_choice(label: str) -> widgets.Dropdown:
    """Make a list of causes, filled by `offer`."""
    return choice(label, [("there is no cause yet", "")])


def offer(field: widgets.Dropdown, options: Sequence[Option]) -> None:
    """Fill a list of causes."""
    set_options(field, options or [("there is no cause yet", "")])
