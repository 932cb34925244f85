"""What restoring, replacing, and removing the cause would cost, by an investigation's own prices.

The failures to expect come from the records; from a single case without records there is only the
break-even.
"""

from dataclasses import dataclass

from rca.causes.case.investigation import Investigation
from rca.causes.counts.spells import Spells, spells_after_work
from rca.causes.planning.restore import NEW, RESTORED, Way, ways_to_go_on
from rca.causes.planning.worth import HORIZON_DAYS
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable


@dataclass(frozen=True, slots=True)
class CaseWays:
    """Ways of going on over `horizon_days`, cheapest first, and why others cannot be told."""

    ways: tuple[Way, ...]
    missing: tuple[str, ...]
    horizon_days: float

    def __str__(self) -> str:
        told = ", ".join(f"{one.name} {one.cost:,.0f}" for one in self.ways)
        return f"over {self.horizon_days:.0f} days: {told or 'none can be told'}"


def ways_of_case(case: Investigation, fleet: Fleet, lives: LifeTable) -> CaseWays | None:
    """Cost the ways of going on with the part of a case; None where it states no cost at all.

    Over two years, or as far as restored and new parts were followed.
    """
    if case.costs is None or not case.part:
        return None
    names = lives.rows["part"].astype(str)
    rows = lives.rows[names.str.casefold() == case.part.casefold()]
    spells = spells_after_work(rows, fleet.repairs)
    kinds = [spells[spells["action"].isin(names)] for names in (NEW, RESTORED)]
    followed = [Spells.of(kind).followed for kind in kinds if kind["failed"].any()]
    horizon = min([HORIZON_DAYS, *followed])
    ways, missing = ways_to_go_on(spells, case.costs, horizon=horizon)
    return CaseWays(ways, missing, horizon)
