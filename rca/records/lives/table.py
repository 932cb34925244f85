"""All lives of a fleet, and those left out because their age is not proved."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.lives.ages import with_ages
from rca.records.lives.events import ends_of_pieces, one_a_day
from rca.records.lives.pieces import pieces_between
from rca.records.lives.places import Slots, followed_slots
from rca.records.lives.words import said_at_repairs
from rca.records.meters import Meters, believed_meters

MOST_UNPROVED = 0.1
FIRST_LIVES = ("proved", "as original", "as new")
AGE_UNKNOWN = "age of the first life is not proved"
PROOF_BY_END = "age of the first life is proved only for parts that came off"


@dataclass(frozen=True, slots=True, eq=False)
class LifeTable:
    """All lives of a fleet, one row a piece; `rows` has the columns listed in DEVELOPERS.md.

    `left_out` counts, by part and reason, the pieces that could not be used; `meters.untrusted`
    lists meter readings that were not believed.
    """

    rows: pd.DataFrame
    left_out: pd.DataFrame
    meters: Meters
    first_lives: str = "proved"
    _places: dict[str, NDArray[np.intp]] = field(default_factory=dict, init=False, repr=False)

    def of(self, part: str) -> pd.DataFrame:
        """Return the pieces of one part."""
        if not self._places:  # found once for all parts: a large fleet is asked for each of them
            self._places.update(self.rows.groupby("part", sort=False).indices)
        return self.rows.take(self._places.get(part, np.array([], dtype=np.intp)))

    def __str__(self) -> str:
        failed = int(self.rows["failed"].sum())
        out = int(self.left_out["pieces"].sum()) if len(self.left_out) else 0
        return f"{len(self.rows)} pieces of lives, {failed} failed; {out} left out (age unknown)"


def build_lives(fleet: Fleet, *, first_lives: str = "proved") -> LifeTable:
    """Make the lives of a fleet.

    Parameters
    ----------
    first_lives
        How a first life of unknown age is treated: "proved" leaves it out; "as original" takes
        it as fitted when the unit entered service; "as new" as fitted when the records begin.
        The latter two are wrong in known directions and serve to show how much hangs on it.

    Raises
    ------
    Refused
        A condition in the parts table cannot be read.
    """
    return _lives_of(fleet, *_all_pieces(fleet), first_lives)


def build_lives_each_way(fleet: Fleet) -> dict[str, LifeTable]:
    """Make the lives of a fleet with first lives treated in each of the ways of `build_lives`."""
    made = _all_pieces(fleet)
    return {name: _lives_of(fleet, *made, name) for name in FIRST_LIVES}


def _all_pieces(fleet: Fleet) -> tuple[Slots, pd.DataFrame, Meters]:
    """Where parts are followed, the pieces of their lives without ages, and the meters."""
    units = pd.Index(fleet.watch["unit"].astype(str))
    events = ends_of_pieces(fleet, units)
    slots, slot = followed_slots(fleet, units, events)
    events = events[slot >= 0].assign(slot=slot[slot >= 0])
    pieces = pieces_between(fleet, slots, one_a_day(events))
    pieces = pieces.assign(**said_at_repairs(fleet, slots, pieces))
    return slots, pieces, believed_meters(fleet, units)


def _lives_of(
    fleet: Fleet, slots: Slots, pieces: pd.DataFrame, meters: Meters, first_lives: str
) -> LifeTable:
    aged = with_ages(fleet, slots, pieces, meters, first_lives)
    rows, left_out = _proved_only(aged, first_lives, blocked=fleet.is_blocked("lives"))
    return LifeTable(rows, left_out, meters, first_lives)


_COLUMNS = [
    "unit", "part", "position", "fitting", "piece", "begin", "end", "entry_days", "age_days",
    "entry_meter", "age_meter", "meter_estimated", "failed", "mode", "ended_by", "renewed", "lot",
    "begun_by", "cause_addressed", "row",
]  # fmt: skip


def _proved_only(
    pieces: pd.DataFrame, first_lives: str, *, blocked: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Leave out lives of unknown age, and first lives whose proof hangs on having ended.

    All are left out where the records cannot tell lives at all; `blocked` says why.
    """
    unknown = (pieces["age_days"].isna() & pieces["age_meter"].isna()).to_numpy()
    why = np.where(unknown, AGE_UNKNOWN, "").astype(object)
    if first_lives == "proved":
        first = pieces["unknown_first"].to_numpy()
        shares = pd.Series(unknown[first]).groupby(pieces.loc[first, "part"].to_numpy()).mean()
        selective = shares.index[shares > MOST_UNPROVED]
        by_end = first & ~unknown & pieces["part"].isin(selective).to_numpy()
        why[by_end] = PROOF_BY_END
    if blocked:
        why[:] = blocked
    out = pieces[why != ""].assign(reason=why[why != ""])
    left_out = (
        out.groupby(["part", "reason"])
        .agg(pieces=("failed", "size"), failed=("failed", "sum"))
        .reset_index()
    )
    rows = pieces[why == ""].copy()
    for name in ("begin", "end"):
        rows[name] = rows[name].to_numpy().astype("datetime64[D]").astype("datetime64[s]")
    return rows[_COLUMNS].reset_index(drop=True), left_out
