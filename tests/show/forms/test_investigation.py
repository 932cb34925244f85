"""The investigation as a form, driven without a browser: every panel, undo, saving, conflicts."""

from datetime import date

import pytest

from rca.causes.case.entries import PROBLEM, Link
from rca.causes.case.support import Support
from rca.errors import Changed, RcaError
from rca.show.forms import InvestigationForm
from rca.show.forms.claim_panel import condition
from rca.show.forms.investigation import PANELS
from rca.show.forms.measure_panel import reading_of
from rca.show.sheets.draft import Draft
from tests.cases import RICH
from tests.small_fleet import DEFAULT_YAML, write_fleet

UNITS = "unit,depot\n" + "\n".join(f"U{i},{'North' if i < 6 else 'South'}" for i in range(12))
FAILED = "\n".join(
    f"U{i},2024-{month:02d}-0{i % 9 + 1},pump,replaced,failure"
    for i in range(6)
    for month in (2, 5, 8)
)
REPAIRS = f"unit,date,part,action,reason\n{FAILED}\nU9,2024-04-04,pump,replaced,failure"


@pytest.fixture
def made(tmp_path):
    """The form on the rich case, without records."""
    path = tmp_path / "turbo.yaml"
    path.write_text(RICH, encoding="utf-8")
    return InvestigationForm(str(path))


@pytest.fixture
def with_fleet(tmp_path):
    """The form on a new case of a small fleet whose northern pumps fail."""
    folder = write_fleet(tmp_path / "fleet", yaml=DEFAULT_YAML, units=UNITS, repairs=REPAIRS)
    form = InvestigationForm(fleet_folder=str(folder))
    form.new_name.value, form.new_part.value = "pumps", "pump"
    form.new_statement.value = "Pumps failed 19 times in a year"
    form.begin()
    return form


def panel(form, title):
    """Choose a panel as a person does and return it."""
    form.panel_choice.value = title
    return form.panels[title]


def press(holder, name):
    """Click the button of this label."""
    waiting = [holder.widget]
    while waiting:
        one = waiting.pop(0)
        waiting += getattr(one, "children", ())
        if getattr(one, "description", "") == name and hasattr(one, "click"):
            one.click()
            return
    raise AssertionError(f"no button {name!r}")


def state(form, cause, effect):
    return form.assessment.support[Link(cause, effect)].state


def test_an_existing_case_is_shown_whole(made):
    assert made.file_messages.text.startswith("Investigation turbo: 6 causes")
    assert "The bearing ran dry" in made.chain.value
    assert "things to look at" in made.review.value
    assert "Next test" in made.next_test.value
    assert "If it shows" in made.next_test.value
    assert made.diagram.outputs
    assert "Everything is saved" in made.state.value
    assert "Cautions" in made.body.children[0].value


def test_every_panel_opens(made):
    for kind in PANELS:
        assert panel(made, kind.title).widget in made.panel_box.children
        assert made.messages.text == ""


def test_a_why_is_added_by_or_and_by_and(made):
    add = panel(made, "Add a why")
    add.effect.value, add.says.value = PROBLEM, "The wheel touched"
    press(add, "Add this why")
    assert "New link, “The wheel touched”" in add.messages.text
    assert add.effect.value == "wheel-touched"
    assert made.case.problem.because.word == "any"
    add.effect.value, add.says.value, add.together.value = "dry", "No oil was left", True
    press(add, "Add this why")
    assert made.case.causes["dry"].because.inputs == ("blocked", "hot-stop", "no-oil-left")
    assert made.case.causes["dry"].because.word == "all"
    assert "Not saved: why: The wheel touched; why: No oil was left" in made.state.value


def test_a_refused_change_is_told_and_leaves_no_trace(made):
    add = panel(made, "Add a why")
    press(add, "Add this why")
    assert "not filled in" in add.messages.text
    add.effect.value, add.says.value = "blocked", "The pipe is bent"
    press(add, "Add this why")
    assert "belongs to an end of the chain" in add.messages.text
    assert "Everything is saved" in made.state.value
    word = panel(made, "Wording")
    word.cause.value = "blocked"
    assert word.forget.layout.display == ""
    word.forget.value = True
    press(word, "Change it")
    add = panel(made, "Add a why")
    add.effect.value = "blocked"
    press(add, "Add this why")
    assert "Done." in add.messages.text


def test_and_or_are_marked_and_told(made):
    mark = panel(made, "AND / OR")
    mark.effect.value = PROBLEM
    assert "because of any of these" in mark.now.value
    for box in mark.causes.boxes.values():
        box.value = True
    press(mark, "Needed together (AND)")
    assert made.case.problem.because.word == "all"
    assert "because of all of these together" in mark.now.value
    press(mark, "Needed together (AND)")
    assert "marked so already" in mark.messages.text
    press(made, "Undo the last change")
    assert made.case.problem.because.word == "any"
    mark.causes.clear()
    press(mark, "Needed together (AND)")
    assert "at least two" in mark.messages.text


def test_a_cause_is_moved_kept_twice_and_removed(made):
    move = panel(made, "Move or remove")
    move.cause.value = "no-rule"
    assert [value for _, value in move.now.options] == ["hot-stop"]
    assert "no-rule" not in [value for _, value in move.to.options]
    move.to.value, move.too.value = "no-gauge", True
    press(move, "Move it")
    assert made.case.causes["no-gauge"].because.inputs == ("no-rule",)
    assert made.case.causes["hot-stop"].because is not None
    move.cause.value, move.now.value, move.to.value = "no-rule", "no-gauge", ""
    press(move, "Move it")
    assert made.case.causes["no-gauge"].because is None
    press(move, "Remove this cause")
    assert "no-rule" not in made.case.causes
    move.cause.value = "dirty"
    press(move, "Remove this cause")
    assert "still named by" in move.messages.text


def test_a_loop_is_refused_in_words(made):
    move = panel(made, "Move or remove")
    move.cause.value, move.to.value = "dry", "hot-stop"
    press(move, "Move it")
    assert "lead back to themselves" in move.messages.text
    assert "Everything is saved" in made.state.value


def test_a_reading_outside_its_limit_changes_the_link(made):
    """The same reading, first inside and then outside its limit."""
    assert state(made, "hot-stop", "dry") is not Support.SUPPORTED
    measure = panel(made, "Measurement")
    values = {"quantity": "oil temperature at stop", "unit": "degC", "at_most": "120",
              "source": "manual, page 4", "uncertainty": "1", "reading": "140"}  # fmt: skip
    for name, value in values.items():
        getattr(measure, name).value = value
    measure.day.value, measure.by.value = date(2026, 3, 2), "fitter"
    measure.bearing.for_.boxes["hot-stop"].value = True
    press(measure, "Record this")
    assert "became supported" in measure.messages.text
    assert state(made, "hot-stop", "dry") is Support.SUPPORTED
    name = next(reversed(made.case.measurements))
    assert made.case.measurements[name].as_found.date == "2026-03-02"
    measure.what.value, measure.reading.value = name, "80"
    assert measure.new.layout.display == "none"
    press(measure, "Record this")
    assert "supported became" in measure.messages.text
    assert state(made, "hot-stop", "dry") is not Support.SUPPORTED


def test_a_limit_without_its_source_is_refused(made):
    measure = panel(made, "Measurement")
    measure.quantity.value, measure.unit.value, measure.at_most.value = "play", "mm", "0.1"
    press(measure, "Record this")
    assert "a limit needs its source" in measure.messages.text
    measure.at_most.value = "a tenth"
    press(measure, "Record this")
    assert "'a tenth' is no number" in measure.messages.text
    measure.what.value = "coil"
    press(measure, "Record this")
    assert "nothing to record" in measure.messages.text


def test_readings_are_numbers_lists_or_words():
    assert reading_of(" 0,41 ") == 0.41
    assert reading_of("61; 63;62") == [61, 63, 62]
    assert reading_of("open circuit") == "open circuit"
    assert reading_of("") is None
    with pytest.raises(RcaError, match="no number"):
        reading_of("broken")


def test_a_claim_is_computed_and_attached(with_fleet):
    """Northern pumps: 18 failures on 6 units, southern ones: 1 on 6, all watched equally long."""
    add = panel(with_fleet, "Add a why")
    add.says.value = "Something in the north wears them"
    press(add, "Add this why")
    name = next(iter(with_fleet.case.causes))
    claim = panel(with_fleet, "Claim on records")
    press(claim, "Look it up in the records")
    assert "about all units" in claim.messages.text
    claim.units.value = dict(claim.units.options)["depot: North"]
    press(claim, "Look it up in the records")
    assert claim.messages.text.startswith("18.00 times as often")
    press(claim, "Attach this claim")
    assert "not filled in" in claim.messages.text
    claim.shows.value = "Pumps of the north fail more often"
    claim.bearing.for_.boxes[name].value = True
    press(claim, "Attach this claim")
    assert "became supported" in claim.messages.text
    held = next(iter(with_fleet.case.evidence.values())).claim
    assert (held.units, held.ratio_above, held.times) == ('depot = "North"', 1.0, 18.0)


def test_a_claim_after_a_repair(with_fleet):
    claim = panel(with_fleet, "Claim on records")
    claim.after.value, claim.action.value, claim.within.value = "pump", "replaced", "90"
    assert claim.claim()["after_repair"] == 'part = "pump" and action = "replaced"'
    assert claim.claim()["within_days"] == 90
    claim.sense.value, claim.times.value = "below", "1.5"
    assert claim.claim()["ratio_below"] == 1.5


def test_conditions_quote_what_they_compare_with():
    assert condition("depot", "North") == 'depot = "North"'
    assert condition("depot", 'the "old" one') == "depot = 'the \"old\" one'"
    with pytest.raises(RcaError, match="cannot be written"):
        condition("depot", "a\"b'c")


def test_without_records_a_claim_says_so(made):
    assert "there are no records" in panel(made, "Claim on records").widget.children[0].value


def test_a_test_is_added_and_its_result_written_down(made):
    test = panel(made, "Test")
    test.does.value, test.cost.value = "Look into the feed with a probe", "15"
    press(test, "Add this test")
    assert "tells no causes apart" in test.messages.text
    test.shows["blocked"].value, test.shows["dirty"].value = "fail", "pass"
    press(test, "Add this test")
    assert "look" in "".join(made.case.tests).casefold()
    assert "Look into the feed" in made.next_test.value
    name = next(reversed(made.case.tests))
    test.done.value, test.result.value = name, "fail"
    press(test, "Write down the result")
    assert made.case.tests[name].result == "fail"
    assert "Look into the feed" not in made.next_test.value.partition("Explanations")[0]


def test_the_problem_is_stated_and_blank_means_taken_away(made):
    problem = panel(made, "The problem")
    assert problem.pairs["where"][1].value == "four like units"
    press(problem, "Write this down")
    assert problem.messages.text == "Nothing was changed."
    problem.head["purpose"].value = "Find what is ours to change"
    problem.more["trigger"].value = ""
    problem.pairs["when"][1].value = ""
    problem.changes.value = "new oil\nnew driver"
    press(problem, "Write this down")
    case = made.case
    assert case.purpose == "Find what is ours to change"
    assert case.problem.trigger == ""
    assert case.problem.is_is_not["when"] == ("after hot stops", "")
    assert case.problem.changes_before == ("new oil", "new driver")


def test_save_undo_and_reopening(made, tmp_path):
    add = panel(made, "Add a why")
    add.says.value = "The wheel touched"
    press(add, "Add this why")
    press(made, "Save")
    assert "is saved" in made.messages.text
    again = InvestigationForm(str(tmp_path / "turbo.yaml"))
    assert "wheel-touched" in again.case.causes
    press(made, "Undo the last change")
    assert made.messages.text == "Taken back: why: The wheel touched."
    assert "a change that was saved is undone" in made.state.value
    press(made, "Undo the last change")
    assert "nothing to undo" in made.messages.text
    text = (tmp_path / "turbo.yaml").read_text(encoding="utf-8")
    assert all(line in text for line in RICH.splitlines() if "#" in line and "because" not in line)


def test_someone_elses_change_is_not_overwritten(made, tmp_path):
    path = tmp_path / "turbo.yaml"
    add = panel(made, "Add a why")
    add.says.value = "The wheel touched"
    press(add, "Add this why")
    theirs = RICH.replace("title: Turbocharger", "title: Turbo-charger")
    path.write_text(theirs, encoding="utf-8")
    press(made, "Save")
    assert "changed by someone else" in made.messages.text
    assert path.read_text(encoding="utf-8") == theirs
    press(made, "Keep mine beside it")
    assert (tmp_path / "turbo.yaml.mine-1").exists()
    press(made, "Put my changes on top of it")
    assert "why: The wheel touched" in made.messages.text
    press(made, "Save")
    saved = Draft.open(path).case
    assert saved.title.startswith("Turbo-charger")
    assert "wheel-touched" in saved.causes
    with pytest.raises(AssertionError, match="no button"):
        press(made, "Keep mine beside it")


def test_reading_again_drops_what_is_not_saved_and_says_what(made):
    add = panel(made, "Add a why")
    add.says.value = "The wheel touched"
    press(add, "Add this why")
    press(made, "Read the file again")
    assert "Dropped: why: The wheel touched" in made.messages.text
    assert "wheel-touched" not in made.case.causes


def test_unsaved_changes_are_offered_after_a_restart(made, tmp_path):
    add = panel(made, "Add a why")
    add.says.value = "The wheel touched"
    press(add, "Add this why")
    later = InvestigationForm(str(tmp_path / "turbo.yaml"))
    assert later.left_over.children
    press(later, "Go on with them")
    assert "wheel-touched" in later.case.causes
    assert not later.left_over.children
    press(later, "Save")
    assert not InvestigationForm(str(tmp_path / "turbo.yaml")).left_over.children


def test_a_new_case_needs_a_name_and_a_statement(tmp_path):
    form = InvestigationForm()
    assert str(form) == "no file is open"
    press(form, "Begin a new investigation")
    assert "needs both" in form.file_messages.text
    press(form, "Open")
    assert "no file is named" in form.file_messages.text
    form.path.value = str(tmp_path / "missing.yaml")
    press(form, "Open")
    assert "the file does not exist" in form.file_messages.text
    with pytest.raises(RcaError, match="no file is open"):
        form.save()


def test_a_fault_in_the_file_is_told_with_its_line(tmp_path):
    path = tmp_path / "bad.yaml"
    path.write_text(RICH.replace("layer: physical", "layer: boss"), encoding="utf-8")
    form = InvestigationForm(str(path))
    assert "bad.yaml, line" in form.file_messages.text
    assert form.draft is None


def test_new_cases_of_a_fleet_lie_in_its_folder(with_fleet):
    assert with_fleet.draft.path.parent.name == "investigations"
    assert with_fleet.draft.path.is_file()
    with pytest.raises(RcaError, match="exists already"):
        with_fleet.begin()


def test_text_of_the_file_cannot_inject_markup(tmp_path):
    path = tmp_path / "turbo.yaml"
    path.write_text(RICH.replace("The bearing ran dry", "<img src=x> ran dry"), encoding="utf-8")
    form = InvestigationForm(str(path))
    shown = "".join(one.value for one in (form.chain, form.review, form.next_test, form.evidence))
    assert "&lt;img" in shown
    assert "<img" not in shown


def test_a_conflict_is_an_error_of_its_own_kind(made, tmp_path):
    add = panel(made, "Add a why")
    add.says.value = "The wheel touched"
    press(add, "Add this why")
    (tmp_path / "turbo.yaml").write_text(RICH + "# theirs\n", encoding="utf-8")
    with pytest.raises(Changed):
        made.save()
