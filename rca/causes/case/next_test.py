"""Which test to do next: the expected information for its cost, with its own error rates.

Expected information of a test with outcomes r, over explanations e, in bits:

    H(e) - sum over r of P(r) * H(e | r),    P(r) = sum over e of P(e) * P(r | e).

Information per cost as a figure of merit follows an abstract of 1960 on an information-theory
approach to diagnosis (R. A. Johnson, author recalled). It looks one step ahead only. What looks
for a danger, and what will not keep, goes first whatever its figure; what destroys the evidence
goes last.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

from rca.causes.case.entries import SOMETHING_ELSE
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import ProposedTest
from rca.causes.case.outcomes import outcomes_of, result_probability
from rca.causes.case.weighing import Explanation, Weighing


class Turn(IntEnum):
    """When a test's turn comes, before its figure is looked at."""

    DANGER = 0
    WILL_NOT_KEEP = 1
    ANY_TIME = 2
    DESTROYS = 3

    @property
    def reason(self) -> str:
        """Say why, in words; "" where only the figure counts."""
        return {
            Turn.DANGER: "first: it looks for a danger",
            Turn.WILL_NOT_KEEP: "early: waiting loses this evidence",
            Turn.DESTROYS: "last: it destroys evidence; do what needs the part as found before it",
        }.get(self, "")


@dataclass(frozen=True, slots=True)
class Outcome:
    """One outcome of a test: its probability, and who would lead after it."""

    result: str
    probability: float
    leader: Explanation
    leader_share: float


@dataclass(frozen=True, slots=True)
class RankedTest:
    """A test with its expected information in bits and what its outcomes would tell."""

    test: ProposedTest
    turn: Turn
    information: float
    outcomes: tuple[Outcome, ...]
    could_change_leader: bool

    @property
    def per_cost(self) -> float:
        """Bits for one unit of money; inf where it costs nothing."""
        if self.test.cost == 0:
            return math.inf if self.information > 0 else 0.0
        return self.information / self.test.cost

    def __str__(self) -> str:
        results = "; ".join(
            f"{one.result} ({one.probability:.0%}): then {one.leader} {one.leader_share:.0%}"
            for one in self.outcomes
        )
        return f"{self.test.id}: {self.information:.2f} bits; {results}"


def rank_tests(case: Investigation, weighing: Weighing) -> tuple[RankedTest, ...]:
    """Rank the tests not yet done, the next one to do first."""
    open_tests = [test for test in case.tests.values() if test.done is None]
    ranked = [_ranked(test, weighing) for test in open_tests]
    return tuple(sorted(ranked, key=lambda one: (one.turn, -one.per_cost, one.test.cost)))


def entropy(shares: Iterable[float]) -> float:
    """Shannon entropy of a distribution in bits; 0 where one share is 1."""
    return -math.fsum(share * math.log2(share) for share in shares if share > 0)


def _ranked(test: ProposedTest, weighing: Weighing) -> RankedTest:
    shares = [one.share for one in weighing.weighed]
    present = [one.implied or frozenset([SOMETHING_ELSE]) for one in weighing.explanations]
    outcomes, left = [], 0.0
    for result in outcomes_of(test):
        joint = [
            share * result_probability(test, result, one)
            for share, one in zip(shares, present, strict=True)
        ]
        total = math.fsum(joint)
        if total <= 0:
            continue
        after = [one / total for one in joint]
        left += total * entropy(after)
        best = max(range(len(after)), key=after.__getitem__)
        outcomes.append(Outcome(result, total, weighing.explanations[best], after[best]))
    information = max(0.0, entropy(shares) - left)
    now = weighing.leader.explanation
    changes = any(one.leader != now for one in outcomes)
    return RankedTest(test, _turn(test), information, tuple(outcomes), changes)


def _turn(test: ProposedTest) -> Turn:
    if test.safety_check:
        return Turn.DANGER
    if test.destroys_evidence:
        return Turn.DESTROYS
    return Turn.WILL_NOT_KEEP if test.will_not_keep else Turn.ANY_TIME
