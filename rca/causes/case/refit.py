"""Before the part is refitted: which upstream causes are still open, and what would clear each.

A new or restored part follows the old one if what broke that is still there.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from rca.causes.case.conformity import Verdict, conformity, limit_words, limits
from rca.causes.case.entries import PROBLEM, Cause, Layer, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.outcomes import foretold
from rca.causes.case.support import LinkSupport, Support


class Clearance(StrEnum):
    """Where an upstream cause stands before the part goes back."""

    OPEN = "open"
    CLEARED = "cleared"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True)
class UpstreamCheck:
    """One upstream cause, the check that would clear it, and whether it is cleared."""

    cause: Cause
    check: str
    clearance: Clearance
    reason: str

    def __str__(self) -> str:
        return f"{self.clearance}: {self.cause.says}. {self.check}. {self.reason}"


def upstream_checks(
    case: Investigation, support: Mapping[Link, LinkSupport]
) -> tuple[UpstreamCheck, ...]:
    """List every upstream cause of the problem with its check, the open ones first."""
    causes = [case.causes[name] for name in case.below(PROBLEM)]
    listed = [
        UpstreamCheck(cause, check_words(case, cause), *_clearance(case, cause, support))
        for cause in causes
        if cause.layer is Layer.UPSTREAM
    ]
    return tuple(sorted(listed, key=lambda one: one.clearance is not Clearance.OPEN))


def check_words(case: Investigation, cause: Cause) -> str:
    """Say what is to be done to clear a cause; tells so where nothing is stated."""
    check = cause.check
    if check is None:
        return "No check is stated: write down what would show that this is not so"
    if check.sentence:
        return check.sentence
    if check.test:
        return case.tests[check.test].does
    one = case.measurements[check.measurement]
    state = ", ".join(word for word in (one.state, one.direction) if word)
    bounds = limits(one)
    limit = "no limit is stated" if bounds == (-math.inf, math.inf) else limit_words(*bounds)
    limit = f"{limit} {one.unit}" if one.limit_source else limit
    return f"Measure {one.quantity}{f' ({state})' if state else ''}: {limit}"


def _clearance(
    case: Investigation, cause: Cause, support: Mapping[Link, LinkSupport]
) -> tuple[Clearance, str]:
    """Whether a cause is cleared, with the reason."""
    links = [one for link, one in support.items() if link.cause == cause.id]
    if links and all(one.state is Support.CONTRADICTED for one in links):
        return Clearance.CONTRADICTED, links[0].reason
    check = cause.check
    if check is None:
        return Clearance.OPEN, "nothing that would clear it is stated"
    if check.measurement:
        return _by_measurement(case, check.measurement)
    if check.test:
        return _by_test(case, cause, check.test)
    if cause.cleared is None:
        return Clearance.OPEN, "not signed off yet"
    signed = cause.cleared
    return Clearance.CLEARED, f"{signed.by}, {signed.date}{': ' if signed.why else ''}{signed.why}"


def _by_measurement(case: Investigation, name: str) -> tuple[Clearance, str]:
    """A reading proved inside its limit clears: the one after the work, else the one as found."""
    one = case.measurements[name]
    taken = one.after if one.after and one.after.reading is not None else one.as_found
    found = conformity(one, taken, guard_factor=case.guard_factor)
    inside = found.verdict is Verdict.INSIDE
    return (Clearance.CLEARED if inside else Clearance.OPEN), str(found)


def _by_test(case: Investigation, cause: Cause, name: str) -> tuple[Clearance, str]:
    """A result other than the one that this cause would show clears."""
    test = case.tests[name]
    if test.done is None:
        return Clearance.OPEN, "the test is not done"
    shows = foretold(test, frozenset([cause.id]))
    cleared = bool(shows) and test.result != shows
    return (Clearance.CLEARED if cleared else Clearance.OPEN), f"the test showed {test.result}"
