"""Who is watched when, and what a curve may therefore answer."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import RcaError
from rca.life.curves import Watch, most_unseen, normal_quantile

stretches = st.lists(
    st.tuples(st.integers(0, 15), st.integers(1, 10), st.integers(1, 3)), min_size=1, max_size=12
)


def _watch(rows: list[tuple[int, int, int]], *, closed: bool) -> tuple[Watch, np.ndarray]:
    start, length, count = np.array(rows, dtype=float).T
    table = np.column_stack((start, start + length, count))
    return Watch.of(start, start + length, count=count, closed=closed), table


@given(stretches, st.booleans(), st.floats(0, 30))
def test_at_risk_by_counting(rows: list, closed: bool, age: float) -> None:
    """Begun before the age (or at it, where closed) and not yet ended."""
    watch, table = _watch(rows, closed=closed)
    start, end, count = table.T
    for moment in (age, round(age)):
        begun = start <= moment if closed else start < moment
        assert watch.at_risk(moment) == count[begun & (moment <= end)].sum()


@given(stretches)
def test_known_until_the_first_break(rows: list) -> None:
    """Quarter by quarter of a day: somebody is watched from begin to last, nobody just after."""
    watch, _ = _watch(rows, closed=False)
    inside = np.arange(watch.begin + 0.25, watch.last + 0.1, 0.25)
    assert (watch.at_risk(inside) > 0).all()
    assert watch.at_risk(watch.last + 0.25) == 0


@given(stretches, st.booleans(), st.integers(0, 80))
def test_fewest_by_looking_everywhere(rows: list, closed: bool, quarters: int) -> None:
    """The smallest number at risk at any eighth of a day from begin to the age."""
    watch, _ = _watch(rows, closed=closed)
    age = min(watch.begin + quarters / 4, watch.last)
    moments = np.append(np.arange(watch.begin + 0.125, age, 0.125), age)
    lowest = min(watch.watched_at(moment) for moment in moments)
    assert watch.fewest(age) == lowest
    assert most_unseen(watch, age, 0.95) == pytest.approx(-np.log(0.025) / lowest)


def test_confidence_is_a_share() -> None:
    """95 is not 0.95."""
    assert normal_quantile(0.95) == pytest.approx(1.959963984540054)
    with pytest.raises(RcaError, match="between 0 and 1, is 95"):
        normal_quantile(95)
