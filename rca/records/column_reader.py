"""Reads the columns of one table and collects what has to be set aside.

Cells are judged once for each distinct value, not row by row, so a million rows cost little.
`codes` say which distinct value stands in each row, -1 where the cell is missing.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records.cells import (
    DATE_ORDERS,
    FIRST_DAY,
    LAST_DAY,
    STAND_INS,
    Days,
    cell_text,
    decide_order,
    is_day_number,
    is_typed_date,
    local_days,
    may_be_thousands,
    merged_names,
    parse_days,
    parse_numbers,
    plausible,
    wildcard,
)
from rca.records.columns import SPREADSHEET_ERRORS, YES_NO, Column, Rules
from rca.records.files import RawTable
from rca.records.schema import did_you_mean
from rca.records.set_aside import MOST_SHOWN, set_aside_rows
from rca.records.text_search import as_arrow, is_one_of, single_blanks

Codes = NDArray[np.int32]
Flags = NDArray[np.bool_]

# Above this share of unreadable cells a column is taken for misread, not for faulty.
MOST_UNREADABLE = 0.2
MOST_HINTS = 50  # distinct wrong words for which the nearest right one is looked up
BLOCKS = {"cost": "money", "meter": "meter lives"}  # what a misread column of a scope blocks


class ColumnReader:
    """Reads columns one by one; holds the rows and cells set aside, notes, and what is blocked."""

    def __init__(self, raw: RawTable, table: str, rules: Rules, timezone: str) -> None:
        self.raw, self.table, self.rules, self.timezone = raw, table, rules, timezone
        self.missing = {token.strip().casefold() for token in rules.missing}
        self.errors = {token.casefold() for token in SPREADSHEET_ERRORS}
        self.bad_rows = np.zeros(len(raw.frame), dtype=bool)
        self.set_aside: list[pd.DataFrame] = []
        self.notes: list[str] = []
        self.misread: list[Problem] = []
        self.blocked: list[tuple[str, str]] = []

    def read(self, column: Column, theirs: Any) -> Any:
        """Return one column with typed cells: names as categories, days, numbers or text."""
        series = self.raw.frame[theirs]
        if column.kind == "free":
            return self._free(series)
        typed = pd.api.types.is_numeric_dtype(series.dtype)
        if column.kind == "number" and typed and column.name not in self.rules.values:
            return self._typed_numbers(column, theirs, series)
        codes, distinct = _factorized(series)
        if column.kind == "date":
            return self._dates(column, theirs, codes, distinct)
        texts = self._texts(column, theirs, codes, distinct)
        read = self._numbers if column.kind == "number" else self._words
        return read(column, theirs, codes, texts)

    def set_aside_stated(self, names: Mapping[str, Any]) -> None:
        """Set aside the rows that fleet.yaml names, by our column or by the file's."""
        there = {str(name): name for name in self.raw.frame.columns}
        problems = []
        for name, patterns in self.rules.set_aside.items():
            theirs = names.get(name, there.get(name))
            if theirs is None and name.startswith("Unnamed:"):
                continue  # no row of this file has moved to the right
            if theirs is None:
                rule = "set_aside in fleet.yaml names a column that is not in the header"
                step = did_you_mean(name, there)
                problems.append(Problem(self.raw.name, 1, "", name, rule, step))
                continue
            codes, distinct = _factorized(self.raw.frame[theirs])
            texts = [cell_text(value) for value in distinct]
            for pattern, why in patterns.items():
                matches = wildcard(pattern)
                hit = np.array([bool(t) and bool(matches.fullmatch(t)) for t in texts], dtype=bool)
                row = Column(name, "name", required=True)
                mask, found = _at(hit, codes), _at(texts, codes)
                self._aside_rows(row, theirs, mask, found, why, "set_aside in fleet.yaml")
        if problems:
            raise Refused(problems)

    def refuse_if_misread(self) -> None:
        """Refuse the table where a whole column cannot be what it should be."""
        if self.misread:
            raise Refused(self.misread)

    def _texts(self, column: Column, theirs: Any, codes: Codes, distinct: Any) -> list[str]:
        """Distinct values as text; missing tokens and stated replacements applied."""
        as_text = _flag_text if column.words == YES_NO else cell_text
        if column.kind == "number" and self.rules.decimal not in ("", "."):
            as_text = partial(_number_text, decimal=self.rules.decimal)
        replace = {
            " ".join(str(word).split()).casefold(): str(ours)
            for word, ours in self.rules.values.get(column.name, {}).items()
        }
        out = _as_texts(distinct, as_text)
        errors = np.zeros(len(out), dtype=bool)
        for place in _not_plain(out, frozenset(replace) | self.errors | self.missing):
            folded = out[place].casefold()
            if folded in replace and (folded or column.kind == "word"):
                out[place] = replace[folded]
            elif folded in self.errors:
                errors[place] = True
                out[place] = ""
            elif folded in self.missing:
                out[place] = ""
        if errors.any():
            count = int(_at(errors, codes).sum())
            note = f"{self.raw.name}, {theirs}: {count} spreadsheet error values read as missing"
            self.notes.append(note)
        return out

    def _free(self, series: pd.Series) -> Any:
        if series.empty:
            return np.empty(0, dtype=object)
        if pd.api.types.infer_dtype(series, skipna=True) != "string":
            series = series.astype(object).map(cell_text)  # numbers, dates, lists, categories
        text = as_arrow(series)
        blank = is_one_of(text, frozenset(self.missing | self.errors) - {""})
        blank |= np.asarray(text.is_null().to_numpy(zero_copy_only=False), dtype=bool)
        cells = series.to_numpy(dtype=object, copy=bool(blank.any()))
        if blank.any():
            cells[blank] = ""
        return cells

    def _words(self, column: Column, theirs: Any, codes: Codes, texts: list[str]) -> pd.Categorical:
        """Names merged over case and spaces; words checked against the allowed ones."""
        blank_word = self.rules.values.get(column.name, {}).get("", "")
        if column.kind == "word":
            canonical = self._allowed(column, theirs, codes, texts)
        else:
            canonical = merged_names(texts, np.bincount(codes[codes >= 0], minlength=len(texts)))
            spelled, used = ({text for text in one if text} for one in (texts, canonical))
            if len(used) < len(spelled):
                self.notes.append(
                    f"{self.raw.name}, {theirs}: {len(spelled)} spellings that differ in case or "
                    f"spaces only are read as {len(used)} names"
                )
        categories = list(dict.fromkeys([*canonical, blank_word or ""]))
        place = {text: number for number, text in enumerate(categories)}
        remap = np.array([place[text or blank_word] for text in canonical] + [place[blank_word]])
        result = pd.Categorical.from_codes(remap[codes].astype(np.int32), categories=categories)
        if column.required and "" in place:
            self._aside_blank(column, theirs, remap[codes] == place[""])
        return result

    def _allowed(self, column: Column, theirs: Any, codes: Codes, texts: list[str]) -> list[str]:
        """Spell allowed words as the kit does; set aside the cells with others."""
        allowed = {word.casefold(): word for word in column.words}
        words = [allowed.get(text.casefold(), text) for text in texts]
        bad = np.array([bool(word) and word not in column.words for word in words], dtype=bool)
        if bad.any():
            wrong = list(dict.fromkeys(np.asarray(words, dtype=object)[bad]))
            mapped = f"; or map your words: values: {{{column.name}: {{theirs: ours}}}}"
            steps = {word: did_you_mean(word, column.words) for word in wrong[:MOST_HINTS]}
            other = f"allowed: {', '.join(column.words)}"
            step = [steps.get(word, other) + mapped for word in words]
            self._aside(column, theirs, codes, texts, bad, "is not an allowed word", step)
        return ["" if b else word for word, b in zip(words, bad, strict=True)]

    def _typed_numbers(self, column: Column, theirs: Any, series: pd.Series) -> Any:
        """Judge numbers that a typed file holds as such: every row is its own value."""
        numbers = series.to_numpy(dtype=np.float64, na_value=np.nan)
        for token in self.missing:
            stand_in = pd.to_numeric(token or None, errors="coerce")
            if pd.notna(stand_in):
                numbers = np.where(numbers == stand_in, np.nan, numbers)
        codes = np.arange(len(numbers), dtype=np.int32)
        return self._judge_numbers(
            column, theirs, codes, series, numbers, np.isinf(numbers), np.isnan(numbers)
        )

    def _numbers(self, column: Column, theirs: Any, codes: Codes, texts: list[str]) -> Any:
        """Read numbers from texts by the marks of the table."""
        marks = self.rules
        numbers = parse_numbers(
            texts, decimal=marks.decimal, thousands=marks.thousands, affixes=marks.affixes
        )
        if not marks.decimal and not marks.thousands:
            doubtful = may_be_thousands(texts)
            if doubtful.any():
                rule = "can be read as thousands and as decimals"
                step = f'set decimal (and thousands) for {self.table}: decimal: "." or decimal: ","'
                self._aside(column, theirs, codes, texts, doubtful, rule, step, undecided=True)
                numbers = np.where(doubtful, np.nan, numbers)
                texts = ["" if doubt else text for doubt, text in zip(doubtful, texts, strict=True)]
        blank = np.array([text == "" for text in texts], dtype=bool)
        unreadable = np.isnan(numbers) & ~blank
        return self._judge_numbers(column, theirs, codes, texts, numbers, unreadable, blank)

    def _judge_numbers(
        self,
        column: Column,
        theirs: Any,
        codes: Codes,
        found: Any,
        numbers: NDArray[np.float64],
        unreadable: Flags,
        blank: Flags,
    ) -> NDArray[np.float64]:
        if unreadable.any():
            mark = self.rules.decimal or "."
            step = f"the decimal mark is {mark!r}; set decimal, thousands or affixes if it differs"
            self._aside(column, theirs, codes, found, unreadable, "is not a number", step)
            numbers = np.where(unreadable, np.nan, numbers)
        low = column.minimum
        if low is not None and (numbers < low).any():
            below = numbers < low
            step = "correct it, or leave the cell blank where it is not known"
            self._aside(column, theirs, codes, found, below, f"must be {low:g} or more", step)
            numbers = np.where(below, np.nan, numbers)
        if column.required:
            self._aside_blank(column, theirs, np.append(blank, True)[codes])
        return np.append(numbers, np.nan)[codes]

    def _dates(
        self, column: Column, theirs: Any, codes: Codes, distinct: Any
    ) -> NDArray[np.datetime64]:
        order, why_not, step = self.rules.order_of(column.name), "", ""
        if pd.api.types.is_datetime64_any_dtype(distinct):
            days = plausible(local_days(pd.Series(distinct), self.timezone))
            blank, bad = np.zeros(len(days), dtype=bool), np.isnat(days)
            texts = [cell_text(one) if b else "a day" for one, b in zip(distinct, bad, strict=True)]
        else:
            texts = self._texts(column, theirs, codes, distinct)
            days, order, why_not, step = self._parse_dates(column, theirs, texts, distinct)
            blank = np.array([text == "" for text in texts], dtype=bool)
            bad = np.isnat(days) & ~blank
        if bad.any():
            rule = why_not or f"is not a real date from {FIRST_DAY} to {LAST_DAY}"
            read = f" or correct date_order ({order})" if order else ""
            step = step or f"write dates as YYYY-MM-DD{read}; {STAND_INS}"
            if all(is_day_number(text) for text, b in zip(texts, bad, strict=True) if b):
                step = "a workbook's day numbers: format the column as dates there, save it again"
            self._aside(column, theirs, codes, texts, bad, rule, step, undecided=bool(why_not))
        if column.required:
            self._aside_blank(column, theirs, np.append(blank, True)[codes])
        return np.append(days, np.datetime64("NaT", "D"))[codes].astype("datetime64[s]")

    def _parse_dates(
        self, column: Column, theirs: Any, texts: list[str], distinct: Any
    ) -> tuple[Days, str, str, str]:
        """Read the distinct dates of a column: true dates as they are, texts in one order.

        Returns the days, the order, and why no order can be taken and what to do ("" if one can).
        """
        every = pd.Series(texts, dtype=object)
        filled = every.ne("").to_numpy()
        typed = np.array([is_typed_date(value) for value in distinct], dtype=bool)
        days = np.full(len(texts), np.datetime64("NaT", "D"))
        stated = self.rules.order_of(column.name)
        true_dates, written = every[filled & typed], every[filled & ~typed]
        if len(true_dates):
            days[true_dates.index] = parse_days(true_dates, "year first", self.timezone)
        if written.empty:
            return days, stated or "year first", "", ""
        orders = [stated] if stated else list(DATE_ORDERS)
        tried = {order: parse_days(written, order, self.timezone) for order in orders}
        order, why_not, step = (stated, "", "") if stated else decide_order(tried)
        if why_not:
            return days, order, why_not, step
        days[written.index] = tried[order]
        if not stated and order != "year first":
            found = f"dates read {order} (no other order reads them)"
            self.notes.append(f"{self.raw.name}, {theirs}: {found}")
        return days, order, "", ""

    def _aside(
        self,
        column: Column,
        theirs: Any,
        codes: Codes,
        values: Any,
        bad: Flags,
        rule: str,
        step: str | Sequence[str],
        *,
        undecided: bool = False,
    ) -> None:
        """Set aside the rows or cells whose distinct value is bad; look whether all are misread."""
        mask, found = _at(bad, codes), _at(values, codes)
        steps = step if isinstance(step, str) else _at(step, codes)
        self._aside_rows(column, theirs, mask, found, rule, steps)
        blank = pd.isna(values) if isinstance(values, pd.Series) else [t == "" for t in values]
        count, filled = int(mask.sum()), int((~np.append(blank, True))[codes].sum())
        if undecided or (count > 1 and count > MOST_UNREADABLE * filled):
            if not undecided:
                rule = f"{rule} ({count} of {filled} cells): the column must have been misread"
            first = int(np.flatnonzero(mask)[0])
            said = step if isinstance(step, str) else str(steps[first])
            many = undecided or count > MOST_UNREADABLE * len(codes)
            self._misread(column, theirs, first, str(found[first]), rule, said, many=many)

    def _misread(
        self,
        column: Column,
        theirs: Any,
        row: int,
        value: str,
        rule: str,
        step: str,
        *,
        many: bool,
    ) -> None:
        """Refuse the table, or block the result that the column serves, told by its first cell."""
        shown = value[:MOST_SHOWN]
        if column.required or column.kind == "word" or (column.scope == "row" and many):
            line = int(self.raw.lines[row])
            self.misread.append(Problem(self.raw.name, line, str(theirs), shown, rule, step))
        elif column.scope in BLOCKS:
            why = f"{self.raw.name}, {theirs} = {shown!r}: {rule}; {step}"
            self.blocked.append((BLOCKS[column.scope], why))

    def _aside_blank(self, column: Column, theirs: Any, empty: Flags) -> None:
        if empty.any():
            self._aside_rows(column, theirs, empty, "", "must not be blank", "fill it in")

    def _aside_rows(
        self,
        column: Column,
        theirs: Any,
        mask: Flags,
        found: Any,
        rule: str,
        step: str | NDArray[Any],
    ) -> None:
        scope = column.scope if not column.required else "row"
        if scope == "row":
            mask = mask & ~self.bad_rows  # a row is set aside once, by the first rule it breaks
            self.bad_rows |= mask
        rows = set_aside_rows(
            mask,
            table=self.table,
            file=self.raw.name,
            lines=self.raw.lines,
            column=str(theirs),
            values=found,
            rule=rule,
            next_step=step,
            scope=scope,
        )
        self.set_aside.append(rows)


def _factorized(series: pd.Series) -> tuple[Codes, Any]:
    """Return each row's code and the distinct values, -1 for missing cells."""
    try:
        codes, distinct = pd.factorize(series, use_na_sentinel=True)
    except TypeError:  # cells that hold lists and the like have no distinct values
        codes, distinct = pd.factorize(series.map(cell_text), use_na_sentinel=True)
    if pd.api.types.is_string_dtype(distinct.dtype):
        distinct = np.asarray(distinct, dtype=object)  # looked at one by one
    return codes.astype(np.int32), distinct


def _at(by_value: Any, codes: Codes) -> NDArray[Any]:
    """Spread one answer a distinct value over the rows; missing cells get False or ""."""
    answers = np.asarray(by_value)
    if answers.dtype == bool:
        return np.append(answers, False)[codes]
    return np.append(answers.astype(object), "")[codes]


def _as_texts(distinct: Any, as_text: Callable[[Any], str]) -> list[str]:
    """Return distinct values as text, quickly where all of them are."""
    if len(distinct) and all(isinstance(value, str) for value in distinct):
        return single_blanks(pa.array(distinct, type=pa.string()))
    return [as_text(value) for value in distinct]


def _not_plain(texts: list[str], words: frozenset[str]) -> NDArray[np.int64]:
    """Return the places of texts that may be one of the words, case apart."""
    cells = pa.array(texts, type=pa.string())
    plain = np.asarray(pc.string_is_ascii(cells).to_numpy(zero_copy_only=False), dtype=bool)
    return np.flatnonzero(is_one_of(cells, words) | ~plain)


def _number_text(value: Any, *, decimal: str) -> str:
    """Return a cell of a number column as text; numbers of typed files get the table's mark."""
    text = cell_text(value)
    return text if isinstance(value, str) else text.replace(".", decimal)


def _flag_text(value: Any) -> str:
    """Return a cell of a yes-or-no column as text; true and false of typed files are yes and no."""
    return ("no", "yes")[bool(value)] if isinstance(value, bool | np.bool_) else cell_text(value)
