"""The panel of the investigation form for readings: what is measured, its limit, what it proves."""

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.causes.case import editing
from rca.causes.case.filling_in import WORDS, record_reading
from rca.errors import RcaError
from rca.show.forms.bearing import Bearing
from rca.show.forms.fields import (
    button,
    choice,
    day_field,
    note,
    number_of,
    on_change,
    row,
    set_options,
    text_field,
)
from rca.show.forms.panels import Panel, shortened

NEW = ("a new measurement", "")


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
        self.bearing = Bearing()
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
        self.bearing.offer(self.case)
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
