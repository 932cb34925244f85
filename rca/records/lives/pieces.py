"""Each place's time, cut at its events."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.lives.places import Slots
from rca.records.meters import day_number

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


def pieces_between(fleet: Fleet, slots: Slots, events: pd.DataFrame) -> pd.DataFrame:
    """Cut each place's time into pieces at its events; the last piece of a place ends unfailed."""
    n_slots, n = len(slots.unit), len(events)
    watch_from, watch_to = (
        day_number(fleet.watch[name].to_numpy())[slots.unit]
        for name in ("watched_from", "watched_to")
    )
    slot = events["slot"].to_numpy()
    is_open = events["open"].to_numpy()
    # Every event ends a piece, and one more piece runs to the end of watching of each place.
    place = np.concatenate([slot, np.arange(n_slots)])
    end = np.concatenate([events["day"].to_numpy(), watch_to])
    at_end = np.concatenate([np.zeros(n, dtype=bool), np.ones(n_slots, dtype=bool)])
    order = np.lexsort((at_end, end, place))
    index = np.concatenate([np.arange(n), np.full(n_slots, -1)])[order]
    place, end, at_end = place[order], end[order], at_end[order]
    begins_place = np.ones(len(place), dtype=bool)
    begins_place[1:] = place[1:] != place[:-1]
    previous = np.where(begins_place, -1, np.roll(index, 1))
    renewed = np.append(events["renewed"].to_numpy(), False)
    fresh = renewed[previous]  # this piece begins a new life
    fitting = _running_count(fresh, begins_place)
    begin = np.where(begins_place, watch_from[place], np.roll(end, 1))
    row = np.append(events["row"].to_numpy(), -1)
    frame = pd.DataFrame(
        {
            "slot": place,
            "fitting": fitting,
            "begin": begin,
            "end": end,
            "failed": np.append(events["failed"].to_numpy(), False)[index],
            "renewed": renewed[index],
            "open": np.append(is_open, False)[index],
            "at_end": at_end,
            "row": row[index],
            "begun_row": np.where(fresh, row[previous], -1),
        }
    )
    followed = slots.from_new[place] | (fitting > 0)
    # Nothing is watched after an order that is still open: what it will turn out to be is unknown.
    after_open = _seen_before(frame["open"].to_numpy(), begins_place)
    nothing_run = at_end & (begin >= end) & (fitting > 0)
    frame = frame[followed & ~after_open & ~nothing_run].reset_index(drop=True)
    new_life = np.ones(len(frame), dtype=bool)
    same = (frame["slot"].diff() == 0) & (frame["fitting"].diff() == 0)
    new_life[same.to_numpy()] = False
    frame["piece"] = _running_count(~new_life, new_life)
    frame["life"] = np.cumsum(new_life) - 1
    return frame


def _running_count(flag: Flags, restart: Flags) -> Ints:
    """Count the flags so far since the last restart."""
    total = np.cumsum(flag)
    at_start = np.maximum.accumulate(np.where(restart, np.arange(len(flag)), 0))
    counted: Ints = (total - (total - flag)[at_start]).astype(np.int64)
    return counted


def _seen_before(flag: Flags, restart: Flags) -> Flags:
    """Tell whether a flag stood at an earlier row since the last restart."""
    seen: Flags = _running_count(flag, restart) - flag > 0
    return seen
