"""Tables of the next-test sheet: explanations, evidence by explanation, open tests, fault tree."""

import math
from typing import Any

from rca.causes.case.assessment import Assessment
from rca.causes.case.entries import PROBLEM, Seen
from rca.causes.case.faulttree import fault_tree
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest
from rca.causes.case.weighing import Explanation, Item, Weighed, Weighing
from rca.errors import NoAnswer
from rca.show.numbers import figures, percent

MOST_COLUMNS = 6  # explanations in the evidence matrix
MOST_SETS = 12  # sets of causes that suffice, written out


def explanation_words(case: Investigation, one: Explanation) -> str:
    """An explanation in the sentences of its causes, and how it reaches the problem."""
    if not one.causes:
        return "something else"
    ends = " AND ".join(case.says(name) for name in case.causes if name in one.causes)
    gate = case.because(PROBLEM)
    first = [name for name in gate.causes() if name in one.implied - one.causes] if gate else []
    way = "; ".join(case.says(name) for name in dict.fromkeys(first))
    return f"{ends} (by way of: {way})" if way else ends


def share_words(share: float) -> str:
    """A share of the probability as text that never says 0 or 100 % for what is only near it."""
    if 0 < share < 0.001:
        return "under 0.1\u202f%"
    if 0.99 < share < 0.999:
        return f"{100 * share:.1f}\u202f%"
    return "over 99.9\u202f%" if 0.999 <= share < 1 else percent(share)


def next_test_tables(assessment: Assessment) -> dict[str, Any]:
    """Rows of the tables of explanations, evidence and open tests."""
    case, weighing = assessment.case, assessment.weighing
    return {
        "weighed": _weighed(case, weighing) if weighing else [],
        "priors_stated": any(cause.prior for cause in case.causes.values()),
        "columns": _columns(weighing) if weighing else [],
        "matrix": _matrix(case, weighing) if weighing else [],
        "left_out": list(weighing.left_out.items()) if weighing else [],
        "tests": [_ranked(one) for one in assessment.next_tests],
    }


def _weighed(case: Investigation, weighing: Weighing) -> list[dict[str, Any]]:
    rivals = weighing.rivals
    return [
        {
            "id": str(one.explanation) if one.explanation.causes else "",
            "says": explanation_words(case, one.explanation),
            "prior": share_words(one.prior),
            "share": share_words(one.share),
            "log_odds": "excluded"
            if one.share == 0
            else f"{one.log_odds:+.1f}".replace("-", "\u2212"),
            "note": _note(one, weighing.leader, rivals),
        }
        for one in weighing.ranked
    ]


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "\u2212")


def _note(one: Weighed, leader: Weighed, rivals: tuple[Weighed, ...]) -> str:
    if one.excluded_by:
        return f"impossible by {', '.join(one.excluded_by)}"
    if one == leader:
        return "in front" if not rivals else "in front, not alone"
    return "within a factor of 3" if one in rivals else ""


def _shown(weighing: Weighing) -> list[int]:
    """Places of the explanations that the matrix shows: the most probable ones."""
    order = sorted(range(len(weighing.weighed)), key=lambda i: -weighing.weighed[i].share)
    return order[:MOST_COLUMNS]


def _columns(weighing: Weighing) -> list[str]:
    return [str(weighing.explanations[place]) for place in _shown(weighing)]


def _matrix(case: Investigation, weighing: Weighing) -> list[dict[str, Any]]:
    without = weighing.leave_one_out()
    now = weighing.leader.explanation
    return [
        {
            "name": item.id,
            "shows": _shows(case, item),
            "words": [item.words[place] for place in _shown(weighing)],
            "without": (
                f"{'same' if without[item.id].explanation == now else without[item.id].explanation}"
                f" in front, {share_words(without[item.id].share)}"
            ),
        }
        for item in weighing.items
    ]


def _shows(case: Investigation, item: Item) -> str:
    """What an item of the matrix is about."""
    if item.id in case.evidence:
        shows = case.evidence[item.id].shows
    else:
        shows = f"{case.tests[item.id].does}: {case.tests[item.id].result}"
    return shows if item.discriminates else f"{shows} (tells nothing apart)"


def _ranked(one: RankedTest) -> dict[str, Any]:
    """One line of the table of tests."""
    notes = [one.turn.reason, one.test.needs]
    if not one.could_change_leader:
        notes.append("no result would change what is in front")
    return {
        "does": one.test.does,
        "cost": f"{one.test.cost:g}",
        "information": f"{one.information:.2f}",
        "per_cost": "free" if math.isinf(one.per_cost) else f"{100 * one.per_cost:.2f}",
        "results": [
            f"{result.result} ({percent(result.probability)}): {result.leader}, "
            f"{share_words(result.leader_share)}"
            for result in one.outcomes
        ],
        "note": "; ".join(note for note in notes if note),
    }


def fault_tree_table(case: Investigation) -> dict[str, Any] | None:
    """Cut sets, probability and importance, as far as the file allows."""
    if case.because(PROBLEM) is None:
        return None
    tree = fault_tree(case)
    found: dict[str, Any] = {
        "count": len(tree.minimal_cut_sets),
        "sets": [
            " AND ".join(case.says(name) for name in tree.events if name in one)
            for one in tree.minimal_cut_sets[:MOST_SETS]
        ],
        "top": "",
        "importance": [],
    }
    try:
        top, birnbaum, shares = tree.top_probability, tree.birnbaum(), tree.fussell_vesely()
    except NoAnswer:
        return found
    found["top"] = figures(top)
    if any(isinstance(one, Seen) for one in tree.probabilities.values()):
        interval = tree.top_interval()
        found["top"] += f" ({figures(interval.lower)} to {figures(interval.upper)}, 95 %)"
    found["importance"] = [
        {
            "says": case.says(name),
            "probability": _stated(tree.probabilities[name]),
            "birnbaum": figures(birnbaum[name]),
            "share": percent(shares[name]),
        }
        for name in sorted(tree.events, key=lambda name: -birnbaum[name])
    ]
    return found


def _stated(one: float | Seen) -> str:
    if isinstance(one, Seen):
        return f"{figures(one.share)} ({one.seen} of {one.of})"
    return figures(one)
