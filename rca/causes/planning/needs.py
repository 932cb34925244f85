"""Parts needed in the coming months, for every part in service, known age or not."""

from collections.abc import Sequence

import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.causes.fix.pieces import ONCE, Pieces
from rca.causes.planning.back_test import back_test
from rca.causes.planning.forecast import Forecast, forecast_parts
from rca.errors import NoAnswer, NoFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable

DRAWS = 1000
MONTHS_BACK = (4, 8, 12)  # ends of months at which a forecast is made again
BACK_DRAWS = 250
BACK_TESTED = 8  # parts, in order of importance


def forecast_needs(
    fleet: Fleet, lives: LifeTable, original: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> dict[str, Forecast]:
    """Forecast each part with a life curve.

    Parts in service whose age is not proved must be counted too: their ages are drawn from what
    the part's own ends make likely (`unknown_age`); they stay out of the life curve.

    Parameters
    ----------
    original
        Lives with first lives of unknown age taken as original.
    """
    found, day = {}, pd.Timestamp(fleet.cutoff)
    for one in (part for part in parts if part.mode is None and part.fit is not None):
        known, unknown = _pieces(fleet, lives, original, one)
        try:
            found[one.part] = forecast_parts(
                known, unknown=unknown, as_of=day, draws=DRAWS, seed=seed
            )
        except (NoAnswer, NoFit):
            continue
    return found


def _pieces(
    fleet: Fleet, lives: LifeTable, original: LifeTable, one: PartFinding
) -> tuple[Pieces, Pieces]:
    """Pieces of known and of unknown age."""
    known = Pieces.from_rows(_without_fixes(fleet, lives.of(one.part)), scale=one.scale)
    return known, Pieces.from_rows(_of_unknown_age(lives, original, one), scale=one.scale)


def _of_unknown_age(lives: LifeTable, original: LifeTable, one: PartFinding) -> pd.DataFrame:
    """First lives that the strict lives leave out, as if original."""
    rows = original.of(one.part)
    rows = rows[rows["fitting"] == 0]
    place = ["unit", "position"]
    known = lives.of(one.part)
    known = known[known["fitting"] == 0]
    strict = pd.MultiIndex.from_frame(known[place])
    return rows[~pd.MultiIndex.from_frame(rows[place]).isin(strict)]


def _without_fixes(fleet: Fleet, rows: pd.DataFrame) -> pd.DataFrame:
    """Take what was replaced on a unit on the day of a fix as done once, like a recall."""
    if fleet.fixes is None or fleet.fixes.empty:
        return rows
    fixed = pd.MultiIndex.from_arrays([fleet.fixes["unit"].astype(str), fleet.fixes["date"]])
    ends = pd.MultiIndex.from_arrays([rows["unit"].astype(str), rows["end"]])
    once = ends.isin(fixed) & ~rows["failed"].to_numpy(dtype=bool) & rows["renewed"].to_numpy(bool)
    return rows.assign(ended_by=rows["ended_by"].where(~once, ONCE))


def back_test_needs(
    fleet: Fleet, lives: LifeTable, original: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> dict[str, pd.DataFrame]:
    """Forecast again as of past months' ends, for the first parts, beside what then came.

    Rows as `back_test.back_test` gives them.
    """
    last = pd.Timestamp(fleet.cutoff) + pd.offsets.MonthEnd(0)
    days = [last - pd.offsets.MonthEnd(back) for back in MONTHS_BACK]
    found = {}
    whole = [one for one in parts if one.mode is None and one.fit is not None]
    for one in whole[:BACK_TESTED]:
        known, unknown = _pieces(fleet, lives, original, one)
        try:
            table = back_test(known, unknown=unknown, as_of=days, draws=BACK_DRAWS, seed=seed)
        except (NoAnswer, NoFit):
            continue
        if len(table):
            found[one.part] = table
    return found
