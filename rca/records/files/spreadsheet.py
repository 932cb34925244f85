"""Cells that no spreadsheet runs as a formula."""

import re
from typing import TypeGuard

import pandas as pd

_FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060]*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?")


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before text, headings too, that a spreadsheet would run as a formula.

    Numbers stay as they are, also where a cell holds one as text.
    """
    safe = {_without_formula(str(name)): _harmless(frame[name]) for name in frame.columns}
    return pd.DataFrame(safe, index=frame.index)


def _harmless(column: pd.Series) -> pd.Series:
    kind = column.dtype
    if pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_datetime64_any_dtype(kind):
        return column
    if isinstance(kind, pd.CategoricalDtype):
        words = kind.categories.map(lambda one: _without_formula(one) if _is_text(one) else one)
        if words.equals(kind.categories):
            return column
    cells = column.astype(object)
    changed = {
        text: _without_formula(text)
        for text in cells.dropna().unique()
        if _is_text(text) and _without_formula(text) != text
    }
    return cells.map(lambda cell: changed.get(cell, cell)) if changed else cells


def _is_text(cell: object) -> TypeGuard[str]:
    return isinstance(cell, str)


def _without_formula(text: str) -> str:
    return "'" + text if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text
