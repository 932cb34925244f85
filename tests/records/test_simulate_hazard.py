"""The laws under the simulator, checked against scipy: draws, meters, and the hazard spent."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from rca.records.simulate.draws import Draws
from rca.records.simulate.hazard import EarlyWeibull, Steps, next_failure
from rca.records.simulate.running import FAR, MONTH, Running, Scale

FEW = settings(max_examples=40, deadline=None, derandomize=True)


def test_a_stream_is_known_by_its_seed_and_name() -> None:
    """Same seed and name, same numbers; another name or seed, others."""
    first = Draws(1, "a").uniform(5)
    assert (first == Draws(1, "a").uniform(5)).all()
    assert (Draws(1).child("a").uniform(5) == first).all()
    for other in (Draws(1, "b"), Draws(2, "a"), Draws(1, "a", "a")):
        assert (other.uniform(5) != first).all()


@pytest.mark.parametrize(
    ("drawn", "law"),
    [
        (lambda d: d.uniform(1000, 2, 5), stats.uniform(2, 3)),
        (lambda d: d.exponential(1000), stats.expon()),
        (lambda d: d.normal(1000), stats.norm()),
        (lambda d: d.gamma(1000, 0.5), stats.gamma(2, scale=0.5)),
        (lambda d: d.lognormal(1000, 0.4), stats.lognorm(0.4, scale=np.exp(-0.08))),
    ],
)
def test_draws_follow_their_law(drawn, law) -> None:
    """Kolmogorov-Smirnov against scipy's distributions: over 60 seeds the p-values are even."""
    p_values = [stats.kstest(drawn(Draws(seed)), law.cdf).pvalue for seed in range(60)]
    assert stats.kstest(p_values, "uniform").pvalue > 0.001


def test_choices_and_samples() -> None:
    """Choices come in proportion to their shares; a sample has no position twice."""
    counts = np.bincount(Draws(3).choose(6000, [1, 2, 3]), minlength=3)
    assert stats.chisquare(counts, [1000, 2000, 3000]).pvalue > 0.01
    sample = Draws(3).sample(50, 20)
    assert len(set(sample)) == 20
    assert set(sample) <= set(range(50))


def test_events_are_a_poisson_process_on_every_span() -> None:
    """Counts by span have mean and variance rate x length; places are even within the span."""
    begin = np.arange(3000) * 10.0
    end = begin + np.where(np.arange(3000) % 2 == 0, 4.0, 8.0)
    span, day = Draws(5).events(0.3, begin, end)
    assert ((begin[span] <= day) & (day < end[span])).all()
    counts = np.bincount(span, minlength=3000)
    for parity, mean in ((0, 1.2), (1, 2.4)):
        mine = counts[parity::2]
        assert abs(mine.mean() - mean) < 4 * np.sqrt(mean / 1500)
        assert abs(mine.var() / mean - 1) < 4 * np.sqrt(2 / 1500) * 1.3
    assert stats.kstest((day - begin[span]) / (end - begin)[span], "uniform").pvalue > 0.01


def test_meter_and_day_are_inverse() -> None:
    """The day at which a meter is reached has that meter, on every unit."""
    draws = Draws(11)
    daily = 20 + 100 * draws.uniform(6 * 30).reshape(6, 30)
    start = draws.uniform(6, 0, 200)
    running = Running.from_daily_use(daily, first_day=0.0, in_service=start)
    unit = np.repeat(np.arange(6), 50)
    day = draws.uniform(300, 0, 30 * MONTH)
    assert np.allclose(running.day(unit, running.meter(unit, day)), day)
    assert np.allclose(running.meter(np.arange(6), start), 0)


def test_meter_by_hand() -> None:
    """10 km a day in the first bin and 20 in the second, in service from day 5."""
    running = Running.from_daily_use(
        np.array([[10.0, 20.0]]), first_day=0.0, in_service=np.array([5.0])
    )
    one = np.array([0])
    assert running.meter(one, np.array([15.0]))[0] == pytest.approx(100)
    expected = 10 * (MONTH - 5) + 20 * 7
    assert running.meter(one, np.array([MONTH + 7]))[0] == pytest.approx(expected)


def test_a_day_that_never_comes_is_far_on_either_scale() -> None:
    """An unlimited day has the place FAR, by meter and by days."""
    running = Running.from_daily_use(np.array([[10.0]]), first_day=0.0, in_service=np.array([0.0]))
    for on_meter in (True, False):
        scale = Scale(running, on_meter)
        assert scale.place(np.array([0]), np.array([np.inf]))[0] == FAR


@given(
    shape=st.floats(0.6, 4), early=st.floats(0.5, 8), until=st.floats(50, 3000),
    levels=st.lists(st.floats(0.05, 6), min_size=3, max_size=3),
    edges=st.tuples(st.floats(100, 900), st.floats(900, 2500)),
    fitted=st.floats(0, 800), ran=st.floats(0, 500), amount=st.floats(0.01, 3),
    factor=st.floats(0.2, 5),
)  # fmt: skip
@FEW
def test_the_hazard_up_to_the_failure_is_the_amount_drawn(
    shape, early, until, levels, edges, fitted, ran, amount, factor
) -> None:
    """Numerical integration of the rate from now to the failure (scipy.quad) gives the amount."""
    scale, now = 1000.0, fitted + ran

    def rate(place: float) -> float:
        age = place - fitted
        raised = early if age < until else 1.0
        step = levels[0] if place < edges[0] else levels[1] if place < edges[1] else levels[2]
        return factor * raised * step * shape / scale * (age / scale) ** (shape - 1)

    end = next_failure(
        EarlyWeibull(shape, scale, np.array([early]), until),
        Steps(np.array([[*edges, FAR]]), np.array([[*levels, 1.0]])),
        fitted=np.array([fitted]), now=np.array([now]),
        factor=np.array([factor]), amount=np.array([amount]),
    )[0]  # fmt: skip
    breaks = sorted({now, *(b for b in (*edges, fitted + until) if now < b < end), end})
    spent = sum(
        integrate.quad(rate, low, high, epsabs=1e-10, limit=200)[0]
        for low, high in pairwise(breaks)
    )
    assert spent == pytest.approx(amount, rel=1e-4)


def test_a_level_of_zero_forbids_failure() -> None:
    """Where the last factor is 0 the part never fails; where the middle one is 0 it waits."""
    life = EarlyWeibull(1.0, 10.0, np.array([1.0]))
    never = Steps(np.array([[5.0]]), np.array([[0.0, 0.0]]))
    where = {"fitted": np.zeros(1), "now": np.zeros(1), "factor": np.ones(1)}
    assert next_failure(life, never, amount=np.array([0.5]), **where)[0] == FAR
    waits = Steps(np.array([[5.0, 8.0]]), np.array([[1.0, 0.0, 1.0]]))
    assert next_failure(life, waits, amount=np.array([0.7]), **where)[0] == pytest.approx(10.0)
