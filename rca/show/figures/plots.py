"""Figures (plotly), all readable in grey: shape and dash carry the meaning, never colour alone.

Each carries its text alternative in `layout.meta["alt"]`, which the page gives to screen readers.
"""

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from rca.causes.counts.parts import PartFinding
from rca.causes.counts.units import Shares
from rca.errors import NoFit
from rca.life.nonparametric import SurvivalCurve, kaplan_meier
from rca.life.recurrence import Histories, mean_cumulative
from rca.life.sample import Lives
from rca.life.shrinkage import funnel
from rca.life.weibull import WeibullFit
from rca.records.number_style import NumberStyle

PLAIN = NumberStyle()
INK, GREY, PALE, ACCENT, FAINT = "#1a1a1a", "#6b6b6b", "#d9d9d9", "#1f5a7a", "#ececec"
MOST_BARS = 15
SHARES_ON_PAPER = (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.632, 0.9, 0.99, 0.999)


def blank_figure(*, title: str, x: str, y: str, alt: str, height: int = 380) -> go.Figure:
    """Return a figure without traces, in the kit's style; `alt` says the same in words."""
    figure = go.Figure()
    figure.update_layout(
        title={"text": title, "font": {"size": 15}, "x": 0, "xanchor": "left"},
        template="none",  # the shared templates are large, and copied into every figure
        plot_bgcolor="white",
        font={"family": "Helvetica, Arial, sans-serif", "size": 12, "color": INK},
        height=height,
        margin={"l": 70, "r": 20, "t": 50, "b": 90},
        legend={"orientation": "h", "x": 0, "y": 0, "yref": "container", "yanchor": "bottom"},
        meta={"alt": alt},
    )
    axis = {
        "showline": True, "linecolor": GREY, "ticks": "outside", "automargin": True,
        "gridcolor": FAINT, "zeroline": False,
    }  # fmt: skip
    figure.update_layout(xaxis={"title": {"text": x}, **axis}, yaxis={"title": {"text": y}, **axis})
    return figure


def repeat_figure(parts: Sequence[PartFinding]) -> go.Figure:
    """Share of failures that came back within the window, with what chance alone would give."""
    rows = [one for one in parts if one.repeat is not None and one.repeat.complete][::-1]
    window = f"{rows[0].repeat.window_days} days" if rows and rows[0].repeat else "the window"
    figure = blank_figure(
        title=f"Failures that came back within {window}",
        x="share of the failures that were followed for as long",
        y="",
        alt="; ".join(f"{one.part}: {one.repeat}" for one in rows),
        height=105 + 22 * max(len(rows), 1),
    )
    names = [one.part for one in rows]
    repeats = [one.repeat for one in rows if one.repeat is not None]
    value = np.array([one.value for one in repeats])
    low = np.array([one.interval.lower for one in repeats])
    high = np.array([one.interval.upper for one in repeats])
    figure.add_scatter(
        x=value, y=names, mode="markers",
        name="seen, and the range that holds the true share 95 times in 100",
        marker={"color": INK, "size": 9},
        error_x={"type": "data", "symmetric": False, "array": high - value,
                 "arrayminus": value - low, "color": INK, "thickness": 1.5},
    )  # fmt: skip
    figure.add_scatter(
        x=[one.chance for one in repeats], y=names, mode="markers",
        name="what chance alone would give",
        marker={"symbol": "line-ns-open", "size": 15, "color": ACCENT, "line": {"width": 3}},
    )  # fmt: skip
    top = 1.05 * max([*high, *(one.chance for one in repeats), 0.01])
    figure.update_xaxes(tickformat=".0%", range=[-0.01 * top, top], title_standoff=4)
    figure.update_layout(margin={"t": 34, "b": 62})
    return figure


def life_plot(finding: PartFinding, *, name: str = "", style: NumberStyle = PLAIN) -> go.Figure:
    """Weibull paper: share failed by age, seen and fitted, with pointwise limits of what was seen.

    Straight on this paper means one Weibull curve; a bend hints at mixed modes or lots.
    """
    title = name or (f"{finding.part}: {finding.mode}" if finding.mode else finding.part)
    unit = finding.unit_of_age
    figure = blank_figure(
        title=f"{title}: share failed by age",
        x=f"age of the part ({unit})",
        y="share failed",
        alt=str(finding),
        height=430,
    )
    if finding.sample is not None and finding.failures:
        _add_seen(figure, finding.sample)
    if finding.fit is not None and finding.sample is not None:
        _add_fitted(figure, finding.fit, finding.sample, style)
    ticks = [float(np.log(-np.log1p(-share))) for share in SHARES_ON_PAPER]
    labels = [style.percent(share) for share in SHARES_ON_PAPER]
    figure.update_yaxes(tickvals=ticks, ticktext=labels)
    if finding.sample is not None:
        ages = finding.sample.low
        first = ages[finding.sample.exact].min() if finding.failures else ages.min()
        low, high = first / 1.6, ages.max() * 1.1
        figure.update_xaxes(
            type="log", range=[np.log10(low), np.log10(high)], tickvals=_round_ages(low, high),
            tickformat=",.0f",
        )  # fmt: skip
        if finding.fit is not None:
            bottom, top = np.log(finding.fit.cumulative_hazard(np.array([low, high])))
            figure.update_yaxes(range=[min(bottom, ticks[1]) - 0.2, max(top, ticks[4]) + 0.4])
    return figure


def _round_ages(low: float, high: float) -> list[float]:
    """Return 1, 2, 5, 10, 20, ... between two ages."""
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    ages = [step * 10.0**decade for decade in decades for step in (1, 2, 5)]
    return [age for age in ages if low <= age <= high]


def _paper(survival: np.ndarray) -> np.ndarray:
    """Height on Weibull paper of a share that survives."""
    with np.errstate(divide="ignore"):
        return np.log(-np.log(survival))


def _add_seen(figure: go.Figure, sample: Lives) -> None:
    """Add Kaplan-Meier points, each half way up its step, and their limits."""
    try:
        curve: SurvivalCurve = kaplan_meier(sample)
    except NoFit:
        return
    survival = curve.survival
    middle = (np.append(1.0, survival[:-1]) + survival) / 2
    use = (middle > 0) & (middle < 1)
    figure.add_scatter(
        x=curve.age[use], y=_paper(middle[use]), mode="markers", name="seen (Kaplan–Meier)",
        marker={"color": INK, "size": 6},
        customdata=1 - middle[use], hovertemplate="%{x:,.0f}: %{customdata:.1%} failed",
    )  # fmt: skip
    inner = use & (curve.lower > 0) & (curve.upper < 1)
    for limit, shown_in_legend in ((curve.lower, True), (curve.upper, False)):
        figure.add_scatter(
            x=curve.age[inner], y=_paper(limit[inner]), mode="lines",
            name="95 % limits of what was seen", showlegend=shown_in_legend,
            line={"color": GREY, "width": 1, "dash": "dot", "shape": "hv"}, hoverinfo="skip",
        )  # fmt: skip


def _add_fitted(figure: go.Figure, fit: WeibullFit, sample: Lives, style: NumberStyle) -> None:
    first = sample.low[sample.exact].min()
    span = np.geomspace(first / 1.6, sample.low.max(), 60)
    figure.add_scatter(
        x=span, y=np.log(fit.cumulative_hazard(span)), mode="lines",
        name=f"Weibull curve, shape {style.figures(fit.shape)}", line={"color": ACCENT, "width": 2},
        customdata=1 - fit.survival(span), hovertemplate="%{x:,.0f}: %{customdata:.1%} failed",
    )  # fmt: skip


def cumulative_figure(histories: Histories, *, title: str, y: str) -> go.Figure:
    """Mean cumulative number (or cost) a unit against its age, with limits between units."""
    curve = mean_cumulative(histories)
    figure = blank_figure(
        title=title, x=f"time watched ({histories.unit_of_age})", y=y, alt=str(curve)
    )  # fmt: skip
    for limit, first in ((curve.lower, True), (curve.upper, False)):
        figure.add_scatter(
            x=curve.age, y=limit, mode="lines", name="95 % limits", showlegend=first,
            line={"color": GREY, "width": 1, "dash": "dot", "shape": "hv"}, hoverinfo="skip",
        )  # fmt: skip
    figure.add_scatter(
        x=curve.age, y=curve.value, mode="lines", name="mean of the units",
        line={"color": INK, "width": 2, "shape": "hv"},
    )  # fmt: skip
    figure.update_yaxes(rangemode="tozero")
    return figure


def totals_figure(
    rows: Sequence[tuple[str, float, float, float]],
    *,
    title: str,
    unit: str,
    style: NumberStyle = PLAIN,
) -> go.Figure:
    """Bars of a total by part, largest first, with limits and the share added up so far.

    Rows are name, value, lower, upper; the fifteen largest are drawn, the shares are of all.
    """
    largest = sorted(rows, key=lambda row: (-row[1], row[0]))[:MOST_BARS]
    value = np.array([row[1] for row in largest])
    added = np.cumsum(value) / max(sum(row[1] for row in rows), 1e-300)
    figure = blank_figure(
        title=title, x=unit, y="",
        alt="; ".join(
            f"{name}: {sum_:,.0f} ({low:,.0f} to {high:,.0f}) {unit}, {share:.0%} so far"
            for (name, sum_, low, high), share in zip(largest, added, strict=True)
        ),
        height=110 + 26 * max(len(largest), 1),
    )  # fmt: skip
    names, upper = [row[0] for row in largest], np.array([row[3] for row in largest])
    figure.add_bar(
        x=value, y=names, orientation="h", name=unit, marker={"color": PALE,
        "line": {"color": INK, "width": 1}},
        error_x={"type": "data", "symmetric": False, "color": INK, "thickness": 1.2,
                 "array": upper - value,
                 "arrayminus": value - np.array([row[2] for row in largest])},
    )  # fmt: skip
    figure.add_scatter(
        x=np.maximum(upper, value), y=names, mode="text", textposition="middle right",
        text=[f"  {style.percent(share)}" for share in added], name="share so far",
        textfont={"color": GREY}, hoverinfo="skip", cliponaxis=False,
    )  # fmt: skip
    figure.update_yaxes(autorange="reversed")
    figure.update_layout(showlegend=False, margin={"b": 50, "r": 60})
    return figure


def funnel_figure(shares: Shares) -> go.Figure:
    """Each unit's failures over those expected, and the limits within which chance leaves it.

    The limits widen where little is expected: there a high ratio means nothing. Units that merely
    differ in the ordinary way lie inside them.
    """
    table, variance = shares.table, shares.shrunk.variance
    expected, ratio = table["expected"].to_numpy(), (table["failures"] / table["expected"])
    limits = funnel(table["failures"], expected, variance=variance)
    above = np.asarray(limits.above)
    figure = blank_figure(
        title=f"{shares.part}: failures of each unit over those expected",
        x="failures expected from what the unit ran",
        y="times as many as expected",
        alt=f"{shares.part}: {int(above.sum())} of {len(table)} units lie above the limits",
    )
    grid = np.geomspace(max(expected.min(), 0.02), expected.max() * 1.05, 120)
    for confidence, dash, inside in (
        (0.95, "dot", "95 % of such units lie inside"),
        (0.998, "dash", "99.8 % of such units lie inside"),
    ):
        edge = funnel(np.zeros(len(grid)), grid, variance=variance, confidence=confidence)
        for side, first in ((edge.upper, True), (edge.lower, False)):
            figure.add_scatter(
                x=grid, y=side, mode="lines", name=inside, showlegend=first, hoverinfo="skip",
                line={"color": GREY, "width": 1, "dash": dash, "shape": "hv"},
            )  # fmt: skip
    for chosen, words, symbol, colour in (
        (~above, "units", "circle-open", GREY),
        (above, "above the limits", "diamond", INK),
    ):
        rows = table[chosen]
        figure.add_scatter(
            x=rows["expected"], y=ratio[chosen], mode="markers+text" if chosen is above else
            "markers", name=words, text=rows["unit"], textposition="middle right",
            marker={"symbol": symbol, "color": colour, "size": 8}, cliponaxis=False,
        )  # fmt: skip
    figure.add_hline(y=1.0, line={"color": GREY, "width": 1})
    figure.update_yaxes(range=[0, 1.1 * float(max(ratio.max(), 2.0))])
    figure.update_xaxes(rangemode="tozero")
    return figure


def units_figure(shares: Shares) -> go.Figure:
    """Failures of each unit against what was expected of it; units above their share are named."""
    table = shares.table
    above = table["lower"] > 1.0
    figure = blank_figure(
        title=f"{shares.part}: failures of each unit against expected ones",
        x="failures expected at the ages that the unit ran",
        y="failures seen",
        alt=f"{shares.part}: {int(above.sum())} of {len(table)} units lie above their share",
    )
    top = max(float(table["expected"].max()), 1.0)
    figure.add_scatter(
        x=[0, top], y=[0, top], mode="lines", name="as many as expected",
        line={"color": GREY, "dash": "dash"}, hoverinfo="skip",
    )  # fmt: skip
    figure.add_scatter(
        x=table.loc[~above, "expected"], y=table.loc[~above, "failures"], mode="markers",
        name="units", text=table.loc[~above, "unit"],
        marker={"symbol": "circle-open", "color": GREY, "size": 7},
    )  # fmt: skip
    figure.add_scatter(
        x=table.loc[above, "expected"], y=table.loc[above, "failures"], mode="markers+text",
        name="above their share", text=table.loc[above, "unit"], textposition="middle right",
        marker={"symbol": "diamond", "color": INK, "size": 9},
    )  # fmt: skip
    figure.update_xaxes(rangemode="tozero")
    figure.update_yaxes(rangemode="tozero")
    return figure
