"""What a piece of evidence speaks for and against, and how well it fits each explanation."""

from typing import Any

import ipywidgets as widgets

from rca.causes.case.investigation import Investigation
from rca.show.forms.fields import Ticks, choice, note, row
from rca.show.forms.panels import cause_options, shortened

SIGNS = [("is expected", "expected"), ("is possible", "possible"), ("is unlikely", "unlikely"),
         ("is impossible", "impossible")]  # fmt: skip
SAYS_NOTHING = ("says nothing", "")


class Bearing:
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

    def offer(self, case: Investigation) -> None:
        """List the causes."""
        options = cause_options(case)
        self.for_.offer(options)
        self.against.offer(options)
        ends = case.ends()
        before = {name: field.value for name, field in self.fits.items()}
        self.fits = {
            name: choice(shortened(case.says(name)), [SAYS_NOTHING, *SIGNS], before.get(name))
            for name in ends
        }
        self._fits.children = tuple(self.fits.values())

    def arguments(self) -> dict[str, Any]:
        """Return what is filled in, as the functions of `editing` take it."""
        if_true = {name: field.value for name, field in self.fits.items() if field.value}
        return {"causes": self.for_.value, "against": self.against.value, "if_true": if_true}

    @property
    def is_blank(self) -> bool:
        """Tell whether nothing is filled in."""
        return not any(self.arguments().values())

    def clear(self) -> None:
        """Take back what was filled in."""
        self.for_.clear()
        self.against.clear()
        for field in self.fits.values():
            field.value = ""
