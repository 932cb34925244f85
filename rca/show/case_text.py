"""The sheets of a case as plain text for a terminal; the same content as the printed ones."""

from rca.causes.case.assessment import Assessment
from rca.causes.case.conformity import conformity, limit_words, limits, reading_words
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Measurement
from rca.causes.case.refit import Clearance
from rca.causes.case.weighing import Weighing
from rca.show.cautions import cautions_text
from rca.show.next_test_tables import explanation_words, share_words
from rca.show.sheets import money_lines, needs_first


def case_text(assessment: Assessment) -> str:
    """Bench sheet, why-chain, next test and upstream checks as text; the cautions come first."""
    case = assessment.case
    about = [case.title or case.id, *_named(case)]
    parts = [
        "\n".join(about),
        cautions_text(),
        bench_text(case),
        _under("WHY", assessment.why_chain_text()),
        next_test_text(assessment),
        upstream_text(assessment),
        review_text(assessment),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def bench_text(case: Investigation) -> str:
    """What to make safe first, and what to measure, with limits and the readings so far."""
    lines = [f"- first: {need}" for need in needs_first(case)]
    for one in case.measurements.values():
        lines += _measurement_lines(case, one)
    return _under("BENCH", "\n".join(lines) or "nothing to measure is listed")


def next_test_text(assessment: Assessment) -> str:
    """The explanations as they stand, and the tests in the order in which to do them."""
    case, weighing = assessment.case, assessment.weighing
    if weighing is None:
        return _under("NEXT TEST", "no cause is stated yet: there is nothing to tell apart")
    lines = [*_explanation_lines(case, weighing), ""]
    for number, one in enumerate(assessment.next_tests, start=1):
        cost = f"{one.test.cost:g} {case.currency}".strip()
        lines.append(f"{number} {one.test.does} (cost {cost})")
        lines.append(f"   {one}")
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
    money = "\n".join(money_lines(assessment.case))
    return _under("BEFORE THIS PART IS REFITTED, CHECK UPSTREAM", text) + (
        f"\n\n{_under('RESTORE OR REPLACE', money)}" if money else ""
    )


def review_text(assessment: Assessment) -> str:
    """What a critical reader would reject."""
    lines = [f"- {one}" for one in assessment.findings]
    return _under("REVIEW", "\n".join(lines) or "nothing that a program can see")


def _under(heading: str, text: str) -> str:
    return f"{heading}\n{text}"


def _named(case: Investigation) -> list[str]:
    named = (("unit", case.unit), ("part", case.part), ("mode", case.mode))
    words = [f"{name} {value}" for name, value in named if value]
    return [", ".join(words)] if words else []


def _measurement_lines(case: Investigation, one: Measurement) -> list[str]:
    state = ", ".join(word for word in (one.state, one.direction) if word)
    source = f" ({one.limit_source})" if one.limit_source else ""
    lines = [
        f"- {one.id}: {one.quantity} in {one.unit}, {limit_words(*limits(one))}{source}",
        f"  {state or 'state and direction of working not stated'}; "
        f"{one.instrument or 'instrument not stated'}",
    ]
    for when, taken in (("as found", one.as_found), ("after", one.after)):
        text = reading_words(one, taken)
        found = conformity(one, taken, guard_factor=case.guard_factor)
        lines.append(f"  {when}: {f'{text} - {found}' if text else '__________'}")
    return lines


def _explanation_lines(case: Investigation, weighing: Weighing) -> list[str]:
    return [
        f"{share_words(one.share):>7} {explanation_words(case, one.explanation)}"
        + (f" (impossible by {', '.join(one.excluded_by)})" if one.excluded_by else "")
        for one in weighing.ranked
    ]
