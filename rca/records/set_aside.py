"""The list of what was not used: a row or cell with its place, the rule, and the next step."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.errors import Problem, Refused
from rca.records.cells import cell_text

SET_ASIDE_COLUMNS = (
    "table", "file", "line", "column", "value", "rule", "next_step", "scope",
)  # fmt: skip
MOST_SHOWN = 80  # characters of a cell in a message
MOST_RULES = 5  # different faults told where no row of a table is left


def no_set_aside() -> pd.DataFrame:
    """Return an empty list of rows and cells set aside."""
    return pd.DataFrame({name: pd.Series(dtype=object) for name in SET_ASIDE_COLUMNS})


def set_aside_rows(
    mask: NDArray[np.bool_],
    *,
    table: str,
    file: str | NDArray[Any],
    lines: NDArray[np.int64],
    column: str,
    values: Any,
    rule: str | NDArray[Any],
    next_step: str | NDArray[Any],
    scope: str = "row",
) -> pd.DataFrame:
    """List the rows where `mask` is true, with what was found and which rule it breaks.

    `file`, `values`, `rule` and `next_step` are one text for all rows, or one for each row of the
    table.
    """
    places = np.flatnonzero(mask)
    found = [values] * len(places) if isinstance(values, str) else _shown(values, places)
    rules, steps, named = (
        one if isinstance(one, str) else np.asarray(one)[places] for one in (rule, next_step, file)
    )
    return pd.DataFrame(
        {
            "table": table,
            "file": named,
            "line": lines[places],
            "column": column,
            "value": [one[:MOST_SHOWN] for one in found],
            "rule": rules,
            "next_step": steps,
            "scope": scope,
        }
    )


def _shown(values: Any, places: NDArray[np.int64]) -> list[str]:
    """Return the values at some places as text, days as YYYY-MM-DD."""
    chosen = values.iloc[places] if isinstance(values, pd.Series) else np.asarray(values)[places]
    if pd.api.types.is_datetime64_any_dtype(chosen.dtype):
        chosen = np.asarray(chosen).astype("datetime64[D]")
    return [str(one) if isinstance(one, np.datetime64) else cell_text(one) for one in chosen]


def refuse_if_none_is_left(left: int, listed: pd.DataFrame, *, table: str) -> None:
    """Refuse a table all of whose rows were set aside, told by the first row of each rule.

    Raises
    ------
    Refused
        No row is left, and at least one was set aside.
    """
    rows = listed[(listed["scope"] == "row") & (listed["table"] == table)]
    if left or rows.empty:
        return
    first = rows.drop_duplicates(["column", "rule"]).head(MOST_RULES)
    raise Refused(
        [
            Problem(
                row.file, int(row.line), row.column, row.value,
                f"{row.rule}; so no row of the table {table} can be used", row.next_step,
            )
            for row in first.itertuples()
        ]
    )  # fmt: skip
