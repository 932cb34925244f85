"""What the records hint at for every part: the pattern of its failures, and what comes before.

Hypotheses that say where to look; nothing here is a cause.
"""

from collections.abc import Sequence
from datetime import date
from statistics import median

import numpy as np
import pandas as pd

from rca.causes.counts.parts import PartFinding
from rca.causes.fixes import first_fix_dates
from rca.causes.pattern.reading import ORDINARY_SPREAD, Pattern, read_pattern
from rca.causes.screen.upstream import Screen, screen_upstream
from rca.errors import NoAnswer
from rca.records.fleet import Fleet
from rca.records.lives import LifeTable


def read_patterns(
    fleet: Fleet, lives: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> dict[str, Pattern]:
    """Read the pattern of each part on its lives before the first fix of it.

    What spread between units is ordinary is taken from the other parts of the same fleet; so
    each part is read again where the others differ by more than the usual spread.
    """
    whole = [one for one in parts if one.mode is None]
    days = first_fix_dates(fleet)
    rows = {
        one.part: lives_before_fix(lives, one.part, day=days.get(one.part.casefold()))
        for one in whole
    }

    def read(one: PartFinding, spread: float) -> Pattern:
        return read_pattern(
            rows[one.part],
            scale=one.scale,
            units=fleet.units,
            spread_of_other_parts=spread,
            seed=seed,
        )

    found = {one.part: read(one, ORDINARY_SPREAD) for one in whole}
    for one in whole:
        others = [
            pattern.spread
            for name, pattern in found.items()
            if name != one.part and pattern.spread is not None
        ]
        ordinary = median(others) if others else ORDINARY_SPREAD
        if ordinary > ORDINARY_SPREAD:
            found[one.part] = read(one, ordinary)
    return found


def lives_before_fix(lives: LifeTable, part: str, *, day: date | None) -> pd.DataFrame:
    """Return the pieces of a part up to the day of its first fix, those across it cut there."""
    rows = lives.of(part)
    if day is None:
        return rows
    cut = pd.Timestamp(day)
    rows = rows[rows["begin"] < cut].copy()
    across = (rows["end"] > cut).to_numpy()
    share = (cut - rows["begin"]) / (rows["end"] - rows["begin"])
    share = share.where(across, 1.0).to_numpy()
    for scale in ("days", "meter"):
        entry = rows[f"entry_{scale}"].to_numpy()
        rows[f"age_{scale}"] = entry + share * (rows[f"age_{scale}"].to_numpy() - entry)
    rows["end"] = np.minimum(rows["end"], cut)
    rows.loc[across, ["failed", "renewed"]] = False
    rows.loc[across, "mode"] = ""
    rows.loc[across, "ended_by"] = "cut-off"
    return rows


def screen(
    fleet: Fleet, lives: LifeTable, parts: Sequence[PartFinding], *, seed: int
) -> Screen | None:
    """Screen all recorded events and attributes; None where failures cannot be told apart."""
    whole = [one for one in parts if one.mode is None]
    try:
        return screen_upstream(
            fleet.repairs,
            fleet.watch,
            lives=lives.rows,
            units=fleet.units,
            targets=[one.part for one in whole],
            scales={one.part: one.scale for one in whole},
            seed=seed,
        )
    except NoAnswer:
        return None
