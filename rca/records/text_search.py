"""Fast searches in whole columns of text."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from rca.records.cells import cell_text

OUTER_BLANKS = 8  # more blanks around a word than this are not looked through


def as_arrow(series: pd.Series) -> pa.Array:
    """Return a column as Arrow text; cells that are no text are written out."""
    try:
        array = pa.array(series, type=pa.string(), from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        array = pa.array([cell_text(value) for value in series], type=pa.string())
    return pa.concat_arrays(array.chunks) if isinstance(array, pa.ChunkedArray) else array


def single_blanks(text: pa.Array) -> list[str]:
    """Return cells as `cell_text` does, which only few of them need."""
    out: list[str] = text.to_pylist()
    for place in np.flatnonzero(hits(text, r"^ | $|  |[^ -~]")):
        out[place] = cell_text(out[place])
    return out


def hits(text: pa.Array, pattern: str) -> NDArray[np.bool_]:
    """Tell which cells hold a match of the pattern (RE2 syntax), whatever the case."""
    found = pc.fill_null(pc.match_substring_regex(text, pattern, ignore_case=True), False)
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=bool)


def hits_among(text: pa.Array, may: NDArray[np.bool_], pattern: str) -> NDArray[np.bool_]:
    """Tell which cells match a pattern, looking only into those that may."""
    found = np.zeros(len(text), dtype=bool)
    places = np.flatnonzero(may)
    found[places] = hits(text.take(pa.array(places)), pattern)
    return found


def lengths(text: pa.Array) -> NDArray[np.int64]:
    """Return the number of characters of each cell, outer blanks left off."""
    size = pc.fill_null(pc.utf8_length(pc.utf8_trim_whitespace(text)), 0)
    return np.asarray(size.to_numpy(zero_copy_only=False), dtype=np.int64)


def is_one_of(text: pa.Array, words: frozenset[str]) -> NDArray[np.bool_]:
    """Tell which cells, outer blanks left off, are one of the words (lower case)."""
    most = max((len(word.encode()) for word in words), default=0)
    size = pc.fill_null(pc.binary_length(text), most + OUTER_BLANKS + 1)
    short = np.flatnonzero(np.asarray(size) <= most + OUTER_BLANKS)
    plain = pc.utf8_lower(pc.utf8_trim_whitespace(text.take(pa.array(short))))
    found = np.zeros(len(text), dtype=bool)
    known = pc.is_in(plain, value_set=pa.array(sorted(words), type=pa.string()))
    found[short] = known.to_numpy(zero_copy_only=False)
    return found
