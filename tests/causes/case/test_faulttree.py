"""Fault trees: constructed cases with exact answers, a handbook example, and enumeration."""

from itertools import combinations, product
from math import comb, prod
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.causes.case.entries import PROBLEM, Gate, Seen
from rca.causes.case.faulttree import FaultTree, fault_tree
from rca.causes.case.parsing import parse_investigation
from rca.errors import NoAnswer
from tests.cases import case_of, causes, graphs, rich_case


def sets(*groups: str) -> set[frozenset[str]]:
    return {frozenset(group.split()) for group in groups}


REPEATED = FaultTree(
    Gate(2, (Gate(1, ("A", "B")), Gate(1, ("A", "C")))), {}, {"A": 0.01, "B": 0.02, "C": 0.03}
)


def test_repeated_event_is_counted_once() -> None:
    """(A or B) and (A or C), constructed, exact by enumeration; S28."""
    assert set(REPEATED.minimal_cut_sets) == sets("A", "B C")
    assert REPEATED.top_probability == pytest.approx(0.010594, rel=1e-12)
    assert REPEATED.rare_event_sum == pytest.approx(0.0106, rel=1e-12)
    wrong = (1 - 0.99 * 0.98) * (1 - 0.99 * 0.97)  # gates multiplied as if independent
    assert wrong == pytest.approx(0.001183060000000004)
    assert REPEATED.single_points == ("A",)


def test_two_of_four() -> None:
    """Any two of A, B, C, D, constructed, exact by enumeration; S28."""
    tree = FaultTree(Gate(2, tuple("ABCD")), {}, {"A": 0.01, "B": 0.02, "C": 0.03, "D": 0.05})
    assert tree.top_probability == pytest.approx(0.0039789, rel=1e-10)
    assert len(tree.minimal_cut_sets) == comb(4, 2)


def test_pressure_tank_of_the_fault_tree_handbook() -> None:
    """NUREG-0492, pressure tank (structure and probabilities recalled), exact computed; S29."""
    tree = FaultTree(
        Gate(1, ("T", "K2", "E")),
        {"E": Gate(2, ("S", "F")), "F": Gate(1, ("S1", "K1", "R"))},
        {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "K1": 3e-5, "R": 1e-4, "S1": 3e-5},
    )
    assert set(tree.minimal_cut_sets) == sets("T", "K2", "S S1", "S K1", "S R")
    assert tree.top_probability == pytest.approx(3.501584875003554e-05, rel=1e-9)
    assert tree.rare_event_sum == pytest.approx(3.5016e-05, rel=1e-9)


def test_birnbaum_and_fussell_vesely_by_hand() -> None:
    """For A or (B and C): dP/dB = (1 - a) c; share through {B, C} is b c / P(top)."""
    tree = FaultTree(Gate(1, ("A", Gate(2, ("B", "C")))), {}, {"A": 0.1, "B": 0.2, "C": 0.3})
    top = 1 - 0.9 * (1 - 0.06)
    assert tree.top_probability == pytest.approx(top)
    assert tree.birnbaum() == pytest.approx({"A": 1 - 0.06, "B": 0.9 * 0.3, "C": 0.9 * 0.2})
    assert tree.fussell_vesely() == pytest.approx(
        {"A": 0.1 / top, "B": 0.06 / top, "C": 0.06 / top}
    )


def enumerated(tree: FaultTree, p: dict[str, float]) -> float:
    """Probability of the top event by going through every state of the basic events."""
    total = 0.0
    for state in product((False, True), repeat=len(tree.events)):
        true = {name for name, on in zip(tree.events, state, strict=True) if on}
        for _ in tree.gates:  # enough passes for any order of the gates
            true |= {name for name, gate in tree.gates.items() if gate.holds(true)}
        if tree.top.holds(true):
            total += prod(p[name] if name in true else 1 - p[name] for name in tree.events)
    return total


def enumerated_cut_sets(tree: FaultTree) -> set[frozenset[str]]:
    """Minimal sets that satisfy the top, smallest first, by trying all subsets."""
    found: list[frozenset[str]] = []
    for size in range(len(tree.events) + 1):
        for subset in combinations(tree.events, size):
            true = set(subset)
            if any(smaller <= true for smaller in found):
                continue
            for _ in tree.gates:
                true |= {name for name, gate in tree.gates.items() if gate.holds(true)}
            if tree.top.holds(true):
                found.append(frozenset(subset))
    return set(found)


@settings(max_examples=80, deadline=None)
@given(graph=graphs(most=8), seed=st.integers(0, 2**32))
def test_any_tree_agrees_with_enumeration(graph: dict[str, Any], seed: int) -> None:
    """Top probability, importance and cut sets of any tree equal plain enumeration."""
    case = parse_investigation(
        {
            "investigation": "any",
            "problem": {"statement": "s", "because": graph["because"]},
            "causes": graph["causes"],
        }
    )
    bare = fault_tree(case)
    p = dict(zip(bare.events, np.random.default_rng(seed).uniform(0, 1, 20), strict=False))
    tree = FaultTree(bare.top, bare.gates, p)
    exact = enumerated(tree, p)
    assert tree.top_probability == pytest.approx(exact, abs=1e-12)
    assert set(tree.minimal_cut_sets) == enumerated_cut_sets(tree)
    assert exact <= tree.rare_event_sum + 1e-12
    for name, importance in tree.birnbaum().items():
        on, off = enumerated(tree, p | {name: 1.0}), enumerated(tree, p | {name: 0.0})
        assert importance == pytest.approx(on - off, abs=1e-12)
    for one in tree.minimal_cut_sets:
        implied = case.implied(one)
        assert case.because(PROBLEM).holds(implied)


def test_k_of_n_has_n_over_k_cut_sets() -> None:
    """Three of 25 has C(25, 3) = 2300 minimal cut sets of size 3 (identity)."""
    tree = FaultTree(Gate(3, tuple(f"e{number}" for number in range(25))), {})
    assert len(tree.minimal_cut_sets) == comb(25, 3)
    assert {len(one) for one in tree.minimal_cut_sets} == {3}


def test_too_many_cut_sets_are_refused_and_the_probability_still_stands() -> None:
    """10 of 20 has 184 756 cut sets; the probability is that of the binomial distribution."""
    names = tuple(f"e{number}" for number in range(20))
    tree = FaultTree(Gate(10, names), {}, dict.fromkeys(names, 0.3))
    with pytest.raises(NoAnswer, match="more than"):
        _ = tree.minimal_cut_sets
    binomial = sum(comb(20, k) * 0.3**k * 0.7 ** (20 - k) for k in range(10, 21))
    assert tree.top_probability == pytest.approx(binomial, rel=1e-12)


def test_interval_of_a_counted_event_is_jeffreys() -> None:
    """A tree of one event counted 3 of 40: the interval is that of Beta(3.5, 37.5) (scipy)."""
    from scipy.stats import beta

    tree = FaultTree(Gate(1, ("A",)), {}, {"A": Seen(3, 40)})
    found = tree.top_interval(draws=200_000)
    assert found.lower == pytest.approx(beta.ppf(0.025, 3.5, 37.5), rel=0.02)
    assert found.upper == pytest.approx(beta.ppf(0.975, 3.5, 37.5), rel=0.02)
    known = FaultTree(Gate(1, ("A",)), {}, {"A": 0.2}).top_interval()
    assert (known.lower, known.upper) == (0.2, 0.2)


def test_tree_of_a_case_takes_its_probabilities() -> None:
    """P = P(blocked) P(no rule) joined with P(dirty): 1 - (1 - 0.075 * 0.3)(1 - 0.02)."""
    tree = fault_tree(rich_case())
    assert tree.top_probability == pytest.approx(1 - (1 - 0.075 * 0.3) * 0.98)
    assert tree.single_points == ("dirty",)


def test_missing_probability_is_named() -> None:
    """A probability that is not stated is asked for by name; cut sets need none."""
    case = case_of(problem={"because": {"all": ["a", "b"]}}, causes=causes(a="", b=""))
    tree = fault_tree(case)
    assert set(tree.minimal_cut_sets) == sets("a b")
    with pytest.raises(NoAnswer, match="a, b"):
        _ = tree.top_probability


def test_no_cause_no_tree() -> None:
    """Where nothing is stated there is nothing to draw, and the answer says so."""
    with pytest.raises(NoAnswer, match="no cause is stated"):
        fault_tree(case_of())
