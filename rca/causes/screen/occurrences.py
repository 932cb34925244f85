"""What happened to the units, day by day, under names that a screen can count.

A failure goes by its part; with several failure modes also by "part, mode". Other work goes by
"part: action", "part: accident", "part: no fault found"; a recorded fault code by "fault code X".
Mere inspections are no events. Repeats within 7 days count once: they are mostly one trouble
booked twice. Failures found at a visit that finds everything are left out and counted: they tell
when somebody looked, not when parts failed.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import pdtrc

from rca.errors import NoAnswer
from rca.records.meters import day_number

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SAME_TROUBLE_DAYS = 7
CROWD_DAYS = 7
CROWD_CHANCE = 1e-4
LEAST_CROWD = 4
FEWEST_OF_A_MODE = 6
"""A failure mode is followed by itself where its part has two or more with at least so many."""
REASON_AS_NAME = ("accident", "no fault found", "recall")
FAULT_CODE = "fault_code"
FAR_DAYS = 1 << 24
"""More days than any record spans, so that unit and day fit into one sortable number."""


@dataclass(frozen=True, slots=True, eq=False)
class Occurrences:
    """Named events of watched units; event arrays are sorted by unit, then day.

    unit, day, code
        One row an event: row of `units`, days since 1970-01-01, row of `names`.
    names, part, is_failure, is_mode
        One row a kind of event: its name, the part it belongs to ("" for a fault code), whether
        it is the failure of a part (in any mode), whether it is one mode of a part's failures.
    units, first, last, born
        One row a unit: its name, first and last day watched, day it entered service (first day
        watched where that is not known).
    crowded
        Failures left out because they were found at a visit that finds everything.
    """

    unit: Ints
    day: Ints
    code: Ints
    names: tuple[str, ...]
    part: tuple[str, ...]
    is_failure: Flags
    is_mode: Flags
    units: pd.Index
    first: Ints
    last: Ints
    born: Ints
    crowded: int

    def of(self, code: int) -> tuple[Ints, Ints]:
        """Return units and days of one kind of event, in order."""
        mine = self.code == code
        return self.unit[mine], self.day[mine]

    def __str__(self) -> str:
        return (
            f"{len(self.day)} events of {len(self.names)} kinds on {len(self.units)} units; "
            f"{self.crowded} failures left out as found at visits that find everything"
        )


def occurrences_of(
    repairs: pd.DataFrame, watch: pd.DataFrame, *, units: pd.DataFrame | None = None
) -> Occurrences:
    """Name and date the events in repair rows.

    Parameters
    ----------
    repairs
        Columns unit, date, part, action, reason, mode; a column fault_code is used where there
        is one. Rows outside the watched days of their unit are not counted.
    watch
        One row a unit: unit, watched_from, watched_to, both inclusive.
    units
        Columns unit and in_service, where known.

    Raises
    ------
    NoAnswer
        No row is marked as a failure: the reason is not recorded.
    """
    names = pd.Index(watch["unit"].astype(str))
    first, last = day_number(watch["watched_from"]), day_number(watch["watched_to"])
    row = names.get_indexer(pd.Index(repairs["unit"].astype(str)))
    day = day_number(repairs["date"])
    seen = (row >= 0) & (day >= first[row]) & (day <= last[row])
    unit, day = row[seen], day[seen]
    kinds = _Kinds.of(repairs[seen].reset_index(drop=True))
    if not kinds.failed.any():
        step = "say in fleet.yaml how rows are to be read"
        raise NoAnswer("no repair row is marked as a failure", next_step=step)
    busy = np.zeros(len(day), dtype=bool)
    busy[kinds.failed] = crowded(
        unit[kinds.failed], day[kinds.failed], kinds.part[kinds.failed], days=last - first + 1
    )
    events = kinds.events(unit, day, keep=~busy)
    born = _entered_service(units, names, first)
    return Occurrences(*events, names, first, last, born, int(busy.sum()))


def crowded(unit: Ints, day: Ints, part: Ints, *, days: Ints) -> Flags:
    """Tell which failures lie in a span of 7 days with too many different parts for its unit.

    A span is crowded with m or more different parts, m = max(4, 1 + k) where a unit of that pace
    (failures a day watched) has more than k in 7 days with a chance of at most 1e-4. Own rule,
    set by simulation (tests/benchmarks/README.md).
    """
    rows = once(unit, day, part, gap=CROWD_DAYS - 1)
    u, d = unit[rows], day[rows]
    order = np.argsort(u * FAR_DAYS + d, kind="stable")
    rows, u, d = rows[order], u[order], d[order]
    pace = CROWD_DAYS * np.bincount(u, minlength=len(days)) / days
    ladder = np.arange(200)
    most = (pdtrc(ladder[:, None], pace[None, :]) > CROWD_CHANCE).sum(axis=0)
    moment = u * FAR_DAYS + d
    ends = np.searchsorted(moment, moment + CROWD_DAYS - 1, side="right")
    many = ends - np.arange(len(moment)) >= np.maximum(LEAST_CROWD, 1 + most)[u]
    spans = np.stack([moment[many], moment[many] + CROWD_DAYS - 1])
    everyone = unit * FAR_DAYS + day
    inside = np.searchsorted(spans[0], everyone, side="right")
    # spans have one length, so the last that begins at or before an event is the one to ask
    return (inside > 0) & (everyone <= np.append(spans[1], -1)[inside - 1])


def once(unit: Ints, day: Ints, code: Ints, *, gap: int = SAME_TROUBLE_DAYS) -> Ints:
    """Rows that remain when an event within `gap` days of the one before of its kind is dropped."""
    order = np.lexsort((day, code, unit))
    u, d, c = unit[order], day[order], code[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (u[1:] != u[:-1]) | (c[1:] != c[:-1]) | (np.diff(d) > gap)
    return order[new]


def _entered_service(units: pd.DataFrame | None, names: pd.Index, first: Ints) -> Ints:
    """Day each unit entered service; the first day watched where that is not known."""
    if units is None or "in_service" not in units:
        return first
    known = units.drop_duplicates("unit").set_index(units["unit"].drop_duplicates().astype(str))
    dates = pd.to_datetime(known["in_service"]).reindex(names)
    return np.where(
        dates.isna(), first, np.minimum(day_number(dates.fillna(pd.Timestamp(0))), first)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Kinds:
    """Each row's part, whether it failed, and the names under which it is an event."""

    part: Ints
    failed: Flags
    parts: pd.Index
    labels: tuple[tuple[Ints, pd.Index], ...]  # (row -> name, -1 none; names): work, mode, code

    @classmethod
    def of(cls, rows: pd.DataFrame) -> "_Kinds":
        part, parts = pd.factorize(_text(rows, "part"))
        reason = _text(rows, "reason")
        failed = (reason == "failure").to_numpy()
        work = _joined(part, parts, _work(reason, _text(rows, "action")), ": ")
        mode = _joined(part, parts, _modes(part, failed, _text(rows, "mode")), ", ")
        faults = _text(rows, FAULT_CODE)
        code, codes = pd.factorize(faults.where(faults != ""), use_na_sentinel=True)
        named = pd.Index([f"fault code {one}" for one in codes])
        labels = (work, mode, (code.astype(np.int64), named))
        return cls(part.astype(np.int64), failed, pd.Index(parts), labels)

    def events(
        self, unit: Ints, day: Ints, *, keep: Flags
    ) -> tuple[Ints, Ints, Ints, tuple[str, ...], tuple[str, ...], Flags, Flags]:
        """All events in order of unit and day, and what each kind is."""
        tables = [(self.part.copy(), self.parts), *self.labels]
        tables[0][0][~self.failed] = -1
        rows, codes, names, owners, start = [], [], [], [], 0
        for code, name in tables:
            used = np.flatnonzero((code >= 0) & keep)
            rows.append(used)
            codes.append(code[used] + start)
            names += [str(one) for one in name]
            start += len(name)
            owners.append(len(name))
        row, kind = np.concatenate(rows), np.concatenate(codes).astype(np.int64)
        kept = once(unit[row], day[row], kind)
        row, kind = row[kept], kind[kept]
        order = np.lexsort((kind, day[row], unit[row]))
        row, kind = row[order], kind[order]
        part_of = self._part_of(kind, row, start)
        group = np.repeat(np.arange(len(tables)), owners)
        present = np.unique(kind)
        renumbered = np.searchsorted(present, kind)
        return (
            unit[row].astype(np.int64),
            day[row],
            renumbered,
            tuple(names[one] for one in present),
            tuple(part_of[one] for one in present),
            (group == 0)[present],
            (group == 2)[present],
        )

    def _part_of(self, kind: Ints, row: Ints, n_kinds: int) -> list[str]:
        """Part to which each kind belongs; "" for fault codes, which belong to the unit."""
        owner = np.full(n_kinds, -1)
        owner[kind] = self.part[row]
        coded = n_kinds - len(self.labels[-1][1])
        return [
            str(self.parts[one]) if one >= 0 and place < coded else ""
            for place, one in enumerate(owner)
        ]


def _text(rows: pd.DataFrame, column: str) -> pd.Series:
    """Return a column as plain text, "" where blank or absent."""
    if column not in rows:
        return pd.Series("", index=rows.index, dtype=object)
    return rows[column].astype(object).where(rows[column].notna(), "").astype(str).str.strip()


def _work(reason: pd.Series, action: pd.Series) -> pd.Series:
    """Name what was done at rows that are no failures; "" where nothing happened."""
    done = action.replace({"": "noted", "none": "noted"})
    looked = action.isin(["inspected"]) | ((reason == "inspection") & (done == "noted"))
    named = done.where(~reason.isin(REASON_AS_NAME), reason)
    return named.where((reason != "failure") & ~looked, "")


def _modes(part: Ints, failed: Flags, mode: pd.Series) -> pd.Series:
    """Failure modes of parts that have at least two of them with enough failures."""
    stated = mode.where(failed, "")
    counts = pd.DataFrame({"part": part, "mode": stated})[stated != ""].value_counts()
    often = counts[counts >= FEWEST_OF_A_MODE].reset_index()
    several = often[often.groupby("part")["mode"].transform("size") >= 2]
    wanted = pd.MultiIndex.from_frame(several[["part", "mode"]])
    return stated.where(pd.MultiIndex.from_arrays([part, stated]).isin(wanted), "")


def _joined(part: Ints, parts: pd.Index, word: pd.Series, mark: str) -> tuple[Ints, pd.Index]:
    """Names "part<mark>word" and each row's place among them; -1 where the word is blank."""
    code, words = pd.factorize(word)
    pair = np.where((word != "").to_numpy(), part * (len(words) + 1) + code, -1)
    distinct, place = np.unique(pair, return_inverse=True)
    blank = int(len(distinct) > 0 and distinct[0] < 0)
    names = [
        f"{parts[one // (len(words) + 1)]}{mark}{words[one % (len(words) + 1)]}"
        for one in distinct[blank:]
    ]
    return (place - blank).astype(np.int64), pd.Index(names)
