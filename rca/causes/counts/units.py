"""Units with more than their share of a part's failures: shrunk ratios, never raw ranks."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.errors import NoFit
from rca.life.shrinkage import ShrunkRatios, WorstUnits, shrink
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable

FEWEST_FAILURES = 10  # below this a part's failures say nothing about single units
MOST_UNITS = 15


@dataclass(frozen=True, slots=True)
class UnitFinding:
    """One unit's failures of a part against what its own running leads one to expect.

    `ratio`, `lower`, `upper` are drawn toward the level of the whole fleet (gamma-Poisson).
    """

    unit: str
    part: str
    failures: int
    expected: float
    ratio: float
    lower: float
    upper: float

    def __str__(self) -> str:
        return (
            f"{self.unit}: {self.failures} failures of {self.part}, {self.expected:.1f} expected; "
            f"shrunk ratio {self.ratio:.2f} ({self.lower:.2f} to {self.upper:.2f})"
        )


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Every unit's failures of one part beside what was expected of it, with shrunk ratios."""

    part: str
    table: pd.DataFrame  # unit, failures, expected, ratio, lower, upper
    shrunk: ShrunkRatios

    def worst_tenth(self) -> WorstUnits | None:
        """How far the worst tenth of units would fall with nothing done."""
        try:
            return self.shrunk.worst(share=0.1)
        except NoFit:
            return None


def unit_shares(lives: LifeTable, finding: PartFinding) -> Shares | None:
    """Compare the units' failures of one part with its life curve at the ages they ran.

    Expected failures are the sums of H(age) - H(entry) over a unit's pieces, scaled so that they
    add up to the failures of all. None where there is no curve or too few failures.
    """
    if finding.fit is None or finding.failures < FEWEST_FAILURES:
        return None
    rows = lives.of(finding.part)
    entry, age = rows[f"entry_{finding.scale}"], rows[f"age_{finding.scale}"]
    known = age.notna()
    hazard = finding.fit.cumulative_hazard(age[known]) - finding.fit.cumulative_hazard(entry[known])
    by_unit = pd.DataFrame(
        {"unit": rows.loc[known, "unit"], "failures": rows.loc[known, "failed"], "expected": hazard}
    )
    table = by_unit.groupby("unit", as_index=False).sum()
    table = table[table["expected"] > 0].reset_index(drop=True)
    table["expected"] *= table["failures"].sum() / table["expected"].sum()
    try:
        shrunk = shrink(table["failures"].to_numpy(float), table["expected"].to_numpy())
    except NoFit:
        return None
    table = table.assign(ratio=shrunk.ratio, lower=shrunk.lower, upper=shrunk.upper)
    return Shares(finding.part, table, shrunk)


def units_with_more_than_their_share(
    fleet: Fleet, lives: LifeTable, parts: Sequence[PartFinding]
) -> tuple[UnitFinding, ...]:
    """List units whose lower limit lies above the fleet's level, most surplus failures first."""
    found: list[tuple[float, UnitFinding]] = []
    for part in (one for one in parts if one.mode is None):
        shares = unit_shares(lives, part)
        if shares is None:
            continue
        table = shares.table
        for row in table[table["lower"] > 1.0].itertuples():
            unit = UnitFinding(
                str(row.unit), part.part, int(row.failures), float(row.expected),
                float(row.ratio), float(row.lower), float(row.upper),
            )  # fmt: skip
            found.append((row.failures - row.expected, unit))
    found.sort(key=lambda pair: (-pair[0], pair[1].unit, pair[1].part))
    return tuple(unit for _, unit in found[:MOST_UNITS])
