"""The part of the review that looks at what was concluded and what is done about it."""

import re
from collections.abc import Iterator, Mapping

from rca.causes.case.entries import Fix, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.review_words import Finding
from rca.causes.case.support import LinkSupport, Support
from rca.causes.case.weighing import Weighing

LOOK_HARDER = re.compile(r"\b(inspect\w*|check\w*|monitor\w*|watch\w*)\b", re.I)
TELL_PEOPLE = re.compile(
    r"\b(retrain\w*|train\w*|remind\w*|instruct\w*|be careful|toolbox)\b", re.I
)


def fix_findings(case: Investigation, support: Mapping[Link, LinkSupport]) -> Iterator[Finding]:
    """What would be rejected in the fixes: aim, owner, dates, and how the effect will be shown."""
    refuted = contradicted_causes(support)
    for name, fix in case.fixes.items():
        if fix.causes and refuted.issuperset(fix.causes):
            says = f"aims at what the evidence contradicts: {', '.join(fix.causes)}"
            do = "find the cause that holds, or show what is wrong with that evidence"
            yield Finding(name, fix.line, says, do)
        yield from _one_fix(case, name, fix)
    kinds = {fix.kind for fix in case.fixes.values()}
    if case.conclusion and "corrective" not in kinds:
        says = "nothing removes a cause: there is only " + (
            " and ".join(sorted(kinds)) or "nothing yet"
        )
        yield Finding("fixes", 0, says, "add a corrective one, or accept the cause in writing")
    acted_on = {cause for fix in case.fixes.values() for cause in fix.causes}
    touched = acted_on | {below for cause in acted_on for below in case.below(cause)}
    concluded = case.conclusion.causes if case.conclusion else ()
    for name in concluded:
        cause = case.causes[name]
        if name not in touched and not acted_on & set(case.below(name)) and cause.accepted is None:
            do = "add a fix whose cause: names it, or accepted: with who and why"
            yield Finding(name, cause.line, "concluded upon, but no action touches it", do)


def contradicted_causes(support: Mapping[Link, LinkSupport]) -> set[str]:
    """Causes whose links are all contradicted: settled, nothing more to ask of them."""
    alive = {link.cause for link, one in support.items() if one.state is not Support.CONTRADICTED}
    return {link.cause for link in support} - alive


def _one_fix(case: Investigation, name: str, fix: Fix) -> Iterator[Finding]:
    for key in ("owner", "due"):
        if not getattr(fix, key):
            yield Finding(name, fix.line, f"has no {key}", f"add {key}:")
    if fix.kind == "correction":
        return
    if not fix.review:
        do = "add review: the day on which its effect is looked at"
        yield Finding(name, fix.line, "no date for the effectiveness review", do)
    if not fix.measure:
        do = "add measure: what is compared, before and after, and how much running it needs"
        yield Finding(name, fix.line, "nothing says how its effect will be shown", do)
    if fix.done and (not fix.registered or fix.registered > fix.done):
        do = "register the plan of the next one before it is done"
        yield Finding(name, fix.line, "its plan was not written down before it was done", do)
    if fix.kind != "corrective":
        return
    if LOOK_HARDER.match(fix.does.split(",")[0]) or TELL_PEOPLE.search(fix.does):
        says = "to look harder or to tell people removes no cause"
        yield Finding(name, fix.line, says, "change the thing; call this containment")
    if case.conclusion is not None:
        concluded = set(case.conclusion.causes)
        chain = concluded | {below for cause in concluded for below in case.below(cause)}
        if not chain & set(fix.causes):
            says = f"does not touch the named cause: {', '.join(case.conclusion.causes)}"
            yield Finding(name, fix.line, says, "aim it at the cause, or change the conclusion")


def conclusion_findings(
    case: Investigation, support: Mapping[Link, LinkSupport], weighing: Weighing | None
) -> Iterator[Finding]:
    """What would be rejected in the conclusion: more confidence than links and rivals bear."""
    conclusion = case.conclusion
    if conclusion is None:
        if any(fix.kind == "corrective" and fix.done for fix in case.fixes.values()):
            do = "add conclusion: with the cause and how sure you are"
            yield Finding("conclusion", 0, "acted upon, but nothing is concluded", do)
        return
    place, line = "conclusion", conclusion.line
    for name in conclusion.causes:
        weak = [
            str(link)
            for link in (*case.links(name), *(one for one in support if one.cause == name))
            if support[link].state is not Support.SUPPORTED
        ]
        if conclusion.confidence == "proved" and weak:
            says = f"called proved, but not supported: {', '.join(weak)}"
            yield Finding(place, line, says, "call it probable, or support the link")
    late = [
        name
        for name, one in case.evidence.items()
        if conclusion.date
        and one.date > conclusion.date
        and set(one.supports) & set(conclusion.causes)
    ]
    if late:
        says = f"evidence was gathered after it: {', '.join(late)}"
        yield Finding(place, line, says, "conclude anew, with all the evidence in view")
    if weighing is not None:
        yield from _conclusion_and_weight(case, weighing)


def _conclusion_and_weight(case: Investigation, weighing: Weighing) -> Iterator[Finding]:
    """Does the weight of the evidence bear the conclusion?"""
    conclusion = case.conclusion
    if conclusion is None:
        return
    named = set(conclusion.causes)
    meant = [one for one in weighing.weighed if named <= one.explanation.implied]
    leader = weighing.leader
    if leader not in meant:
        says = f"the evidence favours another: {leader.explanation} ({leader.share:.0%})"
        yield Finding("conclusion", conclusion.line, says, "answer that evidence, or change it")
    elif conclusion.confidence != "possible" and (set(weighing.rivals) - set(meant)):
        rivals = ", ".join(str(one.explanation) for one in weighing.rivals if one not in meant)
        says = f"rivals within a factor of 3 remain: {rivals}"
        yield Finding("conclusion", conclusion.line, says, "do the next test before acting on it")
