"""What a critical reader would reject in an investigation, each finding with what to do.

The rules follow published reviews of cause analysis: a measured effect, evidence for every link,
several branches, an upstream layer, no blame, actions that touch the cause and are reviewed for
effectiveness (DOE-NE-STD-1004-92; IEC 62740:2015, from summaries; a NASA procedure of 2000 that
asks for two reasons for each cause). Only what a program can see is looked at.
"""

import re
from collections.abc import Iterator, Mapping

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Gate, Layer, Link
from rca.causes.case.evidence import Judged
from rca.causes.case.investigation import Investigation
from rca.causes.case.review_actions import (
    conclusion_findings,
    contradicted_causes,
    fix_findings,
)
from rca.causes.case.review_evidence import (
    evidence_findings,
    link_findings,
    weighing_findings,
)
from rca.causes.case.review_words import Finding
from rca.causes.case.support import LinkSupport
from rca.causes.case.surveys import compute_survey
from rca.causes.case.weighing import Weighing
from rca.causes.case.why_chain import loose_causes

CAUSE_WORDS = re.compile(r"\b(because|due to|caused by|owing to|as a result of)\b", re.I)
BLAME_WORDS = re.compile(
    r"\b(careless\w*|negligen\w*|(operator|driver|human|technician) error|fault of|"
    r"inattenti\w*|lazy|incompeten\w*|stupid\w*)\b",
    re.I,
)
FAILED_WORDS = re.compile(r"\b(fail\w*|broke\w*|worn|wore|defective|bad|faulty)\b", re.I)


def review(
    case: Investigation,
    *,
    judged: Mapping[str, Judged],
    support: Mapping[Link, LinkSupport],
    weighing: Weighing | None = None,
) -> tuple[Finding, ...]:
    """List what would be rejected, in the order of the file.

    Parameters
    ----------
    case
        The investigation.
    judged, support
        Its evidence and links as they stand today (`rca.causes.case.evidence`).
    weighing
        Its explanations, weighed; None where there is none yet.
    """
    return (
        *_placeholders(case),
        *_problem(case),
        *_graph(case),
        *_ends(case),
        *_good_units(case, support),
        *link_findings(case, support),
        *evidence_findings(case, judged),
        *(weighing_findings(case, weighing) if weighing else ()),
        *fix_findings(case, support),
        *conclusion_findings(case, support, weighing),
    )


def _placeholders(case: Investigation) -> Iterator[Finding]:
    """Text that still stands in brackets as in a new file."""
    texts = [
        ("title", 0, case.title),
        ("purpose", 0, case.purpose),
        ("part", 0, case.part),
        ("problem", case.problem.line, case.problem.statement),
        *((name, one.line, one.says) for name, one in case.causes.items()),
        *((name, one.line, one.stop) for name, one in case.causes.items()),
        *((name, one.line, one.quantity) for name, one in case.measurements.items()),
        *((name, one.line, one.shows) for name, one in case.evidence.items()),
        *((name, one.line, one.does) for name, one in case.tests.items()),
    ]
    for place, line, text in texts:
        if text.startswith("(") and text.endswith(")"):
            yield Finding(place, line, f"is not filled in: {text}", "write your own, no brackets")


def _problem(case: Investigation) -> Iterator[Finding]:
    problem, place = case.problem, "problem"
    how_much = " ".join(problem.is_is_not.get("how_much", ("", "")))
    if not re.search(r"\d", problem.statement + how_much):
        yield Finding(place, problem.line, "the effect has no number", "say how often, since when")
    if CAUSE_WORDS.search(problem.statement):
        says = "the statement already names a cause"
        yield Finding(place, problem.line, says, "say only what was seen; the causes come below")
    missing = [
        f"{name} ({'is not' if problem.is_is_not.get(name, ('', ''))[0] else 'is'})"
        for name in ("what", "where", "when", "how_much")
        if not all(problem.is_is_not.get(name, ("", "")))
    ]
    if missing:
        says = f"the is / is-not table has gaps: {', '.join(missing)}"
        yield Finding(place, problem.line, says, "ask which like units and times were spared")
    if not case.purpose:
        do = "write it first: it decides where a chain may stop"
        yield Finding("head of the file", 0, "the purpose is not stated", do)
    if not problem.trigger:
        do = "say what started it: several events, large effect, a reading drifting out"
        yield Finding(place, problem.line, "nothing says why it was started", do)
    if not problem.changes_before:
        do = "list what was changed before the first failure, or say that nothing was"
        yield Finding(place, problem.line, "no list of changes", do)


def _graph(case: Investigation) -> Iterator[Finding]:
    line = case.problem.line
    if case.problem.because is None:
        yield Finding("problem", line, "no cause is stated", "list the candidates under because:")
        return
    below = case.below(PROBLEM)
    if not any(case.causes[name].layer is Layer.UPSTREAM for name in below):
        says = "no cause lies upstream of the part"
        yield Finding("causes", line, says, "ask what loaded, fed or commanded the part wrongly")
    if not _has_alternatives(case):
        says = "there is one branch only"
        yield Finding("causes", line, says, "add every other answer to why; let evidence close it")
    if case.problem.not_caught_because is None:
        do = "add not_caught_because: which check should have seen it, and why it did not"
        yield Finding("problem", line, "nothing says why it was not caught earlier", do)
    commanded = {"control or command", "upstream supply"}
    if commanded <= set(case.branches) and not commanded & {case.causes[n].branch for n in below}:
        says = "a healthy part that was told or fed wrongly is not considered"
        yield Finding("causes", line, says, f"add one on: {' or '.join(sorted(commanded))}")
    for name in loose_causes(case):
        do = "link it by because:, or remove it"
        yield Finding(name, case.causes[name].line, "leads nowhere", do)


def _has_alternatives(case: Investigation) -> bool:
    """Whether any gate below the problem offers a choice."""

    def offers(gate: Gate) -> bool:
        inner = (one for one in gate.inputs if isinstance(one, Gate))
        return gate.need < len(gate.inputs) or any(map(offers, inner))

    gates = [case.because(name) for name in (PROBLEM, *case.below(PROBLEM))]
    return any(offers(gate) for gate in gates if gate is not None)


def _ends(case: Investigation) -> Iterator[Finding]:
    part = case.part.casefold()
    for name in dict.fromkeys((*case.below(PROBLEM), *case.below(NOT_CAUGHT))):
        cause = case.causes[name]
        if BLAME_WORDS.search(cause.says):
            do = "say what was done, and what made it reasonable then"
            yield Finding(name, cause.line, "it blames a person", do)
        if cause.because is not None:
            if cause.stop:
                says = "it states why it stops, but it goes on"
                yield Finding(name, cause.line, says, "move stop: to the end of the chain")
            continue
        names_part = bool(part) and part in cause.says.casefold()
        itself = names_part and cause.layer is Layer.PHYSICAL and FAILED_WORDS.search(cause.says)
        if cause.replaced_part or itself:
            do = "go on: what loaded, heated, starved, soiled or fitted it wrongly?"
            yield Finding(name, cause.line, "the chain ends at the replaced part", do)
        elif cause.layer is Layer.PROCEDURAL:
            do = "go on: which instruction, tool, time or habit made it the normal thing to do?"
            yield Finding(name, cause.line, "the chain ends at a person", do)
        if not cause.stop:
            do = "add stop: why this is the lowest cause that you control and have evidence for"
            yield Finding(name, cause.line, "nothing says why the chain stops here", do)
        if cause.layer is Layer.UPSTREAM and cause.check is None:
            do = "add check: what would clear it before the part is refitted"
            yield Finding(name, cause.line, "an upstream end without a check", do)


def _good_units(case: Investigation, support: Mapping[Link, LinkSupport]) -> Iterator[Finding]:
    surveyed = {
        name
        for one in case.evidence.values()
        if one.survey
        for name in one.supports + one.contradicts
    }
    looked = bool(case.problem.good_units or surveyed)
    looked = looked or any(one.also_on_good_units in ("yes", "no") for one in case.causes.values())
    if not looked:
        do = "look for each cause on like units that did not fail"
        says = "units that did not fail were never examined"
        yield Finding("problem", case.problem.line, says, do)
    settled = _needs_others(case) | contradicted_causes(support)
    for name in case.below(PROBLEM):
        cause = case.causes[name]
        common = cause.also_on_good_units == "yes" or _just_as_common(case, name)
        if common and name not in settled:
            says = "just as common on units that did not fail, yet said to suffice by itself"
            do = "something else is needed too: put both under all:, or drop it"
            yield Finding(name, cause.line, says, do)


def _needs_others(case: Investigation) -> set[str]:
    """Causes that stand in a gate which needs more than one of its inputs."""
    found: set[str] = set()

    def visit(gate: Gate) -> None:
        for one in gate.inputs:
            if isinstance(one, Gate):
                visit(one)
            if gate.need > 1:
                found.update(one.causes() if isinstance(one, Gate) else [one])

    for name in (PROBLEM, *case.below(PROBLEM)):
        gate = case.because(name)
        if gate is not None:
            visit(gate)
    return found


def _just_as_common(case: Investigation, name: str) -> bool:
    """Whether a survey found the cause about as often on good units (interval holds 1)."""
    surveys = [one.survey for one in case.evidence.values() if one.survey and name in one.supports]
    return any(compute_survey(survey).interval.lower <= 1.0 for survey in surveys)
