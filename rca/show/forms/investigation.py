"""The cause investigation as a form: whys, evidence, AND / OR, moves, undo; saved with care."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.editing import new_investigation
from rca.causes.case.investigation import Investigation
from rca.errors import Changed, NotWritten, RcaError
from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import build_lives
from rca.show.figures.cause_diagram import cause_diagram
from rca.show.forms.bench_test_panel import BenchTest
from rca.show.forms.case_html import (
    cautions_html,
    chain_html,
    changed_links,
    evidence_html,
    next_test_html,
    review_html,
)
from rca.show.forms.cause_panels import AddWhy, AndOr, Move, Wording
from rca.show.forms.claim_panel import OnRecords
from rca.show.forms.fields import (
    Messages,
    button,
    choice,
    form,
    guarded,
    note,
    on_change,
    row,
    section,
    show_figures,
    text_field,
    words,
)
from rca.show.forms.measure_panel import Measure
from rca.show.forms.panels import Panel
from rca.show.forms.problem_panel import ProblemPanel
from rca.show.sheets.draft import Draft
from rca.show.workbook import find_folder

PANELS: tuple[type[Panel], ...] = (
    AddWhy, AndOr, Move, Wording, Measure, OnRecords, BenchTest, ProblemPanel
)  # fmt: skip

DIAGRAM_WIDTH = 790  # fits beside the list of files on a screen of 1280 pixels


class InvestigationForm:
    """The form of `workbooks/investigation.ipynb`; `widget` is what the notebook shows.

    Parameters
    ----------
    investigation
        The file to begin with: a path, or a name in the fleet's `investigations` folder.
    fleet_folder
        The records that claims refer to; "" for a single case without records.
    at_once
        The file is the given one, no other can be chosen, and each change is saved at once.
    """

    def __init__(
        self, investigation: str = "", *, fleet_folder: str = "", at_once: bool = False
    ) -> None:
        self.at_once = at_once
        self.draft: Draft | None = None
        self.assessment: Assessment | None = None
        self.panels: dict[str, Panel] = {}
        self.fleet: Fleet | None = None
        self._lives: pd.DataFrame | None = None
        self.folder = Path()
        if fleet_folder:
            folder = find_folder(fleet_folder)
            self.fleet = read_fleet(folder)
            self._lives = build_lives(self.fleet).rows
            self.folder = folder / "investigations"
        self._make_fields(investigation)
        self.widget = form(*self._sections())
        if investigation:
            guarded(self.open, self.file_messages)()

    @property
    def case(self) -> Investigation:
        """The case as it stands.

        Raises
        ------
        RcaError
            No file is open.
        """
        return self._open_draft().case

    def _make_fields(self, investigation: str) -> None:
        self.file_messages, self.messages, self.save_messages = Messages(), Messages(), Messages()
        given = Path(investigation)
        known = self.folder / given.name
        path = given if given.is_file() or not self.fleet else known
        self.path = text_field("File", str(path) if investigation else "")
        names = sorted(p.name for p in self.folder.glob("*.yaml")) if self.fleet else []
        self.listed = choice("Investigations of this fleet", [("choose …", ""), *names])
        on_change(self.listed, self._take_listed, self.file_messages)
        self.new_name = text_field("Short name", hint="letters, digits and -")
        self.new_part = text_field("Part")
        self.new_statement = text_field("What was seen, with a number and no cause in it")
        self.state = words()
        self.conflict, self.left_over = widgets.VBox([]), widgets.VBox([])
        self.chain, self.evidence, self.next_test, self.review = words(), words(), words(), words()
        self.diagram = widgets.Output()
        self.panel_choice = widgets.ToggleButtons(
            options=[kind.title for kind in PANELS], description="What do you want to do?"
        )
        on_change(self.panel_choice, self._show_panel, self.messages)
        self.panel_box = widgets.VBox([])
        self.body = widgets.VBox([])

    def _sections(self) -> Iterator[widgets.Widget]:
        if self.at_once:
            yield widgets.VBox([self.file_messages.widget, self.left_over])
            yield self.body
            return
        new = widgets.VBox([
            note("Or begin a new one:"),
            row(self.new_name, self.new_part, self.new_statement),
            button("Begin a new investigation", self.begin, self.file_messages),
        ])  # fmt: skip
        yield section(
            "The investigation",
            row(self.listed, self.path),
            button("Open", self.open, self.file_messages, main=True),
            new, self.file_messages.widget, self.left_over,
        )  # fmt: skip
        yield self.body

    def _body(self) -> Iterator[widgets.Widget]:
        """Everything below the choice of the file, once one is open."""
        undo = button("Undo the last change", self.undo, self.messages)
        save = button("Save", self.save, self.messages, main=True)
        again = button("Read the file again", self.read_again, self.messages)
        bar = row(undo, again) if self.at_once else row(undo, save, again)
        edit = widgets.VBox(
            [self.state, bar, self.messages.widget, self.conflict, self.panel_choice,
             self.panel_box, self.next_test]
        )  # fmt: skip
        edit.add_class("rca-pane")
        now = widgets.VBox([self.chain, self.review])
        now.add_class("rca-pane")
        if not self.at_once:  # else it stands in another form, with the cautions at its head
            yield words(cautions_html())
        panes = row(edit, now)
        panes.add_class("rca-panes")
        yield panes
        yield section("Cause-effect diagram", self.diagram)
        yield section("Evidence", self.evidence)

    # What the buttons do; each returns what to say.

    def open(self) -> str:
        """Open the file that is named."""
        if not self.path.value.strip():
            raise RcaError("no file is named", next_step="choose one, or begin a new one")
        self._take(Draft.open(Path(self.path.value.strip())))
        return f"{self.case}"

    def begin(self) -> str:
        """Write a new investigation file and open it."""
        name, statement = self.new_name.value.strip(), self.new_statement.value.strip()
        if not name or not statement:
            step = "give a short name, and say what was seen"
            raise RcaError("a new investigation needs both", next_step=step)
        path = self.folder / f"{name}.yaml"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            said = f"{self.folder} cannot be made: {error.strerror}"
            raise NotWritten(said, next_step="check that it may be written to") from error
        text = new_investigation(name, statement, part=self.new_part.value.strip())
        self._take(Draft.new(path, text))
        self.path.value = str(path)
        return f"{path} is written. Now ask: why did this happen?"

    def change(self, label: str, change: Callable[[Any], Any]) -> str:
        """Make a change and say what it did to the links."""
        draft = self._open_draft()
        before, text = self.assessment, draft.text
        draft.change(label, change)
        if draft.text == text:
            return "Nothing was changed."
        self._save_at_once()
        self._refresh()
        assert self.assessment is not None
        return "\n".join(["Done.", *changed_links(before, self.assessment)])

    def undo(self) -> str:
        """Take the last change back."""
        label = self._open_draft().undo()
        self._save_at_once()
        self._refresh()
        return f"Taken back: {label}."

    def save(self) -> str:
        """Save the file, unless somebody else changed it meanwhile."""
        draft = self._open_draft()
        try:
            draft.save()
        except Changed:
            self._show_conflict()
            raise
        self.conflict.children = ()
        self._show_state()
        return f"{draft.path} is saved."

    def put_on_top(self) -> str:
        """Put the unsaved changes on top of what somebody else saved."""
        labels = self._open_draft().put_on_top()
        self._save_at_once()
        self.conflict.children = ()
        self._refresh()
        return f"Made again on the file as it is now: {'; '.join(labels)}. Look, then save."

    def keep_beside(self) -> str:
        """Write the unsaved text beside the file."""
        return f"Yours is kept in {self._open_draft().keep_beside()}."

    def read_again(self) -> str:
        """Read the file again, dropping what is not saved."""
        draft = self._open_draft()
        dropped = draft.unsaved
        draft.read_again()
        self.conflict.children = ()
        self._refresh()
        said = f" Dropped: {'; '.join(dropped)}." if dropped else ""
        return f"{draft.path} is read again.{said}"

    def take_up(self) -> str:
        """Go on with unsaved changes of an earlier time."""
        self._open_draft().take_up()
        self.left_over.children = ()
        self._save_at_once()
        self._refresh()
        return f"The unsaved changes are taken up; {'' if self.at_once else 'not '}saved."

    def drop_left_over(self) -> str:
        """Drop unsaved changes of an earlier time."""
        self._open_draft().forget_left_over()
        self.left_over.children = ()
        return "The unsaved changes of the earlier time are dropped."

    def __str__(self) -> str:
        return str(self.assessment) if self.assessment is not None else "no file is open"

    # How it is done.

    def _open_draft(self) -> Draft:
        if self.draft is None:
            raise RcaError("no file is open", next_step="open one, or begin a new one")
        return self.draft

    def _save_at_once(self) -> None:
        """Save, where that is not left to the person; what somebody else saved stays."""
        if self.at_once:
            try:
                self._open_draft().save()
            except Changed:
                self._show_conflict()
                raise

    def _take_listed(self) -> None:
        if self.listed.value:
            self.path.value = str(self.folder / self.listed.value)

    def _take(self, draft: Draft) -> None:
        self.draft, self.panels = draft, {}
        self.conflict.children, self.messages.widget.value = (), ""
        self._refresh()
        if not self.body.children:
            self.body.children = tuple(self._body())
        self._show_panel()
        self.left_over.children = self._left_over_fields() if draft.has_left_over else ()

    def _left_over_fields(self) -> tuple[widgets.Widget, ...]:
        said = note("Changes to this file were made earlier and never saved.")
        return (
            said,
            row(button("Go on with them", self.take_up, self.file_messages),
                button("Drop them", self.drop_left_over, self.file_messages)),
        )  # fmt: skip

    def _show_conflict(self) -> None:
        said = note("The file was changed by someone else. What do you want to do?")
        self.conflict.children = (
            said,
            row(button("Put my changes on top of it", self.put_on_top, self.messages),
                button("Keep mine beside it", self.keep_beside, self.messages)),
        )  # fmt: skip

    def _show_panel(self) -> None:
        title = self.panel_choice.value
        if title not in self.panels:
            kind = next(one for one in PANELS if one.title == title)
            self.panels[title] = kind(self)
        self.panel_box.children = (self.panels[title].widget,)

    def _refresh(self) -> None:
        case = self.case
        self.assessment = assess(case, fleet=self.fleet, lives=self._lives)
        self._show_state()
        self.chain.value = chain_html(self.assessment)
        self.evidence.value = evidence_html(self.assessment)
        self.next_test.value = next_test_html(self.assessment)
        self.review.value = review_html(self.assessment)
        picture = cause_diagram(case, support=self.assessment.support, width=DIAGRAM_WIDTH)
        show_figures(self.diagram, [picture])
        for panel in self.panels.values():
            panel.refresh()

    def _show_state(self) -> None:
        draft = self._open_draft()
        unsaved = draft.unsaved
        said = f"Not saved: {'; '.join(unsaved)}." if unsaved else "Everything is saved."
        self.state.value = note(f"{draft.path.name}. {said}").value
