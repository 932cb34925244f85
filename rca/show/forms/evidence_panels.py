"""Panels of the investigation form for evidence: readings, claims on the records, tests."""

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.causes import editing
from rca.causes.claims import RatioFound, compute_claim
from rca.causes.filling_in import WORDS, record_reading, record_result
from rca.causes.observations import Claim
from rca.causes.outcomes import outcomes_of
from rca.causes.selection import groups_of
from rca.errors import RcaError
from rca.show.forms.fields import (
    Option,
    Ticks,
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
from rca.show.forms.panels import Panel, cause_options, shortened

NEW = ("a new measurement", "")
ANY, ALL_UNITS = ("any", ""), ("all units", "")
ALL = "all"  # every failure mode, as a claim in a file says it
SIGNS = [("is expected", "expected"), ("is possible", "possible"), ("is unlikely", "unlikely"),
         ("is impossible", "impossible")]  # fmt: skip
SAYS_NOTHING = ("says nothing", "")


class _Bearing:
    """For and against which causes evidence speaks, and how well it would fit each end."""

    def __init__(self) -> None:
        self.for_ = Ticks("It speaks for")
        self.against = Ticks("It speaks against")
        self.fits: dict[str, widgets.Dropdown] = {}
        self._fits = widgets.VBox([])
        self._fits.add_class("rca-fields")
        self.widget = widgets.VBox([
            row(self.for_.widget, self.against.widget),
            note("If this were the true cause, what was seen … (for the next test; may stay open)"),
            self._fits,
        ])  # fmt: skip

    def offer(self, panel: Panel) -> None:
        """List the causes."""
        options = cause_options(panel.case)
        self.for_.offer(options)
        self.against.offer(options)
        ends = panel.case.ends()
        before = {name: field.value for name, field in self.fits.items()}
        self.fits = {
            name: choice(shortened(panel.case.says(name)), [SAYS_NOTHING, *SIGNS], before.get(name))
            for name in ends
        }
        self._fits.children = tuple(self.fits.values())

    def arguments(self) -> dict[str, Any]:
        """Return what is filled in, as the functions of `editing` take it."""
        if_true = {name: field.value for name, field in self.fits.items() if field.value}
        return {"causes": self.for_.value, "against": self.against.value, "if_true": if_true}

    @property
    def is_blank(self) -> bool:
        return not any(self.arguments().values())

    def clear(self) -> None:
        """Take back what was filled in."""
        self.for_.clear()
        self.against.clear()
        for field in self.fits.values():
            field.value = ""


class Measure(Panel):
    """Record a reading, and let it speak for or against causes."""

    title = "Measurement"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        self.what = choice("Measurement", [NEW])
        self.quantity = text_field("What is measured, and where")
        self.unit = text_field("Unit", hint="V, ohm, bar, degC, l/min, mm, …")
        self.at_least, self.at_most = text_field("At least"), text_field("At most")
        self.source = text_field("Source of the limit (document, edition, page)")
        self.uncertainty = text_field("Standard uncertainty, in the same unit")
        self.instrument = text_field("Instrument")
        self.state = text_field("State and direction of working", hint="cold, hot, loaded, …")
        self.new = widgets.VBox([
            row(self.quantity, self.unit), row(self.at_least, self.at_most, self.source),
            row(self.uncertainty, self.instrument, self.state),
        ])  # fmt: skip
        self.reading = text_field("Reading", hint="a number; several with ; between; or a word")
        self.when = choice("Taken", [("as found", "as found"), ("after the work", "after")])
        self.day, self.by = day_field("Day"), text_field("By (a role, no name)")
        self.proves = choice("The reading is to prove that it lies",
                             [("outside its limit", "outside limit"),
                              ("inside its limit", "inside limit")])  # fmt: skip
        self.shows = text_field("What it shows, in a sentence (may stay blank)")
        self.bearing = _Bearing()
        on_change(self.what, self._show_new, self.messages)
        words_ = ", ".join(WORDS)
        return (
            row(self.what), self.new,
            row(self.reading, self.when, self.day, self.by),
            note(f"Instead of a number: {words_}."), row(self.proves, self.shows),
            self.bearing.widget,
            button("Record this", self.record, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """List measurements and causes."""
        known = [(shortened(f"{m.quantity} in {m.unit}"), name)
                 for name, m in self.case.measurements.items()]  # fmt: skip
        set_options(self.what, [NEW, *known])
        self.bearing.offer(self)
        self._show_new()

    def _show_new(self) -> None:
        self.new.layout.display = "none" if self.what.value else ""

    def record(self) -> str:
        """Record the reading, add the measurement where it is new, attach it to causes."""
        made = self._new_measurement() if not self.what.value else None
        reading, bearing = reading_of(self.reading.value), self.bearing.arguments()
        known, when, by = self.what.value, self.when.value, self.by.value.strip()
        day = self.day.value.isoformat() if self.day.value else ""
        proves, shows, attach = self.proves.value, self.shows.value, not self.bearing.is_blank
        if made is None and reading is None and not attach:
            step = "write a reading, or tick what it speaks for"
            raise RcaError("there is nothing to record", next_step=step)

        def change(data: Any) -> str:
            name = known or editing.add_measurement(data, **(made or {}))
            if reading is not None:
                record_reading(data, name, reading, when=when, date=day, by=by)
            if attach:
                editing.attach_measurement(data, name, proves=proves, shows=shows, when=when,
                                           **bearing)  # fmt: skip
            return name

        label = f"reading {self.reading.value}".strip() if reading is not None else "measurement"
        said = self.desk.change(label, change)
        for field in (self.reading, self.shows, self.quantity, self.at_least, self.at_most):
            field.value = ""
        self.bearing.clear()
        return said

    def _new_measurement(self) -> dict[str, Any]:
        return {
            "quantity": self.quantity.value,
            "unit": self.unit.value,
            "at_least": number_of(self.at_least),
            "at_most": number_of(self.at_most),
            "limit_source": self.source.value.strip(),
            "standard_uncertainty": number_of(self.uncertainty),
            "instrument": self.instrument.value.strip(),
            "state": self.state.value.strip(),
        }


def reading_of(text: str) -> float | str | list[float] | None:
    """Return a reading as it was written: a number, several, a word, or None for nothing.

    Raises
    ------
    RcaError
        It is neither.
    """
    text = text.strip()
    if not text or text in WORDS:
        return text or None
    parts = [part for part in text.split(";") if part.strip()]
    numbers = [number_of(text_field("Reading", part)) for part in parts]
    known = [one for one in numbers if one is not None]
    return known[0] if len(known) == 1 else known


class OnRecords(Panel):
    """A claim on the records: some units fail more (or less) often than the others."""

    title = "Claim on records"

    def fields(self) -> Sequence[widgets.Widget]:
        """Make the fields."""
        fleet = self.desk.fleet
        if fleet is None:
            return (note("No fleet folder is named in the cell above: there are no records."),)
        groups = [
            (f"{one.attribute}: {one.value}", condition(one.attribute, one.value))
            for one in groups_of(fleet) if one.attribute.isidentifier()
        ]  # fmt: skip
        repairs = fleet.repairs
        parts = [str(one) for one in repairs["part"].value_counts().index if one]
        actions = [str(one) for one in repairs["action"].value_counts().index if one]
        self.units = choice("Units where", [ALL_UNITS, *groups])
        self.after = choice("… after a repair of", [("(not asked)", ""), *parts])
        self.action = choice("… which was", [ANY, *actions])
        self.within = text_field("… within days (blank: for good)")
        self.part = choice("Failures of", parts, self.case.part)
        own = self.case.mode or "not stated, so every mode"
        self.mode = choice("Failure mode", [(f"that of this case: {own}", ""), ("every mode", ALL)])
        senses = [("more frequent than on the others", "above"),
                  ("not more frequent than on the others", "below")]  # fmt: skip
        self.sense = choice("are claimed to be", senses)
        self.times = text_field("by this many times (blank: 1)")
        self.until = day_field("Counted up to (blank: all)")
        self.shows = text_field("What it shows, in a sentence")
        self.bearing = _Bearing()
        return (
            row(self.units), row(self.after, self.action, self.within),
            row(self.part, self.mode), row(self.sense, self.times, self.until),
            button("Look it up in the records", self.look_up, self.messages),
            row(self.shows), self.bearing.widget,
            button("Attach this claim", self.attach, self.messages, main=True),
        )  # fmt: skip

    def refresh(self) -> None:
        """List the causes."""
        if self.desk.fleet is not None:
            self.bearing.offer(self)

    def claim(self) -> dict[str, Any]:
        """Return the claim as it stands in a file."""
        after = f'part = "{self.after.value}"' if self.after.value else ""
        if after and self.action.value:
            after += f" and {condition('action', self.action.value)}"
        within = number_of(self.within)
        times = number_of(self.times)
        claim = {
            "units": self.units.value,
            "after_repair": after,
            "within_days": int(within) if within is not None and after else None,
            "part": self.part.value if self.part.value != self.case.part else "",
            "mode": self.mode.value or (ALL if self.part.value != self.case.part else ""),
            f"ratio_{self.sense.value}": 1.0 if times is None else times,
            "until": self.until.value.isoformat() if self.until.value else "",
        }
        kept = {key: value for key, value in claim.items() if value not in ("", None)}
        if "units" not in kept and "after_repair" not in kept:
            step = "choose a group of units, or a repair before"
            raise RcaError("the claim is about all units", next_step=step)
        return kept

    def look_up(self) -> str:
        """Compute the claim, without attaching it."""
        return str(self._computed(self.claim()))

    def _computed(self, claim: dict[str, Any]) -> RatioFound:
        if self.desk.fleet is None:
            raise RcaError(
                "there are no records", next_step="name a fleet folder in the cell above"
            )
        mode = claim.get("mode", "") or self.case.mode
        part = claim.get("part", "") or self.case.part
        whole = {**claim, "part": part, "mode": "" if mode == ALL else mode}
        return compute_claim(Claim(**whole), self.desk.fleet)

    def attach(self) -> str:
        """Attach the claim; it is computed again at every run from now on."""
        claim, shows, bearing = self.claim(), self.shows.value, self.bearing.arguments()
        found = self._computed(claim)
        if found.ratio is not None:
            claim["times"] = float(f"{found.ratio:.2g}")
        said = self.desk.change(
            f"claim: {shows}",
            lambda data: editing.attach_claim(data, claim, shows=shows, **bearing),
        )
        self.shows.value = ""
        self.bearing.clear()
        return said


def condition(column: str, value: str) -> str:
    """Write that a column holds a value, as conditions in a file are written.

    Raises
    ------
    RcaError
        The value holds both kinds of quotes.
    """
    quote = '"' if '"' not in value else "'"
    if quote in value:
        raise RcaError(f"{value!r} cannot be written in a condition", next_step="rename it")
    return f"{column} = {quote}{value}{quote}"


class Test(Panel):
    """Add a test that could be done, or write down what one has shown."""

    title = "Test"
    __test__ = False  # no test of pytest's

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
