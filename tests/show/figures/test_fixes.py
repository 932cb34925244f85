"""The figure of a fix: what has been, and what would decide it."""

import numpy as np
import pandas as pd
import pytest

from rca.causes.fix.verdict import judge
from rca.show.figures.fixes import verdict_figure
from tests.causes.fix.test_verdict import MONTHS, PLAN, WORKS, fleet


def texts(figure):
    return " | ".join(one.text for one in figure.layout.annotations if one.text)


@pytest.fixture(scope="module")
def working():
    return fleet(WORKS)


def test_an_open_fix_shows_what_would_decide_it_in_the_coming_months(working):
    pieces, applied = working
    looks = pd.date_range("2024-01-31", "2024-03-31", freq="ME")
    now = judge(pieces, applied, PLAN, looks=looks)
    figure = verdict_figure(now)
    lines = {trace.name: trace for trace in figure.data}
    assert len(lines["seen"].x) == 3
    assert len(lines["on or below: effect shown"].x) == 3 + 24
    assert f"records end: {now.observed} seen" in texts(figure)
    assert "on or above: target ruled out" in texts(figure)
    assert len({trace.line.dash for trace in figure.data}) == len(figure.data)
    assert "rule the target out" in figure.layout.meta["alt"]


def test_a_decided_fix_shows_only_what_has_been(working):
    pieces, applied = working
    shown = judge(pieces, applied, PLAN, looks=MONTHS)
    figure = verdict_figure(shown)
    lines = {trace.name: trace for trace in figure.data}
    assert len(lines["on or below: effect shown"].x) == len(shown.path)
    assert f"seen: {shown.observed}" in texts(figure)
    heights = sorted(one.y for one in figure.layout.annotations)
    top = figure.layout.yaxis.range[1]
    assert min(np.diff(heights)) >= 0.069 * top, "labels stand clear of each other"
