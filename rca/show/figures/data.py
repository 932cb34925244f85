"""The numbers behind figures and lives as plain tables, for a spreadsheet."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from rca.records.fleet import Fleet

LIFE_COLUMNS = {
    "unit": "unit",
    "position": "position",
    "fitting": "fitted before",
    "begin": "watched from",
    "end": "watched to",
    "entry_days": "age at begin (days)",
    "age_days": "age at end (days)",
    "entry_meter": "age at begin ({unit})",
    "age_meter": "age at end ({unit})",
    "meter_estimated": "meter estimated",
    "failed": "failed",
    "mode": "failure mode",
    "ended_by": "ended by",
    "renewed": "part renewed then",
    "lot": "lot",
    "begun_by": "begun by",
    "cause_addressed": "cause addressed then",
}


def lives_table(rows: pd.DataFrame, fleet: Fleet) -> pd.DataFrame:
    """Return pieces of lives under plain headings, one row a piece; unknown ages stay blank.

    The last two columns name the file and line of the repair that ended the life.
    """
    unit = fleet.settings.meter_unit or "meter"
    shown = rows[list(LIFE_COLUMNS)].copy()
    for column in ("begin", "end"):
        shown[column] = shown[column].dt.strftime("%Y-%m-%d")
    for column in ("entry_days", "age_days", "entry_meter", "age_meter"):
        shown[column] = shown[column].round(1)
    for column in ("failed", "renewed", "meter_estimated"):
        shown[column] = np.where(shown[column].to_numpy(dtype=bool), "yes", "no")
    shown = shown.rename(
        columns={key: name.format(unit=unit) for key, name in LIFE_COLUMNS.items()}
    )
    lines = fleet.lines["repairs"]
    row = rows["row"].to_numpy()
    file = fleet.files["repairs"]
    found = [str(int(lines[one])) if one >= 0 else "" for one in row]
    named = [file[one] if one >= 0 else "" for one in row]
    return shown.assign(file=named, line=found).reset_index(drop=True)


def figure_data(figure: go.Figure, *, on_paper: bool = False) -> pd.DataFrame:
    """Return the points of a figure, one row a point.

    Parameters
    ----------
    on_paper
        The heights are those of Weibull paper; they are given back as shares failed.
    """
    title = figure.layout.title.text or "figure"
    x = figure.layout.xaxis.title.text or "x"
    y = figure.layout.yaxis.title.text or "y"
    rows = [
        {"figure": title, "line": name, "x is": x, "x": at, "y is": y, "y": height,
         "lower": low, "upper": high, "label": label}
        for name, at, height, low, high, label in _points(figure)
    ]  # fmt: skip
    columns = ["figure", "line", "x is", "x", "y is", "y", "lower", "upper", "label"]
    table = pd.DataFrame(rows, columns=columns)
    if on_paper:
        table["y"] = -np.expm1(-np.exp(table["y"].astype(float)))
    return table


def _points(figure: go.Figure) -> Iterator[tuple[str, Any, Any, Any, Any, str]]:
    """Line, x, y, limits of the point's error bar, and the text beside it."""
    for trace in figure.data:
        if trace.x is None or trace.y is None:
            continue
        name = trace.name or ""
        count = len(trace.x)
        across = trace.error_x if trace.error_x.array is not None else None
        values = trace.x if across is not None else trace.y
        low, high = _limits(values, across or trace.error_y, count)
        text = trace.text if trace.text is not None and not isinstance(trace.text, str) else None
        for place in range(count):
            label = "" if text is None or text[place] is None else str(text[place])
            yield name, trace.x[place], trace.y[place], low[place], high[place], label


def _limits(values: Any, bar: Any, count: int) -> tuple[Any, Any]:
    if bar is None or bar.array is None:
        return [np.nan] * count, [np.nan] * count
    value = np.asarray(values, dtype=float)
    up = np.asarray(bar.array, dtype=float)
    down = np.asarray(bar.arrayminus, dtype=float) if bar.arrayminus is not None else up
    return value - down, value + up
