"""The class exercise as a form: look, buy clues, reason, repair, judge; saved at every step."""

from collections.abc import Iterator
from pathlib import Path

import ipywidgets as widgets

from rca.causes.case.investigation import Investigation
from rca.errors import RcaError
from rca.records import files
from rca.show.exercise.case_file import FILE, CaseFile, read_case
from rca.show.exercise.case_sheet import SEAL_NOTE
from rca.show.exercise.play import Play, open_play
from rca.show.figures.class_exercise import months_figure
from rca.show.forms import exercise_text
from rca.show.forms.case_html import cautions_html
from rca.show.forms.exercise_panels import Evidence, Questions, Shop
from rca.show.forms.exercise_turns import RepairChoice, VerdictGiven
from rca.show.forms.fields import (
    Messages,
    button,
    choice,
    form,
    guarded,
    note,
    row,
    section,
    set_options,
    show_figures,
    words,
)
from rca.show.forms.investigation import InvestigationForm
from rca.show.forms.part_study import PartStudyForm
from rca.show.forms.tables import paragraph
from rca.show.workbook import find_folder

READY_CASE = "data_demo/exercise/case"


class ExerciseForm:
    """The form of `workbooks/class_exercise.ipynb`; `widget` is what the notebook shows.

    Parameters
    ----------
    case_folder
        The student's folder; "" for the one in which the workbook lies, or, where it holds no
        case, a copy of the one that comes with the kit.
    try_folder
        Where that copy is made, and found again.
    """

    def __init__(self, case_folder: str = "", *, try_folder: str = "../exercise_case") -> None:
        self.folder, self.ready = _place_of(case_folder), Path()
        if not case_folder and not (self.folder / FILE).is_file():
            self.folder, self.ready = Path(try_folder), find_folder(READY_CASE)
        own = (self.folder / FILE).is_file()
        self.case: CaseFile = read_case(self.folder if own or not self.ready.name else self.ready)
        self._play: Play | None = None
        self.form_of_causes: InvestigationForm | None = None
        self.study: PartStudyForm | None = None
        self.open_messages, self.study_messages = Messages(), Messages()
        self.body = widgets.VBox([])
        self.widget = form(*self._sections())
        if own:
            guarded(self.open, self.open_messages)()

    @property
    def play(self) -> Play:
        """The case as it is worked on.

        Raises
        ------
        RcaError
            It is not open yet.
        """
        if self._play is None:
            raise RcaError("the case is not open yet", next_step="open it with the button above")
        return self._play

    @property
    def investigation(self) -> Investigation | None:
        """The student's investigation, None while it is not open."""
        held = self.form_of_causes
        return held.case if held is not None and held.draft is not None else None

    def __str__(self) -> str:
        case = self.case
        return (
            f"Case {case.code}: {len(case.clues)} clues of {len(case.groups)} kinds, "
            f"{len(case.candidates)} causes to choose from, {case.budget} {case.currency} to "
            f"spend, {case.rounds} rounds"
        )

    # What the buttons do; each returns what to say.

    def open(self) -> str:
        """Open the case, or a copy of the one that comes with the kit, and go on where it was."""
        if not (self.folder / FILE).is_file():
            files.copy_folder(self.ready, self.folder)
        play = open_play(self.folder)
        before = len(play.steps) > 1
        self._play = play
        self.form_of_causes = InvestigationForm(
            str(play.investigation), fleet_folder=str(play.fleet), at_once=True
        )
        self._make_body()
        self.refresh()
        return "You go on where you stopped." if before else "Open. Begin with what you are told."

    def study_records(self) -> str:
        """Show the study of the part in the chosen records."""
        self.study = PartStudyForm(
            self.records.value, part=self.case.part, export_folder=str(self.folder / "exports")
        )
        self.study_box.children = (self.study.widget,)
        return "Below: the part in these records. Other parts can be chosen too."

    def refresh(self) -> None:
        """Show the work as it stands now."""
        play = self.play
        self.state.value = exercise_text.state_html(play)
        for panel in (self.shop, self.evidence, self.repair, self.verdict):
            panel.refresh()
        rounds = range(1, len(play.repairs_made) + 1)
        later = [
            (f"the {self.case.part}, after the repair of round {number}",
             str(play.after(number).records))
            for number in rounds
        ]  # fmt: skip
        set_options(self.records, [("all repairs up to the cut-off", str(play.fleet)), *later])
        self._show_after(len(rounds))

    def read_investigation(self) -> None:
        """Read the investigation file after something was written into it."""
        assert self.form_of_causes is not None
        self.form_of_causes.read_again()
        self.refresh()

    # How it is done.

    def _sections(self) -> Iterator[widgets.Widget]:
        said = note("Everything is saved as you go. You can stop at any time: run all cells again, "
                    "and you go on where you stopped.")  # fmt: skip
        if self.ready.name and not (self.folder / FILE).is_file():
            said = note(
                "This is the case that comes with the kit; all its data are invented. A copy to "
                f"work on is made in the folder {self.folder}."
            )
        yield section(
            f"Case {self.case.code}: {self.case.title}", said,
            button("Open the case", self.open, self.open_messages, main=True),
            self.open_messages.widget,
        )  # fmt: skip
        yield self.body

    def _make_body(self) -> None:
        play = self.play
        self.state, self.after_words = words(), words()
        self.after_area = widgets.Output()
        self.records = choice("Records", [("all repairs up to the cut-off", str(play.fleet))])
        self.study_box = widgets.VBox([])
        self.answers = {stage: Questions(self, stage) for stage in STAGES}
        self.shop, self.evidence = Shop(self), Evidence(self)
        self.repair, self.verdict = RepairChoice(self), VerdictGiven(self)
        self.after_head = words()
        self.body.children = tuple(self._body())

    def _body(self) -> Iterator[widgets.Widget]:
        assert self.form_of_causes is not None
        told = words(exercise_text.story_html(self.case))
        history = words(exercise_text.result_html(self.play.history()))
        yield self.state
        yield section("1. What you are told", told, history)
        yield section(
            "2. The records",
            note("The repairs, units and meter readings of this operator, studied by the kit."),
            row(self.records),
            button("Study these records", self.study_records, self.study_messages, main=True),
            self.study_messages.widget, self.study_box,
        )  # fmt: skip
        yield section("3. What the records say", self.answers["records"].widget)
        yield section(
            "4. Clues", words(cautions_html()), self.shop.widget,
            words(f"<details><summary>How well the clues are sealed</summary>"
                  f"{paragraph(SEAL_NOTE)}</details>"),
        )  # fmt: skip
        yield section(
            "5. Causes and evidence",
            note("Begin below with The problem: what was seen. Then ask why, and why again, until "
                 "you are at a cause upstream of the part. Every change is saved."),
            self.evidence.widget, self.form_of_causes.widget,
        )  # fmt: skip
        yield section("6. The cause that you name", self.answers["cause"].widget)
        yield section("7. How you will know that it worked", self.answers["plan"].widget)
        yield section("8. Have it repaired", self.repair.widget)
        yield section(
            "9. The months after, and your verdict", self.after_head, self.after_words,
            self.after_area, self.answers["after"].widget, self.verdict.widget,
        )  # fmt: skip
        yield section("10. Go on, or finish", self.verdict.end)

    def _show_after(self, rounds: int) -> None:
        if not rounds:
            self.after_head.value = paragraph("Nothing was repaired yet.")
            return
        after = self.play.after(rounds)
        done = self.case.repair(after.repair).does
        self.after_head.value = paragraph(
            f"Round {rounds}, {done}: {after.units} units from {after.applied_on}, seen until "
            f"{after.seen_until}. Its records can be studied in section 2."
        )
        self.after_words.value = exercise_text.after_html(after)
        show_figures(self.after_area, [months_figure(after.months, part=self.case.part)])


STAGES = ("records", "cause", "plan", "after")


def _place_of(case_folder: str) -> Path:
    return find_folder(case_folder) if case_folder else Path()
