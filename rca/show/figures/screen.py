"""Figures of the upstream screen: how long before the failures, and how strongly.

In the style of `figures`. They say "comes before" and "goes with"; none shows a cause.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from rca.causes.screen.lags import BIN_DAYS, Lags
from rca.causes.screen.nearest import COULD_BE_CHANCE
from rca.records.number_style import NumberStyle
from rca.show.figures.plots import ACCENT, GREY, INK, PALE, PLAIN, blank_figure

MOST_ROWS = 24
_SYMBOLS = {"comes before": "diamond", "goes with it": "circle", "explained": "circle-open"}
_WORDS = {
    "comes before": "comes before",
    "goes with it": "goes with",
    "explained": "explained by another",
    COULD_BE_CHANCE: COULD_BE_CHANCE,
}
_TICKS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
_FARTHEST = 100.0  # ratio beyond which a limit is drawn at the edge


def lag_figure(row: Mapping[str, Any], lags: Lags) -> go.Figure:
    """Events of a candidate before and after a part's failures, beside what chance would give.

    Parameters
    ----------
    row
        The candidate's row of `Screen.found` or `Screen.explained`.
    """
    target, candidate = row["target"], row["candidate"]
    said = (
        f"{row['events']:.0f} of {row['failures']:.0f} failures had it in the "
        f"{row['window_days']:.0f} days before, {row['expected']:.1f} by chance"
    )
    figure = blank_figure(
        title=f"When {candidate} comes, seen from the failures of {target}",
        x="days before (left) and after (right) the failure",
        y=f"events in {BIN_DAYS} days",
        alt=f"{said}. Events in each {BIN_DAYS} days before the failures, nearest first: "
        + ", ".join(str(one) for one in lags.seen[lags.before][::-1]),
        height=340,
    )
    middle = lags.begin + (BIN_DAYS - 1) / 2
    figure.add_bar(
        x=middle, y=lags.seen, width=0.86 * BIN_DAYS, name="seen",
        marker={"color": PALE, "line": {"color": INK, "width": 1}},
    )  # fmt: skip
    figure.add_scatter(
        x=middle, y=lags.by_chance, mode="lines", name="what chance would give",
        line={"color": ACCENT, "width": 2, "dash": "dash", "shape": "hvh"},
    )  # fmt: skip
    top = 1.25 * max(float(lags.seen.max()), float(lags.by_chance.max()), 1.0)
    figure.add_shape(type="line", x0=0, x1=0, y0=0, y1=top, line={"color": INK, "width": 1.5})
    for place, anchor, text in (
        (-4, "right", f"before the failure: {said}"),
        (4, "left", "after the failure"),
    ):
        figure.add_annotation(
            x=place, y=top, yanchor="top", xanchor=anchor, text=text, showarrow=False,
            font={"color": GREY},
        )  # fmt: skip
    figure.update_yaxes(range=[0, top])
    return figure


def forest_figure(
    rows: Sequence[Mapping[str, Any]],
    *,
    title: str,
    name_target: bool = False,
    style: NumberStyle = PLAIN,
) -> go.Figure:
    """Ratio with its limits of each candidate, in words what it is; 1 = no more than by chance.

    Parameters
    ----------
    rows
        Rows of `Screen.found`, `explained` and `nearest`, in the order in which to show them.
    name_target
        Begin each name with the part that fails.
    """
    shown = [row for row in rows if np.isfinite(row["ratio"]) and row["ratio"] > 0][:MOST_ROWS]
    names = [
        f"{row['target']}: {row['candidate']}" if name_target else row["candidate"] for row in shown
    ]
    figure = blank_figure(
        title=title, x="failure rate with it, over the rate without (1 = no difference)", y="",
        alt="; ".join(
            f"{name} {_WORDS[row['word']]}: ratio {row['ratio']:.2g} "
            f"({row['lower']:.2g} to {row['upper']:.2g})"
            for name, row in zip(names, shown, strict=True)
        ),
        height=130 + 24 * max(len(shown), 1),
    )  # fmt: skip
    for word, said in _WORDS.items():
        places = [place for place, row in enumerate(shown) if row["word"] == word]
        if places:
            _add_rows(figure, [shown[place] for place in places], places, word, said)
    for place, row in enumerate(shown):
        figure.add_annotation(
            x=1, xref="paper", y=place, xanchor="left", xshift=8, showarrow=False, align="left",
            text=f"{_WORDS[row['word']]}, {style.figures(row['ratio'], 2)} "
            f"({style.figures(row['lower'], 2)} to {style.figures(row['upper'], 2)})",
        )  # fmt: skip
    figure.add_vline(x=1, line={"color": GREY, "width": 1})
    figure.update_xaxes(
        type="log", tickvals=_TICKS, ticktext=[style.figures(tick, 1) for tick in _TICKS],
        range=_reach(shown), title_standoff=4,
    )  # fmt: skip
    figure.update_yaxes(
        tickvals=list(range(len(shown))), ticktext=names, range=[len(shown) - 0.5, -0.5],
        showgrid=False,
    )  # fmt: skip
    figure.update_layout(margin={"t": 40, "b": 80, "r": 270})
    return figure


def _add_rows(
    figure: go.Figure, rows: Sequence[Mapping[str, Any]], places: list[int], word: str, said: str
) -> None:
    ratio = np.array([row["ratio"] for row in rows], float)
    low = np.maximum([row["lower"] for row in rows], 1.0 / _FARTHEST)
    high = np.minimum([row["upper"] for row in rows], _FARTHEST)
    sure = word != COULD_BE_CHANCE
    colour = INK if sure else GREY
    figure.add_scatter(
        x=ratio, y=places, mode="markers", name=f"{said}, with 95 % limits",
        text=[row["candidate"] for row in rows],
        marker={"color": colour, "size": 9, "symbol": _SYMBOLS.get(word, "x-thin-open")},
        error_x={"type": "data", "symmetric": False, "array": np.maximum(high - ratio, 0),
                 "arrayminus": np.maximum(ratio - low, 0), "color": colour,
                 "thickness": 1.8 if sure else 1},
    )  # fmt: skip


def _reach(rows: Sequence[Mapping[str, Any]]) -> list[float]:
    """Range of the axis, in powers of ten."""
    low = min([0.5, *(max(row["lower"], 1.0 / _FARTHEST) for row in rows)])
    high = max([2.0, *(min(row["upper"], _FARTHEST) for row in rows)])
    return [float(np.log10(low)) - 0.05, float(np.log10(high)) + 0.05]
