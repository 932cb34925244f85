"""Parts needed in the coming months, for every part in service, known age or not."""

from collections.abc import Sequence

import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.causes.fix.pieces import Pieces
from rca.causes.planning.forecast import Forecast, back_test, forecast_parts
from rca.errors import NoAnswer, NoFit
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable

DRAWS = 1000
MONTHS_BACK = (4, 8, 12)  # ends of months at which a forecast is made again
BACK_DRAWS = 300
BACK_TESTED = 8  # parts, in order of importance
SLIVER = 1e-6  # share of its age for which a part of unknown age counts as watched


def forecast_needs(
    fleet: Fleet, lives: LifeTable, original: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> dict[str, Forecast]:
    """Forecast each part with a life curve.

    Parts in service whose age is not proved must be counted too. They are taken as fitted when
    the unit entered service, the oldest they can be, so a wearing part is rather over- than
    understocked; they stay out of the life curve.

    Parameters
    ----------
    original
        Lives with first lives of unknown age taken as original.
    """
    found, day = {}, pd.Timestamp(fleet.cutoff)
    for one in (part for part in parts if part.mode is None and part.fit is not None):
        rows = pd.concat([lives.of(one.part), _of_unknown_age(lives, original, one)])
        try:
            pieces = Pieces.from_rows(rows, scale=one.scale)
            found[one.part] = forecast_parts(pieces, as_of=day, draws=DRAWS, seed=seed)
        except (NoAnswer, NoFit):
            continue
    return found


def _of_unknown_age(lives: LifeTable, original: LifeTable, one: PartFinding) -> pd.DataFrame:
    """Pieces still in service that the strict lives leave out, watched for a sliver only."""
    rows = original.of(one.part)
    rows = rows[(rows["fitting"] == 0) & (rows["ended_by"] == "cut-off")]
    place = ["unit", "position"]
    known = lives.of(one.part)
    known = known[known["fitting"] == 0]
    strict = pd.MultiIndex.from_frame(known[place])
    rows = rows[~pd.MultiIndex.from_frame(rows[place]).isin(strict)].copy()
    for scale in ("days", "meter"):
        rows[f"entry_{scale}"] = rows[f"age_{scale}"] * (1 - SLIVER)
    return rows


def back_test_needs(
    fleet: Fleet, lives: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> dict[str, pd.DataFrame]:
    """Forecast again as of past months' ends, for the first parts, beside what then came.

    Rows as `forecast.back_test` gives them. Only parts of proved age are counted, on both sides.
    """
    last = pd.Timestamp(fleet.cutoff) + pd.offsets.MonthEnd(0)
    days = [last - pd.offsets.MonthEnd(back) for back in MONTHS_BACK]
    found = {}
    whole = [one for one in parts if one.mode is None and one.fit is not None]
    for one in whole[:BACK_TESTED]:
        try:
            pieces = Pieces.from_rows(lives.of(one.part), scale=one.scale)
            table = back_test(pieces, as_of=days, draws=BACK_DRAWS, seed=seed)
        except (NoAnswer, NoFit):
            continue
        if len(table):
            found[one.part] = table
    return found
