"""The causes named in the fleet's investigations, and how well each stands on today's records."""

from dataclasses import dataclass

from rca.causes.entries import PROBLEM
from rca.causes.evidence import judge_evidence, link_support
from rca.causes.investigation import Investigation
from rca.causes.parsing import parse_investigation
from rca.causes.support import Support
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable


@dataclass(frozen=True, slots=True)
class CauseFinding:
    """One cause of one investigation: supported where every link above it has sound evidence."""

    investigation: str
    part: str
    cause: str
    says: str
    layer: str
    supported: bool
    why_not: str
    is_end: bool


def read_cases(fleet: Fleet) -> tuple[Investigation, ...]:
    """Parse the investigation files of a fleet.

    Raises
    ------
    Refused
        A file breaks a rule of its form; with file, line and the allowed words.
    """
    return tuple(
        parse_investigation(data, file=name) for name, data in fleet.investigations.items()
    )


def find_causes(fleet: Fleet, lives: LifeTable) -> tuple[CauseFinding, ...]:
    """Judge the causes of every investigation on the records as they are now."""
    return tuple(one for case in read_cases(fleet) for one in _causes_of(case, fleet, lives))


def _causes_of(case: Investigation, fleet: Fleet, lives: LifeTable) -> list[CauseFinding]:
    support = link_support(case, judge_evidence(case, fleet=fleet, lives=lives.rows))
    ends = set(case.ends())
    found = []
    for name in case.below(PROBLEM):
        cause = case.causes[name]
        states = [one for link, one in support.items() if link.cause == name]
        bad = next((one for one in states if one.state is not Support.SUPPORTED), None)
        found.append(
            CauseFinding(
                investigation=case.id,
                part=case.part,
                cause=name,
                says=cause.says,
                layer=str(cause.layer),
                supported=bool(states) and bad is None,
                why_not="" if bad is None else str(bad),
                is_end=name in ends,
            )
        )
    return found
