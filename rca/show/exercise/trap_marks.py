"""Which traps of a case caught the student, and which were seen, as far as the answers tell."""

from collections.abc import Callable, Mapping

from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.facts import Facts

CAUGHT, SEEN, NOT_MET = "caught", "seen", "cannot tell"


def traps_met(facts: Facts, key: AnswerKey) -> dict[str, str]:
    """For each trap of the case: caught, seen, or cannot tell (nothing was answered on it)."""
    return {trap: JUDGES[trap](facts, key) for trap in key.traps if trap in JUDGES}


def _near(value: float | None, mistake: float | None, right: float) -> str:
    """Caught where the answer is nearer to the well-known mistake than to the right value."""
    if value is None or mistake is None or mistake == right:
        return NOT_MET
    return CAUGHT if abs(value - mistake) < abs(value - right) else SEEN


def _survivors(facts: Facts, key: AnswerKey) -> str:
    right = key.numbers["running"]
    return _near(facts.number("running"), right["listed"], right["value"])


def _good_parts(facts: Facts, key: AnswerKey) -> str:
    right = key.numbers["failures"]
    return _near(facts.number("failures"), right["every replacement"], right["value"])


def _shape(facts: Facts, key: AnswerKey) -> str:
    """Caught where the shape lies outside the interval of the student's own data."""
    value, right = facts.number("shape"), key.numbers["shape"]
    if value is None:
        return NOT_MET
    upper = right["upper"]
    inside = right["lower"] <= value and (upper is None or value <= upper)
    return SEEN if inside else CAUGHT


def _mixed(facts: Facts, key: AnswerKey) -> str:
    said = facts.text("pattern")
    return NOT_MET if not said else SEEN if said in key.patterns else CAUGHT


def _confounded(facts: Facts, key: AnswerKey) -> str:
    return _named(facts, key, {"duty", "fitting"} - set(key.guilty))


def _effect(facts: Facts, key: AnswerKey) -> str:
    return _named(facts, key, {key.effect} - {""})


def _named(facts: Facts, key: AnswerKey, decoys: set[str]) -> str:
    """Caught where a decoy was named, or its repair chosen, at any time."""
    named = {facts.text("cause"), facts.text("cause_two"), *(one.repair for one in facts.repairs)}
    if named & decoys:
        return CAUGHT
    return SEEN if named & set(key.guilty) else NOT_MET


def _two_causes(facts: Facts, key: AnswerKey) -> str:
    named = {facts.text("cause"), facts.text("cause_two")} - {""}
    if not named:
        return NOT_MET
    return SEEN if named == set(key.guilty) else CAUGHT


def _picked_worst(facts: Facts, key: AnswerKey) -> str:
    """Caught where a repair that removed nothing was said to have had an effect."""
    made = [one.repair for one in facts.repairs]
    met = NOT_MET
    for number, verdict in enumerate(facts.verdicts[: len(made)], start=1):
        if number > max(one["round"] for one in key.courses):
            break
        if key.course_of(made, number)["right"]:
            break
        if verdict.word in ("effect shown", "improved, below target"):
            return CAUGHT
        met = SEEN
    return met


JUDGES: Mapping[str, Callable[[Facts, AnswerKey], str]] = {
    "survivors missing": _survivors,
    "mixed modes": _mixed,
    "odometer replaced": _shape,
    "age unknown": _shape,
    "good parts returned": _good_parts,
    "confounded": _confounded,
    "two causes": _two_causes,
    "picked worst": _picked_worst,
    "effect": _effect,
}
