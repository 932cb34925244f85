"""Counts for the debrief: Brier score and intervals against published values, and a small class."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from rca.errors import NoAnswer, Refused
from rca.show.exercise import debrief
from rca.show.exercise.debrief import brier, read_class, share_with_limits
from rca.show.exercise.marking import class_entry, mark_work
from tests.show.exercise.conftest import built

PLAYED = (
    ("supply", "perfect"), ("lot", "perfect"), ("supply", "sound but wrong"),
    ("supply", "lucky guesser"), ("lot", "part-swapper"), ("supply", "alters files"),
)  # fmt: skip


def test_brier_score_of_the_paper():
    """Brier (1950), table 1: ten forecasts of rain; his sum over both outcomes is 0.19.

    Forecasts and result typed from memory of the paper; the score of one outcome is half of it.
    """
    rain = [0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1]
    fell = [0, 1, 1, 1, 0, 0, 0, 0, 0, 0]
    assert 2 * brier(rain, fell) == pytest.approx(0.19)


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=30))
def test_brier_score_lies_between_0_and_1(pairs):
    said, right = zip(*pairs, strict=True)
    assert 0 <= brier(said, right) <= 1
    assert brier(np.array(right, float), right) == 0


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_limits_of_a_share_are_those_of_a_library(pair):
    """Against statsmodels, method "beta" (Clopper and Pearson)."""
    hits, count = pair
    lower, upper = proportion_confint(hits, count, alpha=0.05, method="beta")
    found = share_with_limits(hits, count)
    assert found["lower"] == pytest.approx(lower, abs=1e-12)
    assert found["upper"] == pytest.approx(upper, abs=1e-12)


@pytest.fixture(scope="module")
def result(played, rubric, tmp_path_factory):
    """A class of six, one of whom altered the log."""
    entries = []
    for kind, persona in PLAYED:
        key = built(kind).key
        entries.append(class_entry(mark_work(played(kind, persona)[1], key, rubric), key))
    path = tmp_path_factory.mktemp("class") / "class.json"
    path.write_text(json.dumps({"format": 1, "students": entries, "missing": ["zoe"]}))
    return read_class(path.parent)


def test_withheld_marks_are_left_out_and_counted(result):
    assert len(result.students) == 5
    assert len(result.withheld) == 1
    assert str(result) == "5 students marked, 1 withheld, 1 handed nothing in"


def test_causes_named_add_up(result):
    table = debrief.causes_named(result)
    assert table["named"].sum() == 5
    assert table["true_in"].sum() == 5
    supply = table[table["cause"] == "supply"].iloc[0]
    assert (supply["named"], supply["right"], supply["true_in"]) == (2, 2, 3)
    assert "none named" in set(table["cause"])


def test_confidence_against_what_was_right(result):
    """Two said 90 % and were right, one 99 % and right, one 60 % and wrong."""
    score = debrief.brier_score(result)
    assert score.students == 4
    assert score.score == pytest.approx((2 * 0.1**2 + 0.01**2 + 0.6**2) / 4)
    assert score.constant == pytest.approx(0.75 * 0.25)
    assert "over 4 students" in str(score)
    table = debrief.calibration(result)
    assert list(table["students"]) == [1, 3]
    assert list(table["right"]) == [0, 3]
    assert (table["lower"] <= table["share_right"]).all()


def test_nobody_said_how_sure_is_no_answer(result, tmp_path):
    data = {"format": 1, "missing": [], "students": [
        {**one, "confidence": None} for one in result.entries]}  # fmt: skip
    (tmp_path / "class.json").write_text(json.dumps(data))
    with pytest.raises(NoAnswer):
        debrief.brier_score(read_class(tmp_path))


def test_an_empty_class_gives_empty_tables(tmp_path):
    (tmp_path / "class.json").write_text('{"format": 1, "students": [], "missing": []}')
    empty = read_class(tmp_path)
    for count in (debrief.causes_named, debrief.spending_against_marks, debrief.calibration,
                  debrief.traps_caught, debrief.points_by_criterion):  # fmt: skip
        assert len(count(empty)) == 0


def test_spending_and_points(result):
    table = debrief.spending_against_marks(result)
    assert ((table["spent_share"] >= 0) & (table["spent_share"] <= 1)).all()
    perfect = table[table["total"] > 90].iloc[0]
    assert perfect["spent_share"] >= perfect["best_share"] - 0.25
    points = debrief.points_by_criterion(result)
    share = (points["points"] / points["most"]).to_numpy()
    assert (np.diff(share) >= 0).all()
    assert (points["students"] == 5).all()


def test_traps_are_counted_with_those_of_whom_it_cannot_be_told(result):
    table = debrief.traps_caught(result)
    assert len(table) >= 1
    assert (table["caught"] + table["seen"] + table["cannot_tell"] == table["cases"]).all()


def test_best_order_and_a_replayed_path_agree():
    """Replaying the best order ends at the share that the order states."""
    key = built("supply").key
    order = debrief.best_order(key)
    path = debrief.path_of({"bought": list(order["clue"])}, key)
    assert list(path["spent"]) == list(order["spent"])
    assert path["share_of_truth"].iloc[-1] == pytest.approx(order["share"].iloc[-1], abs=1e-3)


@pytest.mark.parametrize("text", ["", "[]", '{"format": 9}', '{"format": 1, "students": [{}]}'])
def test_what_is_no_marked_class_is_refused(text, tmp_path):
    (tmp_path / "class.json").write_text(text)
    with pytest.raises(Refused):
        read_class(tmp_path)
