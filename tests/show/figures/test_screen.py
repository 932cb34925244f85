"""Figures of the screen: what they show, in words too, readable in grey."""

import numpy as np
import pytest

from rca.causes.screen.nearest import COULD_BE_CHANCE
from rca.show.figures.screen import forest_figure, lag_figure
from tests.benchmarks.upstream_characteristics import rng_of, screen
from tests.benchmarks.upstream_fleets import PRECURSOR, TARGET, Precursor, Scene

SCENE = Scene(units=120, parts=30, failures=120, precursor=Precursor(10, 0.4, (10, 60)))


@pytest.fixture(scope="module")
def planted():
    return screen(SCENE, rng_of("ci one", 0))


def texts(figure):
    return " | ".join(one.text for one in figure.layout.annotations if one.text)


def test_lags_stand_beside_chance_before_and_after(planted):
    row = planted.found.iloc[0].to_dict()
    lags = planted.lags[TARGET, PRECURSOR]
    figure = lag_figure(row, lags)
    bars, chance = figure.data
    assert list(bars.y) == list(lags.seen)
    assert list(chance.y) == pytest.approx(list(lags.by_chance))
    assert chance.line.dash == "dash"
    assert (np.array(bars.x)[lags.before] < 0).all()
    assert (np.array(bars.x)[~lags.before] > 0).all()
    assert f"{row['events']:.0f} of {row['failures']:.0f} failures had it" in texts(figure)
    assert "by chance" in figure.layout.meta["alt"]
    assert figure.layout.xaxis.title.text.startswith("days before")


def test_every_candidate_has_ratio_limits_and_its_word(planted):
    rows = [*planted.found.to_dict("records"), *planted.nearest.to_dict("records")]
    figure = forest_figure(rows, title="All")
    shown = {
        (name, float(x)): (float(up), float(down))
        for trace in figure.data
        for name, x, up, down in zip(
            trace.text, trace.x, trace.error_x.array, trace.error_x.arrayminus, strict=True
        )
    }
    assert len(shown) == len(rows)
    for row in rows:
        up, down = shown[row["candidate"], row["ratio"]]
        assert row["ratio"] + up == pytest.approx(min(row["upper"], 100))
        assert row["ratio"] - down == pytest.approx(max(row["lower"], 0.01))
    said = texts(figure)
    assert said.count(COULD_BE_CHANCE) == len(planted.nearest)
    assert "comes before" in said
    symbols = {trace.marker.symbol for trace in figure.data}
    assert len(symbols) == len(figure.data), "told apart by shape, not by colour alone"
    assert "comes before: ratio" in figure.layout.meta["alt"]
    assert "cause" not in figure.layout.meta["alt"]


def test_forests_bear_many_candidates_and_limits_without_end(planted):
    row = planted.found.iloc[0].to_dict()
    many = [{**row, "candidate": f"part {n}", "lower": 0.0, "upper": np.inf} for n in range(60)]
    figure = forest_figure(many, title="Many", name_target=True)
    assert len(figure.layout.yaxis.ticktext) == 24
    assert figure.layout.yaxis.ticktext[0] == f"{TARGET}: part 0"
    assert all(np.isfinite(figure.layout.xaxis.range))
    assert forest_figure([], title="None").layout.yaxis.ticktext == ()
