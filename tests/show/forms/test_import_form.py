"""The import as a form, driven as a person would, without a browser."""

import pandas as pd
import pytest

from rca.records.fleet import read_fleet
from rca.records.importing.answering import import_with_answers
from rca.show.forms import ImportForm, import_form
from tests.records.test_importing_files import two_files

ROWS = """\
Vehicle;Date;Component;Side;Type;Work;Amount;Text
B-1;03.02.2024;Aftercooler;left;X1;new;100,50;no charge
B-1;17.05.2024;Aftercooler;left;X1;new;90,00;no charge again
B-2;25.05.2024;Aftecooler;left;X2;new;95,00;planned
B-2;13.06.2024;Starter;;X1;greased;12,10;slow
B-3;21.07.2024;Starter;;X1;new;80,00;dead
B-3;30.08.2024;Aftercooler;right;X1;new;99,00;noise
"""


@pytest.fixture
def export(tmp_path):
    """A small export in the German manner: semicolons, commas, days first, its own words."""
    path = tmp_path / "export.csv"
    path.write_text(ROWS * 1, encoding="utf-8")
    return path


@pytest.fixture
def made(export, tmp_path):
    """The form after it looked at the file."""
    return ImportForm(
        str(export), out_folder=str(tmp_path / "fleet"), report_folder=str(tmp_path / "reports")
    )


def press(form, name):
    """Click a button of a form by its label."""
    found = [one for one in walk(form.widget) if getattr(one, "description", "") == name
             and hasattr(one, "click")]  # fmt: skip
    assert len(found) == 1, name
    found[0].click()


def walk(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from walk(child)


def fill(form):
    """Answer everything that is open; the words as the workshop would explain them."""
    meanings = {"X1": "failure", "X2": "planned", "new": "replaced", "greased": "adjusted"}
    form.take_proposals()
    for _ in range(4):
        if not form.cards:
            return
        for card in form.cards.values():
            inner = card._fields
            if hasattr(inner, "fields"):
                for word, field in inner.fields.items():
                    field.value = meanings.get(word, field.value or "not stated")
            elif card.answer is None:
                inner.field.value = {"meter_unit": "km"}.get(
                    card.question.id, inner.field.options[1][1]
                )
        press(form, "Use these answers")


def test_what_was_found_is_shown_with_how_sure_it_is(made):
    assert made.look_messages.text.startswith("export.csv: 6 rows.")
    assert "Component" in made.proposed.value
    assert "day first" in made.proposed.value
    assert "certain" in made.proposed.value
    assert "kinds of faults" in made.faults.value
    assert "bad lots" in made.answerable.value
    assert str(made).startswith("export.csv: 6 rows")


def test_what_the_file_does_not_say_is_asked_and_nothing_written_before(made, tmp_path):
    assert made.cards
    press(made, "Write the fleet folder")
    assert made.write_messages.text.startswith("Not done")
    assert not (tmp_path / "fleet").exists()


def test_answers_make_a_fleet_that_repeats_without_questions(made, tmp_path, export):
    fill(made)
    assert made.proposal.open == ()
    press(made, "Write the fleet folder")
    assert "is written" in made.write_messages.text
    fleet = read_fleet(tmp_path / "fleet")
    assert fleet.account("repairs").read == 6
    assert set(fleet.repairs["reason"].astype(str)) == {"failure", "planned"}
    assert fleet.repairs["cost"].sum() == pytest.approx(476.6)
    answers = tmp_path / "export.csv.answers.yaml"
    again = import_with_answers(export, tmp_path / "again", answers=answers)
    assert (again.folder / "fleet.yaml").read_text(encoding="utf-8") == (
        tmp_path / "fleet" / "fleet.yaml"
    ).read_text(encoding="utf-8")


def test_the_work_goes_on_after_a_restart(made, export, tmp_path):
    fill(made)
    later = ImportForm(str(export), out_folder=str(tmp_path / "fleet"),
                       report_folder=str(tmp_path / "reports"))  # fmt: skip
    assert "of an earlier time were taken up" in later.look_messages.text
    assert later.proposal.open == ()


def test_kept_answers_that_no_longer_fit_are_dropped_and_named(made, export, tmp_path):
    fill(made)
    answers = tmp_path / "export.csv.answers.yaml"
    text = answers.read_text(encoding="utf-8")
    answers.write_text(text + "columns.nonsense: Side\n", encoding="utf-8")
    later = ImportForm(str(export), out_folder=str(tmp_path / "fleet"),
                       report_folder=str(tmp_path / "reports"))  # fmt: skip
    assert "dropped: columns.nonsense" in later.look_messages.text
    assert later.proposal is not None


def test_spellings_are_merged_only_where_they_are_ticked(made):
    merges = {name: card for name, card in made.merges.items() if name == "merge.part"}
    assert merges, "Aftecooler looks like Aftercooler"
    rows = merges["merge.part"]._fields.rows
    assert not any(box.value for box, _ in rows.values())
    box, name = rows["Aftecooler"]
    assert name.value == "Aftercooler"
    box.value = True
    press(made, "Merge what is ticked")
    assert "1 spellings are merged" in made.merge_messages.text
    assert made.proposal.answers["merge.part"] == {"Aftecooler": "Aftercooler"}
    assert made.merges["merge.part"]._fields.rows["Aftecooler"][0].value


def test_anything_can_be_changed_later(made):
    options = dict(made.change_what.options)
    label = next(text for text in options if text.startswith("Which column is the position?"))
    assert label.endswith("Side")
    made.change_what.value = options[label]
    made.changed._fields.field.value = "leave out"
    press(made, "Use this change")
    assert made.change_messages.text.startswith("Changed.")
    assert "position" not in made.proposal.tables["repairs"].columns
    press(made, "Use this change")
    assert "nothing is changed yet" in made.change_messages.text


def test_another_file_in_the_list_does_not_change_what_was_looked_at(made, tmp_path):
    """Answers belong to the file that was looked at, whatever is chosen in the list meanwhile."""
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    made.folder.value = f"{tmp_path}/"
    made.file.value = str(tmp_path / "other.csv")
    fill(made)
    assert made.proposal.path.name == "export.csv"
    assert (tmp_path / "export.csv.answers.yaml").is_file()
    assert not (tmp_path / "other.csv.answers.yaml").exists()


def test_a_file_dragged_in_beside_the_workbook_can_be_chosen(made, tmp_path, monkeypatch):
    """Whatever folder is named, files that come to lie beside the workbook are offered too."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    (tmp_path / "here" / "dragged in.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    press(made, "List the files again")
    assert made.look_messages.text == "2 files can be chosen."
    assert ("dragged in.csv (beside this workbook)", "dragged in.csv") in made.file.options
    made.folder.value = "."
    assert ("dragged in.csv", "dragged in.csv") in made.file.options


def test_units_beside_the_repairs_are_taken_in_and_named_in_the_command(export, tmp_path):
    listed = "Vehicle;In service\nB-1;01.01.2024\nB-2;02.01.2024\nB-3;13.01.2024\nB-4;14.01.2024\n"
    (tmp_path / "my units.csv").write_text(listed, encoding="utf-8")
    form = ImportForm(str(export), out_folder=str(tmp_path / "fleet"),
                      report_folder=str(tmp_path / "r"))  # fmt: skip
    form.further["units"].value = str(tmp_path / "my units.csv")
    press(form, "Look at the file")
    fill(form)
    press(form, "Write the fleet folder")
    assert "4 units" in form.write_messages.text, form.write_messages.text
    assert f"--units '{tmp_path / 'my units.csv'}'" in form.write_messages.text


def test_errors_are_told_in_words(tmp_path, made):
    made.folder.value = str(tmp_path / "nowhere")
    assert [value for _, value in made.file.options] == [""]
    press(made, "Look at the file")
    assert "no file is chosen" in made.look_messages.text
    press(made, "Make the first page")
    assert "write the fleet folder first" in made.page_messages.text
    (tmp_path / "empty.csv").write_text("", encoding="utf-8")
    made.folder.value = str(tmp_path)
    made.file.value = str(tmp_path / "empty.csv")
    press(made, "Look at the file")
    assert made.look_messages.text.startswith("Not done: empty.csv")


def test_the_first_page_is_shown_with_a_link(made, tmp_path, monkeypatch, demo_report):
    """The report itself is made elsewhere; here it is that of the demo fleet."""
    fill(made)
    press(made, "Write the fleet folder")
    monkeypatch.setattr(import_form, "write_report", lambda folder, *, out: demo_report)
    press(made, "Make the first page")
    assert "The report is in" in made.page_messages.text
    assert "Getting worse" in made.page.value
    assert "report.html" in made.link.outputs[0]["data"]["text/html"]


def test_a_long_list_of_words_is_shown_page_by_page(tmp_path):
    rows = ["unit,date,part,action,reason"]
    rows += [f"U{i % 7},2024-01-{i % 28 + 1:02d},pump,word{i % 50},failure" for i in range(200)]
    path = tmp_path / "many.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    form = ImportForm(str(path), out_folder=str(tmp_path / "f"), report_folder=str(tmp_path / "r"))
    words = form.cards["words.action"]
    assert len(words._fields.fields) == 50
    pages = next(
        w for w in walk(words.widget) if getattr(w, "description", "") == "Page of this list"
    )
    shown = next(w for w in walk(words.widget) if "rca-fields" in getattr(w, "_dom_classes", ()))
    seen = set()
    for _, number in pages.options:
        pages.value = number
        seen |= {field.description for field in shown.children}
    assert len(seen) == 50


def test_text_of_the_file_cannot_inject_markup(tmp_path):
    frame = pd.DataFrame({
        "Unit": ["U1", "U2", "U3"], "Date": ["2024-01-05", "2024-02-03", "2024-03-04"],
        "Part": ["<img src=x>", "pump", "pump"], "Action": ["<b>swap</b>", "new", "new"],
        "Reason": ["failure", "failure", "failure"],
    })  # fmt: skip
    path = tmp_path / "bad.csv"
    frame.to_csv(path, index=False)
    form = ImportForm(str(path), out_folder=str(tmp_path / "f"), report_folder=str(tmp_path / "r"))
    shown = "".join(
        one.value for one in walk(form.widget) if "rca-text" in getattr(one, "_dom_classes", ())
    )
    assert "&lt;img" in shown
    assert "<img" not in shown
    assert "<b>swap" not in shown


def test_a_second_file_of_repairs_is_taken_in_and_named_in_the_command(tmp_path):
    first, second = two_files(tmp_path)
    form = ImportForm(str(first), out_folder=str(tmp_path / "fleet"),
                      report_folder=str(tmp_path / "r"))  # fmt: skip
    form.further["repairs 2"].value = str(second)
    press(form, "Look at the file")
    assert form.look_messages.text.startswith("failures.csv: 300 rows. 2 questions are open")
    assert "74 rows read as repairs" in form.proposed.value
    form.cards["all_rows.reason"]._fields.field.value = "failure"
    form.cards["repairs 2.all_rows.reason"]._fields.field.value = "planned"
    press(form, "Use these answers")
    press(form, "Write the fleet folder")
    assert "300 repair rows read, 300 used" in form.write_messages.text
    assert f"rca import {first} {second} --out" in form.write_messages.text
