"""Figures of parts, units and totals: the numbers they show are those of the findings."""

import numpy as np
import pytest

from rca.causes.counts.units import unit_shares
from rca.causes.findings import open_findings
from rca.show import workbook
from rca.show.figures import plots as figures
from tests.little_fleet import little_fleet


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    return open_findings(little_fleet(tmp_path_factory.mktemp("figures") / "fleet", units=40))


def test_each_figure_says_the_same_in_words(findings):
    every = [
        workbook.main_figure(findings),
        figures.life_plot(findings.whole_parts[0]),
        workbook.repeats_figure(findings),
        *(one for one in workbook.totals_figures(findings) if hasattr(one, "layout")),
    ]
    for figure in every:
        assert len(figure.layout.meta["alt"]) > 10
        assert figure.layout.title.text
        assert figure.layout.xaxis.title.text


def test_repeats_are_drawn_with_their_interval_and_chance(findings):
    shown = [one for one in findings.whole_parts if one.repeat and one.repeat.complete]
    seen, chance = workbook.main_figure(findings).data
    assert list(seen.y) == [one.part for one in shown][::-1]
    for place, one in enumerate(shown[::-1]):
        assert seen.x[place] == pytest.approx(one.repeat.value)
        low = seen.x[place] - seen.error_x.arrayminus[place]
        high = seen.x[place] + seen.error_x.array[place]
        assert (low, high) == pytest.approx((one.repeat.interval.lower, one.repeat.interval.upper))
        assert chance.x[place] == pytest.approx(one.repeat.chance)


def test_weibull_paper_shows_the_fitted_curve_straight(findings):
    one = findings.whole_parts[0]
    line = next(trace for trace in figures.life_plot(one).data if "Weibull" in trace.name)
    slope = np.diff(line.y) / np.diff(np.log(line.x))
    assert slope == pytest.approx(one.fit.shape)


def test_units_lie_where_their_counts_say(findings):
    shares = unit_shares(findings.lives, findings.whole_parts[0])
    figure = figures.funnel_figure(shares)
    marked = [trace for trace in figure.data if trace.mode and trace.mode.startswith("markers")]
    assert sum(len(trace.x) for trace in marked) == len(shares.table)
    for trace in marked:
        for unit, expected, ratio in zip(trace.text, trace.x, trace.y, strict=True):
            row = shares.table.set_index("unit").loc[unit]
            assert expected == pytest.approx(row["expected"])
            assert ratio == pytest.approx(row["failures"] / row["expected"])
