"""The causes named in the fleet's investigations, and how well each stands on today's records."""

from collections.abc import Sequence
from dataclasses import dataclass

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.entries import PROBLEM
from rca.causes.fix_plans import read_cases
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable


@dataclass(frozen=True, slots=True)
class CauseFinding:
    """One cause of one investigation: supported where every link above it has sound evidence.

    `review` lists what a reviewer would say of the investigation as a whole, once for each.
    """

    investigation: str
    part: str
    cause: str
    says: str
    layer: str
    supported: bool
    why_not: str
    is_end: bool
    review: tuple[str, ...]


def assess_cases(fleet: Fleet, lives: LifeTable) -> tuple[Assessment, ...]:
    """Assess every investigation on the records as they are now."""
    return tuple(assess(case, fleet=fleet, lives=lives.rows) for case in read_cases(fleet))


def standing_causes(cases: Sequence[Assessment]) -> tuple[CauseFinding, ...]:
    """List the causes of all investigations with their support."""
    return tuple(one for case in cases for one in _causes_of(case))


def _causes_of(assessed: Assessment) -> list[CauseFinding]:
    case = assessed.case
    ends = set(case.ends())
    review = tuple(str(finding) for finding in assessed.findings)
    found = []
    for name in case.below(PROBLEM):
        weak = assessed.weakest_link(name)
        found.append(
            CauseFinding(
                investigation=case.id,
                part=case.part,
                cause=name,
                says=case.causes[name].says,
                layer=str(case.causes[name].layer),
                supported=assessed.supported(name),
                why_not="" if weak is None else f"{weak[0].cause} to {weak[0].effect}: {weak[1]}",
                is_end=name in ends,
                review=review,
            )
        )
    return found
