"""Work on an investigation file: undo, saving beside others, restarts; nothing is ever lost."""

import pytest

from rca.causes.case import editing
from rca.causes.case.entries import PROBLEM
from rca.errors import Changed, RcaError, Refused
from rca.show.sheets.draft import TAKEN_UP, UNDONE, Draft
from tests.cases import RICH


@pytest.fixture
def file(tmp_path):
    """The rich investigation as a file."""
    path = tmp_path / "turbo.yaml"
    path.write_text(RICH, encoding="utf-8")
    return path


def add(says, effect=PROBLEM):
    """A change that adds a cause."""
    return lambda data: editing.add_cause(data, says, layer="physical", effect=effect)


def hidden(path):
    return path.with_name(f".{path.name}.unsaved")


def test_a_change_is_seen_undone_and_saved(file):
    draft = Draft.open(file)
    name = draft.change("a why", add("It was fitted askew"))
    assert name in draft.case.causes
    assert draft.unsaved == ("a why",)
    assert file.read_text(encoding="utf-8") == RICH
    assert draft.undo() == "a why"
    assert draft.text == RICH
    assert draft.unsaved == ()
    draft.change("a why", add("It was fitted askew"))
    draft.save()
    assert Draft.open(file).case == draft.case
    assert draft.unsaved == ()


def test_a_refused_change_leaves_no_trace(file):
    draft = Draft.open(file)
    with pytest.raises(Refused, match="belongs to an end"):
        draft.change("a why", add("The pipe is bent", effect="blocked"))
    with pytest.raises(RcaError, match="not filled in"):
        draft.change("a why", add(" "))
    assert draft.text == RICH
    assert not draft.can_undo
    with pytest.raises(RcaError, match="nothing to undo"):
        draft.undo()
    assert not hidden(file).exists()


def test_a_file_that_someone_else_changed_is_not_overwritten(file):
    draft = Draft.open(file)
    draft.change("a why", add("It was fitted askew"))
    theirs = RICH.replace("title: Turbocharger", "title: Turbo-charger")
    file.write_text(theirs, encoding="utf-8")
    with pytest.raises(Changed, match="changed by someone else"):
        draft.save()
    assert file.read_text(encoding="utf-8") == theirs
    assert draft.unsaved == ("a why",)


def test_mine_can_be_put_on_top_of_theirs(file):
    draft = Draft.open(file)
    draft.change("a why", add("It was fitted askew"))
    draft.change("another", add("It was the wrong one"))
    theirs = RICH.replace("title: Turbocharger", "title: Turbo-charger")
    file.write_text(theirs, encoding="utf-8")
    assert draft.put_on_top() == ("a why", "another")
    draft.save()
    saved = Draft.open(file).case
    assert saved.title.startswith("Turbo-charger")
    assert {"fitted-askew", "wrong-one"} <= saved.causes.keys()


def test_mine_that_no_longer_fits_is_refused_and_kept_beside(file):
    draft = Draft.open(file)
    draft.change("a stop", lambda data: editing.set_cause(data, "no-gauge", {"stop": "ours"}))
    gone = RICH.replace("no-gauge", "no-meter")
    file.write_text(gone, encoding="utf-8")
    with pytest.raises(RcaError, match="no 'no-gauge'"):
        draft.put_on_top()
    assert draft.unsaved == ("a stop",)
    beside = draft.keep_beside()
    assert beside.read_text(encoding="utf-8") == draft.text
    assert beside.suffix not in (".yaml", ".yml")
    assert draft.keep_beside() != beside
    draft.read_again()
    assert draft.text == gone
    assert not hidden(file).exists()


def test_a_deleted_file_is_not_made_again_in_silence(file):
    draft = Draft.open(file)
    draft.change("a why", add("It was fitted askew"))
    file.unlink()
    with pytest.raises(Changed):
        draft.save()


def test_unsaved_changes_outlive_a_restart(file):
    Draft.open(file).change("a why", add("It was fitted askew"))
    draft = Draft.open(file)
    assert draft.has_left_over
    assert draft.text == RICH
    draft.take_up()
    assert draft.unsaved == (TAKEN_UP,)
    assert "fitted-askew" in draft.case.causes
    draft.save()
    assert not hidden(file).exists()
    assert not Draft.open(file).has_left_over


def test_left_over_changes_do_not_overwrite_what_was_saved_since(file):
    Draft.open(file).change("a why", add("It was fitted askew"))
    file.write_text(RICH + "# theirs\n", encoding="utf-8")
    draft = Draft.open(file)
    draft.take_up()
    with pytest.raises(Changed):
        draft.save()
    draft = Draft.open(file)
    draft.forget_left_over()
    assert not draft.has_left_over


def test_undo_goes_back_beyond_a_save_and_says_so(file):
    draft = Draft.open(file)
    draft.change("a why", add("It was fitted askew"))
    draft.save()
    draft.undo()
    assert draft.unsaved == (UNDONE,)
    draft.save()
    assert file.read_text(encoding="utf-8") == RICH


def test_a_new_file_is_written_at_once_and_never_over_another(tmp_path):
    path = tmp_path / "new.yaml"
    Draft.new(path, editing.new_investigation("new", "It failed 3 times"))
    assert Draft.open(path).case.problem.statement == "It failed 3 times"
    with pytest.raises(Refused, match="exists already"):
        Draft.new(path, editing.new_investigation("new", "It failed 4 times"))


def test_a_file_with_a_fault_is_refused_with_its_line(file):
    file.write_text(RICH.replace("layer: physical", "layer: boss"), encoding="utf-8")
    with pytest.raises(Refused, match=r"turbo\.yaml, line"):
        Draft.open(file)
