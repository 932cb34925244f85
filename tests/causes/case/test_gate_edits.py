"""Edits to `because`: truth tables tell whether AND and OR still mean what was marked."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.causes.case.gate_edits import joined, names_in, together, without
from rca.causes.case.parsing import _gate
from rca.errors import RcaError
from tests.cases import gates

NAMES = ["a", "b", "c", "d"]


def truth(because, names=NAMES):
    """For every set of causes that may be present: does the effect come about?"""
    gate = _gate(because)
    sets = (
        {n for n, on in zip(names, row, strict=True) if on}
        for row in product((0, 1), repeat=len(names))
    )
    return [gate.holds(frozenset(one)) for one in sets]


def same(one, other):
    return truth(one) == truth(other)


def test_a_first_a_second_and_a_third_cause():
    assert joined(None, "a", word="any") == "a"
    assert joined("a", "b", word="any") == {"any": ["a", "b"]}
    assert joined({"any": ["a", "b"]}, "c", word="any") == {"any": ["a", "b", "c"]}
    assert joined({"any": ["a", "b"]}, "c", word="all") == {"all": [{"any": ["a", "b"]}, "c"]}
    assert joined({"all": ["a", "b"]}, "c", word="any") == {"any": [{"all": ["a", "b"]}, "c"]}


@settings(max_examples=60, deadline=None)
@given(because=gates(["a", "b", "c"]), word=st.sampled_from(["any", "all"]))
def test_what_is_joined_means_or_and_with_all_that_was_there(because, word):
    before = _gate(because)
    after = _gate(joined(because, "d", word=word))
    for row in product((0, 1), repeat=4):
        here = frozenset(n for n, on in zip(NAMES, row, strict=True) if on)
        old, new = before.holds(here), "d" in here
        assert after.holds(here) == ((old or new) if word == "any" else (old and new))


def test_all_or_some_are_marked():
    assert together({"any": ["a", "b"]}, ["a", "b"], word="all") == {"all": ["a", "b"]}
    some = together({"any": ["a", "b", "c"]}, ["a", "c"], word="all")
    assert same(some, {"any": [{"all": ["a", "c"]}, "b"]})
    back = together(some, ["a", "c"], word="any")
    assert same(back, {"any": ["a", "b", "c"]})
    assert all(isinstance(one, str) for one in back["any"])
    counted = together({"at_least": 2, "of": ["a", "b", "c"]}, ["a", "b", "c"], word="all")
    assert counted == {"all": ["a", "b", "c"]}


@pytest.mark.parametrize(
    ("because", "names", "word", "says"),
    [
        ("a", ["a", "b"], "any", "only one cause"),
        ({"any": ["a", "b"]}, ["a"], "all", "at least two"),
        ({"any": ["a", {"all": ["b", "c"]}]}, ["a", "b"], "all", "side by side"),
        ({"all": ["a", "b"]}, ["a", "b"], "all", "marked so already"),
        ({"any": ["a", "b", "c"]}, ["a", "b"], "any", "marked so already"),
    ],
)
def test_marks_that_mean_nothing_are_refused(because, names, word, says):
    before = truth(because)
    with pytest.raises(RcaError, match=says):
        together(because, names, word=word)
    assert truth(because) == before


@settings(max_examples=60, deadline=None)
@given(because=gates(NAMES), data=st.data())
def test_what_is_taken_out_is_gone_and_the_rest_is_in_order(because, data):
    names = list(dict.fromkeys(names_in(because)))
    name = data.draw(st.sampled_from(names))
    count = names_in(because).count(name)
    rest = because
    for _ in range(count):
        rest = without(rest, name)
    assert list(dict.fromkeys(names_in(rest))) == [n for n in names if n != name]
    if rest is not None:
        _gate(rest)
    with pytest.raises(RcaError, match="does not lead there"):
        without(rest, name)
    assert without(rest, name, must=False) is rest


def test_a_count_that_can_no_longer_be_met_is_lowered():
    left = without({"at_least": 3, "of": ["a", "b", "c"]}, "c")
    assert left == {"at_least": 2, "of": ["a", "b"]}
