"""From repairs to lives: how long each fitted part ran, whether it failed, since when it was seen.

A life belongs to one unit, part, position and fitting. A repair that renews the part ends it and
begins the next one at age 0; a failure mended without renewal ends a *piece* of it as failed, and
the next piece goes on from that age. What was last seen running is a suspension.

A first life starts at age 0 only where its unit entered service after the records begin. Else its
age must be proved by a fitted date or meter. Such proof mostly stands on the row of the removal,
so that only parts that failed have it; taking those in and leaving the survivors out makes lives
look short (in a simulated fleet with a true shape of 1 and scale of 900 days it gave 1.4 and 570).
So late entries are used only where at most a tenth of a part's first lives lack proof; otherwise
all its first lives of unknown age are set aside, failed and surviving alike.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.meters import Meters, believed_meters, day_number
from rca.records.set_aside import SET_ASIDE_COLUMNS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

HALF_DAY = 0.5
MOST_UNPROVED = 0.1
NO_DAY = np.iinfo(np.int64).min
FIRST_LIVES = ("proved", "as original", "as new")
AGE_UNKNOWN = "age of the first life is not proved"
PROOF_BY_END = "age of the first life is proved only for parts that came off"


@dataclass(frozen=True, slots=True, eq=False)
class LifeTable:
    """All lives of a fleet, one row a piece; `rows` has the columns listed in DEVELOPERS.md.

    `left_out` counts, by part and reason, the pieces that could not be used; `untrusted_meters`
    lists meter readings that were not believed.
    """

    rows: pd.DataFrame
    left_out: pd.DataFrame
    meters: Meters
    first_lives: str = "proved"

    def of(self, part: str) -> pd.DataFrame:
        """Return the pieces of one part."""
        return self.rows[self.rows["part"] == part]

    def __str__(self) -> str:
        failed = int(self.rows["failed"].sum())
        out = int(self.left_out["pieces"].sum()) if len(self.left_out) else 0
        return f"{len(self.rows)} pieces of lives, {failed} failed; {out} left out (age unknown)"


@dataclass(frozen=True, slots=True, eq=False)
class _Slots:
    """Places (unit, part, position) at which lives are followed; arrays by slot code."""

    unit: Ints  # code into the units' names
    part: pd.Categorical
    position: pd.Categorical
    from_new: Flags  # is the first life at this place to be followed at all


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
    units = pd.Index(fleet.watch["unit"].astype(str))
    meters = believed_meters(fleet, units)
    events = _events(fleet, units)
    slots, slot = _slots(fleet, units, events)
    events = events[slot >= 0].assign(slot=slot[slot >= 0])
    events = _one_a_day(events)
    pieces = _pieces(fleet, slots, events)
    pieces = _with_ages(fleet, slots, pieces, meters, first_lives)
    rows, left_out = _proved_only(pieces, first_lives, blocked=fleet.is_blocked("lives"))
    return LifeTable(rows, left_out, meters, first_lives)


def _events(fleet: Fleet, units: pd.Index) -> pd.DataFrame:
    """Repairs that end a piece of a life: failures, renewals, and orders still open."""
    repairs = fleet.repairs
    action, reason = repairs["action"], repairs["reason"]
    renews = _is_one_of(action, fleet.settings.renews)
    fails = _is_one_of(reason, ("failure",))
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


def _is_one_of(column: pd.Series, words: tuple[str, ...]) -> Flags:
    """Tell by code, not by text, which cells hold one of the words."""
    wanted = np.array([name in words for name in column.cat.categories] + [False])
    return wanted[column.cat.codes.to_numpy()]


def _slots(fleet: Fleet, units: pd.Index, events: pd.DataFrame) -> tuple[_Slots, Ints]:
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
        slots = _Slots(
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
    slots = _Slots(
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


def _one_a_day(events: pd.DataFrame) -> pd.DataFrame:
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


def _pieces(fleet: Fleet, slots: _Slots, events: pd.DataFrame) -> pd.DataFrame:
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


def _with_ages(
    fleet: Fleet, slots: _Slots, pieces: pd.DataFrame, meters: Meters, first_lives: str
) -> pd.DataFrame:
    """Find the age of each piece at its begin and end, in days and on the meter."""
    place = pieces["slot"].to_numpy()
    unit = slots.unit[place]
    life = pieces["life"].to_numpy()
    starts = np.flatnonzero(pieces["piece"].to_numpy() == 0)
    begin, end = pieces["begin"].to_numpy(), pieces["end"].to_numpy()
    first = pieces["fitting"].to_numpy() == 0
    fitted_day, fitted_meter = _proof(fleet, pieces, starts)
    in_service = _in_service(fleet)[unit]
    watched_from = day_number(fleet.watch["watched_from"].to_numpy())[unit]
    from_new = first & (in_service != NO_DAY) & (in_service >= watched_from)
    life_begin = begin[starts][life]  # a renewal, or the begin of watching
    born = np.where(~first | from_new, life_begin, fitted_day[life])
    born_meter_day = np.where(~first | from_new, life_begin, fitted_day[life])
    if first_lives != "proved":
        stand_in = np.where(in_service != NO_DAY, in_service, watched_from)
        stand_in = watched_from if first_lives == "as new" else stand_in
        unknown = first & ~from_new & (born == NO_DAY)
        born = np.where(unknown, stand_in, born)
        born_meter_day = np.where(unknown, stand_in, born_meter_day)
    begin = np.where(first & (born != NO_DAY), np.maximum(begin, born), begin)
    known = born != NO_DAY
    entry_days = np.where(known, begin - born, np.nan).astype(float)
    age_days = np.where(known, end - born, np.nan).astype(float)
    wrong = known & (age_days < entry_days)  # a fitted date after the removal proves nothing
    entry_days[wrong], age_days[wrong] = np.nan, np.nan
    age_days = np.maximum(age_days, entry_days + HALF_DAY)
    use_begin, guess_begin = meters.at(unit, begin)
    use_end, guess_end = meters.at(unit, end)
    use_born, guess_born = meters.at(unit, np.where(known, born_meter_day, begin))
    use_born = np.where(known, np.minimum(use_born, use_begin), np.nan)
    proved_meter = fitted_meter[life]
    unbroken = ~np.isin(meters.names[unit], list(meters.replaced))
    by_meter = first & ~from_new & ~np.isnan(proved_meter) & unbroken
    use_born = np.where(by_meter & (proved_meter <= use_end), proved_meter, use_born)
    entry_meter = np.maximum(use_begin - use_born, 0.0)
    pace = (use_end - use_begin) / np.maximum(end - begin, 1)
    age_meter = use_end - use_born
    shortest = entry_meter + np.where(pace > 0, pace * HALF_DAY, np.nan)
    age_meter = np.where(age_meter > entry_meter, age_meter, shortest)
    return pieces.assign(
        begin=begin,
        entry_days=entry_days,
        age_days=age_days,
        entry_meter=np.where(np.isnan(age_meter), np.nan, entry_meter),
        age_meter=age_meter,
        meter_estimated=guess_begin | guess_end | (guess_born & ~by_meter),
        unknown_first=first & ~from_new,
        unit_code=unit,
        **_said_at_repairs(fleet, slots, pieces),
    )


def _proof(fleet: Fleet, pieces: pd.DataFrame, starts: Ints) -> tuple[Ints, Floats]:
    """Fitted day and fitted meter of each life, where a repair during it states them."""
    repairs = fleet.repairs
    row = pieces["row"].to_numpy()
    day = np.append(day_number(repairs["fitted_date"].to_numpy()), NO_DAY)[row]
    day = np.where(day > pieces["end"].to_numpy(), NO_DAY, day)
    meter = np.append(repairs["fitted_meter"].to_numpy(dtype=np.float64), np.nan)[row]
    if not len(starts):
        return day, meter
    return np.maximum.reduceat(day, starts), np.fmax.reduceat(meter, starts)


def _in_service(fleet: Fleet) -> Ints:
    """Day on which each watched unit entered service; NO_DAY where that is unknown."""
    if fleet.units is None:
        return np.full(len(fleet.watch), NO_DAY)
    by_name = pd.Series(
        day_number(fleet.units["in_service"].to_numpy()), index=fleet.units["unit"].astype(str)
    )
    return by_name.reindex(fleet.watch["unit"]).to_numpy(dtype=np.int64)


def _said_at_repairs(fleet: Fleet, slots: _Slots, pieces: pd.DataFrame) -> dict[str, pd.Series]:
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
        ends = _is_one_of(repairs["action"], fleet.settings.renews) | _is_one_of(
            repairs["reason"], ("failure",)
        )
        nowhere = ends & ~here.isin(there)
        rows = repairs[nowhere]
        found.append(
            pd.DataFrame(
                {
                    "table": "repairs",
                    "file": fleet.account("repairs").file,
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
    file = {account.table: account.file for account in fleet.accounts}
    return pd.DataFrame(
        {
            "table": bad["table"],
            "file": bad["table"].map(file),
            "line": bad["line"],
            "column": "meter",
            "value": bad["meter"].map("{:g}".format) if len(bad) else [],
            "rule": "the reading does not fit the unit's others (backward or impossibly far)",
            "next_step": "correct it, or mark a replaced meter with meter_replaced: yes",
            "scope": "meter",
        }
    )
