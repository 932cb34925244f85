"""Figures of the class exercise: the months after a repair, and the debrief of a class.

All are readable in grey; each carries the same in words in `layout.meta["alt"]`.
"""

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go

from rca.show.exercise.scenario import BRANCH
from rca.show.figures.plots import ACCENT, GREY, INK, PALE, blank_figure
from rca.show.numbers import percent

BAR = 30
"""Height of one bar of a list, in pixels."""
ROOM_FOR_TEXT = 0.2


def months_figure(months: pd.DataFrame, *, part: str) -> go.Figure:
    """Failures in each month after a repair.

    Parameters
    ----------
    months
        One row a month: month, failures.
    """
    names, counts = [str(one) for one in months["month"]], [int(n) for n in months["failures"]]
    told = "; ".join(f"{name}: {count}" for name, count in zip(names, counts, strict=True))
    figure = blank_figure(
        title=f"Failures of the {part} on the repaired units", x="month", y="failures",
        alt=told or "no months", height=280,
    )  # fmt: skip
    figure.add_bar(x=names, y=counts, marker={"color": ACCENT, "line": {"color": GREY}})
    figure.update_xaxes(type="category")
    figure.update_yaxes(rangemode="tozero", tickformat="d")
    if max(counts, default=0) < 8:
        figure.update_yaxes(dtick=1)
    return figure


def causes_figure(causes: pd.DataFrame) -> go.Figure:
    """Which causes the class named, and how often that was right; from `debrief.causes_named`."""
    rows = causes.iloc[::-1]
    names = [BRANCH.get(one, one) for one in rows["cause"]]
    told = [
        f"{name}: named by {one.named}, right for {one.right}, true in {one.true_in} cases"
        for name, one in zip(names, rows.itertuples(), strict=True)
    ]
    figure = _bars("Causes named by the class", "students", told[::-1], len(rows))
    figure.add_bar(y=names, x=rows["named"], name="named it", orientation="h",
                   marker={"color": PALE, "line": {"color": GREY, "width": 1}})  # fmt: skip
    figure.add_bar(y=names, x=rows["right"], name="and it was so", orientation="h", width=0.4,
                   marker={"color": ACCENT})  # fmt: skip
    figure.add_scatter(y=names, x=rows["true_in"], name="cases in which it is the cause",
                       mode="markers", marker={"symbol": "line-ns-open", "size": 14, "color": INK,
                                               "line": {"width": 3}})  # fmt: skip
    return figure


def spending_figure(spending: pd.DataFrame) -> go.Figure:
    """Marks against money spent on clues; from `debrief.spending_against_marks`."""
    told = "; ".join(
        f"{one.student}: {percent(one.spent_share)} spent, {one.total:.0f} points, "
        f"{'right' if one.right else 'wrong'} cause"
        for one in spending.itertuples()
    )
    figure = blank_figure(
        title="Points against money spent on clues", x="share of the budget spent",
        y="points of 100", alt=told,
    )  # fmt: skip
    for right, name, symbol, color in (
        (True, "named the right cause", "circle", ACCENT),
        (False, "named another cause", "x-open", INK),
    ):
        rows = spending[spending["right"].astype(bool) == right]
        figure.add_scatter(
            x=rows["spent_share"], y=rows["total"], mode="markers", name=name,
            text=rows["student"], hovertemplate="%{text}: %{y:.0f} points<extra></extra>",
            marker={"symbol": symbol, "size": 10, "color": color, "line": {"width": 2}},
        )  # fmt: skip
    figure.update_xaxes(tickformat=".0%", rangemode="tozero")
    figure.update_yaxes(range=[0, 102])
    return figure


def calibration_figure(classes: pd.DataFrame) -> go.Figure:
    """How sure they were against how many were right; from `debrief.calibration`."""
    told = "; ".join(
        f"{one.students} students were {percent(one.mean_confidence)} sure on average: "
        f"{one.right} right ({percent(one.share_right)}, "
        f"{percent(one.lower)} to {percent(one.upper)})"
        for one in classes.itertuples()
    )
    figure = blank_figure(
        title="How sure they were, and how many were right", x="stated confidence in the cause",
        y="share that was right", alt=told or "nobody named a cause and said how sure",
    )  # fmt: skip
    figure.add_scatter(x=[0, 1], y=[0, 1], mode="lines", name="as sure as right",
                       line={"color": GREY, "dash": "dash"})  # fmt: skip
    figure.add_scatter(
        x=classes["mean_confidence"], y=classes["share_right"], mode="markers+text",
        name="students by confidence, 95 % limits", text=[f"{n}" for n in classes["students"]],
        textposition="middle right", marker={"size": 9, "color": ACCENT},
        error_y={"type": "data", "symmetric": False, "color": INK,
                 "array": classes["upper"] - classes["share_right"],
                 "arrayminus": classes["share_right"] - classes["lower"]},
    )  # fmt: skip
    figure.update_xaxes(tickformat=".0%", range=[0, 1.05])
    figure.update_yaxes(tickformat=".0%", range=[-0.03, 1.05])
    return figure


def traps_figure(traps: pd.DataFrame) -> go.Figure:
    """How many each trap caught; from `debrief.traps_caught`."""
    rows = traps.iloc[::-1]
    told = [
        f"{one.trap}: caught {one.caught}, seen by {one.seen}, cannot be told of {one.cannot_tell}"
        for one in traps.itertuples()
    ]
    figure = _bars("Traps: whom they caught", "students whose case had it", told, len(rows))
    for column, name, fill in (
        ("caught", "caught", {"color": ACCENT}),
        ("seen", "saw it", {"color": "white", "line": {"color": INK, "width": 1}}),
        ("cannot_tell", "cannot be told", {"color": PALE, "pattern": {"shape": "/"}}),
    ):
        figure.add_bar(y=list(rows["trap"]), x=rows[column], name=name, orientation="h",
                       marker=fill)  # fmt: skip
    figure.update_layout(barmode="stack")
    if traps["cases"].max() < 8:
        figure.update_xaxes(dtick=1)
    return figure


def points_figure(points: pd.DataFrame) -> go.Figure:
    """Mean points by criterion, weakest first; from `debrief.points_by_criterion`."""
    rows = points.iloc[::-1]
    told = [
        f"{one.criterion}: {one.points:.1f} of {one.most:g} ({one.students} students)"
        for one in points.itertuples()
    ]
    figure = _bars("Where points were lost", "share of the points", told, len(rows))
    shares = rows["points"] / rows["most"]
    figure.add_bar(
        y=list(rows["criterion"]),
        x=shares,
        orientation="h",
        marker={"color": ACCENT},
        text=[f"{p:.1f} of {m:g}" for p, m in zip(rows["points"], rows["most"], strict=True)],
        textposition=["outside" if share < ROOM_FOR_TEXT else "inside" for share in shares],
    )
    figure.update_xaxes(tickformat=".0%", range=[0, 1])
    return figure


def order_figure(best: pd.DataFrame, bought: pd.DataFrame, *, student: str) -> go.Figure:
    """How far each clue led to the cause: the best order, and one student's; from `debrief`.

    Parameters
    ----------
    best
        Of `debrief.best_order`: clue, spent, share.
    bought
        Of `debrief.path_of`: clue, spent, share_of_truth.
    """
    figure = blank_figure(
        title="What the clues told: the best order, and one student's", x="money spent",
        y="probability of the cause in front", alt=_order_words(best, bought, student),
    )  # fmt: skip
    for table, share, name, dash, symbol in (
        (best, "share", "best order: the cause then in front", "solid", "circle"),
        (bought, "share_of_truth", f"{student}: the true cause", "dash", "square-open"),
    ):
        figure.add_scatter(
            x=table["spent"], y=table[share], mode="lines+markers", name=name,
            text=table["clue"], hovertemplate="%{text}: %{y:.0%}<extra></extra>",
            line={"dash": dash, "color": ACCENT if dash == "solid" else INK},
            marker={"symbol": symbol, "size": 9},
        )  # fmt: skip
    figure.update_yaxes(tickformat=".0%", range=[0, 1.03])
    figure.update_xaxes(rangemode="tozero")
    return figure


def _order_words(best: pd.DataFrame, bought: pd.DataFrame, student: str) -> str:
    parts = []
    for name, table, share in (("Best order", best, "share"), (student, bought, "share_of_truth")):
        steps = [f"{row['clue']} ({row['spent']} spent, {percent(row[share])})"
                 for row in table.to_dict("records")]  # fmt: skip
        parts.append(f"{name}: {'; '.join(steps) or 'nothing bought'}")
    return "\n".join(parts)


def _bars(title: str, x: str, told: Sequence[str], rows: int) -> go.Figure:
    """Begin a list of bars, one name a line."""
    figure = blank_figure(title=title, x=x, y="", alt="\n".join(told) or "nothing to show",
                          height=170 + BAR * max(rows, 1))  # fmt: skip
    figure.update_layout(barmode="overlay")
    figure.update_yaxes(ticklabelstandoff=6)
    return figure
