"""Repairs that end a piece of a life, one a day at each place."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.meters import day_number

Flags = NDArray[np.bool_]


def ends_of_pieces(fleet: Fleet, units: pd.Index) -> pd.DataFrame:
    """Repairs that end a piece of a life: failures, renewals, and orders still open."""
    repairs = fleet.repairs
    action, reason = repairs["action"], repairs["reason"]
    renews = is_one_of(action, fleet.settings.renews)
    fails = is_one_of(reason, ("failure",))
    is_open = (
        repairs["closed"].isna().to_numpy()
        if "closed" in repairs.columns
        else np.zeros(len(repairs), dtype=bool)
    )
    is_open = is_open & (fails | renews)
    fails, renews = fails & ~is_open, renews & ~is_open
    rows = np.flatnonzero(fails | renews | is_open)
    unit_codes = units.get_indexer(pd.Index(repairs["unit"].cat.categories.astype(str)))
    return pd.DataFrame(
        {
            "row": rows,
            "unit": unit_codes[repairs["unit"].cat.codes.to_numpy()[rows]],
            "part": repairs["part"].cat.codes.to_numpy()[rows],
            "position": repairs["position"].cat.codes.to_numpy()[rows],
            "day": day_number(repairs["date"].to_numpy()[rows]),
            "failed": fails[rows],
            "renewed": renews[rows],
            "open": is_open[rows],
        }
    )


def is_one_of(column: pd.Series, words: tuple[str, ...]) -> Flags:
    """Tell by code, not by text, which cells hold one of the words."""
    wanted = np.array([name in words for name in column.cat.categories] + [False])
    return wanted[column.cat.codes.to_numpy()]


def one_a_day(events: pd.DataFrame) -> pd.DataFrame:
    """Make one repair of those at one place on one day: the failure wins, any renewal counts."""
    rank = 2 - 2 * events["failed"].to_numpy().astype(np.int8) - events["renewed"].to_numpy()
    slot, day = events["slot"].to_numpy(), events["day"].to_numpy()
    order = np.lexsort((events["row"].to_numpy(), rank, day, slot))
    events = events.iloc[order]
    slot, day = slot[order], day[order]
    first = np.ones(len(events), dtype=bool)
    first[1:] = (slot[1:] != slot[:-1]) | (day[1:] != day[:-1])
    if first.all():
        return events.reset_index(drop=True)
    starts = np.flatnonzero(first)
    merged = events[first].copy()
    for name in ("failed", "renewed"):
        merged[name] = np.logical_or.reduceat(events[name].to_numpy(), starts)
    merged["open"] = np.logical_and.reduceat(events["open"].to_numpy(), starts)
    return merged.reset_index(drop=True)
