"""Marks: path before luck in every kind of case, altered work withheld, points by tolerance."""

from dataclasses import replace

import pytest

from rca.errors import Refused
from rca.records.files import write_text
from rca.show.exercise import path_marks
from rca.show.exercise.facts import Facts, Repaired
from rca.show.exercise.making import default_rubric_text
from rca.show.exercise.marking import mark_work
from rca.show.exercise.rubric import CRITERIA, read_rubric
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.score import closeness
from tests.show.exercise.conftest import built
from tests.show.exercise.personas import PERSONAS


@pytest.mark.parametrize("kind", SUSPECTS)
def test_students_get_marks_in_the_right_order(kind, played, rubric):
    """Sound work, however it ends, stands above luck, and luck above no work at all."""
    key = built(kind).key
    marks = {name: mark_work(played(kind, name)[1], key, rubric) for name in PERSONAS}
    points = {name: one.provisional for name, one in marks.items()}
    assert points["perfect"] >= 95
    sound = min(points["sound but wrong"], points["buys everything"])
    assert points["perfect"] > max(points["sound but wrong"], points["buys everything"])
    assert sound > points["lucky guesser"] + 20
    for name in ("part-swapper", "blames a person", "gives up"):
        assert points["lucky guesser"] > points[name], name
    assert marks["perfect"].points("test_choice") > marks["buys everything"].points("test_choice")
    assert marks["blames a person"].points("no_blame") == 0
    assert marks["sound but wrong"].points("cause") < marks["lucky guesser"].points("cause")
    altered = marks["alters files"]
    assert altered.total is None
    assert "line" in altered.withheld
    assert all(one.total is not None for name, one in marks.items() if name != "alters files")


def test_ordinary_work_is_not_flagged(played, rubric):
    mark = mark_work(played("supply", "perfect")[1], built("supply").key, rubric)
    assert mark.flags == ()
    assert {one.criterion for one in mark.marks} == set(CRITERIA)


def test_work_that_was_not_finished_is_marked_and_flagged(played, rubric):
    work = played("supply", "perfect")[1]
    early = replace(work, steps=work.steps[:-1])
    mark = mark_work(early, built("supply").key, rubric)
    assert "not finished" in mark.flags
    assert mark.total > 90


def test_an_investigation_changed_after_the_end_is_flagged(played, rubric):
    work = played("supply", "perfect")[1]
    changed = replace(work, investigation=work.investigation + "\n# one more thought\n")
    flags = mark_work(changed, built("supply").key, rubric).flags
    assert any("after the work was finished" in one for one in flags)


def test_evidence_that_was_not_bought_does_not_count(played, rubric):
    work, key = played("supply", "perfect")[1], built("supply").key
    without = replace(work, steps=tuple(one for one in work.steps if one.does != "buy"))
    mark = mark_work(without, key, rubric)
    assert mark.points("evidence") == 0
    assert any("not bought" in one for one in mark.flags)


def test_a_reading_cited_for_what_it_clears_does_not_count(played, rubric):
    """In the right chain the readings of the cause are made to say the opposite."""
    work, key = played("supply", "perfect")[1], built("supply").key
    cleared = {name: "pass" if name.endswith("-supply") else one
               for name, one in key.outcomes.items()}  # fmt: skip
    before = mark_work(work, key, rubric).points("evidence")
    after = mark_work(work, replace(key, outcomes=cleared), rubric)
    assert after.points("evidence") < before
    evidence = next(one for one in after.marks if one.criterion == "evidence")
    assert any("does not show" in reason for reason in evidence.because)


def test_points_set_by_a_person_count(played, rubric):
    work, key = played("supply", "gives up")[1], built("supply").key
    mark = mark_work(work, key, rubric, by_person={"problem": 7.5, "plan": 99})
    assert mark.points("problem") == 7.5
    assert mark.points("plan") == rubric.points["plan"]


def test_two_causes_earn_in_part_for_one(rubric):
    key = replace(built("supply").key, guilty=("control", "supply"))
    both = Facts(answers={"cause": "supply", "cause_two": "control"})
    one = Facts(answers={"cause": "control"})
    assert path_marks.cause_score(both, key, rubric).share == 1
    assert path_marks.cause_score(one, key, rubric).share == rubric.part_of_cause["one_of_two"]


@pytest.mark.parametrize(
    ("answers", "share"),
    [
        ({"cause": "supply"}, 1.0),
        ({"cause": "supply", "cause_two": "duty"}, 0.7),
        ({"cause": "lot", "runner_up": "supply"}, 0.4),
        ({"cause": "lot"}, 0.0),
        ({}, 0.0),
        ({"cause": ["supply"]}, 0.0),
    ],
)
def test_the_cause_earns_in_part(answers, share, rubric):
    """Supply is guilty; a lot shows another mechanism at teardown."""
    assert (
        path_marks.cause_score(Facts(answers=answers), built("supply").key, rubric).share == share
    )


def test_the_same_mechanism_earns_a_part(rubric):
    """Control and duty overload the part: the teardown cannot tell them apart."""
    key = replace(built("supply").key, guilty=("duty",))
    assert path_marks.cause_score(Facts(answers={"cause": "control"}), key, rubric).share == 0.3


@pytest.mark.parametrize(
    ("value", "share"),
    [(100, 1), (110, 1), (110.1, 0.5), (120, 0.5), (121, 0), (80, 0.5), (79, 0), (None, 0)],
)
def test_numbers_are_checked_by_tolerance(value, share):
    """10 % around 100: full within, half within twice that (constructed)."""
    assert closeness(value, 100.0, 0.1) == share


def test_a_count_without_tolerance_must_be_right():
    assert closeness(75, 75, 0.0) == 1
    assert closeness(76, 75, 0.0) == 0


def test_the_shape_counts_inside_the_interval_of_the_own_data(rubric):
    key = built("supply").key
    right = key.numbers["shape"]
    at = {
        name: path_marks.data_score(Facts(answers={"shape": value}), key, rubric).share
        for name, value in (("inside", right["upper"] - 0.001), ("far", right["upper"] * 3))
    }
    assert at["inside"] - at["far"] == pytest.approx(0.25)


def test_a_plan_made_after_the_repair_does_not_count(rubric):
    """Only what stood when the repair was chosen: later answers are not looked at."""
    key = built("supply").key
    facts = Facts(answers={"needed": key.numbers["needed"]["value"], "measure": "x" * 40},
                  repairs=(Repaired("supply", "because", "supply", None, ""),))  # fmt: skip
    assert path_marks.plan_score(facts, key, rubric).share == 0


def test_tests_earn_by_what_they_told_for_their_price(rubric):
    key = built("supply").key
    best = path_marks.tests_score(Facts(bought=tuple(one["clue"] for one in key.order)), key)
    dear = path_marks.tests_score(Facts(bought=tuple(key.prices)), key)
    assert best.share > 0.9
    assert best.share > dear.share
    assert path_marks.tests_score(Facts(), key).share == 0


def test_the_shipped_sheet_adds_up_to_a_hundred_and_luck_to_a_fifth(rubric):
    """Cause, repair and verdict, which luck can give, are 20 of 100 points."""
    assert rubric.total == 100
    assert sum(rubric.points[name] for name in ("cause", "action", "verdict")) == 20


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("  problem: 10 ", "  problem: many ", "line 7, points.problem = 'many'"),
        ("  problem: 10 ", "  problems: 10 ", "is not known"),
        ("tolerance:", "tolerances:", "is missing"),
        ("  one_of_two: 0.7", "  one_of_two: 1.7", "from 0 to 1"),
        ("  problem: 10 ", "  problem: true ", "must be a number"),
    ],
)
def test_a_faulty_sheet_is_refused_with_its_line(tmp_path, old, new, said):
    text = default_rubric_text()
    assert old in text
    write_text(tmp_path / "rubric.yaml", text.replace(old, new, 1))
    with pytest.raises(Refused, match=said):
        read_rubric(tmp_path / "rubric.yaml")
