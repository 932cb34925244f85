"""Printable sheets of one case: bench, why-chain, next test, check upstream. A4, grey, offline.

The cautions stand first on every sheet that sends someone to a bench or a vehicle; no option
removes them. All text of the file is escaped.
"""

import importlib.resources
import json
import math
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import jinja2
from markupsafe import Markup

from rca.causes.case.assessment import Assessment
from rca.causes.case.conformity import (
    Conformity,
    conformity,
    instrument_uncertainty,
    limits,
    probability_words,
    reading_words,
)
from rca.causes.case.entries import NOT_CAUGHT, PROBLEM
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Measurement, Taken
from rca.causes.case.refit import Clearance
from rca.causes.case.review_words import told_together
from rca.causes.case.support import LinkSupport, Support
from rca.causes.case.why_chain import chain_steps, first_readings, gate_sentence
from rca.causes.case_ways import CaseWays
from rca.causes.since_last.standing_evidence import EvidenceChange, standing
from rca.show.cautions import CAUTIONS
from rca.show.sheets.break_even import money_lines, ways_lines
from rca.show.sheets.causes_by_branch import branch_rows
from rca.show.sheets.next_test_tables import fault_tree_table, next_test_tables

MOST_READINGS = 12  # "therefore" lines on the sheet
STANDS_ON = "stands-on"
"""Place in the page of what the case stood on, as data for a later comparison."""


def case_sheets(
    assessment: Assessment,
    *,
    since: str = "",
    changed: Sequence[EvidenceChange] = (),
    ways: CaseWays | None = None,
) -> str:
    """All sheets of a case as one self-contained HTML page that prints on A4.

    Parameters
    ----------
    assessment
        The case as it stands today, from `rca.causes.case.assessment.assess`.
    since, changed
        An earlier run and what changed in the evidence since; "" where none is compared.
    ways
        Ways of going on with the part, from the records; None where there are none.
    """
    case = assessment.case
    return (
        sheet_templates()
        .get_template("case.html.j2")
        .render(
            case=case,
            css=sheet_style(),
            all_cautions=CAUTIONS,
            guard=f"{case.guard_factor:.4g}",
            needs=needs_first(case),
            measured=[_measured(case, one) for one in case.measurements.values()],
            questions=_questions(case),
            **_chains(assessment),
            **next_test_tables(assessment),
            tree=fault_tree_table(case),
            upstream=assessment.upstream,
            open_count=sum(one.clearance is Clearance.OPEN for one in assessment.upstream),
            money=[*money_lines(case), *(ways_lines(ways, case.currency) if ways else ())],
            findings=told_together(assessment.findings),
            since=since,
            changed=changed,
            place=STANDS_ON,
            kept=_as_data(standing(assessment)),
        )
    )


def _as_data(kept: dict[str, Any]) -> Markup:
    """JSON that cannot end the element in which it stands."""
    return Markup(json.dumps(kept, ensure_ascii=True).replace("<", "\\u003c"))


@cache
def sheet_templates() -> jinja2.Environment:
    """Templates of the room, with escaping on and unknown names refused."""
    folder = importlib.resources.files("rca").joinpath("show", "templates")
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(folder)),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters["says"] = _says
    environment.globals.update(css_of=_css_of)
    return environment


@cache
def sheet_style() -> Markup:
    """Style sheet of the printed sheets."""
    place = importlib.resources.files("rca").joinpath("show", "templates", "sheet.css")
    return Markup(place.read_text(encoding="utf-8"))  # our own file: nothing to escape


def _says(name: str, case: Investigation) -> str:
    return case.says(name)


def _css_of(support: LinkSupport | None) -> str:
    """Line at the left of a step; the words beside it say the same."""
    if support is None or support.state is Support.SUPPORTED:
        return ""
    return "contradicted" if support.state is Support.CONTRADICTED else "not-supported"


def needs_first(case: Investigation) -> list[str]:
    """What has to be made safe or kept before anything is measured or tested."""
    open_tests = (test for test in case.tests.values() if test.done is None)
    needs = [one.needs for one in case.measurements.values()] + [one.needs for one in open_tests]
    return list(dict.fromkeys(need for need in needs if need))


def _questions(case: Investigation) -> list[tuple[str, str, str]]:
    return [
        (name.replace("_", " "), *case.problem.is_is_not[name])
        for name in ("what", "where", "when", "how_much")
        if name in case.problem.is_is_not
    ]


def _measured(case: Investigation, one: Measurement) -> dict[str, Any]:
    """One line of the bench sheet."""
    low, high = limits(one)
    return {
        "id": one.id,
        "quantity": one.quantity,
        "unit": one.unit,
        "state": "; ".join(word for word in (one.state, one.direction) if word),
        "limit": _limit(low, high, one.unit),
        "source": one.limit_source,
        "accept": accept_words(case, one),
        "instrument": one.instrument or "not stated",
        "uncertainty": uncertainty_words(one),
        "as_found": _cell(case, one, one.as_found),
        "after": _cell(case, one, one.after),
    }


def _limit(low: float, high: float, unit: str) -> str:
    if math.isinf(low) and math.isinf(high):
        return "no limit stated"
    if math.isinf(low):
        return f"at most {high:.6g} {unit}"
    return f"at least {low:.6g} {unit}" if math.isinf(high) else f"{low:.6g} to {high:.6g} {unit}"


def accept_words(case: Investigation, one: Measurement) -> str:
    """Between which readings the part is accepted, guard band taken off; "" where none can be."""
    low, high = limits(one)
    at_low, at_high = _uncertainty_at(one, low), _uncertainty_at(one, high)
    if at_low is None or at_high is None:
        return ""
    if math.isinf(low) and math.isinf(high):
        return ""
    # Rounded toward the inside, so that a rounded figure never accepts what the rule does not.
    low = _rounded(low + case.guard_factor * at_low, at_low, math.ceil)
    high = _rounded(high - case.guard_factor * at_high, at_high, math.floor)
    if low > high:
        return "instrument too coarse: no reading can be accepted"
    return f"accept: {_limit(low, high, one.unit)}"


def _rounded(value: float, uncertainty: float, to_whole: Callable[[float], int]) -> float:
    """Round to a tenth of the uncertainty, up or down as `to_whole` does."""
    if math.isinf(value) or uncertainty <= 0:
        return value
    step = 10 ** (math.floor(math.log10(uncertainty)) - 1)
    return to_whole(value / step) * step


def _uncertainty_at(one: Measurement, limit: float) -> float | None:
    """Standard uncertainty of a reading on a limit; 0 where there is no limit."""
    return 0.0 if math.isinf(limit) else instrument_uncertainty(one, limit)


def uncertainty_words(one: Measurement) -> str:
    """The instrument's standard uncertainty with its unit, at the limit where it depends on it."""
    low, high = limits(one)
    at = next((limit for limit in (high, low) if not math.isinf(limit)), 0.0)
    found = instrument_uncertainty(one, at)
    if found is None:
        return "uncertainty not stated: readings cannot be judged"
    place = " at the limit" if one.accuracy and one.accuracy.percent_of_reading else ""
    return f"standard uncertainty {found:.2g} {one.unit}{place}"


def _cell(case: Investigation, one: Measurement, taken: Taken | None) -> dict[str, str]:
    """A reading as taken, judged; all blank while it is not."""
    text = reading_words(one, taken)
    if not text or taken is None:
        return {"text": "", "day": "", "by": "", "verdict": "", "probability": ""}
    found = conformity(one, taken, guard_factor=case.guard_factor)
    return {
        "text": text,
        "day": taken.date,
        "by": taken.by,
        "verdict": str(found.verdict),
        "probability": _probability(found),
    }


def _probability(found: Conformity) -> str:
    if found.probability is None:
        return ""
    return f"inside with probability {probability_words(found.probability)}"


def _chains(assessment: Assessment) -> dict[str, Any]:
    case, support = assessment.case, assessment.support
    why, escape = case.because(PROBLEM), case.because(NOT_CAUGHT)
    branches = branch_rows(case, support=support)
    return {
        "why_together": gate_sentence(why) if why else "",
        "why": chain_steps(case, PROBLEM, support=support),
        "escape_together": gate_sentence(escape) if escape else "",
        "escape": chain_steps(case, NOT_CAUGHT, support=support),
        "therefore": first_readings(case, MOST_READINGS),
        "by_branch": branches,
        "no_cause_on": [name for name, causes in branches if not causes],
    }
