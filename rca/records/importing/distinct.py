"""A raw table seen column by column: distinct cells with their counts, each worked out once."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from rca.records.cells import cell_text
from rca.records.columns import MISSING, SPREADSHEET_ERRORS
from rca.records.files import RawTable
from rca.records.importing.wording import EXTRA_MISSING
from rca.records.text_search import as_arrow, is_one_of, lengths, single_blanks

SAMPLE_ROWS = 4000
UNNAMED = "Unnamed:"  # how columns without a name in the header are called
_FOR_BLANK = frozenset(
    word.casefold() for word in (*MISSING[1:], *SPREADSHEET_ERRORS, *EXTRA_MISSING, "0")
)
_BLANK = frozenset(word.casefold() for word in (*MISSING, *SPREADSHEET_ERRORS))


@dataclass(frozen=True, slots=True, eq=False)
class Distinct:
    """The distinct cells of one column as text, in order of first appearance."""

    texts: list[str]
    counts: NDArray[np.int64]
    codes: NDArray[np.int32]  # for each row its place in `texts`, -1 = missing

    def filled(self) -> dict[str, int]:
        """Count the cells that say something, by text with single blanks."""
        found: dict[str, int] = {}
        for text, count in zip(self.texts, self.counts, strict=True):
            if not is_blank(text):
                found[text] = found.get(text, 0) + int(count)
        return found

    def rows_of(self, wanted: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Spread an answer given for each distinct text over the rows."""
        return np.append(wanted, False)[self.codes]


def is_blank(text: str) -> bool:
    """Tell whether a cell says nothing: blank, NA, N/A, NULL, NaN or a spreadsheet error."""
    return text.casefold() in _BLANK


class Cells:
    """The cells of a raw table by column name."""

    def __init__(self, raw: RawTable) -> None:
        self.raw = raw
        self.names = [str(name) for name in raw.frame.columns]
        self._columns = dict(zip(self.names, raw.frame.columns, strict=True))
        self._text: dict[str, pa.Array] = {}
        self._distinct: dict[str, Distinct] = {}
        self._sample: dict[str, list[str]] = {}
        self._for_blank: dict[str, dict[str, int]] = {}
        self.described: dict[str, object] = {}  # what content_of has worked out
        self.shifted = self._shifted_rows()

    def __len__(self) -> int:
        return len(self.raw.frame)

    def _shifted_rows(self) -> NDArray[np.bool_]:
        """Tell the rows that fill a column without a name, which hardly any row does.

        They have moved to the right; their cells stand under wrong names and are not looked at.
        """
        shifted = np.zeros(len(self), dtype=bool)
        for name in self.names:
            if name.startswith(UNNAMED):
                filled = lengths(self.text(name)) > 0
                shifted |= filled & (filled.sum() <= max(1, 0.05 * len(self)))
        return shifted

    def series(self, name: str) -> pd.Series:
        """Return a column as it stands in the file."""
        return self.raw.frame[self._columns[name]]

    def text(self, name: str) -> pa.Array:
        """Return a column as Arrow text, for searches in all of it."""
        if name not in self._text:
            text = as_arrow(self.series(name))
            if not name.startswith(UNNAMED) and self.shifted.any():
                text = pc.if_else(pa.array(self.shifted), pa.scalar(None, pa.string()), text)
            self._text[name] = text
        return self._text[name]

    def is_typed(self, name: str, kind: str) -> bool:
        """Tell whether the file itself stores this column as "date" or "number"."""
        series = self.series(name)
        if kind == "date":
            return bool(pd.api.types.is_datetime64_any_dtype(series.dtype))
        if series.dtype != object:
            return bool(pd.api.types.is_numeric_dtype(series.dtype))
        filled = series[series != ""]  # a sheet holds numbers and blanks side by side
        some = [not isinstance(one, str) for one in filled.iloc[:SAMPLE_ROWS]]
        return bool(some) and all(some) and pd.api.types.infer_dtype(filled) in _NUMBERS

    def distinct(self, name: str) -> Distinct:
        """Return the distinct cells of a column."""
        if name not in self._distinct:
            coded = self.text(name).dictionary_encode()
            codes = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int32)
            texts = single_blanks(coded.dictionary)
            counts = np.bincount(codes[codes >= 0], minlength=len(texts))
            self._distinct[name] = Distinct(texts, counts, codes)
        return self._distinct[name]

    def coded(self) -> RawTable:
        """Return the raw table with the columns worked out so far as categories, for speed.

        The reader judges cells by their distinct values, which are then not looked for again.
        """
        if self.shifted.any():
            return self.raw
        known = {
            self._columns[name]: pd.Categorical.from_codes(found.codes, categories=found.texts)
            for name, found in self._distinct.items()
            if pd.api.types.infer_dtype(self.series(name)) == "string"
            and len(set(found.texts)) == len(found.texts)
        }
        return replace(self.raw, frame=self.raw.frame.assign(**known)) if known else self.raw

    def for_blank(self, name: str) -> dict[str, int]:
        """Count the cells that may stand for a blank: NA, a dash, a spreadsheet error, 0, ..."""
        if name not in self._for_blank:
            known = name in self._distinct or self._repeats(name)
            if known:
                self.distinct(name)
            text = pa.array(self._distinct[name].texts, pa.string()) if known else self.text(name)
            found = np.flatnonzero(is_one_of(text, _FOR_BLANK))
            counts = self._distinct[name].counts if known else np.ones(len(text), dtype=np.int64)
            words: dict[str, int] = {}
            for place in found if known else ():
                word = text[int(place)].as_py().strip()
                words[word] = words.get(word, 0) + int(counts[place])
            if not known:
                ways = pc.value_counts(pc.utf8_trim_whitespace(text.take(pa.array(found))))
                words = {way["values"].as_py(): way["counts"].as_py() for way in ways}
            self._for_blank[name] = words
        return self._for_blank[name]

    def _repeats(self, name: str) -> bool:
        """Tell whether the cells of a column repeat, by a sample."""
        some = self.sample(name)
        return len(set(some)) < 0.5 * len(some)

    def filled_rows(self, name: str) -> int:
        """Count the cells of a column that say something."""
        text = self.text(name)
        empty = int(np.sum(lengths(text) == 0))
        return len(self) - empty - sum(n for w, n in self.for_blank(name).items() if is_blank(w))

    def sample(self, name: str) -> list[str]:
        """Return some of the filled cells as text, taken evenly from the whole column."""
        if name not in self._sample:
            step = max(1, len(self) // SAMPLE_ROWS)
            texts = [cell_text(value) for value in self.series(name).iloc[::step]]
            self._sample[name] = [text for text in texts if not is_blank(text)]
        return self._sample[name]

    def line(self, row: int) -> int:
        """Line of the file on which a row begins."""
        return int(self.raw.lines[row])


_NUMBERS = ("integer", "floating", "mixed-integer-float")
