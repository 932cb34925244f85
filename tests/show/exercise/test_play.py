"""A case as it is worked on: stages, budget, reasons first, wrong repairs, reopening."""

import json
import zipfile

import pytest

from rca.causes.case.parsing import parse_investigation
from rca.errors import Changed, RcaError, Refused
from rca.records import files
from rca.show.exercise.menu import PART_ONLY
from rca.show.exercise.play import Stage, open_play
from rca.show.exercise.questions import questions_of
from tests.show.exercise.conftest import built
from tests.show.exercise.personas import WHY, begin, lay_out


@pytest.fixture
def case():
    return built("supply")


@pytest.fixture
def play(case, tmp_path):
    return begin(case, tmp_path)


def log_of(play) -> list[dict]:
    text = (play.folder / "work" / "log.jsonl").read_text()
    return [json.loads(line) for line in text.splitlines()]


def test_history_is_free_and_open_from_the_start(play):
    said = play.history()
    assert said.price == 0
    assert len(said.table) == 5
    assert (play.spent, play.left) == (0, play.case.budget)


def test_the_reason_is_in_the_log_before_the_result_is_shown(play):
    result = play.buy("bench-supply", reason=WHY, leading="supply", confidence=40)
    last = log_of(play)[-1]
    assert (last["does"], last["clue"], last["reason"]) == ("buy", "bench-supply", WHY)
    assert (last["leading"], last["confidence"]) == ("supply", 40)
    assert len(result.table) == 6
    assert result.kind == "measured"
    assert str(result).startswith(result.title)


@pytest.mark.parametrize("reason", ["", "   ", "just because"])
def test_without_a_reason_nothing_is_sold(play, reason):
    with pytest.raises(RcaError, match="say why first"):
        play.buy("bench-supply", reason=reason)
    assert play.bought == ()
    assert len(log_of(play)) == 1


def test_the_budget_is_an_end(play):
    dear = sorted(play.offers(), key=lambda one: -one.price)
    for offer in dear:
        if offer.price > play.left:
            with pytest.raises(RcaError, match="are left"):
                play.buy(offer.id, reason=WHY)
            break
        play.buy(offer.id, reason=WHY)
    assert 0 <= play.left < dear[0].price
    assert play.spent + play.left == play.case.budget


def test_what_was_bought_is_paid_once_and_read_again(play):
    first = play.buy("survey-lot", reason=WHY)
    spent = play.spent
    again = play.buy("survey-lot", reason="once more, out of curiosity")
    assert play.spent == spent
    assert str(first) == str(again) == str(play.result("survey-lot"))
    with pytest.raises(RcaError, match="was not bought"):
        play.result("survey-age")


@pytest.mark.parametrize("clue", ["", "bench-moon", "../history", "history"])
def test_an_unknown_clue_is_an_error(play, clue):
    with pytest.raises(RcaError, match="there is no clue"):
        play.buy(clue, reason=WHY)


def test_reopening_goes_on_where_the_work_stopped(play):
    play.buy("records-life", reason=WHY)
    play.answer("cause", "lot")
    play.answer("cause", "supply")
    again = open_play(play.folder)
    assert again.bought == ("records-life",)
    assert again.answers() == {"cause": "supply"}
    assert str(again) == str(play)
    again.buy("changes", reason=WHY)
    assert open_play(play.folder).bought == ("records-life", "changes")


def test_two_windows_on_one_case_do_not_overwrite_each_other(play):
    other = open_play(play.folder)
    play.buy("records-life", reason=WHY)
    with pytest.raises(Changed):
        other.buy("changes", reason=WHY)
    assert open_play(play.folder).bought == ("records-life",)


def test_an_altered_log_is_refused_with_its_line(play):
    play.buy("records-life", reason=WHY)
    path = play.folder / "work" / "log.jsonl"
    path.write_text(path.read_text().replace("records-life", "records-groups"))
    with pytest.raises(Refused, match="line 2"):
        open_play(play.folder)


def test_a_folder_without_a_case_is_refused(tmp_path):
    with pytest.raises(Refused, match=r"case\.json"):
        open_play(tmp_path)


def test_a_missing_clue_file_costs_nothing(play):
    (play.folder / "clues" / play.case.clue("bench-lot").file).unlink()
    with pytest.raises(Refused, match="missing"):
        play.buy("bench-lot", reason=WHY)
    assert play.spent == 0


def test_a_clue_of_another_case_does_not_open(play, tmp_path):
    other = lay_out(built("lot"), tmp_path / "other")
    name = play.case.clue("bench-lot").file
    changed = bytearray((other / "clues" / name).read_bytes())
    changed[40] ^= 1
    (play.folder / "clues" / name).write_bytes(changed)
    with pytest.raises(RcaError, match="cannot be opened"):
        play.buy("bench-lot", reason=WHY)


@pytest.mark.parametrize(
    ("question", "value", "kept"),
    [("failures", "112", 112.0), ("shape", "1,35", 1.35), ("confidence", 70, 70.0),
     ("pattern", "random", "random"), ("problem", "  112 failures ", "112 failures"),
     ("failures", "", None)],
)  # fmt: skip
def test_answers_are_kept_as_understood(play, question, value, kept):
    assert play.answer(question, value) == kept
    assert play.answers().get(question) == kept


@pytest.mark.parametrize(
    ("question", "value"),
    [("failures", "many"), ("failures", -1), ("confidence", 130), ("pattern", "odd"),
     ("cause", "the moon"), ("problem", "x" * 6000), ("nothing", 1), ("failures", float("nan"))],
)  # fmt: skip
def test_answers_that_cannot_be_are_refused(play, question, value):
    with pytest.raises(RcaError):
        play.answer(question, value)
    assert play.answers() == {}


def test_the_same_answer_again_writes_nothing(play):
    play.answer("failures", 100)
    before = len(log_of(play))
    play.answer("failures", 100)
    assert len(log_of(play)) == before


def test_candidates_and_clues_go_into_the_investigation(play):
    play.add_candidate("supply")
    play.add_candidate("lot", effect="supply")
    play.buy("survey-supply", reason=WHY)
    name = play.cite("survey-supply", shows="found on most failed units", supports=["supply"],
                     if_true={"supply": "expected", "lot": "unlikely"})  # fmt: skip
    case = parse_investigation(files.read_yaml(play.investigation))
    assert case.id == play.case.code
    assert set(case.causes) == {"supply", "lot"}
    assert case.below("problem") == ("supply", "lot")
    assert case.evidence[name].source == "clue survey-supply"
    assert case.evidence[name].survey is not None


def test_what_was_not_bought_cannot_be_cited(play):
    play.add_candidate("supply")
    with pytest.raises(RcaError, match="was not bought"):
        play.cite("bench-supply", shows="all outside", supports=["supply"])


def test_a_wrong_repair_fails_again_and_the_case_goes_on(play):
    after = play.repair(PART_ONLY, reason="a new part has always helped")
    assert play.stage is Stage.JUDGING
    assert int(after.months["failures"].sum()) > 0
    assert after.first_failure_after is not None
    assert f"{after.first_failure_after:g} months" in str(after)
    with pytest.raises(RcaError, match="verdict"):
        play.buy("changes", reason=WHY)
    with pytest.raises(RcaError, match="verdict"):
        play.finish()
    play.verdict("not effective", reason="as many failures as before", confidence=80, ratio=1.0)
    assert play.can_go_on
    today = play.today
    play.go_on()
    assert (play.stage, play.round) == (Stage.LOOKING, 2)
    assert today > play.case.cutoff
    play.buy("changes", reason=WHY)
    second = play.repair("supply", reason="the readings point to it")
    assert second.applied_on > after.seen_until
    assert str(play.after(1)) == str(after)


def test_the_rounds_come_to_an_end(play):
    for number in range(play.case.rounds):
        play.repair(PART_ONLY, reason="a new part has always helped")
        play.verdict("too early", reason="hard to say so soon", confidence=30)
        assert play.can_go_on == (number + 1 < play.case.rounds)
        if play.can_go_on:
            play.go_on()
    with pytest.raises(RcaError, match="no round is left"):
        play.go_on()
    play.finish()


@pytest.mark.parametrize(
    ("word", "confidence", "ratio"),
    [("fixed", 50, None), ("too early", 120, None), ("too early", "sure", None),
     ("too early", 50, -1)],
)  # fmt: skip
def test_a_verdict_that_cannot_be_is_refused(play, word, confidence, ratio):
    play.repair(PART_ONLY, reason="a new part has always helped")
    with pytest.raises(RcaError):
        play.verdict(word, reason="this is my reason", confidence=confidence, ratio=ratio)
    assert play.verdicts() == ()


def test_finished_work_is_read_only_and_can_be_handed_in(play):
    play.buy("changes", reason=WHY)
    play.finish()
    for change in (
        lambda: play.buy("records-life", reason=WHY),
        lambda: play.answer("failures", 1),
        lambda: play.repair(PART_ONLY, reason="a new part has always helped"),
        lambda: play.add_candidate("supply"),
        play.finish,
    ):
        with pytest.raises(RcaError):
            change()
    assert len(play.results()) == 1
    handed = play.hand_in()
    names = zipfile.ZipFile(handed).namelist()
    assert sorted(name.rpartition("/")[2] for name in names) == [
        "case.json", "investigation.yaml", "log.jsonl",
    ]  # fmt: skip
    first = handed.read_bytes()
    assert play.hand_in().read_bytes() == first


def test_what_is_missing_is_said_in_words(play):
    asked = {one.asks for one in questions_of(play.case)}
    missing = play.missing()
    assert sum(any(text in line for text in asked) for line in missing) >= 10
    assert any("no repair" in line for line in missing)


def test_the_questions_are_the_same_in_every_case(case):
    other = built("lot")
    first = [(one.id, one.stage, one.kind) for one in questions_of(case.case)]
    assert first == [(one.id, one.stage, one.kind) for one in questions_of(other.case)]
