"""What the lives could not use, as notes beside the rows set aside."""

import pandas as pd

from rca.records.fleet import Fleet
from rca.records.lives.events import is_one_of
from rca.records.lives.table import LifeTable
from rca.records.set_aside import SET_ASIDE_COLUMNS


def life_notes(fleet: Fleet, lives: LifeTable) -> pd.DataFrame:
    """List what the life results could not use, in the form of rows set aside (scope "lives").

    Failures at places that the parts table does not give to the unit, and meter readings that
    are not believed (scope "meter"); lives of unknown age stand in `lives.left_out`.
    """
    places = fleet.places
    found = [_untrusted(fleet, lives)]
    if places is not None:
        repairs = fleet.repairs
        here = pd.MultiIndex.from_frame(
            repairs[["unit", "part", "position"]].astype(str).apply(lambda c: c.str.casefold())
        )
        there = pd.MultiIndex.from_frame(
            places[["unit", "part", "position"]].astype(str).apply(lambda c: c.str.casefold())
        )
        ends = is_one_of(repairs["action"], fleet.settings.renews) | is_one_of(
            repairs["reason"], ("failure",)
        )
        nowhere = ends & ~here.isin(there)
        rows = repairs[nowhere]
        found.append(
            pd.DataFrame(
                {
                    "table": "repairs",
                    "file": fleet.files["repairs"][nowhere],
                    "line": fleet.lines["repairs"][nowhere],
                    "column": "part, position",
                    "value": rows["part"].astype(str) + ", " + rows["position"].astype(str),
                    "rule": "the parts table does not give this unit this part at this position",
                    "next_step": "complete positions and fitted_to in the parts table",
                    "scope": "lives",
                }
            )
        )
    return pd.concat(found, ignore_index=True)[list(SET_ASIDE_COLUMNS)]


def _untrusted(fleet: Fleet, lives: LifeTable) -> pd.DataFrame:
    bad = lives.meters.untrusted
    return pd.DataFrame(
        {
            "table": bad["table"],
            "file": bad["file"],
            "line": bad["line"],
            "column": "meter",
            "value": bad["meter"].map("{:g}".format) if len(bad) else [],
            "rule": "the reading does not fit the unit's others (backward or impossibly far)",
            "next_step": "correct it, or mark a replaced meter with meter_replaced: yes",
            "scope": "meter",
        }
    )
