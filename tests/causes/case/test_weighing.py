"""Weighing: hand-worked numbers, exclusion, what counts and what does not."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.causes.case.evidence import judge_evidence
from rca.causes.case.investigation import Investigation
from rca.causes.case.weighing import (
    CONTRARY,
    NOT_STATED,
    Weighing,
    explanations_of,
    likelihood_word,
    weigh,
)
from tests.cases import case_of, causes, rich_case

THREE = causes(a="", b="", c="")


def item(kind: str = "measured", **if_true: str) -> dict[str, Any]:
    renamed = {name.replace("_", " "): word for name, word in if_true.items()}
    return {"kind": kind, "shows": "s", "if_true": renamed}


def weighed(case: Investigation) -> Weighing:
    return weigh(case, judge_evidence(case))


def shares(case: Investigation) -> dict[str, float]:
    return {str(one.explanation): one.share for one in weighed(case).weighed}


def test_hand_worked_shares() -> None:
    """Two items, equal priors of 1/4, worked by hand.

    a: 0.9 * 0.9 = 0.81; b: 0.5 * 0.1 = 0.05; c: 0.1 * 0.5 = 0.05; other: 0.5 * 0.5 = 0.25;
    sum 1.16.
    """
    case = case_of(
        problem={"because": {"any": ["a", "b", "c"]}},
        causes=THREE,
        evidence={
            "e1": item(a="expected", b="possible", c="unlikely"),
            "e2": item(a="expected", b="unlikely"),
        },
    )
    found = shares(case)
    assert found == pytest.approx(
        {"a": 0.81 / 1.16, "b": 0.05 / 1.16, "c": 0.05 / 1.16, "something else": 0.25 / 1.16}
    )
    leader = weighed(case).leader
    assert leader.log_odds == pytest.approx(math.log(0.81 / 0.35))
    assert [str(one.explanation) for one in weighed(case).rivals] == []


def test_weaker_kinds_count_less() -> None:
    """Told is drawn toward 0.5: 0.6 * 0.9 + 0.4 * 0.5 = 0.74; observed: 0.86 (by hand)."""
    for kind, p in (("told", 0.74), ("observed", 0.86), ("recorded", 0.9)):
        case = case_of(
            problem={"because": {"any": ["a", "b"]}},
            causes=causes(a="", b=""),
            evidence={"e": item(kind, a="expected")},
        )
        assert shares(case)["a"] == pytest.approx(p / (p + 1.0))


def test_assumption_is_no_observation() -> None:
    """An assumption is left out, with the reason."""
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        evidence={"e": item("assumed", a="expected")},
    )
    assert weighed(case).items == ()
    assert "no observation" in weighed(case).left_out["e"]


def test_sound_impossible_excludes_and_a_told_one_does_not() -> None:
    """Measured: no share at all. Told: 0.6 * 0.01 + 0.4 * 0.5 = 0.206 against 0.5 (by hand)."""
    for kind, share in (("measured", 0.0), ("told", 0.206 / 1.206)):
        case = case_of(
            problem={"because": {"any": ["a", "b"]}},
            causes=causes(a="", b=""),
            evidence={"e": item(kind, a="impossible")},
        )
        assert shares(case)["a"] == pytest.approx(share)
    sound = case_of(
        problem={"because": "a"}, causes=causes(a=""), evidence={"e": item(a="impossible")}
    )
    assert weighed(sound).weighed[0].excluded_by == ("e",)
    assert weighed(sound).weighed[0].log_odds == -math.inf


def test_explanations_are_sets_that_suffice() -> None:
    """Of the rich case: blocked feed AND no rule together, or dirt, or something else."""
    found = {str(one) for one in explanations_of(rich_case())}
    assert found == {"blocked and no-rule", "dirty", "something else"}


def test_evidence_on_a_middle_cause_counts_for_its_ends() -> None:
    """What is expected if the bearing ran dry is expected under each end that makes it run dry."""
    case = case_of(
        problem={"because": {"any": ["dry", "dirt"]}},
        causes=causes(dry={"all": ["x", "y"]}, dirt="", x="", y=""),
        evidence={"e": item(dry="expected", dirt="unlikely")},
    )
    assert shares(case) == pytest.approx(
        {"x and y": 0.9 / 1.5, "dirt": 0.1 / 1.5, "something else": 0.5 / 1.5}
    )


def test_priors_multiply_within_an_explanation() -> None:
    """Priors x 0.5, y 0.4, dirt 0.1, other 0.25: shares 0.75 * 0.2 / 0.3 and 0.75 * 0.1 / 0.3."""
    held = causes(dry={"all": ["x", "y"]}, dirt="", x="", y="")
    for name, prior in (("x", 0.5), ("y", 0.4), ("dirt", 0.1)):
        held[name]["prior"] = prior
    case = case_of(problem={"because": {"any": ["dry", "dirt"]}}, causes=held, something_else=0.25)
    assert shares(case) == pytest.approx({"x and y": 0.5, "dirt": 0.25, "something else": 0.25})


def test_same_fact_counts_once() -> None:
    """Two pieces of evidence on one reading, and a test told again as evidence, count once."""
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        measurements={
            "m": {"quantity": "q", "unit": "V", "at_most": 1, "limit_source": "s",
                  "standard_uncertainty": 0.1, "as_found": {"reading": 3}},
        },
        tests={"t": {"does": "d", "cost": 1, "would_show": {"a": "fail", "b": "pass"},
                     "done": {"result": "fail"}}},
        evidence={
            "e1": item(a="expected") | {"measurement": "m", "proves": "outside limit"},
            "e2": item(a="expected") | {"measurement": "m", "proves": "outside limit"},
            "e3": item(a="expected") | {"test": "t", "result": "fail"},
        },
    )  # fmt: skip
    found = weighed(case)
    assert [one.id for one in found.items] == ["e1", "e3"]
    assert "counted once" in found.left_out["e2"]
    assert "counted once" in found.left_out["t"]


def test_evidence_that_does_not_hold_is_left_out() -> None:
    """A reading that no longer proves its point carries no weight, and the reason is told."""
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        measurements={
            "m": {"quantity": "q", "unit": "V", "at_most": 1, "limit_source": "s",
                  "standard_uncertainty": 0.1, "as_found": {"reading": 1.05}},
        },
        evidence={"e": item(a="expected") | {"measurement": "m", "proves": "outside limit"}},
    )  # fmt: skip
    assert weighed(case).items == ()
    assert "not proved either way" in weighed(case).left_out["e"]


def test_done_test_counts_with_its_error_rates() -> None:
    """Result pass, false pass 0.1: a (would fail) 0.1, b (would pass) 0.98, other 0.5 (by hand)."""
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        tests={"t": {"does": "d", "cost": 1, "would_show": {"a": "fail", "b": "pass"},
                     "false_pass": 0.1, "false_fail": 0.02, "done": {"result": "pass"}}},
    )  # fmt: skip
    total = 0.1 + 0.98 + 0.5
    assert shares(case) == pytest.approx(
        {"a": 0.1 / total, "b": 0.98 / total, "something else": 0.5 / total}
    )


def test_leave_one_out_names_the_item_that_decides() -> None:
    """Without the one item that separates them, nothing separates the explanations."""
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=causes(a="", b=""),
        evidence={
            "decides": item(a="unlikely", b="expected", something_else="unlikely"),
            "useless": item(a="expected", b="expected", something_else="expected"),
        },
    )
    found = weighed(case)
    assert found.useless_items == ("useless",)
    assert str(found.leader.explanation) == "b"
    assert found.leave_one_out()["decides"].share == pytest.approx(1 / 3)
    assert found.leave_one_out()["useless"].share == pytest.approx(found.leader.share)


def test_contrary_statements_are_listed_and_count_as_nothing() -> None:
    """Expected under one cause and unlikely under another of the same explanation: said so."""
    case = case_of(
        problem={"because": {"any": [{"all": ["a", "b"]}, "c"]}},
        causes=THREE,
        evidence={"e": item(a="expected", b="unlikely")},
    )
    found = weighed(case)
    assert [(name, str(one)) for name, one in found.contrary] == [("e", "a and b")]
    assert found.weighed[0].share == pytest.approx(1 / 3)


@pytest.mark.parametrize(
    ("stated", "word"),
    [
        ({}, NOT_STATED),
        ({"a": "possible"}, "possible"),
        ({"a": "possible", "b": "expected"}, "expected"),
        ({"a": "impossible", "b": "expected"}, "impossible"),
        ({"a": "unlikely", "b": "expected"}, CONTRARY),
        ({"z": "expected"}, NOT_STATED),
    ],
)
def test_classes_of_several_causes_join(stated: dict[str, str], word: str) -> None:
    """Impossible wins, possible gives way, opposites cancel."""
    assert likelihood_word(stated, frozenset("ab")) == word


@settings(max_examples=60, deadline=None)
@given(
    words=st.lists(
        st.dictionaries(
            st.sampled_from(["a", "b", "c", "something else"]),
            st.sampled_from(["expected", "possible", "unlikely", "impossible"]),
            min_size=1,
        ),
        max_size=5,
    )
)
def test_shares_are_a_distribution_and_order_does_not_matter(words: list[dict[str, str]]) -> None:
    """Shares add up to 1, whatever is excluded, and no order of the items changes them."""

    def of(order: list[dict[str, str]]) -> dict[str, float]:
        evidence = {
            f"e{n}": {"kind": "measured", "shows": "s", "if_true": one}
            for n, one in enumerate(order)
        }
        return shares(
            case_of(problem={"because": {"any": ["a", "b", "c"]}}, causes=THREE, evidence=evidence)
        )

    found = of(words)
    assert sum(found.values()) == pytest.approx(1.0)
    assert of(words[::-1]) == pytest.approx(found)
