"""The sheets of a case as plain text for a terminal; the same content as the printed ones."""

import math
from collections.abc import Sequence

from rca.causes.case.assessment import Assessment
from rca.causes.case.conformity import conformity, limit_words, limits, reading_words
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest
from rca.causes.case.observations import Measurement
from rca.causes.case.refit import Clearance
from rca.causes.case.review_words import told_together
from rca.causes.case.weighing import Weighing
from rca.causes.case_ways import CaseWays
from rca.causes.since_last.standing_evidence import EvidenceChange
from rca.show.cautions import cautions_text
from rca.show.numbers import percent
from rca.show.sheets.bench import accept_words, needs_first, uncertainty_words
from rca.show.sheets.break_even import money_lines, ways_lines
from rca.show.sheets.next_test_tables import explanation_words, share_words

NO_LIMITS = (-math.inf, math.inf)


def case_text(
    assessment: Assessment,
    *,
    since: str = "",
    changed: Sequence[EvidenceChange] = (),
    ways: CaseWays | None = None,
) -> str:
    """Bench sheet, why-chain, next test and upstream checks as text; the cautions come first.

    Parameters
    ----------
    since, changed
        An earlier run and what changed in the evidence since; "" where none is compared.
    ways
        Ways of going on with the part, from the records; None where there are none.
    """
    case = assessment.case
    about = [case.title or case.id, *_named(case)]
    parts = [
        "\n".join(about),
        cautions_text(),
        bench_text(case),
        _under("WHY", f"{assessment.why_chain_text()}\n\n{conclusion_text(case)}"),
        actions_text(case),
        next_test_text(assessment),
        upstream_text(assessment),
        money_text(assessment.case, ways),
        review_text(assessment),
        changes_text(since, changed),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def bench_text(case: Investigation) -> str:
    """What to make safe first, and what to measure, with limits and the readings so far."""
    lines = [f"- first: {need}" for need in needs_first(case)]
    for one in case.measurements.values():
        lines += _measurement_lines(case, one)
    return _under("BENCH", "\n".join(lines) or "nothing to measure is listed")


def conclusion_text(case: Investigation) -> str:
    """What is concluded, with which confidence, when and by whom."""
    found = case.conclusion
    if found is None:
        return "Nothing is concluded yet."
    told = ", ".join(word for word in (found.confidence, found.date, found.by) if word)
    return f"Concluded ({told}): {'; '.join(map(case.says, found.causes))}. {found.says}".strip()


def actions_text(case: Investigation) -> str:
    """What is done about it, by whom and by when; "" where nothing is."""
    lines = [
        f"- {fix.does} ({fix.kind}): {fix.owner or 'no owner'}, "
        f"{f'done {fix.done}' if fix.done else f'due {fix.due}' if fix.due else 'no day set'}; "
        f"against: {'; '.join(map(case.says, fix.causes)) or 'nothing named'}"
        for fix in case.fixes.values()
    ]
    return _under("ACTIONS", "\n".join(lines)) if lines else ""


def next_test_text(assessment: Assessment) -> str:
    """The explanations as they stand, and the tests in the order in which to do them."""
    case, weighing = assessment.case, assessment.weighing
    if weighing is None:
        return _under("NEXT TEST", "no cause is stated yet: there is nothing to tell apart")
    lines = [*_explanation_lines(case, weighing), ""]
    for number, one in enumerate(assessment.next_tests, start=1):
        cost = f"{one.test.cost:g} {case.currency}".strip()
        lines.append(f"{number} {one.test.does} (cost {cost})")
        lines.append(f"   expected information {one.information:.2f} bits")
        lines += [f"   {line}" for line in _outcome_lines(case, one)]
        lines += [f"   {note}" for note in (one.turn.reason, one.test.needs) if note]
        if not one.could_change_leader:
            lines.append("   no result would change what is in front")
    if not assessment.next_tests:
        lines.append("no test is open")
    return _under("NEXT TEST", "\n".join(lines))


def upstream_text(assessment: Assessment) -> str:
    """Upstream causes with the check that would clear each."""
    if not assessment.upstream:
        text = "no upstream cause is listed: ask what loads, feeds, heats, soils or commands it"
    else:
        still = sum(one.clearance is Clearance.OPEN for one in assessment.upstream)
        head = f"{still} of {len(assessment.upstream)} upstream causes still open"
        text = "\n".join([head, *(f"- {one}" for one in assessment.upstream)])
    return _under("BEFORE THIS PART IS REFITTED, CHECK UPSTREAM", text)


def money_text(case: Investigation, ways: CaseWays | None) -> str:
    """Restore or replace: the break-even, and from records what each way will cost."""
    lines = [*money_lines(case), *(ways_lines(ways, case.currency) if ways else ())]
    return _under("RESTORE OR REPLACE", "\n".join(f"- {line}" for line in lines))


def review_text(assessment: Assessment) -> str:
    """What a critical reader would reject."""
    lines = [f"- {one}" for one in told_together(assessment.findings)]
    return _under("REVIEW", "\n".join(lines) or "nothing that a program can see")


def changes_text(since: str, changed: Sequence[EvidenceChange]) -> str:
    """What changed in the evidence since an earlier run; "" where none is compared."""
    lines = [f"- {one}" + (f" [{one.rows}]" if one.rows else "") for one in changed]
    heading = f"WHAT CHANGED IN EVIDENCE SINCE {since}"
    return _under(heading, "\n".join(lines) or "nothing") if since else ""


def _under(heading: str, text: str) -> str:
    return f"{heading}\n{text}"


def _named(case: Investigation) -> list[str]:
    named = (("unit", case.unit), ("part", case.part), ("mode", case.mode))
    words = [f"{name} {value}" for name, value in named if value]
    return [", ".join(words)] if words else []


def _measurement_lines(case: Investigation, one: Measurement) -> list[str]:
    state = ", ".join(word for word in (one.state, one.direction) if word)
    bounds = limits(one)
    limit = limit_words(*bounds) + ("" if bounds == NO_LIMITS else f" {one.unit}")
    source = f" ({one.limit_source})" if one.limit_source else ""
    judged = "; ".join(word for word in (uncertainty_words(one), accept_words(case, one)) if word)
    lines = [
        f"- {one.id}: {one.quantity}, in {one.unit}: {limit}{source}",
        f"  {state or 'state and direction of working not stated'}; "
        f"{one.instrument or 'instrument not stated'}",
        f"  {judged}",
    ]
    for when, taken in (("as found", one.as_found), ("after", one.after)):
        text = reading_words(one, taken)
        found = conformity(one, taken, guard_factor=case.guard_factor)
        lines.append(f"  {when}: {f'{text} - {found}' if text else '__________'}")
    return lines


def _outcome_lines(case: Investigation, one: RankedTest) -> list[str]:
    return [
        f"if it shows {result.result} ({percent(result.probability)}), then in front: "
        f"{explanation_words(case, result.leader)} ({share_words(result.leader_share)})"
        for result in one.outcomes
    ]


def _explanation_lines(case: Investigation, weighing: Weighing) -> list[str]:
    return [
        f"{share_words(one.share):>7} {explanation_words(case, one.explanation)}"
        + (f" (impossible by {', '.join(one.excluded_by)})" if one.excluded_by else "")
        for one in weighing.ranked
    ]
