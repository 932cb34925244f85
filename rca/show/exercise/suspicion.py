"""How far the clues of a case tell its suspects apart, by the kit's own weighing and next test.

Explanations are the eight suspects, and each pair of hidden ones that might be needed together.
Every clue is a test with its chance of error; `weigh` gives what all results say together, and
`rank_tests` (expected information per cost) the best next purchase. What a case is worth as an
exercise is measured by that: the share of the budget that the best order of purchases spends
before the guilty explanation leads every other by `CLEAR` to one.
"""

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from typing import Any

from rca.causes.case.entries import SOMETHING_ELSE
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest, rank_tests
from rca.causes.case.observations import Done, ProposedTest
from rca.causes.case.parsing import parse_investigation
from rca.causes.case.weighing import Weighing, weigh
from rca.show.exercise.scenario import BRANCH, MECHANISMS, SUSPECTS
from rca.show.exercise.setting import HIDDEN

CLEAR = 20.0
LEAD_SHARE = CLEAR / (CLEAR + 1)
PAIRS = tuple(f"{one}-and-{other}" for one, other in combinations(HIDDEN, 2))

ERRORS: Mapping[str, tuple[float, float]] = {
    "bench": (0.15, 0.2),
    "survey": (0.12, 0.07),
    "demonstration": (0.06, 0.05),
}
"""Chance of a wrong pass and of a wrong fail (constructed, from how the clues are drawn)."""
OTHER_ERRORS = {
    "records-before": 0.3, "records-groups": 0.3, "records-life": 0.2, "teardown-one": 0.32,
    "teardown-six": 0.12, "teardown-laboratory": 0.08,
}  # fmt: skip


def explanation_name(guilty: frozenset[str] | set[str]) -> str:
    """Name of the explanation in which exactly these suspects are guilty."""
    return "-and-".join(name for name in SUSPECTS if name in guilty)


def explanation_words(name: str) -> str:
    """Say an explanation by the branches of its suspects, as they stand on the case sheet."""
    return " and ".join(BRANCH.get(one, one) for one in _members(name))


def _members(name: str) -> tuple[str, ...]:
    return tuple(name.split("-and-"))


def would_show(clue: str) -> Mapping[str, str]:
    """What a clue would show without error under each explanation; empty: it tells nothing."""
    group, _, detail = clue.partition("-")
    known = (*SUSPECTS, *PAIRS)
    if group in ERRORS:
        shows = {name: "fail" if detail in _members(name) else "pass" for name in known}
        return {**shows, SOMETHING_ELSE: "pass"}
    if group == "teardown":
        return {name: MECHANISMS[name] for name in SUSPECTS} | {
            name: MECHANISMS[_members(name)[0]] for name in PAIRS
        }
    if clue == "records-life":
        return {name: "wear" if name == "age" else "no" for name in known}
    if clue == "records-before":
        return {name: name if name in HIDDEN else "nothing" for name in SUSPECTS}
    if clue == "records-groups":
        groups = ("duty", "environment", "lot", "fitting")
        return {name: name if name in groups else "nothing" for name in known}
    return {}


@cache
def _template() -> Investigation:
    """The suspects as causes and every clue that tells something as a test, without prices."""
    from rca.show.exercise.menu import CLUE_IDS

    names = (*SUSPECTS, *PAIRS)
    return parse_investigation(
        {
            "investigation": "suspects",
            "problem": {"statement": "the part fails", "because": {"any": list(names)}},
            "causes": {
                name: {"says": name, "layer": "upstream", "prior": _prior(name)} for name in names
            },
            "tests": {name: _test(name) for name in CLUE_IDS if would_show(name)},
            "something_else": 0.02,
        }
    )


def _test(clue: str) -> dict[str, Any]:
    entry: dict[str, Any] = {"does": clue, "cost": 1, "would_show": dict(would_show(clue))}
    group = clue.partition("-")[0]
    if group in ERRORS:
        entry["false_pass"], entry["false_fail"] = ERRORS[group]
    else:
        entry["error_rate"] = OTHER_ERRORS[clue]
    return entry


def suspicion(prices: Mapping[str, int]) -> Investigation:
    """Return the case as an investigation: suspects as causes, clues as tests not yet done."""
    case = _template()
    tests = {
        name: replace(case.tests[name], cost=float(prices[name]))
        for name in prices
        if name in case.tests
    }
    return replace(case, tests=tests)


def _prior(name: str) -> float:
    """A pair is as likely beforehand as a third of one suspect (constructed)."""
    return 0.03 if name in PAIRS else 0.1


def with_results(case: Investigation, outcomes: Mapping[str, str]) -> Investigation:
    """Return the case with the tests named done, and their results."""
    tests: dict[str, ProposedTest] = {
        name: replace(test, done=Done(outcomes[name])) if name in outcomes else test
        for name, test in case.tests.items()
    }
    return replace(case, tests=tests)


@dataclass(frozen=True, slots=True)
class Purchase:
    """One step of the best order: clue, its price, what was spent so far, and who leads then."""

    clue: str
    price: int
    spent: int
    bits: float
    leader: str
    share: float


@dataclass(frozen=True, slots=True)
class Solution:
    """How a case can be solved.

    separation
        With every clue bought: probability of the guilty explanation over that of its best
        rival, as a logarithm to base 10; below 0 the case misleads.
    spent
        What the best order of purchases spends until the guilty explanation leads every other
        by `CLEAR` to one; None where it never does within the budget.
    order
        That order, to the end of the budget or until it is clear.
    """

    separation: float
    spent: int | None
    budget: int
    order: tuple[Purchase, ...]

    @property
    def share(self) -> float | None:
        """Share of the budget that the best order spends; None where the budget does not do."""
        return None if self.spent is None else self.spent / self.budget


def solve(
    prices: Mapping[str, int],
    outcomes: Mapping[str, str],
    guilty: frozenset[str],
    *,
    budget: int,
) -> Solution:
    """Solve a case with the kit's own methods, as one would who knows nothing beforehand.

    Parameters
    ----------
    prices, outcomes
        Of every clue, by its id.
    """
    name = explanation_name(guilty)
    bench = _Bench(prices, outcomes)
    separation = separation_of(bench.weighed(bench.known), name)
    order = tuple(_best_order(bench, budget)) if separation > 0 else ()
    clear = [one for one in order if one.share >= LEAD_SHARE]
    right = bool(clear) and clear[0].leader == name
    return Solution(separation, clear[0].spent if right else None, budget, order)


class _Bench:
    """All results of a case at hand, to be looked at one after the other.

    Everything is weighed once; what a few results say is the same weighing with fewer items.
    """

    def __init__(self, prices: Mapping[str, int], outcomes: Mapping[str, str]) -> None:
        self.case = suspicion(prices)
        self.outcomes = outcomes
        self.known = tuple(name for name in outcomes if name in self.case.tests)
        self.all = weigh(with_results(self.case, {one: outcomes[one] for one in self.known}), {})

    def weighed(self, done: Collection[str]) -> Weighing:
        """Weigh the results of these clues only."""
        return replace(self.all, items=tuple(one for one in self.all.items if one.id in done))

    def ranked(self, done: Collection[str], weighing: Weighing) -> tuple[RankedTest, ...]:
        """Rank the clues not yet bought."""
        known = {name: self.outcomes[name] for name in done}
        return rank_tests(with_results(self.case, known), weighing)


def separation_of(weighing: Weighing, name: str) -> float:
    """Logarithm (base 10) of the share of one explanation over that of its best rival."""
    shares = {str(one.explanation): one.share for one in weighing.weighed}
    mine = shares.pop(name)
    best = max(shares.values())
    return math.log10(max(mine, 1e-12) / max(best, 1e-12))


def _best_order(bench: _Bench, budget: int) -> Iterator[Purchase]:
    """Buy what tells most for its price, look, and go on until one explanation is clear."""
    done: list[str] = []
    spent = 0
    weighing = bench.weighed(done)
    while not done or weighing.leader.share < LEAD_SHARE:
        ranked = [
            one for one in bench.ranked(done, weighing)
            if spent + one.test.cost <= budget and one.information > 1e-6
        ]  # fmt: skip
        if not ranked:
            return
        best = ranked[0]
        done.append(best.test.id)
        spent += round(best.test.cost)
        weighing = bench.weighed(done)
        leader = weighing.leader
        yield Purchase(
            best.test.id, round(best.test.cost), spent, round(best.information, 3),
            str(leader.explanation), round(leader.share, 4),
        )  # fmt: skip


def shares_after(prices: Mapping[str, int], outcomes: Mapping[str, str]) -> Mapping[str, float]:
    """Probability of each explanation after the clues that were bought."""
    bench = _Bench(prices, outcomes)
    return {str(one.explanation): one.share for one in bench.weighed(bench.known).weighed}
