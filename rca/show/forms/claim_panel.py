"""The panel of the investigation form for claims on the records: who fails more than whom."""

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from rca.causes.case import editing
from rca.causes.case.claims import RatioFound, compute_claim
from rca.causes.case.observations import Claim
from rca.causes.selection import groups_of
from rca.errors import RcaError
from rca.show.forms.bearing import Bearing
from rca.show.forms.fields import button, choice, day_field, note, number_of, row, text_field
from rca.show.forms.panels import Panel

ANY, ALL_UNITS = ("any", ""), ("all units", "")
ALL = "all"  # every failure mode, as a claim in a file says it


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
        self.bearing = Bearing()
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
            self.bearing.offer(self.case)

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
