"""Parts needed in the coming months, for every part in service, known age or not."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.causes.fix.pieces import ONCE, Pieces
from rca.causes.planning.back_test import back_test
from rca.causes.planning.forecast import Forecast, forecast_parts
from rca.errors import NoAnswer, NoFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable

Made = TypeVar("Made")

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
    day = pd.Timestamp(fleet.cutoff)

    def forecast(known: Pieces, unknown: Pieces) -> Forecast:
        return forecast_parts(known, unknown=unknown, as_of=day, draws=DRAWS, seed=seed)

    whole = [one for one in parts if one.mode is None and one.fit is not None]
    return _of_each(whole, forecast, fleet, lives, original)


def _of_each(
    parts: Sequence[PartFinding],
    work: Callable[[Pieces, Pieces], Made],
    fleet: Fleet,
    lives: LifeTable,
    original: LifeTable,
) -> dict[str, Made]:
    """What `work` makes of each part's pieces of known and unknown age, where it can.

    Two parts at a time: most of the work is in numpy, which lets other threads run meanwhile, and
    every part has a random stream of its own.
    """

    def of(one: PartFinding) -> Made | None:
        try:
            return work(*_pieces(fleet, lives, original, one))
        except (NoAnswer, NoFit):
            return None

    with ThreadPoolExecutor(max_workers=2) as pool:
        made = zip(parts, pool.map(of, parts), strict=True)
        return {one.part: result for one, result in made if result is not None}


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

    def again(known: Pieces, unknown: Pieces) -> pd.DataFrame:
        return back_test(known, unknown=unknown, as_of=days, draws=BACK_DRAWS, seed=seed)

    whole = [one for one in parts if one.mode is None and one.fit is not None]
    made = _of_each(whole[:BACK_TESTED], again, fleet, lives, original)
    return {part: table for part, table in made.items() if len(table)}
