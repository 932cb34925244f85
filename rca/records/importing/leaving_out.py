"""Rows to set aside by rule: shifted rows, placeholder units, cancelled orders, joined values."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from rca.records.importing.distinct import UNNAMED, Cells
from rca.records.importing.faults import Fault, Kind
from rca.records.importing.headings import STATUS
from rca.records.importing.questions import Desk, Item, Question
from rca.records.importing.wording import (
    CANCELLED,
    DONE,
    PLACEHOLDER_UNITS,
    STILL_OPEN,
    plain,
    side_name,
)

SET_ASIDE, KEEP = "set aside", "keep"
FIRST_VALUE, ONE_NAME, BLANK = "first value", "one name", "not stated"
_JOINERS = (";", "|", "_", "/", "+", "&", ",")
_CODE = re.compile(r"0+|9{3,}|1{4,}|x{2,}", re.IGNORECASE)


@dataclass(slots=True)
class LeavingOut:
    """What was decided: patterns by column, replaced values by our column, and faults to tell."""

    set_aside: dict[str, dict[str, str]] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    joined: dict[str, str] = field(default_factory=dict)  # our column -> mark between values


def leaving_out(cells: Cells, columns: Mapping[str, str], desk: Desk) -> LeavingOut:
    """Find the rows that are to be set aside by rule, asking where the file does not say."""
    out = LeavingOut()
    _shifted(cells, out)
    if "unit" in columns:
        _placeholders(cells, columns["unit"], desk, out)
    if STATUS in columns:
        _by_status(cells, columns[STATUS], desk, out)
    for ours in ("unit", "part", "position", "mode", "system"):
        if ours in columns:
            _several_values(cells, ours, columns[ours], desk, out)
    return out


def _shifted(cells: Cells, out: LeavingOut) -> None:
    rows = np.flatnonzero(cells.shifted)
    if not len(rows):
        return
    for name in cells.names:
        if name.startswith(UNNAMED) and cells.distinct(name).filled():
            out.set_aside[name] = {
                "*": "the row has moved to the right: a stray delimiter or quote"
            }
    shown = tuple(f"line {cells.line(int(row))}" for row in rows[:3])
    out.faults.append(
        Fault(Kind.SHIFTED_ROW, len(rows), len(cells), "rows fill a column without a name",
              "set aside", examples=shown)
    )  # fmt: skip


def _placeholders(cells: Cells, name: str, desk: Desk, out: LeavingOut) -> None:
    filled = cells.distinct(name).filled()
    items = tuple(
        Item(text, rows, SET_ASIDE if clear else "", clear, "no unit by its name" if clear else "")
        for text, rows in filled.items()
        if (clear := plain(text) in PLACEHOLDER_UNITS) or _is_code(text, filled)
    )
    if not items:
        return
    meanings = desk.words(
        Question(
            "words.unit", "Are these units, or stand-ins for no unit?", "words",
            (SET_ASIDE, KEEP), items=items,
            why="pool, test and total lines would count as a unit that fails often",
        )
    )  # fmt: skip
    _apply(meanings, "unit", "a stand-in, not a unit", out)
    rows = sum(filled[text] for text, what in meanings.items() if what == SET_ASIDE)
    shown = tuple(f"{item.text!r} {item.count}" for item in items[:4])
    out.faults.append(
        Fault(Kind.PLACEHOLDER, sum(item.count for item in items), len(cells),
              "rows name a stand-in instead of a unit", f"{rows} set aside", column=name,
              examples=shown)
    )  # fmt: skip


def _is_code(text: str, filled: Mapping[str, int]) -> bool:
    """Tell a unit such as 0 or 9999 from a real number: few others are figures of its length."""
    if not _CODE.fullmatch(text) or len(filled) < 4:
        return False
    alike = sum(other.isdigit() and len(other) == len(text) for other in filled)
    return set(text) == {"0"} or alike < 0.2 * len(filled)


def _apply(meanings: Mapping[str, str], column: str, why: str, out: LeavingOut) -> None:
    for text, what in meanings.items():
        if what == SET_ASIDE:
            out.set_aside.setdefault(column, {})[text] = f"{why}: {text}"


def _by_status(cells: Cells, name: str, desk: Desk, out: LeavingOut) -> None:
    filled = cells.distinct(name).filled()
    if not any(plain(text) in CANCELLED | STILL_OPEN | DONE for text in filled):
        return  # the column says something else, such as a region
    items = tuple(_status_item(text, rows) for text, rows in filled.items())
    meanings = desk.words(
        Question(
            "words.status", "Which orders are no finished repairs?", "words", (KEEP, SET_ASIDE),
            items=items, why="a cancelled, test or open order is no failure that was closed",
        )
    )  # fmt: skip
    why = {text: "order still open" for text in filled if plain(text) in STILL_OPEN}
    for text, what in meanings.items():
        if what == SET_ASIDE:
            rule = why.get(text, "order cancelled, or no repair")
            out.set_aside.setdefault(name, {})[text] = f"{rule}: {text}"
    for kind, words in ((Kind.OPEN_ORDERS, STILL_OPEN), (Kind.CANCELLED, CANCELLED)):
        found = {text: rows for text, rows in filled.items() if plain(text) in words}
        if found:
            kept = sum(rows for text, rows in found.items() if meanings.get(text) == KEEP)
            shown = tuple(f"{text!r} {rows}" for text, rows in found.items())
            done = f"{sum(found.values()) - kept} set aside, {kept} kept"
            out.faults.append(
                Fault(kind, sum(found.values()), len(cells), "rows, by their status", done,
                      column=name, examples=shown)
            )  # fmt: skip


def _status_item(text: str, rows: int) -> Item:
    word = plain(text)
    if word in CANCELLED:
        return Item(text, rows, SET_ASIDE, True, "cancelled or test")
    if word in STILL_OPEN:
        return Item(text, rows, SET_ASIDE, True, "still open")
    return Item(text, rows, KEEP if word in DONE else "", word in DONE)


def joiner(names: Mapping[str, int], *, places: bool = False) -> tuple[str, dict[str, int]]:
    """Return the mark that joins several values in one cell, and the cells that hold it.

    A mark joins values where most cells with it fall apart into texts that also stand alone.
    With `places`, a joined cell that names one place (front and left) is no such cell.
    """
    for mark in _JOINERS:
        joined = {text: rows for text, rows in names.items() if mark in text.strip(mark)}
        if places:
            joined = {text: rows for text, rows in joined.items() if not side_name(text)}
        alone = {text.strip().casefold() for text in names if mark not in text}
        apart = [all(p.strip().casefold() in alone for p in t.split(mark)) for t in joined]
        rows = sum(n for n, good in zip(joined.values(), apart, strict=True) if good)
        if joined and rows > 0.5 * sum(joined.values()):
            return mark, joined
    return "", {}


def _several_values(cells: Cells, ours: str, name: str, desk: Desk, out: LeavingOut) -> None:
    mark, joined = joiner(cells.distinct(name).filled(), places=ours == "position")
    if not mark:
        return
    whole_row = ours in ("unit", "part", "position")
    refuse = SET_ASIDE if whole_row else BLANK
    rows = sum(joined.values())
    shown = tuple(sorted(joined, key=lambda text: -joined[text])[:4])
    answer = desk.choose(
        Question(
            f"several.{ours}", f"{rows} cells of {name!r} hold several values joined by {mark!r}.",
            choices=(refuse, FIRST_VALUE, ONE_NAME), proposed=refuse,
            why="one row cannot be two repairs, and a joined name is no part of its own",
            examples=shown,
        )
    )  # fmt: skip
    out.joined[ours] = mark
    if answer == SET_ASIDE:
        patterns = _patterns(mark, joined, cells, name)
        out.set_aside.setdefault(ours, {}).update(
            dict.fromkeys(patterns, f"several values in one cell of {name}")
        )
    elif answer in (FIRST_VALUE, BLANK):
        first = {t: t.split(mark)[0].strip() if answer == FIRST_VALUE else "" for t in joined}
        out.values.setdefault(ours, {}).update(first)
    elif answer == ONE_NAME:
        out.joined.pop(ours)
    done = _DONE.get(answer, "asked")
    blocked = "" if answer else f"anything by {ours}, until it is answered"
    out.faults.append(
        Fault(Kind.SEVERAL_VALUES, rows, len(cells), f"cells join values by {mark!r}", done,
              blocked, column=name, examples=shown)
    )  # fmt: skip


_DONE = {
    SET_ASIDE: "rows set aside",
    FIRST_VALUE: "the first value is used",
    BLANK: "read as not stated",
    ONE_NAME: "kept as one name",
}


def _patterns(mark: str, joined: Mapping[str, int], cells: Cells, name: str) -> list[str]:
    """Return one pattern where every cell with the mark is meant, else each text."""
    with_mark = {text for text in cells.distinct(name).filled() if mark in text}
    return [f"*{mark}*"] if with_mark == set(joined) and mark != "*" else list(joined)
