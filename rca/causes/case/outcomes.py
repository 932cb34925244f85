"""What a test would show under an explanation, and with which probability, errors included."""

from rca.causes.case.observations import ProposedTest

PASS_FAIL = frozenset({"pass", "fail"})
USUAL_ERROR = 0.05
"""Chance of a wrong result where a test states none (common practice, no source)."""


def outcomes_of(test: ProposedTest) -> tuple[str, ...]:
    """Every outcome of a test, as named in the file; a pass/fail test has both."""
    named = dict.fromkeys(test.would_show.values())
    return ("pass", "fail") if set(named) <= PASS_FAIL else tuple(named)


def foretold(test: ProposedTest, present: frozenset[str]) -> str:
    """Outcome that a faultless test would show when all causes in `present` are there.

    A fault that makes a test fail does so whatever else is present. "" where nothing is stated
    or the statements disagree.
    """
    stated = {test.would_show[name] for name in present if name in test.would_show}
    if stated == PASS_FAIL:
        return "fail"
    return stated.pop() if len(stated) == 1 else ""


def result_probability(test: ProposedTest, result: str, present: frozenset[str]) -> float:
    """Probability that the test shows `result` when all causes in `present` are there.

    Where nothing is foretold, all outcomes are equally likely.
    """
    outcomes = outcomes_of(test)
    expected = foretold(test, present)
    if not expected:
        return 1 / len(outcomes)
    wrong = _error(test, expected)
    return 1 - wrong if result == expected else wrong / (len(outcomes) - 1)


def _error(test: ProposedTest, expected: str) -> float:
    """Chance of another result than the one foretold."""
    stated = test.error_rate
    if set(outcomes_of(test)) == PASS_FAIL:
        stated = test.false_pass if expected == "fail" else test.false_fail
    return USUAL_ERROR if stated is None else stated
