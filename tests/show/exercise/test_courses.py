"""The months after a repair: one past for all futures, and the verdict that can be found in it."""

import pandas as pd
import pytest

from rca.causes.fixes import judge_fixes
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from rca.records.simulate import simulate
from rca.records.simulate.draws import Draws
from rca.show.exercise.menu import PART_ONLY
from rca.show.exercise.planting import fix_day, plan_of, with_repair
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.setting import ROUNDS, draw_setting
from tests.show.exercise.conftest import built
from tests.show.exercise.personas import begin


@pytest.mark.parametrize("kind", SUSPECTS)
def test_what_lies_before_a_repair_is_the_same_in_every_future(kind):
    """Lives that ended before the day of the repair, whichever repair works later on."""
    one = draw_setting(Draws(5, "x"), level="middle", kind=kind)
    whole = simulate(plan_of(one), seed=7)
    for number in range(1, ROUNDS + 1):
        other = simulate(with_repair(plan_of(one), number, setting=one), seed=7)
        day = pd.Timestamp(fix_day(one, number))
        ended = [
            fleet.truth.lives[
                (fleet.truth.lives["part"] == one.scenario.part)
                & (fleet.truth.lives["ended_on"] < day)
            ].drop(columns="under").reset_index(drop=True)
            for fleet in (whole, other)
        ]  # fmt: skip
        pd.testing.assert_frame_equal(*ended)


def course(key, number, right):
    return next(one for one in key.courses if (one["round"], one["right"]) == (number, right))


@pytest.mark.parametrize(
    ("kind", "traps"),
    [("supply", None), ("age", None), ("duty", ("odometer replaced", "survivors missing"))],
)
def test_the_student_finds_the_verdict_of_the_key_in_the_records_given(kind, traps, tmp_path):
    """The kit run on the folder that the student gets says what the key says, in both rounds."""
    case = built(kind, traps)
    play = begin(case, tmp_path)
    for number, repair in enumerate((PART_ONLY, case.key.right_repairs[0]), start=1):
        after = play.repair(repair, reason="we try it and see what comes")
        fleet = read_fleet(after.records)
        verdicts = judge_fixes(fleet, build_lives(fleet))
        found = next(one for one in verdicts if one.plan.fix == f"repair {number}")
        right = course(case.key, number, 0 if number == 1 else 2)
        word = "not effective" if str(found.effect) == "relapsed" else str(found.effect)
        assert word == right["verdict"]
        assert found.observed == right["observed"] == int(after.months["failures"].sum())
        assert found.expected == pytest.approx(right["expected"], rel=1e-3)
        play.verdict(right["accepted"][0], reason="the kit says so too", confidence=90)
        if play.can_go_on and number == 1:
            play.go_on()


def test_a_right_repair_shows_and_a_wrong_one_does_not(cases):
    """Over all kinds: observed over expected is far lower after the right repair."""
    ratios = {0: [], 1: []}
    for case in cases.values():
        for right in (0, 1):
            one = course(case.key, 1, right)
            ratios[right].append(one["observed"] / one["expected"])
    assert sum(ratios[0]) / len(ratios[0]) > 0.75
    assert sum(ratios[1]) / len(ratios[1]) < 0.45
    assert all(course(one.key, 1, 0)["verdict"] != "effect shown" for one in cases.values())


def test_after_the_right_repair_every_further_one_shows_the_same_months(tmp_path):
    """Whatever is done in the second round, the cause is gone already."""
    case = built("supply")
    seen = []
    for name, second in (("a", PART_ONLY), ("b", case.key.right_repairs[0])):
        play = begin(case, tmp_path / name)
        play.repair(case.key.right_repairs[0], reason="the readings point to it")
        play.verdict("too early", reason="let us wait a little longer", confidence=40)
        play.go_on()
        seen.append(play.repair(second, reason="and something more to be sure"))
    pd.testing.assert_frame_equal(seen[0].months, seen[1].months)
