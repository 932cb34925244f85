"""Places (unit, part, position) at which lives are followed."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Slots:
    """Places (unit, part, position) at which lives are followed; arrays by slot code."""

    unit: Ints  # code into the units' names
    part: pd.Categorical
    position: pd.Categorical
    from_new: Flags  # is the first life at this place to be followed at all


def followed_slots(fleet: Fleet, units: pd.Index, events: pd.DataFrame) -> tuple[Slots, Ints]:
    """List the places where lives are followed, and find each event's place (-1 = nowhere).

    With a parts table these are the places that carry the part; without one, every place that
    has an event, whose first life is then not followed.
    """
    parts, positions = (
        fleet.repairs["part"].cat.categories,
        fleet.repairs["position"].cat.categories,
    )
    places = fleet.places
    if places is None:
        key = _slot_key(
            events["unit"], events["part"], events["position"], len(parts), len(positions)
        )
        distinct, slot = np.unique(key, return_inverse=True)
        unit, part, position = _unkey(distinct, len(parts), len(positions))
        slots = Slots(
            unit,
            pd.Categorical.from_codes(part, categories=parts),
            pd.Categorical.from_codes(position, categories=positions),
            np.zeros(len(unit), dtype=bool),
        )
        return slots, slot.astype(np.int64)
    names = pd.Index(parts).append(pd.Index(places["part"].unique())).unique()
    spots = pd.Index(positions).append(pd.Index(places["position"].unique())).unique()
    folded = pd.Index(spots.str.casefold())
    spot = pd.Index(pd.unique(folded)).get_indexer(folded)
    unit = units.get_indexer(pd.Index(places["unit"]))
    seen = unit >= 0
    part = names.get_indexer(pd.Index(places["part"]))
    position = spots.get_indexer(pd.Index(places["position"]))
    key = _slot_key(unit[seen], part[seen], spot[position[seen]], len(names), len(spots))
    distinct, first = np.unique(key, return_index=True)
    event_key = _slot_key(
        events["unit"], events["part"], spot[events["position"].to_numpy()], len(names), len(spots)
    )  # the repairs' categories come first in `names` and `spots`, so their codes still hold
    at = np.clip(np.searchsorted(distinct, event_key), 0, max(len(distinct) - 1, 0))
    slot = (
        np.where(distinct[at] == event_key, at, -1) if len(distinct) else np.full(len(events), -1)
    )
    slots = Slots(
        unit[seen][first],
        pd.Categorical.from_codes(part[seen][first], categories=names),
        pd.Categorical.from_codes(position[seen][first], categories=spots),
        np.ones(len(distinct), dtype=bool),
    )
    return slots, slot.astype(np.int64)


def _slot_key(unit: Ints, part: Ints, position: Ints, n_parts: int, n_positions: int) -> Ints:
    """Unit, part and position in one number."""
    wide = [np.asarray(one).astype(np.int64) for one in (unit, part, position)]
    return (wide[0] * n_parts + wide[1]) * n_positions + wide[2]


def _unkey(key: Ints, n_parts: int, n_positions: int) -> tuple[Ints, Ints, Ints]:
    return key // (n_parts * n_positions), key // n_positions % n_parts, key % n_positions
