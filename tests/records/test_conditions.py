"""Conditions on columns: what they select, and that nothing else can be said in them."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import RcaError
from rca.records.conditions import rows_where

UNITS = pd.DataFrame(
    {
        "depot": pd.Categorical(["North", "East", "", "A=B", r"C:\new"]),
        "year": [2019.0, 2020.0, float("nan"), 2021.0, 1.0],
        "code": ["01", "1", "x", "", "02"],
    }
)


@pytest.mark.parametrize(
    ("condition", "rows"),
    [
        ("all", [0, 1, 2, 3, 4]),
        ("", [0, 1, 2, 3, 4]),
        ('depot = "north"', [0]),
        ("depot == ' North '", [0]),
        ('depot != "North"', [1, 3, 4]),
        ('depot in ("North", "east")', [0, 1]),
        ('depot not in ("North", "East")', [3, 4]),
        ('depot in "North"', [0]),
        ('depot = "A=B"', [3]),
        ('depot = "C:\\new"', [4]),
        ("year >= 2020", [1, 3]),
        ("year < 2020 and depot != 'East'", [0, 4]),
        ("year in (2019, 1)", [0, 4]),
        ("not year >= 2020", [0, 4]),
        ('not depot = "North"', [1, 3, 4]),
        ('not (depot = "North" or year >= 2021)', [1, 4]),
        ('not (depot = "North" and year >= 2021)', [0, 1, 3, 4]),
        ('not not depot = "North"', [0]),
        ('code = "1"', [1]),
        ("code = 1", [0, 1]),
    ],
)
def test_conditions_select_rows_and_a_blank_cell_fulfils_none(condition, rows):
    assert rows_where(UNITS, condition).to_numpy().nonzero()[0].tolist() == rows


@pytest.mark.parametrize(
    "condition",
    [
        "depot = North", 'depot = “North”', "1 < year < 3", 'depot = "x" or', "year",
        '__import__("os").getcwd()', 'depot = str("x")', "depot = {[]}", "depot = 1j",
        'depot is "x"', "depot.year = 3", 'depot = "x"; import os', "lambda: 1", 'depot = b"x"',
        'depot = "x" if 1 else 2', "\0", "year = 1" + "0" * 400, "not " * 3000 + 'depot = "x"',
        "(" * 300 + 'depot = "x"' + ")" * 300, "depot", 'depot = "x', "[year = 1]",
    ],
)  # fmt: skip
def test_anything_else_is_refused_with_an_example(condition):
    with pytest.raises(RcaError) as error:
        rows_where(UNITS, condition)
    assert 'depot in ("North", "East")' in error.value.next_step


def test_an_unknown_column_is_refused_with_the_nearest_one():
    with pytest.raises(RcaError, match="names no column: depo") as error:
        rows_where(UNITS, 'depo = "North"')
    assert "did you mean 'depot'?" in error.value.next_step


leaves = st.sampled_from(['depot = "North"', "year >= 2020", 'code in ("01", "x")', "year < 2000"])
conditions = st.recursive(
    leaves,
    lambda inner: st.one_of(
        inner.map(lambda one: f"not ({one})"),
        st.tuples(inner, inner).map(lambda two: f"({two[0]}) and ({two[1]})"),
        st.tuples(inner, inner).map(lambda two: f"({two[0]}) or ({two[1]})"),
    ),
    max_leaves=6,
)


@given(conditions)
def test_where_no_cell_is_blank_not_is_the_opposite(condition):
    """De Morgan's laws and double negation hold; Python's own logic is the reference."""
    whole = UNITS.iloc[[0, 1, 4]]
    truth = rows_where(whole, condition)
    assert (rows_where(whole, f"not ({condition})") == ~truth).all()
    for depot, year, code in whole.itertuples(index=False):
        names = {"depot": depot, "year": year, "code": code}
        expected = eval(condition.replace(" = ", " == "), {"__builtins__": {}}, names)
        assert truth[whole["depot"] == depot].tolist() == [expected]
