"""What a critical reader would reject in evidence, links and weighing."""

from collections import defaultdict
from collections.abc import Iterator, Mapping

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Link
from rca.causes.case.evidence import Judged, Standing
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Evidence
from rca.causes.case.review_words import Finding
from rca.causes.case.support import LinkSupport, Support
from rca.causes.case.weighing import Weighing


def link_findings(case: Investigation, support: Mapping[Link, LinkSupport]) -> Iterator[Finding]:
    """Links that do not stand on something measured or recorded."""
    todo = {
        Support.UNSUPPORTED: "measure it, look it up, or draw it as unsupported",
        Support.CONTRADICTED: "drop the link, or show what is wrong with that evidence",
        Support.NOT_CHECKED: "take the reading, or run it with the records at hand",
    }
    on_chain = _on_the_chain(case)
    for link, one in support.items():
        settled = one.state is Support.CONTRADICTED and link not in on_chain
        if one.state in todo and not settled and (not on_chain or link in on_chain):
            line = case.causes[link.cause].line
            yield Finding(str(link), line, f"{one.state}: {one.reason}", todo[one.state])


def _on_the_chain(case: Investigation) -> set[Link]:
    """Links below and above what was concluded, and the escape; none while it is open.

    A rival that the evidence leaves without support needs no more work once another is named.
    """
    if case.conclusion is None:
        return set()
    named = set(case.conclusion.causes)
    above = {name for name in case.causes if named & set(case.below(name))}
    below = {one for name in named for one in case.below(name)}
    whole = named | above | below
    chosen = {link for link in case.links(PROBLEM) if link.cause in whole}
    chosen = {link for link in chosen if link.effect == PROBLEM or link.effect in whole}
    return chosen | set(case.links(NOT_CAUGHT))


def evidence_findings(case: Investigation, judged: Mapping[str, Judged]) -> Iterator[Finding]:
    """Evidence that no longer holds, has no date, stands twice, or can only confirm."""
    origins: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, one in case.evidence.items():
        if one.source:
            origins[one.source.casefold(), one.date].append(name)
        if judged[name].standing is Standing.FAILS:
            do = "correct or withdraw it, and look at what was built on it"
            yield Finding(name, one.line, f"no longer holds: {judged[name].reason}", do)
        if not _dated(case, one):
            yield Finding(name, one.line, "has no date", "say when it was found")
        if not (one.by or one.source or one.measurement or one.claim or one.record or one.test):
            yield Finding(name, one.line, "nobody stands for it", "add by: (a role) or source:")
    for (source, _), names in origins.items():
        if len(names) > 1:
            says = f"same source and date as {', '.join(names[:-1])}: {source}"
            do = "enter one fact once, or say how they differ"
            yield Finding(names[-1], case.evidence[names[-1]].line, says, do)
    if case.evidence and not any(_speaks_against(one) for one in case.evidence.values()):
        do = "look for what should be seen if the favourite were wrong"
        yield Finding("evidence", 0, "all of it confirms, none could speak against", do)
    yield from _unused_readings(case)


def _unused_readings(case: Investigation) -> Iterator[Finding]:
    """Readings that are taken, and on which no evidence rests: they weigh nothing."""
    used = {one.measurement for one in case.evidence.values()}
    used |= {fix.reading for fix in case.fixes.values()}
    for name, one in case.measurements.items():
        if name in used or one.as_found is None or one.as_found.reading is None:
            continue
        do = (
            f"add evidence with measurement: {name}, proves: inside limit (or outside limit), and "
            "for: or against: the cause that it speaks about"
        )
        yield Finding(name, one.line, "a reading is taken, but no evidence rests on it", do)


def _dated(case: Investigation, one: Evidence) -> bool:
    """Whether evidence has a date: its own, that of its reading, test, or today's records."""
    if one.measurement:
        taken = case.measurements[one.measurement].taken(one.when)
        return bool(one.date or (taken and taken.date) or taken is None)
    if one.test:
        done = case.tests[one.test].done
        return bool(one.date or done is None or done.date)
    return bool(one.date or one.claim or one.record)


def _speaks_against(one: Evidence) -> bool:
    return bool(one.contradicts) or bool({"unlikely", "impossible"} & set(one.if_true.values()))


def weighing_findings(case: Investigation, weighing: Weighing) -> Iterator[Finding]:
    """Statements that cancel out, say nothing, or rivals that nothing can tell apart."""
    yield from _same_ends(case)
    for name, explanation in weighing.contrary:
        says = f"says expected of one cause and unlikely of another in: {explanation}"
        do = "state it for the cause that decides, and leave the other out"
        line = case.evidence[name].line if name in case.evidence else 0
        yield Finding(name, line, says, do)
    for name in weighing.useless_items:
        line = (case.evidence.get(name) or case.tests[name]).line
        do = "leave it out of the weighing, or state where it differs"
        yield Finding(name, line, "is equally likely under every explanation", do)


def _same_ends(case: Investigation) -> Iterator[Finding]:
    """Rival causes whose chains stop at the very same ends: they are one explanation, not two."""
    for effect in (PROBLEM, *case.below(PROBLEM)):
        gate = case.because(effect)
        if gate is None or gate.need != 1:
            continue
        ends: dict[frozenset[str], str] = {}
        for name in (one for one in gate.inputs if isinstance(one, str)):
            own = frozenset({name} if case.because(name) is None else _ends_below(case, name))
            if own in ends:
                says = f"stops at the same ends as {ends[own]}, so no test can tell the two apart"
                do = "give each an end of its own"
                yield Finding(name, case.causes[name].line, says, do)
            ends.setdefault(own, name)


def _ends_below(case: Investigation, name: str) -> set[str]:
    return {one for one in case.below(name) if case.because(one) is None}
