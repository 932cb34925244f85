"""What the path and the answers earn: records, choice of tests, cause, repair, plan, verdict."""

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.facts import Facts
from rca.show.exercise.menu import CARE, PART_ONLY
from rca.show.exercise.rubric import Rubric
from rca.show.exercise.scenario import MECHANISMS
from rca.show.exercise.score import Score, closeness
from rca.show.exercise.suspicion import explanation_name, shares_after

GENEROUS = 1.6
"""A path may cost so many times the best order before it loses points (common practice)."""


def data_score(facts: Facts, key: AnswerKey, rubric: Rubric) -> Score:
    """Failures, units still running and shape against the student's own data; what was left out."""
    numbers, because = key.numbers, []
    failures = closeness(
        facts.number("failures"), numbers["failures"]["value"], rubric.tolerance["failures"]
    )
    because.append(_said("failures", facts.number("failures"), numbers["failures"]["value"]))
    running = _running_share(facts.number("running"), numbers["running"], rubric)
    because.append(_said("still running", facts.number("running"), numbers["running"]["value"]))
    shape = _shape_share(facts.number("shape"), numbers["shape"], rubric)
    because.append(_said("shape", facts.number("shape"), numbers["shape"]["value"]))
    pattern = 1.0 if facts.text("pattern") in key.patterns else 0.0
    because.append(
        f"pattern {facts.text('pattern') or 'not answered'}: "
        f"{'as' if pattern else 'not as'} the records have it ({' or '.join(key.patterns)})"
    )
    told = 1.0 if len(facts.text("left_out")) >= 15 else 0.0
    because.append("what was left out is told" if told else "what was left out is not told")
    share = 0.3 * failures + 0.2 * running + 0.25 * shape + 0.1 * pattern + 0.15 * told
    text = facts.text("left_out")
    return Score(share, tuple(because), (("rows left out", text),) if text else ())


def _said(what: str, value: float | None, right: float) -> str:
    said = "not answered" if value is None else f"{value:.4g}"
    return f"{what}: {said}, {right:.4g} in your records"


def _running_share(value: float | None, right: Mapping[str, Any], rubric: Rubric) -> float:
    """Units still running; those of the list alone are a fifth, where the list is not complete."""
    share = closeness(value, right["value"], rubric.tolerance["running"])
    return share or 0.2 * closeness(value, right["listed"], 0.0)


def _shape_share(value: float | None, right: Mapping[str, Any], rubric: Rubric) -> float:
    """Full inside the 95 % interval of the student's own data, else by tolerance."""
    if value is None:
        return 0.0
    upper = math.inf if right["upper"] is None else right["upper"]
    if right["lower"] <= value <= upper:
        return 1.0
    return closeness(value, right["value"], rubric.tolerance["shape"])


def tests_score(facts: Facts, key: AnswerKey) -> Score:
    """What the clues bought told about the suspects, and what that cost against the best order."""
    if not facts.bought:
        return Score(0.0, ("no clue was bought",))
    truth = explanation_name(set(key.guilty))
    seen = {name: key.outcomes[name] for name in facts.bought}
    prior, after = shares_after(key.prices, {})[truth], shares_after(key.prices, seen)[truth]
    best = max((float(one["share"]) for one in key.order), default=1.0)
    gained = (_logit(after) - _logit(prior)) / (_logit(best) - _logit(prior))
    told = min(max(gained, 0.0), 1.0)
    spent = sum(key.prices[name] for name in facts.bought)
    least = int(key.order[-1]["spent"]) if key.order else spent
    thrift = min(1.0, GENEROUS * least / max(spent, 1))
    because = (
        f"the clues took the truth from {prior:.0%} to {after:.0%}",
        f"{spent} spent; the best order needed {least}",
    )
    return Score(told * (0.4 + 0.6 * thrift), because)


def _logit(share: float) -> float:
    share = min(max(share, 1e-6), 1 - 1e-6)
    return math.log(share / (1 - share))


def cause_score(facts: Facts, key: AnswerKey, rubric: Rubric) -> Score:
    """The right cause; a part of it for one of two, the runner-up, or the same mechanism."""
    named = {facts.text("cause"), facts.text("cause_two")} - {""}
    guilty, part = set(key.guilty), rubric.part_of_cause
    if not named:
        return Score(0.0, ("no cause was named",))
    if named == guilty:
        return Score(1.0, ("the right cause was named",))
    if named & guilty:
        if len(guilty) > 1:
            return Score(part["one_of_two"], ("one of two causes that act together was named",))
        return Score(part["one_of_two"], ("the right cause was named, with one too many",))
    if facts.text("runner_up") in guilty:
        return Score(part["runner_up"], ("the right cause was named second",))
    mechanisms = {MECHANISMS[one] for one in guilty}
    if any(MECHANISMS.get(one) in mechanisms for one in named):
        return Score(part["same_mechanism"], ("another cause of the same mechanism was named",))
    return Score(0.0, ("another cause was named",))


def action_score(facts: Facts) -> Score:
    """The last repair touches the cause that was named, right or wrong."""
    if not facts.repairs:
        return Score(0.0, ("no repair was chosen",))
    last = facts.repairs[-1]
    if last.repair in (PART_ONLY, CARE):
        return Score(0.0, ("the repair touches no cause",))
    named = {facts.text("cause"), facts.text("cause_two"), last.cause} - {""}
    if last.repair in named:
        return Score(1.0, ("the repair touches the cause that was named",))
    return Score(0.0, ("the repair touches another cause than the one named",))


def plan_score(facts: Facts, key: AnswerKey, rubric: Rubric) -> Score:
    """Registered before the repair: expected failures needed, and what will be measured."""
    if not facts.repairs:
        return Score(0.0, ("no repair, so no plan",))
    last, right = facts.repairs[-1], key.numbers["needed"]["value"]
    because = []
    if right is None:
        number = 1.0 if last.needed is not None else 0.0
        because.append("the records cannot tell how many are needed")
    else:
        number = closeness(last.needed, right, rubric.tolerance["needed"])
        because.append(_said("expected failures needed", last.needed, right))
    told = 0.0
    if len(last.measure) >= 15:
        told = 1.0 if re.search(r"\d", last.measure) else 0.6
        because.append("what will be measured is told")
    else:
        because.append("what will be measured was not told before the repair")
    texts = (("what will be measured", last.measure),) if last.measure else ()
    return Score(0.5 * number + 0.5 * told, tuple(because), texts)


def verdict_score(facts: Facts, key: AnswerKey, rubric: Rubric) -> Score:
    """The last verdict against what the kit says of the same months."""
    if not facts.verdicts:
        return Score(0.0, ("no verdict was given",))
    number = len(facts.verdicts)
    made = [one.repair for one in facts.repairs]
    course = _judged_course(key, made, number)
    last = facts.verdicts[-1]
    right = last.word in course["accepted"]
    because = [
        f"verdict {last.word!r}; the records of these months say: {' or '.join(course['accepted'])}"
    ]
    share = 0.6 * right
    if course["expected"] is not None:
        near = closeness(facts.number("expected"), course["expected"], rubric.tolerance["expected"])
        share += 0.2 * near
        because.append(_said("failures to be expected", facts.number("expected"),
                             course["expected"]))  # fmt: skip
    if course["ratio"] is not None and last.ratio is not None:
        close = abs(last.ratio - course["ratio"]) <= 0.25
        share += 0.2 * close
        because.append(f"ratio {last.ratio:.2g}, {course['ratio']:.2g} by the records")
    texts = (("reason of the verdict", last.reason),) if last.reason else ()
    return Score(share, tuple(because), texts)


def _judged_course(key: AnswerKey, made: Sequence[str], number: int) -> Mapping[str, Any]:
    """The course of a round; where an earlier repair had removed the cause, that one's."""
    number = min(number, max(one["round"] for one in key.courses), max(len(made), 1))
    course = key.course_of(made, number)
    if course["accepted"]:
        return course
    return next(one for one in key.courses if one["round"] == course["right"] == one["right"])
