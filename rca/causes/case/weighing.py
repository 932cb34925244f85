"""Competing explanations of a problem, weighed by the evidence.

An explanation is a smallest set of end causes that suffices together (a minimal cut set of the
graph), not a single cause; "something else" always stands beside them. With prior P(e) and
evidence taken as independent given the explanation,

    P(e | evidence) = P(e) * product of P(item | e) / sum over all explanations of the same.

P(item | e) comes in coarse classes, as a person states them: expected 0.9, possible 0.5,
unlikely 0.1, impossible 0.01 (common practice, no source). What was only observed or told is
drawn toward 0.5, which says nothing. A sound "impossible" excludes.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from rca.causes.case.entries import SOMETHING_ELSE
from rca.causes.case.evidence import Judged, Standing
from rca.causes.case.faulttree import fault_tree
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import EvidenceKind
from rca.causes.case.outcomes import foretold, result_probability

LIKELIHOOD = {"expected": 0.9, "possible": 0.5, "unlikely": 0.1, "impossible": 0.01}
NOT_STATED, CONTRARY = "not stated", "contrary statements"
SAYS_NOTHING = LIKELIHOOD["possible"]
RELIABILITY = {
    EvidenceKind.MEASURED: 1.0,
    EvidenceKind.RECORDED: 1.0,
    EvidenceKind.OBSERVED: 0.9,
    EvidenceKind.TOLD: 0.6,
    EvidenceKind.ASSUMED: 0.0,
}
"""Probability that an item of this kind is as stated (common practice, no source)."""

RIVAL_FACTOR = 3.0
LEAST = 1e-12  # a result said to be impossible without error, seen all the same


@dataclass(frozen=True, slots=True)
class Explanation:
    """End causes that suffice together, and all causes that they bring about."""

    causes: frozenset[str]
    implied: frozenset[str]

    def __str__(self) -> str:
        return " and ".join(sorted(self.causes)) if self.causes else SOMETHING_ELSE


@dataclass(frozen=True, slots=True)
class Item:
    """One piece of evidence (or result of a test) as it enters the sum.

    `words` and `probability` hold one entry for each explanation, in order; `sound` tells
    whether an "impossible" in it excludes.
    """

    id: str
    words: tuple[str, ...]
    probability: tuple[float, ...]
    sound: bool

    @property
    def discriminates(self) -> bool:
        """Whether it is more likely under one explanation than under another."""
        return len(set(self.probability)) > 1


@dataclass(frozen=True, slots=True)
class Weighed:
    """One explanation with its share of the probability before and after the evidence."""

    explanation: Explanation
    prior: float
    share: float
    excluded_by: tuple[str, ...] = ()

    @property
    def log_odds(self) -> float:
        """Natural logarithm of share / (1 - share); -inf where excluded."""
        if self.share <= 0:
            return -math.inf
        return math.inf if self.share >= 1 else math.log(self.share / (1 - self.share))


@dataclass(frozen=True)
class Weighing:
    """Explanations and the evidence on them; the last explanation is "something else"."""

    explanations: tuple[Explanation, ...]
    priors: tuple[float, ...]
    items: tuple[Item, ...]
    left_out: Mapping[str, str]

    @cached_property
    def weighed(self) -> tuple[Weighed, ...]:
        """Every explanation with its share, in the order of `explanations`."""
        shares = posterior(self.priors, self.items)
        excluding = [
            tuple(item.id for item in self.items if excludes(item, place))
            for place in range(len(self.explanations))
        ]
        rows = zip(self.explanations, self.priors, shares, excluding, strict=True)
        return tuple(Weighed(*row) for row in rows)

    @property
    def ranked(self) -> tuple[Weighed, ...]:
        """Most probable first."""
        return tuple(sorted(self.weighed, key=lambda one: -one.share))

    @property
    def leader(self) -> Weighed:
        """The most probable explanation."""
        return self.ranked[0]

    @property
    def rivals(self) -> tuple[Weighed, ...]:
        """Other explanations within a factor of 3 of the leader."""
        least = self.leader.share / RIVAL_FACTOR
        return tuple(one for one in self.ranked[1:] if one.share >= least)

    @property
    def useless_items(self) -> tuple[str, ...]:
        """Items that are equally likely under every explanation."""
        return tuple(item.id for item in self.items if not item.discriminates)

    @property
    def contrary(self) -> tuple[tuple[str, Explanation], ...]:
        """Items whose statements on the causes of one explanation disagree; counted as nothing."""
        return tuple(
            (item.id, one)
            for item in self.items
            for word, one in zip(item.words, self.explanations, strict=True)
            if word == CONTRARY
        )

    def leave_one_out(self) -> dict[str, Weighed]:
        """For each item, who leads without it, and with which share."""
        found = {}
        for item in self.items:
            rest = tuple(one for one in self.items if one is not item)
            found[item.id] = Weighing(self.explanations, self.priors, rest, {}).leader
        return found

    def __str__(self) -> str:
        shares = ", ".join(f"{one.explanation} {one.share:.2f}" for one in self.ranked)
        return (
            f"{len(self.explanations) - 1} explanations and {SOMETHING_ELSE}, "
            f"{len(self.items)} items: {shares}"
        )


def weigh(case: Investigation, judged: Mapping[str, Judged]) -> Weighing:
    """Weigh the explanations of an investigation's problem.

    Parameters
    ----------
    case
        The investigation; its causes must be connected to the problem.
    judged
        Its evidence as it stands today, from `rca.causes.case.evidence.judge_evidence`. Items that
        do not hold, and assumptions, are left out with the reason.

    Raises
    ------
    NoAnswer
        No cause of the problem is stated.
    """
    explanations = explanations_of(case)
    items, left_out = _items(case, judged, explanations)
    return Weighing(explanations, _priors(case, explanations), items, left_out)


def explanations_of(case: Investigation) -> tuple[Explanation, ...]:
    """All explanations of the problem, "something else" last."""
    sets = fault_tree(case).minimal_cut_sets
    known = [Explanation(one, case.implied(one)) for one in sets]
    return (*known, Explanation(frozenset(), frozenset()))


def _priors(case: Investigation, explanations: tuple[Explanation, ...]) -> tuple[float, ...]:
    """Shares before any evidence: from the stated priors of the ends, else all alike.

    The priors of causes that are needed together are multiplied. "Something else" has the
    share that the file states, else as much as one explanation on average.
    """
    known = explanations[:-1]
    weights = [math.prod(case.causes[name].prior or 1.0 for name in one.causes) for one in known]
    stated = case.something_else
    other = stated if stated is not None else 1 / (len(known) + 1)
    total = sum(weights)
    return (*(weight / total * (1 - other) for weight in weights), other)


def _items(
    case: Investigation, judged: Mapping[str, Judged], explanations: tuple[Explanation, ...]
) -> tuple[tuple[Item, ...], dict[str, str]]:
    """Items that count, and those left out with the reason."""
    items: list[Item] = []
    left_out: dict[str, str] = {}
    used: dict[tuple[str, str], str] = {}
    for name, one in case.evidence.items():
        if not one.if_true:
            continue
        origin = (one.measurement, one.when) if one.measurement else (one.test, "")
        if judged[name].standing is not Standing.HOLDS:
            left_out[name] = str(judged[name].reason)
        elif one.kind is EvidenceKind.ASSUMED:
            left_out[name] = "an assumption is no observation"
        elif origin[0] and origin in used:
            left_out[name] = f"the same fact as {used[origin]}, counted once"
        else:
            used[origin] = name
            items.append(_stated_item(name, one.if_true, one.kind, explanations))
    for name, test in case.tests.items():
        if test.done is None:
            continue
        if (name, "") in used:
            left_out[name] = f"the same fact as {used[name, '']}, counted once"
        else:
            words = tuple(foretold(test, one) or NOT_STATED for one in _implied(explanations))
            found = tuple(
                result_probability(test, test.result, one) for one in _implied(explanations)
            )
            items.append(Item(name, words, found, sound=False))
    return tuple(items), left_out


def _implied(explanations: tuple[Explanation, ...]) -> list[frozenset[str]]:
    return [one.implied or frozenset([SOMETHING_ELSE]) for one in explanations]


def _stated_item(
    name: str,
    if_true: Mapping[str, str],
    kind: EvidenceKind,
    explanations: tuple[Explanation, ...],
) -> Item:
    """Item of one piece of evidence: its class under each explanation, tempered by its kind."""
    words = tuple(likelihood_word(if_true, one) for one in _implied(explanations))
    trust = RELIABILITY[kind]
    found = tuple(
        trust * LIKELIHOOD.get(word, SAYS_NOTHING) + (1 - trust) * SAYS_NOTHING for word in words
    )
    return Item(name, words, found, sound=kind.sound)


def likelihood_word(if_true: Mapping[str, str], implied: frozenset[str]) -> str:
    """Class of an item when all causes in `implied` are present.

    What is impossible under one of them is impossible; "possible" gives way to what the others
    say; where one says expected and another unlikely, nothing is concluded.
    """
    stated = {if_true[name] for name in implied if name in if_true}
    if not stated:
        return NOT_STATED
    if "impossible" in stated:
        return "impossible"
    speaking = stated - {"possible"}
    if len(speaking) > 1:
        return CONTRARY
    return speaking.pop() if speaking else "possible"


def excludes(item: Item, place: int) -> bool:
    """Whether a sound item makes one explanation impossible."""
    return item.sound and item.words[place] == "impossible"


def posterior(priors: tuple[float, ...], items: tuple[Item, ...]) -> tuple[float, ...]:
    """Shares of the probability after the evidence; what is excluded gets none.

    If sound evidence excludes every explanation, "something else" among them, the statements
    contradict each other and the shares are those without exclusion.
    """
    logs = [
        math.log(prior) + math.fsum(math.log(max(item.probability[place], LEAST)) for item in items)
        for place, prior in enumerate(priors)
    ]
    open_ = [not any(excludes(item, place) for item in items) for place in range(len(priors))]
    if not any(open_):
        open_ = [True] * len(priors)
    top = max(log for log, free in zip(logs, open_, strict=True) if free)
    weights = [math.exp(log - top) if free else 0.0 for log, free in zip(logs, open_, strict=True)]
    total = math.fsum(weights)
    return tuple(weight / total for weight in weights)
