"""An investigation as it stands today: everything that can be computed from it, at once."""

from dataclasses import dataclass

import pandas as pd

from rca.causes.case.entries import PROBLEM, Link
from rca.causes.case.evidence import Judged, judge_evidence, link_support
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest, rank_tests
from rca.causes.case.refit import UpstreamCheck, upstream_checks
from rca.causes.case.review import review
from rca.causes.case.review_words import Finding
from rca.causes.case.support import LinkSupport, Support
from rca.causes.case.weighing import Weighing, weigh
from rca.records.fleet import Fleet

BrokenLink = tuple[Link, LinkSupport]


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """Evidence, links, explanations, next tests, upstream checks and review of one case."""

    case: Investigation
    judged: dict[str, Judged]
    support: dict[Link, LinkSupport]
    weighing: Weighing | None
    next_tests: tuple[RankedTest, ...]
    upstream: tuple[UpstreamCheck, ...]
    findings: tuple[Finding, ...]

    def weakest_link(self, cause: str) -> BrokenLink | None:
        """The first link on the way from a cause to the problem that is not supported.

        Where several ways lead to the problem, one that is supported throughout is enough;
        None then.
        """
        return self._weakest(cause, {})

    def _weakest(self, cause: str, known: dict[str, BrokenLink | None]) -> BrokenLink | None:
        """Follow every way upward once; `known` holds what was found of other causes."""
        if cause in known:
            return known[cause]
        broken: BrokenLink | None = None
        known[cause] = None
        for link in (one for one in self.support if one.cause == cause):
            state = self.support[link]
            found: BrokenLink | None
            if state.state is not Support.SUPPORTED:
                found = (link, state)
            else:
                found = None if link.effect == PROBLEM else self._weakest(link.effect, known)
            if found is None:
                broken = None
                break
            broken = broken or found
        known[cause] = broken
        return broken

    def supported(self, cause: str) -> bool:
        """Whether some way from the cause to the problem is supported at every link."""
        linked = any(link.cause == cause for link in self.support)
        return linked and self.weakest_link(cause) is None

    def why_chain_text(self) -> str:
        """The why-chain with the state of every link."""
        return self.case.why_chain_text(self.support)

    def __str__(self) -> str:
        count = sum(one.state is Support.SUPPORTED for one in self.support.values())
        return (
            f"{self.case.id}: {count} of {len(self.support)} links supported, "
            f"{len(self.findings)} findings, {len(self.next_tests)} tests open"
        )


def assess(
    case: Investigation, *, fleet: Fleet | None = None, lives: pd.DataFrame | None = None
) -> Assessment:
    """Compute all that an investigation says today.

    Parameters
    ----------
    case
        The investigation.
    fleet
        The records, for claims and recorded events; a single case needs none.
    lives
        Rows of the lives table, for claims per meter unit.
    """
    judged = judge_evidence(case, fleet=fleet, lives=lives)
    support = link_support(case, judged)
    weighing = weigh(case, judged) if case.problem.because is not None else None
    return Assessment(
        case=case,
        judged=judged,
        support=support,
        weighing=weighing,
        next_tests=rank_tests(case, weighing) if weighing else (),
        upstream=upstream_checks(case, support),
        findings=review(case, judged=judged, support=support, weighing=weighing),
    )
