"""One student's mark: every criterion of the sheet, the traps, and what a person must look at."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rca.records.fleet import Fleet
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.chain_marks import (
    Chain,
    blame_score,
    branches_score,
    evidence_score,
    problem_score,
    read_chain,
    upstream_score,
)
from rca.show.exercise.evidence_file import fingerprint
from rca.show.exercise.facts import Facts, facts_of
from rca.show.exercise.path_marks import (
    action_score,
    cause_score,
    data_score,
    plan_score,
    tests_score,
    verdict_score,
)
from rca.show.exercise.rubric import CRITERIA, Rubric
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.score import Mark, Score
from rca.show.exercise.submissions import Work
from rca.show.exercise.trap_marks import traps_met

NOT_BEGUN = "no work was handed in"


@dataclass(frozen=True, slots=True, eq=False)
class StudentMark:
    """The mark of one student.

    total
        Sum of all points; None where `withheld` says why nobody should rely on it yet: the log
        was altered. `provisional` is the sum of what stands all the same.
    flags
        What a person should look at; empty for ordinary work.
    """

    student: str
    code: str
    marks: tuple[Mark, ...]
    facts: Facts
    traps: Mapping[str, str]
    spent: int
    withheld: str = ""
    flags: tuple[str, ...] = ()

    @property
    def provisional(self) -> float:
        """Sum of the points, whatever stands against it."""
        return round(sum(one.points for one in self.marks), 1)

    @property
    def total(self) -> float | None:
        """Sum of the points; None where the mark is withheld."""
        return None if self.withheld else self.provisional

    def points(self, criterion: str) -> float:
        """Points for one criterion."""
        return next((one.points for one in self.marks if one.criterion == criterion), 0.0)

    def __str__(self) -> str:
        shown = f"withheld ({self.withheld})" if self.withheld else f"{self.total:g} points"
        return f"{self.student} ({self.code}): {shown}"


def mark_work(
    work: Work,
    key: AnswerKey,
    rubric: Rubric,
    *,
    fleet: Fleet | None = None,
    by_person: Mapping[str, float] | None = None,
) -> StudentMark:
    """Mark one student's work.

    Parameters
    ----------
    work
        What was handed in, as `submissions.read_submissions` read it.
    fleet
        The student's records, for claims in the investigation; without them these are not checked.
    by_person
        Criterion to points that a person set; they count instead.
    """
    facts = facts_of(work.steps, known_clues=key.prices)
    chain = read_chain(work.investigation, facts=facts, outcomes=key.outcomes, fleet=fleet)
    scores = _scores(facts, chain, key, rubric)
    set_by_hand = by_person or {}
    marks = tuple(
        _mark(name, scores[name], rubric.points[name], set_by_hand.get(name))
        for name in CRITERIA
        if rubric.points[name] > 0
    )
    return StudentMark(
        student=key.student,
        code=key.code,
        marks=marks,
        facts=facts,
        traps=traps_met(facts, key),
        spent=sum(key.prices[one] for one in facts.bought),
        withheld=_withheld(work),
        flags=tuple(_flags(work, facts, chain, key)),
    )


def _scores(facts: Facts, chain: Chain, key: AnswerKey, rubric: Rubric) -> dict[str, Score]:
    named = facts.text("cause")
    return {
        "problem": problem_score(chain, facts),
        "data_handling": data_score(facts, key, rubric),
        "evidence": evidence_score(chain, named),
        "branches": branches_score(chain),
        "upstream": upstream_score(chain, SUSPECTS),
        "no_blame": blame_score(chain, facts),
        "test_choice": tests_score(facts, key),
        "cause": cause_score(facts, key, rubric),
        "action": action_score(facts),
        "plan": plan_score(facts, key, rubric),
        "verdict": verdict_score(facts, key, rubric),
    }


def _mark(name: str, score: Score, most: float, by_hand: float | None) -> Mark:
    if by_hand is not None:
        points = min(max(by_hand, 0.0), most)
        return Mark(name, points, most, ("set by a person",), score.for_a_person, True)
    share = min(max(score.share, 0.0), 1.0)
    return Mark(name, round(share * most, 1), most, score.because, score.for_a_person)


def _withheld(work: Work) -> str:
    return f"the log was altered: {work.altered}" if work.altered else ""


def _flags(work: Work, facts: Facts, chain: Chain, key: AnswerKey) -> list[str]:
    flags = list(work.notes)
    if work.altered:
        flags.append(f"altered: {work.altered}")
    if chain.fault and work.investigation:
        flags.append(f"the investigation cannot be read: {chain.fault}")
    if chain.not_bought:
        flags.append(f"cites clues that were not bought: {', '.join(chain.not_bought)[:200]}")
    if facts.finished and work.investigation and facts.investigation_sha256 not in (
        "", fingerprint(work.investigation)
    ):  # fmt: skip
        flags.append("the investigation was changed after the work was finished")
    if work.steps and not facts.finished:
        flags.append("not finished")
    if sum(key.prices[one] for one in facts.bought) > key.budget:
        flags.append("more was bought than the budget allows")
    return flags


def class_entry(mark: StudentMark, key: AnswerKey) -> dict[str, Any]:
    """Return what the debrief needs of one student, as plain data without the name."""
    facts = mark.facts
    last = facts.verdicts[-1] if facts.verdicts else None
    return {
        "student": mark.student,
        "code": mark.code,
        "total": mark.total,
        "provisional": mark.provisional,
        "withheld": mark.withheld,
        "points": {one.criterion: one.points for one in mark.marks},
        "most": {one.criterion: one.most for one in mark.marks},
        "kind": key.kind,
        "guilty": list(key.guilty),
        "level": key.level,
        "cause": facts.text("cause"),
        "cause_two": facts.text("cause_two"),
        "right": {facts.text("cause"), facts.text("cause_two")} - {""} == set(key.guilty),
        "confidence": facts.confidence,
        "beliefs": [
            {"leading": name, "confidence": sure, "right": name in key.guilty}
            for name, sure in facts.beliefs
        ],
        "spent": mark.spent,
        "budget": key.budget,
        "best_spent": int(key.order[-1]["spent"]) if key.order else None,
        "bought": list(facts.bought),
        "repairs": [one.repair for one in facts.repairs],
        "rounds": len(facts.repairs),
        "verdict": last.word if last else "",
        "verdict_right": None if last is None else mark.points("verdict") >= 0.6 * _most(mark),
        "verdict_confidence": None if last is None or last.confidence is None
        else last.confidence / 100,
        "traps": dict(mark.traps),
        "flags": list(mark.flags),
    }  # fmt: skip


def _most(mark: StudentMark) -> float:
    return next((one.most for one in mark.marks if one.criterion == "verdict"), 0.0) or 1.0
