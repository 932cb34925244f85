"""How the cells of an export are written: dates, numbers, blanks, words; asked where undecided."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.cells import DATE_ORDERS
from rca.records.columns import MISSING, TABLES, Column
from rca.records.importing.cell_faults import blank_words
from rca.records.importing.days import (
    NO_DATES,
    WITHOUT_DAY,
    DateReading,
    form_of,
    read_date_order,
)
from rca.records.importing.distinct import Cells, is_blank
from rca.records.importing.faults import METER_LIVES, MONEY, Fault, Kind
from rca.records.importing.guessing import ASKED, CERTAIN, LIKELY, Guess
from rca.records.importing.numerals import (
    Numerals,
    measure_of,
    no_numerals,
    read_numerals,
)
from rca.records.importing.questions import NOT_STATED, Desk, Item, Question
from rca.records.importing.wording import CLEARLY_MISSING, EXTRA_MISSING, WORDS, plain
from rca.records.settings import MOST_USE_A_DAY

MISSING_WORD, A_VALUE = "missing", "a value"
IN_SEQUENCE = 0.96  # share of rows in date order from which their order hints at the date order
POINT, COMMA = "decimal point", "decimal comma"


def read_dates(
    cells: Cells, columns: Mapping[str, str], desk: Desk, faults: list[Fault]
) -> tuple[dict[str, str], dict[str, Guess]]:
    """Decide the date order of every date column; columns the file types itself need none."""
    orders, guesses = {}, {}
    for ours, theirs in columns.items():
        if ours not in DATE_COLUMNS or cells.is_typed(theirs, "date"):
            continue
        reading = _date_reading(cells, theirs)
        order = reading.decided
        if not order and (reading.orders or reading.share > 0):
            order = _ask_order(ours, theirs, reading, desk)
        guesses[f"date order of {theirs}"] = _order_guess(order, reading)
        if order:
            orders[ours] = order
        faults += _date_faults(theirs, reading, order)
        faults += _two_kinds(cells, theirs)
    return orders, guesses


def _date_reading(cells: Cells, theirs: str) -> DateReading:
    distinct = cells.distinct(theirs)
    texts = ["" if is_blank(t) or t.casefold() in CLEARLY_MISSING else t for t in distinct.texts]
    return read_date_order(texts, distinct.codes)


DATE_COLUMNS = frozenset(c.name for table in TABLES.values() for c in table if c.kind == "date")


def _ask_order(ours: str, theirs: str, reading: DateReading, desk: Desk) -> str:
    counts = ", ".join(f"{order}: {n} unreadable" for order, n in reading.unread.items())
    sequence = {o: s for o, s in reading.in_sequence.items() if s > 0}
    best = max(sequence, key=lambda order: sequence[order], default="")
    others = [share for order, share in sequence.items() if order != best]
    clear = bool(best) and sequence[best] > IN_SEQUENCE and max(others, default=0.0) < IN_SEQUENCE
    hint = f"; in order {best} the rows follow each other by date" if clear else ""
    either = len(reading.orders) > 1
    why = "every date reads in both orders" if either else f"no order reads all ({counts})"
    return desk.choose(
        Question(
            f"date_order.{ours}", f"In which order does {theirs!r} write its dates?",
            choices=reading.orders if either else DATE_ORDERS,
            proposed=best if clear else "", why=why + hint, examples=reading.examples,
        )
    )  # fmt: skip


def _order_guess(order: str, reading: DateReading) -> Guess:
    if reading.decided:
        why = f"{reading.only} of {reading.cells} dates read in no other order"
        sure = CERTAIN if reading.only or order == "year first" else LIKELY
        return Guess(order, sure, why, reading.examples)
    why = f"{reading.either} of {reading.cells} dates read in two orders"
    return Guess(order or "not decided", ASKED, why, reading.examples, reading.orders)


def _date_faults(theirs: str, reading: DateReading, order: str) -> list[Fault]:
    forms = reading.forms
    shown = tuple(f"{form}: {count}" for form, count in forms.most_common(4))
    hopeless = sum(forms[form] for form in NO_DATES)
    if hopeless > 0.5 * reading.cells:
        day = "no day" if sum(forms[f] for f in WITHOUT_DAY) > hopeless / 2 else "no calendar date"
        return [Fault(
            Kind.DATE_FORM, hopeless, reading.cells, f"cells state {day}",
            "not used; export them again as full dates (YYYY-MM-DD)", "everything that needs them",
            theirs, shown,
        )]  # fmt: skip
    known = sum(count for form, count in forms.items() if form != "no date")
    if known and (len(forms) > 1 or order != "year first"):
        done = f"read {order}" if order else "asked"
        blocked = "" if order else "everything that needs the dates, until it is answered"
        said = f"dates are written in {len(forms)} form{'s' if len(forms) > 1 else ''}"
        return [Fault(Kind.DATE_FORM, known, reading.cells, said, done, blocked, theirs, shown)]
    return []


def _two_kinds(cells: Cells, theirs: str) -> list[Fault]:
    """Tell a spreadsheet column in which some dates are true dates and others text.

    A spreadsheet that meets dates in an order it does not expect turns those that it can into
    dates, with day and month swapped, and leaves the others as text.
    """
    series = cells.series(theirs)
    if series.dtype != object or pd.api.types.infer_dtype(series, skipna=True) == "string":
        return []
    true = int(series.map(lambda cell: hasattr(cell, "isoformat")).sum())
    text = int(series.map(lambda cell: isinstance(cell, str) and bool(form_of(cell))).sum())
    if not (true and text):
        return []
    said = "cells are text among true dates: day and month may be swapped in the true dates"
    return [
        Fault(Kind.DATE_FORM, text, true + text, said, "asked; better export it again as text",
              "everything that needs the dates", theirs,
              tuple(str(cell) for cell in series[series.map(lambda c: isinstance(c, str))][:3]))
    ]  # fmt: skip


def read_numbers(
    cells: Cells, columns: Mapping[str, str], desk: Desk, faults: list[Fault]
) -> tuple[str, str, tuple[str, ...], Guess | None]:
    """Decide the decimal mark, the mark between thousands and the text around numbers."""
    total = no_numerals()
    for ours, theirs in columns.items():
        if ours in _NUMBER_COLUMNS and not cells.is_typed(theirs, "number"):
            total = total + read_numerals(cells.text(theirs))
    if not total.numbers:
        return ".", "", (), None
    decimal, guess = _decimal(total, desk)
    thousands = _thousands(total, decimal)
    faults += _number_faults(total, decimal, thousands)
    affixes = _affixes(total, faults)
    return decimal or ".", thousands, affixes, guess


def _affixes(total: Numerals, faults: list[Fault]) -> tuple[str, ...]:
    """Return the text to take off figures; of several units or currencies only the usual one."""
    kept: list[str] = []
    for blocked, units in ((METER_LIVES, True), (MONEY, False)):
        rows: dict[str, int] = {}
        for affix, count in total.affixes.items():
            if (measure_of(affix) in MOST_USE_A_DAY) == units:
                rows[measure_of(affix)] = rows.get(measure_of(affix), 0) + count
        usual = max(rows, key=lambda measure: rows[measure], default="")
        kept += [affix for affix in total.affixes if measure_of(affix) == usual]
        if len(rows) > 1:
            other = sum(rows.values()) - rows[usual]
            shown = tuple(f"{measure} {count}" for measure, count in rows.items())
            said = f"figures are not in {usual} like most"
            done = "not used; bring them to one unit of measure"
            faults.append(Fault(Kind.MIXED_UNITS, other, sum(rows.values()), said, done, blocked,
                                examples=shown))  # fmt: skip
    return tuple(sorted(kept, key=lambda affix: (-len(affix), affix)))


_NUMBER_COLUMNS = frozenset(
    c.name for table in TABLES.values() for c in table if c.kind == "number"
)


def _decimal(total: Numerals, desk: Desk) -> tuple[str, Guess]:
    """Return the decimal mark, "" while it is open."""
    point, comma = total.decimals["."], total.decimals[","]
    point += total.thousands[","]
    comma += total.thousands["."]
    either = total.either["."] + total.either[","]
    shown = tuple(total.examples.values())[:4]
    if not (point and comma) and not (either and not point and not comma):
        mark = "," if comma else "."
        sure = CERTAIN if point or comma else LIKELY
        why = f"{max(point, comma)} numbers read in no other way" if point or comma else (
            "no number has a mark"
        )  # fmt: skip
        return mark, Guess(mark, sure, why, shown)
    why = f"{point} numbers need a decimal point, {comma} a decimal comma, {either} read both ways"
    answer = desk.choose(
        Question("decimal", "Which mark stands before decimals in this file?",
                 choices=(POINT, COMMA), why=why, examples=shown)
    )  # fmt: skip
    mark = {POINT: ".", COMMA: ","}.get(answer, "")
    return mark, Guess(mark or "not decided", ASKED, why, shown, (".", ","))


def _thousands(total: Numerals, decimal: str) -> str:
    """Return the mark between thousands that fits the decimal mark."""
    marks = {mark: n for mark, n in total.thousands.items() if mark != decimal}
    other = "," if decimal == "." else "."
    if total.either[other] and decimal:
        marks[other] = marks.get(other, 0) + total.either[other]
    best = max(marks, key=lambda mark: marks[mark], default="")
    return best if best in (".", ",", " ", "'") else ""


def _number_faults(total: Numerals, decimal: str, thousands: str) -> list[Fault]:
    faults = []
    shown = tuple(total.examples.values())[:4]
    both = total.decimals["."] and total.decimals[","]
    if both or not decimal:
        rarer = min(total.decimals["."], total.decimals[","]) if both else total.either.total()
        done = "numbers in the other form are not used" if decimal else "asked"
        faults.append(Fault(
            Kind.NUMBER_FORM, rarer, total.cells, "numbers may use the other decimal mark", done,
            "" if decimal else "money and meters, until it is answered", examples=shown,
        ))  # fmt: skip
    elif decimal == "," or thousands or total.affixes:
        said = f"numbers: decimal mark {decimal!r}, thousands {thousands or 'unmarked'!r}"
        said += f", with {', '.join(sorted(total.affixes))}" if total.affixes else ""
        faults.append(Fault(Kind.NUMBER_FORM, total.numbers, total.cells, said,
                            "read so in the whole file", examples=shown))  # fmt: skip
    return faults


def read_missing(cells: Cells, columns: Mapping[str, str], desk: Desk) -> tuple[str, ...]:
    """Decide which words mean a blank in the columns used; 0 is never taken for one unasked."""
    found: dict[str, int] = {}
    for ours, theirs in columns.items():
        zero = frozenset({"0"} if ours in ("position", "lot", "mode", "part") else ())
        for text, rows in blank_words(cells, theirs, EXTRA_MISSING | zero).items():
            found[text] = found.get(text, 0) + rows
    items = tuple(
        Item(text, rows, MISSING_WORD if clear else A_VALUE, True)
        for text, rows in sorted(found.items(), key=lambda pair: -pair[1])
        for clear in [text.casefold() in CLEARLY_MISSING]
    )
    if not items:
        return MISSING[1:]
    meanings = desk.words(
        Question("words.missing", "Do these words stand for a blank cell?", "words",
                 (MISSING_WORD, A_VALUE), items=items, must=False)
    )  # fmt: skip
    extra = [text for text, what in meanings.items() if what == MISSING_WORD]
    return (*MISSING[1:], *extra)


def read_words(
    cells: Cells, columns: Mapping[str, str], desk: Desk, table: str
) -> dict[str, dict[str, str]]:
    """Decide what the words for action, reason and the like mean; unknown ones are asked."""
    values: dict[str, dict[str, str]] = {}
    for column in TABLES[table]:
        if column.kind == "word" and column.name in columns:
            values[column.name] = _words_of(cells, column, columns[column.name], desk)
    return {ours: words for ours, words in values.items() if words}


def _words_of(cells: Cells, column: Column, theirs: str, desk: Desk) -> dict[str, str]:
    filled = cells.distinct(theirs).filled()
    items = tuple(
        _word_item(column, text, rows)
        for text, rows in sorted(filled.items(), key=lambda pair: -pair[1])
        if text.casefold() not in column.words
    )
    if not items:
        return {}
    choices = (*column.words, NOT_STATED)
    meanings = desk.words(
        Question(f"words.{column.name}", f"What do the words of {theirs!r} mean?", "words",
                 choices, items=items,
                 why="only words of the trade that stand alone are read without asking")
    )  # fmt: skip
    # While a word is open it is read as not stated, so that the other columns can be shown.
    known = {item.text: meanings.get(item.text, NOT_STATED) for item in items}
    return {text: "" if ours == NOT_STATED else ours for text, ours in known.items()}


def _word_item(column: Column, text: str, rows: int) -> Item:
    known = WORDS.get(column.name, {})
    word = known.get(plain(text), "")
    if word:
        return Item(text, rows, word, True, "a usual word for it")
    pieces = [known.get(plain(piece), "") for piece in _pieces(text)]
    strongest = next((ours for ours in column.words if ours in pieces), "")
    return Item(text, rows, strongest, False, "several words in one cell" if strongest else "")


def _pieces(text: str) -> list[str]:
    out = [text]
    for mark in ("_", ";", "/", "+", "&", ","):
        out = [piece for part in out for piece in part.split(mark)]
    return out


def unit_codes(cells: Cells, theirs: str) -> NDArray[np.int32]:
    """Number the units of the rows, -1 where the cell is blank."""
    distinct = cells.distinct(theirs)
    blank = np.array([is_blank(text) for text in distinct.texts] + [True], dtype=bool)
    return np.where(blank[distinct.codes], -1, distinct.codes).astype(np.int32)
