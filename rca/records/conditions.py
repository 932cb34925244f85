"""Conditions on columns, such as `model = "T12" and depot in ("North", "East")`; no code is run."""

import ast
import re

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
_EXAMPLE = 'write it like  model = "T12" and depot in ("North", "East")'


def rows_where(frame: pd.DataFrame, condition: str) -> "pd.Series[bool]":
    """Tell for each row of `frame` whether the condition holds; a blank cell fulfils none.

    Parameters
    ----------
    condition
        "all", or comparisons (=, !=, <, <=, >, >=, in) of a column with text in quotes or a
        number, joined by and, or, not, and brackets.

    Raises
    ------
    RcaError
        The condition cannot be read, or names a column that is not there.
    """
    if condition.strip().casefold() in ("", "all"):
        return pd.Series(True, index=frame.index)
    text = re.sub(r"(?<![<>=!])=(?!=)", "==", condition)
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
        raise RcaError(f"the condition {condition!r} cannot be read", next_step=_EXAMPLE) from error
    return _truth(tree, frame, condition)


def _truth(node: ast.expr, frame: pd.DataFrame, condition: str) -> "pd.Series[bool]":
    if isinstance(node, ast.BoolOp):
        parts = [_truth(value, frame, condition) for value in node.values]
        join = np.logical_and if isinstance(node.op, ast.And) else np.logical_or
        return pd.Series(join.reduce([part.to_numpy() for part in parts]), index=frame.index)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return ~_truth(node.operand, frame, condition)
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and isinstance(node.left, ast.Name):
        return _compare(node, node.left.id, frame, condition)
    raise RcaError(f"the condition {condition!r} cannot be read", next_step=_EXAMPLE)


def _compare(
    node: ast.Compare, name: str, frame: pd.DataFrame, condition: str
) -> "pd.Series[bool]":
    if name not in frame.columns:
        step = did_you_mean(name, map(str, frame.columns))
        raise RcaError(f"the condition {condition!r} names no column: {name}", next_step=step)
    try:
        value = ast.literal_eval(node.comparators[0])
    except ValueError as error:
        raise RcaError(f"put text in quotes in {condition!r}", next_step=_EXAMPLE) from error
    column = frame[name]
    blank = column.isna() | column.astype(str).eq("")
    operator = node.ops[0]
    if isinstance(operator, ast.In | ast.NotIn):
        values = list(value) if isinstance(value, tuple | list | set) else [value]
        inside = _folded(column).isin({str(one).strip().casefold() for one in values})
        return (inside if isinstance(operator, ast.In) else ~inside) & ~blank
    compare = _COMPARISONS.get(type(operator))
    if compare is None:
        raise RcaError(f"the condition {condition!r} cannot be read", next_step=_EXAMPLE)
    if isinstance(value, int | float) and not isinstance(value, bool):
        numbers = pd.to_numeric(column.astype(str), errors="coerce")
        return compare(numbers, value) & numbers.notna()
    return compare(_folded(column), str(value).strip().casefold()) & ~blank


def _folded(column: pd.Series) -> pd.Series:
    """Text without outer spaces and without regard to case."""
    return column.astype(str).str.strip().str.casefold()
