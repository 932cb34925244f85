"""The parts that forms are built of: labelled fields, buttons that answer, figures with words.

Each field has its whole label above it, tied to it for screen readers. Whatever goes wrong in a
button's action is shown in words beside the button; JupyterLab alone would show nothing.
"""

import html
import importlib.resources
import json
import math
import re
import traceback
from collections.abc import Callable, Sequence
from datetime import date
from functools import cache
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go

from rca.errors import RcaError

Option = tuple[str, Any]
WORKING = "Working …"
TEXT_CLASS = "rca-text"


@cache
def _style() -> str:
    place = importlib.resources.files("rca").joinpath("show", "templates", "forms.css")
    return place.read_text(encoding="utf-8")


def form(*children: widgets.Widget) -> widgets.VBox:
    """Put a form together, with its style sheet."""
    style = widgets.HTML(f"<style>{_style()}</style>")
    style.add_class("rca-style")
    box = widgets.VBox([style, *children])
    box.add_class("rca-form")
    return box


def section(title: str, *children: widgets.Widget) -> widgets.VBox:
    """Group some fields under a heading."""
    head = words(f"<h3>{html.escape(title)}</h3>")
    box = widgets.VBox([head, *children])
    box.add_class("rca-section")
    return box


def row(*children: widgets.Widget) -> widgets.HBox:
    """Set fields side by side; where there is no room they go below one another."""
    box = widgets.HBox(list(children))
    box.add_class("rca-row")
    return box


def words(markup: str = "") -> widgets.HTML:
    """Show HTML; text from files must be escaped before."""
    held = widgets.HTML(markup)
    held.add_class(TEXT_CLASS)
    return held


def note(text: str) -> widgets.HTML:
    """Show a sentence of explanation."""
    return words(f"<p class='small'>{html.escape(text)}</p>")


def text_field(label: str, value: str = "", *, hint: str = "", lines: int = 1) -> widgets.Widget:
    """Make a field for text, of one line or several."""
    kind = widgets.Text if lines == 1 else widgets.Textarea
    more = {} if lines == 1 else {"rows": lines}
    return kind(value=value, description=label, placeholder=hint, **more)


def choice(label: str, options: Sequence[Option | str], value: Any = None) -> widgets.Dropdown:
    """Make a list of which one entry is chosen; without `value` the first one."""
    pairs = [one if isinstance(one, tuple) else (one, one) for one in options]
    chosen = value if any(value == one for _, one in pairs) else None
    first = chosen if chosen is not None else (pairs[0][1] if pairs else None)
    return widgets.Dropdown(options=pairs, value=first, description=label)


def set_options(field: widgets.Dropdown, options: Sequence[Option | str]) -> None:
    """Give a list other entries; the chosen one stays where it is still among them."""
    pairs = [one if isinstance(one, tuple) else (one, one) for one in options]
    before = field.value
    if list(field.options) == pairs:
        return
    field.options = pairs
    if any(before == one for _, one in pairs):
        field.value = before


def tick(label: str, value: bool = False) -> widgets.Checkbox:
    """Make a box to be ticked."""
    return widgets.Checkbox(value=value, description=label, indent=False)


def day_field(label: str, value: date | None = None) -> widgets.DatePicker:
    """Make a field for a day; it may stay blank."""
    return widgets.DatePicker(description=label, value=value)


def number_of(field: widgets.Text, *, must: bool = False) -> float | None:
    """Return the number in a text field, None where it is blank.

    Raises
    ------
    RcaError
        It is no number, or it is blank and must not be.
    """
    text = field.value.strip().replace("\u2212", "-")
    if not text:
        if must:
            raise RcaError(f"{field.description!r} is blank", next_step="write a number")
        return None
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text):
        whole, _, rest = text.partition(",")
        step = f"write {whole}{rest} or {whole}.{rest}"
        raise RcaError(f"{field.description!r}: {text!r} can mean two numbers", next_step=step)
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        step = "write it with figures and a decimal point, without a unit"
        raise RcaError(f"{field.description!r}: {text!r} is no number", next_step=step)
    return number


class Ticks:
    """Several boxes under one label; `value` gives what is ticked."""

    def __init__(self, label: str) -> None:
        self.label = words(f"<p class='group-label'>{html.escape(label)}</p>")
        self.boxes: dict[Any, widgets.Checkbox] = {}
        self._held = widgets.VBox([])
        self.widget = widgets.VBox([self.label, self._held])
        self.widget.add_class("rca-ticks")

    def offer(self, options: Sequence[Option]) -> None:
        """Offer these boxes; those that stay keep their tick."""
        before = self.boxes
        self.boxes = {key: tick(text) for text, key in options}
        for key, box in self.boxes.items():
            box.value = key in before and before[key].value
        none = words("<p class='small'>there is nothing to tick yet</p>")
        self._held.children = tuple(self.boxes.values()) or (none,)

    @property
    def value(self) -> list[Any]:
        """Keys of the ticked boxes."""
        return [key for key, box in self.boxes.items() if box.value]

    def clear(self) -> None:
        """Take every tick away."""
        for box in self.boxes.values():
            box.value = False


class Messages:
    """A line beside some buttons that says what they did, or why they did not."""

    def __init__(self) -> None:
        self.widget = words()
        self.widget.add_class("rca-message")
        self.text = ""

    def say(self, text: str) -> None:
        """Say that something was done, "" for nothing at all."""
        self._show("", text)

    def fail(self, error: Exception) -> None:
        """Say what went wrong and what can be done."""
        if isinstance(error, RcaError):
            self._show("Not done: ", str(error))
            return
        kind = type(error).__name__
        said = f"this should not happen, it is a fault of the kit ({kind}: {error}); report it"
        place = "".join(traceback.format_exception(error))
        self._show("Not done: ", said, more=place)

    def _show(self, lead: str, text: str, *, more: str = "") -> None:
        self.text = lead + text
        if not self.text:
            self.widget.value = ""
            return
        role, kind = ("alert", "failed") if lead else ("status", "done")
        lines = "<br>".join(html.escape(line) for line in text.splitlines())
        details = f"<details><summary>Where</summary><pre>{html.escape(more)}</pre></details>"
        self.widget.value = (
            f"<div role='{role}' class='{kind}'>{f'<b>{lead}</b>' if lead else ''}{lines}"
            f"{details if more else ''}</div>"
        )


def guarded(action: Callable[[], str | None], messages: Messages) -> Callable[..., None]:
    """Return a callback that runs an action and shows its answer, or its error in words."""

    def run(*_: Any) -> None:
        messages.say(WORKING)
        try:
            messages.say(action() or "")
        except Exception as error:  # JupyterLab would show none of them
            messages.fail(error)

    return run


def button(
    label: str, action: Callable[[], str | None], messages: Messages, *, main: bool = False
) -> widgets.Button:
    """Make a button; what its action returns, or its error, is shown by `messages`."""
    held = widgets.Button(description=label, button_style="primary" if main else "")
    held.on_click(guarded(action, messages))
    return held


def on_change(field: widgets.Widget, action: Callable[[], None], messages: Messages) -> None:
    """Run an action when a field's value changes; an error is shown in words."""

    def run(_: Any) -> None:
        try:
            action()
        except Exception as error:  # JupyterLab would show none of them
            messages.fail(error)

    field.observe(run, names="value")


def show_figures(area: widgets.Output, figures: Sequence[go.Figure]) -> None:
    """Show figures, each followed by the same in words for those who cannot see it."""
    area.outputs = tuple(bundle for figure in figures for bundle in _bundles(figure))


def _bundles(figure: go.Figure) -> list[dict[str, Any]]:
    alt = str((figure.layout.meta or {}).get("alt", ""))
    lines = "<br>".join(html.escape(line) for line in alt.splitlines())
    said = f"<details class='in-words'><summary>The figure in words</summary>{lines}</details>"
    title = html.escape(str(figure.layout.title.text or "figure"))
    return [
        _bundle({"application/vnd.plotly.v1+json": json.loads(figure.to_json()),
                 "text/plain": title}),
        *([_bundle({"text/html": said, "text/plain": alt})] if alt else []),
    ]  # fmt: skip


def show_html(area: widgets.Output, markup: str) -> None:
    """Show HTML whose links lead to files beside the notebook."""
    area.outputs = (_bundle({"text/html": markup, "text/plain": markup}),)


def _bundle(data: dict[str, Any]) -> dict[str, Any]:
    return {"output_type": "display_data", "data": data, "metadata": {}}
