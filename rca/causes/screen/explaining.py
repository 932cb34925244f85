"""What else explains a candidate: a clearer one on the same days, or a part that fails with it."""

from dataclasses import dataclass

import numpy as np

from rca.causes.screen.attributes import p_within
from rca.causes.screen.company import WINDOWS, WINDOWS_AS, Company, Failures
from rca.causes.screen.occurrences import FAR_DAYS
from rca.causes.screen.target_tests import Ints, Run, TargetTests
from rca.causes.screen.within_units import tail_chance

STILL_THERE = 0.05
"""What is left of a candidate must still pass this level over the number found."""


@dataclass(frozen=True, slots=True)
class FoundEvent:
    """A kind of event found for a target: place among the company's kinds, and its p."""

    target: TargetTests
    company: Company
    place: int
    p: float

    @property
    def kind(self) -> int:
        """Kind of the event."""
        return int(self.company.kinds[self.place])

    @property
    def window(self) -> int:
        """Place in WINDOWS of the window in which it stands out most."""
        return int(self.company.windows[self.place])


def explain_events(run: Run, found: list[FoundEvent]) -> dict[tuple[int, int], str]:
    """Say of found events what explains them; key (kind of the target, kind of the event).

    In order of p within each target: an event is explained where its occurrences that are not on
    the days of one found more clearly no longer stand out; or where failures of the target that
    are not on the days of another part's failures, before which the event comes more clearly, no
    longer stand out.
    """
    explained: dict[tuple[int, int], str] = {}
    level = STILL_THERE / max(len(found), 1)
    for one in sorted(found, key=lambda each: each.p):
        key = (one.target.kind, one.kind)
        clearer = [
            other
            for other in found
            if other.p < one.p and (other.target.kind, other.kind) not in explained
        ]
        for other in clearer:
            if other.target is one.target and _left_off_days(run, one, other.kind) > level:
                explained[key] = f"on the same orders as {run.events.names[other.kind]}"
                break
            if other.target is not one.target and other.kind == one.kind:
                left, days = _left_without(run, one, other.target)
                if left > level:
                    of = len(one.target.failures)
                    explained[key] = (
                        f"through {other.target.name}, which failed on the same day in {days} "
                        f"of {of} cases and before which it comes more clearly"
                    )
                    break
    return explained


def _moments(unit: Ints, day: Ints) -> Ints:
    return unit * FAR_DAYS + day


def _left_off_days(run: Run, one: FoundEvent, other: int) -> float:
    """p of an event when its occurrences on days of another kind are taken out."""
    unit, day = run.events.of(one.kind)
    has = np.isin(unit, one.target.failures.unit)
    unit, day = unit[has], day[has]
    apart = ~np.isin(_moments(unit, day), _moments(*run.events.of(other)))
    ahead, _ = one.target.failures.gaps(unit[apart], day[apart])
    inside = int((ahead <= WINDOWS[one.window]).sum())
    return _p(one, inside=inside, total=float(apart.sum()), share=1.0)


def _left_without(run: Run, one: FoundEvent, other: TargetTests) -> tuple[float, int]:
    """p of an event before failures that are not on days of another part's; days taken out."""
    failures = one.target.failures
    together = np.isin(
        _moments(failures.unit, failures.day), _moments(other.failures.unit, other.failures.day)
    )
    if not together.any():
        return 0.0, 0
    rest = Failures.of(failures.unit[~together], failures.day[~together], run.events)
    ahead, _ = rest.gaps(*run.events.of(one.kind))
    inside = int((ahead <= WINDOWS[one.window]).sum())
    total, share = float(one.company.total[one.place]), len(rest) / len(failures)
    return _p(one, inside=inside, total=total, share=share), int(together.sum())


def _p(one: FoundEvent, *, inside: int, total: float, share: float) -> float:
    """p as in `Company.p`, with fewer events or a smaller share of the failures."""
    company, place, window = one.company, one.place, one.window
    chance = share * company.before.usual[window, place] * company.before.expected[window, place]
    clustering = company.clustering[window, place]
    chance = chance / max(company.total[place], 1)
    return float(WINDOWS_AS * tail_chance(inside / clustering, total / clustering, chance))


def explain_attribute(target: TargetTests, attribute: str, others: list[str]) -> tuple[bool, str]:
    """Whether another found attribute explains this one, and what to note of the two.

    Tested again inside the levels of each other: where it no longer stands out while the other
    still does inside its levels, it is explained; where neither does, they cannot be told apart.
    """
    exchange, code = target.exchanges[attribute]
    for other in others:
        partner, theirs = target.exchanges[other]
        if partner is not exchange:
            continue  # lots belong to lives, all else to units: tested apart
        if p_within(exchange, code, theirs) < STILL_THERE:
            continue
        if p_within(exchange, theirs, code) < STILL_THERE:
            return True, f"explained by {other}: no more than its share at equal {other}"
        return False, f"cannot be told apart from {other}"
    return False, ""
