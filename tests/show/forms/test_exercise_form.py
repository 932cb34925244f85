"""The student's form: what each button does to the work, and that nothing is lost."""

import zipfile

import pytest

from rca.errors import RcaError
from rca.records import files
from rca.show.exercise import case_file
from rca.show.exercise.play import Stage, open_play
from rca.show.forms import ExerciseForm
from rca.show.forms.exercise_panels import OPEN
from tests.show.forms.test_import_form import press
from tests.student import built, student_folder

REASON = "It tells which mechanism is at work, then I measure what could bring it"


@pytest.fixture
def folder(tmp_path):
    return student_folder(tmp_path / "case")


@pytest.fixture
def made(folder):
    """The form on a fresh case."""
    return ExerciseForm(str(folder))


def bought(form, clue):
    """Buy a clue through the fields."""
    shop = form.shop
    shop.group.value = form.case.clue(clue).group
    shop.clue.value = clue
    shop.reason.value = REASON
    shop.buy_button.click()
    return shop


def repaired(form, repair):
    """Have something done through the fields."""
    form.repair.repair.value = repair
    form.repair.reason.value = "It is what the readings point to, and it is done first"
    form.repair.button.click()


def judged(form, word):
    """Give a verdict through the fields."""
    form.verdict.word.value = word
    form.verdict.sure.value = "80"
    form.verdict.reason.value = "Failures seen against failures expected"
    form.verdict.give_button.click()


def test_what_is_told_is_there_at_once_and_nothing_is_spent(made):
    assert made.open_messages.text == "Open. Begin with what you are told."
    assert "0 of" in made.state.value
    assert made.play.spent == 0
    assert made.case.code in str(made)


def test_a_reason_is_asked_before_a_clue_is_shown(made):
    shop = made.shop
    shop.group.value = "teardown"
    shop.buy_button.click()
    assert shop.messages.text.startswith("Not done: say why first")
    assert shop.shown.value == ""
    assert made.play.spent == 0


def test_a_clue_is_paid_shown_and_there_again_after_reopening(made, folder):
    shop = bought(made, "teardown-one")
    paid = made.case.clue("teardown-one").price
    assert shop.messages.text.startswith("Bought: The last failed part")
    assert "The last failed" in shop.shown.value
    assert shop.reason.value == ""
    assert f"{paid} of" in made.state.value
    again = ExerciseForm(str(folder))
    assert again.open_messages.text == "You go on where you stopped."
    assert again.shop.again.options == (("The last failed part", "teardown-one"),)
    assert again.shop.shown.value == shop.shown.value
    step = again.play.steps[-1]
    assert step.details["reason"] == REASON


def test_a_clue_that_cannot_be_paid_is_refused_in_words(made):
    for clue in made.case.clues:
        if clue.group == "demonstration" and clue.price <= made.play.left:
            bought(made, clue.id)
    dear = next(
        one for one in made.case.clues
        if one.id not in made.play.bought and one.price > made.play.left
    )  # fmt: skip
    shop = bought(made, dear.id)
    assert "are left" in shop.messages.text
    assert "Not to be had" in shop.about.value


def test_every_answer_is_saved_when_its_field_is_left(made, folder):
    fields = made.answers["records"].fields
    fields["failures"].value = "1,5"
    fields["pattern"].value = "random"
    fields["problem"].value = "Failed 20 times in a year on 9 units"
    assert open_play(folder).answers() == {
        "failures": 1.5, "pattern": "random", "problem": "Failed 20 times in a year on 9 units",
    }  # fmt: skip
    fields["failures"].value = "many"
    assert "'many' is no number" in made.answers["records"].messages.text
    assert open_play(folder).answers()["failures"] == 1.5
    again = ExerciseForm(str(folder)).answers["records"].fields
    assert (again["failures"].value, again["pattern"].value) == ("1.5", "random")
    fields["pattern"].value = OPEN
    assert open_play(folder).answers()["pattern"] == ""


def test_no_second_cause_is_an_answer_of_its_own(made, folder):
    """It must be told from an answer that was never given."""
    field = made.answers["cause"].fields["cause_two"]
    assert field.value == OPEN
    field.value = ""
    assert open_play(folder).answers() == {"cause_two": ""}
    assert ExerciseForm(str(folder)).answers["cause"].fields["cause_two"].value == ""


def test_causes_and_clues_come_into_the_investigation_and_changes_are_saved(made):
    bought(made, "teardown-one")
    name = made.evidence.candidate.value
    press(made, "Add this cause")
    assert made.evidence.messages.text.startswith("Added:")
    assert name in made.investigation.causes
    assert name not in {value for _, value in made.evidence.candidate.options}
    made.evidence.bearing.for_.boxes[name].value = True
    press(made, "Add this as evidence")
    assert made.evidence.messages.text.startswith("Not done: say what it shows")
    made.evidence.shows.value = "Worn on one side only"
    press(made, "Add this as evidence")
    assert [one.shows for one in made.investigation.evidence.values()] == ["Worn on one side only"]
    panel = made.form_of_causes.panels["Add a why"]
    panel.says.value = "Nobody lines the parts up"
    panel.effect.value = name
    press(made.form_of_causes, "Add this why")
    assert "Everything is saved" in made.form_of_causes.state.value
    assert "Nobody lines the parts up" in files.read_text(made.play.investigation)
    press(made.form_of_causes, "Undo the last change")
    assert "Nobody lines the parts up" not in files.read_text(made.play.investigation)


def test_a_wrong_repair_fails_again_and_the_right_one_shows(made):
    """Ground truth: the answer key of the built case."""
    right = built().key.right_repairs[0]
    repaired(made, "part-only")
    assert made.play.stage is Stage.JUDGING
    assert made.shop.buy_button.disabled
    first = made.play.after(1).months["failures"].sum()
    assert f"{first} failures" in made.after_words.value
    assert made.after_area.outputs
    press(made, "Finish")
    assert "not ticked" in made.verdict.end_messages.text
    judged(made, "not effective")
    press(made, "Go on looking")
    assert made.play.round == 2
    repaired(made, right)
    second = made.play.after(2).months["failures"].sum()
    assert second < first / 2
    assert [label for label, _ in made.records.options][1:] == [
        f"the {made.case.part}, after the repair of round {number}" for number in (1, 2)
    ]


def test_the_kit_studies_the_records_and_those_after_a_repair(made):
    made.study_records()
    assert made.study.messages.text.startswith(f"Shown: {made.case.part}")
    repaired(made, built().key.right_repairs[0])
    made.records.value = made.records.options[-1][1]
    made.study_records()
    assert made.study.study.findings.fixes


def test_work_is_finished_and_handed_in(made, folder):
    judged_before = made.verdict.missing.value
    assert "no repair was chosen" in judged_before
    made.verdict.done.value = True
    press(made, "Finish")
    assert made.verdict.end_messages.text.startswith("Finished")
    press(made, "Write the file to hand in")
    path = folder / f"hand-in-{made.case.code}.zip"
    with zipfile.ZipFile(path) as held:
        assert {name.partition("/")[2] for name in held.namelist()} == {
            "case.json", "log.jsonl", "investigation.yaml"
        }  # fmt: skip
    made.answers["records"].fields["failures"].value = "3"
    assert "the work is finished" in made.answers["records"].messages.text


def test_the_workbook_lies_beside_the_case_or_takes_a_copy_of_the_ready_one(
    folder, tmp_path, monkeypatch
):
    """A student's own case opens at once; the ready one only as a copy, when asked for."""
    monkeypatch.chdir(folder)
    assert ExerciseForm().play.case.code == built().case.code
    monkeypatch.setattr("rca.show.forms.exercise_form.READY_CASE", str(folder))
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    form = ExerciseForm(try_folder="../tried")
    assert not (tmp_path / "tried").exists()
    with pytest.raises(RcaError, match="not open yet"):
        assert form.play
    press(form, "Open the case")
    assert (tmp_path / "tried" / case_file.FILE).is_file()
    assert ExerciseForm(try_folder="../tried").open_messages.text.startswith(("Open", "You go"))


def test_a_folder_without_a_case_is_refused_with_its_place(tmp_path):
    with pytest.raises(RcaError, match=r"case\.json"):
        ExerciseForm(str(tmp_path))
