"""What stands in words at the repair that ended a piece of a life or began its life."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.lives.places import Slots
from rca.records.meters import day_number

Ints = NDArray[np.int64]


def said_at_repairs(fleet: Fleet, slots: Slots, pieces: pd.DataFrame) -> dict[str, pd.Series]:
    """Words that stand at the repair which ended a piece or began its life."""
    repairs, row = fleet.repairs, pieces["row"].to_numpy()
    life_row = pieces["begun_row"].to_numpy()[
        np.flatnonzero(pieces["piece"].to_numpy() == 0)[pieces["life"].to_numpy()]
    ]
    unit = fleet.watch["unit"].astype(str).to_numpy(dtype=object)[slots.unit[pieces["slot"]]]
    watched_to = day_number(fleet.watch["watched_to"].to_numpy())[slots.unit[pieces["slot"]]]
    last = "cut-off", "retired"
    cut = day_number(np.array([np.datetime64(fleet.cutoff)]))[0]
    ended = np.where(watched_to < cut, last[1], last[0]).astype(object)
    reason = _at(repairs["reason"], row)
    reason[reason == ""] = "other"
    ended = np.where(row >= 0, reason, ended)
    ended = np.where(pieces["open"], "open order", ended)
    return {
        "unit": pd.Series(unit, dtype=object),
        "part": pd.Series(np.asarray(slots.part[pieces["slot"]], dtype=object)),
        "position": pd.Series(np.asarray(slots.position[pieces["slot"]], dtype=object)),
        "mode": pd.Series(_at(repairs["mode"], row)),
        "ended_by": pd.Series(ended, dtype=object),
        "lot": pd.Series(_at(repairs["lot"], life_row)),
        "begun_by": pd.Series(_at(repairs["action"], life_row)),
        "cause_addressed": pd.Series(_at(repairs["cause_addressed"], life_row)),
    }


def _at(column: pd.Series, row: Ints) -> NDArray[np.object_]:
    """Return a column's words at rows; "" where the row is -1."""
    words = np.asarray([*column.cat.categories, ""], dtype=object)
    codes = np.append(column.cat.codes.to_numpy().astype(np.int64), -1)
    return words[codes[row]]
