"""The panel of the investigation form for tests: those that could be done, and their results."""

from collections.abc import Sequence

import ipywidgets as widgets

from rca.causes.case import editing
from rca.causes.case.filling_in import record_result
from rca.causes.case.outcomes import outcomes_of
from rca.errors import RcaError
from rca.show.forms.bearing import SAYS_NOTHING
from rca.show.forms.fields import (
    Option,
    button,
    choice,
    day_field,
    note,
    number_of,
    on_change,
    row,
    set_options,
    text_field,
    words,
)
from rca.show.forms.panels import Panel, shortened


class BenchTest(Panel):
    """Add a test that could be done, or write down what one has shown."""

    title = "Test"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.does = text_field("What to do", lines=2)
        self.cost = text_field("Cost, labour included")
        self.shows: dict[str, widgets.Dropdown] = {}
        self._shows = widgets.VBox([])
        self._shows.add_class("rca-fields")
        self.done = choice("Test", [("there is no test yet", "")])
        self.result = choice("It showed", [("choose …", "")])
        self.day, self.by = day_field("Day"), text_field("By (a role, no name)")
        on_change(self.done, self._list_results, self.messages)
        return (
            words("<h4>A test that could be done</h4>"),
            row(self.does, self.cost),
            note("What it would show if this were the true cause:"), self._shows,
            button("Add this test", self.add, self.messages, main=True),
            words("<h4>A test that was done</h4>"),
            row(self.done, self.result, self.day, self.by),
            button("Write down the result", self.write_result, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """List ends of the chains and tests."""
        outcomes: list[Option | str] = [SAYS_NOTHING, "pass", "fail"]
        before = {name: field.value for name, field in self.shows.items()}
        self.shows = {
            name: choice(shortened(self.case.says(name)), outcomes, before.get(name))
            for name in self.case.ends()
        }
        self._shows.children = tuple(self.shows.values()) or (note("Add a why first."),)
        tests = [(shortened(one.does), name) for name, one in self.case.tests.items()]
        set_options(self.done, tests or [("there is no test yet", "")])
        self._list_results()

    def _list_results(self) -> None:
        test = self.case.tests.get(self.done.value)
        known = sorted(outcomes_of(test)) if test is not None else []
        options: list[Option | str] = [("choose …", ""), *known]
        set_options(self.result, options)

    def add(self) -> str:
        """Add the test."""
        does, cost = self.does.value, number_of(self.cost, must=True) or 0.0
        would_show = {name: field.value for name, field in self.shows.items() if field.value}
        if len(set(would_show.values())) < 2:
            step = "choose pass for some and fail for others"
            raise RcaError("such a test tells no causes apart", next_step=step)
        said = self.desk.change(
            f"test: {does}",
            lambda data: editing.add_test(data, does, cost=cost, would_show=would_show),
        )
        self.does.value, self.cost.value = "", ""
        for field in self.shows.values():
            field.value = ""
        return said

    def write_result(self) -> str:
        """Write down what a test has shown."""
        name, result, by = self.done.value, self.result.value, self.by.value.strip()
        if not name or not result:
            raise RcaError("no result is chosen", next_step="choose the test and what it showed")
        day = self.day.value.isoformat() if self.day.value else ""
        return self.desk.change(
            f"result of {name}",
            lambda data: record_result(data, name, result, date=day, by=by),
        )
