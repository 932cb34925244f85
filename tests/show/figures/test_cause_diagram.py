"""The cause-effect diagram: all causes, states without colour, texts apart, text alternative."""

from itertools import combinations
from typing import Any

import plotly.graph_objects as go
import pytest

from rca.causes.case.entries import BRANCHES, Layer
from rca.causes.case.evidence import judge_evidence, link_support
from rca.causes.case.investigation import Investigation
from rca.show.figures.cause_diagram import FONT, LINE, PER_BOLD, cause_diagram
from rca.show.sheets.causes_by_branch import NO_BRANCH, branch_rows, causes_by_branch, diagram_text
from tests.cases import case_of, causes, rich_case

WORDS = "the oil in the tank is hot and thin when the pump is asked for full flow"


def forty() -> Investigation:
    """40 causes in chains of four over all ten branches."""
    words = WORDS.split()
    held: dict[str, Any] = {}
    for number in range(40):
        says = " ".join(words[number % 9 : number % 9 + 4 + number % 6])
        held[f"c{number}"] = {
            "says": f"{says.capitalize()} {number}", "layer": str(list(Layer)[number % 4]),
            "branch": BRANCHES[number // 4],
        } | ({"because": f"c{number + 1}"} if number % 4 < 3 else {})  # fmt: skip
    evidence = {
        f"e{n}": {"kind": ("measured", "told")[n % 2], "shows": "s",
                  "against" if n % 3 == 0 else "for": f"c{n}"}
        for n in range(40)
    }  # fmt: skip
    because = {"any": [f"c{number}" for number in range(0, 40, 4)]}
    return case_of(problem={"because": because}, causes=held, evidence=evidence)


def drawn(case: Investigation) -> go.Figure:
    return cause_diagram(case, support=link_support(case, judge_evidence(case)))


def plain(text: str) -> str:
    for tag in ("<b>", "</b>"):
        text = text.replace(tag, "")
    return text.replace("<br>", " ")


def boxes(figure: go.Figure) -> dict[str, tuple[float, float, float, float]]:
    """Left, right, bottom and top of each text, in pixels of the drawing, from its characters."""
    found = {}
    for one in figure.layout.annotations:
        lines = plain(one.text.replace("<br>", "\n")).split("\n")
        width = max(map(len, lines)) * PER_BOLD
        height = len(lines) * LINE
        left = {"left": one.x, "right": one.x - width}[one.xanchor]
        bottom = {"bottom": one.y, "middle": one.y - height / 2}[one.yanchor]
        found[plain(one.text)] = (left, left + width, bottom, bottom + height)
    return found


def test_forty_causes_are_all_there_and_none_overlaps() -> None:
    """Every cause once, its text inside the drawing, and no two texts on each other."""
    case = forty()
    figure = drawn(case)
    texts = boxes(figure)
    for cause in case.causes.values():
        assert sum(text.endswith(cause.says) for text in texts) == 1, cause.says
    low, high = figure.layout.xaxis.range
    bottom, top = figure.layout.yaxis.range
    for text, (left, right, under, over) in texts.items():
        assert low <= left, text
        assert right <= high + FONT, text
        assert bottom <= under, text
        assert over <= top, text
    for (one, a), (other, b) in combinations(texts.items(), 2):
        apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
        assert apart, (one, other)


def test_pixels_are_pixels() -> None:
    """The axes span what the figure is wide and high, so that texts stay apart when printed."""
    figure = drawn(forty())
    low, high = figure.layout.xaxis.range
    bottom, top = figure.layout.yaxis.range
    assert figure.layout.width == pytest.approx(high - low)
    assert figure.layout.height - figure.layout.margin.b == pytest.approx(top - bottom)


def test_states_are_told_by_sign_and_line_not_by_colour() -> None:
    """One ink; each state its own dash, its sign before the text, its word in the key."""
    figure = drawn(rich_case())
    ribs = {trace.name: trace.line.dash for trace in figure.data if trace.showlegend is None}
    assert ribs == {
        "+ supported": "solid",
        "? unsupported": "dot",
        "\u2026 not checked": "dashdot",
        "\u00d7 contradicted": "dash",
    }
    assert {trace.line.color for trace in figure.data} == {"#1a1a1a"}
    texts = [plain(one.text) for one in figure.layout.annotations]
    assert "+ The oil feed was blocked" in texts
    assert "\u00d7 The oil carried dirt" in texts


def test_upstream_causes_stand_in_bold() -> None:
    """Bold is for upstream, and the key says so."""
    figure = drawn(rich_case())
    bold = {plain(one.text) for one in figure.layout.annotations if one.text.startswith("<b>")}
    assert "+ The oil feed was blocked" in bold
    assert "+ The bearing ran dry" not in bold
    assert "upstream" in figure.layout.legend.title.text


def test_text_alternative_holds_every_cause_with_branch_layer_and_state() -> None:
    """What a screen reader gets is the whole diagram."""
    case = forty()
    support = link_support(case, judge_evidence(case))
    text = drawn(case).layout.meta["alt"]
    assert text == diagram_text(case, support=support)
    for cause in case.causes.values():
        assert f"- {cause.says} [{cause.layer}] (" in text
    for branch in BRANCHES:
        assert f"{branch}:" in text.splitlines()


def test_branches_may_be_ones_own() -> None:
    """The file's own branches are used, empty ones left out; what has none stands apart."""
    held = causes(a="", b="")
    held["a"]["branch"] = "people"
    case = case_of(problem={"because": {"any": ["a", "b"]}}, causes=held,
                   branches=["people", "method"])  # fmt: skip
    assert causes_by_branch(case) == {"people": ["a"], NO_BRANCH: ["b"]}
    assert NO_BRANCH in [plain(one.text) for one in drawn(case).layout.annotations]


def test_cause_stands_after_the_one_it_leads_to() -> None:
    """Within a branch the order is that of the chain."""
    held = causes(deep="", near="deep")
    for cause in held.values():
        cause["branch"] = "design"
    case = case_of(problem={"because": "near"}, causes=held)
    assert causes_by_branch(case) == {"design": ["near", "deep"]}


def test_tags_in_a_file_stay_text() -> None:
    """A cause cannot bring its own tags into the drawing."""
    held = {"a": {"says": "<b>loud</b> & clear", "layer": "physical"}}
    texts = [one.text for one in drawn(case_of(problem={"because": "a"}, causes=held))
             .layout.annotations]  # fmt: skip
    assert any("&lt;b&gt;loud&lt;/b&gt; &amp; clear" in text.replace("<br>", " ") for text in texts)


def test_case_without_causes_is_a_bare_spine() -> None:
    """Nothing stated: the effect stands alone, and nothing fails."""
    figure = drawn(case_of())
    assert [plain(one.text) for one in figure.layout.annotations] == ["It failed 3 times"]


def test_branches_without_a_cause_are_listed_as_such_on_the_sheet():
    """An empty branch is a question that nobody has asked yet."""
    case = rich_case()
    support = link_support(case, judge_evidence(case))
    rows = dict(branch_rows(case, support=support))
    assert list(rows)[: len(case.branches)] == list(case.branches)
    assert rows["design"] == []
    told = {says for causes in rows.values() for says, _ in causes}
    assert {case.says(name) for name in case.below("problem")} <= told
