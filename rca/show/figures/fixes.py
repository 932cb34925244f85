"""Figures about fixes, in the style of `figures`: readable in grey and without statistics."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from rca.causes.fix.verdict import Verdict
from rca.show.figures.plots import ACCENT, GREY, INK, blank_figure


def verdict_figure(verdict: Verdict) -> go.Figure:
    """Failures after a fix against those expected without it, and what would decide the matter.

    While no verdict is out, the lines that decide it go on into the coming months.
    """
    path, plan = verdict.path, verdict.plan
    open_ = verdict.expected_needed != 0.0 and not verdict.ahead.empty
    ahead = verdict.ahead if open_ else verdict.ahead.iloc[:0]
    figure = blank_figure(
        title=f"{plan.fix} ({plan.part}): failures since the fix", x="month",
        y="failures since the fix", alt=f"{verdict}; {_what_decides(verdict)}",
    )  # fmt: skip
    months = [*path["month"], *ahead["month"]]
    figure.add_scatter(
        x=months, y=[*path["expected"], *ahead["expected"]], mode="lines",
        name="expected had nothing changed", line={"color": GREY, "width": 2, "dash": "dash"},
    )  # fmt: skip
    for column, words, dash in (
        ("fewest_to_miss", "on or above: target ruled out", "dashdot"),
        ("most_to_show", "on or below: effect shown", "dot"),
    ):
        values = np.array([*path[column], *ahead[column]], dtype=float)
        values[values < 0] = np.nan
        figure.add_scatter(
            x=months, y=values, mode="lines", name=words, connectgaps=False,
            line={"color": ACCENT, "width": 2, "dash": dash, "shape": "hv"},
        )  # fmt: skip
    figure.add_scatter(
        x=path["month"], y=path["observed"], mode="lines+markers", name="seen",
        line={"color": INK, "width": 2.5, "shape": "hv"}, marker={"size": 6},
    )  # fmt: skip
    if len(path):
        _add_zones(figure, verdict, months, open_=open_)
    return figure


def _what_decides(verdict: Verdict) -> str:
    """Say at the last look what had decided it."""
    if verdict.path.empty:
        return "no month has ended since"
    last = verdict.path.iloc[-1]
    most, fewest = int(last["most_to_show"]), int(last["fewest_to_miss"])
    shown = f"at most {most} show the effect" if most >= 0 else "not even none shows the effect yet"
    return f"at the end of {last['month']:%Y-%m} {shown}, {fewest} or more rule the target out"


def _add_zones(
    figure: go.Figure, verdict: Verdict, months: Sequence[pd.Timestamp], *, open_: bool
) -> None:
    """Name the lines where they end, mark the end of the records, and set the height."""
    path, last = verdict.path, months[-1]
    ends = (verdict.ahead if open_ else path).iloc[-1]
    top = 1.15 * max(float(ends["expected"]), float(path["observed"].max()), 4.0)
    labels = [
        (float(ends["expected"]), "expected had nothing changed"),
        (float(ends["fewest_to_miss"]), "on or above: target ruled out"),
        (float(ends["most_to_show"]), "on or below: effect shown"),
    ]
    if not open_:
        labels.append((float(path["observed"].iloc[-1]), f"seen: {path['observed'].iloc[-1]}"))
    shown = [(height, text) for height, text in labels if 0 <= height <= top]
    for height, text in _apart(shown, least=0.07 * top):
        figure.add_annotation(
            x=last, y=height, text=text, xanchor="left", xshift=6, showarrow=False, align="left"
        )
    if open_:
        now = path["month"].iloc[-1]
        figure.add_shape(
            type="line", x0=now, x1=now, y0=0, y1=1, yref="paper", line={"color": GREY, "width": 1}
        )
        figure.add_annotation(
            x=now, y=1, yref="paper", yanchor="bottom", showarrow=False,
            text=f"records end: {path['observed'].iloc[-1]} seen", font={"color": GREY},
        )  # fmt: skip
    figure.update_yaxes(range=[-0.02 * top, top])
    room = pd.Timedelta(days=10)
    figure.update_xaxes(range=[months[0] - room, last + room / 2])
    figure.update_layout(margin={"r": 210})


def _apart(labels: Sequence[tuple[float, str]], *, least: float) -> list[tuple[float, str]]:
    """Move labels up until each stands clear of the one below."""
    moved: list[tuple[float, str]] = []
    for height, text in sorted(labels):
        below = moved[-1][0] + least if moved else height
        moved.append((max(height, below), text))
    return moved
