"""The import as a form: point at an export, answer what it does not say, get a fleet and a page."""

import html
import shlex
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from rca.errors import NotWritten, RcaError, Refused
from rca.records import files
from rca.records.importing import (
    Proposal,
    Question,
    propose,
    read_answers,
    write_fleet_folder,
)
from rca.records.importing.further_files import files_of_repairs
from rca.show.forms import proposal_text
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
    set_options,
    show_html,
    text_field,
    words,
)
from rca.show.forms.questions import CHOOSE, Card
from rca.show.page import first_page
from rca.show.running.report import Report, write_report
from rca.show.workbook import find_folder

ENDINGS = (*files.TABLE_ENDINGS, ".txt", ".tsv")
NONE = ("none", "")
FURTHER = {"repairs 2": "Second file of repairs, if there is one",
           "repairs 3": "Third file of repairs, if there is one",
           "units": "List of units, if there is one", "readings": "Meter readings, if apart",
           "parts": "List of parts, if there is one"}  # fmt: skip


class ImportForm:
    """The form of `workbooks/import_records.ipynb`; `widget` is what the notebook shows.

    Parameters
    ----------
    file
        The export to begin with, "" for none; it is looked at once the form is made.
    out_folder
        Where the fleet folder is to be written; answers are kept beside it, so that the work
        goes on where it was left.
    report_folder
        Where the first report is to be written.
    """

    def __init__(self, file: str = "", *, out_folder: str, report_folder: str) -> None:
        self.proposal: Proposal | None = None
        self.report: Report | None = None
        self.cards: dict[str, Card] = {}
        self.merges: dict[str, Card] = {}
        self.changed: Card | None = None
        start = find_file(file) if file else Path()
        self._make_fields(start.parent if file else Path(), out_folder, report_folder)
        self.widget = form(*self._sections())
        self._list_files()
        if file:
            self.file.value = str(start)
            guarded(self.look, self.look_messages)()

    def _make_fields(self, folder: Path, out: str, reports: str) -> None:
        self.look_messages, self.answer_messages = Messages(), Messages()
        self.change_messages, self.write_messages = Messages(), Messages()
        self.page_messages, self.merge_messages = Messages(), Messages()
        self.folder = text_field("Folder of your files", str(folder))
        self.file = choice("Export of the repairs", [NONE])
        self.further = {name: choice(label, [NONE]) for name, label in FURTHER.items()}
        on_change(self.folder, self._list_files, self.look_messages)
        self.proposed, self.faults, self.answerable = words(), words(), words()
        self.open_cards, self.merge_cards = widgets.VBox([]), widgets.VBox([])
        self.open_head = words()
        self.change_what = choice("What do you want to change?", [CHOOSE])
        self.change_card = widgets.VBox([])
        on_change(self.change_what, self._show_change, self.change_messages)
        self.out = text_field("Folder for the fleet", out)
        self.reports = text_field("Folder for reports", reports)
        self.page, self.link = words(), widgets.Output()

    def _sections(self) -> Iterator[widgets.Widget]:
        yield section(
            "1. Your file",
            note("Drag your export into the list of files at the left of this window, or name the "
                 "folder in which it lies. CSV, Excel (.xlsx) and Parquet files are read."),
            row(self.folder, self.file),
            row(*self.further.values()),
            row(button("Look at the file", self.look, self.look_messages, main=True),
                button("List the files again", self.list_again, self.look_messages)),
            self.look_messages.widget,
        )  # fmt: skip
        yield section("2. What the file seems to be", self.proposed)
        yield section(
            "3. What only you can say", self.open_head, self.open_cards,
            row(button("Fill in what is proposed", self.take_proposals, self.answer_messages),
                button("Use these answers", self.use_answers, self.answer_messages, main=True)),
            self.answer_messages.widget,
        )  # fmt: skip
        yield section(
            "4. Spellings that may be one name",
            self.merge_cards,
            row(button("Merge what is ticked", self.merge, self.merge_messages)),
            self.merge_messages.widget,
        )
        yield section(
            "5. Change something else",
            note("Everything that was proposed or answered can be changed here."),
            row(self.change_what), self.change_card,
            button("Use this change", self.use_change, self.change_messages),
            self.change_messages.widget,
        )  # fmt: skip
        yield section("6. Faults found", self.faults)
        yield section("7. What these records can answer", self.answerable)
        yield section(
            "8. Write the fleet folder",
            note("It holds a copy of your files and a fleet.yaml that repeats this import without "
                 "questions. A folder that exists is never changed."),
            row(self.out),
            button("Write the fleet folder", self.write, self.write_messages, main=True),
            self.write_messages.widget,
        )  # fmt: skip
        yield section(
            "9. The first page",
            row(self.reports),
            button("Make the first page", self.make_page, self.page_messages, main=True),
            self.page_messages.widget, self.link, self.page,
        )  # fmt: skip

    # What the buttons do; each returns what to say.

    def look(self) -> str:
        """Look at the file with the answers that are kept for it."""
        if not self.file.value:
            raise RcaError("no file is chosen", next_step="choose one in the list above")
        paths = {"repairs": Path(self.file.value)}
        paths |= {name: Path(one.value) for name, one in self.further.items() if one.value}
        place = self._answers_file(paths["repairs"])
        kept = read_answers(place) if place.is_file() else {}
        dropped = self._propose(paths, kept)
        self._show()
        rows = sum(one.rows for one in files_of_repairs(self._looked_at().tables))
        taken_up = f" {len(kept)} answers of an earlier time were taken up." if kept else ""
        name = paths["repairs"].name
        return f"{name}: {rows} rows.{taken_up}{dropped} {self._state()}"

    def list_again(self) -> str:
        """List the files anew, those that were dragged in meanwhile too."""
        self._list_files()
        return f"{len(self.file.options) - 1} files can be chosen."

    def take_proposals(self) -> str:
        """Fill in what is proposed; nothing is used yet."""
        for card in self.cards.values():
            card.take_proposal()
        return "Filled in where something is proposed. Look it over, then use these answers."

    def use_answers(self) -> str:
        """Use everything that is filled in, and show what is still open."""
        answers = {name: card.answer for name, card in self.cards.items()}
        known = {name: answer for name, answer in answers.items() if answer is not None}
        return f"{self._use(known)}{self._state()}"

    def merge(self) -> str:
        """Take the ticked spellings for the names beside them."""
        if not self.merges:
            raise RcaError("there is nothing to merge", next_step="go on with the next section")
        answers = {name: card.answer for name, card in self.merges.items()}
        count = sum(len(answer) for answer in answers.values() if isinstance(answer, dict))
        said = self._use(answers)
        return f"{said}{count} spellings are merged. {self._state()}"

    def use_change(self) -> str:
        """Use the one changed answer."""
        if self.changed is None or self.changed.answer is None:
            raise RcaError("nothing is changed yet", next_step="choose what to change above")
        said = self._use({self.changed.question.id: self.changed.answer})
        return f"{said}Changed. {self._state()}"

    def write(self) -> str:
        """Write the fleet folder."""
        proposal = self._looked_at()
        done = write_fleet_folder(proposal, Path(self.out.value))
        repairs = files_of_repairs(proposal.tables)
        beside = {
            f"--{name}": one.path for name, one in proposal.tables.items() if one not in repairs
        }
        beside |= {"--out": done.folder, "--answers": self._answers_file(proposal.path)}
        words_ = [
            *(str(one.path) for one in repairs),
            *(str(one) for pair in beside.items() for one in pair),
        ]
        command = shlex.join(["rca", "import", *words_])
        return f"{done.folder} is written: {done.fleet}. The same from the command line: {command}"

    def make_page(self) -> str:
        """Make the first report of the fleet folder and show its first page."""
        folder = Path(self.out.value)
        if not folder.is_dir():
            raise RcaError(f"{folder} is not there yet", next_step="write the fleet folder first")
        self.report = write_report(folder, out=Path(self.reports.value))
        place = Path(self.reports.value) / self.report.folder.name / "report.html"
        self.page.value = first_page(self.report.summary).html
        shown = html.escape(place.as_posix())
        show_html(self.link, f'<p>The whole report: <a href="{shown}">{shown}</a></p>')
        return f"The report is in {place.parent}."

    def __str__(self) -> str:
        if self.proposal is None:
            return "no file was looked at"
        rows = sum(one.rows for one in files_of_repairs(self.proposal.tables))
        return (
            f"{self.proposal.path.name}: {rows} rows, "
            f"{len(self.proposal.tables['repairs'].columns)} columns matched, "
            f"{len(self.proposal.open)} open questions"
        )

    # How it is done.

    def _list_files(self) -> None:
        """Offer the files of the folder, and those that lie beside the workbook."""
        folder = Path(self.folder.value or ".")
        found = [folder / name for name in proposal_text.file_names(folder, ENDINGS)]
        options = [(path.name, str(path)) for path in found]
        here = Path()
        if folder.resolve() != here.resolve():
            beside = proposal_text.file_names(here, ENDINGS)
            options += [(f"{name} (beside this workbook)", name) for name in beside]
        for field in (self.file, *self.further.values()):
            set_options(field, [NONE, *options])

    def _propose(self, paths: Mapping[str, Path], answers: Mapping[str, Any]) -> str:
        """Propose with all answers at once; say which of them are no longer asked."""
        try:
            self.proposal = _proposal(paths, answers)
        except Refused as refused:
            stale = {one.column for one in refused.problems if one.file == "answers"}
            if not stale:
                raise
            left = {name: answer for name, answer in answers.items() if name not in stale}
            self.proposal = _proposal(paths, left)
            return f" Answers that are no longer asked were dropped: {', '.join(sorted(stale))}."
        return ""

    def _use(self, given: Mapping[str, Any]) -> str:
        """Take further answers, keep them all in their file, and show what follows."""
        before = self._looked_at()
        paths = {name: one.path for name, one in before.tables.items()}
        dropped = self._propose(paths, {**before.answers, **given})
        place = self._answers_file(before.path)
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            said = f"{place.parent} cannot be made: {error.strerror}"
            raise NotWritten(said, next_step="name another folder for the fleet") from error
        files.write_yaml(place, dict(self._looked_at().answers))
        self._show()
        return f"{dropped.strip()} " if dropped else ""

    def _answers_file(self, path: Path) -> Path:
        """Answers are kept beside the fleet folder, by the name of the file that they are for."""
        return Path(self.out.value).parent / f"{path.name}.answers.yaml"

    def _looked_at(self) -> Proposal:
        if self.proposal is None:
            raise RcaError("no file was looked at yet", next_step="begin with 1. Your file")
        return self.proposal

    def _state(self) -> str:
        count = len(self._looked_at().open)
        if count:
            return "1 question is open." if count == 1 else f"{count} questions are open."
        if self._looked_at().problems:
            return "Nothing is open, but the file cannot be read so; see below."
        return "Nothing is open: the fleet folder can be written."

    def _show(self) -> None:
        proposal = self._looked_at()
        merges = [q for q in proposal.questions if q.kind == "merge"]
        self.cards = {q.id: _card(proposal, q) for q in proposal.open}
        self.merges = {q.id: _card(proposal, q) for q in merges}
        none = note("No two spellings look like one name.")
        self.open_cards.children = tuple(card.widget for card in self.cards.values())
        self.merge_cards.children = tuple(c.widget for c in self.merges.values()) or (none,)
        self.open_head.value = f"<p>{self._state()}</p>{proposal_text.problems_text(proposal)}"
        self.proposed.value = proposal_text.proposed_tables(proposal)
        self.faults.value = proposal_text.faults_table(proposal)
        self.answerable.value = proposal_text.answerable_table(proposal)
        shown = {*self.cards, *self.merges}
        others = [q for q in proposal.questions if q.id not in shown]
        self.change_what.value = ""
        set_options(self.change_what, [CHOOSE, *((_in_short(proposal, q), q.id) for q in others)])
        self._show_change()

    def _show_change(self) -> None:
        self.changed = None
        if self.proposal is None or not self.change_what.value:
            self.change_card.children = ()
            return
        self.changed = _card(self.proposal, self.proposal.question(self.change_what.value))
        self.change_card.children = (self.changed.widget,)


def find_file(file: str) -> Path:
    """Return a file as named, or beside the workbooks where it is not found from here."""
    given = Path(file)
    return given if given.is_file() else find_folder(str(given.parent)) / given.name


def _proposal(paths: Mapping[str, Path], answers: Mapping[str, Any]) -> Proposal:
    return propose(
        paths["repairs"],
        further=[path for name, path in paths.items() if name.startswith("repairs ")],
        units=paths.get("units"),
        readings=paths.get("readings"),
        parts=paths.get("parts"),
        answers=answers,
    )


def _card(proposal: Proposal, question: Question) -> Card:
    return Card(question, proposal.answers.get(question.id))


def _in_short(proposal: Proposal, question: Question) -> str:
    """Name a question with what holds now."""
    table, _, ours = question.id.rpartition("columns.")
    if table or question.id.startswith("columns."):
        one = proposal.tables[table.rstrip(".") or "repairs"]
        held = one.columns.get(ours, "none is used")
    else:
        meaning = question.meaning(proposal.answers.get(question.id))
        held = meaning if isinstance(meaning, str) else ""
    about = question.id.split(".")[0]
    lead = f"{about}: " if about in FURTHER else ""
    return f"{lead}{question.text} {held}".strip()
