"""A case as it stands today, as HTML: why-chain, evidence, explanations, next test, review."""

from collections.abc import Mapping, Sequence

from rca.causes.case.assessment import Assessment
from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest
from rca.causes.case.support import LinkSupport
from rca.causes.case.why_chain import (
    MOST_READINGS,
    Step,
    chain_steps,
    first_readings,
    gate_sentence,
    loose_causes,
)
from rca.show.cautions import CAUTIONS
from rca.show.forms.tables import listed, paragraph, table
from rca.show.numbers import percent
from rca.show.sheets.next_test_tables import explanation_words


def cautions_html() -> str:
    """The cautions, which stand first wherever someone is sent to a bench or a vehicle."""
    lines = listed(f"{one.about}: {one.do}" for one in CAUTIONS)
    return f"<div class='cautions'><b>Cautions</b>{lines}</div>"


def chain_html(assessment: Assessment) -> str:
    """The why-chain with the state of every link, and its reading upward by "therefore"."""
    case, support = assessment.case, assessment.support
    parts = ["<h3>Why</h3>", paragraph(case.problem.statement, kind="says")]
    parts.append(_steps(case, PROBLEM, support) or paragraph("No cause is stated yet."))
    if case.because(NOT_CAUGHT) is not None:
        parts.append(paragraph("Why was it not caught earlier?", kind="says"))
        parts.append(_steps(case, NOT_CAUGHT, support))
    loose = loose_causes(case)
    if loose:
        parts.append(paragraph(f"Not connected: {'; '.join(map(case.says, loose))}"))
    backward = first_readings(case, MOST_READINGS)
    if backward:
        shown = listed(backward)
        parts.append(f"<details><summary>Read backwards, with therefore</summary>{shown}</details>")
    return "".join(parts)


def _steps(case: Investigation, effect: str, support: Mapping[Link, LinkSupport]) -> str:
    gate = case.because(effect)
    together = gate_sentence(gate) if gate is not None else ""
    steps = chain_steps(case, effect, support=support)
    return (paragraph(together) if together else "") + _nested(steps)


def _nested(steps: Sequence[Step]) -> str:
    if not steps:
        return ""
    return f"<ul class='chain'>{''.join(f'<li>{_step(one)}</li>' for one in steps)}</ul>"


def _step(step: Step) -> str:
    parts = []
    if step.cause is None:
        parts.append(paragraph(f"{step.number} {step.because}"))
    else:
        told = f" (see {step.again})" if step.again else f" [{step.cause.layer}]"
        parts.append(paragraph(f"{step.number} {step.cause.says}{told}", kind="says"))
    if step.support is not None:
        parts.append(paragraph(str(step.support), kind="state"))
    if step.cause is not None and step.cause.stop and not (step.below or step.again):
        parts.append(paragraph(f"stops here: {step.cause.stop}", kind="small"))
    if step.cause is not None and step.because:
        parts.append(paragraph(step.because))
    return "".join(parts) + _nested(step.below)


def evidence_html(assessment: Assessment) -> str:
    """Every piece of evidence as it stands today."""
    rows = [
        (assessment.case.evidence[name].shows, str(one.kind), str(one.standing), one.reason)
        for name, one in assessment.judged.items()
    ]
    if not rows:
        return paragraph("No evidence is written down yet.")
    head = ("What it shows", "How we know", "Today", "Why")
    return table(head, rows, caption="Evidence, judged anew at every change")


def next_test_html(assessment: Assessment) -> str:
    """The explanations as they stand, and which test tells them apart best."""
    weighing = assessment.weighing
    if weighing is None:
        said = "No cause is stated yet: there is nothing to tell apart."
        return f"<h3>Next test</h3>{paragraph(said)}"
    rows = [
        (percent(one.share), explanation_words(assessment.case, one.explanation),
         f"impossible by {', '.join(one.excluded_by)}" if one.excluded_by else "")
        for one in weighing.ranked
    ]  # fmt: skip
    head = ("Probability", "Explanation", "")
    told = table(head, rows, caption="Explanations, weighed by the evidence", numbers=(0,))
    tests = (_test_words(assessment, one) for one in assessment.next_tests)
    nothing = "No test is open: add one, to be told which would tell most for its cost."
    return f"<h3>Next test</h3>{listed(tests, nothing=nothing)}{told}"


def _test_words(assessment: Assessment, one: RankedTest) -> str:
    """One test: what it costs, and what would be in front after each of its results."""
    cost = f"{one.test.cost:g} {assessment.case.currency}".strip()
    said = [f"{one.test.does} (cost {cost})."]
    said += [
        f"If it shows {result.result} ({percent(result.probability)}), then in front is "
        f"\u201c{explanation_words(assessment.case, result.leader)}\u201d "
        f"({percent(result.leader_share)})."
        for result in one.outcomes
    ]
    notes = (one.turn.reason, one.test.needs)
    said += [f"{note[0].upper()}{note[1:].rstrip('.')}." for note in notes if note]
    if not one.could_change_leader:
        said.append("No result would change what is in front.")
    return "\n".join(said)


def review_html(assessment: Assessment) -> str:
    """What a critical reader would reject, each with what to do."""
    rows = [(one.place, one.says, one.do) for one in assessment.findings]
    if not rows:
        return "<h3>Review</h3>" + paragraph("Nothing that a program can see.")
    return "<h3>Review</h3>" + table(("Where", "What a reader would reject", "What to do"), rows,
                 caption=f"{len(rows)} things to look at")  # fmt: skip


def changed_links(before: Assessment | None, after: Assessment) -> list[str]:
    """Say which links are new, gone, or changed their state."""
    old = before.support if before is not None else {}
    said = []
    for link, now in after.support.items():
        then = old.get(link)
        if then is None:
            said.append(f"New link, {_link_words(after.case, link)}: {now}")
        elif then.state is not now.state:
            said.append(f"Link {_link_words(after.case, link)}: {then.state} became {now}")
    gone = [link for link in old if link not in after.support]
    return said + [f"Link gone: {_link_words(before.case, link)}" for link in gone if before]


def _link_words(case: Investigation, link: Link) -> str:
    return f"\u201c{case.says(link.cause)}\u201d to \u201c{case.says(link.effect)}\u201d"
