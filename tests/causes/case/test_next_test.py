"""The next test: expected information against enumeration, and what overrides it."""

import math
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.causes.case.evidence import judge_evidence
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest, Turn, entropy, rank_tests
from rca.causes.case.outcomes import foretold, outcomes_of, result_probability
from rca.causes.case.weighing import weigh
from tests.cases import case_of, causes


def ranked(case: Investigation) -> dict[str, RankedTest]:
    found = rank_tests(case, weigh(case, judge_evidence(case)))
    return {one.test.id: one for one in found}


def two_rivals(**tests: Any) -> Investigation:
    """Causes a and b and (almost) nothing else."""
    whole = {name: {"does": "d", "cost": 10, **test} for name, test in tests.items()}
    return case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        something_else=1e-9,
        tests=whole,
    )


def test_faultless_test_between_two_equal_rivals_gives_one_bit() -> None:
    """One bit parts two equally likely rivals (Shannon, identity)."""
    show = {"a": "fail", "b": "pass"}
    case = two_rivals(t={"would_show": show, "false_pass": 0, "false_fail": 0})
    assert ranked(case)["t"].information == pytest.approx(1.0, abs=1e-6)


def test_error_rate_costs_its_own_entropy() -> None:
    """With a symmetric error e the information is 1 - H(e): e = 0.1 leaves 0.531 (by hand)."""
    show = {"a": "fail", "b": "pass"}
    case = two_rivals(t={"would_show": show, "false_pass": 0.1, "false_fail": 0.1})
    lost = -(0.1 * math.log2(0.1) + 0.9 * math.log2(0.9))
    assert lost == pytest.approx(0.4690, abs=1e-4)
    assert ranked(case)["t"].information == pytest.approx(1 - lost, abs=1e-6)


def test_test_that_shows_the_same_for_all_tells_nothing() -> None:
    """Where every cause would show the same, no bit is gained and no leader changes."""
    case = two_rivals(t={"would_show": {"a": "pass", "b": "pass", "something else": "pass"}})
    assert ranked(case)["t"].information == pytest.approx(0.0, abs=1e-12)
    assert not ranked(case)["t"].could_change_leader


@settings(max_examples=60, deadline=None)
@given(
    shows=st.lists(st.sampled_from(["low", "high", "none"]), min_size=3, max_size=3),
    error=st.floats(0, 0.4),
    weights=st.lists(st.floats(0.05, 1), min_size=4, max_size=4),
)
def test_information_equals_enumeration(
    shows: list[str], error: float, weights: list[float]
) -> None:
    """Mutual information of explanation and outcome, by going through their joint table."""
    if len(set(shows)) < 2:
        shows = ["low", "high", shows[2]]
    held = causes(a="", b="", c="")
    other = weights[3] / sum(weights)
    for name, weight in zip("abc", weights, strict=False):
        held[name]["prior"] = weight * 0.9
    case = case_of(
        problem={"because": {"any": ["a", "b", "c"]}},
        causes=held,
        something_else=other,
        tests={"t": {"does": "d", "cost": 4, "error_rate": error,
                     "would_show": dict(zip("abc", shows, strict=True))}},
    )  # fmt: skip
    outcomes = list(dict.fromkeys(shows))
    p = [(1 - other) * w / sum(weights[:3]) for w in weights[:3]] + [other]
    table = {}
    for (place, prior), result in product(enumerate(p), outcomes):
        if place == 3:
            given_cause = 1 / len(outcomes)
        else:
            wrong = error / (len(outcomes) - 1)
            given_cause = 1 - error if shows[place] == result else wrong
        table[place, result] = prior * given_cause
    columns = {r: sum(table[place, r] for place in range(4)) for r in outcomes}
    bits = sum(
        joint * math.log2(joint / (p[place] * columns[result]))
        for (place, result), joint in table.items()
        if joint > 0
    )
    found = ranked(case)["t"]
    assert found.information == pytest.approx(bits, abs=1e-9)
    assert found.per_cost == pytest.approx(bits / 4, abs=1e-9)
    assert sum(one.probability for one in found.outcomes) == pytest.approx(1.0)


def test_cheaper_of_two_equal_tests_comes_first() -> None:
    """Same information, lower cost: first."""
    show = {"a": "fail", "b": "pass"}
    case = two_rivals(dear={"would_show": show, "cost": 80}, cheap={"would_show": show, "cost": 8})
    assert list(ranked(case)) == ["cheap", "dear"]


def test_danger_comes_first_and_destruction_last() -> None:
    """Whatever their figures: danger, what will not keep, the rest, what destroys evidence."""
    show = {"a": "fail", "b": "pass"}
    same = {"a": "pass", "b": "pass"}
    case = two_rivals(
        destroys={"would_show": show, "cost": 1, "destroys_evidence": True},
        plain={"would_show": show, "cost": 50},
        perishes={"would_show": same, "cost": 90, "will_not_keep": True},
        danger={"would_show": same, "cost": 900, "safety_check": True},
    )
    assert list(ranked(case)) == ["danger", "perishes", "plain", "destroys"]
    assert ranked(case)["destroys"].turn is Turn.DESTROYS
    assert "destroys evidence" in Turn.DESTROYS.reason


def test_done_tests_are_not_proposed_again() -> None:
    """What is done has had its say."""
    show = {"a": "fail", "b": "pass"}
    case = two_rivals(t={"would_show": show, "done": {"result": "pass"}})
    assert ranked(case) == {}


def test_free_test_that_tells_something_beats_all() -> None:
    """No cost and some information: infinitely many bits for the money."""
    show = {"a": "fail", "b": "pass"}
    case = two_rivals(t={"would_show": show, "cost": 0})
    assert ranked(case)["t"].per_cost == math.inf


def test_a_fault_shows_whatever_else_is_present() -> None:
    """A pass/fail test fails if any present cause makes it fail; other words must agree."""
    case = two_rivals(
        t={"would_show": {"a": "fail", "b": "pass"}, "false_pass": 0.2},
        w={"would_show": {"a": "low", "b": "high"}},
    )
    t, w = case.tests["t"], case.tests["w"]
    both = frozenset("ab")
    assert (foretold(t, both), foretold(w, both)) == ("fail", "")
    assert result_probability(t, "pass", both) == pytest.approx(0.2)
    assert result_probability(w, "low", both) == pytest.approx(0.5)
    assert outcomes_of(t) == ("pass", "fail")


def test_entropy_of_known_distributions() -> None:
    """One of two: 1 bit; one of eight: 3 bits; certain: none (identities)."""
    assert entropy([0.5, 0.5]) == pytest.approx(1.0)
    assert entropy([1 / 8] * 8) == pytest.approx(3.0)
    assert entropy([1.0, 0.0]) == 0.0
