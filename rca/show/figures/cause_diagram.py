"""The cause-effect diagram (plotly): branches by category, causes as ribs, the effect at the head.

Readable in grey and in print: the state of each link is told by the style of its rib and by a sign
before the text, never by colour; causes upstream of the part stand in bold. The same content as
text stands in `layout.meta["alt"]`. All coordinates are pixels, so that texts can be kept apart.
"""

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass

import plotly.graph_objects as go

from rca.causes.case.entries import Layer, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.support import LinkSupport, Support
from rca.show.sheets.causes_by_branch import (
    causes_by_branch,
    diagram_text,
    leads,
    says_of,
    state_of,
)

INK, GREY = "#1a1a1a", "#6b6b6b"
STYLE = {
    Support.SUPPORTED: ("+", "solid", "+ supported"),
    Support.UNSUPPORTED: ("?", "dot", "? unsupported"),
    Support.NOT_CHECKED: ("\u2026", "dashdot", "\u2026 not checked"),
    Support.CONTRADICTED: ("\u00d7", "dash", "\u00d7 contradicted"),
}
"""Sign before the text, line of the rib, and both in words for the key."""

KEY = "<b>bold</b>: upstream of the part &nbsp; "
WIDTH, HEAD = 900, 160
FONT, LINE, GAP = 11, 14, 9
PER_CHARACTER, PER_BOLD = 5.7, 6.2  # mean width of a character of the font
SLANT = 0.22  # how far a branch leans to the left for each pixel of height
STEM, TITLE = 26, 22  # from the spine to the first rib; room for the branch's name
INDENT = 12


@dataclass(frozen=True, slots=True)
class _Rib:
    """One cause beside its branch: wrapped text, and where its line lies above the spine."""

    lines: tuple[str, ...]
    height: float  # of the rib above the spine
    indent: float
    bold: bool
    state: Support | None
    hover: str


@dataclass(frozen=True, slots=True)
class _Branch:
    name: str
    ribs: tuple[_Rib, ...]
    height: float


def cause_diagram(
    case: Investigation,
    *,
    support: Mapping[Link, LinkSupport] | None = None,
    width: int = WIDTH,
) -> go.Figure:
    """Draw the causes of an investigation's problem, branch by branch.

    Parameters
    ----------
    case
        The investigation; causes without a branch stand on one of their own.
    support
        State of each link, from `rca.causes.case.evidence.link_support`.
    width
        Pixels from the leftmost cause to the head.
    """
    held = causes_by_branch(case)
    columns = max(1, (len(held) + 1) // 2)
    room, branches, lean = 0.0, list[_Branch](), 0.0
    for _ in range(2):  # the second time knowing how far the leftmost branch leans
        room = (width - HEAD - 20 - lean) / columns
        branches = [_branch(case, one, held[one], room, support or {}) for one in held]
        lean = SLANT * max((one.height for one in branches), default=0.0)
    figure = go.Figure()
    lines = _Lines()
    for number, branch in enumerate(branches):
        foot = width - HEAD - 12 - room * (number // 2)
        _draw(figure, lines, branch, foot, room, up=1 if number % 2 == 0 else -1)
    left = min([12.0, *(min(x) for x in lines.ribs_x())])
    lines.spine = ([left, width - HEAD], [0.0, 0.0])
    lines.add_to(figure)
    top = max((branch.height for branch in branches[::2]), default=40.0) + TITLE + 8
    bottom = max((branch.height for branch in branches[1::2]), default=40.0) + TITLE + 8
    _write_head(figure, case.problem.statement, width)
    figure.update_layout(
        width=width - left + 12,
        height=top + bottom + 46,
        margin={"l": 0, "r": 0, "t": 0, "b": 46},
        plot_bgcolor="white",
        paper_bgcolor="white",
        font={"family": "Helvetica, Arial, sans-serif", "size": FONT, "color": INK},
        legend={"orientation": "h", "x": 0, "y": 0, "yanchor": "top", "title": {"text": KEY}},
        hovermode="closest",
        meta={"alt": diagram_text(case, support=support)},
    )
    figure.update_xaxes(range=[left - 12, width], visible=False, fixedrange=True)
    figure.update_yaxes(range=[-bottom, top], visible=False, fixedrange=True)
    return figure


def _branch(
    case: Investigation,
    branch: str,
    names: list[str],
    room: float,
    support: Mapping[Link, LinkSupport],
) -> _Branch:
    """Set the causes of a branch one above the other, as far apart as their texts need."""
    ribs: list[_Rib] = []
    height = float(STEM)
    for name in names:
        indent = INDENT if any(leads(case, name, one) for one in names) else 0
        state = state_of(name, support)
        sign = f"{STYLE[state][0]} " if state is not None else ""
        bold = case.causes[name].layer is Layer.UPSTREAM
        wide = max(10, int((room - 26 - indent) / (PER_BOLD if bold else PER_CHARACTER)))
        lines = tuple(textwrap.wrap(sign + says_of(case, name), wide))
        reasons = [one.reason for link, one in support.items() if link.cause == name]
        hover = "<br>".join([name, *textwrap.wrap(_escaped("; ".join(reasons)), 60)])
        ribs.append(_Rib(lines, height, indent, bold, state, hover))
        height += len(lines) * LINE + GAP
    return _Branch(branch, tuple(ribs), height)


class _Lines:
    """Lines collected by style, so that each style is one trace and one entry of the key."""

    def __init__(self) -> None:
        self.spine: tuple[list[float], list[float]] = ([], [])
        self.stems: tuple[list[float | None], list[float | None]] = ([], [])
        self.ribs: dict[Support | None, tuple[list[float | None], list[float | None]]] = {}
        self.hover: dict[Support | None, list[str | None]] = {}

    def rib(self, state: Support | None, begin: float, end: float, y: float, hover: str) -> None:
        x, ys = self.ribs.setdefault(state, ([], []))
        x += [begin, end, None]
        ys += [y, y, None]
        self.hover.setdefault(state, []).extend([hover, hover, None])

    def ribs_x(self) -> list[list[float]]:
        """Where the ribs of each style begin and end."""
        return [[one for one in x if one is not None] for x, _ in self.ribs.values()]

    def add_to(self, figure: go.Figure) -> None:
        for (x, y), width in ((self.spine, 3), (self.stems, 1.6)):
            figure.add_scatter(
                x=x, y=y, mode="lines", line={"color": INK, "width": width},
                showlegend=False, hoverinfo="skip",
            )  # fmt: skip
        for state, (x, y) in sorted(self.ribs.items(), key=lambda one: str(one[0])):
            _, dash, words = STYLE[state] if state is not None else ("", "solid", "not judged")
            figure.add_scatter(
                x=x, y=y, mode="lines", name=words, line={"color": INK, "width": 1.3, "dash": dash},
                text=self.hover[state], hovertemplate="%{text}<extra></extra>",
            )  # fmt: skip


def _draw(
    figure: go.Figure, lines: _Lines, branch: _Branch, foot: float, room: float, *, up: int
) -> None:
    """Draw one branch from its foot on the spine, leaning left, with its ribs and texts."""
    x, y = lines.stems
    x += [foot, foot - SLANT * branch.height, None]
    y += [0.0, up * branch.height, None]
    figure.add_annotation(
        x=foot - SLANT * branch.height, y=up * (branch.height + TITLE / 2), showarrow=False,
        text=f"<b>{_escaped(branch.name)}</b>", xanchor="right", yanchor="middle",
        font={"size": FONT + 1},
    )  # fmt: skip
    for rib in branch.ribs:
        tall = len(rib.lines) * LINE
        # The text stands on its rib above the spine, and under it the rib lies below the text too.
        at = rib.height if up > 0 else rib.height + tall
        right = foot - SLANT * at
        left = foot - SLANT * (rib.height + tall) - room + 20 + rib.indent
        lines.rib(rib.state, left, right, up * at, rib.hover)
        text = "<br>".join(map(_escaped, rib.lines))
        figure.add_annotation(
            x=left, y=up * at + 1, showarrow=False, align="left", xanchor="left", yanchor="bottom",
            text=f"<b>{text}</b>" if rib.bold else text,
            borderpad=0, font={"size": FONT},
        )  # fmt: skip


def _write_head(figure: go.Figure, statement: str, width: int) -> None:
    lines = textwrap.wrap(statement, int((HEAD - 26) / PER_CHARACTER))
    figure.add_annotation(
        x=width - HEAD + 2, y=0, showarrow=False, align="left", xanchor="left", yanchor="middle",
        text="<br>".join(map(_escaped, lines)), bordercolor=INK, borderwidth=1.5, borderpad=6,
        bgcolor="white", width=HEAD - 18,
    )  # fmt: skip


def _escaped(text: str) -> str:
    """Text of a file, safe among plotly's tags."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
