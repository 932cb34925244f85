"""Conditions on columns, such as `model = "T12" and depot in ("North", "East")`; no code is run."""

import ast
import re
from typing import Any

import numpy as np
import pandas as pd

from rca.errors import RcaError
from rca.records.schema import did_you_mean

_COMPARISONS = {
    ast.Eq: lambda column, value: column == value,
    ast.NotEq: lambda column, value: column != value,
    ast.Lt: lambda column, value: column < value,
    ast.LtE: lambda column, value: column <= value,
    ast.Gt: lambda column, value: column > value,
    ast.GtE: lambda column, value: column >= value,
}
_OPPOSITES: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE,
    ast.LtE: ast.Gt, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_EXAMPLE = 'write it like  model = "T12" and depot in ("North", "East")'
_QUOTED_OR_SINGLE_EQUALS = re.compile(r"""("[^"]*"|'[^']*')|(?<![<>=!])=(?!=)""")
_UNREADABLE = (SyntaxError, ValueError, TypeError, RecursionError, MemoryError, OverflowError)


def rows_where(frame: pd.DataFrame, condition: str) -> "pd.Series[bool]":
    """Tell for each row of `frame` whether the condition holds; a blank cell fulfils none.

    Parameters
    ----------
    condition
        "all", or comparisons (=, !=, <, <=, >, >=, in) of a column with text in quotes or a
        number, joined by and, or, not, and brackets. Text is compared without regard to case.

    Raises
    ------
    RcaError
        The condition cannot be read, or names a column that is not there.
    """
    if condition.strip().casefold() in ("", "all"):
        return pd.Series(True, index=frame.index)
    text = _QUOTED_OR_SINGLE_EQUALS.sub(lambda found: found[1] or "==", condition)
    text = text.replace("\\", "\\\\")  # a backslash is a character like any other
    try:
        tree = ast.parse(text.strip(), mode="eval").body
        return _truth(tree, frame, condition, negated=False)
    except _UNREADABLE as error:
        raise _unreadable(condition) from error


def _unreadable(condition: str) -> RcaError:
    return RcaError(f"the condition {condition[:200]!r} cannot be read", next_step=_EXAMPLE)


def _truth(
    node: ast.expr, frame: pd.DataFrame, condition: str, *, negated: bool
) -> "pd.Series[bool]":
    """Work a condition out; `not` is carried down to the comparisons, where blanks are known."""
    if isinstance(node, ast.BoolOp):
        parts = [_truth(value, frame, condition, negated=negated) for value in node.values]
        both = isinstance(node.op, ast.And) is not negated
        join = np.logical_and if both else np.logical_or
        return pd.Series(join.reduce([part.to_numpy() for part in parts]), index=frame.index)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return _truth(node.operand, frame, condition, negated=not negated)
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and isinstance(node.left, ast.Name):
        column = _column(node.left.id, frame, condition)
        operator = _OPPOSITES.get(type(node.ops[0])) if negated else type(node.ops[0])
        return _compare(column, operator, _value(node.comparators[0], condition), condition)
    raise _unreadable(condition)


def _column(name: str, frame: pd.DataFrame, condition: str) -> pd.Series:
    if name not in frame.columns:
        step = did_you_mean(name, map(str, frame.columns))
        raise RcaError(f"the condition {condition!r} names no column: {name}", next_step=step)
    return frame[name]


def _value(node: ast.expr, condition: str) -> Any:
    try:
        return ast.literal_eval(node)
    except ValueError as error:
        raise RcaError(f"put text in quotes in {condition!r}", next_step=_EXAMPLE) from error


def _compare(
    column: pd.Series, operator: type[ast.cmpop] | None, value: Any, condition: str
) -> "pd.Series[bool]":
    blank = column.isna() | column.astype(str).str.strip().eq("")
    if operator in (ast.In, ast.NotIn):
        values = list(value) if isinstance(value, tuple | list | set) else [value]
        inside = _folded(column).isin({str(one).strip().casefold() for one in values})
        inside |= _numbers(column).isin([one for one in values if _is_number(one)])
        return (inside if operator is ast.In else ~inside) & ~blank
    compare = _COMPARISONS.get(operator) if operator else None
    if compare is None or not isinstance(value, str | int | float):
        raise _unreadable(condition)
    if _is_number(value):
        numbers = _numbers(column)
        return compare(numbers, float(value)) & numbers.notna()
    return compare(_folded(column), str(value).strip().casefold()) & ~blank


def _folded(column: pd.Series) -> pd.Series:
    """Text without outer spaces and without regard to case."""
    return column.astype(str).str.strip().str.casefold()


def _numbers(column: pd.Series) -> pd.Series:
    """Numbers where the text is one, else NaN."""
    return pd.to_numeric(column.astype(str), errors="coerce").astype(float)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
