"""The study of a part as a form, and what it exports, without a browser."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from rca.causes.extent import Extent
from rca.causes.fix.outlook import outlook_from_now
from rca.causes.fix.verdict import judge
from rca.show.figures.data import figure_data
from rca.show.forms import PartStudyForm
from rca.show.forms.study_ahead import extent_text, outlooks_text
from tests.causes.fix.test_verdict import PLAN, WORKS, fleet
from tests.causes.test_selection import PARTS, UNITS, repairs
from tests.small_fleet import DEFAULT_YAML, write_fleet


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A small fleet whose one unit bears a name that a spreadsheet would run."""
    units = UNITS.replace("A1,", "=A1+1,")
    rows = repairs().replace("\nA1,", "\n=A1+1,")
    return write_fleet(tmp_path_factory.mktemp("fleet"), yaml=DEFAULT_YAML, units=units,
                       parts=PARTS, repairs=rows)  # fmt: skip


@pytest.fixture
def made(folder, tmp_path):
    """The form, showing the pump."""
    return PartStudyForm(str(folder), month="2024-12", part="pump",
                         export_folder=str(tmp_path / "out"))  # fmt: skip


def test_the_form_opens_on_the_part_with_numbers_intervals_and_counts(made):
    assert made.messages.text == "Shown: pump, all failure modes, all units, whole record."
    text = made.text.value
    assert "95 % limits" in text
    assert f"{made.study.finding.failures} failures in {made.study.finding.lives} lives" in text
    assert "A hypothesis" in text
    assert "No fix is recorded" in made.fixes.value
    assert made.life_area.outputs
    assert made.repeat_area.outputs
    assert str(made) == str(made.study.finding)


def test_modes_follow_the_part(made):
    assert [value for _, value in made.mode.options] == ["", "leaks", "noisy"] or [
        value for _, value in made.mode.options
    ] == ["", "noisy", "leaks"]
    made.mode.value = "leaks"
    made.show()
    assert made.study.finding.mode == "leaks"
    assert "pump, leaks" in made.text.value


def test_depot_scale_and_period_narrow_it(made):
    before = made.study.finding.lives
    made.units.value = dict(made.units.options)["depot: North"]
    made.scale.value = "days"
    made.begin.value = date(2024, 6, 1)
    made.show()
    assert made.study.finding.lives < before
    assert "depot North, 2024-06-01 to the end of the records, by days" in made.text.value
    assert "Looked for in this selection" in made.text.value


def test_a_selection_without_records_is_told_in_words(made):
    shown = made.text.value
    made.end.value = date(2030, 1, 1)
    next(iter(buttons(made, "Show this"))).click()
    assert made.messages.text.startswith("Not done: the records end on 2024-12-31")
    assert made.text.value == shown


def buttons(form, name):
    found = [form.widget]
    while found:
        one = found.pop()
        found += getattr(one, "children", ())
        if getattr(one, "description", "") == name and hasattr(one, "click"):
            yield one


def test_lives_are_exported_with_the_line_of_each_repair(made, tmp_path, folder):
    next(iter(buttons(made, "Export lives and figures"))).click()
    assert made.export_messages.text.startswith("Written")
    stem = "pump-all-failure-modes-all-units-whole-record"
    lives = pd.read_csv(tmp_path / "out" / f"{stem}-lives.csv", keep_default_na=False)
    assert len(lives) == len(made.study.rows)
    assert (lives["failed"] == "yes").sum() == made.study.finding.failures
    ended = lives[lives["line"].ne("")].iloc[0]
    line = (folder / ended["file"]).read_text(encoding="utf-8").splitlines()[int(ended["line"]) - 1]
    assert ended["watched to"] in line
    assert ended["failure mode"] in line


def test_a_spreadsheet_runs_nothing_of_what_is_exported(made, tmp_path):
    made.export()
    for path in (tmp_path / "out").iterdir():
        for line in path.read_text(encoding="utf-8").splitlines():
            assert not any(cell.startswith(("=", "+", "@")) for cell in line.split(",")), line


def test_the_figures_data_are_the_shares_that_are_drawn(made, tmp_path):
    made.export()
    path = next((tmp_path / "out").glob("*-figures.csv"))
    data = pd.read_csv(path)
    fit = made.study.finding.fit
    curve = data[data["line"].str.startswith("Weibull curve")]
    expected = 1 - fit.survival(curve["x"].to_numpy())
    np.testing.assert_allclose(curve["y"], expected, rtol=1e-6)
    assert data["figure"].nunique() == len(made.figures)
    assert data.loc[data["figure"].str.contains("by age"), "y"].between(0, 1).all()


def test_error_bars_become_limits():
    import plotly.graph_objects as go

    figure = go.Figure(go.Scatter(
        x=[1.0, 2.0], y=["a", "b"], name="seen", text=["u", "v"],
        error_x={"array": [0.5, 0.25], "arrayminus": [0.25, 0.5]},
    ))  # fmt: skip
    table = figure_data(figure)
    assert table["lower"].tolist() == [0.75, 1.5]
    assert table["upper"].tolist() == [1.5, 2.25]
    assert table["label"].tolist() == ["u", "v"]


def test_names_of_parts_cannot_inject_markup(tmp_path):
    rows = repairs().replace("pump", "<i>pump</i>")
    folder = write_fleet(tmp_path / "f", yaml=DEFAULT_YAML, units=UNITS, repairs=rows,
                         parts="part,fitted_to\n<i>pump</i>,all\nfan,all")  # fmt: skip
    form = PartStudyForm(str(folder), month="2024-12", part="<i>pump</i>")
    assert "&lt;i&gt;pump" in form.text.value
    assert "<i>" not in form.text.value + form.lives.value + form.messages.widget.value


def test_a_fleet_without_units_and_parts_is_studied_as_far_as_it_goes(tmp_path):
    folder = write_fleet(tmp_path / "f", yaml=DEFAULT_YAML, repairs=repairs())
    form = PartStudyForm(str(folder), month="2024-12")
    assert [value for _, value in form.units.options] == [""]
    assert form.messages.text.startswith("Shown")


def test_which_way_pays_is_told_or_why_it_is_not_known(made):
    text = made.text.value
    assert "Which way pays" in text
    assert "cost of repairs (EUR per" in text
    for why in made.study.findings.worth["pump"].why_not.values():
        assert why.replace("'", "&#x27;") in text


def test_parts_needed_are_told_with_both_ranges(made):
    forecast = made.study.findings.forecasts["pump"]
    text = made.text.value
    assert "Parts needed" in text
    for row in forecast.rows:
        for count in (row.parts, row.failures):
            assert f"{count.lower95} to {count.upper95}" in text


def test_what_an_answer_takes_and_how_far_a_finding_reaches():
    """Built from results as the findings hold them."""
    pieces, applied = fleet(WORKS)
    looks = pd.date_range("2024-01-31", "2024-03-31", freq="ME")
    now = judge(pieces, applied, PLAN, looks=looks)
    outlook = outlook_from_now(now, draws=100)
    text = outlooks_text([now], {PLAN.fix: outlook})
    assert f"shown by {outlook.first_month:%Y-%m}" in text
    assert "100 simulated futures" in text
    assert text.count("of the failure rate") == len(outlook.chances)
    assert outlooks_text([now], {}) == ""
    one = Extent("pump", "lot = L1", "attribute", ("A",), 3, "most failures", 40, "such units",
                 ((0.1, 21), (0.05, 31)))  # fmt: skip
    assert "inspect 21 of the 40 such units" in extent_text([one])
    every = replace(one, samples=((0.1, 40), (0.05, 40)))
    assert "inspect all 40 such units" in extent_text([every])
    assert extent_text([]) == ""
