"""What an import says of the fleet as a whole: unit of the meter, span of the records, gaps."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.importing.faults import Export, Fault, Kind
from rca.records.importing.further_files import all_repairs, files_of_repairs
from rca.records.importing.guessing import ASKED, LIKELY, Guess
from rca.records.importing.headings import heading_words
from rca.records.importing.meter_faults import meter_faults
from rca.records.importing.numerals import measure_of
from rca.records.importing.questions import Desk, Question
from rca.records.importing.row_faults import FIRST_BELIEVABLE, day_of
from rca.records.importing.table_proposal import TableProposal
from rca.records.settings import MOST_USE_A_DAY

METER_UNITS = tuple(MOST_USE_A_DAY)
ISOLATED_DAYS = 60  # dates of a few rows so far from all others are asked about
SILENT_DAYS = 365

Days = NDArray[np.datetime64]
Tables = Mapping[str, TableProposal]


@dataclass(frozen=True, slots=True)
class _Span:
    """First and last believable day, and the days that remain when a few stray rows are left off.

    `first_clear` and `last_clear` equal `first` and `last` where no row stands apart.
    """

    first: date
    last: date
    first_clear: date
    last_clear: date
    early_rows: int
    late_rows: int


def fleet_settings(
    tables: Tables, desk: Desk, *, today: date
) -> tuple[dict[str, Any], dict[str, Guess]]:
    """Decide the keys of fleet.yaml beside its tables."""
    repairs = tables["repairs"]
    settings: dict[str, Any] = {"name": repairs.path.name.split(".")[0].replace("_", " ")}
    guesses: dict[str, Guess] = {}
    _meter_unit(tables, desk, settings, guesses)
    currency = next(filter(None, (_currency(o.export) for o in files_of_repairs(tables))), "")
    if currency:
        settings["currency"] = currency
    frame = all_repairs(tables)
    if frame is None:
        return settings, guesses
    days = day_of(frame)
    days = days[(days >= FIRST_BELIEVABLE) & (days <= np.datetime64(today, "D"))]
    if len(days):
        _ask_span(_span(days), len(days), desk, settings, guesses)
    settings["timezone"] = "UTC"
    guesses["time zone"] = Guess("UTC", LIKELY, "matters only for times that state a zone")
    return settings, guesses


def _meter_unit(
    tables: Tables, desk: Desk, settings: dict[str, Any], guesses: dict[str, Guess]
) -> None:
    """Decide what the meters count, from their heading or the text beside their figures."""
    exports = [t.export for t in tables.values() if t.export and "meter" in t.export.columns]
    if not exports:
        return
    named = [set(heading_words(e.columns["meter"]).split()) for e in exports]
    words = {word for one in named for word in one} | {a for e in exports for a in e.rules.affixes}
    found = sorted({measure_of(word) for word in words} & set(METER_UNITS))
    sure = len(found) == 1
    why = f"said by {exports[0].columns['meter']!r} or its cells" if sure else (
        "neither heading nor cells say it"
    )  # fmt: skip
    answer = desk.choose(
        Question(
            "meter_unit", f"What does {exports[0].columns['meter']!r} count?", choices=METER_UNITS,
            proposed=found[0] if sure else "", why=why, must=not sure,
            examples=tuple(exports[0].cells.sample(exports[0].columns["meter"])[:4]),
        )
    )  # fmt: skip
    guesses["meter unit"] = Guess(answer or "not decided", LIKELY if sure else ASKED, why)
    if answer:
        settings["meter_unit"] = answer


def _currency(export: Export | None) -> str:
    """Return the currency that stands at the figures, as its code."""
    affixes = export.rules.affixes if export is not None else ()
    codes = {m for affix in affixes if len(m := measure_of(affix)) == 3 and m.isalpha()}
    return codes.pop() if len(codes) == 1 else ""


def _span(days: Days) -> _Span:
    """Find the span of the records, and whether a few rows stand far from all others."""
    distinct, rows = np.unique(days, return_counts=True)
    gaps = np.diff(distinct).astype(np.int64)
    few = max(3, 0.002 * len(days))
    wide = max(ISOLATED_DAYS, 20 * float(np.median(gaps)) if len(gaps) else 0)
    before = np.concatenate([[0], rows.cumsum()])
    low, high = 0, len(distinct) - 1
    for place in np.flatnonzero(gaps > wide):
        if before[place + 1] <= few:
            low = int(place) + 1
        if len(days) - before[place + 1] <= few:
            high = min(high, int(place))
    if low > high:
        low, high = 0, len(distinct) - 1
    return _Span(
        distinct[0].item(), distinct[-1].item(), distinct[low].item(), distinct[high].item(),
        int(before[low]), int(len(days) - before[high + 1]),
    )  # fmt: skip


def _ask_span(
    span: _Span, rows: int, desk: Desk, settings: dict[str, Any], guesses: dict[str, Guess]
) -> None:
    for key, text, day, clear, stray in (
        ("records_begin", "From which day on is every repair in the file?", span.first,
         span.first_clear, span.early_rows),
        ("cutoff", "Up to which day is every repair in the file?", span.last, span.last_clear,
         span.late_rows),
    ):  # fmt: skip
        word, verb = ("earliest", "begin") if key == "records_begin" else ("latest", "end")
        why = f"the {word} of {rows} dates"
        if stray:
            few = "1 row stands" if stray == 1 else f"{stray} rows stand"
            why = f"{few} far from the others, which {verb} on {clear}"
        answer = desk.choose(
            Question(
                key, text, "day", tuple(dict.fromkeys((str(day), str(clear)))),
                proposed="" if stray else str(day), why=why, must=bool(stray),
            )
        )  # fmt: skip
        sure = ASKED if stray else LIKELY
        guesses[key.replace("_", " ")] = Guess(answer or "not decided", sure, why)
        if answer:
            settings[key] = answer


def fleet_faults(tables: Tables, settings: Mapping[str, Any]) -> Iterator[Fault]:
    """Look for faults that concern the fleet as a whole."""
    repairs = files_of_repairs(tables)
    if any(one.export is None for one in repairs):
        return
    for one in repairs:
        about = f"{one.path.name}: " if len(repairs) > 1 else ""
        for fault in _faults_of_file(one, tables, str(settings.get("meter_unit", ""))):
            yield replace(fault, what=about + fault.what)
    frame = all_repairs(tables)
    if frame is None or frame.empty:
        return
    if "units" not in tables:
        yield from _no_unit_list(frame)
        yield from _silent_units(frame, str(settings.get("cutoff", "")))
    else:
        yield from _not_in_list(frame, repairs[0].columns["unit"], tables["units"].export)


def _faults_of_file(one: TableProposal, tables: Tables, meter_unit: str) -> Iterator[Fault]:
    assert one.export is not None
    yield from _absent_columns(one, tables)
    yield from meter_faults(one.export, meter_unit)
    yield from _mixed_units(one.export)


_BLOCKED_WITHOUT = {
    "meter": "lives, rates and repeats by distance or hours",
    "action": "lives of parts, unless one action holds for all rows",
    "reason": "lives and failure counts, unless one reason holds for all rows",
    "mode": "failure modes",
    "cost": "money",
    "downtime_hours": "downtime",
    "lot": "bad lots",
    "position": "telling several places on one unit apart",
    "fitted_date": "ages of parts fitted before the records begin",
}


def _absent_columns(one: TableProposal, tables: Tables) -> Iterator[Fault]:
    """Tell which results fall away for want of a column; none is invented."""
    columns = set(one.columns)
    if "readings" in tables and "meter" in tables["readings"].columns:
        columns.add("meter")
    for ours, blocked in _BLOCKED_WITHOUT.items():
        if ours not in columns:
            named = ours.replace("_", " ")
            yield Fault(Kind.COLUMN_ABSENT, 1, 1, f"file has no column for the {named}",
                        "nothing is invented", blocked, ours)  # fmt: skip


def _mixed_units(export: Export) -> Iterator[Fault]:
    """Tell meters in more than one unit, by their own column or the text beside the figures."""
    if "meter" not in export.columns:
        return
    units = [c for c in export.cells.names if heading_words(c) in ("meter unit", "unit of measure")]
    for name in units:
        filled = export.cells.distinct(name).filled()
        if len(filled) > 1:
            shown = tuple(f"{text!r} {rows}" for text, rows in filled.items())
            yield Fault(Kind.MIXED_UNITS, sum(filled.values()) - max(filled.values()),
                        sum(filled.values()), "meters are in another unit than most", "kept",
                        "meter lives", name, shown)  # fmt: skip


def _no_unit_list(frame: pd.DataFrame) -> Iterator[Fault]:
    units = int(frame["unit"].nunique())
    places = frame.groupby(["unit", "part"], observed=True).ngroups
    yield Fault(
        Kind.NO_RUNNING_UNITS, units, units,
        "units are known by their repairs only; units without one are not seen",
        "repairs are counted",
        "rates by unit and of the fleet, and every comparison with survivors",
    )  # fmt: skip
    yield Fault(
        Kind.LATE_ENTRY, places, places,
        "first lives (unit and part) have an unknown age: no in-service or fitted dates",
        "only lives that begin at a recorded renewal are used", "ages of first lives",
    )  # fmt: skip


def _silent_units(frame: pd.DataFrame, cutoff: str) -> Iterator[Fault]:
    """Tell units whose rows end long before the cut-off: retired, sold, or no longer recorded."""
    end = np.datetime64(cutoff or "NaT", "D")
    last = frame.groupby("unit", observed=True)["date"].agg(["max", "min", "size"])
    quiet = (end - last["max"].to_numpy().astype("datetime64[D]")).astype(float)
    span = (last["max"] - last["min"]).dt.days.to_numpy() / np.maximum(last["size"] - 1, 1)
    silent = (quiet > SILENT_DAYS) & (quiet > 10 * span) & (last["size"].to_numpy() > 2)
    if silent.any():
        shown = tuple(f"{unit}: last row {day:%Y-%m-%d}"
                      for unit, day in last["max"][silent].head(4).items())  # fmt: skip
        yield Fault(
            Kind.END_UNCLEAR, int(silent.sum()), len(last),
            "units fall silent long before the cut-off: retired, sold, or recorded elsewhere?",
            "counted as watched to the cut-off; say when they retired in a unit list",
            examples=shown,
        )  # fmt: skip


def _not_in_list(frame: pd.DataFrame, column: str, units: Export | None) -> Iterator[Fault]:
    if units is None or units.checked is None:
        return
    known = {str(name).casefold() for name in units.checked.frame["unit"]}
    named = frame["unit"].astype(str).str.casefold()
    missing = ~named.isin(known)
    if missing.any():
        shown = tuple(frame["unit"][missing].astype(str).unique()[:4])
        yield Fault(Kind.NOT_IN_LIST, int(missing.sum()), len(named),
                    "rows name a unit that is not in the unit list", "set aside",
                    column=column, examples=shown)  # fmt: skip
    without = len(known - set(named))
    if without:
        yield Fault(Kind.NO_RUNNING_UNITS, without, len(known), "listed units have no repair",
                    "kept: they are the survivors")  # fmt: skip
