"""Pair counts by one sort, against counting every pair by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.causes.screen.before_after import count_before, count_own_lags
from rca.errors import RcaError

EVENTS = st.lists(st.tuples(st.integers(0, 3), st.integers(-5, 40), st.integers(0, 2)), max_size=40)


def by_hand(rows: list[tuple[int, int, int]], window: int, n_codes: int) -> np.ndarray:
    counts = np.zeros((n_codes, n_codes), dtype=int)
    for unit, day, code in rows:
        for other_unit, other_day, other_code in rows:
            if unit == other_unit and 0 < day - other_day <= window:
                counts[code, other_code] += 1
    return counts


@settings(max_examples=80, deadline=None)
@given(rows=EVENTS, window=st.integers(1, 30))
def test_counts_every_pair_within_the_window_once(rows, window):
    """Equal to the double loop, whatever the order of rows, ties and units."""
    unit, day, code = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    counts = count_before(unit, day, code, window=window, n_codes=3)
    assert np.array_equal(counts, by_hand(rows, window, 3))


@settings(max_examples=60, deadline=None)
@given(rows=EVENTS, window=st.integers(1, 30))
def test_own_lags_add_up_to_the_pairs_of_one_kind(rows, window):
    """Lags 1 to the window, summed, are the diagonal of the pair counts; lag 0 are ties."""
    unit, day, code = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    lags = count_own_lags(unit, day, code, window=window, n_codes=3)
    counts = count_before(unit, day, code, window=window, n_codes=3)
    assert np.array_equal(lags[:, 1:].sum(axis=1), np.diag(counts))
    ties = [sum(rows[i] == rows[j] for i in range(len(rows)) for j in range(i)), lags[:, 0].sum()]
    assert ties[0] == ties[1]


def test_many_blocks_give_the_same_as_one_unit_at_a_time():
    """More rows than one block of the pass, against a sum over single units."""
    rng = np.random.default_rng(5)
    unit, day, code = (rng.integers(0, top, 150_000) for top in (3000, 700, 4))
    whole = count_before(unit, day, code, window=30, n_codes=4)
    halves = sum(
        count_before(unit[part], day[part], code[part], window=30, n_codes=4)
        for part in (unit < 1500, unit >= 1500)
    )
    assert np.array_equal(whole, halves)
    assert whole.sum() > 200_000


def test_units_next_to_each_other_never_meet():
    """The last day of one unit and the first of the next are not a pair."""
    counts = count_before([0, 1], [100, 101], [0, 1], window=90, n_codes=2)
    assert counts.sum() == 0


@pytest.mark.parametrize(
    ("unit", "code", "window", "rule"),
    [
        ([0, 0], [0], 5, "rows"),
        ([0, 0], [0, 2], 5, "between 0 and 1"),
        ([0, 0], [0, 1], 0, "1 day"),
    ],
)
def test_bad_input_is_refused_with_its_numbers(unit, code, window, rule):
    with pytest.raises(RcaError, match=rule):
        count_before(unit, [1, 2], code, window=window, n_codes=2)
