"""The study of one part as a form: choose part, mode, scale, units and period; see and export."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import ipywidgets as widgets
import pandas as pd
import plotly.graph_objects as go

from rca.causes.counts.parts import modes_of
from rca.causes.findings import Findings, open_findings
from rca.causes.selection import PartStudy, Selection, groups_of, study_selection
from rca.errors import NotWritten, RcaError
from rca.records import files
from rca.show import workbook
from rca.show.figures import fixes as fix_figures
from rca.show.figures import plots as figures
from rca.show.figures.data import figure_data, lives_table
from rca.show.forms.fields import (
    Messages,
    button,
    choice,
    day_field,
    form,
    guarded,
    on_change,
    row,
    section,
    set_options,
    show_figures,
    text_field,
    words,
)
from rca.show.forms.study_ahead import outlooks_text
from rca.show.forms.study_text import fixes_text, study_text
from rca.show.forms.tables import table

ALL = "all failure modes"
SHOWN_LIVES = 100
NOT_SHOWN = ("file", "age at begin", "meter estimated", "part renewed", "begun by", "cause")
"""Columns that stand in the export only, so that the table fits on a screen."""


class PartStudyForm:
    """The form of `workbooks/part_study.ipynb`; `widget` is what the notebook shows.

    Parameters
    ----------
    fleet_folder
        The records; a relative folder is looked for beside the workbooks too.
    month
        YYYY-MM up to which records count; "" for the last complete month.
    part
        The part to begin with; "" for the one that matters most.
    export_folder
        Where exports are written.
    """

    def __init__(
        self,
        fleet_folder: str,
        *,
        month: str = "",
        part: str = "",
        export_folder: str = "exports",
        seed: int = 0,
    ) -> None:
        self.folder = workbook.find_folder(fleet_folder)
        self.findings: Findings = open_findings(self.folder, month=month or None, seed=seed)
        self.study: PartStudy | None = None
        self.figures: dict[str, go.Figure] = {}
        if not self.findings.whole_parts:
            step = "look at rca check: it says what is missing"
            raise RcaError("no part failed in these records", next_step=step)
        self._make_fields(part, export_folder)
        self.widget = form(*self._sections())
        guarded(self.show, self.messages)()

    def _make_fields(self, part: str, export_folder: str) -> None:
        self.messages, self.export_messages = Messages(), Messages()
        unit = self.findings.fleet.settings.meter_unit or "meter"
        parts = [
            (f"{one.part} ({one.failures_recorded} failures)", one.part)
            for one in self.findings.whole_parts
        ]
        self.part = choice("Part", parts, part or None)
        self.mode = choice("Failure mode", [(ALL, "")])
        usual = ("the one the lives allow", "")
        self.scale = choice("Age counted in", [usual, (unit, "meter"), ("days", "days")])
        groups = [(f"{one.attribute}: {one.value}", one) for one in groups_of(self.findings.fleet)]
        self.units = choice("Depot or other group of units", [("all units", ""), *groups])
        self.begin = day_field("From day (blank: the beginning)")
        self.end = day_field("To day (blank: the end)")
        on_change(self.part, self._list_modes, self.messages)
        self._list_modes()
        self.text, self.fixes, self.lives = words(), words(), words()
        self.life_area, self.repeat_area = widgets.Output(), widgets.Output()
        self.units_area, self.fixes_area = widgets.Output(), widgets.Output()
        self.upstream_area = widgets.Output()
        self.export_folder = text_field("Folder for the export", export_folder)

    def _sections(self) -> Iterator[widgets.Widget]:
        yield section(
            "What to look at",
            row(self.part, self.mode, self.scale),
            row(self.units, self.begin, self.end),
            button("Show this", self.show, self.messages, main=True),
            self.messages.widget,
        )
        panes = row(_pane(self.text), _pane(self.life_area, self.repeat_area, self.units_area))
        panes.add_class("rca-panes")
        yield panes
        yield section("What comes before or goes with the failures", self.upstream_area)
        yield section("Fixes of this part", self.fixes, self.fixes_area)
        yield section("The lives behind it", self.lives)
        yield section(
            "Take it with you",
            row(self.export_folder),
            button("Export lives and figures", self.export, self.export_messages),
            self.export_messages.widget,
        )

    def show(self) -> str:
        """Study what is chosen, and show it."""
        selection = Selection(
            part=self.part.value,
            mode=self.mode.value or None,
            scale=self.scale.value,
            group=self.units.value or None,
            begin=self.begin.value,
            end=self.end.value,
        )
        self.study = study_selection(self.findings, self.folder, selection)
        self._show(self.study)
        return f"Shown: {selection}."

    def export(self) -> str:
        """Write lives and the figures' data as CSV files that a spreadsheet opens safely."""
        if self.study is None:
            raise RcaError("nothing is shown yet", next_step="choose a part and show it first")
        name = _file_name(str(self.study.selection))
        folder = Path(self.export_folder.value)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            step = "name a folder that may be written to"
            raise NotWritten(
                f"{folder} cannot be made: {error.strerror}", next_step=step
            ) from error
        lives = lives_table(self.study.rows, self.study.findings.fleet)
        data = [figure_data(one, on_paper=key == "life") for key, one in self.figures.items()]
        files.write_csv(folder / f"{name}-lives.csv", lives)
        files.write_csv(folder / f"{name}-figures.csv", pd.concat(data, ignore_index=True))
        return f"Written: {folder / f'{name}-lives.csv'} ({len(lives)} lives) and -figures.csv."

    def __str__(self) -> str:
        return str(self.study.finding) if self.study is not None else "nothing is shown"

    def _list_modes(self) -> None:
        modes = modes_of(self.findings.events, self.part.value)
        named = [(f"{mode} ({count} failures)", mode) for mode, count in modes if mode]
        set_options(self.mode, [(ALL, ""), *named])

    def _show(self, study: PartStudy) -> None:
        one, found = study.finding, study.findings
        self.figures = {"life": figures.life_plot(one)} if one.failures else {}
        show_figures(self.life_area, list(self.figures.values()))
        events = found.events
        events = events if one.mode is None else events[events["mode"] == one.mode]
        of_mode = replace(found, events=events)
        self.figures["repeats"] = workbook.repeats_figure(of_mode, one.part)
        show_figures(self.repeat_area, [self.figures["repeats"]])
        shares = workbook.units_figure(found, one.part)
        self.figures |= {"units": shares} if shares is not None else {}
        show_figures(self.units_area, [shares] if shares is not None else [])
        upstream = list(workbook.part_upstream(found, one.part))
        self.figures |= {f"upstream {i}": figure for i, figure in enumerate(upstream)}
        show_figures(self.upstream_area, upstream)
        verdicts = [fix_figures.verdict_figure(one) for one in found.fixes if len(one.path)]
        self.figures |= {f"fix {i}": figure for i, figure in enumerate(verdicts)}
        show_figures(self.fixes_area, verdicts)
        self.fixes.value = fixes_text(found.fixes) + outlooks_text(found.fixes, found.outlooks)
        self.text.value = study_text(study)
        self.lives.value = _lives_html(study)


def _pane(*children: widgets.Widget) -> widgets.VBox:
    box = widgets.VBox(list(children))
    box.add_class("rca-pane")
    box.add_class("rca-pane-wide")
    return box


def _lives_html(study: PartStudy) -> str:
    lives = lives_table(study.rows, study.findings.fleet)
    lives = lives.drop(columns=[name for name in lives.columns if name.startswith(NOT_SHOWN)])
    lives = lives.astype(object)
    lives = lives.where(lives.notna(), "not known")
    caption = f"{len(lives)} pieces of lives of {study.selection}"
    shown = table(list(lives.columns), lives.itertuples(index=False), caption=caption,
                  most=SHOWN_LIVES)  # fmt: skip
    return f"<div class='narrow-cells'>{shown}</div>"


def _file_name(text: str) -> str:
    """Return a text as a file's name."""
    return re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:80]
