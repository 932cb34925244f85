"""Printable sheets of one case: bench, why-chain, next test, check upstream. A4, grey, offline.

The cautions stand first on every sheet that sends someone to a bench or a vehicle; no option
removes them. All text of the file is escaped.
"""

import importlib.resources
import math
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import jinja2
from markupsafe import Markup

from rca.causes.assessment import Assessment
from rca.causes.conformity import (
    Conformity,
    conformity,
    instrument_uncertainty,
    limits,
    probability_words,
    reading_words,
)
from rca.causes.entries import NOT_CAUGHT, PROBLEM, Costs, Measurement, Seen, Taken
from rca.causes.faulttree import fault_tree
from rca.causes.investigation import Investigation
from rca.causes.next_test import RankedTest
from rca.causes.refit import Clearance
from rca.causes.restore import break_even_horizon, break_even_share
from rca.causes.support import LinkSupport, Support
from rca.causes.weighing import Explanation, Item, Weighed, Weighing
from rca.causes.why_chain import chain_steps, gate_sentence, therefore_lines
from rca.errors import NoAnswer
from rca.show.cautions import CAUTIONS
from rca.show.numbers import figures, percent

MOST_READINGS = 12  # "therefore" lines on the sheet
MOST_COLUMNS = 6  # explanations in the evidence matrix


def case_sheets(assessment: Assessment) -> str:
    """All sheets of a case as one self-contained HTML page that prints on A4.

    Parameters
    ----------
    assessment
        The case as it stands today, from `rca.causes.assessment.assess`.
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
            **_next_test(assessment),
            tree=_tree(case),
            upstream=assessment.upstream,
            open_count=sum(one.clearance is Clearance.OPEN for one in assessment.upstream),
            money=money_lines(case),
            findings=assessment.findings,
        )
    )


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
    environment.globals.update(pct=percent, css_of=_css_of)
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
        "accept": _accept(case, one, low, high),
        "instrument": one.instrument or "not stated",
        "uncertainty": _uncertainty(one, low, high),
        "as_found": _cell(case, one, one.as_found),
        "after": _cell(case, one, one.after),
    }


def _limit(low: float, high: float, unit: str) -> str:
    if math.isinf(low) and math.isinf(high):
        return "no limit stated"
    if math.isinf(low):
        return f"at most {high:.6g} {unit}"
    return f"at least {low:.6g} {unit}" if math.isinf(high) else f"{low:.6g} to {high:.6g} {unit}"


def _accept(case: Investigation, one: Measurement, low: float, high: float) -> str:
    """Between which readings the part is accepted, guard band taken off."""
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


def _uncertainty(one: Measurement, low: float, high: float) -> str:
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
        return {"text": "", "verdict": "", "probability": ""}
    found = conformity(one, taken, guard_factor=case.guard_factor)
    who = ", ".join(word for word in (taken.date, taken.by) if word)
    return {
        "text": f"{text}{f' ({who})' if who else ''}",
        "verdict": str(found.verdict),
        "probability": _probability(found),
    }


def _probability(found: Conformity) -> str:
    if found.probability is None:
        return ""
    return f"probability inside {probability_words(found.probability)}"


def _chains(assessment: Assessment) -> dict[str, Any]:
    case, support = assessment.case, assessment.support
    why, escape = case.because(PROBLEM), case.because(NOT_CAUGHT)
    readings = list(therefore_lines(case))
    more = len(readings) - MOST_READINGS
    return {
        "why_together": gate_sentence(why) if why else "",
        "why": chain_steps(case, PROBLEM, support=support),
        "escape_together": gate_sentence(escape) if escape else "",
        "escape": chain_steps(case, NOT_CAUGHT, support=support),
        "therefore": readings[:MOST_READINGS] + ([f"and {more} more"] if more > 0 else []),
    }


def explanation_words(case: Investigation, one: Explanation) -> str:
    """An explanation in the sentences of its causes, and how it reaches the problem."""
    if not one.causes:
        return "something else"
    ends = " AND ".join(case.says(name) for name in case.causes if name in one.causes)
    gate = case.because(PROBLEM)
    first = [name for name in gate.causes() if name in one.implied - one.causes] if gate else []
    way = "; ".join(case.says(name) for name in dict.fromkeys(first))
    return f"{ends} (by way of: {way})" if way else ends


def _next_test(assessment: Assessment) -> dict[str, Any]:
    case, weighing = assessment.case, assessment.weighing
    return {
        "weighed": _weighed(case, weighing) if weighing else [],
        "priors_stated": any(cause.prior for cause in case.causes.values()),
        "columns": _columns(weighing) if weighing else [],
        "matrix": _matrix(case, weighing) if weighing else [],
        "left_out": list(weighing.left_out.items()) if weighing else [],
        "tests": [_ranked(one) for one in assessment.next_tests],
    }


def _weighed(case: Investigation, weighing: Weighing) -> list[dict[str, Any]]:
    rivals = weighing.rivals
    return [
        {
            "id": str(one.explanation) if one.explanation.causes else "",
            "says": explanation_words(case, one.explanation),
            "prior": one.prior,
            "share": one.share,
            "log_odds": "excluded"
            if one.share == 0
            else f"{one.log_odds:+.1f}".replace("-", "\u2212"),
            "note": _note(one, weighing.leader, rivals),
        }
        for one in weighing.ranked
    ]


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "\u2212")


def _note(one: Weighed, leader: Weighed, rivals: tuple[Weighed, ...]) -> str:
    if one.excluded_by:
        return f"impossible by {', '.join(one.excluded_by)}"
    if one == leader:
        return "in front" if not rivals else "in front, not alone"
    return "within a factor of 3" if one in rivals else ""


def _shown(weighing: Weighing) -> list[int]:
    """Places of the explanations that the matrix shows: the most probable ones."""
    order = sorted(range(len(weighing.weighed)), key=lambda i: -weighing.weighed[i].share)
    return order[:MOST_COLUMNS]


def _columns(weighing: Weighing) -> list[str]:
    return [str(weighing.explanations[place]) for place in _shown(weighing)]


def _matrix(case: Investigation, weighing: Weighing) -> list[dict[str, Any]]:
    without = weighing.leave_one_out()
    now = weighing.leader.explanation
    return [
        {
            "name": item.id,
            "shows": _shows(case, item),
            "words": [item.words[place] for place in _shown(weighing)],
            "without": (
                f"{'same' if without[item.id].explanation == now else without[item.id].explanation}"
                f" in front, {percent(without[item.id].share)}"
            ),
        }
        for item in weighing.items
    ]


def _shows(case: Investigation, item: Item) -> str:
    """What an item of the matrix is about."""
    if item.id in case.evidence:
        shows = case.evidence[item.id].shows
    else:
        shows = f"{case.tests[item.id].does}: {case.tests[item.id].result}"
    return shows if item.discriminates else f"{shows} (tells nothing apart)"


def _ranked(one: RankedTest) -> dict[str, Any]:
    """One line of the table of tests."""
    notes = [one.turn.reason, one.test.needs]
    if not one.could_change_leader:
        notes.append("no result would change what is in front")
    return {
        "does": one.test.does,
        "cost": f"{one.test.cost:g}",
        "information": f"{one.information:.2f}",
        "per_cost": "free" if math.isinf(one.per_cost) else f"{100 * one.per_cost:.2f}",
        "results": [
            f"{result.result} ({percent(result.probability)}): {result.leader}, "
            f"{percent(result.leader_share)}"
            for result in one.outcomes
        ],
        "note": "; ".join(note for note in notes if note),
    }


def _tree(case: Investigation) -> dict[str, Any] | None:
    """Cut sets, probability and importance, as far as the file allows."""
    if case.because(PROBLEM) is None:
        return None
    tree = fault_tree(case)
    found: dict[str, Any] = {
        "sets": tree.minimal_cut_sets,
        "single": ", ".join(tree.single_points),
        "top": "",
        "importance": [],
    }
    try:
        top, birnbaum, shares = tree.top_probability, tree.birnbaum(), tree.fussell_vesely()
    except NoAnswer:
        return found
    found["top"] = figures(top)
    if any(isinstance(one, Seen) for one in tree.probabilities.values()):
        interval = tree.top_interval()
        found["top"] += f" ({figures(interval.lower)} to {figures(interval.upper)}, 95 %)"
    found["importance"] = [
        {
            "says": case.says(name),
            "probability": _stated(tree.probabilities[name]),
            "birnbaum": figures(birnbaum[name]),
            "share": percent(shares[name]),
        }
        for name in sorted(tree.events, key=lambda name: -birnbaum[name])
    ]
    return found


def _stated(one: float | Seen) -> str:
    if isinstance(one, Seen):
        return f"{figures(one.share)} ({one.seen} of {one.of})"
    return figures(one)


def money_lines(case: Investigation) -> list[str]:
    """Break-even of restoring and of removing the cause, where the file states the costs."""
    if case.costs is None:
        return []
    return list(_money(case.costs))


def _money(costs: Costs) -> Iterator[str]:
    share, horizon = break_even_share(costs), break_even_horizon(costs)
    yield "With the costs stated in the file, each failure's labour and downtime included:"
    if share is None:
        yield "restore or replace: a cost is not stated"
    else:
        yield (
            f"a restored part costs less per time in service only if it lasts more than "
            f"{percent(share)} as long as a new one"
        )
    if horizon is None:
        yield "removing the upstream cause: its cost, or a life with and without it, is not stated"
    elif math.isinf(horizon):
        yield "removing the upstream cause never pays for itself at these lives"
    else:
        yield (
            f"removing the upstream cause has paid for itself after {figures(horizon)} "
            f"{costs.life_unit or 'units of life'}"
        )
