"""The columns of each table and their rules: raw cells in, typed cells and set-aside rows out.

Cells are judged once for each distinct value, not row by row, so a million rows cost little.
A cell that breaks a rule either sets its whole row aside (scope "row") or becomes unknown, which
spoils only the results named by its scope ("meter", "cost", ...). Nothing is dropped in silence.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records.files import RawTable
from rca.records.schema import did_you_mean, nearest

ACTIONS = ("replaced", "repaired", "cleaned", "adjusted", "inspected", "none")
REASONS = (
    "failure", "planned", "inspection", "recall", "accident", "no fault found", "other",
)  # fmt: skip
MISSING = ("", "NA", "N/A", "NULL", "NaN")
SPREADSHEET_ERRORS = ("#NAME?", "#REF!", "#N/A", "#DIV/0!", "#VALUE!", "#NUM!", "#NULL!")
DATE_ORDERS = ("year first", "day first", "month first")
SET_ASIDE_COLUMNS = (
    "table", "file", "line", "column", "value", "rule", "next_step", "scope",
)  # fmt: skip
# Above this share of unreadable cells the table is taken for misread, not for faulty.
MOST_UNREADABLE = 0.2


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, and what a bad cell spoils (scope "row" = the whole row)."""

    name: str
    kind: str  # name, word, date, number or free text
    required: bool = False
    words: tuple[str, ...] = ()
    scope: str = "row"
    minimum: float | None = None


TABLES: Mapping[str, tuple[Column, ...]] = {
    "repairs": (
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("part", "name", required=True),
        Column("position", "name"),
        Column("meter", "number", scope="meter", minimum=0),
        Column("action", "word", words=ACTIONS),
        Column("reason", "word", words=REASONS),
        Column("mode", "name"),
        Column("cause_addressed", "word", words=("yes", "no"), scope="causes"),
        Column("complaint", "free"),
        Column("cause", "free"),
        Column("correction", "free"),
        Column("cost", "number", scope="cost"),
        Column("downtime_hours", "number", scope="downtime", minimum=0),
        Column("system", "name"),
        Column("lot", "name"),
        Column("fitted_date", "date", scope="first lives"),
        Column("fitted_meter", "number", scope="first lives", minimum=0),
        Column("order", "free"),
        Column("order_cost", "number", scope="cost"),
        Column("closed", "date", scope="open orders"),
    ),
    "units": (
        Column("unit", "name", required=True),
        Column("in_service", "date", scope="first lives"),
        Column("retired", "date"),
        Column("records_begin", "date"),
    ),
    "parts": (
        Column("part", "name", required=True),
        Column("positions", "free"),
        Column("fitted_to", "free"),
        Column("safety_critical", "word", words=("yes", "no")),
        Column("planned_cost", "number", scope="cost", minimum=0),
        Column("failure_cost", "number", scope="cost", minimum=0),
    ),
    "readings": (
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("meter", "number", required=True, minimum=0),
        Column("meter_replaced", "word", words=("yes", "no"), scope="meter"),
    ),
    "fixes": (
        Column("fix", "name", required=True),
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("part", "name"),
        Column("mode", "name"),
        Column("cause", "free"),
        Column("kind", "word", words=("containment", "corrective")),
        Column("chosen_by", "word", words=("all units", "cause found", "most failures", "other")),
        Column("target_ratio", "number", minimum=0),
        Column("registered", "date"),
        Column("reading", "number"),
    ),
}


@dataclass(frozen=True, slots=True)
class Rules:
    """How the cells of one table are written."""

    columns: Mapping[str, str] = field(default_factory=dict)  # our name -> the file's name
    date_order: str | Mapping[str, str] = ""  # one for all date columns, or one for each
    decimal: str = "."
    thousands: str = ""
    missing: tuple[str, ...] = MISSING
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    set_aside: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    affixes: tuple[str, ...] = ()  # text around numbers, such as a currency sign

    def order_of(self, column: str) -> str:
        """Return the stated date order of one of our columns, "" where none is stated."""
        stated = self.date_order
        return stated if isinstance(stated, str) else stated.get(column, "")


@dataclass(frozen=True, slots=True, eq=False)
class CheckedTable:
    """A table whose cells have been read; `frame` holds the rows not set aside as a whole."""

    table: str
    file: str
    frame: pd.DataFrame
    lines: NDArray[np.int64]
    rows_read: int
    set_aside: pd.DataFrame
    notes: tuple[str, ...] = ()


def no_set_aside() -> pd.DataFrame:
    """Return an empty list of rows and cells set aside."""
    return pd.DataFrame({name: pd.Series(dtype=object) for name in SET_ASIDE_COLUMNS})


def set_aside_rows(
    mask: NDArray[np.bool_],
    *,
    table: str,
    file: str,
    lines: NDArray[np.int64],
    column: str,
    values: Any,
    rule: str | NDArray[Any],
    next_step: str,
    scope: str = "row",
) -> pd.DataFrame:
    """List the rows where `mask` is true, with what was found and which rule it breaks."""
    places = np.flatnonzero(mask)
    found = [values] * len(places) if isinstance(values, str) else _shown(values, places)
    rules = [rule] * len(places) if isinstance(rule, str) else np.asarray(rule)[places]
    return pd.DataFrame(
        {
            "table": table,
            "file": file,
            "line": lines[places],
            "column": column,
            "value": [one[:80] for one in found],
            "rule": rules,
            "next_step": next_step,
            "scope": scope,
        }
    )


def _shown(values: Any, places: NDArray[np.int64]) -> list[str]:
    """Return the values at some places as text, days as YYYY-MM-DD."""
    chosen = values.iloc[places] if isinstance(values, pd.Series) else np.asarray(values)[places]
    if pd.api.types.is_datetime64_any_dtype(chosen.dtype):
        chosen = np.asarray(chosen).astype("datetime64[D]")
    return [str(one) for one in chosen]


def check_table(raw: RawTable, table: str, *, rules: Rules, timezone: str = "UTC") -> CheckedTable:
    """Read every cell of `raw` by the columns and rules of `table`.

    Raises
    ------
    Refused
        A required column is missing, a stated column is not there, the date order cannot be
        decided, or so many cells are unreadable that the table must have been misread.
    """
    names = _match_columns(raw, table, rules)
    known = {column.name: column for column in TABLES[table]}
    reader = _Reader(raw, table, rules, timezone)
    reader.set_aside_stated(names)
    cells: dict[str, Any] = {}
    for ours, theirs in names.items():
        column = known.get(ours, Column(ours, "name" if table == "units" else "free"))
        cells[ours] = reader.read(column, theirs)
    cells |= _stated_for_all(known, names, rules, len(raw.frame))
    reader.refuse_if_misread()
    keep = ~reader.bad_rows
    frame = pd.DataFrame(cells, index=pd.RangeIndex(len(raw.frame)))
    if not keep.all():
        frame = frame[keep]
    frame.index = pd.RangeIndex(len(frame))
    broken = pd.DataFrame(
        [
            (table, raw.name, p.line, "", p.value, p.rule, p.next_step, "row")
            for p in raw.broken
        ],
        columns=list(SET_ASIDE_COLUMNS),
    )  # fmt: skip
    parts = [part for part in (broken, *reader.set_aside) if len(part)]
    listed = pd.concat(parts, ignore_index=True) if parts else no_set_aside()
    return CheckedTable(
        table, raw.name, frame, raw.lines[keep], raw.rows_read, listed, tuple(reader.notes)
    )


def _match_columns(raw: RawTable, table: str, rules: Rules) -> dict[str, str]:
    """Find for each of our columns the file's column; further columns keep their own names."""
    there = {str(name): name for name in raw.frame.columns}
    folded = {_key(name): name for name in there}
    problems, matched = [], {}
    known = [column.name for column in TABLES[table]]
    for ours, theirs in rules.columns.items():
        if not theirs:
            continue  # stated to be absent, though a column may have its name
        if theirs in there:
            matched[ours] = theirs
        else:
            rule = f"fleet.yaml reads {ours!r} from a column that is not in the header"
            step = did_you_mean(theirs, there)
            problems.append(Problem(raw.name, 1, "", theirs, rule, step))
    taken = set(matched.values())
    for column in TABLES[table]:
        if column.name in matched or (column.name in rules.columns and not column.required):
            continue
        theirs = folded.get(_key(column.name), "")
        if theirs:
            matched[column.name] = theirs
        elif column.required:
            problems.append(_missing_column(raw, table, column.name, list(there)))
    if problems:
        raise Refused(problems)
    taken = set(matched.values())
    further = {name: name for name in there if name not in taken and name not in known}
    further = {name: theirs for name, theirs in further.items() if not name.startswith("Unnamed:")}
    return {**{ours: there[theirs] for ours, theirs in matched.items()}, **further}


def _stated_for_all(
    known: Mapping[str, Column], names: Mapping[str, str], rules: Rules, size: int
) -> dict[str, pd.Categorical]:
    """Make the columns that the file lacks and for which `values: {column: {"": word}}` is set."""
    stated = {ours: words.get("", "") for ours, words in rules.values.items()}
    constant = {
        ours: word
        for ours, word in stated.items()
        if word and ours in known and ours not in names and known[ours].kind in ("name", "word")
    }
    for ours, word in constant.items():
        words = known[ours].words
        if words and word not in words:
            rule, step = "is not an allowed word", did_you_mean(word, words)
            raise Refused([Problem("fleet.yaml", 0, f"values.{ours}", word, rule, step)])
    codes = np.zeros(size, dtype=np.int8)
    return {
        ours: pd.Categorical.from_codes(codes, categories=[word]) for ours, word in constant.items()
    }


def _missing_column(raw: RawTable, table: str, name: str, there: list[str]) -> Problem:
    close = nearest(name, there)
    only = there[0] if len(there) == 1 else ""
    if any(mark in only for mark in ";\t|"):
        mark = next(mark for mark in ";\t|" if mark in only)
        step = f"the header looks split by {mark!r}: set delimiter: {mark!r} for this table"
    elif close:
        step = f"is it {close!r}? Then set columns: {{{name}: {close}}} for {table} in fleet.yaml"
    else:
        step = f"say which column it is, columns: {{{name}: ...}}; there are: {', '.join(there)}"
    return Problem(raw.name, 1, name, "", f"the table {table} needs a column {name!r}", step[:300])


def _key(name: str) -> str:
    return re.sub(r"[\s_\-]+", "_", name.strip()).casefold()


class _Reader:
    """Reads the columns of one table and collects what had to be set aside."""

    def __init__(self, raw: RawTable, table: str, rules: Rules, timezone: str) -> None:
        self.raw, self.table, self.rules, self.timezone = raw, table, rules, timezone
        self.missing = {token.strip().casefold() for token in rules.missing}
        self.errors = {token.casefold() for token in SPREADSHEET_ERRORS}
        self.bad_rows = np.zeros(len(raw.frame), dtype=bool)
        self.set_aside: list[pd.DataFrame] = []
        self.notes: list[str] = []
        self.misread: list[Problem] = []

    def read(self, column: Column, theirs: str) -> Any:
        series = self.raw.frame[theirs]
        if column.kind == "free":
            return self._free(series)
        typed = pd.api.types.is_numeric_dtype(series.dtype)
        if column.kind == "number" and typed and column.name not in self.rules.values:
            numbers = series.to_numpy(dtype=np.float64, na_value=np.nan)
            return self._judge_numbers(column, theirs, None, series, numbers)
        codes, distinct = pd.factorize(series, use_na_sentinel=True)
        codes = codes.astype(np.int32)
        if column.kind == "number":
            texts = self._texts(column, theirs, codes, distinct)
            numbers = self._parse_numbers(texts)
            return self._judge_numbers(column, theirs, codes, texts, numbers)
        if column.kind == "date":
            return self._dates(column, theirs, codes, distinct)
        texts = self._texts(column, theirs, codes, distinct)
        return self._words(column, theirs, codes, texts)

    def set_aside_stated(self, names: Mapping[str, str]) -> None:
        """Set aside the rows that fleet.yaml names, by our column or by the file's."""
        there = {str(name) for name in self.raw.frame.columns}
        problems = []
        for name, patterns in self.rules.set_aside.items():
            theirs = names.get(name, name if name in there else "")
            if not theirs and name.startswith("Unnamed:"):
                continue  # no row of this file has moved to the right
            if not theirs:
                rule = "set_aside in fleet.yaml names a column that is not in the header"
                step = did_you_mean(name, there)
                problems.append(Problem(self.raw.name, 1, "", name, rule, step))
                continue
            codes, distinct = pd.factorize(self.raw.frame[theirs], use_na_sentinel=True)
            texts = [cell_text(value) for value in distinct]
            for pattern, why in patterns.items():
                matches = _pattern(pattern)
                hit = np.array([bool(t) and bool(matches.fullmatch(t)) for t in texts], dtype=bool)
                mask = np.append(hit, False)[codes]
                found = np.append(np.asarray(texts, dtype=object), "")[codes]
                row = Column(name, "name", required=True)
                self._aside_rows(row, theirs, mask, found, why, "set_aside in fleet.yaml")
        if problems:
            raise Refused(problems)

    def _texts(
        self, column: Column, theirs: str, codes: NDArray[np.int32], distinct: Any
    ) -> list[str]:
        """Distinct values as text; missing tokens and stated replacements applied."""
        texts = [cell_text(value) for value in distinct]
        replace = {
            " ".join(str(word).split()).casefold(): str(ours)
            for word, ours in self.rules.values.get(column.name, {}).items()
        }
        out, errors = [], np.zeros(len(texts), dtype=bool)
        for place, text in enumerate(texts):
            folded = text.casefold()
            if folded in replace and (folded or column.kind == "word"):
                out.append(replace[folded])
            elif folded in self.errors:
                errors[place] = True
                out.append("")
            else:
                out.append("" if folded in self.missing else text)
        if errors.any():
            count = int(errors[codes[codes >= 0]].sum())
            note = f"{self.raw.name}, {theirs}: {count} spreadsheet error values read as missing"
            self.notes.append(note)
        return out

    def _free(self, series: pd.Series) -> Any:
        text = series if pd.api.types.is_string_dtype(series.dtype) else series.map(cell_text)
        text = text.fillna("").astype(str)
        blank = text.str.strip().str.casefold().isin(self.missing | self.errors)
        return text.mask(blank, "").to_numpy(dtype=object) if blank.any() else text.to_numpy()

    def _words(
        self, column: Column, theirs: str, codes: NDArray[np.int32], texts: list[str]
    ) -> pd.Categorical:
        """Names merged over case and spaces; words checked against the allowed ones."""
        blank_word = self.rules.values.get(column.name, {}).get("", "")
        counts = np.bincount(codes[codes >= 0], minlength=len(texts))
        if column.kind == "word":
            allowed = {word.casefold(): word for word in column.words}
            canonical = [allowed.get(text.casefold(), text) for text in texts]
            bad = np.array([bool(t) and t not in column.words for t in canonical], dtype=bool)
            if bad.any():
                words = [canonical[place] for place in np.flatnonzero(bad)[:1]]
                step = did_you_mean(words[0], column.words)
                step += f"; or map your words: values: {{{column.name}: {{theirs: ours}}}}"
                self._aside(column, theirs, codes, texts, bad, "is not an allowed word", step)
            canonical = ["" if b else t for t, b in zip(canonical, bad, strict=True)]
        else:
            canonical = _merged(texts, counts)
            spelled = {text for text in texts if text}
            used = {text for text in canonical if text}
            if len(used) < len(spelled):
                self.notes.append(
                    f"{self.raw.name}, {theirs}: {len(spelled)} spellings that differ in case or "
                    f"spaces only are read as {len(used)} names"
                )
        categories = list(dict.fromkeys([*canonical, blank_word or ""]))
        place = {text: number for number, text in enumerate(categories)}
        remap = np.array([place[text or blank_word] for text in canonical] + [place[blank_word]])
        result = pd.Categorical.from_codes(remap[codes].astype(np.int32), categories=categories)
        if column.required:
            empty = remap[codes] == place[""] if "" in place else np.zeros(len(codes), bool)
            if empty.any():
                self._aside_rows(column, theirs, empty, "", "must not be blank", "fill it in")
        return result

    def _parse_numbers(self, texts: list[str]) -> NDArray[np.float64]:
        plain = pd.Series(texts, dtype=object)
        for affix in self.rules.affixes:
            plain = plain.str.replace(affix, "", regex=False).str.strip()
        mark = self.rules.thousands
        if mark:
            grouped = plain.str.fullmatch(rf"[-+]?\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+(?:\D\d+)?")
            plain = plain.where(~plain.str.contains(mark, regex=False) | grouped, "unreadable")
            plain = plain.str.replace(mark, "", regex=False)
        if self.rules.decimal == ",":
            plain = plain.where(~plain.str.contains(".", regex=False), "unreadable")
            plain = plain.str.replace(",", ".", regex=False)
        numbers = pd.to_numeric(plain.mask(plain.eq(""), None), errors="coerce")
        values = numbers.to_numpy(dtype=np.float64, na_value=np.nan)
        return np.where(np.isinf(values), np.nan, values)

    def _judge_numbers(
        self,
        column: Column,
        theirs: str,
        codes: NDArray[np.int32] | None,
        texts: Any,
        numbers: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        if codes is None:  # numbers already: every row is its own value
            codes = np.arange(len(numbers), dtype=np.int32)
            unreadable = np.zeros(len(numbers), dtype=bool)
            blank = np.isnan(numbers)
        else:
            blank = np.array([text == "" for text in texts], dtype=bool)
            unreadable = np.isnan(numbers) & ~blank
        if unreadable.any():
            step = f"decimal mark is {self.rules.decimal!r}; set decimal or thousands if it differs"
            self._aside(column, theirs, codes, texts, unreadable, "is not a number", step)
        low = column.minimum
        if low is not None:
            below = numbers < low
            if below.any():
                self._aside(column, theirs, codes, texts, below, f"must be {low:g} or more", "")
                numbers = np.where(below, np.nan, numbers)
        if column.required and (blank.any() or (codes < 0).any()):
            empty = np.append(blank, True)[codes]
            self._aside_rows(column, theirs, empty, "", "must not be blank", "fill it in")
        return np.append(numbers, np.nan)[codes]

    def _dates(
        self, column: Column, theirs: str, codes: NDArray[np.int32], distinct: Any
    ) -> NDArray[np.datetime64]:
        if pd.api.types.is_datetime64_any_dtype(distinct):
            days = _local_days(pd.Series(distinct), self.timezone)
            texts = [""] * len(days)
        else:
            texts = self._texts(column, theirs, codes, distinct)
            days = self._parse_dates(column, theirs, texts)
        blank = np.array([text == "" for text in texts], dtype=bool)
        bad = np.isnat(days) & ~blank
        if bad.any():
            order = self.rules.date_order or "the order found for this column"
            step = f"write dates as YYYY-MM-DD (read here: {order})"
            self._aside(column, theirs, codes, texts, bad, "is not a real date", step)
        if column.required:
            empty = np.append(np.isnat(days) & blank, True)[codes]
            if empty.any():
                self._aside_rows(column, theirs, empty, "", "must not be blank", "fill it in")
        return np.append(days, np.datetime64("NaT", "D"))[codes].astype("datetime64[s]")

    def _parse_dates(self, column: Column, theirs: str, texts: list[str]) -> NDArray[np.datetime64]:
        filled = pd.Series(texts, dtype=object)
        wanted = filled[filled != ""]
        days = np.full(len(texts), np.datetime64("NaT", "D"))
        if wanted.empty:
            return days
        stated = self.rules.order_of(column.name)
        orders = [stated] if stated else list(DATE_ORDERS)
        tried = {order: parse_days(wanted, order, self.timezone) for order in orders}
        order = self._choose_order(column, theirs, tried)
        days[wanted.index] = tried[order]
        return days

    def _choose_order(self, column: Column, theirs: str, tried: dict[str, Any]) -> str:
        """Pick the one date order that reads (nearly) all; refuse where two do and differ."""
        if len(tried) == 1:
            return next(iter(tried))
        size = len(next(iter(tried.values())))
        unread = {order: int(np.isnat(days).sum()) for order, days in tried.items()}
        good = [order for order, count in unread.items() if count <= 0.01 * size]
        if len(good) > 1 and all(_same(tried[good[0]], tried[order]) for order in good):
            good = good[:1]
        if len(good) == 1:
            if good[0] != "year first":
                note = (
                    f"{self.raw.name}, {theirs}: dates read {good[0]} (no other order reads them)"
                )
                self.notes.append(note)
            return good[0]
        if not good:
            best = min(unread, key=lambda order: unread[order])
            if all(unread[o] > unread[best] + 0.2 * size for o in unread if o != best):
                return best
            rule = f"no date order reads this column ({unread[best]} of {size} dates unreadable)"
            step = "write dates as YYYY-MM-DD, or set date_order"
        else:
            rule = f"the date order cannot be decided: {' and '.join(good)} both read every date"
            step = f"set date_order for this table in fleet.yaml: {' or '.join(good)}"
        if column.required:
            raise Refused([Problem(self.raw.name, 1, theirs, "", rule, step)])
        self.notes.append(f"{self.raw.name}, {theirs}: {rule}; the column is not used ({step})")
        nothing = np.full(size, np.datetime64("NaT", "D"))
        tried["not used"] = nothing
        return "not used"

    def _aside(
        self,
        column: Column,
        theirs: str,
        codes: NDArray[np.int32],
        texts: Any,
        bad: NDArray[np.bool_],
        rule: str,
        step: str,
    ) -> None:
        """Set aside the rows or cells whose distinct value is bad."""
        mask = np.append(bad, False)[codes]
        found = np.append(np.asarray(texts, dtype=object), "")[codes]
        self._aside_rows(column, theirs, mask, found, rule, step)
        not_blank = np.array([text != "" for text in texts] + [False], dtype=bool)
        filled = int(not_blank[codes].sum())
        share = mask.sum() / max(filled, 1)
        if (column.required or column.kind == "word") and share > MOST_UNREADABLE:
            first = np.flatnonzero(mask)[0]
            said = f"{rule} ({mask.sum()} of {filled} cells): the column must have been misread"
            line = int(self.raw.lines[first])
            self.misread.append(Problem(self.raw.name, line, theirs, str(found[first]), said, step))

    def _aside_rows(
        self,
        column: Column,
        theirs: str,
        mask: NDArray[np.bool_],
        found: Any,
        rule: str,
        step: str,
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
            column=theirs,
            values=found,
            rule=rule,
            next_step=step,
            scope=scope,
        )
        self.set_aside.append(rows)

    def refuse_if_misread(self) -> None:
        if self.misread:
            raise Refused(self.misread)


def _same(one: NDArray[np.datetime64], other: NDArray[np.datetime64]) -> bool:
    return bool(((one == other) | (np.isnat(one) & np.isnat(other))).all())


def cell_text(value: Any) -> str:
    """Return a cell as one line of text; whole numbers lose their `.0`, dates become ISO."""
    if isinstance(value, str):
        return " ".join(value.split())
    if value is None or value is pd.NaT:
        return ""
    if isinstance(value, float | np.floating):
        if np.isnan(value):
            return ""
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    if hasattr(value, "isoformat"):
        return str(value.isoformat()).replace("T00:00:00", "")
    return " ".join(str(value).split())


def _pattern(pattern: str) -> re.Pattern[str]:
    """Match a text in which * stands for any text, without regard to case or outer blanks."""
    plain = " ".join(pattern.split())
    return re.compile(".*".join(map(re.escape, plain.split("*"))), re.IGNORECASE | re.DOTALL)


def _merged(texts: list[str], counts: NDArray[np.int64]) -> list[str]:
    """Give names that differ only in case or spaces the most frequent of their spellings."""
    best: dict[str, str] = {}
    for place in np.argsort(-counts, kind="stable"):
        best.setdefault(texts[place].casefold(), texts[place])
    return [best[text.casefold()] for text in texts]


_FORMATS = {
    "year first": ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d"),
    "day first": (
        "%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%b-%Y", "%d-%b-%y",
        "%d %b %Y", "%d %B %Y",
    ),
    "month first": (
        "%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y", "%m/%d/%y", "%b %d %Y", "%b %d, %Y", "%B %d, %Y",
    ),
}  # fmt: skip
_TIME = re.compile(r"[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?$")
_ZONED = re.compile(r"[T ]\d{1,2}:\d{2}.*(?:Z|[+-]\d{2}:?\d{2})$")


def parse_days(texts: pd.Series, order: str, timezone: str) -> NDArray[np.datetime64]:
    """Read dates written in the given order; a time of day is left off; unreadable ones are NaT."""
    zoned = texts.str.contains(_ZONED)
    plain = texts.str.replace(_TIME, "", regex=True)
    days = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[s]")
    for pattern in _FORMATS[order]:
        open_ = days.isna() & ~zoned
        if not open_.any():
            break
        found = pd.to_datetime(plain[open_], format=pattern, errors="coerce")
        days[open_] = found.astype("datetime64[s]")
    if order == "year first" and zoned.any():
        moments = pd.to_datetime(texts[zoned], format="ISO8601", errors="coerce", utc=True)
        days[zoned] = _local_days(moments, timezone).astype("datetime64[s]")
    return days.to_numpy().astype("datetime64[D]")


def _local_days(moments: pd.Series, timezone: str) -> NDArray[np.datetime64]:
    """Return the calendar day, in the fleet's time zone where the moments carry a zone."""
    if getattr(moments.dtype, "tz", None) is not None:
        moments = moments.dt.tz_convert(timezone).dt.tz_localize(None)
    return moments.to_numpy().astype("datetime64[D]")
